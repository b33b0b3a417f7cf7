// @ts-check
// ISO/IEC 15434 messages: what stands between `[)>` and EOT, as elements. Twin of service/core/envelope.py; what is inside
// a GS1 envelope (format 05) is left to the service, so such an envelope is kept in one piece here.

/**
 * @typedef {{code: string, text: string}} Fault Why a mark can't be used: a stable code, and a sentence to read aloud.
 * @typedef {{format: string, qualifier: string, value: string}} Element
 *   One element. The qualifier is empty where none could be told apart; the value then holds everything.
 * @typedef {{format: string, elements: Element[]}} Envelope
 * @typedef {{envelopes: Envelope[], deviations: string[], faults: Fault[]}} Message
 *   A message that could be taken apart. `faults` are elements that nobody may guess at; they forbid an identity.
 */

export const HEADER = "[)>";
/** The format of GS1 application identifiers. */
export const APPLICATION_DATA = "05";
export const GS = "\x1d";
export const RS = "\x1e";
export const EOT = "\x04";

/** Without GS a part number that holds an S can't be told from a serial, so nothing is guessed. @type {Fault} */
export const SEPARATORS_LOST = { code: "separators_lost", text: "The separators of this mark were lost: check the scanner set-up." };

/** @type {Fault} */
const NO_HEADER = { code: "no_header", text: "The mark begins like an ISO/IEC 15434 message but the separator after [)> is missing." };
/** @type {Fault} */
const AFTER_END = { code: "data_after_end", text: "Something follows the end of the message: scan the mark again, on its own." };
/** @type {Fault} */
const CONTROLS = { code: "control_characters", text: "The message holds control characters that have no place in it." };

const FOREIGN = /[\x00-\x03\x05-\x1b\x7f]/;
const NOT_READ = new Set(["01", "02", "03", "04", "07", "08"]);
const TEXT_FORMATS = new Set(["12", "DD"]);
const DATA_IDENTIFIER = /^([0-9]{0,3})([A-Z])(.*)$/s;
const TEXT_IDENTIFIER = /^([A-Z][A-Z0-9]{2}) (.*)$/s;
/** Those that say something about identity; another one of the right form is noted rather than refused. */
const TEXT_IDENTIFIERS = new Set(
  ["MFR", "SER", "CAG", "SPL", "UCN", "DUN", "EUC", "PNO", "SEQ", "LOT", "BII", "UID", "USN", "UST", "PNR"],
);

/** Whether what was asked for came out as a fault.
 * @template {object} T @param {T | Fault} found @returns {found is Fault} */
export function isFault(found) {
  return "code" in found;
}

/** Take a message apart: strict on its header, lenient on a final RS and EOT that scanners drop (ISO/IEC 15434).
 * A fault instead of a message means that its structure can't be trusted at all.
 * @param {string} text @returns {Message | Fault} */
export function read(text) {
  if (!text.includes(GS)) return SEPARATORS_LOST;
  if (!text.startsWith(HEADER + RS)) return NO_HEADER;
  const { body, deviations } = withoutEnd(text.slice((HEADER + RS).length));
  if (body.includes(EOT)) return AFTER_END;
  if (FOREIGN.test(body)) return CONTROLS;
  /** @type {Envelope[]} */
  const envelopes = [];
  for (const chunk of body.split(RS)) {
    const found = envelope(chunk);
    if (isFault(found)) return found;
    envelopes.push(found);
  }
  return judged(envelopes, deviations);
}

/** @param {string} body */
function withoutEnd(body) {
  const deviations = [];
  if (body.endsWith(EOT)) body = body.slice(0, -1);
  else deviations.push("missing_eot");
  if (body.endsWith(RS)) body = body.slice(0, -1);
  else deviations.push("missing_rs");
  return { body, deviations };
}

/** @param {string} chunk @returns {Envelope | Fault} */
function envelope(chunk) {
  const [code, rest] = halved(chunk, 2);
  if (NOT_READ.has(code)) return { format: code, elements: [{ format: code, qualifier: "", value: rest }] };
  const lexer = LEXERS.get(code);
  if (lexer === undefined) {
    return { code: "unknown_format", text: "The message has an envelope of a format that is not used for identity marks." };
  }
  if (!rest.startsWith(GS)) return { code: "no_separator", text: `The separator after the format code ${code} is missing.` };
  if (rest === GS) return { code: "no_element", text: `The envelope of format ${code} is empty.` };
  return { format: code, elements: lexer(code, rest.slice(1)) };
}

/** A text cut after so many characters; one outside the basic plane counts as one. @param {string} text @param {number} at */
export function halved(text, at) {
  const start = [...text].slice(0, at).join("");
  return [start, text.slice(start.length)];
}

/** @param {Envelope[]} envelopes @param {string[]} deviations @returns {Message} */
function judged(envelopes, deviations) {
  /** @type {Fault[]} */
  const faults = [];
  for (const each of envelopes) {
    if (NOT_READ.has(each.format)) deviations.push("format_not_read");
    else if (each.format !== APPLICATION_DATA) each.elements.forEach((element) => judge(element, deviations, faults));
  }
  return { envelopes, deviations: [...new Set(deviations)], faults };
}

/** @param {Element} element @param {string[]} deviations @param {Fault[]} faults */
function judge(element, deviations, faults) {
  const { format, qualifier, value } = element;
  if (value === "") {
    faults.push({ code: "empty_value", text: `${qualifier ? `The element ${qualifier}` : "An element"} has no value.` });
  } else if (!listed(element)) {
    const text = `The element that begins ${qualifier || printable(halved(value, 8)[0])} is of no known kind.`;
    faults.push({ code: "unknown_qualifier", text });
  } else if (TEXT_FORMATS.has(format) && !TEXT_IDENTIFIERS.has(qualifier)) {
    deviations.push("unlisted_qualifier");
  }
}

/** What of a text can be shown. @param {string} text @returns {string} */
export function printable(text) {
  return [...text].filter((each) => each === " " || !/[\p{C}\p{Z}]/u.test(each)).join("");
}

/** @param {string} code @param {string} rest @returns {Element[]} */
function dataIdentifiers(code, rest) {
  return rest.split(GS).map((piece) => {
    const found = DATA_IDENTIFIER.exec(piece);
    return found ? { format: code, qualifier: found[1] + found[2], value: found[3] } : { format: code, qualifier: "", value: piece };
  });
}

/** @param {string} code @param {string} rest @returns {Element[]} */
function textIdentifiers(code, rest) {
  return rest.split(GS).map((piece) => {
    const found = TEXT_IDENTIFIER.exec(piece);
    return found ? { format: code, qualifier: found[1], value: found[2] } : { format: code, qualifier: "", value: piece };
  });
}

/** @param {string} code @param {string} rest @returns {Element[]} */
function inOnePiece(code, rest) {
  return [{ format: code, qualifier: "", value: rest }];
}

/** @type {Map<string, (code: string, rest: string) => Element[]>} */
const LEXERS = new Map([
  [APPLICATION_DATA, inOnePiece], ["06", dataIdentifiers], ["12", textIdentifiers], ["DD", textIdentifiers],
]);

/** `0-2 5` becomes the prefixes of a category: the empty one for 0, then 1, 2, 5. @param {string} spans */
function numbers(spans) {
  const found = new Set();
  for (const span of spans.split(" ")) {
    const ends = span.split("-").map(Number);
    for (let at = ends[0]; at <= ends[ends.length - 1]; at += 1) found.add(at ? String(at) : "");
  }
  return found;
}

/** The categories of ANSI MH10.8.2 with the numbers that its list (2025-09-09, second-hand) assigns in each. An identifier
 * that is not on it may be a newer kind of identity that would override the others, so it forbids one. */
const CATEGORIES = new Map(Object.entries({
  B: "0-5 7-31 55", C: "0-5", D: "0-28", E: "0-6 10-13", F: "0-1 3-5", H: "0-12 15 25-26", I: "0 2 4-5", J: "0-8",
  K: "0-22 25-27", L: "0-9 11-13 15-18 20-36 51-52 54-55", M: "10-14", N: "0-1 3-12 15", P: "0-34 40 49-55",
  Q: "0-9 11-32", R: "1-2 4-9", S: "0-28 30-37 42-43 50-54 96-97", T: "0-1 3 20-27 30-34", U: "5-6 15-19 55",
  V: "0-25", W: "0-6 10-12", Z: "0-4 10-99",
}).map(([letter, spans]) => [letter, numbers(spans)]));

/** @param {Element} element */
function listed({ format, qualifier }) {
  if (format === "06" && qualifier) return CATEGORIES.get(qualifier.slice(-1))?.has(qualifier.slice(0, -1)) ?? false;
  return qualifier !== "";
}
