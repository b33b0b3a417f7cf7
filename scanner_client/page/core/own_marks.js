// @ts-check
// Our own marks, `urn:tinebook:KIND:NAME` (RFC 8141): badges, tools, work orders, cavities and benches. Twin of
// service/core/own_marks.py, where the form is explained.

export const PREFIX = "urn:tinebook:";
export const KINDS = ["badge", "tool", "work_order", "cavity", "bench"];
export const LONGEST_NAME = 200;
export const LONGEST_CAVITY_ID = 16;

/** @typedef {{kind: string, name: string, escaped: boolean}} OwnMark `escaped`: no character ought to have been percent-encoded. */

const START = /^urn:tinebook:/i;
const BAD_ESCAPE = /%(?![0-9A-Fa-f]{2})/;
const CONTROL = /[\x00-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]/u;
/** What Python calls white space. */
const SPACE = /[\t-\r\x1c-\x20\x85\xa0\u1680\u2000-\u200a\u2028\u2029\u202f\u205f\u3000]/;
const STANDS_FOR_ITSELF = /^[A-Za-z0-9_.~/!$&'()*+,;=:@-]$/;

/** Whether a text begins like a mark of ours: then it is one, or a broken one, and nothing else.
 * @param {string} text @returns {boolean} */
export function isMeant(text) {
  return START.test(text);
}

/** Read a mark of ours, or say why it can't be used.
 * @param {string} text @returns {OwnMark | {why: string}} */
export function read(text) {
  const rest = text.slice(PREFIX.length);
  const at = rest.indexOf(":");
  const [kind, spelled] = at < 0 ? [rest, ""] : [rest.slice(0, at), rest.slice(at + 1)];
  if (!isMeant(text) || !KINDS.includes(kind)) return { why: `it must begin ${PREFIX} and one of ${KINDS.join(", ")}` };
  if (spelled.includes("?") || spelled.includes("#")) return { why: "a ? or # in its name must be percent-encoded" };
  if (BAD_ESCAPE.test(spelled)) return { why: "a % in its name must begin two hexadecimal digits" };
  const name = unquoted(spelled);
  if (name === null) return { why: "what is percent-encoded in its name is not UTF-8" };
  const why = wrongName(kind, name);
  if (why) return { why };
  const canonical = quoted(name, false);
  if (upper(quoted(spelled, true)) !== canonical) {
    return { why: "a character that stands for itself is percent-encoded in its name" };
  }
  return { kind, name, escaped: upper(spelled) === canonical };
}

/** @param {string} spelled */
function upper(spelled) {
  return spelled.replace(/%[0-9A-Fa-f]{2}/g, (found) => found.toUpperCase());
}

/** @param {string} text @param {boolean} keepsPercent */
function quoted(text, keepsPercent) {
  return [...text].map((each) => {
    if (STANDS_FOR_ITSELF.test(each) || (keepsPercent && each === "%")) return each;
    return [...new TextEncoder().encode(each)].map((byte) => `%${byte.toString(16).toUpperCase().padStart(2, "0")}`).join("");
  }).join("");
}

/** @param {string} spelled @returns {string | null} */
function unquoted(spelled) {
  const bytes = spelled.split(/(%[0-9A-Fa-f]{2})/).flatMap((each, place) =>
    place % 2 ? [parseInt(each.slice(1), 16)] : [...new TextEncoder().encode(each)]);
  try {
    return new TextDecoder("utf-8", { fatal: true, ignoreBOM: true }).decode(new Uint8Array(bytes));
  } catch {
    return null;
  }
}

/** @param {string} kind @param {string} name @returns {string | null} */
function wrongName(kind, name) {
  const characters = [...name];
  const longest = kind === "cavity" ? LONGEST_CAVITY_ID : LONGEST_NAME;
  const ends = [characters[0] ?? "", characters[characters.length - 1] ?? ""];
  if (ends.some((each) => SPACE.test(each)) || CONTROL.test(name)) {
    return "its name has a control character, or a space at an end";
  }
  if (characters.length < 1 || characters.length > longest) return `its name must have 1 to ${longest} characters`;
  return kind === "cavity" && SPACE.test(name) ? "a cavity's id has no spaces" : null;
}
