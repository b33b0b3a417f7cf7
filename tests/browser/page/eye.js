// @ts-check
// A stand-in for the bench page: opens the eye, notes what it tells and when, and when the film's corner changes.

import { openEye } from "/scan/eye.js";
import { readPhoto } from "/scan/photo.js";

/** @param {Uint8Array} bytes */
const hex = (bytes) => Array.from(bytes, (each) => each.toString(16).padStart(2, "0")).join("");
/** @param {{bytes: Uint8Array, symbology: string | null, text: string}} read */
const noted = (read) => ({ ...read, bytes: hex(read.bytes), at_ms: performance.now() });

/** @type {any} */
const stage = { states: [], reads: [], entered_ms: [], photos: [], eye: null, renew: false };
Object.assign(window, { stage });
const video = /** @type {HTMLVideoElement} */ (document.getElementById("video"));
const corner = document.createElement("canvas").getContext("2d", { willReadFrequently: true });
let white = false;

/** Note when the symbol comes; when it goes, let the eye forget it if it is asked to. */
function watchCorner() {
  corner.drawImage(video, 0, 0, 16, 16, 0, 0, 16, 16);
  const now = corner.getImageData(8, 8, 1, 1).data[0] > 127;
  if (now && !white) stage.entered_ms.push(performance.now());
  if (!now && white && stage.renew) stage.eye?.resume();
  white = now;
  video.requestVideoFrameCallback(watchCorner);
}

stage.open = async () => {
  stage.eye = await openEye({ video, onRead: (read) => stage.reads.push(noted(read)), onState: (state) => stage.states.push(state) });
  video.requestVideoFrameCallback(watchCorner);
};

document.getElementById("photo").addEventListener("change", async (event) => {
  const [file] = /** @type {HTMLInputElement} */ (event.target).files;
  try {
    const { scans, unsure } = await readPhoto(file);
    stage.photos.push({ scans: scans.map(noted), unsure });
  } catch (error) {
    stage.photos.push({ failed: error.constructor.name });
  }
});
stage.ready = true;
