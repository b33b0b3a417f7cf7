// @ts-check
// A look at a picture to the symbols in it. The only place that knows the decoder.

import { BINARIZERS, CHARACTER_SETS, TEXT_MODES, defaultReaderOptions, encodeFormats, prepareZXingModule } from "../vendor/zxing_reader.js";

/** @typedef {import("./ladder.js").Look} Look */
/** @typedef {import("./belief.js").Sight} Sight */

/** @type {any[]} */
const MATRIX = ["DataMatrix", "QRCode"];
/** @type {any[]} */
const LINEAR = ["Code128", "Code39"];
/** @type {Record<Look["wanted"], any[]>} */
const FORMATS = { any: [...MATRIX, ...LINEAR], matrix: MATRIX, linear: LINEAR, strip: LINEAR, drawn: ["DataMatrix"] };

/**
 * Start the decoder. `place` is where its wasm file lies, on this origin; nothing is ever asked of another.
 * @param {string} place @returns {Promise<(look: Look) => Sight[]>}
 */
export async function decoder(place) {
  return started(await compiled(place));
}

/** Start the decoder from its compiled file. @param {WebAssembly.Module} compiled @returns {Promise<(look: Look) => Sight[]>} */
export async function started(compiled) {
  /** @type {(error: Error) => void} */
  let failed = () => {};
  const failing = new Promise((/** @type {(engine: any) => void} */ _, reject) => { failed = reject; });
  const instantiateWasm = (/** @type {WebAssembly.Imports} */ imports, /** @type {(instance: WebAssembly.Instance, of: WebAssembly.Module) => void} */ done) => {
    WebAssembly.instantiate(compiled, imports).then((instance) => done(instance, compiled), failed);
    return {};
  };
  const overrides = /** @type {any} */ ({ instantiateWasm });
  const engine = await Promise.race([failing, prepareZXingModule({ overrides, equalityFn: Object.is, fireImmediately: true })]);
  return (look) => seen(engine, look);
}

/** Compiled while it comes, which a browser also keeps; all at once where the server names another type. @param {string} place */
async function compiled(place) {
  const answer = await fetch(place);
  if (!answer.ok) throw new Error(`the decoder's file is missing: status ${answer.status}`);
  const spare = answer.clone();
  try {
    return await WebAssembly.compileStreaming(answer);
  } catch {
    return WebAssembly.compile(await spare.arrayBuffer());
  }
}

/** @param {any} engine @param {Look} look @returns {Sight[]} */
function seen(engine, look) {
  const { data, width, height } = look.grey;
  const held = engine._malloc(data.length);
  if (!held) return [];
  try {
    engine.HEAPU8.set(data, held);
    const found = engine.readBarcodesFromPixmap(held, width, height, options(look));
    const sights = [];
    for (let at = 0; at < found.size(); at += 1) sights.push(...sight(look, found.get(at)));
    found.delete();
    return sights;
  } finally {
    engine._free(held);
  }
}

/** @param {Look} look */
function options(look) {
  const searched = look.wanted !== "strip" && look.wanted !== "drawn";
  return {
    ...defaultReaderOptions,
    formats: encodeFormats(FORMATS[look.wanted]),
    tryRotate: searched,
    tryDownscale: searched,
    tryInvert: searched,
    isPure: look.wanted === "drawn",
    binarizer: BINARIZERS.indexOf(look.global ? "GlobalHistogram" : "LocalAverage"),
    eanAddOnSymbol: 0,
    textMode: TEXT_MODES.indexOf("Plain"),
    characterSet: CHARACTER_SETS.indexOf("Unknown"),
  };
}

/** Only the bytes are the symbol's own: the decoder's text shows separators as pictures of themselves. @param {Look} look @param {any} read @returns {Sight[]} */
function sight(look, read) {
  if (!read.isValid || !read.bytes.length) return [];
  const { topLeft, topRight, bottomRight, bottomLeft } = read.position;
  const points = [topLeft, topRight, bottomRight, bottomLeft].map((each) => [each.x, each.y]);
  const [across, down] = [points.map((each) => each[0]), points.map((each) => each[1])];
  return [{
    look: look.name,
    part: look.part,
    bytes: read.bytes.slice(),
    symbology: read.symbologyIdentifier || null,
    box: [Math.min(...across), Math.min(...down), Math.max(...across), Math.max(...down)],
    corners: placed(points, look.place),
  }];
}

/** Points of a look as points of the picture; null where the way back is not known. @param {number[][]} points @param {import("./ladder.js").Place | null} place */
const placed = (points, place) => place && points.map(([x, y]) => [place.left + x / place.factor, place.top + y / place.factor]);
