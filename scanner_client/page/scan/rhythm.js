// @ts-check
// How edges repeat in a patch: the spacing of the modules of a symbol, from all of them together, which survives what no
// single module does. Pure; the twin of the first half of scanner_client/lattice.py, whose figures hold here.

import * as levels from "./levels.js";

/** @typedef {import("./levels.js").Grey} Grey */
/** @typedef {[number, number]} Vector modules per pixel, to the right and down */
/** @typedef {{power: number, vector: Vector}} Peak */

/** The patch is brought to this size, so that all figures here are in its pixels. */
export const SIDE_PX = 240;
const SIZE = 256;
const HALF = SIZE / 2;
const PEAKS = 8;
const RINGS = 97;
/** 10 to 26 modules in the patch. */
const [LEAST_PER_PX, MOST_PER_PX] = [1 / 26, 1 / 4.6];

/** How many modules to a pixel each place of a spectrum stands for, and the ring of like spacings that it lies on. */
const PER_PX = Float32Array.from({ length: SIZE * (HALF + 1) }, (_, at) => {
  const row = Math.floor(at / (HALF + 1));
  return Math.hypot(row < HALF ? row : row - SIZE, at % (HALF + 1)) / SIZE;
});
const RING = Uint8Array.from(PER_PX, (each) => Math.min(RINGS - 1, Math.trunc((each * SIZE) / 2)));

/** The strongest repetitions of a patch of `SIDE_PX`, the strongest first. @param {Grey} grey @param {number} blur_px @returns {Peak[]} */
export function peaks(grey, blur_px) {
  const power = repeated(edges(levels.blurred(grey, blur_px)));
  const rest = power.slice();
  const found = [];
  for (let count = 0; count < PEAKS; count += 1) {
    let best = 0;
    for (let at = 1; at < rest.length; at += 1) if (rest[at] > rest[best]) best = at;
    if (rest[best] <= 0) break;
    const [row, column] = [Math.floor(best / (HALF + 1)), best % (HALF + 1)];
    found.push({ power: power[best], vector: refined(power, row, column) });
    clear(rest, row, column);
    clear(rest, -row, -column);
  }
  return found;
}

/** @param {Float32Array} power @param {number} row @param {number} column */
function clear(power, row, column) {
  for (let y = row - 3; y <= row + 3; y += 1) {
    for (let x = Math.max(0, column - 3); x <= column + 3; x += 1) power[((y + SIZE) % SIZE) * (HALF + 1) + Math.min(x, HALF)] = 0;
  }
}

/** To a fraction of a step, by the parabola through the peak and its neighbours. @param {Float32Array} power @param {number} row @param {number} column @returns {Vector} */
function refined(power, row, column) {
  /** @param {number} y @param {number} x */
  const at = (y, x) => power[((y + SIZE) % SIZE) * (HALF + 1) + Math.min(HALF, Math.max(0, x))];
  const signed = row < HALF ? row : row - SIZE;
  const here = at(row, column);
  return [
    (column + top(at(row, column - 1), here, at(row, column + 1))) / SIZE,
    (signed + top(at(row - 1, column), here, at(row + 1, column))) / SIZE,
  ];
}

/** @param {number} before @param {number} at @param {number} after */
function top(before, at, after) {
  const bend = before - 2 * at + after;
  return bend < 0 ? Math.min(0.5, Math.max(-0.5, (before - after) / 2 / bend)) : 0;
}

/** How steep each pixel is, windowed and about nought, in a square of `SIZE`. @param {Grey} grey */
function edges({ data, width, height }) {
  const [wide, high] = [Math.min(SIZE, width - 2), Math.min(SIZE, height - 2)];
  const steep = new Float32Array(wide * high);
  for (let y = 0; y < high; y += 1) {
    for (let x = 0; x < wide; x += 1) {
      const at = (y + 1) * width + x + 1;
      const across = data[at + 1] - data[at - 1];
      const down = data[at + width] - data[at - width];
      steep[y * wide + x] = Math.sqrt(across * across + down * down);
    }
  }
  const some = steep.filter((_, at) => at % 5 === 0).sort();
  const most = some[Math.floor(0.95 * (some.length - 1))];
  let sum = 0;
  for (let at = 0; at < steep.length; at += 1) sum += steep[at] = Math.min(steep[at], most);
  const mean = sum / steep.length;
  const made = new Float32Array(SIZE * SIZE);
  const window = Float32Array.from({ length: wide }, (_, x) => hann(x, wide));
  for (let y = 0; y < high; y += 1) {
    const down = hann(y, high);
    for (let x = 0; x < wide; x += 1) made[y * SIZE + x] = (steep[y * wide + x] - mean) * down * window[x];
  }
  return made;
}

/** @param {number} at @param {number} count */
const hann = (at, count) => 0.5 - 0.5 * Math.cos((2 * Math.PI * at) / Math.max(1, count - 1));

/**
 * How strongly edges repeat at each spacing and direction, against other directions of the same spacing.
 * The modules themselves do not show in a spectrum (that of a square is nought just there), their edges do.
 * @param {Float32Array} flat
 */
function repeated(flat) {
  const [real, imaginary] = [flat, new Float32Array(flat.length)];
  transform(real, imaginary);
  const power = new Float32Array(SIZE * (HALF + 1));
  const [rings, counts] = [new Float32Array(RINGS), new Float32Array(RINGS)];
  for (let row = 0; row < SIZE; row += 1) {
    for (let column = 0; column <= HALF; column += 1) {
      const [at, from] = [row * (HALF + 1) + column, row * SIZE + column];
      power[at] = Math.sqrt(real[from] * real[from] + imaginary[from] * imaginary[from]);
      rings[RING[at]] += power[at];
      counts[RING[at]] += 1;
    }
  }
  const usual = smoothed(rings.map((each, at) => each / Math.max(1, counts[at])));
  const least = 0.02 * Math.max(...usual.subarray(3, 20)) + 1e-6;
  return power.map((each, at) => (PER_PX[at] > LEAST_PER_PX && PER_PX[at] < MOST_PER_PX ? each / (usual[RING[at]] + least) : 0));
}

/** @param {Float32Array} values */
const smoothed = (values) =>
  values.map((_, at) => {
    let sum = 0;
    for (let step = at - 2; step <= at + 2; step += 1) sum += values[Math.min(values.length - 1, Math.max(0, step))];
    return sum / 5;
  });

const TURNS = Float64Array.from({ length: SIZE }, (_, at) => (at < HALF ? Math.cos((2 * Math.PI * at) / SIZE) : -Math.sin((2 * Math.PI * (at - HALF)) / SIZE)));
const REVERSED = Uint8Array.from({ length: SIZE }, (_, at) => parseInt(at.toString(2).padStart(8, "0").split("").reverse().join(""), 2));

/** A Fourier transform of a square, in place; only its left half is made. @param {Float32Array} real @param {Float32Array} imaginary */
function transform(real, imaginary) {
  for (let row = 0; row < SIZE; row += 1) line(real, imaginary, row * SIZE, 1);
  for (let column = 0; column <= HALF; column += 1) line(real, imaginary, column, SIZE);
}

const [HELD_REAL, HELD_IMAGINARY] = [new Float64Array(SIZE), new Float64Array(SIZE)];

/** One row or column, radix 2. @param {Float32Array} real @param {Float32Array} imaginary @param {number} from @param {number} step */
function line(real, imaginary, from, step) {
  for (let at = 0; at < SIZE; at += 1) {
    HELD_REAL[REVERSED[at]] = real[from + at * step];
    HELD_IMAGINARY[REVERSED[at]] = imaginary[from + at * step];
  }
  for (let half = 1; half < SIZE; half *= 2) {
    for (let start = 0; start < SIZE; start += 2 * half) {
      for (let at = 0; at < half; at += 1) butterfly(start + at, start + at + half, (at * HALF) / half);
    }
  }
  for (let at = 0; at < SIZE; at += 1) {
    real[from + at * step] = HELD_REAL[at];
    imaginary[from + at * step] = HELD_IMAGINARY[at];
  }
}

/** @param {number} one @param {number} other @param {number} turn */
function butterfly(one, other, turn) {
  const [cos, sin] = [TURNS[turn], TURNS[turn + HALF]];
  const re = HELD_REAL[other] * cos - HELD_IMAGINARY[other] * sin;
  const im = HELD_REAL[other] * sin + HELD_IMAGINARY[other] * cos;
  HELD_REAL[other] = HELD_REAL[one] - re;
  HELD_IMAGINARY[other] = HELD_IMAGINARY[one] - im;
  HELD_REAL[one] += re;
  HELD_IMAGINARY[one] += im;
}
