// @ts-check
// A ladder of image rescues in front of the decoder: each rung is another look at a picture that gave nothing as it is.
// With a camera one rung has its turn with each frame, since the next frame comes soon; a photo gets them all. The cheap
// ones look at the patch with the symbol, cut out and brought to one size, so that a figure in pixels means the same for
// a symbol near and far. Pure: nothing here decodes. The order was chosen on the tuning pictures of tests/corpus.

import * as lattice from "./lattice.js";
import * as levels from "./levels.js";
import * as rhythm from "./rhythm.js";
import * as spot from "./spot.js";
import * as strips from "./strips.js";

/** @typedef {import("./levels.js").Grey} Grey */
/** @typedef {"any" | "matrix" | "linear" | "strip" | "drawn"} Wanted what a look is good for, and so what the decoder needs to try */
/** @typedef {{left: number, top: number, factor: number}} Place where a look lies in the picture, and how much it is enlarged */
/** @typedef {{name: string, grey: Grey, wanted: Wanted, global: boolean, part: import("./belief.js").Part, place: Place | null}} Look */
/** @typedef {{name: string, wanted: Wanted, see: (scene: Scene) => Iterable<Seen>, global?: boolean, part?: import("./belief.js").Part}} Rung */
/** @typedef {{grey: Grey, place: Place | null}} Seen */

const PATCH_PX = 200;
/** Dots are joined where they are so far apart. */
const JOINED_PITCH_PX = 12;
const LEAST_PITCH_PX = 3;

/** A picture with what several rungs need of it, each part made once and only when it is asked for. */
export class Scene {
  /** @param {Grey} grey @param {Place} [place] where it lies in a bigger picture */
  constructor(grey, place = { left: 0, top: 0, factor: 1 }) {
    this.grey = grey;
    this.place = place;
    /** @type {Map<string, any>} */
    this.made = new Map();
  }

  /** @template T @param {string} name @param {() => T} make @returns {T} */
  once(name, make) {
    if (!this.made.has(name)) this.made.set(name, make());
    return this.made.get(name);
  }

  /** The square in the middle, where matrix symbols are held. @returns {Seen} */
  get middle() {
    return this.once("middle", () => {
      const side = Math.min(this.grey.width, this.grey.height);
      const [left, top] = [(this.grey.width - side) >> 1, (this.grey.height - side) >> 1];
      return { grey: levels.cut(this.grey, left, top, side, side), place: within(this.place, left, top, 1) };
    });
  }

  /** @returns {import("./spot.js").Patch} */
  get patch() {
    return this.once("patch", () => spot.patch(this.middle.grey));
  }

  /** The patch at full contrast and at one size. @returns {Seen} */
  get clear() {
    return this.once("clear", () => {
      const { grey, left, top } = this.patch;
      const factor = PATCH_PX / Math.max(grey.width, grey.height);
      const plain = levels.spread(levels.blurred(grey, 0.6));
      return { grey: levels.scaled(plain, factor), place: within(this.middle.place, left, top, factor) };
    });
  }

  /** How far modules are apart in the clear patch; 0 where nothing repeats. @returns {number} */
  get pitch_px() {
    return this.once("pitch", () => {
      const factor = rhythm.SIDE_PX / PATCH_PX;
      return pitch(rhythm.peaks(levels.scaled(this.clear.grey, factor), 3)) / factor;
    });
  }

  /** What may be a symbol by its lattice, the likeliest first. @returns {import("./lattice.js").Candidate[]} */
  get candidates() {
    return this.once("candidates", () => {
      const { grey, side_px } = this.patch;
      const factor = rhythm.SIDE_PX / Math.max(grey.width, grey.height);
      return lattice.candidates(levels.scaled(grey, factor), side_px * factor);
    });
  }

  /** @returns {{found: boolean, degrees: number}} */
  get bars() {
    return this.once("bars", () => spot.bars(this.middle.grey));
  }

  /** The picture turned so that its bars stand upright. @returns {Grey} */
  get standing() {
    return this.once("standing", () => levels.turned(this.grey, this.bars.degrees));
  }

  /** The rows that upright bars reach over. @returns {[number, number]} */
  get rows() {
    return this.once("rows", () => strips.band(this.standing));
  }
}

/** @param {Place | null} place @param {number} left @param {number} top @param {number} factor @returns {Place | null} */
const within = (place, left, top, factor) =>
  place && { left: place.left + left / place.factor, top: place.top + top / place.factor, factor: place.factor * factor };

/** The two strongest repetitions that stand square to each other give the pitch. @param {import("./rhythm.js").Peak[]} peaks */
function pitch(peaks) {
  const lengths = peaks.map(({ vector }) => Math.hypot(...vector));
  for (let other = 1; other < peaks.length; other += 1) {
    for (let one = 0; one < other; one += 1) {
      const [a, b] = [peaks[one].vector, peaks[other].vector];
      const square = Math.abs(a[0] * b[1] - a[1] * b[0]) / (lengths[one] * lengths[other]);
      const [short, long] = [Math.min(lengths[one], lengths[other]), Math.max(lengths[one], lengths[other])];
      if (square > 0.9 && long < 1.25 * short) return 2 / (short + long);
    }
  }
  return 0;
}

/** @param {string} name @param {(scene: Scene) => Seen} of @param {(grey: Grey) => Grey} change @param {boolean} [global] @param {number} [factor] @returns {Rung} */
const matrix = (name, of, change, global = false, factor = 1) => ({
  name, wanted: "matrix", global,
  see: (scene) => {
    const { grey, place } = of(scene);
    return [{ grey: change(grey), place: within(place, 0, 0, factor) }];
  },
});

const clear = (/** @type {Scene} */ scene) => scene.clear;
const middle = (/** @type {Scene} */ scene) => scene.middle;
const { blurred, darkest, lightest, sharpened } = levels;

/** Dots grow until they touch: over 0.6 of the pitch, then smoothed. @param {string} name @param {(grey: Grey, side_px: number) => Grey} grow @returns {Rung} */
const joined = (name, grow) => ({
  name, wanted: "matrix",
  see: (scene) => {
    if (scene.pitch_px < LEAST_PITCH_PX) return [];
    const factor = JOINED_PITCH_PX / scene.pitch_px;
    const { grey, place } = scene.clear;
    const sized = levels.scaled(blurred(grey, 0.12 * scene.pitch_px), factor);
    return [{ grey: blurred(grow(sized, Math.round(0.6 * JOINED_PITCH_PX)), 0.2 * JOINED_PITCH_PX), place: within(place, 0, 0, factor) }];
  },
});

/** Clean drawings, where there is a lattice. @param {string} name @param {(likely: import("./lattice.js").Candidate[]) => Iterable<Grey>} draw @returns {Rung} */
const redrawn = (name, draw) => ({
  name, wanted: "drawn", part: "drawn",
  *see(scene) {
    for (const grey of draw(scene.candidates)) yield { grey, place: null };
  },
});

/** For matrix symbols, those that add most for their time first. @type {Rung[]} */
export const MATRIX = [
  matrix("patch, Gaussian 2 px", clear, (grey) => blurred(grey, 2)),
  matrix("patch, unsharp", clear, (grey) => sharpened(blurred(grey, 1), 4, 3)),
  redrawn("lattice", lattice.drawnAtOnce),
  matrix("patch, dilation 7 and blur", clear, (grey) => blurred(lightest(grey, 7), 2)),
  matrix("patch, Gaussian 2 px, global", clear, (grey) => blurred(grey, 2), true),
  redrawn("lattice, corners moved", lattice.drawnRefined),
  matrix("unsharp", middle, (grey) => sharpened(blurred(grey, 1), 4, 3)),
  matrix("patch, against surroundings", clear, (grey) => levels.againstSurroundings(blurred(grey, 1.5), 20), true),
  joined("light dots joined", lightest),
  joined("dark dots joined", darkest),
  matrix("patch, erosion 5", clear, (grey) => darkest(grey, 5)),
  matrix("Gaussian 3 px", middle, (grey) => blurred(grey, 3)),
  matrix("twice", middle, (grey) => levels.scaled(grey, 2), false, 2),
  matrix("half", middle, (grey) => levels.reduced(grey, 2), false, 0.5),
];

/** For matrix symbols where there is time, as with photos: they added little or nothing on the tuning pictures. @type {Rung[]} */
export const MATRIX_LAST = [
  matrix("mean of 5 px", middle, (grey) => levels.averaged(grey, 2)),
  matrix("Gaussian 1.5 px, global", middle, (grey) => blurred(grey, 1.5), true),
  matrix("global", middle, (grey) => grey, true),
  matrix("Gaussian 1.5 px", middle, (grey) => blurred(grey, 1.5)),
  matrix("erosion 5 and blur", middle, (grey) => blurred(darkest(grey, 5), 1.5)),
  matrix("dilation 5 and blur", middle, (grey) => blurred(lightest(grey, 5), 1.5)),
  matrix("dilation 3", middle, (grey) => lightest(grey, 3)),
];

/** @param {import("./strips.js").Part} part @param {"sharp" | "sharper" | "as it is"} way @param {boolean} [light] @returns {Rung} */
const strip = (part, way, light = false) => ({
  name: `${part} ${way}${light ? " light on dark" : ""}`, wanted: "strip", part,
  see: (scene) => {
    const grey = strips.strip(scene.standing, scene.rows, part, way, light);
    return grey ? [{ grey, place: null }] : [];
  },
});

/** @param {string} name @param {(grey: Grey) => Grey} change @param {number} factor @returns {Rung} */
const bars = (name, change, factor) => ({
  name, wanted: "linear",
  see: (scene) => [{ grey: change(scene.grey), place: within(scene.place, 0, 0, factor) }],
});

/** For bars. @type {Rung[]} */
export const LINEAR = [
  strip("upper", "sharp"),
  strip("lower", "sharp"),
  strip("whole", "sharp"),
  { name: "upright", wanted: "linear", see: (scene) => [{ grey: scene.standing, place: null }] },
  strip("whole", "sharp", true),
  strip("upper", "sharper"),
  strip("lower", "sharper"),
  bars("bars, Gaussian 1 px", (grey) => blurred(grey, 1), 1),
  strip("upper", "sharp", true),
  strip("lower", "sharp", true),
];

/** For bars where there is time. @type {Rung[]} */
export const LINEAR_LAST = [
  strip("whole", "sharper"),
  strip("upper", "as it is"),
  strip("lower", "as it is"),
  strip("whole", "as it is"),
  bars("bars, half", (grey) => levels.reduced(grey, 2), 0.5),
  bars("bars, twice", (grey) => levels.scaled(grey, 2), 2),
];

/** The picture as it is. @param {Scene} scene @param {Wanted} [wanted] @returns {Look} */
export const plain = (scene, wanted = "any") => ({
  name: "as it is", grey: scene.grey, wanted, global: false, part: "lines", place: scene.place,
});

/** What a rung makes of a picture: mostly one look, none if there is nothing in it for this rung. @param {Rung} rung @param {Scene} scene @returns {Generator<Look>} */
export function* looks({ name, wanted, global = false, part = "lines", see }, scene) {
  for (const { grey, place } of see(scene)) if (grey.width && grey.height) yield { name, wanted, global, part, grey, place };
}

/** Whether a picture has room for a search. @param {Grey} grey */
export const searchable = (grey) => Math.min(grey.width, grey.height) >= spot.LEAST_SIDE_PX;
