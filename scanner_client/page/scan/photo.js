// @ts-check
// A photo to the symbols in it. Works on plain HTTP as well, where there is no camera for the page.

import { reader, text } from "./reader.js";

/** @typedef {{bytes: Uint8Array, symbology: string | null, text: string}} Scan */

/** Phones give up on bigger canvases. */
const MOST_PX = 12_000_000;

/** The image could not be opened here (cut off, or a kind that this browser does not know). */
export class NoImageError extends Error {}

/**
 * Every different symbol in a photo, those that are sure. `unsure` says that a bar code was read too badly to be told.
 * Fails with NoImageError or NoDecoderError; the server's decoder may still do better.
 * @param {Blob} blob @returns {Promise<{scans: Scan[], unsure: boolean}>}
 */
export async function readPhoto(blob) {
  const image = await pixels(blob);
  const { sights, unsure } = await reader().ask({ kind: "photo", image });
  return { scans: sights.map(({ bytes, symbology }) => ({ bytes, symbology, text: text(bytes) })), unsure: unsure ?? false };
}

/** The pixels of an image file, upright. @param {Blob} blob @returns {Promise<ImageData>} */
async function pixels(blob) {
  const place = URL.createObjectURL(blob);
  try {
    const shown = new Image();
    shown.src = place;
    await shown.decode();
    const [across, down] = [shown.naturalWidth, shown.naturalHeight];
    const factor = Math.min(1, Math.sqrt(MOST_PX / (across * down)));
    return drawn(shown, Math.max(1, Math.floor(across * factor)), Math.max(1, Math.floor(down * factor)));
  } catch {
    throw new NoImageError("This image can't be opened here.");
  } finally {
    URL.revokeObjectURL(place);
  }
}

/** Transparent parts count as white paper. @param {HTMLImageElement} shown @param {number} width @param {number} height */
function drawn(shown, width, height) {
  const canvas = document.createElement("canvas");
  Object.assign(canvas, { width, height });
  const pen = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d", { willReadFrequently: true }));
  pen.fillStyle = "#fff";
  pen.fillRect(0, 0, width, height);
  pen.drawImage(shown, 0, 0, width, height);
  return pen.getImageData(0, 0, width, height);
}
