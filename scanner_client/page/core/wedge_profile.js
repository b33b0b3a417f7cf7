// @ts-check
// Wedge profiles: what a scanner that types makes of each character at one station, proven by a printed check symbol.
// Twin of service/core/wedge_profile.py, where the reasons stand; held to tests/core/wedge_vectors.json with it.

import { EOT, GS, RS, isFault } from "./envelope.js";

/**
 * @typedef {import("./envelope.js").Fault} Fault
 * @typedef {{character: string, tokens: string[]}} Arrival
 *   What one character arrives as: characters, or names of what was pressed (`Ctrl+]`, `Alt+029`, `F8`). No tokens: it does
 *   not arrive, which only EOT may do.
 * @typedef {{arrivals: Arrival[]}} Profile What a station's scanner delivers; every other character arrives as itself.
 */

export { isFault };

/** What a UII may hold (public pages quoting MIL-STD-130N). */
const ALPHABET = new Set("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-/");
/** The characters, letters and digits apart, that a mark may need: each stands in the check symbol on its own. */
export const PROVEN = [GS, RS, " ", ..."-/[)>+:.%]"];
const BODY = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789azA-B/C[D)E>F+G:H.I%J]K";
/** What the check symbol holds: a legal ISO/IEC 15434 message that identifies nothing. */
export const CHECK = `[)>${RS}06${GS}ZTINEBOOK WEDGE CHECK${RS}06${GS}Z${BODY}${RS}${EOT}`;

const LONGEST_SUBSTITUTE = 8;
const LONGEST_PROOF = CHECK.length * LONGEST_SUBSTITUTE;
const SUFFIXES = [["\r", "\n"], ["\r"], ["\n"], ["\t"], ["Enter"], ["Tab"]];
const ENDING = new Set(SUFFIXES.flat());
const AIM = /^\][A-Za-z][0-9A-Za-z]$/;
const NAMES = new Map([[GS, "GS"], [RS, "RS"], [EOT, "EOT"], [" ", "space"]]);
const SET_UP = "scan the check symbol again, and check the scanner set-up.";

/** The profile of a station, from what the check symbol arrived as; or why no scan there could be trusted.
 * @param {string[]} received @returns {Profile | Fault} */
export function prove(received) {
  const tokens = withoutSuffix(received);
  if (!tokens.length || tokens.length > LONGEST_PROOF) return notTheSymbol();
  const { coded, names } = code(tokens);
  const groups = PATTERN.exec(coded)?.groups;
  if (!groups) return whyNot(tokens);
  const arrived = new Map(PROVEN.map((each, at) => [each, groups[`c${at}`]]));
  const rs = arrived.get(RS) ?? "";
  if (groups.end && !groups.end.startsWith(rs)) return notTheSymbol();
  arrived.set(EOT, groups.end.slice(rs.length));
  const profile = { arrivals: [...arrived].map(([character, text]) => ({ character, tokens: [...text].map((each) => names.get(each) ?? each) })) };
  const header = [..."[)>", RS].map((each) => arrived.get(each)).join("");
  if (!groups.lead.endsWith(header)) return notTheSymbol();
  const before = normalise(profile, tokens.slice(0, [...groups.lead].length - [...header].length));
  if (isFault(before) || !AIM.test(new TextDecoder("utf-8", { ignoreBOM: true }).decode(before) || "]d1")) return notTheSymbol();
  return confusion(profile) ?? profile;
}

/** What the symbol held, in UTF-8, without the one suffix that the scanner sends after it. A fault where something arrives
 * that the profile does not explain: the scanner's set-up was changed, so nothing that it sends is known any more.
 * @param {Profile} profile @param {string[]} received @returns {Uint8Array | Fault} */
export function normalise(profile, received) {
  const arriving = profile.arrivals.filter((each) => each.tokens.length);
  const book = new Map(arriving.map((each) => [JSON.stringify(each.tokens), each.character]));
  const displaced = new Set(profile.arrivals.filter((each) => !isItself(each)).map((each) => each.character));
  const longest = Math.max(1, ...arriving.map((each) => each.tokens.length));
  const tokens = withoutSuffix(received);
  let text = "";
  for (let at = 0; at < tokens.length;) {
    let taken = 1;
    while (taken <= longest && !book.has(JSON.stringify(tokens.slice(at, at + taken)))) taken += 1;
    if (taken <= longest) text += book.get(JSON.stringify(tokens.slice(at, at + taken)));
    else if (isCharacter(tokens[at]) && !displaced.has(tokens[at]) && !/\p{Cs}/u.test(tokens[at])) [text, taken] = [text + tokens[at], 1];
    else return { code: "not_by_profile", text: `${shown(tokens[at])} arrived, which it never should here: ${SET_UP}` };
    at += taken;
  }
  return new TextEncoder().encode(text);
}

/** What a station with this profile delivers for a text: the inverse of `normalise`. Without a profile, the text itself.
 * @param {Profile | null} profile @param {string} text @returns {string[]} */
export function delivered(profile, text) {
  const arrived = new Map(profile?.arrivals.map((each) => [each.character, each.tokens]));
  return [...text].flatMap((each) => arrived.get(each) ?? [each]);
}

/** The profile to keep with each scan, readable: `GS=Ctrl+] RS=Ctrl+Shift+6 EOT=Ctrl+D`, or `plain`.
 * @param {Profile} profile @returns {string} */
export function name(profile) {
  const changed = profile.arrivals.filter((each) => !isItself(each));
  return changed.map((each) => `${shown(each.character)}=${each.tokens.map(shown).join("") || "nothing"}`).join(" ") || "plain";
}

/** Whether a token is a character as it is, not the name of what was pressed. @param {string} token @returns {boolean} */
export function isCharacter(token) {
  return [...token].length === 1;
}

/** @param {Arrival} arrival */
function isItself({ character, tokens }) {
  return tokens.length === 1 && tokens[0] === character;
}

/** Why messages could be taken for one another, if they could. @param {Profile} profile @returns {Fault | null} */
function confusion(profile) {
  /** @type {Arrival[]} */
  const taken = [];
  for (const each of profile.arrivals.filter(({ tokens }) => tokens.length)) {
    const arrives = `${shown(each.character)} arrives as ${each.tokens.map(shown).join("")}`;
    const fault = isItself(each) ? null : unfit(each.tokens, arrives);
    if (fault) return fault;
    const clash = taken.find((other) => begins(other.tokens, each.tokens) || begins(each.tokens, other.tokens));
    if (clash) {
      return { code: "ambiguous", text: `${arrives}, which can't be told from ${shown(clash.character)}: choose another substitute.` };
    }
    taken.push(each);
  }
  return null;
}

/** Why these tokens can stand for no character but themselves. @param {string[]} tokens @param {string} arrives @returns {Fault | null} */
function unfit(tokens, arrives) {
  if (tokens.every((each) => ALPHABET.has(each))) {
    return { code: "inside_alphabet", text: `${arrives}, which may stand in a UII: choose another substitute.` };
  }
  if (/^[A-Za-z0-9]$/.test(tokens[0]) || ALPHABET.has(tokens[0])) {
    return { code: "ambiguous", text: `${arrives}, which begins like ordinary data: choose another substitute.` };
  }
  if (tokens.some((each) => ENDING.has(each))) {
    return { code: "ends_message", text: `${arrives}, which would end the message: choose another substitute.` };
  }
  return null;
}

/** Whether tokens begin with others. @param {string[]} short @param {string[]} long @returns {boolean} */
export function begins(short, long) {
  return short.length <= long.length && short.every((each, at) => each === long[at]);
}

/** @param {string[]} tokens */
function withoutSuffix(tokens) {
  const suffix = SUFFIXES.find((each) => each.length <= tokens.length && each.every((one, at) => one === tokens[tokens.length - each.length + at]));
  return tokens.slice(0, tokens.length - (suffix?.length ?? 0));
}

/** @param {string} token */
function shown(token) {
  const named = NAMES.get(token);
  if (named) return named;
  const isPrintable = ![...token].some((each) => each !== " " && /[\p{C}\p{Z}]/u.test(each));
  return isPrintable ? token : [...token].map((each) => `<${(each.codePointAt(0) ?? 0).toString(16).toUpperCase().padStart(2, "0")}>`).join("");
}

// --- taking the check symbol apart

const PLACEHOLDER = 0xf0000;

/** Tokens as a text of one character each, and what each stand-in stands for. Half a surrogate pair gets one as well, lest
 * two of them make a character. @param {string[]} tokens */
function code(tokens) {
  const isNamed = (/** @type {string} */ each) => !isCharacter(each) || (each.codePointAt(0) ?? 0) >= PLACEHOLDER || /\p{Cs}/u.test(each);
  const standIns = new Map([...new Set(tokens.filter(isNamed))].map((each, at) => [each, String.fromCodePoint(PLACEHOLDER + at)]));
  return { coded: tokens.map((each) => standIns.get(each) ?? each).join(""), names: new Map([...standIns].map(([each, standIn]) => [standIn, each])) };
}

/** Letters and digits of the check text as they are; whatever is between them is what a character became. */
function pattern() {
  const known = new Set();
  const parts = [...CHECK.slice(`[)>${RS}`.length, -`${RS}${EOT}`.length)].map((each) => {
    const at = PROVEN.indexOf(each);
    if (at < 0) return each;
    if (known.has(each)) return `\\k<c${at}>`;
    known.add(each);
    return `(?<c${at}>.{1,${LONGEST_SUBSTITUTE}}?)`;
  });
  return new RegExp(`^(?<lead>.*?)${parts.join("")}(?<end>.{0,${2 * LONGEST_SUBSTITUTE}})$`, "su");
}

const PATTERN = pattern();

/** @param {string[]} tokens @returns {Fault} */
function whyNot(tokens) {
  const expected = letters([...CHECK]);
  const arrived = letters(tokens.filter(isCharacter));
  if (arrived === expected) {
    const text = "Letters and digits arrive, but a separator or sign between them does not: set the scanner to send control characters, or a substitute for each.";
    return { code: "separators_lost", text };
  }
  if (swapped(arrived) === expected) {
    return { code: "caps_lock", text: "Capitals arrive as small letters: switch Caps Lock off and scan the check symbol again." };
  }
  if (arrived.length !== expected.length) return notTheSymbol();
  const wrong = [...new Set([...expected].flatMap((each, at) => (each === arrived[at] ? [] : [`${each} as ${arrived[at]}`])))];
  const text = `Letters or digits are changed (${wrong.join(", ")}): set the scanner's keyboard country to the computer's.`;
  return { code: "layout", text };
}

/** @param {string[]} tokens */
function letters(tokens) {
  return tokens.filter((each) => /^[A-Za-z0-9]$/.test(each)).join("");
}

/** @param {string} text */
function swapped(text) {
  return [...text].map((each) => (each === each.toUpperCase() ? each.toLowerCase() : each.toUpperCase())).join("");
}

/** @returns {Fault} */
function notTheSymbol() {
  const text =
    "This is not what the check symbol should give. If it was the check symbol, set the scanner's keyboard country to " +
    "the computer's, and let it send the whole symbol unchanged.";
  return { code: "not_the_check_symbol", text };
}
