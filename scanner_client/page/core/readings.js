// @ts-check
// What a reader read: bytes, until somebody who knows the standard has parsed them. Twin of scanner_client/readings.py.

/** @typedef {{bytes: Uint8Array, symbology: string | null}} Reading
 *   One symbol as read: its bytes, and the AIM symbology identifier (`]d1`) if the reader gave one. */

/** Characters of a mark on the wire, at most. */
export const LONGEST = 2000;
export const MESSAGE_START = "[)>";

export const LOST_SEPARATORS =
  "The separators of this message are lost: it begins [)> but holds no GS character (hex 1D), so its fields can't be " +
  "told apart. Set the scanner to send control characters as they are (as a serial port, or in its mode for them, " +
  "with no substitute and no filter), then scan again.";

const AIM_IDENTIFIER = /^\][A-Za-z][0-9A-Za-z]/;

/** The mark as the wire carries it. Bytes that are not UTF-8 are taken as Latin-1, which loses none of them.
 * @param {Uint8Array} bytes @returns {string} */
export function text(bytes) {
  try {
    return new TextDecoder("utf-8", { fatal: true, ignoreBOM: true }).decode(bytes);
  } catch {
    return latin1(bytes);
  }
}

/** A message as a scanner sends it: with or without an AIM identifier in front (ISO/IEC 15424).
 * @param {Uint8Array} message @returns {Reading} */
export function framed(message) {
  const found = AIM_IDENTIFIER.exec(latin1(message.subarray(0, 3)));
  return found ? { bytes: message.subarray(3), symbology: found[0] } : { bytes: message, symbology: null };
}

/** Why a reading can't be used, in words that say what to do; null if it can.
 * @param {Reading} reading @returns {string | null} */
export function fault(reading) {
  const mark = text(reading.bytes);
  const length = [...mark].length;
  if (!length) return "Nothing was read.";
  if (mark.startsWith(MESSAGE_START) && !mark.includes("\x1d")) return LOST_SEPARATORS;
  if (length > LONGEST) {
    return `This holds ${length} characters; a mark has at most ${LONGEST}. It is not a connector's mark.`;
  }
  if (mark.includes("\0")) return "This holds a NUL character, which no mark has. Scan again, or type the serial number.";
  return null;
}

/** @param {Uint8Array} bytes */
function latin1(bytes) {
  return Array.from(bytes, (each) => String.fromCharCode(each)).join("");
}
