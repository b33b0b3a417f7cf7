// @ts-check
// The answer to a step that somebody is about to do: go, warn or no_go, with every reason that bears on it.

import * as cycles from "./cycles.js";
import * as states from "./states.js";
import * as tooling from "./tooling.js";

/** @typedef {"go" | "warn" | "no_go"} Answer */
/** @typedef {"insert" | "remove" | "replace"} Action */
/** @typedef {"not_stated" | "fits" | "unknown" | "wrong"} Fit */
/** What somebody brings to a step, as far as it is stated. @typedef {{tool: Fit, contact: Fit, tool_overdue: boolean}} Brought */
/** @typedef {{code: string, answer: Answer, text: string}} Reason */
/** @typedef {{answer: Answer, reasons: Reason[], standing: cycles.Standing}} Judged */
/** @typedef {[code: string, answer: Answer]} Found */

/** What somebody may be about to do. @type {readonly string[]} */
export const ACTIONS = Object.freeze(["insert", "remove", "replace"]);
/** @type {readonly Answer[]} */
const IN_WEIGHT = ["go", "warn", "no_go"];

/** @type {Readonly<Record<string, string>>} */
export const SENTENCES = Object.freeze({
  nearing: "Cycle {next} of {rating}: this retainer is nearing its rating.",
  spent: "This would be cycle {next} of a retainer rated {rating}. It can't take a contact again before it is renewed.",
  last_removal: "The last thing that this cavity allows: it can't take a contact again before its retainer is renewed.",
  no_rating: "No rating is recorded for this connector, so nothing says how many cycles the retainer may have.",
  history_unknown: "The history of this retainer is not known: {begun} cycles are recorded, there may be more.",
  occupied: "As recorded, a contact is in this cavity. Remove it first, or check the cavity id.",
  empty: "As recorded, this cavity is empty: there is nothing to remove. Check the cavity id.",
  occupancy_unknown: "It is not recorded whether a contact is in this cavity. Look before the tool goes in.",
  open_finding: "An open finding forbids work on this cavity until it is closed.",
  did_not_hold: "The last seating test in this cavity did not hold. Look at the retainer before another contact goes in.",
  time_in_doubt: "An entry for this cavity has a time that can't be right, so its count may be wrong.",
  entries_waiting: "Entries that may be about this cavity wait to be assigned to their connector: its count may be too low.",
  retired: "This connector is retired.",
  wrong_tool: "The tool is for another contact size or for the other half of the job.",
  unknown_tool: "The tool is not one that Tinebook knows: check that it is the right size and kind.",
  tool_overdue: "The tool was due for a check before today: let it be checked before it goes into a cavity.",
  wrong_contact: "The contact is for another size of cavity, or for the other half: pin instead of socket.",
  unknown_contact: "Tinebook can't judge this contact for this cavity: check its size, and whether pin or socket.",
});

/** @type {Readonly<Brought>} */
const NOTHING_STATED = Object.freeze({ tool: "not_stated", contact: "not_stated", tool_overdue: false });

/** How heavy an answer weighs. @param {Answer} answer @returns {number} */
export function weight(answer) {
  return IN_WEIGHT.indexOf(answer);
}

/** The answer to several steps is that of the worst one; go if there are none.
 * @param {readonly Answer[]} answers @returns {Answer} */
export function worst(answers) {
  return answers.reduce((one, other) => (weight(other) > weight(one) ? other : one), /** @type {Answer} */ ("go"));
}

/** Answer one step on the state that it meets: everything is judged on `next`, at the removal already.
 * @param {import("./snapshots.js").Definition} definition @param {import("./snapshots.js").House} house
 * @param {states.WholeState} whole @param {states.CavityState} state @param {Action} action @param {Brought} [brought]
 * @param {boolean} [awaited] whether entries that were accepted may be about this cavity and are in no ledger yet
 * @returns {Judged} */
export function judge(definition, house, whole, state, action, brought = NOTHING_STATED, awaited = false) {
  const figures = cycles.limits(definition.rating, definition.nearing_fraction, house);
  const stands = cycles.standing(state, state.occupied, state.known, figures);
  /** @type {Found[]} */
  const found = [
    ...wear(stands, state, action, figures, house),
    ...occupancy(state, action),
    ...circumstances(whole, state),
    ...(awaited ? [/** @type {Found} */ (["entries_waiting", "warn"])] : []),
    ...tool(brought),
    ...(action === "remove" ? [] : contact(brought.contact)),
  ];
  const reasons = found.sort((one, other) => weight(other[1]) - weight(one[1])).map(([code, answer]) => ({
    code, answer, text: sentence(code, { next: stands.next, rating: figures.rating, begun: stands.begun }),
  }));
  return { answer: worst(reasons.map((each) => each.answer)), reasons, standing: stands };
}

/** @param {string} code @param {Record<string, number | null>} figures */
function sentence(code, figures) {
  return SENTENCES[code].replace(/\{(\w+)\}/g, (_, name) => String(figures[name]));
}

/** @param {cycles.Standing} stands @param {states.CavityState} state @param {Action} action @param {cycles.Limits} figures
 * @param {import("./snapshots.js").House} house @returns {Found[]} */
function wear(stands, state, action, figures, house) {
  /** @type {Found[]} */
  const found = [];
  const last = action === "remove";
  if (figures.rating !== null && stands.next > figures.rating) found.push(last ? ["last_removal", "warn"] : ["spent", "no_go"]);
  else if (figures.rating !== null && stands.next >= figures.nearing_from) found.push(["nearing", "warn"]);
  /** @type {Answer} */
  const unknown = house.unknown === "no_go" && !last ? "no_go" : "warn";
  if (figures.rating === null) found.push(["no_rating", unknown]);
  if (!state.known) found.push(["history_unknown", unknown]);
  return found;
}

/** @param {states.CavityState} state @param {Action} action @returns {Found[]} */
function occupancy(state, action) {
  if (state.occupied === null) return [["occupancy_unknown", "warn"]];
  if (state.occupied && action === "insert") return [["occupied", "no_go"]];
  if (!state.occupied && action !== "insert") return [["empty", "no_go"]];
  return [];
}

/** @param {states.WholeState} whole @param {states.CavityState} state @returns {Found[]} */
function circumstances(whole, state) {
  /** @type {Found[]} */
  const found = [];
  if (states.blocked(state)) found.push(["open_finding", "no_go"]);
  if (whole.retired || state.retired) found.push(["retired", "no_go"]);
  if (state.did_not_hold) found.push(["did_not_hold", "warn"]);
  if (states.timeInDoubt(state) || states.timeInDoubt(whole)) found.push(["time_in_doubt", "warn"]);
  return found;
}

/** @param {Brought} brought @returns {Found[]} */
function tool(brought) {
  /** @type {Found[]} */
  const found = [];
  if (brought.tool === "wrong") found.push(["wrong_tool", "no_go"]);
  if (brought.tool === "unknown") found.push(["unknown_tool", "warn"]);
  if (brought.tool_overdue) found.push(["tool_overdue", "warn"]);
  return found;
}

/** @param {Fit} fit @returns {Found[]} */
function contact(fit) {
  if (fit === "wrong") return [["wrong_contact", "no_go"]];
  return fit === "unknown" ? [["unknown_contact", "warn"]] : [];
}

/** Whether a tool of that part number serves the step. For a replacement one half is enough: the other takes another tool.
 * @param {tooling.Tooling | null} tools @param {string | null} partNumber @param {string} contactSize @param {Action} action
 * @returns {Fit} */
export function toolFit(tools, partNumber, contactSize, action) {
  if (partNumber === null) return "not_stated";
  const known = tools ? tools.tools.filter((each) => each.part_number === partNumber) : [];
  if (!known.length) return "unknown";
  const serves = known.some((each) => each.contact_size === contactSize && (action === "replace" || each.half === action));
  return serves ? "fits" : "wrong";
}
