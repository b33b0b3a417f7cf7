// @ts-check
// Moments as RFC 3339 writes them, to the microsecond: a Date has milliseconds only, and two entries may lie closer.

const FORM = /^(\d{4})-(\d\d)-(\d\d)[Tt ](\d\d):(\d\d):(\d\d)(?:\.(\d+))?(?:[Zz]|([+-])(\d\d):?(\d\d))$/;
const MICROS_PER_MS = 1000n;

/** Microseconds since 1970 of an RFC 3339 time; null if it is none. Digits beyond the sixth are rounded, as the service does.
 * @param {unknown} text @returns {bigint | null} */
export function micros(text) {
  const parts = typeof text === "string" ? FORM.exec(text) : null;
  if (!parts) return null;
  const whole = wholeSecond(parts.slice(1, 7).map(Number));
  const offset = offsetMinutes(parts[8], Number(parts[9] ?? 0), Number(parts[10] ?? 0));
  if (whole === null || offset === null) return null;
  return (BigInt(whole) - BigInt(offset) * 60_000n) * MICROS_PER_MS + fraction(parts[7] ?? "");
}

/** A moment in microseconds as the service writes it, in UTC.
 * @param {bigint} at @returns {string} */
export function text(at) {
  const below = ((at % 1_000_000n) + 1_000_000n) % 1_000_000n;
  const second = new Date(Number((at - below) / MICROS_PER_MS)).toISOString().slice(0, 19);
  return below ? `${second}.${String(below).padStart(6, "0")}Z` : `${second}Z`;
}

/** @param {number[]} parts @returns {number | null} milliseconds; null for a day or an hour that there is not */
function wholeSecond([year, month, day, hour, minute, second]) {
  const at = new Date(0);
  // Date.UTC takes the years 0 to 99 for 1900 to 1999.
  at.setUTCFullYear(year, month - 1, day);
  at.setUTCHours(hour, minute, second);
  const same = at.getUTCMonth() === month - 1 && at.getUTCDate() === day && at.getUTCHours() === hour;
  return same && year > 0 && minute < 60 && second < 60 ? at.getTime() : null;
}

/** @param {string | undefined} sign @param {number} hours @param {number} minutes @returns {number | null} */
function offsetMinutes(sign, hours, minutes) {
  if (hours > 23 || minutes > 59) return null;
  return (sign === "-" ? -1 : 1) * (hours * 60 + minutes);
}

/** @param {string} digits @returns {bigint} */
function fraction(digits) {
  const six = BigInt(digits.slice(0, 6).padEnd(6, "0"));
  return digits.charAt(6) >= "5" ? six + 1n : six;
}
