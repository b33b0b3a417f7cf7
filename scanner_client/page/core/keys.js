// @ts-check
// Keys of a browser as tokens, for wedge.js: a character as it is, or the name of what was pressed.
//
// `press` loses nothing that a scanner may send: chords, function keys, a character's number typed on the keypad with Alt
// held, signs by AltGr, dead keys. Chords are named by where their keys are on a US keyboard, since that is what a scanner
// pretends to be, whatever the computer's layout makes of them. Most of these keys are a person's; `wedge.takes` says
// which belong to a scan, and only the default of those is to be prevented. Feed it keydown and keyup.

/**
 * @typedef {{type?: string, key: string, code?: string, ctrlKey?: boolean, altKey?: boolean, shiftKey?: boolean,
 *   metaKey?: boolean, isComposing?: boolean, repeat?: boolean, location?: number,
 *   getModifierState?: (name: string) => boolean}} Pressed As much of a KeyboardEvent as is looked at.
 * @typedef {{digits: string}} Keypad The digits typed so far while Alt is held.
 */

/** Nothing is being typed on the keypad. @type {Keypad} */
export const IDLE = { digits: "" };

const MODIFIERS = new Set([
  "Shift", "Control", "Alt", "AltGraph", "Meta", "OS", "CapsLock", "NumLock", "ScrollLock", "Fn", "FnLock", "Hyper", "Super", "Symbol",
]);
/** Not keys of their own: an input method is at work. */
const UNSAID = new Set(["Process", "Unidentified", ""]);
/** The signs of a US keyboard by their places. @type {Record<string, string>} */
const SIGNS = {
  BracketLeft: "[", BracketRight: "]", Backslash: "\\", Minus: "-", Equal: "=", Semicolon: ";", Quote: "'", Comma: ",",
  Period: ".", Slash: "/", Backquote: "`",
};
/** Control characters that end a message, sent as chords or numbers. @type {Record<string, string>} */
const SUFFIX_CHORDS = { "Ctrl+M": "\r", "Ctrl+J": "\n", "Ctrl+I": "\t" };
/** @type {Record<number, string>} */
const SUFFIX_CODES = { 9: "\t", 10: "\n", 13: "\r" };
/** What a browser does with these no person at a bench misses. */
const SEPARATING = /^(?:Enter|Tab|Ctrl\+(?:Shift\+)?[\]\\6^_-]|Ctrl\+D|F(?:[2-46-9]|10))$/;
const KEYPAD = 3;

/** The keys that an event ends; none while something is not whole yet, or where it is no key.
 * @param {Keypad} state @param {Pressed} event @returns {[Keypad, string[]]} */
export function press(state, event) {
  const digit = event.altKey && !event.ctrlKey ? keypadDigit(event) : null;
  if (event.type === "keyup") return event.key === "Alt" ? [IDLE, byNumber(state.digits)] : [state, []];
  if (digit !== null) return [{ digits: state.digits + (event.repeat ? "" : digit) }, []];
  if (event.key === "Alt" || MODIFIERS.has(event.key)) return [state, []];
  const token = named(event);
  return [IDLE, [...byNumber(state.digits), ...(token === null ? [] : [token])]];
}

/** The token of a single keydown: a character, a suffix, or a key that stands for a separator; null for everything else,
 * so that whoever prevents the default of every name that comes out leaves the person's keys alone.
 * @param {Pressed} event @returns {string | null} */
export function keyToken(event) {
  const token = MODIFIERS.has(event.key) ? null : named(event);
  return token !== null && ([...token].length === 1 || SEPARATING.test(token)) ? token : null;
}

/** Whether Caps Lock is on. @param {Pressed} event @returns {boolean} */
export function capsLock(event) {
  return event.getModifierState?.("CapsLock") ?? false;
}

/** @param {Pressed} event @returns {string | null} */
function named(event) {
  const { key, code = "", ctrlKey, altKey, shiftKey } = event;
  // A scanner presses each key anew; a key that repeats is held down by somebody, or by something that lies on it.
  if (event.isComposing || event.metaKey || event.repeat || UNSAID.has(key)) return null;
  if (key === "Dead") return `Dead+${code}`;
  const isCharacter = [...key].length === 1;
  if (isCharacter && !isChord(event)) return key;
  // An accent that found no letter arrives together with what came after it.
  if (!isCharacter && !/^[A-Z][A-Za-z0-9]+$/.test(key)) return `Dead+${key}`;
  const base = isCharacter ? place(code) ?? key.toUpperCase() : key;
  const chord = `${ctrlKey ? "Ctrl+" : ""}${altKey ? "Alt+" : ""}${shiftKey ? "Shift+" : ""}${base}`;
  return SUFFIX_CHORDS[chord] ?? chord;
}

/** Whether a character is pressed together with Ctrl or Alt as a command. AltGr, which Windows tells as Ctrl and Alt, and the
 * Option key make a character that is not the one on the key. @param {Pressed} event */
function isChord({ key, code = "", ctrlKey, altKey, getModifierState }) {
  if (!ctrlKey && !altKey) return false;
  if (ctrlKey && !altKey) return true;
  if (key < " ") return false;
  return !isAltGraph(getModifierState, key, code);
}

/** @param {Pressed["getModifierState"]} getModifierState @param {string} key @param {string} code */
function isAltGraph(getModifierState, key, code) {
  const base = place(code);
  return (getModifierState?.("AltGraph") ?? false) || (base !== null && base !== key.toUpperCase());
}

/** What a US keyboard has at this place. @param {string} code @returns {string | null} */
function place(code) {
  return /^(?:Key([A-Z])|Digit([0-9]))$/.exec(code)?.slice(1).find(Boolean) ?? SIGNS[code] ?? null;
}

/** @param {Pressed} event */
function keypadDigit({ key, code = "", location }) {
  return /^Numpad([0-9])$/.exec(code)?.[1] ?? (location === KEYPAD && /^[0-9]$/.test(key) ? key : null);
}

/** The character of a number where it is a printable one or ends a message, else the number by its name.
 * @param {string} digits @returns {string[]} */
function byNumber(digits) {
  if (!digits) return [];
  const code = Number(digits);
  if (code >= 0x20 && code < 0x7f) return [String.fromCharCode(code)];
  return [SUFFIX_CODES[code] ?? `Alt+${digits}`];
}
