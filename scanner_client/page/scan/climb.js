// @ts-check
// Who has the next look: for the frames of a camera one rung each, in turn; for a photo all of them, until what was seen
// is sure. Pure but for the decoder that is handed in.

import * as belief from "./belief.js";
import * as ladder from "./ladder.js";
import * as levels from "./levels.js";

/** @typedef {import("./levels.js").Grey} Grey */
/** @typedef {import("./ladder.js").Look} Look */
/** @typedef {import("./ladder.js").Rung} Rung */
/** @typedef {import("./ladder.js").Scene} Scene */
/** @typedef {import("./belief.js").Sight} Sight */
/** @typedef {(look: Look) => Sight[]} Read */
/** @typedef {{fresh: number, round: number}} Turns which rung is next: since something new came into sight, and in the round that never begins anew */
/**
 * @typedef {{frame: number, begun: number, rough: Grey | null, order: Rung[], matrix: Turns, linear: Turns, lucky: Rung | null, doubt: number}} Turn
 * `begun`: the frame at which something new came into sight; `rough`: the last frame, very small; `order`: rungs for matrix
 * symbols, those that read something lately first; `lucky`: the rung that has just read something; `doubt`: frames for
 * which a bar code waits to be confirmed
 */

/** So many frames a bar code waits to be confirmed before other rungs have their turn again: all rungs for bars. */
const DOUBT_FRAMES = ladder.LINEAR.length;
/** Whether bars or squares are looked for is a guess; every so many frames the other kind has its turn. */
const OTHER_KIND = 5;
/** Mean difference of levels between two frames from which something new is in sight, and the rows it is judged by. */
const [CHANGED, ROUGH_ROWS] = [6, 12];
const MOST_SEEN_PX = 12_000_000;
/** The ladder works on no more than this: a symbol that fills half of a photo has modules enough at that size. */
const MOST_CLIMBED_PX = 1_300_000;

/** All rungs, for a photo. */
const LINEAR = [...ladder.LINEAR, ...ladder.LINEAR_LAST];
const MATRIX = [...ladder.MATRIX, ...ladder.MATRIX_LAST];

/** @returns {Turn} */
export const first = () => ({
  frame: 0, begun: 0, rough: null, order: ladder.MATRIX, matrix: { fresh: 0, round: 0 }, linear: { fresh: 0, round: 0 }, lucky: null, doubt: 0,
});

/** One frame: the picture as it is, then at most one rung. @param {Read} read @param {Scene} scene @param {Turn} before @returns {[Sight[], Turn]} */
export function frame(read, scene, before) {
  if (!ladder.searchable(scene.grey)) return [read(ladder.plain(scene)), before];
  const turn = renewed(before, levels.reduced(scene.grey, Math.max(1, Math.floor(scene.grey.height / ROUGH_ROWS))));
  const sights = read(ladder.plain(scene));
  const bars = sights.some(belief.linear);
  if (sights.length && !bars) return [sights, turn];
  const doubt = bars ? DOUBT_FRAMES : Math.max(0, turn.doubt - 1);
  const [rung, next] = chosen({ ...turn, doubt }, scene);
  const found = climbed(read, rung, scene);
  const waits = found.some(belief.linear) ? DOUBT_FRAMES : doubt;
  const lucky = found.some((each) => !belief.linear(each)) ? rung : null;
  const order = lucky ? [lucky, ...next.order.filter((each) => each !== lucky)] : next.order;
  return [[...sights, ...found], { ...next, doubt: waits, lucky, order }];
}

/** The next frame. When something new comes into sight, the rungs begin with the first again. @param {Turn} turn @param {Grey} rough @returns {Turn} */
function renewed(turn, rough) {
  const frame = turn.frame + 1;
  if (turn.rough && difference(turn.rough, rough) < CHANGED) return { ...turn, frame, rough };
  const { matrix, linear } = turn;
  return { ...turn, frame, rough, begun: frame, matrix: { ...matrix, fresh: 0 }, linear: { ...linear, fresh: 0 }, lucky: null };
}

/** The mean difference of two pictures' levels; all of them where the sizes differ. @param {Grey} one @param {Grey} other */
function difference(one, other) {
  if (one.data.length !== other.data.length) return 255;
  return one.data.reduce((sum, each, at) => sum + Math.abs(each - other.data[at]), 0) / Math.max(1, one.data.length);
}

/** What one rung gives: of several looks the first that shows anything. @param {Read} read @param {Rung} rung @param {Scene} scene */
function climbed(read, rung, scene) {
  for (const look of ladder.looks(rung, scene)) {
    const found = read(look);
    if (found.length) return found;
  }
  return [];
}

/** The rung whose turn it is. For bars each time another one, since their agreement counts. @param {Turn} turn @param {Scene} scene @returns {[Rung, Turn]} */
function chosen(turn, scene) {
  if (turn.lucky && !turn.doubt) return [turn.lucky, turn];
  const age = turn.frame - turn.begun;
  const linear = turn.doubt > 0 || scene.bars.found !== (age % OTHER_KIND === OTHER_KIND - 1);
  const [rung, turns] = taken(linear ? ladder.LINEAR : turn.order, linear ? turn.linear : turn.matrix, age > 0);
  return [rung, linear ? { ...turn, linear: turns } : { ...turn, matrix: turns }];
}

/**
 * A frame that shows something new goes on with the round, so that an unsteady hand, with which every frame is new, does
 * not keep the last rungs from their turn.
 * @param {Rung[]} rungs @param {Turns} turns @param {boolean} isFresh @returns {[Rung, Turns]}
 */
function taken(rungs, turns, isFresh) {
  if (isFresh) return [rungs[turns.fresh % rungs.length], { ...turns, fresh: turns.fresh + 1 }];
  return [rungs[turns.round % rungs.length], { ...turns, round: turns.round + 1 }];
}

/** A photo, which is all there is: every rung, until all that was found is sure or the time is over. @param {Read} read @param {Grey} grey @param {() => boolean} isOver @returns {Sight[]} */
export function photo(read, grey, isOver) {
  const sights = read(ladder.plain(sized(grey, MOST_SEEN_PX)));
  const climbs = scenes(grey).filter((scene) => ladder.searchable(scene.grey)).map((scene) => ({ scene, rungs: ordered(scene) }));
  // Rung by rung, so that the middle of a big photo does not wait until the whole of it was climbed.
  for (let at = 0; at < LINEAR.length + MATRIX.length; at += 1) {
    for (const { scene, rungs } of climbs) {
      if (isOver() || belief.settled(sights)) return sights;
      // Once a bar code waits to be confirmed, looks for matrix symbols are of no use.
      if (!sights.length || LINEAR.includes(rungs[at])) sights.push(...climbed(read, rungs[at], scene));
    }
  }
  return sights;
}

/** All rungs, those for what seems to be in the picture first. @param {Scene} scene */
const ordered = (scene) => (scene.bars.found ? [...LINEAR, ...MATRIX] : [...MATRIX, ...LINEAR]);

/** The photo small enough to climb; of a big one the middle as well, where a small symbol keeps its pixels. @param {Grey} grey */
function scenes(grey) {
  const whole = sized(grey, MOST_CLIMBED_PX);
  if (whole.grey === grey) return [whole];
  const side = Math.floor(Math.sqrt(MOST_CLIMBED_PX));
  const [left, top] = [Math.max(0, (grey.width - side) >> 1), Math.max(0, (grey.height - side) >> 1)];
  return [whole, new ladder.Scene(levels.cut(grey, left, top, side, side), { left, top, factor: 1 })];
}

/** @param {Grey} grey @param {number} most_px */
function sized(grey, most_px) {
  const factor = Math.ceil(Math.sqrt(grey.data.length / most_px));
  return factor > 1 ? new ladder.Scene(levels.reduced(grey, factor), { left: 0, top: 0, factor: 1 / factor }) : new ladder.Scene(grey);
}
