// @ts-check
// The page's side of the decoder's worker. One worker serves the camera and the photos: to start it costs most.

/** @typedef {import("./belief.js").Sight} Sight */
/** @typedef {{sights: Sight[], unsure?: boolean}} Shown */
/** @typedef {{kind: "frame" | "photo", image: ImageData, place?: import("./ladder.js").Place}} Asked */
/** @typedef {{ready: Promise<void>, ask: (asked: Asked) => Promise<Shown>}} Reader */

/** This browser can't decode (no wasm, no module workers, file missing): let the server do it. */
export class NoDecoderError extends Error {}

/** @type {Reader | null} */
let kept = null;

/** The reader, started with the first call; one that broke is started anew. @returns {Reader} */
export function reader() {
  if (!kept) {
    const made = started();
    kept = made;
    made.ready.catch(() => { if (kept === made) kept = null; });
  }
  return kept;
}

/** @returns {Reader} */
function started() {
  /** @type {Map<number, {resolve: (shown: Shown) => void, reject: (error: Error) => void}>} */
  const waiting = new Map();
  let next = 0;
  const worker = new Worker(new URL("./worker.js", import.meta.url), { type: "module" });
  const ready = new Promise((/** @type {(value: void) => void} */ resolve, reject) => {
    const broken = (/** @type {string} */ reason) => {
      const error = new NoDecoderError(`Symbols can't be decoded in this browser (${reason}).`);
      for (const each of waiting.values()) each.reject(error);
      waiting.clear();
      worker.terminate();
      kept = null;
      reject(error);
    };
    worker.addEventListener("error", (event) => broken(event.message || "the worker did not start"));
    worker.addEventListener("message", ({ data }) => {
      if (data.kind === "ready") return resolve();
      if (data.kind === "broken") return broken(data.reason);
      const asked = waiting.get(data.id);
      waiting.delete(data.id);
      return data.error ? asked?.reject(new Error(data.error)) : asked?.resolve(data);
    });
  });
  /** @param {Asked} asked */
  const ask = async ({ kind, image, place = { left: 0, top: 0, factor: 1 } }) => {
    await ready;
    const id = next++;
    const { buffer } = image.data;
    return new Promise((/** @type {(shown: Shown) => void} */ resolve, reject) => {
      waiting.set(id, { resolve, reject });
      worker.postMessage({ id, kind, pixels: buffer, width: image.width, height: image.height, place }, [buffer]);
    });
  };
  return { ready, ask };
}

/** The mark as the wire carries it. Bytes that are not UTF-8 are taken as Latin-1, which loses none of them. @param {Uint8Array} bytes */
export function text(bytes) {
  try {
    return new TextDecoder("utf-8", { fatal: true, ignoreBOM: true }).decode(bytes);
  } catch {
    return String.fromCharCode(...bytes);
  }
}
