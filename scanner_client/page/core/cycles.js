// @ts-check
// The counting rule: cycles begun and completed, what one more insertion would make of them, and wear.

/** @typedef {"within" | "nearing" | "spent" | "over" | "unknown"} Wear */
/** Half cycles of one retainer life, and tine entries of a removal tool that released nothing.
 * @typedef {{insertions: number, removals: number, tine_entries: number}} Counts */
/** The figures one connector's retainers are judged by: the first `next` that warns, and the rating.
 * @typedef {{rating: number | null, nearing_from: number, first_insertion_counts: boolean}} Limits */
/** One retainer judged: `next` is what `begun` would be after one more insertion; `left` is insertions still allowed.
 * @typedef {{wear: Wear, begun: number, completed: number, next: number, left: number | null}} Standing */

/** Worst last. Unknown stands below nearing: a count that is known to run out is more pressing than one not known.
 * @type {Readonly<Record<Wear, number>>} */
export const SEVERITY = Object.freeze({ within: 0, unknown: 1, nearing: 2, spent: 3, over: 4 });

/** Cycles begun: the greatest of I, R and half of all that loaded the tines, rounded up.
 * @param {Counts} counts @param {boolean} firstInsertionCounts @returns {number} */
export function begun(counts, firstInsertionCounts) {
  const insertions = firstInsertionCounts ? counts.insertions : Math.max(counts.insertions - 1, 0);
  const loads = insertions + counts.removals + counts.tine_entries;
  return Math.max(insertions, counts.removals, Math.floor((loads + 1) / 2));
}

/** The counts after one more insertion, with the removal that must come first unless the cavity is known to be empty.
 * @param {Counts} counts @param {boolean | null} occupied @returns {Counts} */
export function afterInsertion(counts, occupied) {
  const removal = occupied === false ? 0 : 1;
  return { insertions: counts.insertions + 1, removals: counts.removals + removal, tine_entries: counts.tine_entries };
}

/** Where nearing begins: fraction x rating, rounded up; the rating's own fraction before the connector's before the house's.
 * @param {import("./snapshots.js").Rating | null} rating @param {number | null} connectorFraction
 * @param {import("./snapshots.js").House} house @returns {Limits} */
export function limits(rating, connectorFraction, house) {
  if (!rating) return { rating: null, nearing_from: 0, first_insertion_counts: true };
  const fraction = rating.nearing_fraction || connectorFraction || house.nearing_fraction;
  return {
    rating: rating.value,
    nearing_from: roundedUp(fraction, rating.value),
    first_insertion_counts: rating.first_insertion_counts,
  };
}

/** Where a retainer stands. A count known to be a lower bound can still prove a retainer spent, never that it is within.
 * @param {Counts} counts @param {boolean | null} occupied @param {boolean} known @param {Limits} figures @returns {Standing} */
export function standing(counts, occupied, known, figures) {
  const now = begun(counts, figures.first_insertion_counts);
  const following = begun(afterInsertion(counts, occupied), figures.first_insertion_counts);
  const left = figures.rating === null || !known ? null : Math.max(figures.rating - following + 1, 0);
  return { wear: wear(now, following, known, figures), begun: now, completed: counts.removals, next: following, left };
}

/** Which of them runs out first: the worst wear, then the most cycles, then the order; null of none.
 * @param {readonly Standing[]} standings @returns {number | null} */
export function mostPressing(standings) {
  if (!standings.length) return null;
  return standings.reduce((worst, each, place) => (presses(each, standings[worst]) ? place : worst), 0);
}

/** @param {Standing} one @param {Standing} other */
function presses(one, other) {
  const more = SEVERITY[one.wear] - SEVERITY[other.wear];
  return more > 0 || (more === 0 && one.next > other.next);
}

/** @param {number} now @param {number} following @param {boolean} known @param {Limits} figures @returns {Wear} */
function wear(now, following, known, figures) {
  if (figures.rating === null) return "unknown";
  if (now > figures.rating) return "over";
  if (following > figures.rating) return "spent";
  if (!known) return "unknown";
  return following >= figures.nearing_from ? "nearing" : "within";
}

/** fraction x value by its decimal digits: 0.8 x 35 is a little over 28 in binary floating point and would round up to a go too
 * many.
 * @param {number} fraction positive @param {number} value whole @returns {number} */
function roundedUp(fraction, value) {
  const parts = /^(\d+)(?:\.(\d+))?(?:e([+-]\d+))?$/.exec(String(fraction));
  // A figure that can't be read is said to be one elsewhere; here it must only not make anything milder.
  if (!parts || !Number.isSafeInteger(value)) return 0;
  const below = parts[2] ?? "";
  const power = Number(parts[3] ?? 0) - below.length;
  const product = BigInt(parts[1] + below) * BigInt(value);
  if (power >= 0) return Number(product * 10n ** BigInt(power));
  const scale = 10n ** BigInt(-power);
  return Number((product + scale - 1n) / scale);
}
