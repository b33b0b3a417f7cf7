// @ts-check
// The connector as a whole: mating, placement, retirement, and what concerns no single cavity.

import * as cavity from "./cavity.js";

/** @typedef {import("./entries.js").Entry} Entry */
/** @typedef {import("./states.js").WholeState} WholeState */

/** Which of several entries of one instant comes first: the one that fits the state.
 * @param {WholeState} state @param {Entry} entry @returns {number} */
export function rank(state, entry) {
  switch (entry.kind) {
    case "finding_closed": return cavity.closed(entry, state.findings).length ? 1 : 3;
    case "mating": return state.mated === false ? 1 : 3;
    case "unmating": return state.mated ? 1 : 3;
    case "retirement": return 4;
    default: return 2;
  }
}

/** Let one entry that names no single cavity act on the whole, in place.
 * @param {WholeState} state @param {import("./entries.js").Recorded} recorded @param {cavity.Rules} judgedBy */
export function apply(state, recorded, judgedBy) {
  const { entry } = recorded;
  ACTS.get(entry.kind)?.(state, entry, judgedBy);
  state.last_at = recorded.ordered_at;
}

/** @param {WholeState} state @param {Entry} entry @param {cavity.Rules} judgedBy */
function mating(state, entry, judgedBy) {
  if (state.retired) cavity.note(state, entry.id, "work_after_retirement");
  if (state.mated) cavity.note(state, entry.id, "mated_while_mated");
  state.matings += 1;
  state.mated = true;
  // EIA-364-09C counts one mating cycle as fully mated and fully unmated; the greater half count is the safe one.
  const half = Math.max(state.matings, state.unmatings);
  if (judgedBy.mating_rating !== null && half > judgedBy.mating_rating) cavity.note(state, entry.id, "over_mating_rating");
}

/** @param {WholeState} state @param {Entry} entry */
function unmating(state, entry) {
  if (state.mated === false) cavity.note(state, entry.id, "unmated_while_unmated");
  state.unmatings += 1;
  state.mated = false;
}

/** @param {WholeState} state @param {Entry} entry */
function placement(state, entry) {
  Object.assign(state, { asset: entry.asset, zone: entry.zone, position: entry.position });
}

/** @param {WholeState} state */
function retirement(state) {
  state.retired = true;
}

/** @param {WholeState} state @param {Entry} entry */
function opened(state, entry) {
  state.findings = [...state.findings, cavity.finding(entry)];
}

/** @param {WholeState} state @param {Entry} entry */
function findingClosed(state, entry) {
  const gone = cavity.closed(entry, state.findings);
  // One that refers to a finding may mean a cavity's.
  if (!gone.length && entry.refers_to === null) cavity.note(state, entry.id, "closed_no_finding");
  state.findings = state.findings.filter((each) => !gone.includes(each));
}

/** @type {Map<string, (state: WholeState, entry: Entry, judgedBy: cavity.Rules) => void>} */
const ACTS = new Map([
  ["mating", mating], ["unmating", unmating], ["placement", placement], ["retirement", retirement], ["finding", opened],
  ["finding_closed", findingClosed],
]);
