// @ts-check
// Signing on and finding a connector: camera, photo, wedge or typing.

import { html, useEffect, useRef, useState } from "../vendor/preact_htm.js";
import { openEye } from "../scan/eye.js";
import { readPhoto } from "../scan/photo.js";
import { Line } from "./parts.js";
import * as words from "./words.js";

/** @type {Record<string, string>} */
const TROUBLES = {
  starting: "The camera is starting.",
  denied: "The camera is not allowed here. Allow it in the browser's settings, or take a photo, use the scanner, or type.",
  none: "This device has no camera that the browser can use. Use the scanner, or type.",
  insecure: "A live camera needs a secure address (https). Take a photo instead; the README says how to set https up.",
};

/** The live camera with its reticle. @param {{onRead: (reading: any) => void, hint: string, paused?: boolean}} props */
export function Camera({ onRead, hint, paused = false }) {
  const video = useRef(/** @type {any} */ (null));
  const eye = useRef(/** @type {any} */ (null));
  const told = useRef(onRead);
  told.current = onRead;
  const [seeing, setSeeing] = useState("starting");
  const [torch, setTorch] = useState(/** @type {boolean | null} */ (null));
  useEffect(() => {
    let gone = false;
    openEye({ video: video.current, onRead: (/** @type {any} */ each) => told.current(each), onState: setSeeing }).then((/** @type {any} */ opened) => {
      if (gone) return opened?.stop();
      eye.current = opened;
      setTorch(opened?.hasTorch ? false : null);
    }, () => setSeeing("none"));
    return () => { gone = true; eye.current?.stop(); };
  }, []);
  useEffect(() => { if (paused) eye.current?.pause(); else eye.current?.resume(); }, [paused]);
  const light = () => { eye.current?.torch(!torch); setTorch(!torch); };
  const live = seeing === "looking";
  return html`<div class=${live ? "camera live" : "camera"}>
    <video ref=${video} playsinline muted hidden=${!live} aria-label="What the camera sees"></video>
    ${live && html`<div class="reticle" aria-hidden="true"></div>`}
    <p role="status">${live ? hint : TROUBLES[seeing]}</p>
    ${live && torch !== null && html`<button type="button" class="quiet torch" aria-pressed=${String(torch)} onClick=${light}>${torch ? "Light off" : "Light on"}</button>`}
  </div>`;
}

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
      const { scans } = await readPhoto(photo);
      if (scans.length === 1) onRead(scans[0]);
      else onTrouble(scans.length ? `There are ${scans.length} different symbols in the picture. Go closer, so that only one is in it.` : "No symbol was found in the picture. Hold the camera steady, fill the picture with the mark, avoid glare.");
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
