// @ts-check
// What entries that come last make of a connector. A whole history is folded by the service alone: here is only its end.

import * as cavity from "./cavity.js";
import * as entries from "./entries.js";
import * as instants from "./instants.js";
import * as whole from "./whole.js";

/** @typedef {import("./entries.js").Entry} Entry */
/** @typedef {import("./entries.js").Recorded} Recorded */
/** @typedef {import("./states.js").ConnectorState} ConnectorState */

/** Later than any time that can be written. */
const NEVER_OVER = 10n ** 18n;

/** The state after entries that come later than everything they touch; null where only the whole history gives the truth.
 * @param {import("./snapshots.js").Definition} definition @param {ConnectorState} state @param {readonly Recorded[]} news
 * @returns {ConnectorState | null} */
export function extend(definition, state, news) {
  const times = state.cavities.map((each) => moment(each.last_at));
  if (news.some((each) => needsHistory(state, each, times))) return null;
  const byRules = cavity.rules(definition);
  const { wide, perCavity, passing } = sortedOut(state, news);
  const cavities = state.cavities.map((old) =>
    passed(run(old, perCavity.get(old.id) ?? [], cavity.rank, cavity.apply, byRules), passing));
  return { ...state, whole: run(state.whole, wide, whole.rank, whole.apply, byRules), cavities };
}

/** @param {ConnectorState} state @param {Recorded} news @param {(bigint | null)[]} times of the last entry of each cavity */
function needsHistory(state, { entry, at }, times) {
  if (entries.REFERRING.includes(entry.kind) || state.whole.pending.includes(entry.id)) return true;
  if (entry.cavity === null && isNotLater(at, moment(state.whole.last_at))) return true;
  return state.cavities.some((each, place) => isNotLater(at, times[place]) && entries.concerns(entry, each.id));
}

/** @param {bigint} at @param {bigint | null} last */
function isNotLater(at, last) {
  return last !== null && at <= last;
}

/** The moment of a last entry; null if there is none. @param {string | null} last @returns {bigint | null} */
function moment(last) {
  if (last === null) return null;
  // A time that can't be read may be any time.
  return instants.micros(last) ?? NEVER_OVER;
}

/** Entries in the order of their work: those of the whole, and those of each cavity. Those of the whole that leave no trace in a
 * cavity but their time are not handed to each: the last one's says it.
 * @param {ConnectorState} state @param {readonly Recorded[]} news */
function sortedOut(state, news) {
  /** @type {Recorded[]} */
  const wide = [];
  /** @type {Recorded | null} */
  let passing = null;
  /** @type {Map<string, Recorded[]>} */
  const perCavity = new Map(state.cavities.map((each) => [each.id, []]));
  for (const each of [...news].sort(inOrder)) {
    const { cavity: one, cavities } = each.entry;
    if (one === null) wide.push(each);
    if (one === null && !cavity.acts(each.entry.kind)) {
      passing = each;
      continue;
    }
    const names = one !== null ? [one] : cavities.length ? cavities : perCavity.keys();
    for (const name of names) perCavity.get(name)?.push(each);
  }
  return { wide, perCavity, passing };
}

/** @param {import("./states.js").CavityState} state @param {Recorded | null} passing */
function passed(state, passing) {
  const later = passing !== null && !isNotLater(passing.at, moment(state.last_at));
  return later ? { ...state, last_at: passing.ordered_at } : state;
}

/** By the time of the work, ids last. @param {Recorded} one @param {Recorded} other @returns {number} */
export function inOrder(one, other) {
  if (one.at !== other.at) return one.at < other.at ? -1 : 1;
  return one.entry.id < other.entry.id ? -1 : Number(one.entry.id > other.entry.id);
}

/** Apply entries one after the other, to a copy. Those of one instant go in the order that could have happened, ids last.
 * @template State
 * @param {State} old @param {Recorded[]} news sorted @param {(state: State, entry: Entry) => number} rank
 * @param {(state: State, recorded: Recorded, byRules: cavity.Rules) => void} apply @param {cavity.Rules} byRules
 * @returns {State} */
function run(old, news, rank, apply, byRules) {
  if (!news.length) return old;
  const state = { ...old };
  let rest = news;
  while (rest.length) {
    const next = rest.find((each) => each.at !== rest[0].at);
    const until = next ? rest.indexOf(next) : rest.length;
    together(state, rest.slice(0, until), rank, apply, byRules);
    rest = rest.slice(until);
  }
  return state;
}

/** @template State
 * @param {State} state @param {Recorded[]} group @param {(state: State, entry: Entry) => number} rank
 * @param {(state: State, recorded: Recorded, byRules: cavity.Rules) => void} apply @param {cavity.Rules} byRules */
function together(state, group, rank, apply, byRules) {
  const left = [...group];
  while (left.length) {
    const ranks = left.map((each) => rank(state, each.entry));
    // The group is sorted by id, so the first of the least rank is the one.
    const place = ranks.indexOf(Math.min(...ranks));
    apply(state, left[place], byRules);
    left.splice(place, 1);
  }
}
