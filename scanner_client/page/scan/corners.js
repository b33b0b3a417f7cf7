// @ts-check
// The four corners of a symbol, moved until its modules fit: for symbols seen from the side.
// Pure; the twin of scanner_client/corners.py, whose figures hold here.

import * as finder from "./finder.js";

/** @typedef {number[][]} Quad four corners from the upper left one, clockwise: x, y */
/** @typedef {{values: Float32Array | Uint8Array, width: number, height: number}} Plane */

/** Of a module. */
const [FIRST_STEP, LAST_STEP] = [0.3, 0.07];
const ROUNDS = 10;
/** How much clear modules inside count beside a border that fits. */
const INSIDE = 0.6;
const MOVES = moves();

/** What is tried in each round: every corner each way, the whole square each way, wider, narrower, turned. @returns {Quad[]} */
function moves() {
  const ways = [[1, 0], [-1, 0], [0, 1], [0, -1]];
  const still = [[0, 0], [0, 0], [0, 0], [0, 0]];
  const single = [0, 1, 2, 3].flatMap((moved) => ways.map((way) => still.map((none, corner) => (corner === moved ? way : none))));
  const whole = ways.map((way) => still.map(() => way));
  const wider = [[-0.7, -0.7], [0.7, -0.7], [0.7, 0.7], [-0.7, 0.7]];
  const turned = [[0.7, -0.7], [0.7, 0.7], [-0.7, 0.7], [-0.7, -0.7]];
  const both = [wider, turned].flatMap((each) => [1, -1].map((sign) => each.map(([x, y]) => [sign * x, sign * y])));
  return [...single, ...whole, ...both];
}

/** The corners at which the border fits the finder pattern best and the modules inside are clearest. @param {Plane} dark @param {Quad} quad @param {import("./finder.js").Find} find @param {number} pitch_px @returns {Quad} */
export function refined(dark, quad, find, pitch_px) {
  const border = finder.quartered(finder.pattern(find.size), -find.turns).values.map((each) => each * find.polarity);
  const [edge, inside] = [places(border, (each) => each !== 0), places(border, (each) => each === 0).filter((_, at) => at % 2 === 0)];
  const fits = (/** @type {Quad} */ tried) => {
    const place = placed(tried, find.size);
    let [along, clear] = [0, 0];
    for (const at of edge) along += border[at] * taken(dark, place, at, find.size);
    for (const at of inside) clear += Math.abs(taken(dark, place, at, find.size));
    return along / edge.length + (INSIDE * clear) / inside.length;
  };
  let [kept, best, step] = [quad, fits(quad), FIRST_STEP];
  for (let round = 0; round < ROUNDS; round += 1) {
    const tried = MOVES.map((move) => kept.map(([x, y], at) => [x + move[at][0] * step * pitch_px, y + move[at][1] * step * pitch_px]));
    const scores = tried.map(fits);
    const winner = scores.indexOf(Math.max(...scores));
    if (scores[winner] > best + 1e-4) [kept, best] = [tried[winner], scores[winner]];
    else if (step / 2 < LAST_STEP) break;
    else step /= 2;
  }
  return kept;
}

/** @param {Float32Array} values @param {(value: number) => boolean} wanted */
const places = (values, wanted) => Array.from(values.keys()).filter((at) => wanted(values[at]));

/** @param {Plane} plane @param {(u: number, v: number) => [number, number]} place @param {number} at @param {number} size */
function taken(plane, place, at, size) {
  const [x, y] = place((at % size) + 0.5, Math.floor(at / size) + 0.5);
  return nearest(plane, x, y);
}

/** The pixel nearest to a place; outside of the picture the one at its edge. @param {Plane} plane @param {number} x @param {number} y */
export function nearest({ values, width, height }, x, y) {
  const column = Math.min(width - 1, Math.max(0, Math.round(x)));
  return values[Math.min(height - 1, Math.max(0, Math.round(y))) * width + column];
}

/** Where points of a square of `size` modules fall, seen from the side. @param {Quad} quad @param {number} size @returns {(u: number, v: number) => [number, number]} */
export function placed(quad, size) {
  const [[x0, y0], [x1, y1], [x2, y2], [x3, y3]] = quad;
  const [ax, bx, cx] = [x1 - x2, x3 - x2, x0 - x1 + x2 - x3];
  const [ay, by, cy] = [y1 - y2, y3 - y2, y0 - y1 + y2 - y3];
  const area = ax * by - bx * ay;
  const [g, h] = [(cx * by - bx * cy) / area, (ax * cy - cx * ay) / area];
  return (u, v) => {
    const [along, down] = [u / size, v / size];
    const depth = g * along + h * down + 1;
    return [
      ((x1 - x0 + g * x1) * along + (x3 - x0 + h * x3) * down + x0) / depth,
      ((y1 - y0 + g * y1) * along + (y3 - y0 + h * y3) * down + y0) / depth,
    ];
  };
}
