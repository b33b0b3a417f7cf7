// @ts-check
// What is recorded: the kinds of entry and their fields.

import * as shapes from "./shapes.js";

export const ONE_CAVITY = Object.freeze(["insertion", "removal", "tine_entry", "seating_test"]);
/** Kinds whose meaning depends on the entry they refer to: only the service, which has the whole history, can follow them. */
export const REFERRING = Object.freeze(["correction", "resolution", "acceptance"]);
export const KINDS = Object.freeze([
  ...ONE_CAVITY, "finding", "finding_closed", "mating", "unmating", "placement", "renewal", "retirement", "carry_in", ...REFERRING,
]);

/** An entry with every field, null where nothing is said.
 * @typedef {{id: string, connector: string, kind: string, performed_at: string, performed_by: string, cavity: string | null,
 *   cavities: string[], contact: string | null, held: boolean | null, note: string | null, corrects: string | null,
 *   refers_to: string | null, blocks: boolean | null, asset: string | null, zone: string | null, position: string | null,
 *   insertions: number | null, removals: number | null, tine_entries: number | null, occupied: boolean | null,
 *   source: string | null, force_n: number | null, level: boolean | null}} Entry */

/** An entry as it stands in its order: `ordered_at` is the moment it is ordered by, `at` the same in microseconds.
 * @typedef {{entry: Entry, at: bigint, ordered_at: string}} Recorded */

const TEXT = shapes.optional(shapes.string);
const TRUTH = shapes.optional(shapes.truth);
const COUNT = shapes.optional(shapes.count);
const ID = shapes.optional(shapes.uuid);

/** @type {shapes.Shape} */
const SHAPE = {
  id: shapes.uuid, connector: shapes.string, kind: shapes.oneOf(KINDS), performed_at: shapes.instant, performed_by: shapes.string,
  cavity: TEXT, cavities: shapes.optional(shapes.listOf(shapes.string)), tool: TEXT, work_order: TEXT, contact: TEXT,
  force_n: shapes.optional(shapes.number), held: TRUTH, level: TRUTH, tool_looked_at: TRUTH, note: TEXT, bench: TEXT,
  corrects: ID, refers_to: ID, code: TEXT,
  accepted: TRUTH, blocks: TRUTH, asset: TEXT, zone: TEXT, position: TEXT,
  insertions: COUNT, removals: COUNT, tine_entries: COUNT, occupied: TRUTH, source: TEXT,
};
const NOTHING = Object.freeze(Object.fromEntries(Object.keys(SHAPE).map((each) => [each, each === "cavities" ? [] : null])));

/** What in an entry is not understood here; empty if all of it is.
 * @param {unknown} entry @returns {string[]} */
export function doubts(entry) {
  return shapes.doubts(entry, SHAPE, "entry");
}

/** An entry that is understood, with every field.
 * @param {any} entry @returns {Entry} */
export function read(entry) {
  const given = Object.entries(entry).filter(([, value]) => value !== null && value !== undefined);
  const full = { ...NOTHING, ...Object.fromEntries(given) };
  for (const name of ["id", "corrects", "refers_to"]) if (full[name]) full[name] = shapes.canonical(full[name]);
  return /** @type {Entry} */ (full);
}

/** Whether a seating test loaded the retainer. One that states nothing but a look did not; one that states nothing may have.
 * @param {Entry} entry @returns {boolean} */
export function isPull(entry) {
  return entry.level === null || entry.held !== null || entry.force_n !== null;
}

/** The cavities that an entry names; empty means the whole connector.
 * @param {Entry} entry @returns {string[]} */
export function cavitiesOf(entry) {
  return entry.cavity !== null ? [entry.cavity] : entry.cavities;
}

/** Whether an entry is part of the history of a cavity: it names it, or it names none.
 * @param {Entry} entry @param {string} cavity @returns {boolean} */
export function concerns(entry, cavity) {
  const named = cavitiesOf(entry);
  return !named.length || named.includes(cavity);
}
