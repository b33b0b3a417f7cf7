// @ts-check
// A Data Matrix measured and drawn anew: its lattice is found, each module judged, the finder pattern put right.
// A decoder looks for the solid sides of the symbol and gives up when they are broken, blurred, crossed by a line or made
// of dots. The rhythm of all edges together survives that. Then the symbol is where the border of a square cut from the
// lattice looks most like a finder pattern. The decoder's error correction has the last word: a wrong lattice gives
// modules that no correction accepts. Pure; the twin of scanner_client/lattice.py, whose figures hold here.

import * as corners from "./corners.js";
import * as finder from "./finder.js";
import * as levels from "./levels.js";
import * as modules from "./modules.js";
import * as rhythm from "./rhythm.js";

/** @typedef {import("./levels.js").Grey} Grey */
/** @typedef {import("./rhythm.js").Vector} Vector */
/** @typedef {import("./finder.js").Field} Field */
/** @typedef {import("./corners.js").Plane} Plane */
/** @typedef {{first: Vector, second: Vector}} Lattice two wave vectors, modules per pixel */
/** @typedef {{grey: Plane, dark: Plane}} Seen the patch with grain below the size of a module smoothed away: levels, and darkness from -1 to 1 */
/** @typedef {{score: number, find: import("./finder.js").Find, quad: import("./corners.js").Quad, seen: Seen, pitch_px: number}} Candidate */

/** Little for fine modules, more for grainy metal. */
const BLURS_PX = [1.2, 3];
/** Sine of the angle between rows and columns: seen from the side a square leans, but not more than this. */
const LEAST_SQUARE = 0.8;
const MOST_LONGER = 1.47;
const SAME_PER_PX = 0.006;
const TRIED_LATTICES = 5;
const TRIED_FINDS = 4;
const DRAWN_AT_ONCE = 4;
const DRAWN_REFINED = 5;
const LEAST_SCORE = 0.4;
const MOST_MODULES_AROUND = 22;
/** Modules that alternate this much all over are no data: the lattice is twice too fine, or diagonal. */
const HARMONIC = 0.2;
const PHASES = 6;

/** What may be a symbol in a patch brought to `rhythm.SIDE_PX`, the likeliest first. @param {Grey} grey @param {number} side_px of its busy part @returns {Candidate[]} */
export function candidates(grey, side_px) {
  const waiting = lattices(grey).slice(0, TRIED_LATTICES - 1);
  /** @type {Map<number, Seen>} */
  const kept = new Map();
  const found = [];
  for (let tried = 0; tried < TRIED_LATTICES + 2; tried += 1) {
    const lattice = waiting.shift();
    if (!lattice) break;
    const pitch_px = 1 / Math.max(Math.hypot(...lattice.first), Math.hypot(...lattice.second));
    const step = Math.round(pitch_px * 1.5);
    const seen = kept.get(step) ?? seenAt(grey, pitch_px);
    kept.set(step, seen);
    const points = placedPoints(lattice, seen, grey, pitch_px);
    const { most, coarser } = harmonic(lattice, taken(seen.dark, points));
    if (coarser && pitch_px < rhythm.SIDE_PX / 20) waiting.unshift(coarser);
    found.push(...finds(points, seen, grey, side_px, pitch_px).map((find) => ({
      score: find.score - Math.max(0, most - 0.12), find, quad: squared(points, find), seen, pitch_px,
    })));
  }
  return found.filter((each) => each.score >= LEAST_SCORE).sort((one, other) => other.score - one.score);
}

/** Drawings of the likeliest candidates, as they were found. @param {Candidate[]} likely @returns {Grey[]} */
export const drawnAtOnce = (likely) =>
  likely.slice(0, DRAWN_AT_ONCE).map(({ find, quad, seen }) => modules.drawn(find, modules.judged(modules.taken(seen.grey, quad, find.size), 2)));

/** Drawings with corners moved until they fit, and modules judged in several ways. @param {Candidate[]} likely @returns {Generator<Grey>} */
export function* drawnRefined(likely) {
  for (const { find, quad, seen, pitch_px } of likely.slice(0, DRAWN_REFINED)) {
    const found = modules.taken(seen.grey, corners.refined(seen.dark, quad, find, pitch_px), find.size);
    yield modules.drawn(find, modules.judged(found, 2));
    yield modules.drawn(find, modules.judged(modules.crisp(found, 0.8), 2));
    yield modules.drawn(find, modules.againstMedian(found));
    yield modules.drawn(find, modules.judged(modules.crisp(found, 1.6), 2));
    yield modules.drawn(find, modules.judged(found, 4));
  }
}

/** @param {Points} points @param {Seen} seen @param {Grey} grey @param {number} side_px @param {number} pitch_px */
function finds(points, seen, grey, side_px, pitch_px) {
  const clear = modules.clear(taken(seen.grey, points));
  const outside = points.across.map((x, at) => (x < 0 || points.down[at] < 0 || x >= grey.width || points.down[at] >= grey.height ? 1 : 0));
  const judged = { size: clear.size, values: clear.values.map((each, at) => (outside[at] ? 0 : each)) };
  return finder.best(judged).filter((each) => plausible(each.size * pitch_px, side_px)).slice(0, TRIED_FINDS);
}

/** Whether a symbol so big goes with the busy part of the patch; a patch full of noise says nothing. @param {number} symbol_px @param {number} side_px */
const plausible = (symbol_px, side_px) => side_px > rhythm.SIDE_PX / 1.2 || (0.6 * side_px < symbol_px && symbol_px < 1.35 * side_px);

/** @param {Grey} grey @param {number} pitch_px @returns {Seen} */
function seenAt(grey, pitch_px) {
  const soft = levels.blurred(grey, Math.max(0.6, 0.22 * pitch_px));
  const { width, height } = soft;
  return { grey: { values: soft.data, width, height }, dark: { values: modules.darkness(soft, 3 * pitch_px), width, height } };
}

/** Pairs of wave vectors, about square to each other and of about one length, the strongest first. @param {Grey} grey @returns {Lattice[]} */
function lattices(grey) {
  /** @type {[number, Lattice][]} */
  const found = [];
  for (const blur_px of BLURS_PX) {
    const peaks = rhythm.peaks(grey, blur_px);
    peaks.forEach(({ power: one, vector: first }, at) => {
      for (const { power: other, vector: second } of peaks.slice(at + 1)) {
        const [long, short] = [Math.hypot(...first), Math.hypot(...second)].sort((a, b) => b - a);
        const square = Math.abs(first[0] * second[1] - first[1] * second[0]) / (long * short);
        if (square < LEAST_SQUARE || long > MOST_LONGER * short) continue;
        found.push([((one + other) * square ** 2 + Math.min(one, other)) / peaks[0].power, ordered(first, second)]);
      }
    });
  }
  /** @type {Lattice[]} */
  const kept = [];
  for (const [, lattice] of found.sort(([one], [other]) => other - one)) if (!kept.some((each) => same(each, lattice))) kept.push(lattice);
  return kept;
}

/** The first vector to the right, the second down. @param {Vector} one @param {Vector} other @returns {Lattice} */
function ordered(one, other) {
  const [first, second] = Math.abs(one[0]) < Math.abs(other[0]) ? [other, one] : [one, other];
  return { first: first[0] > 0 ? first : [-first[0], -first[1]], second: second[1] > 0 ? second : [-second[0], -second[1]] };
}

/** @param {Lattice} one @param {Lattice} other */
function same(one, other) {
  const apart = (/** @type {"first" | "second"} */ which) => Math.hypot(one[which][0] - other[which][0], one[which][1] - other[which][1]);
  return Math.max(apart("first"), apart("second")) < SAME_PER_PX;
}

/** @typedef {{size: number, across: Float32Array, down: Float32Array, basis: number[]}} Points middles of modules, in pixels; `basis` leads from steps to pixels */

/** The middles of all modules around the middle of the patch; the offset is the one of most contrast. @param {Lattice} lattice @param {Seen} seen @param {Grey} grey @param {number} pitch_px @returns {Points} */
function placedPoints({ first, second }, seen, grey, pitch_px) {
  const reach = Math.min(Math.trunc((0.72 * rhythm.SIDE_PX) / pitch_px), MOST_MODULES_AROUND);
  const area = first[0] * second[1] - first[1] * second[0];
  const basis = [second[1] / area, -first[1] / area, -second[0] / area, first[0] / area];
  const size = 2 * reach;
  const [across, down] = [new Float32Array(size * size), new Float32Array(size * size)];
  for (let at = 0; at < size * size; at += 1) {
    const [u, v] = [(at % size) - reach + 0.5, Math.floor(at / size) - reach + 0.5];
    across[at] = grey.width / 2 + basis[0] * u + basis[1] * v;
    down[at] = grey.height / 2 + basis[2] * u + basis[3] * v;
  }
  const points = { size, across, down, basis };
  const [du, dv] = phase(points, seen.dark, reach);
  const move = [basis[0] * du + basis[1] * dv, basis[2] * du + basis[3] * dv];
  return { ...points, across: across.map((each) => each + move[0]), down: down.map((each) => each + move[1]) };
}

/** By which part of a step the middles must move. @param {Points} points @param {Plane} dark @param {number} reach */
function phase({ size, across, down, basis }, dark, reach) {
  const [from, to] = [Math.max(0, reach - 6), Math.min(size, reach + 6)];
  const turns = [0, 0, 0, 0];
  for (let j = 0; j < PHASES; j += 1) {
    for (let i = 0; i < PHASES; i += 1) {
      const [x, y] = [basis[0] * (i / PHASES) + basis[1] * (j / PHASES), basis[2] * (i / PHASES) + basis[3] * (j / PHASES)];
      let [sum, squares, count] = [0, 0, 0];
      for (let row = from; row < to; row += 1) {
        for (let column = from; column < to; column += 1) {
          const value = corners.nearest(dark, across[row * size + column] + x, down[row * size + column] + y);
          sum += value;
          squares += value * value;
          count += 1;
        }
      }
      const contrast = squares / count - (sum / count) ** 2;
      [i, i, j, j].forEach((each, at) => { turns[at] += contrast * (at % 2 ? Math.sin : Math.cos)((2 * Math.PI * each) / PHASES); });
    }
  }
  return [Math.atan2(turns[1], turns[0]) / (2 * Math.PI), Math.atan2(turns[3], turns[2]) / (2 * Math.PI)];
}

/** @param {Plane} plane @param {Points} points @returns {Field} */
const taken = (plane, { size, across, down }) => ({ size, values: across.map((x, at) => corners.nearest(plane, x, down[at])) });

/** How much the modules just alternate, and the coarser lattice that would explain it. @param {Lattice} lattice @param {Field} dark @returns {{most: number, coarser: Lattice | null}} */
function harmonic({ first, second }, dark) {
  const [rows, columns, board] = alternation(dark);
  const most = Math.max(rows, columns, board);
  /** @param {Vector} vector @returns {Vector} */
  const halved = ([x, y]) => [x / 2, y / 2];
  if (most <= HARMONIC) return { most, coarser: null };
  if (board > 1.5 * Math.max(rows, columns)) {
    return { most, coarser: ordered([(first[0] + second[0]) / 2, (first[1] + second[1]) / 2], [(first[0] - second[0]) / 2, (first[1] - second[1]) / 2]) };
  }
  if (rows > 2.5 * columns) return { most, coarser: { first, second: halved(second) } };
  if (columns > 2.5 * rows) return { most, coarser: { first: halved(first), second } };
  return { most, coarser: { first: halved(first), second: halved(second) } };
}

/** By rows, by columns, as a board: from 0 to 1. @param {Field} dark */
function alternation({ values, size }) {
  const reach = size >> 1;
  let whole = 1e-6;
  const sums = [0, 0, 0];
  const [from, to] = [Math.max(0, reach - 6), Math.min(size, reach + 6)];
  for (let row = from; row < to; row += 1) {
    for (let column = from; column < to; column += 1) {
      const value = values[row * size + column];
      const [down, along] = [row % 2 ? -1 : 1, column % 2 ? -1 : 1];
      whole += Math.abs(value);
      [down, along, down * along].forEach((sign, at) => { sums[at] += value * sign; });
    }
  }
  return sums.map((each) => Math.abs(each) / whole);
}

/** The corners of a find, in pixels. @param {Points} points @param {import("./finder.js").Find} find */
function squared({ across, down, basis }, { size, row, column }) {
  return [[0, 0], [size, 0], [size, size], [0, size]].map(([x, y]) => {
    const [u, v] = [x - 0.5 + column, y - 0.5 + row];
    return [across[0] + basis[0] * u + basis[1] * v, down[0] + basis[2] * u + basis[3] * v];
  });
}
