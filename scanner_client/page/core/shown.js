// @ts-check
// How ages and numbers are put for people.

/** @type {[seconds: number, one: string, many: string][]} */
const UNITS = [[86_400, "day", "days"], [3_600, "hour", "hours"], [60, "minute", "minutes"]];

/** A span of time as people say it: `3 hours`.
 * @param {number} span_us @returns {string} */
export function age(span_us) {
  const seconds = Math.max(Math.trunc(span_us / 1_000_000), 0);
  const unit = UNITS.find(([size]) => seconds >= size);
  return unit ? count(Math.floor(seconds / unit[0]), unit[1], unit[2]) : "less than a minute";
}

/** A number with its noun.
 * @param {number} number @param {string} one @param {string} many @returns {string} */
export function count(number, one, many) {
  return `${number} ${number === 1 ? one : many}`;
}
