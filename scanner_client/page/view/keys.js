// @ts-check
// A scanner that types: listens to every key of the page, and tells a scan from a person at the keys.

import * as keys from "../core/keys.js";
import * as wedge from "../core/wedge.js";

const PAUSE_MS = 60;

/** Listen. `onEvent` gets what wedge.js makes of the keys; a scan's characters are taken out of the field that they fell into.
 * @param {() => any} profile the station's profile, or null @param {(event: any) => void} onEvent @returns {() => void} stop */
export function listen(profile, onEvent) {
  let state = wedge.begin(profile());
  /** @type {{field: any, value: string} | null} */
  let before = null;
  const take = (/** @type {any} */ turn) => {
    const [next, event] = turn;
    state = next;
    if (!event) return;
    // What a person types belongs to the field that it was typed into.
    if (event.type !== "text") { restore(before); onEvent(event); }
    before = null;
    state = { ...state, profile: profile() };
  };
  const pressed = (/** @type {KeyboardEvent} */ event) => {
    const token = keys.keyToken(event);
    if (token === null) return;
    const field = /** @type {any} */ (event.target);
    if (!before && isField(field)) before = { field, value: field.value };
    const held = wedge.structured(state);
    take(wedge.feed(state, token, performance.now()));
    // Separators arrive as browser commands, and the suffix of a scan must press no button.
    if (token.length > 1 && token !== "Enter" && token !== "Tab") event.preventDefault();
    else if (held || (before === null && isField(field) && (token === "Enter" || token === "Tab") && wedge.justEnded(state))) event.preventDefault();
  };
  const pause = setInterval(() => take(wedge.pause(state, performance.now())), PAUSE_MS);
  document.addEventListener("keydown", pressed, true);
  return () => { clearInterval(pause); document.removeEventListener("keydown", pressed, true); };
}

/** @param {any} target */
const isField = (target) => target instanceof HTMLInputElement || target instanceof HTMLTextAreaElement;

/** @param {{field: any, value: string} | null} before */
function restore(before) {
  if (!before) return;
  before.field.value = before.value;
  before.field.dispatchEvent(new Event("input", { bubbles: true }));
}
