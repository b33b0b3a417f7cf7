// @ts-check
// The ways out where a cavity can't take a contact any more. None is permission: the approved data decide.

import * as answers from "./answers.js";
import * as cycles from "./cycles.js";
import * as states from "./states.js";

/** For a free cavity: where its retainer stands, how often it was used, what an insertion is answered there. `needs` is what has to
 * be there first, `text` the sentence to read aloud.
 * @typedef {{way: "free_cavity" | "renewal" | "replacement", cavity: string | null, wear: cycles.Wear | null,
 *   cycles: number | null, answer: answers.Answer | null, needs: string, text: string}} Way */
/** @typedef {import("./snapshots.js").Definition} Definition */
/** @typedef {import("./snapshots.js").House} House */
/** @typedef {import("./states.js").ConnectorState} ConnectorState */

/** Free cavities that are named at most: a choice, not a list of the insert. */
const MOST_FREE = 5;
const SHUT = ["spent", "open_finding", "retired"];

/** The ways out of a cavity that is spent, blocked or retired, the least costly first; none where it is none of these.
 * A removal needs no other cavity, and nothing in a retired connector is worth a renewal.
 * @param {Definition} definition @param {House} house @param {ConnectorState} state @param {string} cavity
 * @param {answers.Action} [action] @param {ReadonlySet<string>} [taken] cavities that are meant for something else
 * @param {ReadonlySet<string>} [awaited] cavities that accepted entries may be about which are in no ledger yet
 * @returns {Way[]} */
export function out(definition, house, state, cavity, action = "insert", taken = new Set(), awaited = new Set()) {
  const present = states.cavity(state, cavity);
  if (!present) return [];
  const reasons = answers.judge(definition, house, state.whole, present, action).reasons.map((each) => each.code);
  if (!reasons.some((code) => SHUT.includes(code))) return [];
  const worthIt = !reasons.includes("retired");
  return [
    ...(worthIt && action !== "remove" ? free(definition, house, state, cavity, taken, awaited) : []),
    ...(worthIt ? [renewal(cavity, reasons.includes("open_finding"))] : []),
    way("replacement", "another connector", "If the approved data allow it, another connector takes the place of this one."),
  ];
}

/** Empty cavities of the same size that would take a contact: the least worn, then the least used, then in order.
 * @param {Definition} definition @param {House} house @param {ConnectorState} state @param {string} cavity
 * @param {ReadonlySet<string>} taken @param {ReadonlySet<string>} awaited @returns {Way[]} */
function free(definition, house, state, cavity, taken, awaited) {
  const figures = cycles.limits(definition.rating, definition.nearing_fraction, house);
  const sizes = new Map(definition.cavities.map((each) => [each.id, each.contact_size]));
  const judged = (/** @type {states.CavityState} */ each) =>
    answers.judge(definition, house, state.whole, each, "insert", undefined, awaited.has(each.id)).answer;
  const fits = (/** @type {string} */ id) => sizes.get(id) === sizes.get(cavity) && id !== cavity && !taken.has(id);
  return state.cavities
    .filter((each) => each.occupied === false && fits(each.id))
    .map((each) => ({ each, stands: cycles.standing(each, each.occupied, each.known, figures) }))
    .sort((one, other) => fresher(one.stands, other.stands))
    .map(({ each, stands }) => ({ each, stands, answer: judged(each) }))
    .filter(({ answer }) => answer !== "no_go")
    .slice(0, MOST_FREE)
    .map(({ each, stands, answer }) => moved(each.id, stands, answer));
}

/** @param {cycles.Standing} one @param {cycles.Standing} other */
function fresher(one, other) {
  return cycles.SEVERITY[one.wear] - cycles.SEVERITY[other.wear] || one.begun - other.begun;
}

/** @param {string} cavity @param {cycles.Standing} stands @param {answers.Answer} answer @returns {Way} */
function moved(cavity, stands, answer) {
  const text =
    `Cavity ${cavity} is empty and takes the same size of contact; cycles begun there: ${stands.begun}. ` +
    "If the approved data allow it, the wire can go there: that needs a drawing change.";
  return { ...way("free_cavity", "a drawing change", text), cavity, wear: stands.wear, cycles: stands.begun, answer };
}

/** @param {string} cavity @param {boolean} blocked @returns {Way} */
function renewal(cavity, blocked) {
  const text = `If the approved data allow it, a renewed retainer or insert starts a new count in cavity ${cavity}.`;
  const found = blocked ? " The finding has to be closed as well." : "";
  return { ...way("renewal", "a renewal that the approved data describe", text + found), cavity };
}

/** @param {Way["way"]} sort @param {string} needs @param {string} text @returns {Way} */
function way(sort, needs, text) {
  return { way: sort, cavity: null, wear: null, cycles: null, answer: null, needs, text };
}
