// @ts-check
// What lies beside the work: other things that happened, taking back, what waits, and the set-up of this device.

import { html, useState } from "../vendor/preact_htm.js";
import { Camera } from "./scan.js";
import { Line } from "./parts.js";
import * as words from "./words.js";

/** @param {{title: string, hear: any, children: any}} props */
function Panel({ title, hear, children }) {
  return html`<section class="screen panel" aria-label=${title}><div class="title"><h2>${title}</h2><button type="button" class="quiet" onClick=${() => hear({ type: "panel", name: null })}>Back</button></div>${children}</section>`;
}

/** @param {{state: any, hear: any}} props */
export function Undo({ state, hear }) {
  return html`<${Panel} title="Take back" hear=${hear}>
    <p>This was recorded last, and will be marked as entered in error. Both stay in the ledger.</p>
    <ul>${state.recent.map((/** @type {any} */ each) => html`<li key=${each.id}>${each.kind.replaceAll("_", " ")} ${each.cavity ?? ""}</li>`)}</ul>
    <${Line} label="Why was it entered in error?" name="undo" button="Take it back" onGive=${(/** @type {string} */ text) => hear({ type: "undo", text })} />
  </${Panel}>`;
}

/** Scan or type a tool or a contact. @param {{what: string, hear: any, scan: any, given: string | null, close: () => void}} props */
export function Equip({ what, hear, scan, given, close }) {
  const set = (/** @type {string | null} */ text) => { hear({ type: "typed", field: what, text: text ?? "" }); close(); };
  return html`<section class="screen panel"><div class="title"><h2>${what === "tool" ? "Which tool?" : "Which contact?"}</h2><button type="button" class="quiet" onClick=${close}>Back</button></div>
    <${Camera} onRead=${(/** @type {any} */ each) => { scan(each, what); close(); }} hint=${what === "tool" ? "Hold the tool's mark into the frame" : "Hold the label of the contact bag into the frame"} />
    <${Line} label=${what === "tool" ? "or type its mark or part number" : "or type its part number"} name=${what} button="Use it" onGive=${set} />
    ${given && html`<button type="button" class="quiet wide" onClick=${() => set(null)}>No ${what} stated</button>`}
  </section>`;
}

/** What happened besides: it is recorded as it is told. @param {{state: any, hear: any}} props */
export function Other({ state, hear }) {
  const [cavity, setCavity] = useState("");
  const ids = state.view?.cavities.map((/** @type {any} */ each) => each.id) ?? [];
  const named = cavity || null;
  const wrong = named !== null && ids.length > 0 && !ids.includes(named);
  const record = (/** @type {string} */ kind, /** @type {any} */ fields) => { if (!wrong) hear({ type: "other", kind, fields }); };
  return html`<${Panel} title="Something else happened" hear=${hear}>
    <label for="about">Cavity (empty: the whole connector)</label>
    <input id="about" value=${cavity} autocomplete="off" autocapitalize="off" spellcheck=${false} aria-invalid=${String(wrong)} onInput=${(/** @type {any} */ event) => setCavity(event.currentTarget.value.trim())} />
    ${wrong && html`<p class="remark">This connector has no cavity ${named}. Capitals and small letters are different cavities.</p>`}
    <${Line} label="What is wrong? It blocks work until it is closed" name="finding" button="Record the finding" onGive=${(/** @type {string} */ note) => record("finding", { cavity: named, note })} />
    <${Line} label="Worth knowing, and does not block" name="remark" button="Record the remark" onGive=${(/** @type {string} */ note) => record("finding", { cavity: named, note, blocks: false })} />
    <${Line} label="The finding is dealt with. How?" name="closed" button="Close the finding" onGive=${(/** @type {string} */ note) => record("finding_closed", { cavity: named, note })} />
    <button type="button" class="primary second" disabled=${!named} onClick=${() => record("tine_entry", { cavity: named, tool: state.tool })}>A removal tool went in and released nothing</button>
    <${Line} label="New retainer fitted (with document or part number)" name="renewal" button="Record the renewal" onGive=${(/** @type {string} */ note) => record("renewal", { cavity: named, note })} />
    <div class="pair"><button type="button" class="primary second" onClick=${() => record("mating", {})}>Mated</button><button type="button" class="primary second" onClick=${() => record("unmating", {})}>Unmated</button></div>
  </${Panel}>`;
}

/** What has not reached the service, what it refused, and how old what is known here is.
 * @param {{hear: any, box: any, now_ms: number, send: () => void, again: (id: string) => void, sending: boolean, stays: boolean | null}} props */
export function Waiting({ hear, box, now_ms, send, again, sending, stays }) {
  const told = (/** @type {any} */ each) => `${each.entry.kind.replaceAll("_", " ")} ${each.entry.cavity ?? ""}, ${new Date(each.entry.performed_at).toLocaleString()}, badge ${each.entry.performed_by}`;
  return html`<${Panel} title="What waits here" hear=${hear}>
    <p>${box.unsent.length ? html`<b>${words.counted(box.unsent.length, "entry", "entries")} not sent yet;</b> the oldest was recorded ${words.age(now_ms - Date.parse(box.unsent[0].kept_at))} ago.` : "Everything recorded here has reached the service."}</p>
    ${box.trouble && html`<p class="remark">${box.trouble}</p>`}
    ${box.unsent.length > 0 && html`<button type="button" class="primary" disabled=${sending} onClick=${send}>${sending ? "Sending" : "Send now"}</button>`}
    ${box.refused.length > 0 && html`<h3>Refused: not in the ledger</h3><ul class="cautions">${box.refused.map((/** @type {any} */ each) => html`<li key=${each.entry.id}><b>${told(each)}</b><br />${each.problem?.detail ?? "No reason given."}<br /><button type="button" class="quiet" onClick=${() => again(each.entry.id)}>Send it again</button></li>`)}</ul>`}
    ${box.parked.length > 0 && html`<h3>Kept aside by the service until its connector is registered</h3><ul class="cautions">${box.parked.map((/** @type {any} */ each) => html`<li key=${each.entry.id}>${told(each)}: ${each.entry.connector}</li>`)}</ul>`}
    <p class="quietly">${words.counted(box.known, "connector is", "connectors are")} known here without the network.</p>
    ${stays === false && html`<p class="remark">This browser may clear what it keeps when the device runs out of room. Install the page, or send what waits soon.</p>`}
  </${Panel}>`;
}

/** The set-up of this device: what it needs once, and what a person may like. @param {any} props */
export function Setup({ hear, setup, save, proof, proving, prove, takeAlong, takes, closable }) {
  const body = html`
    <${Line} label=${setup.token ? "Another token of this bench" : "Token of this bench"} name="token" type="password" button="Use it" second=${!!setup.token} onGive=${(/** @type {string} */ token) => save({ token: token.trim() })} />
    ${setup.token && html`
      <${Line} label=${setup.bench ? `This is bench ${setup.bench}. Rename it:` : "Name of this bench"} name="bench" button="Set" onGive=${(/** @type {string} */ bench) => save({ bench: bench.trim() })} />
      <label class="check"><input type="checkbox" checked=${setup.sound} onChange=${() => save({ sound: !setup.sound })} /><span>Sounds</span></label>
      <${Line} label=${`Signs off after ${setup.idle_min} minutes without use. Minutes:`} name="idle" mode="numeric" button="Set" onGive=${(/** @type {string} */ text) => { const minutes = Number(text); if (minutes >= 1 && minutes <= 720) save({ idle_min: minutes }); }} />
      <h3>Scanner that types</h3>
      <p>${proof ? `Proven on ${proof.day}: ${proof.name}.` : "Not proven yet: marks with separators are refused until it is."} The check symbol comes from <code>tinebook label check</code>.</p>
      <button type="button" class="primary second" onClick=${prove}>${proving ? "Scan the check symbol now" : "Prove the scanner"}</button>
      <h3>Take along</h3>
      <p>Connectors that this device is to know where there is no network. Those of the work order are fetched when it is set.</p>
      <${Line} label="All of an asset" name="asset" button="Fetch" inline=${true} onGive=${(/** @type {string} */ asset) => takeAlong(asset, true)} />
      <form onSubmit=${(/** @type {any} */ event) => { event.preventDefault(); takeAlong(event.currentTarget.elements.marks.value, false); }}><label for="marks">Marks or serials, one a line</label><textarea id="marks" name="marks" rows="3" required></textarea><button class="primary second">Fetch them</button></form>
      ${takes && html`<p role="status">${takes}</p>`}`}`;
  if (!closable) return html`<section class="screen panel"><h2>Set up this device</h2>${body}</section>`;
  return html`<${Panel} title="Set up this device" hear=${hear}>${body}</${Panel}>`;
}
