// @ts-check
// The modules of a symbol, judged dark or light against those around, and drawn anew. Pure; the twin of the second half of
// scanner_client/lattice.py, whose figures hold here.

import * as corners from "./corners.js";
import * as finder from "./finder.js";
import * as levels from "./levels.js";

/** @typedef {import("./levels.js").Grey} Grey */
/** @typedef {import("./finder.js").Field} Field */

const DRAWN_PX = 4;
const QUIET = 2;

/** From -1 (as light as it gets nearby) to 1 (as dark): uneven light and shadows taken out. @param {Grey} grey @param {number} reach_px */
export function darkness(grey, reach_px) {
  const small = levels.reduced(grey, 4);
  const side = Math.max(3, Math.trunc(reach_px / 2) | 1);
  const [low, high] = [levels.darkest, levels.lightest].map((pick) => levels.blurred(pick(small, side), side / 2));
  const made = new Float32Array(grey.data.length);
  for (let y = 0; y < grey.height; y += 1) {
    const [dark, light] = [row(low, y), row(high, y)];
    for (let x = 0; x < grey.width; x += 1) {
      const at = y * grey.width + x;
      const from = quarter(x, small.width);
      const left = Math.floor(from);
      const part = from - left;
      const darkest = dark[left] + (dark[left + 1] - dark[left]) * part;
      const lightest = light[left] + (light[left + 1] - light[left]) * part;
      made[at] = Math.min(1, Math.max(-1, ((darkest + lightest) / 2 - grey.data[at]) / Math.max((lightest - darkest) / 2, 4)));
    }
  }
  return made;
}

/** Where a pixel lies in a picture of a quarter of the size. @param {number} at @param {number} size */
const quarter = (at, size) => Math.min(size - 1, Math.max(0, (at + 0.5) / 4 - 0.5));

/** A row of the whole, from a picture of a quarter of its size; its end is there twice. @param {Grey} small @param {number} y */
function row({ data, width, height }, y) {
  const from = quarter(y, height);
  const [top, bottom] = [Math.floor(from) * width, Math.min(height - 1, Math.floor(from) + 1) * width];
  const made = new Float32Array(width + 1);
  for (let x = 0; x < width; x += 1) made[x] = data[top + x] + (data[bottom + x] - data[top + x]) * (from - Math.floor(from));
  made[width] = made[width - 1];
  return made;
}

/** The levels of the modules between four corners. @param {import("./corners.js").Plane} grey @param {import("./corners.js").Quad} quad @param {number} size @returns {Field} */
export function taken(grey, quad, size) {
  const place = corners.placed(quad, size);
  const values = Float32Array.from({ length: size * size }, (_, at) => {
    const [x, y] = place((at % size) + 0.5, Math.floor(at / size) + 0.5);
    return corners.nearest(grey, x, y);
  });
  return { values, size };
}

/** Modules from -1 (light) to 1 (dark), each against its neighbours. @param {Field} field @returns {Field} */
export function clear(field) {
  const { values, size } = judged(crisp(field, 0.8), 2);
  const reach = size >> 1;
  const middle = [];
  for (let row = Math.max(0, reach - 6); row < Math.min(size, reach + 6); row += 1) {
    for (let column = Math.max(0, reach - 6); column < Math.min(size, reach + 6); column += 1) middle.push(Math.abs(values[row * size + column]));
  }
  middle.sort((one, other) => one - other);
  const full = Math.max(3, middle[Math.floor(0.6 * (middle.length - 1))]);
  return { size, values: values.map((each) => Math.min(1, Math.max(-1, each / full))) };
}

/** Dark above nought: against halfway between the darkest and the lightest of the modules around. @param {Field} field @param {number} reach @returns {Field} */
export function judged(field, reach) {
  const [low, high] = [around(field, reach, Math.min), around(field, reach, Math.max)];
  const middle = { size: field.size, values: low.values.map((each, at) => (each + high.values[at]) / 2) };
  return { size: field.size, values: field.values.map((each, at) => mean(middle, at) - each) };
}

/** @param {Field} field @param {number} reach @param {(one: number, other: number) => number} pick @returns {Field} */
function around({ values, size }, reach, pick) {
  const across = values.map((first, at) => {
    const [row, column] = [Math.floor(at / size), at % size];
    let found = first;
    for (let x = Math.max(0, column - reach); x <= Math.min(size - 1, column + reach); x += 1) found = pick(found, values[row * size + x]);
    return found;
  });
  return {
    size,
    values: across.map((first, at) => {
      const [row, column] = [Math.floor(at / size), at % size];
      let found = first;
      for (let y = Math.max(0, row - reach); y <= Math.min(size - 1, row + reach); y += 1) found = pick(found, across[y * size + column]);
      return found;
    }),
  };
}

/** The mean of 3 by 3. @param {Field} field @param {number} at */
function mean({ values, size }, at) {
  const [row, column] = [Math.floor(at / size), at % size];
  let sum = 0;
  for (let y = row - 1; y <= row + 1; y += 1) {
    for (let x = column - 1; x <= column + 1; x += 1) sum += values[Math.min(size - 1, Math.max(0, y)) * size + Math.min(size - 1, Math.max(0, x))];
  }
  return sum / 9;
}

/** What blur took from each module to its four neighbours is given back. @param {Field} field @param {number} amount @returns {Field} */
export function crisp({ values, size }, amount) {
  /** @param {number} row @param {number} column */
  const at = (row, column) => values[Math.min(size - 1, Math.max(0, row)) * size + Math.min(size - 1, Math.max(0, column))];
  return {
    size,
    values: values.map((each, place) => {
      const [row, column] = [Math.floor(place / size), place % size];
      const near = (at(row - 1, column) + at(row + 1, column) + at(row, column - 1) + at(row, column + 1)) / 4;
      return each + amount * (each - near);
    }),
  };
}

/** Dark above nought: against the median of all. @param {Field} field @returns {Field} */
export function againstMedian({ values, size }) {
  const median = values.slice().sort()[values.length >> 1];
  return { size, values: values.map((each) => median - each) };
}

/** The symbol in black on white, upright, with a whole finder pattern and a quiet zone. @param {import("./finder.js").Find} find @param {Field} field @returns {Grey} */
export function drawn({ size, turns, polarity }, field) {
  const upright = finder.quartered({ size, values: field.values.map((each) => each * polarity) }, turns).values;
  const border = finder.pattern(size).values;
  const side = (size + 2 * QUIET) * DRAWN_PX;
  const made = levels.blank(side, side);
  made.data.fill(255);
  for (let y = 0; y < size * DRAWN_PX; y += 1) {
    for (let x = 0; x < size * DRAWN_PX; x += 1) {
      const at = Math.floor(y / DRAWN_PX) * size + Math.floor(x / DRAWN_PX);
      if ((border[at] || upright[at]) > 0) made.data[(y + QUIET * DRAWN_PX) * side + x + QUIET * DRAWN_PX] = 0;
    }
  }
  return made;
}
