// @ts-check
// A scanner that types: key by key, is this a scan or a person? Pure; times come in. Twin of scanner_client/wedge.py.
// Decided by structure first (an AIM identifier, `[)>`, a separator), then by the suffix that ends it, by timing last.
//
// The page calls `takes` before `feed` for each token of keys.js, and prevents the key's default where it says so; it calls
// `pause` a few times a second, since a scanner need not send a suffix.

import * as readings from "./readings.js";
import * as profiles from "./wedge_profile.js";
import { GS, RS, EOT } from "./envelope.js";
import { isGs1Symbol } from "./marks.js";

/**
 * @typedef {import("./wedge_profile.js").Profile} Profile
 * @typedef {{type: "scan", bytes: Uint8Array, symbology: string | null, text: string, tokens: string[]} |
 *   {type: "text", text: string} | {type: "refused", reason: string, tokens: string[]} |
 *   {type: "proven", profile: Profile, name: string, bytes: Uint8Array, symbology: null, text: string, tokens: string[]}} Event
 *   A symbol was scanned; a person typed a line; something arrived that can't be used, and why; the check symbol was scanned
 *   and this is the station's profile from now on: keep it. `tokens` is what arrived.
 * @typedef {{held: string[], slowest_ms: number, last_ms: number, suffix_until_ms: number | null, flooded: boolean,
 *   caps: boolean, profile: Profile | null, proving: boolean}} Wedge
 *   What has arrived of a message, the greatest gap in it, when its last key came, and how long a suffix may follow.
 */

/** A scanner leaves less than this between two characters; a person does not keep it up. */
export const FAST_MS = 35;
/** Fewer characters than this are never called a scan by their timing alone. */
export const FEWEST = 3;
/** A CR, LF or TAB this soon after a message belongs to its suffix. */
export const SUFFIX_MS = 100;
/** A message without a suffix has ended when nothing has come for this long. */
export const IDLE_MS = 250;
export const FEWEST_WITHOUT_SUFFIX = 6;
export const LONGEST = 4 * readings.LONGEST;
/** The check symbol has arrived when nothing has come for this long, whatever it arrived as. */
export const PROOF_IDLE_MS = 1000;
/** A key that was pressed outside of every field is forgotten after this time, lest it come in front of a later scan. */
export const FORGET_MS = 2000;

export const UNPROVEN =
  "This scan holds separators or ought to hold some, and what the scanner makes of them here is not proven. Scan the check " +
  "symbol first (tinebook label check prints it). Until then plain serial numbers alone can be scanned.";
export const CAPS_LOCK = "Caps Lock is on, so that capitals may arrive as small letters: switch it off and scan again.";
export const DEAD_KEY =
  "A sign of this scan arrived as an accent that changes the letter after it: set the scanner's keyboard country to the computer's.";

const SUFFIXES = new Set(["\r", "\n", "\t", "Enter", "Tab"]);
const TABS = new Set(["\t", "Tab"]);
const ENDS = new Set([EOT, "Ctrl+D", "Alt+4", "Alt+04", "Alt+004", "Alt+0004"]);
const BACKSPACES = new Set(["\b", "\x7f", "Backspace"]);
const CLEARS = new Set(["\x15", "Escape"]);
/** What separators arrive as without a profile: themselves, their control chords, their numbers on the keypad. */
const SEPARATES = /^(?:[\x1c-\x1f]|Ctrl\+(?:Shift\+)?(?:[\]\\^_6-])|Alt\+0*(?:28|29|30|31))$/;
const IGNORED = /^[\x00-\x1b]$/;
const SUBSTITUTE = /[\x00-\x1f\x7f-\x9f\u2400-\u2426\ue000-\uf8ff\ufffe\uffff]/;
/** Separators written out, as label programs and scanners do (issue threads; the rest from memory). */
const WRITTEN = /<(?:GS|RS|EOT)>|\{(?:GS|RS|EOT)\}|[~^]d?0(?:29|30|04)|\\x(?:1d|1e|04)/i;
const HEADER = "[)>";

/** Nothing has arrived yet at a station with this profile; with none, scans that need separators are refused.
 * @param {Profile | null} [profile] @param {boolean} [proving] the check symbol is about to be scanned: whatever comes is it
 * @returns {Wedge} */
export function begin(profile = null, proving = false) {
  return { held: [], slowest_ms: 0, last_ms: 0, suffix_until_ms: null, flooded: false, caps: false, profile, proving };
}

/** Take one token that arrived at `at_ms` (any clock that only goes forward). `caps`: Caps Lock was on.
 * @param {Wedge} state @param {string} token @param {number} at_ms @param {boolean} [caps] @returns {[Wedge, Event | null]} */
export function feed(state, token, at_ms, caps = false) {
  const gap = state.held.length ? at_ms - state.last_ms : 0;
  state = gap > FORGET_MS && !state.proving && !structured(state) ? { ...begin(state.profile), last_ms: at_ms }
    : { ...state, last_ms: at_ms, slowest_ms: Math.max(state.slowest_ms, gap), caps: state.caps || caps };
  return press(state, token, at_ms);
}

/** @param {Wedge} state @param {string} token @param {number} at_ms @returns {[Wedge, Event | null]} */
function press(state, token, at_ms) {
  if (state.proving) return [withToken(state, token), null];
  if (SUFFIXES.has(token)) return suffix(state, token, at_ms);
  if (ENDS.has(token)) return structured(state) ? ended({ ...state, held: [...state.held, token] }, at_ms) : [state, null];
  if (state.flooded) return [state, null];
  if (BACKSPACES.has(token) && !structured(state)) return [{ ...state, held: withoutLast(state.held) }, null];
  if (CLEARS.has(token)) return [{ ...state, held: [], slowest_ms: 0, caps: false }, null];
  if (IGNORED.test(token) || (!state.held.length && !profiles.isCharacter(token))) return [state, null];
  const next = withHeader(state, withToken(state, token));
  return endsByProfile(next) ? ended(next, at_ms) : [next, null];
}

/** Say that nothing has come until `at_ms`: a scanner without a suffix has then ended its message.
 * @param {Wedge} state @param {number} at_ms @returns {[Wedge, Event | null]} */
export function pause(state, at_ms) {
  const silent_ms = at_ms - state.last_ms;
  if ((!state.held.length && !state.flooded) || silent_ms < (state.proving ? PROOF_IDLE_MS : IDLE_MS)) return [state, null];
  if (state.proving) return proof(state);
  if (state.flooded || structured(state)) return ended(state, state.last_ms);
  const byTiming = state.slowest_ms <= FAST_MS && state.held.length >= FEWEST_WITHOUT_SUFFIX;
  return byTiming ? ended(state, state.last_ms) : [state, null];
}

/** Take a text that arrived in one piece, pasted or put in by a scanner's own program.
 * @param {Wedge} state @param {string} text @param {number} at_ms @returns {[Wedge, Event | null]} */
export function arrive(state, text, at_ms) {
  const tokens = [...text.replace(/(?:\r\n|\r|\n|\t)$/, "")];
  const whole = { ...begin(state.profile, state.proving), held: tokens.slice(0, LONGEST), flooded: tokens.length > LONGEST, last_ms: at_ms };
  return state.proving ? proof(whole) : ended(whole, at_ms);
}

/** Whether a token that is about to be fed is part of a scan, so that the key must do nothing else: press no button, open
 * no bookmark, scroll no page.
 * @param {Wedge} state @param {string} token @param {number} at_ms @returns {boolean} */
export function takes(state, token, at_ms) {
  if (state.proving || structured(state)) return true;
  if (!state.held.length) return SUFFIXES.has(token) && state.suffix_until_ms !== null && at_ms <= state.suffix_until_ms;
  const isFast = Math.max(state.slowest_ms, at_ms - state.last_ms) <= FAST_MS;
  return isFast && (state.held.length >= FEWEST || !profiles.isCharacter(token)) && (!SUFFIXES.has(token) || state.held.length >= FEWEST);
}

/** Whether what has arrived says by itself that a scanner sent it. @param {Wedge} state @returns {boolean} */
export function structured({ held, profile }) {
  return profiles.begins(profiles.delivered(profile, HEADER), held) || isIdentified(held, profile)
    || held.some((each) => separates(each, profile));
}

/** Whether a message ended with the last key. @param {Wedge} state @returns {boolean} */
export function justEnded({ held, last_ms, suffix_until_ms }) {
  return !held.length && suffix_until_ms !== null && last_ms <= suffix_until_ms;
}

/** @param {string[]} held @param {Profile | null} profile */
function isIdentified(held, profile) {
  const bracket = profiles.delivered(profile, "]");
  const [family, modifier] = held.slice(bracket.length);
  return profiles.begins(bracket, held) && /^[A-Za-z]$/.test(family ?? "") && /^[0-9A-Za-z]$/.test(modifier ?? "");
}

/** @param {string} token @param {Profile | null} profile */
function separates(token, profile) {
  if (SEPARATES.test(token)) return true;
  return profile !== null && !profiles.isCharacter(token) && profiles.delivered(profile, GS + RS).includes(token);
}

/** @param {Wedge} state @param {string} token @returns {Wedge} */
function withToken(state, token) {
  if (state.held.length >= LONGEST) return { ...state, held: [], flooded: true };
  return { ...state, held: [...state.held, token] };
}

/** A message's header begins a message: what somebody has begun to type before it is dropped.
 * @param {Wedge} before @param {Wedge} state @returns {Wedge} */
function withHeader(before, state) {
  const header = profiles.delivered(state.profile, HEADER);
  const at = state.held.length - header.length;
  if (at <= 0 || !profiles.begins(header, state.held.slice(at)) || structured(before)) return state;
  return { ...state, held: header, slowest_ms: 0 };
}

/** @param {Wedge} state */
function endsByProfile(state) {
  const end = state.profile ? profiles.delivered(state.profile, EOT) : [];
  return end.length > 0 && profiles.begins(end, state.held.slice(-end.length)) && structured(state);
}

/** @param {string[]} held */
function withoutLast(held) {
  let at = held.length;
  while (at > 0 && !profiles.isCharacter(held[at - 1])) at -= 1;
  return held.slice(0, Math.max(at - 1, 0));
}

/** @param {Wedge} state @param {string} token @param {number} at_ms @returns {[Wedge, Event | null]} */
function suffix(state, token, at_ms) {
  if (!state.held.length && !state.flooded) {
    const soon = state.suffix_until_ms !== null && at_ms <= state.suffix_until_ms;
    return [state, soon || TABS.has(token) ? null : { type: "text", text: "" }];
  }
  if (TABS.has(token) && !state.flooded && !structured(state) && state.slowest_ms > FAST_MS) return [state, null];
  return ended(state, at_ms);
}

/** @param {Wedge} state @param {number} at_ms @returns {[Wedge, Event]} */
function ended(state, at_ms) {
  const isStructured = structured(state);
  // A scanner that types slowly sends its suffix slowly as well.
  const grace_ms = Math.max(SUFFIX_MS, isStructured ? 2 * state.slowest_ms : 0);
  const fresh = { ...begin(state.profile), last_ms: state.last_ms, suffix_until_ms: at_ms + grace_ms };
  if (state.flooded) {
    return [fresh, refused(`More than ${LONGEST} characters arrived in one piece. That is no mark; scan again.`, [])];
  }
  const byTiming = state.slowest_ms <= FAST_MS && state.held.length >= FEWEST;
  if (!isStructured && !byTiming) return [fresh, { type: "text", text: state.held.filter(profiles.isCharacter).join("") }];
  const event = scanned(state);
  return [event.type === "proven" ? { ...fresh, profile: event.profile } : fresh, event];
}

/** @param {string} reason @param {string[]} tokens @returns {Event} */
function refused(reason, tokens) {
  return { type: "refused", reason, tokens };
}

/** @param {Wedge} state @returns {[Wedge, Event]} */
function proof(state) {
  const event = proving(state.held);
  return [{ ...begin(event.type === "proven" ? event.profile : state.profile), last_ms: state.last_ms }, event];
}

/** What the check symbol that arrived like this proves. @param {string[]} tokens @returns {Event} */
function proving(tokens) {
  if (tokens.some(isDead)) return refused(DEAD_KEY, tokens);
  const profile = profiles.prove(tokens);
  if (profiles.isFault(profile)) return refused(profile.text, tokens);
  const bytes = new TextEncoder().encode(profiles.CHECK);
  return { type: "proven", profile, name: profiles.name(profile), bytes, symbology: null, text: profiles.CHECK, tokens };
}

/** @param {Wedge} state @returns {Event} */
function scanned({ held, profile, caps }) {
  if (held.some(isDead)) return refused(DEAD_KEY, held);
  if (isCheck(held)) return proving(held);
  if (caps && held.some((each) => /^\p{L}$/u.test(each))) return refused(CAPS_LOCK, held);
  if (profile === null && needsProof(held)) return refused(UNPROVEN, held);
  const message = profile === null ? new TextEncoder().encode(held.join("")) : profiles.normalise(profile, held);
  if (profiles.isFault(message)) return refused(message.text, held);
  const reading = readings.framed(message);
  const reason = readings.fault(reading);
  return reason ? refused(reason, held) : { type: "scan", ...reading, text: readings.text(reading.bytes), tokens: held };
}

/** Whether a scan holds what only a profile can turn back, or ought to. @param {string[]} held */
function needsProof(held) {
  const text = held.join("");
  const symbology = /^\][A-Za-z][0-9A-Za-z]/.exec(text)?.[0] ?? "";
  return held.some((each) => !profiles.isCharacter(each)) || SUBSTITUTE.test(text) || WRITTEN.test(text)
    || text.slice(symbology.length).startsWith(HEADER) || isGs1Symbol(symbology);
}

/** Whether it is the check symbol, whatever the scanner makes of its signs. @param {string[]} held */
function isCheck(held) {
  const letters = held.filter((each) => /^[A-Za-z0-9]$/.test(each)).join("").toUpperCase();
  return letters.length > 60 && letters.includes("WEDGE") && letters.includes("CHECK");
}

/** @param {string} token */
function isDead(token) {
  return token.startsWith("Dead+");
}
