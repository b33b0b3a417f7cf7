// @ts-check
// The bench page put together: the talk decides, this carries out what it wants and draws what it says.

import { html, render } from "../vendor/preact_htm.js";
import * as drafts from "../core/drafts.js";
import * as marks from "../core/marks.js";
import * as talk from "../core/talk.js";
import { DeniedError, makeLink } from "../keep/link.js";
import { makeStation, typed } from "../keep/station.js";
import { askToStay, openStore } from "../keep/store.js";
import { watchUpdates } from "../keep/updates.js";
import { listen } from "./keys.js";
import { Screen } from "./screen.js";
import * as signals from "./signals.js";
import * as words from "./words.js";

const TICK_MS = 1000;
const RESEND_MS = 15000;
const MOST_IDS = 2 * 1000;
/** More connectors than one aircraft has are not taken along by one press. */
const MOST_TAKEN = 5000;

const UNCOUNTED = "What is NOT RECORDED YET is in no count. Get it kept first (see above), then ask again.";

/** Everything that changes, in one place. */
const app = {
  state: talk.begin(), setup: { token: null, bench: null, sound: true, idle_min: talk.IDLE_MIN, unit: "N" },
  box: { unsent: [], refused: [], parked: [], known: 0, trouble: null }, tools: /** @type {any[]} */ ([]), profile: /** @type {any} */ (null), proof: /** @type {{name: string, day: string} | null} */ (null),
  keys: /** @type {import("./keys.js").Listener | null} */ (null), proving: false, takes: /** @type {string | null} */ (null),
  unkept: /** @type {any[]} */ ([]), keeping: 0, trouble: /** @type {string | null} */ (null), sending: false, link: /** @type {any} */ (null), scanning: /** @type {string | null} */ (null), stays: /** @type {boolean | null} */ (null), update: /** @type {(() => void) | null} */ (null),
};
/** @type {any} */
let store;
/** @type {any} */
let station;

/** @returns {any} */
function moment() {
  const at_ms = Date.now();
  const ids = Array.from({ length: idsWanted() }, () => drafts.uuid7(at_ms, crypto.getRandomValues(new Uint8Array(10))));
  return { at_ms, ids };
}

function idsWanted() {
  return Math.min(Math.max(2 * app.state.steps.length, app.state.recent.length) + 2, MOST_IDS);
}

/** One thing heard: what it changes, what it wants. @param {any} heard */
export function hear(heard) {
  const before = app.state;
  const [state, effects] = talk.step(before, heard, moment());
  app.state = state;
  // What an act changes of the talk is kept together with its entries: else a crash in between would lose or double it.
  if (state !== before && !effects.some((each) => each.type === "keep")) remember();
  draw();
  if (state.phase !== before.phase || state.panel !== before.panel) arrive();
  for (const each of effects) perform(each).catch(failed);
}

/** A new screen begins at its top, and a screen reader begins with its heading. */
function arrive() {
  window.scrollTo(0, 0);
  const heading = /** @type {HTMLElement | null} */ (document.querySelector(".screen h2, .screen .verdict"));
  if (!heading) return;
  heading.tabIndex = -1;
  heading.focus({ preventScroll: true });
}

function remember() {
  // What is on the screen alone is asked about again, should the screen be lost.
  if (app.keeping || app.unkept.length) return;
  store?.saveSetting("talk", talk.memory(app.state)).catch(failed);
}

/** @param {any} error */
function failed(error) {
  hear({ type: "failed", text: error instanceof Error ? error.message : String(error) });
}

/** @param {any} effect @returns {Promise<void>} */
async function perform(effect) {
  switch (effect.type) {
    case "signal": return signals.give(effect.signal, app.setup.sound);
    case "find": return hear(await station.find({ ...typed(effect.reading.text), ...effect.reading }));
    case "open": return opened("opened", effect.connector, effect.mark);
    case "ask": return ask(effect.subject, effect.steps);
    case "keep": return keep(effect.entries);
    case "take": return take(effect.query).then(() => {}, () => {});
    default: throw new Error(`unknown effect: ${effect.type}`);
  }
}

/** What comes of a question names the question: another one may stand by then. @param {any} subject @param {any[]} steps */
async function ask(subject, steps) {
  try {
    const advice = await station.advise(subject, steps);
    // Looked at afterwards: it may have turned out meanwhile.
    if (app.unkept.length) throw new Error(UNCOUNTED);
    hear({ type: "advised", steps, advice });
  } catch (error) {
    hear({ type: "failed", steps, text: error instanceof Error ? error.message : String(error) });
  }
}

/** @param {string} type @param {string} connector @param {string} mark */
async function opened(type, connector, mark) {
  const subject = await station.openConnector(connector, mark);
  hear({ type, subject, view: await station.standing(subject) });
}

/** On disk first. What can't be kept stays on the screen until it is. @param {any[]} entries */
async function keep(entries) {
  let kept = false;
  app.keeping += 1;
  const ended = () => { app.keeping -= 1; kept = true; remember(); };
  try {
    const setting = /** @type {[string, any]} */ (["talk", talk.memory(app.state)]);
    const { sent } = await station.record(entries, { kept: ended, setting });
    hear({ type: "kept", sent });
    app.box.trouble = sent.stopped;
  } catch (error) {
    if (kept) throw error;
    app.keeping -= 1;
    app.unkept = [...app.unkept, ...entries];
    app.trouble = error instanceof Error ? error.message : String(error);
  }
  await lookAgain();
}

async function keepAgain() {
  const entries = app.unkept;
  app.unkept = [];
  app.trouble = null;
  await keep(entries);
}

/** Send what waits. @param {boolean} asked a person said so, rather than the clock */
async function send(asked) {
  if (app.sending) return;
  app.sending = asked;
  if (asked) draw();
  try {
    const sent = asked ? await station.send() : await station.sendQuietly();
    if (sent.results.length) hear({ type: "kept", sent });
    app.box.trouble = sent.stopped;
    if (asked || sent.results.length) await lookAgain();
  } finally {
    app.sending = false;
    draw();
  }
}

/** What waits, and the connector at hand, as they are now. */
async function lookAgain() {
  app.box = { ...(await station.outboxSummary()), trouble: app.box.trouble, known: (await store.snapshots()).length };
  const { subject } = app.state;
  if (subject?.connector) await opened("shown", subject.connector, subject.mark);
  draw();
}

/** A symbol was read, by camera, photo or scanner. @param {any} reading @param {string} [wanted] a tool or a contact, where one was asked for */
function scan(reading, wanted) {
  const mark = marks.read(reading.bytes, reading.symbology);
  const read = { ...reading, text: reading.text ?? new TextDecoder().decode(reading.bytes) };
  const named = mark.named ?? mark.current_part_number ?? mark.part_number ?? mark.identity ?? read.text;
  if (wanted && !mark.faults.length && ["tool", "plain_serial", "no_identity", "iuid"].includes(mark.meaning)) hear({ type: "typed", field: wanted, text: named });
  else hear({ type: "scanned", reading: read, mark });
}

/** @param {string} text */
function typeMark(text) {
  hear({ type: "typed", field: "mark", text, reading: typed(text.trim()) });
}

/** What a scanner that types has sent. @param {any} event */
function wedged(event) {
  signals.wake();
  if (event.type === "proven") return proven(event);
  if (app.proving) { app.proving = false; app.keys?.expect(app.profile, false); }
  if (event.type === "refused") hear({ type: "failed", text: event.reason });
  else scan(event);
}

/** The check symbol came: what it arrived as is what every later scan is turned back by. @param {any} event */
function proven({ profile, name }) {
  app.proving = false;
  app.profile = profile;
  app.proof = { name, day: new Date().toISOString().slice(0, 10) };
  app.keys?.expect(profile, false);
  store.saveSetting("wedge", { profile, proof: app.proof }).catch(failed);
  hear({ type: "told", text: `The scanner is proven: ${name}.` });
}

/** The next scan is that of the check symbol. */
function prove() {
  app.proving = true;
  app.keys?.expect(app.profile, true);
  draw();
}

/** @param {any} changes */
async function save(changes) {
  if (changes.token !== undefined && !(await accepted(changes.token))) return;
  app.setup = { ...app.setup, ...changes };
  await store.saveSetting("setup", app.setup);
  if (changes.token !== undefined) await connect();
  app.state = { ...app.state, unit: app.setup.unit, idle_min: app.setup.idle_min, shift: { ...app.state.shift, bench: app.setup.bench } };
  draw();
}

/** Whether the service takes a token; while it is away nobody can say, and what is kept here is sent once it does. @param {string} token */
async function accepted(token) {
  try {
    await makeLink({ token }).connectors({ mark: "-" });
  } catch (error) {
    failed(error);
    return !(error instanceof DeniedError);
  }
  return true;
}

/** Fetch the connectors of a work order, or of an asset, to have them where there is no network.
 * @param {Record<string, string>} query @returns {Promise<number>} how many are known here now */
async function take(query) {
  let [count, cursor] = [0, ""];
  do {
    const page = await app.link.connectors({ ...query, limit: "100", ...(cursor ? { cursor } : {}) });
    count += (await station.takeAlongIds(page.connectors.map((/** @type {any} */ each) => each.id))).taken.length;
    cursor = page.next;
  } while (cursor && count < MOST_TAKEN);
  await lookAgain();
  return count;
}

/** @param {string} told an asset, or marks, one a line @param {boolean} asset */
async function takeAlong(told, asset) {
  const wanted = told.split("\n").map((each) => each.trim()).filter(Boolean);
  app.takes = "Fetching.";
  draw();
  try {
    if (asset) {
      const counts = [];
      for (const each of wanted) counts.push(`${each}: ${words.counted(await take({ asset: each }), "connector", "connectors")}.`);
      app.takes = counts.join(" ");
    } else {
      const taken = await station.takeAlong(wanted.map(typed));
      const count = taken.reduce((/** @type {number} */ sum, /** @type {any} */ each) => sum + each.taken.length, 0);
      const missing = taken.filter((/** @type {any} */ each) => each.why).map((/** @type {any} */ each) => `${each.mark}: ${each.why}`);
      app.takes = [`${words.counted(count, "connector was", "connectors were")} fetched.`, ...missing].join(" ");
    }
  } catch (error) {
    app.takes = error instanceof Error ? error.message : String(error);
  }
  await lookAgain();
}

async function connect() {
  app.link = makeLink({ token: app.setup.token });
  station = makeStation({ box: store, link: app.link });
  app.tools = (await store.lists())?.lists.tools ?? [];
  // Without the service the list as last fetched serves.
  if (app.setup.token) fetchTools().catch(() => {});
}

async function fetchTools() {
  app.tools = await app.link.tools();
  await store.saveLists({ tools: app.tools });
  draw();
}

function draw() {
  const now_ms = Date.now();
  const state = { ...app.state, tools: app.tools, unit: app.setup.unit };
  render(html`<${Screen} app=${app} state=${state} now_ms=${now_ms} hear=${hear} scan=${scan} typeMark=${typeMark} save=${save} send=${() => send(true).catch(failed)} keepAgain=${keepAgain}
    again=${async (/** @type {string} */ id) => { await store.again(id); await send(true); }} prove=${prove} takeAlong=${takeAlong}
    openScan=${(/** @type {string | null} */ what) => { app.scanning = what; draw(); }} />`, /** @type {Element} */ (document.getElementById("bench")));
}

async function begin() {
  /** @type {Element} */ (document.getElementById("bench")).replaceChildren();
  store = await openStore();
  app.setup = { ...app.setup, ...(await store.setting("setup")) };
  const known = await store.setting("wedge");
  app.profile = known?.profile ?? null;
  app.proof = known?.proof ?? null;
  const memory = (await store.setting("talk")) ?? {};
  app.state = talk.begin({ ...memory, idle_min: app.setup.idle_min, shift: { ...memory.shift, bench: app.setup.bench } });
  await connect();
  hear({ type: "tick" });
  hear({ type: "resume" });
  await lookAgain();
  app.keys = listen(app.profile, wedged);
  for (const each of ["pointerdown", "keydown"]) document.addEventListener(each, () => { signals.wake(); if (app.state.shift.badge) app.state = { ...app.state, used_at_ms: Date.now() }; }, { passive: true });
  setInterval(() => { hear({ type: "tick" }); }, TICK_MS);
  // Not knowing yet that the service is back loses nothing: what waits is on disk.
  const quietly = () => { if (app.setup.token) send(false).catch(() => {}); };
  setInterval(quietly, RESEND_MS);
  window.addEventListener("online", () => { if (app.setup.token) send(true).catch(() => {}); });
  quietly();
  askToStay().then(({ persisted }) => { app.stays = persisted; draw(); }, () => {});
  // What could not be kept is on the screen alone: no reload then.
  await watchUpdates({ onWaiting: (take) => { app.update = take; draw(); }, onTaken: () => { if (!app.unkept.length) location.reload(); } });
}

begin().catch((error) => {
  const place = /** @type {Element} */ (document.getElementById("bench"));
  place.textContent = `The bench can't start: ${error instanceof Error ? error.message : error} Use another device or paper until somebody has looked at it.`;
});
