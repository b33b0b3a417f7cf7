// @ts-check
// One cavity: what each kind of entry does to it, and what that says about the entry.

import * as cycles from "./cycles.js";
import * as entries from "./entries.js";
import * as states from "./states.js";

/** @typedef {import("./entries.js").Entry} Entry */
/** @typedef {import("./entries.js").Recorded} Recorded */
/** @typedef {import("./states.js").CavityState} CavityState */
/** @typedef {import("./states.js").WholeState} WholeState */
/** @typedef {import("./states.js").Finding} Finding */
/** What entries are measured by: the ratings of the connector.
 * @typedef {{rating: number | null, mating_rating: number | null, first_insertion_counts: boolean}} Rules */

/** The rules that hold for a connector.
 * @param {import("./snapshots.js").Definition} definition @returns {Rules} */
export function rules(definition) {
  const { rating, mating_rating: mating } = definition;
  return {
    rating: rating ? rating.value : null,
    mating_rating: mating ? mating.value : null,
    first_insertion_counts: rating ? rating.first_insertion_counts : true,
  };
}

/** Put a discrepancy on the open list.
 * @param {CavityState | WholeState} state @param {string} entry @param {string} code */
export function note(state, entry, code) {
  state.discrepancies = states.including(state.discrepancies, { entry, code });
}

/** Which of several entries of one instant comes first: the one that fits the state, so that a swap reads as one.
 * @param {CavityState} state @param {Entry} entry @returns {number} */
export function rank(state, entry) {
  switch (entry.kind) {
    case "finding_closed": return closed(entry, state.findings).length ? 0 : 7;
    case "seating_test": return state.occupied && !state.seating_tests ? 1 : 7;
    case "removal": return state.occupied !== false ? 2 : 8;
    case "renewal": return 3;
    // After a renewal of the same day: taken the other way round, the count that was carried in would be gone.
    case "carry_in": return 4;
    case "insertion": return state.occupied === false ? 5 : 9;
    case "retirement": return 10;
    default: return 6;
  }
}

/** Let one entry act on the state of the cavity, in place.
 * @param {CavityState} state @param {Recorded} recorded @param {Rules} judgedBy */
export function apply(state, recorded, judgedBy) {
  const { entry } = recorded;
  ACTS.get(entry.kind)?.(state, entry, judgedBy);
  state.last_at = recorded.ordered_at;
}

/** The finding that an entry opens.
 * @param {Entry} entry @returns {Finding} */
export function finding(entry) {
  return { entry: entry.id, blocks: entry.blocks !== false, wide: entry.cavity === null };
}

/** The findings that a closing means: the one it refers to, else all raised where it is recorded itself. One that names
 * nothing must not reach further: to clean a connector does not straighten the bent tine of a cavity.
 * @param {Entry} entry @param {Finding[]} findings @returns {Finding[]} */
export function closed(entry, findings) {
  if (entry.refers_to !== null) return findings.filter((each) => each.entry === entry.refers_to);
  return findings.filter((each) => each.wide === (entry.cavity === null));
}

/** What holds for every entry of a tool or a contact into the cavity.
 * @param {CavityState} state @param {Entry} entry */
function work(state, entry) {
  if (state.retired) note(state, entry.id, "work_after_retirement");
  if (states.blocked(state)) note(state, entry.id, "worked_with_open_finding");
}

/** @param {CavityState} state @param {Entry} entry @param {Rules} judgedBy @param {cycles.Counts} counts */
function count(state, entry, judgedBy, counts) {
  const before = cycles.begun(state, judgedBy.first_insertion_counts);
  const after = cycles.begun(counts, judgedBy.first_insertion_counts);
  Object.assign(state, counts);
  if (judgedBy.rating !== null && after > judgedBy.rating && after > before) note(state, entry.id, "over_rating");
}

/** @param {CavityState} state @param {Partial<cycles.Counts>} added @returns {cycles.Counts} */
function more(state, { insertions = 0, removals = 0, tine_entries = 0 }) {
  return {
    insertions: state.insertions + insertions,
    removals: state.removals + removals,
    tine_entries: state.tine_entries + tine_entries,
  };
}

/** @param {CavityState} state @param {Entry} entry @param {Rules} judgedBy */
function insertion(state, entry, judgedBy) {
  work(state, entry);
  if (state.occupied) note(state, entry.id, "inserted_while_occupied");
  count(state, entry, judgedBy, more(state, { insertions: 1 }));
  Object.assign(state, { occupied: true, contact: entry.contact, seating_tests: 0, held: null });
}

/** @param {CavityState} state @param {Entry} entry @param {Rules} judgedBy */
function removal(state, entry, judgedBy) {
  work(state, entry);
  if (state.occupied === false) note(state, entry.id, "removed_while_empty");
  count(state, entry, judgedBy, more(state, { removals: 1 }));
  Object.assign(state, { occupied: false, contact: null, seating_tests: 0, held: null });
}

/** @param {CavityState} state @param {Entry} entry @param {Rules} judgedBy */
function tineEntry(state, entry, judgedBy) {
  work(state, entry);
  count(state, entry, judgedBy, more(state, { tine_entries: 1 }));
}

/** @param {CavityState} state @param {Entry} entry */
function seatingTest(state, entry) {
  if (state.occupied === false) note(state, entry.id, "seating_test_of_empty");
  if (entries.isPull(entry)) {
    state.seating_tests += 1;
    if (state.seating_tests > 1) note(state, entry.id, "second_seating_test");
  }
  // A contact that stands out of line is not seated, whatever the pull said.
  const held = entry.level === false ? false : entry.held;
  if (held !== null) Object.assign(state, { held, did_not_hold: !held });
}

/** @param {CavityState} state @param {Entry} entry */
function opened(state, entry) {
  state.findings = [...state.findings, finding(entry)];
}

/** @param {CavityState} state @param {Entry} entry */
function findingClosed(state, entry) {
  const gone = closed(entry, state.findings);
  // A closing of the whole connector's may mean a finding of another cavity, so only one that names this cavity can miss.
  if (!gone.length && entry.cavity !== null) note(state, entry.id, "closed_no_finding");
  state.findings = state.findings.filter((each) => !gone.includes(each));
}

/** @param {CavityState} state @param {Entry} entry */
function renewal(state, entry) {
  if (state.retired) note(state, entry.id, "work_after_retirement");
  if (state.occupied) note(state, entry.id, "renewed_while_occupied");
  // A retainer can only be fitted to a cavity without a contact; the contact's insertion counts in the new life.
  Object.assign(state, {
    life: state.life + 1, occupied: false, known: true, carried: false, opening: [0, 0, 0],
    insertions: 0, removals: 0, tine_entries: 0, seating_tests: 0, contact: null, held: null, did_not_hold: false,
  });
}

/** @param {CavityState} state @param {Entry} entry @param {Rules} judgedBy */
function carryIn(state, entry, judgedBy) {
  const had = [state.insertions - state.opening[0], state.removals - state.opening[1], state.tine_entries - state.opening[2]];
  if (state.carried) note(state, entry.id, "carry_in_twice");
  else if (had.some((each) => each !== 0)) note(state, entry.id, "carry_in_after_entries");
  const sourced = Boolean(entry.source || entry.note);
  const stated = openingCount(state, entry);
  if (!sourced) note(state, entry.id, "carry_in_without_source");
  const opening = stated.map((each, place) => Math.max(each, state.opening[place]));
  Object.assign(state, { opening, carried: true });
  // Slips of a tool alone don't say how often a contact went in, and a figure from nowhere is no history.
  state.known = state.known || (sourced && (entry.insertions !== null || entry.removals !== null));
  const [insertions, removals, tine_entries] = had.map((each, place) => each + opening[place]);
  count(state, entry, judgedBy, { insertions, removals, tine_entries });
  if (entry.occupied !== null) state.occupied = entry.occupied;
}

/** The count that is carried in. A contact that is in went in once more often than one came out: the greater count is the safe one.
 * @param {CavityState} state @param {Entry} entry @returns {number[]} */
function openingCount(state, entry) {
  const insertions = entry.insertions ?? 0, removals = entry.removals ?? 0;
  const short = Boolean(entry.occupied) && insertions <= removals;
  if (short) note(state, entry.id, "carry_in_contradicts");
  return [short ? removals + 1 : insertions, removals, entry.tine_entries ?? 0];
}

/** @param {CavityState} state */
function retirement(state) {
  state.retired = true;
}

/** @type {Map<string, (state: CavityState, entry: Entry, judgedBy: Rules) => void>} */
const ACTS = new Map([
  ["insertion", insertion], ["removal", removal], ["tine_entry", tineEntry], ["seating_test", seatingTest], ["finding", opened],
  ["finding_closed", findingClosed], ["renewal", renewal], ["carry_in", carryIn], ["retirement", retirement],
]);

/** Whether entries of a kind change a cavity. One of another kind that names none passes it by: it leaves its time.
 * @param {string} kind @returns {boolean} */
export function acts(kind) {
  return ACTS.has(kind);
}
