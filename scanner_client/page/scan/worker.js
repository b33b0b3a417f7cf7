// @ts-check
// The decoder's worker: pixels in, what they show out, one picture at a time. It holds no rule of its own but the budget.

import * as belief from "./belief.js";
import * as climb from "./climb.js";
import { decoder } from "./decoder.js";
import { Scene } from "./ladder.js";
import * as levels from "./levels.js";

/** @typedef {{id: number, kind: "frame" | "photo", pixels: ArrayBuffer, width: number, height: number, place: import("./ladder.js").Place}} Asked */

/** For a photo, which is all there is. A phone takes some times as long for each rung as a desk. */
const PHOTO_BUDGET_MS = 4000;

const reading = decoder(new URL("../vendor/zxing_reader.wasm", import.meta.url).href);
let turn = climb.first();

/** @param {import("./climb.js").Read} read @param {Asked} asked */
function answered(read, { kind, pixels, width, height, place }) {
  const grey = levels.fromColours(new Uint8ClampedArray(pixels), width, height);
  if (kind === "frame") {
    const [sights, next] = climb.frame(read, new Scene(grey, place), turn);
    turn = next;
    return { sights };
  }
  const over_ms = performance.now() + PHOTO_BUDGET_MS;
  const sights = climb.photo(read, grey, () => performance.now() > over_ms);
  return { sights: belief.believed(sights), unsure: belief.doubted(sights).length > 0 };
}

reading.then(
  () => self.postMessage({ kind: "ready" }),
  (error) => self.postMessage({ kind: "broken", reason: String(error) }),
);
self.addEventListener("message", async (/** @type {MessageEvent<Asked>} */ { data }) => {
  try {
    self.postMessage({ id: data.id, ...answered(await reading, data) });
  } catch (error) {
    self.postMessage({ id: data.id, error: String(error) });
  }
});
