// @ts-check
// Reads the tuning pictures as the eye does: each is shown again and again, as a camera would, until it is told or not.

import * as belief from "/scan/belief.js";
import * as climb from "/scan/climb.js";
import { decoder } from "/scan/decoder.js";
import { reticle } from "/scan/eye.js";
import * as ladder from "/scan/ladder.js";
import * as levels from "/scan/levels.js";

/** @type {ReturnType<typeof decoder> | null} */
let reading = null;
/** @param {Uint8Array} bytes */
const hex = (bytes) => Array.from(bytes, (each) => each.toString(16).padStart(2, "0")).join("");

/** @param {string} path @param {number} width @param {number} height @param {number} most_frames */
async function outcome(path, width, height, most_frames) {
  const data = new Uint8Array(await (await fetch(path)).arrayBuffer());
  const grey = { data, width, height };
  reading ??= decoder("/vendor/zxing_reader.wasm");
  const read = await reading;
  const began = performance.now();
  const plain = read(ladder.plain(new ladder.Scene(grey)));
  const plain_ms = performance.now() - began;
  const { left, top, ...size } = reticle(width, height);
  const band = levels.cut(grey, left, top, size.width, size.height);
  let [turn, memory, told, frames] = [climb.first(), belief.blank(), [], 0];
  const started = performance.now();
  while (!told.length && frames < most_frames) {
    frames += 1;
    let sights;
    [sights, turn] = climb.frame(read, new ladder.Scene(band), turn);
    [memory, told] = belief.watch(memory, sights, frames * 100);
  }
  const frame_ms = (performance.now() - started) / frames;
  const distinct = (/** @type {any[]} */ sights) => [...new Set(sights.map((each) => hex(each.bytes)))];
  return { plain: distinct(plain), told: distinct(told), frames, plain_ms, frame_ms };
}

/** The looks that each of so many frames gets where nothing can be read; at each frame of `changes` the picture is turned upside down. @param {string} path @param {number} width @param {number} height @param {number} count @param {number[]} changes */
async function looksTaken(path, width, height, count, changes) {
  let data = new Uint8Array(await (await fetch(path)).arrayBuffer());
  const frames = [];
  let turn = climb.first();
  for (let at = 0; at < count; at += 1) {
    const names = [];
    const read = (/** @type {import("/scan/ladder.js").Look} */ look) => { names.push(look.name); return []; };
    if (changes.includes(at)) data = data.slice().reverse();
    [, turn] = climb.frame(read, new ladder.Scene({ data, width, height }), turn);
    frames.push([...new Set(names)]);
  }
  return { frames, matrix: ladder.MATRIX.map((each) => each.name) };
}

/** What is sure in a photo, with all the time it needs. @param {string} path @param {number} width @param {number} height */
async function climbed(path, width, height) {
  reading ??= decoder("/vendor/zxing_reader.wasm");
  const data = new Uint8Array(await (await fetch(path)).arrayBuffer());
  return belief.believed(climb.photo(await reading, { data, width, height }, () => false)).map((each) => hex(each.bytes));
}

Object.assign(/** @type {any} */ (window).stage, { outcome, belief, looksTaken, climbed });
