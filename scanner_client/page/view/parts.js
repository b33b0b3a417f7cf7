// @ts-check
// Small parts that several screens share.

import { html } from "../vendor/preact_htm.js";
import { Shape } from "./shapes.js";
import * as words from "./words.js";

/** A form of one line: typed or scanned into. @param {{label: string, name: string, button: string, onGive: (text: string) => void, value?: string, type?: string, mode?: string, second?: boolean, needed?: boolean, inline?: boolean}} props */
export function Line({ label, name, button, onGive, value = "", type = "text", mode, second = true, needed = true, inline = false }) {
  const give = (/** @type {Event} */ event) => {
    event.preventDefault();
    const form = /** @type {HTMLFormElement} */ (event.currentTarget);
    const field = /** @type {HTMLInputElement} */ (form.elements.namedItem(name));
    onGive(field.value);
    field.value = "";
  };
  return html`<form class=${inline ? "line inline" : "line"} onSubmit=${give}>
    <label for=${name}>${label}</label>
    <input id=${name} name=${name} type=${type} inputmode=${mode} defaultValue=${value} required=${needed} autocomplete="off" autocapitalize="off" spellcheck=${false} maxlength="2000" enterkeyhint="done" />
    <button class=${second ? "primary second" : "primary"}>${button}</button>
  </form>`;
}

/** The answer in words, shape and colour. @param {{answer: string, small?: boolean}} props */
export function Verdict({ answer, small = false }) {
  return html`<div class=${`verdict ${answer}${small ? " small" : ""}`}><${Shape} name=${answer} /><strong>${words.ANSWERS[answer]}</strong></div>`;
}

/** What can injure is always in sight; the rest is one press away, so that the answer and the work stay on the screen.
 * @param {{cautions: any[]}} props */
export function Cautions({ cautions }) {
  const list = (/** @type {any[]} */ some) => html`<ul class="cautions">${some.map((each) => html`<li class=${each.kind}><b>${each.kind}:</b> ${each.text}</li>`)}</ul>`;
  const of = (/** @type {string} */ kind) => cautions.filter((each) => each.kind === kind);
  const rest = [...of("CAUTION"), ...of("NOTE")];
  const told = ["CAUTION", "NOTE"].filter((kind) => of(kind).length).map((kind) => `${of(kind).length} ${kind}${of(kind).length === 1 ? "" : "S"}`);
  return html`<div class="told">
    ${of("WARNING").length > 0 && list(of("WARNING"))}
    ${rest.length > 0 && html`<details><summary>${told.join(", ")} for this work</summary>${list(rest)}</details>`}
  </div>`;
}

/** @param {{state: any}} props */
export function Said({ state }) {
  return html`<p class=${`said${state.said?.urgent ? " urgent" : ""}`} role="status" aria-live="polite">${state.said?.text ?? ""}</p>`;
}

/** The connector at hand, with how old what is known of it is. @param {{state: any, now_ms: number, next?: () => void}} props */
export function About({ state, now_ms, next }) {
  const { subject, view } = state;
  const facts = [subject.part_number && `Part ${subject.part_number}`, view && words.placed(view.place), view?.retired && "RETIRED"];
  return html`<div class="about">
    <div class="title"><h2>${subject.name}</h2>${next && html`<button type="button" class="quiet" onClick=${next}>Next connector</button>`}</div>
    <p>${facts.filter(Boolean).join(" · ")}</p>
    ${subject.remarks.map((/** @type {string} */ each) => html`<p class="remark">${each}</p>`)}
    ${subject.fetched_at && now_ms - Date.parse(subject.fetched_at) > 120000 && html`<p class="remark">What is known of it is ${words.age(now_ms - Date.parse(subject.fetched_at))} old.</p>`}
  </div>`;
}
