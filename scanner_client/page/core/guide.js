// @ts-check
// Counting to a cavity on the face of an insert whose numbers follow a guide line on which every tenth hole is ringed.
// Common practice, no source: the marking of the insert in hand decides.

/** How to count to a cavity: to which ring (0: none, from the start), how many holes on from it (0: the ring itself).
 * @typedef {{ring: number, then: number, words: string}} Guide */

const RINGED = 10;
const ORDINALS = [
  "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth", "eleventh", "twelfth",
];
const ENDINGS = ["th", "st", "nd", "rd"];

/** How to count to a cavity; null unless the ids are the numbers from 1 on, at least to the first ring.
 * @param {readonly string[]} ids @param {string} cavity @returns {Guide | null} */
export function count(ids, cavity) {
  const known = new Set(ids);
  const numbered = ids.every((_, place) => known.has(String(place + 1)));
  if (ids.length < RINGED || !numbered || !known.has(cavity)) return null;
  const ring = Math.floor(Number(cavity) / RINGED), then = Number(cavity) % RINGED;
  if (!ring) return { ring, then, words: `${short(then)} from the start` };
  const named = `${ORDINALS[ring - 1] ?? short(ring)} ring`;
  return { ring, then, words: then ? `${named}, then ${then}` : named };
}

/** The ordinal in figures: 1st, 2nd, 11th, 22nd. @param {number} number */
function short(number) {
  const teen = number % 100 >= 10 && number % 100 <= 20;
  return `${number}${(teen ? "th" : ENDINGS[number % 10]) ?? "th"}`;
}
