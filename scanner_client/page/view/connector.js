// @ts-check
// The connector at hand: its insert with the wear of each cavity, and what will be done to which.

import { html, useState } from "../vendor/preact_htm.js";
import { Insert, Key } from "./insert.js";
import { About, Line } from "./parts.js";
import { Shape } from "./shapes.js";
import * as words from "./words.js";

/** The face that one has to work on: for removal of a front-release contact the mating face, else the wire side.
 * @param {any} subject @param {string | null} action */
export function faceFor(subject, action) {
  const front = subject.snapshot?.tooling?.release === "front";
  return action === "remove" && front ? "mating_face" : "wire_side";
}

/** @param {{state: any, hear: any, now_ms: number}} props */
export function Connector({ state, hear, now_ms }) {
  const { view, subject } = state;
  return html`<section class="screen connector">
    <div class="told">
      <${About} state=${state} now_ms=${now_ms} next=${() => hear({ type: "next" })} />
      <${Actions} state=${state} hear=${hear} />
    </div>
    ${view && html`<div class="drawn"><${Chooser} state=${state} hear=${hear} subject=${subject} /></div>`}
    <div class="told">
      <${Line} label="Cavity by its id" name="cavity" button="Choose" inline=${true} onGive=${(/** @type {string} */ text) => hear({ type: "typed", field: "cavity", text })} />
      ${view && html`<p class="basis">${words.rated(view.rating)}${view.cavity_ids === "assumed" ? " The cavity ids are assumed: compare them with the insert." : ""}</p>`}
      ${view?.discrepancies.length > 0 && html`<${Discrepancies} view=${view} />`}
      <button type="button" class="quiet wide" onClick=${() => hear({ type: "panel", name: "other" })}>Something else happened</button>
      ${state.recent.length > 0 && html`<button type="button" class="quiet wide" onClick=${() => hear({ type: "panel", name: "undo" })}>Take back what was recorded last</button>`}
    </div>
    <div class="foot"><${Chosen} state=${state} hear=${hear} /><button type="button" class="primary" onClick=${() => hear({ type: "ask" })}>Ask before the work</button></div>
  </section>`;
}

/** Drawing or list: the same cavities to tap. @param {{state: any, hear: any, subject: any}} props */
function Chooser({ state, hear, subject }) {
  const [face, setFace] = useState(/** @type {string | null} */ (null));
  const [listed, setListed] = useState(false);
  const drawing = subject.snapshot?.drawing;
  const facing = face ?? faceFor(subject, state.action);
  const tap = (/** @type {string} */ cavity) => hear({ type: "toggle", cavity });
  if (listed || !drawing) {
    return html`<${List} state=${state} tap=${tap} />${drawing && html`<button type="button" class="quiet wide" onClick=${() => setListed(false)}>Show the insert</button>`}`;
  }
  return html`<${Insert} view=${state.view} drawing=${drawing} face=${facing} chosen=${state.chosen} onTap=${tap} />
    <${Key} />
    <div class="pair">
      <button type="button" class="quiet" onClick=${() => setFace(facing === "wire_side" ? "mating_face" : "wire_side")}>Other face</button>
      <button type="button" class="quiet" onClick=${() => setListed(true)}>As a list</button>
    </div>`;
}

/** @param {{state: any, tap: (id: string) => void}} props */
function List({ state, tap }) {
  const [begin, setBegin] = useState("");
  const shown = state.view.cavities.filter((/** @type {any} */ each) => each.id.startsWith(begin));
  return html`${state.view.cavities.length > 24 && html`<label for="begin">Show only cavities beginning</label><input id="begin" value=${begin} autocomplete="off" autocapitalize="off" spellcheck=${false} onInput=${(/** @type {any} */ event) => setBegin(event.currentTarget.value)} />`}
    <fieldset class="cavities"><legend>Cavities</legend>${shown.map((/** @type {any} */ each) => html`<${Cell} key=${each.id} cavity=${each} picked=${state.chosen.includes(each.id)} tap=${tap} />`)}</fieldset>`;
}

/** @param {{cavity: any, picked: boolean, tap: (id: string) => void}} props */
function Cell({ cavity, picked, tap }) {
  const count = `${cavity.cycles_begun}${cavity.rating ? ` of ${cavity.rating.value}` : " cycles"}, ${words.held(cavity.occupied)}`;
  const label = `Cavity ${words.spoken(cavity.id)}, size ${cavity.contact_size}, ${count}, ${cavity.wear}${cavity.blocked ? ", blocked" : ""}`;
  return html`<label><input type="checkbox" checked=${picked} aria-label=${label} onChange=${() => tap(cavity.id)} />
    <span class="cell"><span class="id">${cavity.id}</span><${Shape} name=${cavity.wear} class=${`shape wear-${cavity.wear}`} />
    <span class="facts"><span>${count}</span><span class=${`wear-${cavity.wear}`}>${cavity.wear}${cavity.blocked ? ", BLOCKED" : ""}</span></span></span></label>`;
}

/** @param {{state: any, hear: any}} props */
function Actions({ state, hear }) {
  return html`<fieldset class="actions"><legend>What will you do?</legend>${Object.entries(words.ACTIONS).map(([action, word]) => html`<label key=${action}>
    <input type="radio" name="action" value=${action} checked=${state.action === action} onChange=${() => hear({ type: "action", action })} /><span>${word}</span></label>`)}</fieldset>`;
}

/** What is chosen stays in sight beside the question; a touch leaves a cavity out again. @param {{state: any, hear: any}} props */
function Chosen({ state, hear }) {
  if (!state.chosen.length) return null;
  return html`<div class="chosen"><p><b>${state.action ? words.ACTIONS[state.action] : "Chosen"}:</b></p>
    <ul>${state.chosen.map((/** @type {string} */ each) => html`<li key=${each}><button type="button" class="quiet" aria-label=${`Leave out cavity ${words.spoken(each)}`} onClick=${() => hear({ type: "toggle", cavity: each })}>${each} <span aria-hidden="true">×</span></button></li>`)}
    ${state.chosen.length > 3 && html`<li><button type="button" class="quiet" onClick=${() => hear({ type: "clear" })}>Leave all out</button></li>`}</ul></div>`;
}

/** @param {{view: any}} props */
function Discrepancies({ view }) {
  return html`<details><summary>${words.counted(view.discrepancies.length, "open discrepancy", "open discrepancies")}</summary>
    <ul class="cautions">${view.discrepancies.map((/** @type {any} */ each) => html`<li>${each.cavity ? html`<b>${each.cavity}:</b> ` : ""}${each.text}</li>`)}</ul></details>`;
}
