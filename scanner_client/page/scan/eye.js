// @ts-check
// The camera: pictures of what lies in the reticle go to the worker, one at a time; what is new and sure is told.

import * as belief from "./belief.js";
import { reader, text } from "./reader.js";

/** @typedef {"starting" | "looking" | "denied" | "none" | "insecure" | "broken"} State `insecure`: no camera without TLS; `broken`: no decoder here */
/** @typedef {{across: number, down: number}} Crop the reticle: a part of the width, and a part of the shorter side */
/** @typedef {{bytes: Uint8Array, symbology: string | null, text: string, corners: number[][] | null, beside: number}} Read `corners`: pixels of the video, where known; `beside`: other symbols in the same frame */
/** @typedef {{video: HTMLVideoElement, onRead: (read: Read) => void, onState: (state: State) => void, crop?: Crop}} Asked */
/** @typedef {{pause: () => void, resume: () => void, torch: (on: boolean) => Promise<void>, hasTorch: boolean, stop: () => void}} Eye */

/** Wide enough for a bar code, low enough to aim with. */
export const CROP = { across: 0.9, down: 0.75 };
const MOST_WIDER = 1.6;
/** More pixels cost more time than they read. */
const MOST_HIGH_PX = 480;
/** Not more often, for the battery's sake; the worker's own time comes on top where it needs longer. */
const LEAST_APART_MS = 60;
const HIDDEN_MS = 300;

/** The part of a picture that is looked at, in its pixels; a view draws the same. @param {number} width @param {number} height @param {Crop} [crop] */
export function reticle(width, height, crop = CROP) {
  const high = Math.max(1, Math.round(Math.min(width, height) * crop.down));
  const wide = Math.max(1, Math.min(Math.round(width * crop.across), Math.round(high * MOST_WIDER)));
  return { left: (width - wide) >> 1, top: (height - high) >> 1, width: wide, height: high };
}

/**
 * Open the camera and look until stopped. An eye that could not be opened says why by its state and does nothing.
 * @param {Asked} asked @returns {Promise<Eye>}
 */
export async function openEye({ video, onRead, onState, crop = CROP }) {
  onState("starting");
  const stream = await camera(onState);
  if (!stream) return { pause: () => {}, resume: () => {}, torch: async () => {}, hasTorch: false, stop: () => {} };
  const [track] = stream.getVideoTracks();
  const looking = loop(video, crop, onRead, onState);
  track.addEventListener("ended", () => { looking.stop(); onState("none"); });
  Object.assign(video, { srcObject: stream, muted: true, playsInline: true });
  video.play().catch(() => {});
  reader().ready.then(looking.begin, () => onState("broken"));
  return {
    pause: looking.pause,
    resume: looking.resume,
    hasTorch: capabilities(track).torch === true,
    torch: (on) => track.applyConstraints({ advanced: [/** @type {any} */ ({ torch: on })] }),
    stop: () => {
      looking.stop();
      stream.getTracks().forEach((each) => each.stop());
      if (video.srcObject === stream) video.srcObject = null;
    },
  };
}

/** @param {(state: State) => void} onState */
async function camera(onState) {
  if (!window.isSecureContext || !navigator.mediaDevices?.getUserMedia) return void onState("insecure");
  const video = { facingMode: { ideal: "environment" }, width: { ideal: 1280 }, height: { ideal: 720 } };
  try {
    return await navigator.mediaDevices.getUserMedia({ audio: false, video });
  } catch (error) {
    const denied = error instanceof DOMException && ["NotAllowedError", "SecurityError"].includes(error.name);
    return void onState(denied ? "denied" : "none");
  }
}

/** @param {MediaStreamTrack} track @returns {any} */
const capabilities = (track) => track.getCapabilities?.() ?? {};

/** @param {HTMLVideoElement} video @param {Crop} crop @param {(read: Read) => void} onRead @param {(state: State) => void} onState */
function loop(video, crop, onRead, onState) {
  let [paused, stopped, epoch] = [false, false, 0];
  let memory = belief.blank();
  const grab = grabber();
  const look = async () => {
    const began = epoch;
    const { sights } = await reader().ask({ kind: "frame", ...grab(video, crop) });
    if (paused || stopped || epoch !== began) return;
    const [next, told] = belief.watch(memory, sights, performance.now());
    memory = next;
    const beside = new Set(sights.map(belief.key).filter((each) => next.shown.has(each))).size - 1;
    for (const { bytes, symbology, corners } of told) onRead({ bytes, symbology, text: text(bytes), corners, beside });
  };
  const turn = async () => {
    if (stopped) return;
    const idle = paused || document.hidden || !video.videoWidth;
    const began = performance.now();
    if (!idle) await look().catch(() => reader().ready.catch(() => { stopped = true; onState("broken"); }));
    const left_ms = began + LEAST_APART_MS - performance.now();
    setTimeout(() => upcoming(video, turn), idle ? HIDDEN_MS : Math.max(0, left_ms));
  };
  return {
    begin: () => { if (!stopped) onState("looking"); turn(); },
    pause: () => { paused = true; },
    resume: () => { [paused, memory, epoch] = [false, belief.blank(), epoch + 1]; },
    stop: () => { stopped = true; },
  };
}

/** At the next picture of the camera; the same one twice would agree with itself. @param {HTMLVideoElement} video @param {() => void} act */
function upcoming(video, act) {
  if (!video.requestVideoFrameCallback || document.hidden || !video.srcObject) return act();
  // A camera that stalls must not end the loop: whichever comes first.
  let done = false;
  const once = () => { if (!done) { done = true; act(); } };
  video.requestVideoFrameCallback(once);
  return void setTimeout(once, HIDDEN_MS);
}

/** Cuts the reticle out of the picture of a video. */
function grabber() {
  const canvas = document.createElement("canvas");
  const pen = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d", { willReadFrequently: true }));
  return (/** @type {HTMLVideoElement} */ video, /** @type {Crop} */ crop) => {
    const { left, top, width, height } = reticle(video.videoWidth, video.videoHeight, crop);
    const factor = Math.min(1, MOST_HIGH_PX / height);
    const [wide, high] = [Math.max(1, Math.round(width * factor)), Math.max(1, Math.round(height * factor))];
    if (canvas.width !== wide || canvas.height !== high) Object.assign(canvas, { width: wide, height: high });
    pen.drawImage(video, left, top, width, height, 0, 0, wide, high);
    return { image: pen.getImageData(0, 0, wide, high), place: { left, top, factor } };
  };
}
