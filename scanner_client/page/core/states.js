// @ts-check
// What is known of a connector at a moment. On the wire a state is arrays, here it has names.

import { SENTENCES, TIME_DOUBTS } from "./discrepancies.js";
import * as shapes from "./shapes.js";

/** @typedef {{entry: string, code: string}} Discrepancy */
/** @typedef {{entry: string, blocks: boolean, wide: boolean}} Finding */
/** @typedef {{id: string, life: number, known: boolean, occupied: boolean | null, insertions: number, removals: number,
 *   tine_entries: number, opening: [number, number, number], carried: boolean, seating_tests: number, held: boolean | null,
 *   did_not_hold: boolean, contact: string | null, retired: boolean, findings: Finding[], discrepancies: Discrepancy[],
 *   last_at: string | null}} CavityState */
/** @typedef {{matings: number, unmatings: number, mated: boolean | null, retired: boolean, asset: string | null,
 *   zone: string | null, position: string | null, findings: Finding[], discrepancies: Discrepancy[], referring: boolean,
 *   pending: string[], last_at: string | null}} WholeState */
/** `doubts` names what was not understood of the state as it came: while there is any, no answer is a plain go.
 * @typedef {{whole: WholeState, cavities: CavityState[], doubts: string[]}} ConnectorState */

/** @typedef {[name: string, otherwise: unknown, check: shapes.Check]} Field */

const FINDINGS = shapes.listOf(shapes.tuple(shapes.uuid, shapes.truth, shapes.truth));
const DISCREPANCIES = shapes.listOf(shapes.tuple(shapes.uuid, shapes.oneOf(Object.keys(SENTENCES))));
const TEXT = shapes.optional(shapes.string);
const TRUTH = shapes.optional(shapes.truth);

/** The order of the wire. @type {Field[]} */
const CAVITY = [
  ["id", null, shapes.string], ["life", 1, shapes.positive], ["known", true, shapes.truth], ["occupied", null, TRUTH],
  ["insertions", 0, shapes.count], ["removals", 0, shapes.count], ["tine_entries", 0, shapes.count],
  ["opening", [0, 0, 0], shapes.tuple(shapes.count, shapes.count, shapes.count)], ["carried", false, shapes.truth],
  ["seating_tests", 0, shapes.count], ["held", null, TRUTH], ["did_not_hold", false, shapes.truth], ["contact", null, TEXT],
  ["retired", false, shapes.truth], ["findings", [], FINDINGS], ["discrepancies", [], DISCREPANCIES],
  ["last_at", null, shapes.optional(shapes.instant)],
];

/** @type {Field[]} */
const WHOLE = [
  ["matings", 0, shapes.count], ["unmatings", 0, shapes.count], ["mated", null, TRUTH], ["retired", false, shapes.truth],
  ["asset", null, TEXT], ["zone", null, TEXT], ["position", null, TEXT], ["findings", [], FINDINGS],
  ["discrepancies", [], DISCREPANCIES], ["referring", false, shapes.truth], ["pending", [], shapes.listOf(shapes.uuid)],
  ["last_at", null, shapes.optional(shapes.instant)],
];

/** Lists that are read row by row, so that what is understood of them holds. */
const KEPT = new Set(["findings", "discrepancies"]);

/** A kept state can't be read at all. */
export class StateError extends Error {}

/** Read a state from its arrays. What is only partly understood is read as far as it goes, and named. StateError where nothing is.
 * @param {unknown} value @returns {ConnectorState} */
export function decode(value) {
  if (!Array.isArray(value) || !Array.isArray(value[0]) || !Array.isArray(value[1]) || !value[1].every(Array.isArray)) {
    throw new StateError("The kept state can't be read: another version wrote it. Fetch the connector anew.");
  }
  /** @type {string[]} */
  const doubts = value.length > 2 ? ["state"] : [];
  const whole = /** @type {any} */ (named(value[0], WHOLE, "state.whole", doubts));
  const cavities = value[1].map((each) => /** @type {any} */ (named(each, CAVITY, "state.cavity", doubts)));
  return { whole, cavities, doubts: [...new Set(doubts)] };
}

/** The arrays of a state, as the service writes them.
 * @param {ConnectorState} state @returns {unknown[]} */
export function encode(state) {
  return [unnamed(state.whole, WHOLE), state.cavities.map((each) => unnamed(each, CAVITY))];
}

/** The state of a cavity by its exact id.
 * @param {ConnectorState} state @param {string} cavity @returns {CavityState | null} */
export function cavity(state, cavity) {
  return state.cavities.find((each) => each.id === cavity) ?? null;
}

/** Whether an open finding forbids work.
 * @param {CavityState} state @returns {boolean} */
export function blocked(state) {
  return state.findings.some((each) => each.blocks);
}

/** Whether an entry has a time that can't be trusted, so that it may stand in the wrong retainer life.
 * @param {CavityState | WholeState} state @returns {boolean} */
export function timeInDoubt(state) {
  return state.discrepancies.some((each) => TIME_DOUBTS.includes(each.code));
}

/** Ordered discrepancies with one more; of equals the new one is last.
 * @param {Discrepancy[]} discrepancies @param {Discrepancy} one @returns {Discrepancy[]} */
export function including(discrepancies, one) {
  const after = discrepancies.findIndex((each) => follows(each, one));
  const at = after < 0 ? discrepancies.length : after;
  return [...discrepancies.slice(0, at), one, ...discrepancies.slice(at)];
}

/** @param {Discrepancy} one @param {Discrepancy} other */
function follows(one, other) {
  return one.entry > other.entry || (one.entry === other.entry && one.code > other.code);
}

/** @param {unknown[]} values @param {Field[]} fields @param {string} where @param {string[]} doubts added to */
function named(values, fields, where, doubts) {
  if (values.length > fields.length) doubts.push(where);
  /** @type {Record<string, any>} */
  const made = {};
  fields.forEach(([name, otherwise, check], place) => {
    const value = place < values.length ? values[place] : otherwise;
    if (!check(value)) doubts.push(`${where}.${name}`);
    // A list that is none could not even be gone through; any other misfit stays to be seen.
    made[name] = Array.isArray(otherwise) && !check(value) && !KEPT.has(name) ? otherwise : value ?? null;
  });
  const id = (/** @type {unknown} */ text) => shapes.canonical(String(text));
  made.findings = rows(made.findings, ([entry, blocks, wide]) => ({ entry: id(entry), blocks: blocks !== false, wide }));
  made.discrepancies = rows(made.discrepancies, ([entry, code]) => ({ entry: id(entry), code }));
  return made;
}

/** @param {any} list @param {(row: any[]) => any} read */
function rows(list, read) {
  return Array.isArray(list) ? list.filter(Array.isArray).map(read) : [];
}

/** @param {any} state @param {Field[]} fields */
function unnamed(state, fields) {
  return fields.map(([name]) => {
    if (name === "findings") return state.findings.map((/** @type {Finding} */ each) => [each.entry, each.blocks, each.wide]);
    if (name === "discrepancies") return state.discrepancies.map((/** @type {Discrepancy} */ each) => [each.entry, each.code]);
    return state[name];
  });
}
