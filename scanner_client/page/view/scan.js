// @ts-check
// Signing on and finding a connector: camera, photo, wedge or typing.

import { html, useEffect, useRef, useState } from "../vendor/preact_htm.js";
import { openEye, reticle } from "../scan/eye.js";
import { readPhoto } from "../scan/photo.js";
import { Line } from "./parts.js";
import * as words from "./words.js";

/** @type {Record<string, string>} */
const TROUBLES = {
  starting: "The camera is starting.",
  denied: "The camera is not allowed here. Allow it in the browser's settings, or take a photo, use the scanner, or type.",
  none: "This device has no camera that the browser can use. Use the scanner, or type.",
  broken: "This browser can't read symbols by itself. Take a photo, use the scanner, or type.",
  insecure: "A live camera needs a secure address (https). Take a photo instead; the README says how to set https up.",
};

const NOTHING = "No symbol was found in the picture. Hold the camera steady, fill the picture with the mark, avoid glare.";
const SEVERAL = "Several symbols are in view. Bring only one into the frame.";

/** The live camera with its reticle, which is drawn just where is looked. @param {{onRead: (reading: any) => void, hint: string, paused?: boolean}} props */
export function Camera({ onRead, hint, paused = false }) {
  const video = useRef(/** @type {any} */ (null));
  const eye = useRef(/** @type {any} */ (null));
  const told = useRef(onRead);
  told.current = onRead;
  const [seeing, setSeeing] = useState("starting");
  const [torch, setTorch] = useState(/** @type {boolean | null} */ (null));
  const [size, setSize] = useState(/** @type {[number, number] | null} */ (null));
  const [several, setSeveral] = useState(false);
  useEffect(() => {
    let gone = false;
    const read = (/** @type {any} */ each) => { setSeveral(each.beside > 0); if (!each.beside) told.current(each); };
    openEye({ video: video.current, onRead: read, onState: setSeeing }).then((/** @type {any} */ opened) => {
      if (gone) return opened?.stop();
      eye.current = opened;
      setTorch(opened?.hasTorch ? false : null);
    }, () => setSeeing("none"));
    return () => { gone = true; eye.current?.stop(); };
  }, []);
  useEffect(() => { if (paused) eye.current?.pause(); else eye.current?.resume(); }, [paused]);
  const sized = () => setSize([video.current.videoWidth, video.current.videoHeight]);
  const light = () => { eye.current?.torch(!torch); setTorch(!torch); };
  const live = seeing === "looking";
  return html`<div class=${live ? "camera live" : "camera"}>
    <video ref=${video} playsinline muted hidden=${!live} aria-label="What the camera sees" onResize=${sized} onLoadedMetadata=${sized}></video>
    ${live && size && html`<${Reticle} width=${size[0]} height=${size[1]} />`}
    <p role="status">${live ? (several ? SEVERAL : hint) : TROUBLES[seeing]}</p>
    ${live && torch !== null && html`<button type="button" class="quiet torch" aria-pressed=${String(torch)} onClick=${light}>${torch ? "Light off" : "Light on"}</button>`}
  </div>`;
}

/** @param {{width: number, height: number}} props */
function Reticle({ width, height }) {
  const { left, top, width: across, height: down } = reticle(width, height);
  const frame = { x: left, y: top, width: across, height: down, rx: height / 40, fill: "none" };
  return html`<svg class="reticle" viewBox=${`0 0 ${width} ${height}`} aria-hidden="true"><rect ...${frame} stroke="#000" stroke-width=${height / 60} /><rect ...${frame} stroke="#fff" stroke-width=${height / 110} /></svg>`;
}

/** What the page can't read in a photo, the server may. @param {Blob} photo @returns {Promise<any[]>} */
async function scansOf(photo) {
  const here = await readPhoto(photo).catch(() => ({ scans: [] }));
  if (here.scans.length) return here.scans;
  const answer = await fetch("/decode", { method: "POST", body: photo, signal: AbortSignal.timeout(20000) }).catch(() => null);
  const told = await answer?.json().catch(() => null);
  if (!answer || !told) throw new Error(`${NOTHING} The server, which reads more, can't be reached.`);
  if (!answer.ok) throw new Error(told.detail ?? NOTHING);
  return told.scans.map((/** @type {any} */ each) => ({ bytes: bytesOf(each.bytes_base64), symbology: each.symbology, text: each.text, fault: each.fault }));
}

/** @param {string} base64 */
const bytesOf = (base64) => Uint8Array.from(atob(base64), (each) => each.charCodeAt(0));

/** A photo where there is no live camera. @param {{onRead: (reading: any) => void, onTrouble: (text: string) => void}} props */
export function Photo({ onRead, onTrouble }) {
  const [busy, setBusy] = useState(false);
  const taken = async (/** @type {Event} */ event) => {
    const field = /** @type {HTMLInputElement} */ (event.currentTarget);
    const [photo] = field.files ?? [];
    field.value = "";
    if (!photo) return;
    setBusy(true);
    try {
      const scans = await scansOf(photo);
      if (scans.length > 1) onTrouble(`There are ${scans.length} different symbols in the picture. Go closer, so that only one is in it.`);
      else if (scans[0].fault) onTrouble(scans[0].fault);
      else onRead(scans[0]);
    } catch (error) {
      onTrouble(error instanceof Error ? error.message : String(error));
    } finally {
      setBusy(false);
    }
  };
  return html`<label class="primary second file"><span>${busy ? "Reading the photo" : "Take a photo"}</span><input type="file" accept="image/*" capture="environment" disabled=${busy} onChange=${taken} /></label>`;
}

/** @param {{hear: any, scan: any, shift: any}} props */
export function SignOn({ hear, scan, shift }) {
  return html`<section class="screen">
    <h2>Who works here?</h2>
    <${Camera} onRead=${scan} hint="Hold your badge into the frame" />
    <${Line} label="Your badge" name="badge" button="Sign on" second=${false} onGive=${(/** @type {string} */ text) => hear({ type: "typed", field: "badge", text })} />
    ${shift.bench && html`<p class="quietly">This is bench ${shift.bench}.</p>`}
  </section>`;
}

/** @param {{state: any, hear: any, scan: any, typeMark: (text: string) => void}} props */
export function Scan({ state, hear, scan, typeMark }) {
  const trouble = (/** @type {string} */ text) => hear({ type: "failed", text });
  return html`<section class="screen">
    <h2>Which connector?</h2>
    <${Camera} onRead=${scan} hint="Hold the mark into the frame" />
    <${Line} label="or type its mark or serial" name="mark" button="Find" inline=${true} onGive=${typeMark} />
    <${Photo} onRead=${scan} onTrouble=${trouble} />
    <${Line} label=${state.shift.work_order ? `Work order ${state.shift.work_order}. Another one:` : "Work order (scan it, or type it)"} name="work_order" button="Set" needed=${false} inline=${true}
      onGive=${(/** @type {string} */ text) => hear({ type: "typed", field: "work_order", text })} />
  </section>`;
}

/** Several connectors carry the mark. @param {{state: any, hear: any}} props */
export function Choose({ state, hear }) {
  return html`<section class="screen">
    <h2>Which one is in your hand?</h2>
    <p>${words.counted(state.choices.length, "connector carries", "connectors carry")} the mark ${state.mark}. Compare part numbers.</p>
    <ul class="choices">${state.choices.map((/** @type {any} */ each) => html`<li key=${each.id}><button type="button" class="primary second" onClick=${() => hear({ type: "choose", connector: each.id })}>${words.lineOf(each)}</button></li>`)}</ul>
    <button type="button" class="primary second" onClick=${() => hear({ type: "next" })}>None of these</button>
  </section>`;
}
