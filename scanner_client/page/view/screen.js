// @ts-check
// Which screen is shown, with what stands above and below every one of them.

import { html } from "../vendor/preact_htm.js";
import * as talk from "../core/talk.js";
import { Connector } from "./connector.js";
import { Equip, Other, Setup, Undo, Waiting } from "./panels.js";
import { Said } from "./parts.js";
import { Choose, Scan, SignOn } from "./scan.js";
import * as words from "./words.js";
import { Asking, Reason, Seating, Work } from "./work.js";

/** @param {any} props */
export function Screen(props) {
  const { app, state } = props;
  return html`<${Header} ...${props} />
    <main>
      ${app.unkept.length > 0 && html`<${Unkept} app=${app} keepAgain=${props.keepAgain} />`}
      <${Unsent} ...${props} />
      <${Said} state=${state} />
      <${Body} ...${props} />
    </main>
    <footer><p>Tinebook supports the work; the approved maintenance data, the local rules and the licensed person decide.</p></footer>`;
}

/** @param {any} props */
function Body(props) {
  const { app, state, hear, now_ms, scan } = props;
  if (!app.setup.token) return html`<${Settings} ...${props} closable=${false} />`;
  if (state.panel === "setup") return html`<${Settings} ...${props} closable=${true} />`;
  if (state.panel === "waiting") return html`<${Waiting} hear=${hear} box=${app.box} now_ms=${now_ms} send=${props.send} again=${props.again} sending=${app.sending} stays=${app.stays} />`;
  if (state.panel === "undo") return html`<${Undo} state=${state} hear=${hear} />`;
  if (state.panel === "other") return html`<${Other} state=${state} hear=${hear} />`;
  if (app.scanning) return html`<${Equip} what=${app.scanning} hear=${hear} scan=${scan} given=${state[app.scanning]} close=${() => props.openScan(null)} />`;
  if (state.reasoned) return html`<${Reason} state=${state} hear=${hear} />`;
  switch (state.phase) {
    case "sign_on": return html`<${SignOn} hear=${hear} scan=${scan} shift=${state.shift} />`;
    case "scan": return html`<${Scan} state=${state} hear=${hear} scan=${scan} typeMark=${props.typeMark} />`;
    case "choose": return html`<${Choose} state=${state} hear=${hear} />`;
    case "asking": return html`<${Asking} state=${state} />`;
    case "answered": case "working": return html`<${Work} state=${state} hear=${hear} openScan=${props.openScan} />`;
    case "seating": return html`<${Seating} key=${state.to_test[0]} state=${state} hear=${hear} setUnit=${(/** @type {string} */ unit) => props.save({ unit })} />`;
    default: return html`<${Connector} key=${state.subject.mark} state=${state} hear=${hear} now_ms=${now_ms} />`;
  }
}

/** @param {any} props */
function Settings({ app, hear, save, prove, takeAlong, closable }) {
  return html`<${Setup} hear=${hear} setup=${app.setup} save=${save} proof=${app.proof} proving=${app.proving} prove=${prove} takeAlong=${takeAlong} takes=${app.takes} closable=${closable} />`;
}

/** Who works, on what, and for how long this screen stays theirs. @param {any} props */
function Header({ app, state, now_ms, hear }) {
  const left = talk.left_s(state, now_ms);
  const { badge, work_order: order } = state.shift;
  const soon = left !== null && left <= talk.NOTICE_S;
  return html`<header>
    <h1>Tinebook</h1>
    <p>${badge === null ? "Nobody is signed on" : html`<b>${badge}</b>${order ? ` · ${order}` : ""} · ${left !== null && (soon ? `signs off in ${left}\u00a0s` : `${Math.ceil(left / 60)}\u00a0min`)}`}</p>
    ${badge !== null && html`<button type="button" class="quiet" onClick=${() => hear({ type: "sign_off" })}>Sign off</button>`}
    ${app.setup.token && html`<button type="button" class="quiet" aria-label="Set up this device" onClick=${() => hear({ type: "panel", name: state.panel === "setup" ? null : "setup" })}><svg viewBox="0 0 24 24" aria-hidden="true" class="shape"><path d="M4 7h10M18 7h2M4 17h2M10 17h10M14 4v6M6 14v6" fill="none" stroke="currentColor" stroke-width="2.5" /></svg></button>`}
  </header>
  ${soon && html`<div class="waiting" role="alert"><p>Nobody has used this bench for a while. It signs off in ${left} s.</p><button type="button" class="primary" onClick=${() => hear({ type: "stir" })}>I am still here</button></div>`}
  ${app.update && html`<div class="waiting"><p>A new version of this page is ready.</p><button type="button" class="quiet" onClick=${app.update}>Use it now</button></div>`}`;
}

/** What could not be written to this device must not be lost. @param {any} props */
function Unkept({ app, keepAgain }) {
  return html`<div class="trouble" role="alert"><p><b>NOT RECORDED YET.</b> ${app.trouble}</p>
    <ul>${app.unkept.map((/** @type {any} */ each) => html`<li key=${each.id}>${each.kind.replaceAll("_", " ")} ${each.cavity ?? ""} at ${new Date(each.performed_at).toLocaleTimeString()}</li>`)}</ul>
    <p>Do not close this page. Write it down on paper as well.</p><button type="button" class="primary" onClick=${keepAgain}>Try again</button></div>`;
}

/** Whether anything waits, and since when; one press leads to the list. @param {any} props */
function Unsent({ app, state, hear, now_ms }) {
  const { unsent, refused } = app.box;
  if ((!unsent.length && !refused.length) || state.panel === "waiting" || !app.setup.token) return null;
  const told = [
    unsent.length && `${words.counted(unsent.length, "entry is", "entries are")} kept here and not sent yet, the oldest for ${words.age(now_ms - Date.parse(unsent[0].kept_at))}.`,
    refused.length && `${words.counted(refused.length, "entry was", "entries were")} refused: somebody must look.`,
  ];
  return html`<button type="button" class="waiting wide" onClick=${() => hear({ type: "panel", name: "waiting" })}>${told.filter(Boolean).join(" ")}</button>`;
}
