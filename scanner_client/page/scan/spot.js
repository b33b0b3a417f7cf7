// @ts-check
// Where in a picture the symbol is: the busy patch near the middle, and whether it is bars or squares.
// Pure; the twin of scanner_client/spot.py, whose figures hold here.

import * as levels from "./levels.js";

/** @typedef {import("./levels.js").Grey} Grey */
/** @typedef {{grey: Grey, left: number, top: number, side_px: number}} Patch the busy part with some quiet around it */

const CELL_PX = 8;
/** Of the busiest cell; less is paper. */
const BUSY = 0.45;
/** A row or column of cells belongs to the patch if so much of it is busy. */
const OF_A_SIDE = 0.3;
const QUIET_PX = 24;
const LEAST_PX = 96;
/** Pictures smaller than this have no room for a search. */
export const LEAST_SIDE_PX = 48;
/** Squares have edges both ways, bars one way. It decides only what is tried first. */
const BARS = 0.27;

/** The busiest patch near the middle. People aim at what they want to read. @param {Grey} grey @returns {Patch} */
export function patch(grey) {
  const [left, top, right, bottom] = grown(business(grey)).map((each) => each * CELL_PX);
  const side_px = Math.max(right - left, bottom - top);
  const half = Math.max(side_px / 2 + QUIET_PX, LEAST_PX / 2);
  const [x, y] = [Math.max(0, Math.trunc((left + right) / 2 - half)), Math.max(0, Math.trunc((top + bottom) / 2 - half))];
  const [wide, high] = [Math.trunc((left + right) / 2 + half) - x, Math.trunc((top + bottom) / 2 + half) - y];
  return { grey: levels.cut(grey, x, y, wide, high), left: x, top: y, side_px };
}

/**
 * Whether the middle of a picture holds bars, and the degrees by which they are turned from upright.
 * From the structure tensor: edges vote with their direction doubled, so that both sides of a bar vote the same.
 * @param {Grey} grey @returns {{found: boolean, degrees: number}}
 */
export function bars(grey) {
  const { data, width, height } = levels.blurred(levels.reduced(grey, 2), 1);
  const most = strong(data, width, height);
  let [both, apart, all] = [0, 0, 1];
  for (let y = 1; y < height - 1; y += 1) {
    const down = middle(y - 1, height - 2, 2);
    for (let x = 1; x < width - 1; x += 1) {
      const at = y * width + x;
      const dx = data[at + 1] - data[at - 1];
      const dy = data[at + width] - data[at - width];
      const strength = dx * dx + dy * dy;
      // One hard edge of a label must not outvote all the bars.
      const vote = down * middle(x - 1, width - 2, 2) * (strength > most ? most / strength : 1);
      both += 2 * dx * dy * vote;
      apart += (dx * dx - dy * dy) * vote;
      all += strength * vote;
    }
  }
  return { found: Math.hypot(both, apart) / all > BARS, degrees: (Math.atan2(both, apart) * 90) / Math.PI };
}

/** What 19 of 20 edges do not exceed. @param {Uint8Array} data @param {number} width @param {number} height */
function strong(data, width, height) {
  const found = [];
  for (let y = 1; y < height - 1; y += 2) {
    for (let x = 1; x < width - 1; x += 2) {
      const at = y * width + x;
      found.push((data[at + 1] - data[at - 1]) ** 2 + (data[at + width] - data[at - width]) ** 2);
    }
  }
  return percentile(Float32Array.from(found), 0.95) + 1;
}

/** @param {Float32Array} values @param {number} part */
const percentile = (values, part) => values.slice().sort()[Math.floor(part * (values.length - 1))];

/** A bell over a row of places, 1 in its middle. @param {number} at @param {number} count @param {number} narrow */
const middle = (at, count, narrow) => Math.exp(-narrow * ((2 * at) / Math.max(1, count - 1) - 1) ** 2);

/** @typedef {{values: Float32Array, rows: number, columns: number}} Cells */

/** How much happens in each cell of 8 pixels: most where edges go both ways. @param {Grey} grey @returns {Cells} */
function business(grey) {
  const { data, width, height } = levels.reduced(levels.averaged(grey, 1), 2);
  const [rows, columns] = [(height - 1) >> 2, (width - 1) >> 2];
  const cells = new Float32Array(rows * columns);
  for (let y = 0; y < 4 * rows; y += 1) {
    for (let x = 0; x < 4 * columns; x += 1) {
      const at = y * width + x;
      const across = Math.abs(data[at + 1] - data[at]);
      const down = Math.abs(data[at + width] - data[at]);
      cells[(y >> 2) * columns + (x >> 2)] += (2 * Math.min(across, down) + across + down) / 16;
    }
  }
  const values = smooth({ values: cells, rows, columns });
  const paper = percentile(values, 0.2);
  return { values: values.map((each) => each - paper), rows, columns };
}

/** The mean of 5 by 5 cells. @param {Cells} cells */
function smooth({ values, rows, columns }) {
  return values.map((_, at) => {
    const [row, column] = [Math.floor(at / columns), at % columns];
    let sum = 0;
    for (let y = row - 2; y <= row + 2; y += 1) {
      for (let x = column - 2; x <= column + 2; x += 1) {
        sum += values[Math.min(rows - 1, Math.max(0, y)) * columns + Math.min(columns - 1, Math.max(0, x))];
      }
    }
    return sum / 25;
  });
}

/** A box of cells from the busiest one outwards, as long as its sides are busy: left, top, right, bottom. @param {Cells} cells */
function grown({ values, rows, columns }) {
  let best = 0;
  let most = -1;
  values.forEach((each, at) => {
    const aimed = each * middle(Math.floor(at / columns), rows, 1.5) * middle(at % columns, columns, 1.5);
    if (aimed > most) [best, most] = [at, aimed];
  });
  const least = BUSY * values[best];
  let [left, top] = [best % columns, Math.floor(best / columns)];
  let [right, bottom] = [left + 1, top + 1];
  /** @param {number} from @param {number} count @param {number} step */
  const busy = (from, count, step) => {
    let on = 0;
    for (let at = 0; at < count; at += 1) on += values[from + at * step] > least ? 1 : 0;
    return on / count > OF_A_SIDE;
  };
  for (let grows = true; grows; ) {
    grows = false;
    if (top > 0 && busy((top - 1) * columns + left, right - left, 1)) [top, grows] = [top - 1, true];
    if (bottom < rows && busy(bottom * columns + left, right - left, 1)) [bottom, grows] = [bottom + 1, true];
    if (left > 0 && busy(top * columns + left - 1, bottom - top, columns)) [left, grows] = [left - 1, true];
    if (right < columns && busy(top * columns + right, bottom - top, columns)) [right, grows] = [right + 1, true];
  }
  return [left, top, right, bottom];
}
