// @ts-check
// Bars to clean strips: averaged along the bars, light evened out, sharpened. Averaging takes out noise, specks and
// scratches that no single line survives. The upper and the lower half of the bars give strips that share no pixel: two
// readings that agree are two observations. Pure; the twin of scanner_client/strips.py, whose figures hold here.

import * as levels from "./levels.js";

/** @typedef {import("./levels.js").Grey} Grey */
/** @typedef {"upper" | "lower" | "whole"} Part */

const ENLARGED = 4;
const ROWS = 24;
/** Of the picture, for two halves that each have some; lower bars are read as they are or not at all. */
const LEAST_ROWS = 8;
/** Wider than the widest bar with its gap, narrower than a shadow. */
const AROUND_PX = 40;
/** @type {Record<Part, [number, number]>} */
const PARTS = { upper: [0.05, 0.5], lower: [0.5, 0.95], whole: [0.15, 0.85] };

/**
 * A strip of one part of the bars of a picture in which they stand upright, in the rows of `band`; null if they are too low.
 * @param {Grey} standing @param {[number, number]} rows @param {Part} part @param {"sharp" | "sharper" | "as it is"} way
 * @param {boolean} light light bars on dark @returns {Grey | null}
 */
export function strip(standing, [top, bottom], part, way, light) {
  if (bottom - top < LEAST_ROWS) return null;
  const [above, below] = PARTS[part];
  const profile = mean(standing, top + Math.trunc(above * (bottom - top)), top + Math.trunc(below * (bottom - top)));
  if (way === "as it is") return drawn(profile, light);
  return drawn(even(way === "sharp" ? crisp(profile, 1.5, 3) : crisp(profile, 4, 2)), light);
}

/** The rows that the bars reach over: where levels change across much more than down. @param {Grey} standing @returns {[number, number]} */
export function band(standing) {
  const { data, width, height } = levels.blurred(standing, 1);
  const raw = new Float32Array(height - 2);
  const middle = Float32Array.from({ length: width }, (_, x) => Math.exp(-2 * ((2 * (x - 1)) / (width - 3) - 1) ** 2));
  for (let y = 1; y < height - 1; y += 1) {
    for (let x = 1; x < width - 1; x += 1) {
      const at = y * width + x;
      raw[y - 1] += (Math.abs(data[at + 1] - data[at - 1]) - 1.2 * Math.abs(data[at + width] - data[at - width])) * middle[x];
    }
  }
  const rows = raw.map((_, at) => raw.subarray(Math.max(0, at - 4), at + 5).reduce((sum, each) => sum + each, 0) / 9);
  let best = 0;
  /** @param {number} at */
  const aimed = (at) => rows[at] * Math.exp(-(((2 * at) / (rows.length - 1) - 1) ** 2));
  for (let at = 1; at < rows.length; at += 1) if (aimed(at) > aimed(best)) best = at;
  let [top, bottom] = [best, best];
  while (top > 0 && rows[top - 1] > rows[best] / 2) top -= 1;
  while (bottom < rows.length && rows[bottom] > rows[best] / 2) bottom += 1;
  return [top + 1, Math.max(bottom + 1, top + 2)];
}

/** @param {Grey} grey @param {number} top @param {number} bottom */
function mean(grey, top, bottom) {
  const found = new Float32Array(grey.width);
  const count = Math.max(1, bottom - top);
  for (let y = top; y < top + count; y += 1) for (let x = 0; x < grey.width; x += 1) found[x] += grey.data[y * grey.width + x] / count;
  return found;
}

/** @param {Float32Array} profile @param {boolean} light @returns {Grey} */
function drawn(profile, light) {
  const made = levels.blank(profile.length * ENLARGED, ROWS);
  const step = (profile.length - 1) / (made.width - 1);
  const values = Float32Array.from({ length: made.width }, (_, x) => {
    const at = Math.min(profile.length - 2, Math.floor(x * step));
    return profile[at] + (profile[at + 1] - profile[at]) * (x * step - at);
  });
  const sorted = values.slice().sort();
  const [dark, bright] = [0.02, 0.98].map((part) => sorted[Math.floor(part * (sorted.length - 1))]);
  for (let x = 0; x < made.width; x += 1) {
    const level = Math.min(255, Math.max(0, ((values[x] - dark) / Math.max(bright - dark, 2)) * 235 + 10));
    for (let y = 0; y < ROWS; y += 1) made.data[y * made.width + x] = light ? 255 - level : level;
  }
  return made;
}

/** @param {Float32Array} profile @param {number} amount @param {number} sigma_px */
function crisp(profile, amount, sigma_px) {
  const soft = smooth(profile, sigma_px);
  return profile.map((each, at) => each + amount * (each - soft[at]));
}

/** The light levelled: between the darkest and the lightest nearby. @param {Float32Array} profile */
function even(profile) {
  const [low, high] = [profile.slice(), profile.slice()];
  for (let x = 0; x < profile.length; x += 1) {
    for (let at = Math.max(0, x - AROUND_PX); at < Math.min(profile.length, x + AROUND_PX + 1); at += 1) {
      if (profile[at] < low[x]) low[x] = profile[at];
      if (profile[at] > high[x]) high[x] = profile[at];
    }
  }
  return level(profile, smooth(low, AROUND_PX / 2), smooth(high, AROUND_PX / 2));
}

/** @param {Float32Array} profile @param {Float32Array} low @param {Float32Array} high */
function level(profile, low, high) {
  return profile.map((each, at) => ((each - low[at]) / Math.max(high[at] - low[at], 3)) * 200 + 20);
}

/** @param {Float32Array} profile @param {number} sigma_px */
function smooth(profile, sigma_px) {
  const reach = Math.trunc(4 * sigma_px) + 1;
  const bell = Float32Array.from({ length: 2 * reach + 1 }, (_, at) => Math.exp(-0.5 * ((at - reach) / sigma_px) ** 2));
  const all = bell.reduce((sum, each) => sum + each, 0);
  const last = profile.length - 1;
  return profile.map((_, x) => {
    let sum = 0;
    for (let at = -reach; at <= reach; at += 1) sum += bell[at + reach] * profile[Math.min(last, Math.max(0, x + at))];
    return sum / all;
  });
}
