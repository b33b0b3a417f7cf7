// @ts-check
// The answer before the work, the work itself in its order, and the test of what went in.

import { html, useState } from "../vendor/preact_htm.js";
import * as guide from "../core/guide.js";
import { Insert } from "./insert.js";
import { About, Cautions, Line, Verdict } from "./parts.js";
import * as words from "./words.js";

/** @param {{state: any}} props */
export function Asking({ state }) {
  return html`<section class="screen"><${About} state=${state} now_ms=${0} /><p class="waiting" role="status">Asking: ${state.steps.map((/** @type {any} */ each) => `${each.action} ${each.cavity}`).join(", ")}</p></section>`;
}

/** @param {{state: any, hear: any, openScan: (what: string) => void}} props */
export function Work({ state, hear, openScan }) {
  const { plan, remarks } = state.advice;
  const all = state.pending;
  const against = !plan || plan.answer === "no_go";
  const done = all.length > 1 ? `All ${all.length} done` : `Done: ${state.steps[all[0]].cavity} ${words.ACTIONS_DONE[state.steps[all[0]].action]}`;
  return html`<section class="screen work">
    <div class="told" aria-live="assertive">
      <${Verdict} answer=${plan?.answer ?? "none"} />
      <h2 class="which">${state.subject.name}</h2>
      ${remarks.map((/** @type {string} */ each) => html`<p class="remark">${each}</p>`)}
      ${!plan && html`<p>There is no answer, and that is not a go. What is done can be recorded all the same, with a reason.</p>`}
      <ul class="answers">${all.map((/** @type {number} */ at) => html`<${Answer} key=${at} state=${state} at=${at} alone=${all.length === 1} />`)}</ul>
      ${plan && html`<p class="basis">${words.rated(plan.rating)}</p>`}
    </div>
    ${plan && html`<${Cautions} cautions=${plan.cautions} />`}
    <${Equipment} state=${state} hear=${hear} openScan=${openScan} />
    <ol class="steps">${all.map((/** @type {number} */ at) => html`<${Step} key=${`${at}${state.steps[at].cavity}`} state=${state} hear=${hear} at=${at} alone=${all.length === 1} />`)}</ol>
    <div class="foot pair">
      <button type="button" class=${against ? "primary" : "primary second"} onClick=${() => hear({ type: "not_done" })}>Not done</button>
      <button type="button" class=${against ? "primary second" : "primary"} onClick=${() => hear({ type: "done", places: all })}>${done}</button>
    </div>
  </section>`;
}

/** The answer to one step, with the reasons and what is left to do. @param {{state: any, at: number, alone: boolean}} props */
function Answer({ state, at, alone }) {
  const { plan } = state.advice;
  const [told, { action, cavity }] = [plan?.steps[at], state.steps[at]];
  if (!told) return html`<li class="step none"><b>${words.ACTIONS[action]} ${cavity}</b></li>`;
  const left = told.left_after === null ? "left not known" : `${told.left_after} left after it`;
  return html`<li class=${`step ${told.answer}`}>
    <p><b>${words.ACTIONS[action]} ${cavity}:</b> ${!alone && html`<b class="word">${words.ANSWERS[told.answer]}.</b> `}cycle ${told.cycle}${plan.rating ? ` of ${plan.rating.value}` : ""}, ${left}</p>
    ${told.reasons.length > 0 && html`<ul>${told.reasons.map((/** @type {any} */ each) => html`<li>${each.text}</li>`)}</ul>`}
    ${told.ways?.length > 0 && html`<${Ways} ways=${told.ways} />`}
  </li>`;
}

/** Tool and contact: what is in the hand, against what the step asks for. @param {{state: any, hear: any, openScan: (what: string) => void}} props */
function Equipment({ state, hear, openScan }) {
  const inserts = state.steps.some((/** @type {any} */ each) => each.action !== "remove");
  const tool = state.tools?.find((/** @type {any} */ each) => each.mark === state.tool);
  return html`<div class="equipment">
    <div class="pair">
      <button type="button" class="quiet wide" onClick=${() => openScan("tool")}>${state.tool ? `Tool ${state.tool}` : "Scan the tool"}</button>
      ${inserts && html`<button type="button" class="quiet wide" onClick=${() => openScan("contact")}>${state.contact ? `Contact ${state.contact}` : "Scan the contact bag"}</button>`}
    </div>
    ${tool && html`<p>${tool.part_number}${tool.due_on ? `, due ${tool.due_on}` : ""}</p>`}
    ${state.tool && html`<label class="check"><input type="checkbox" checked=${state.tool_looked_at} onChange=${() => hear({ type: "looked" })} /><span>I looked the tool over: tip straight, not chipped, clean</span></label>`}
  </div>`;
}

/** The work at one cavity: where it is, with what and how. @param {{state: any, hear: any, at: number, alone: boolean}} props */
function Step({ state, hear, at, alone }) {
  const { action, cavity } = state.steps[at];
  const told = state.advice.plan?.steps[at];
  const against = !told || told.answer === "no_go";
  return html`<li class=${`step ${told?.answer ?? "none"}`}>
    <h3>${words.ACTIONS[action]} ${cavity}${told ? html` <small>size ${told.contact_size}</small>` : ""}</h3>
    <${Handlings} state=${state} cavity=${cavity} />
    ${!alone && html`<button type="button" class=${against ? "primary second" : "primary"} onClick=${() => hear({ type: "done", places: [at] })}>Done: ${cavity} ${words.ACTIONS_DONE[action]}</button>`}
    <div class="pair">
      ${action === "replace" && html`<button type="button" class="quiet" onClick=${() => hear({ type: "done", places: [at], only: true })}>Only the removal was done</button>`}
      ${!alone && html`<button type="button" class="quiet" onClick=${() => hear({ type: "drop", at })}>Leave ${cavity} out</button>`}
    </div>
  </li>`;
}

/** What the rules leave where a cavity can't take a contact. @param {{ways: any[]}} props */
function Ways({ ways }) {
  const shown = ways.slice(0, 6);
  return html`<div class="ways"><p><b>What is left to do:</b></p>
    <ul>${shown.map((/** @type {any} */ each) => html`<li>${each.text}</li>`)}</ul>${ways.length > shown.length && html`<p>${ways.length - shown.length} more cavities are free.</p>`}</div>`;
}

/** The half cycles of the step in their order, each with the face as one has it before one's eyes. @param {{state: any, cavity: string}} props */
function Handlings({ state, cavity }) {
  const halves = state.advice.plan?.work.filter((/** @type {any} */ each) => each.cavity === cavity) ?? [];
  const ids = state.view?.cavities.map((/** @type {any} */ each) => each.id) ?? [];
  const count = guide.count(ids, cavity);
  const faces = [...new Set(halves.map((/** @type {any} */ each) => each.tool_face ?? "wire_side"))];
  const [open, setOpen] = useState(false);
  const drawing = state.subject.snapshot?.drawing;
  return html`<ol class="halves">${halves.map((/** @type {any} */ each, /** @type {number} */ at) => html`<li key=${at}>${handling(each, state.unit ?? "N")}</li>`)}</ol>
    ${count && html`<p>Find it: ${count.words}.</p>`}
    ${drawing && state.view && (open
      ? faces.map((face) => html`<${Insert} key=${face} view=${state.view} drawing=${drawing} face=${face} chosen=${[]} marked=${cavity} />`)
      : html`<button type="button" class="quiet wide" onClick=${() => setOpen(true)}>Show where ${cavity} is</button>`)}`;
}

/** @param {any} each @param {"N" | "lbf"} unit */
function handling(each, unit) {
  const tools = each.tools.map((/** @type {any} */ tool) => `${tool.part_number}${tool.end ? ` (${tool.end})` : ""}`).join(" or ") || "tool not known";
  const face = each.tool_face ? `Tool from the ${words.FACES[each.tool_face].toLowerCase()}` : "Tool face not known";
  const way = `contact ${each.half === "insert" ? "in from" : "out to"} the ${words.FACES[each.contact_face].toLowerCase()}`;
  return html`<b>${words.ACTIONS[each.half]} ${each.cavity}:</b> ${tools}. ${face}, ${way}.${each.seating_pull ? html` <span>Then a pull of ${words.force(each.seating_pull.force_n, unit)}.</span>` : ""}`;
}

/** Why it was done although the answer spoke against it. @param {{state: any, hear: any}} props */
export function Reason({ state, hear }) {
  const cavities = state.reasoned.places.map((/** @type {number} */ each) => state.steps[each].cavity).join(", ");
  return html`<section class="screen">
    <${Verdict} answer=${state.advice.plan ? "no_go" : "none"} />
    <h2>${cavities}: why was it done all the same?</h2>
    <p>It is recorded either way, and stays open until somebody has dealt with it.</p>
    <${Line} label="Reason" name="reason" button="Record with this reason" onGive=${(/** @type {string} */ text) => hear({ type: "reason", text })} />
    <button type="button" class="primary" onClick=${() => hear({ type: "cancel" })}>It was not done</button>
  </section>`;
}

/** The test of what went in, one cavity after the other. @param {{state: any, hear: any, setUnit: (unit: string) => void}} props */
export function Seating({ state, hear, setUnit }) {
  const [cavity, ...left] = state.to_test;
  const unit = state.unit ?? "N";
  const size = state.view?.cavities.find((/** @type {any} */ each) => each.id === cavity)?.contact_size;
  const pull = state.subject.snapshot?.tooling?.pulls?.find((/** @type {any} */ each) => each.contact_size === size);
  const [force, setForce] = useState("");
  const [level, setLevel] = useState(/** @type {boolean | null} */ (null));
  const force_n = words.newtons(force, unit);
  const wrong = Number.isNaN(force_n);
  const give = (/** @type {boolean | undefined} */ held) => {
    if (wrong) return;
    setForce("");
    setLevel(null);
    hear({ type: "seated", cavity, held, force_n: held === undefined ? undefined : force_n ?? undefined, level: level ?? undefined });
  };
  return html`<section class="screen seating">
    <h2>Is the contact in ${cavity} seated?</h2>
    <p>${pull ? html`<b>Pull ${words.force(pull.force_n, unit)}</b>, lightly and straight, once. ${pull.verified ? "" : "Not verified: "}${pull.source}.` : "No pull is known for this family and size: take it from the approved data."}</p>
    <fieldset class="actions two"><legend>Look at the face: pins all at one height, sockets almost flush?</legend>
      ${[[true, "Yes"], [false, "No"]].map(([value, word]) => html`<label key=${word}><input type="radio" name="level" checked=${level === value} onChange=${() => setLevel(/** @type {boolean} */ (value))} /><span>${word}</span></label>`)}</fieldset>
    <label for="force">Force in ${unit === "N" ? "newtons" : "pounds-force"} (if measured)</label>
    <div class="with"><input id="force" inputmode="decimal" autocomplete="off" value=${force} aria-invalid=${String(wrong)} onInput=${(/** @type {any} */ event) => setForce(event.currentTarget.value)} />
      <button type="button" class="quiet" onClick=${() => setUnit(unit === "N" ? "lbf" : "N")}>${unit === "N" ? "Use lbf" : "Use N"}</button></div>
    ${wrong && html`<p class="remark">The force must be a number.</p>`}
    <button type="button" class="primary" onClick=${() => give(true)}>It held</button>
    <button type="button" class="primary second" onClick=${() => give(false)}>It did not hold</button>
    ${level !== null && html`<button type="button" class="quiet wide" onClick=${() => give(undefined)}>Only looked, not pulled</button>`}
    <button type="button" class="quiet wide" onClick=${() => hear({ type: "skip", cavity })}>No test now</button>
    ${left.length > 0 && html`<p class="quietly">Still to test: ${left.join(", ")}</p>`}
  </section>`;
}

