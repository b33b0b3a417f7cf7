// @ts-check
// A scanner that types: listens to every key of the page, and tells a scan from a person at the keys.

import * as keys from "../core/keys.js";
import * as wedge from "../core/wedge.js";

/** How often a scanner that sends no suffix is asked whether it has ended. */
const PAUSE_MS = 60;

/** @typedef {HTMLInputElement | HTMLTextAreaElement} Field */
/** @typedef {{stop: () => void, expect: (profile: any, proving: boolean) => void}} Listener */

/** Listen to the keys of the page. `onEvent` gets what wedge.js makes of them, a person's typing left out.
 * @param {any} profile the station's profile, or null @param {(event: any) => void} onEvent @returns {Listener} */
export function listen(profile, onEvent) {
  let state = wedge.begin(profile);
  let pad = keys.IDLE;
  /** The field that the keys fall into, as it was before them. @type {{field: Field, value: string} | null} */
  let before = null;

  const take = (/** @type {[any, any]} */ [next, event]) => {
    state = next;
    if (!event) return;
    if (event.type !== "text") {
      // What a scanner typed into a field is no person's text.
      if (before) put(before);
      onEvent(event);
    }
    before = null;
  };
  const pressed = (/** @type {KeyboardEvent} */ event) => {
    const [next, tokens] = keys.press(pad, event);
    pad = next;
    const at_ms = performance.now();
    for (const token of tokens) {
      if (!state.held.length) before = isField(event.target) ? { field: event.target, value: event.target.value } : null;
      if (wedge.takes(state, token, at_ms)) event.preventDefault();
      take(wedge.feed(state, token, at_ms, keys.capsLock(event)));
    }
  };
  const pause = setInterval(() => take(wedge.pause(state, performance.now())), PAUSE_MS);
  document.addEventListener("keydown", pressed, true);
  document.addEventListener("keyup", pressed, true);
  return {
    stop: () => {
      clearInterval(pause);
      document.removeEventListener("keydown", pressed, true);
      document.removeEventListener("keyup", pressed, true);
    },
    expect: (known, proving) => { state = wedge.begin(known, proving); },
  };
}

/** @param {any} target @returns {target is Field} */
const isField = (target) => target instanceof HTMLInputElement || target instanceof HTMLTextAreaElement;

/** @param {{field: Field, value: string}} before */
function put({ field, value }) {
  field.value = value;
  field.dispatchEvent(new Event("input", { bubbles: true }));
}
