// @ts-check
// Marks: what a scan means, and the keys under which it finds a registered connector. Twin of service/core/marks.py.
// GS1 data are left to the service: they give no identity here, and say so.

import * as envelope from "./envelope.js";
import * as identity from "./identity.js";
import * as ownMarks from "./own_marks.js";

/**
 * @typedef {import("./envelope.js").Fault} Fault
 * @typedef {import("./envelope.js").Element} Element
 * @typedef {"iuid" | "plain_serial" | "connector_id" | "gs1" | "badge" | "tool" | "work_order" | "cavity" | "bench" |
 *   "no_identity" | "separators_lost" | "malformed" | "unreadable"} Meaning
 * @typedef {{meaning: Meaning, identity: string | null, named: string | null, construct: string | null, elements: Element[],
 *   cage: string | null, part_number: string | null, current_part_number: string | null, lot: string | null,
 *   serial: string | null, symbology: string | null, deviations: string[], faults: Fault[], unknown_here: boolean}} Mark
 *   A scan that was read, with the fields of the service's reading. `unknown_here`: only the service can read it, so it
 *   may still mean a connector; a station looks for the whole scan among those that the service has read before.
 */

export const LONGEST_BYTES = 2000;
export const LONGEST_SERIAL = 200;

const AIM = /^\][A-Za-z][0-9A-Za-z]/;
/** ISO/IEC 15424, from scanner makers' tables: the symbology identifiers that say that FNC1 stood first. */
const GS1_SYMBOLS = new Set(["]d2", "]d5", "]d8", "]dB", "]Q3", "]Q4", "]C1", "]e0"]);
/** Those that hold a bare GTIN. */
const RETAIL_SYMBOLS = new Set(["]E0", "]E3", "]E4"]);
/** A connector's id, plain, as a URN, or as the address of its page, which stands on tags. */
const CONNECTOR_ID =
  /^(?:[Uu][Rr][Nn]:[Uu][Uu][Ii][Dd]:|https?:\/\/[!-"$->@-~]+\/connectors\/)?([0-9A-Fa-f]{8}-(?:[0-9A-Fa-f]{4}-){3}[0-9A-Fa-f]{12})$/;
const CONTROLS =
  "The mark holds control characters but no message header. If it is a GS1 symbol, let the scanner send the symbology " +
  "identifier in front of it.";
const CONTROL = /[\x00-\x1f\x7f-\x9f\ufffe\uffff]/;
/** Pictures of control characters, and the private-use characters that some keyboards send for them: a separator was
 * replaced on the way, and what else was replaced nobody knows. */
const SUBSTITUTE = /[\u2400-\u2426\ue000-\uf8ff]/;

const WEB = /^https?:\/\//i;
/** The identifiers that can begin the path of a GS1 Digital Link. */
const LINK_KEYS = new Set([
  "00", "01", "253", "255", "401", "402", "414", "415", "417", "8003", "8004", "8006", "8010", "8013", "8017", "8018",
]);

/** Read a scan. Never fails: what can't be read is a mark that says so.
 * @param {Uint8Array} bytes @param {string | null} [symbology] the AIM identifier if the reader gives it beside the data;
 *   one in front of the data is taken off @returns {Mark} */
export function read(bytes, symbology = null) {
  if (bytes.length > LONGEST_BYTES) {
    return unreadable("too_long", `The mark has ${bytes.length} bytes; more than ${LONGEST_BYTES} are never read.`, null);
  }
  let text;
  try {
    text = new TextDecoder("utf-8", { fatal: true, ignoreBOM: true }).decode(bytes);
  } catch {
    return unreadable("not_utf8", "The mark holds bytes that are not text (UTF-8): check the scanner set-up.", null);
  }
  const found = AIM.exec(text);
  if (found) [text, symbology] = [text.slice(found[0].length), found[0]];
  text = withoutSuffix(text);
  if (text.startsWith(envelope.HEADER)) return message(text, symbology);
  if (symbology !== null && ((isGs1Symbol(symbology) && text) || RETAIL_SYMBOLS.has(symbology))) return unknownHere(symbology);
  return plain(text, symbology);
}

/** Whether a symbology identifier says that the data are GS1's, with separators between them.
 * @param {string} symbology @returns {boolean} */
export function isGs1Symbol(symbology) {
  return GS1_SYMBOLS.has(symbology);
}

/** The keys to try for a scanned mark, best first; none where it gives no identity.
 * @param {Mark} mark @returns {string[]} */
export function lookUpKeys(mark) {
  return mark.identity === null ? [] : [mark.identity];
}

/** The keys under which a registered connector is found: its id, its serial as it stands, and the UIIs it can bear.
 * Which construct its maker uses is not known, so both are keys (MIL-STD-130N); only legal elements make one.
 * @param {string} serial @param {string | null} [cage] @param {string | null} [partNumber] @param {string | null} [id]
 * @returns {string[]} */
export function keys(serial, cage = null, partNumber = null, id = null) {
  const found = [id, serial];
  if (cage) found.push(identity.construct1(cage, serial));
  if (cage && partNumber) found.push(identity.construct2(cage, partNumber, serial));
  return [...new Set(found)].flatMap((each) => (each ? [each] : []));
}

/** Whether a mark says that it is not this connector, although a key of it is the same text.
 * `D` + 0CVA5 + 1234 + 786950 and `D` + 0CVA5 + 123 + 4786950 are one text: where the mark names its elements, those
 * decide. A connector registered with the whole UII as its serial is taken at its word.
 * @param {Mark} mark @param {string} serial @param {string | null} [cage] @param {string | null} [partNumber]
 * @returns {boolean} */
export function contradicts(mark, serial, cage = null, partNumber = null) {
  if ((mark.construct !== "construct_1" && mark.construct !== "construct_2") || serial === mark.identity) return false;
  if (serial !== mark.serial || (cage !== null && mark.cage !== null && cage !== mark.cage)) return true;
  // Here the rest of the key is a lot in the mark, but a part number in the register.
  return mark.lot !== null && partNumber !== null;
}

/** @param {Meaning} meaning @param {string | null} symbology @param {Partial<Mark>} [told] @returns {Mark} */
function mark(meaning, symbology, told = {}) {
  return {
    meaning, identity: null, named: null, construct: null, elements: [], cage: null, part_number: null,
    current_part_number: null, lot: null, serial: null, symbology, deviations: [], faults: [], unknown_here: false, ...told,
  };
}

/** @param {string} code @param {string} text @param {string | null} symbology */
function unreadable(code, text, symbology) {
  return mark("unreadable", symbology, { faults: [{ code, text }] });
}

/** @param {string | null} symbology */
function unknownHere(symbology) {
  return mark("gs1", symbology, { unknown_here: true });
}

/** Take off the one CR, LF, CR LF or TAB that a keyboard wedge sends after the data; a second one is data.
 * @param {string} text */
function withoutSuffix(text) {
  return text.replace(/(?:\r\n|\r|\n|\t)$/, "");
}

/** @param {string} text @param {string | null} symbology @returns {Mark} */
function plain(text, symbology) {
  if (/^ *$/.test(text)) return unreadable("empty", "There is nothing in this mark.", symbology);
  if (CONTROL.test(text)) return unreadable("control_characters", CONTROLS, symbology);
  if (SUBSTITUTE.test(text)) return mark("separators_lost", symbology, { faults: [envelope.SEPARATORS_LOST] });
  const id = CONNECTOR_ID.exec(text);
  if (id) return mark("connector_id", symbology, { identity: id[1].toLowerCase() });
  if (ownMarks.isMeant(text)) return own(text, symbology);
  if (isLink(text)) return unknownHere(symbology);
  const length = [...text].length;
  if (length > LONGEST_SERIAL) {
    return unreadable("too_long", `A serial has at most ${LONGEST_SERIAL} characters; this text has ${length}.`, symbology);
  }
  const spaced = text.startsWith(" ") || text.endsWith(" ");
  return mark("plain_serial", symbology, { identity: text, serial: text, deviations: spaced ? ["outer_spaces"] : [] });
}

/** Whether a text is a web address with a GS1 key in its path: then it is a Digital Link or a broken one.
 * @param {string} text */
function isLink(text) {
  return WEB.test(text) && text.split(/[/?#]/).slice(3).some((each) => LINK_KEYS.has(each));
}

/** @param {string} text @param {string | null} symbology */
function own(text, symbology) {
  const found = ownMarks.read(text);
  if ("why" in found) {
    return mark("malformed", symbology, { faults: [{ code: "bad_own_mark", text: `This mark of ours can't be used: ${found.why}.` }] });
  }
  return mark(/** @type {Meaning} */ (found.kind), symbology, {
    named: found.name,
    elements: [{ format: "urn", qualifier: found.kind, value: found.name }],
    deviations: found.escaped ? [] : ["not_escaped"],
  });
}

/** @param {string} text @param {string | null} symbology */
function message(text, symbology) {
  const found = envelope.read(text);
  if (envelope.isFault(found)) {
    return mark(found === envelope.SEPARATORS_LOST ? "separators_lost" : "malformed", symbology, { faults: [found] });
  }
  // What a GS1 envelope holds may be the identity, or may contradict the one beside it.
  if (found.envelopes.some((each) => each.format === envelope.APPLICATION_DATA)) return unknownHere(symbology);
  return identified(found, symbology);
}

/** @param {import("./envelope.js").Message} message @param {string | null} symbology */
function identified(message, symbology) {
  const elements = message.envelopes.flatMap((each) => each.elements);
  const reading = identity.read(message.envelopes);
  const told = {
    elements,
    current_part_number: first(elements, "30P", "PNR"),
    deviations: [...message.deviations, ...reading.deviations],
  };
  const faults = [...message.faults, ...reading.faults];
  const made = reading.identity;
  if (made === null || faults.length) return mark("no_identity", symbology, { ...told, faults });
  // Beside a serial that is unique in its enterprise a part number is information; beside a whole UII it says nothing.
  const beside = made.construct === "construct_1" ? first(elements, "1P", "PNO") : null;
  const { uii, construct, cage, part_number, lot, serial } = made;
  return mark("iuid", symbology, { ...told, identity: uii, construct, cage, part_number: part_number || beside, lot, serial });
}

/** @param {Element[]} elements @param {string[]} qualifiers */
function first(elements, ...qualifiers) {
  return elements.find((each) => qualifiers.includes(each.qualifier))?.value ?? null;
}
