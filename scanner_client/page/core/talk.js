// @ts-check
// The dialogue at the bench: (state, heard, moment) -> [state, effects]. Pure: no DOM, no clock, no network.
//
// Sign on, scan a connector, choose cavities and what will be done, see the answer, do it, say that it was done, test what
// went in. An answer stops nobody: what happened can always be recorded, and over a no_go with a reason. What is scanned
// is taken for what it is (badge, work order, tool, contact, cavity, connector), whatever is on the screen.

import * as drafts from "./drafts.js";

/** @typedef {import("./drafts.js").Moment} Moment */
/** @typedef {{type: string, [name: string]: any}} Heard */
/** @typedef {{type: string, [name: string]: any}} Effect */

/** Nobody's work stays on the screen of an unattended bench longer than this; a shop may set it. */
export const IDLE_MIN = 15;
/** A person is told this long before. */
export const NOTICE_S = 60;
export const UNSETTLED = "First say what became of this: done, or not done.";
const SHARED = "Several connectors carry this mark, so it does not say whether this is the one at hand: compare part numbers.";
const AT_WORK = ["asking", "answered", "working"];

/** A new talk, with what was remembered. @param {any} [memory] @returns {any} */
export function begin(memory = {}) {
  const shift = { badge: null, work_order: null, bench: null, ...memory.shift };
  return {
    phase: shift.badge === null ? "sign_on" : "scan", shift, idle_min: memory.idle_min ?? IDLE_MIN, used_at_ms: memory.used_at_ms ?? 0,
    open: memory.open ?? {}, resume: memory.open?.[shift.badge] ?? null, panel: null, said: null, ...blank(),
  };
}

/** What has to outlast a reload, a crash and a sign-off: the shift, and for each badge what was asked and not settled.
 * @param {any} state @returns {any} */
export function memory(state) {
  const { shift, idle_min, used_at_ms } = state;
  return { shift, idle_min, used_at_ms, open: unsettled(state) };
}

/** Nobody's unsettled work is forgotten when the screen is cleared: work that was done must still get into the ledger.
 * @param {any} state @returns {Record<string, any>} */
function unsettled(state) {
  const { badge } = state.shift;
  if (badge === null || state.resume) return state.open;
  const { [badge]: _, ...others } = state.open;
  if (!state.subject || (!state.pending.length && !state.to_test.length)) return others;
  const { connector, mark } = state.subject;
  const steps = state.pending.map((/** @type {number} */ each) => state.steps[each]);
  const { tool, contact, to_test, shared } = state;
  return { ...others, [badge]: { connector, mark, shared, steps, tool, contact, to_test } };
}

/** Go on with what this person left unsettled. @param {any} state @returns {[any, Effect[]]} */
function resumed(state) {
  const left = state.open[state.shift.badge];
  if (!left) return [state, []];
  const said = { text: "You left this unsettled here. Say what became of it.", urgent: true };
  const effect = left.connector ? { type: "open", connector: left.connector, mark: left.mark } : { type: "find", reading: { text: left.mark } };
  const opening = left.connector ? { connector: left.connector, shared: left.shared ?? false } : null;
  return [{ ...state, resume: left, seeking: left.mark, opening, said }, [effect]];
}

/** The connector of what was left is at hand again. @param {any} state @returns {[any, Effect[]]} */
function takenUp(state) {
  const { steps, tool, contact, to_test: toTest } = state.resume;
  const back = { ...state, resume: null, tool, contact, to_test: toTest };
  if (steps.length) return asking(back, steps, steps.map((/** @type {any} */ _, /** @type {number} */ at) => at));
  return [{ ...back, phase: "seating" }, []];
}

/** What belongs to one connector at hand. `seeking`: the mark that was scanned last, until its connector is at hand; `opening`:
 * which of its connectors that will be, once it is known. `shared`: others carry the mark of the one at hand, too. */
function blank() {
  return {
    mark: "", seeking: null, opening: null, shared: false, choices: [], missing: null, subject: null, view: null, action: null, chosen: [], tool: null, contact: null,
    tool_looked_at: false, steps: [], advice: null, pending: [], reasoned: null, to_test: [], recent: [],
  };
}

/** Take one thing heard. @param {any} state @param {Heard} heard @param {Moment} moment @returns {[any, Effect[]]} */
export function step(state, heard, moment) {
  const act = ACTS[heard.type];
  if (!act) throw new Error(`unknown: ${heard.type}`);
  if (heard.type === "tick") return act(state, heard, moment);
  const awake = TOLD.has(heard.type) ? state : { ...state, used_at_ms: moment.at_ms, said: QUIET.has(heard.type) ? state.said : null };
  return act(awake, heard, moment);
}

/** What comes back from what was wanted is no sign that a person is there. */
const TOLD = new Set(["found", "missing", "opened", "shown", "advised", "kept", "failed"]);
const QUIET = new Set(["panel", "stir"]);

/** @type {Record<string, (state: any, heard: Heard, moment: Moment) => [any, Effect[]]>} */
const ACTS = {
  scanned, typed, found, missing, opened, shown, advised, kept, failed, action: setAction, toggle, choose, ask, done, not_done: notDone,
  reason, cancel, seated, skip, undo, other, next, sign_off: signOff, panel, looked, tick, stir: (state) => [state, []], clear, drop,
  told: (state, { text }) => say(state, text, false),
  resume: (state) => (signedOn(state) && !state.subject ? resumed(state) : [state, []]),
};

// --- saying

/** @param {any} state @param {string} text @param {boolean} [urgent] @returns {[any, Effect[]]} */
function say(state, text, urgent = true) {
  return [{ ...state, said: { text, urgent } }, urgent ? [{ type: "signal", signal: "attention" }] : []];
}

/** @param {any} state */
const signedOn = (state) => state.shift.badge !== null;
/** @param {any} state */
const reference = (state) => state.subject.connector ?? state.subject.mark;

// --- scanning and typing

/** A scan is taken for what it is. @param {any} state @param {Heard} heard @returns {[any, Effect[]]} */
function scanned(state, { reading, mark }) {
  if (mark.faults.length) return say(state, mark.faults[0].text);
  if (state.reasoned) return say(state, "Type the reason first, or cancel.");
  const named = NAMED[mark.meaning];
  if (named) return named(state, mark.named);
  // A message that names a thing is nobody's badge.
  if (!signedOn(state)) return mark.meaning === "plain_serial" ? signOn(state, reading.text) : say(state, "Scan or type your badge first.");
  const part = mark.current_part_number ?? mark.part_number ?? (mark.identity === null || mark.meaning === "plain_serial" ? reading.text : null);
  if (state.subject && part && !mark.cage) {
    const kind = partKind(part);
    if (kind) return set(state, kind, part);
  }
  return find(state, reading);
}

/** What a part number alone says it is: AS39029 contacts, AS81969 tools, in either spelling. @param {string} text */
export function partKind(text) {
  if (/^(?:M|AS)39029\//.test(text)) return "contact";
  if (/^(?:M|AS)81969\//.test(text)) return "tool";
  return null;
}

/** @type {Record<string, (state: any, name: string) => [any, Effect[]]>} */
const NAMED = {
  badge: (state, name) => signOn(state, name),
  work_order: (state, name) => (signedOn(state) ? setOrder(state, name) : say(state, "Scan your badge first.")),
  tool: (state, name) => (state.subject ? set(state, "tool", name) : say(state, "Scan the connector first.")),
  cavity: (state, name) => (state.subject ? toggle(state, { type: "toggle", cavity: name }) : say(state, "Scan the connector first.")),
  bench: (state, name) => rename(state, name),
};

/** A typed line, in the field where it was typed. @param {any} state @param {Heard} heard @returns {[any, Effect[]]} */
function typed(state, { field, text, reading }) {
  const told = String(text).trim();
  if (field === "mark") return told ? find(state, reading) : [state, []];
  if (field === "badge") return told ? signOn(state, told) : say(state, "Type or scan your badge.");
  if (field === "work_order") return setOrder(state, told || null);
  if (field === "cavity") return told ? toggle(state, { type: "toggle", cavity: told }) : [state, []];
  return set(state, field, told || null);
}

/** Another badge is another person: nothing of the one before stays on the screen. @param {any} state @param {string} badge @returns {[any, Effect[]]} */
function signOn(state, badge) {
  if (state.shift.badge === badge) return say(state, `Badge ${badge} is signed on.`, false);
  if (state.pending.length) return say(state, UNSETTLED);
  const shift = { ...state.shift, badge, work_order: signedOn(state) ? null : state.shift.work_order };
  return resumed({ ...state, open: unsettled(state), resume: null, ...blank(), shift, phase: "scan", panel: null, said: null });
}

/** @param {any} state @returns {[any, Effect[]]} */
function signOff(state) {
  if (state.pending.length) return say({ ...state, panel: null }, UNSETTLED);
  return signedOff(state);
}

/** @param {any} state @returns {[any, Effect[]]} */
function signedOff(state) {
  const shift = { ...state.shift, badge: null, work_order: null };
  return [{ ...state, open: unsettled(state), resume: null, ...blank(), shift, phase: "sign_on", panel: null, said: null }, []];
}

/** @param {any} state @param {string | null} order @returns {[any, Effect[]]} */
function setOrder(state, order) {
  const shift = { ...state.shift, work_order: order };
  const told = order ? `Work order ${order}.` : "No work order any more.";
  // What the order is about is fetched while there is a network, since its work may be where there is none.
  return [{ ...state, shift, said: { text: told, urgent: false } }, order ? [{ type: "take", query: { work_order: order } }] : []];
}

/** @param {any} state @param {string} bench @returns {[any, Effect[]]} */
function rename(state, bench) {
  const shift = { ...state.shift, bench };
  return [{ ...state, shift, said: { text: `This is bench ${bench}.`, urgent: false } }, []];
}

/** A tool or a contact: what it changes of the answer must be seen before the work. @param {any} state @param {string} kind @param {string | null} name @returns {[any, Effect[]]} */
function set(state, kind, name) {
  const changed = { ...state, [kind]: name, ...(kind === "tool" ? { tool_looked_at: false } : {}) };
  return AT_WORK.includes(state.phase) ? asking(changed, state.steps, state.pending) : [changed, []];
}

/** @param {any} state @returns {[any, Effect[]]} */
function looked(state) {
  return [{ ...state, tool_looked_at: !state.tool_looked_at }, []];
}

// --- the connector at hand

/** @param {any} state @param {any} reading @returns {[any, Effect[]]} */
function find(state, reading) {
  if (!signedOn(state)) return say(state, "Scan or type your badge first.");
  if (state.resume) return resumed(state);
  if (state.pending.length) {
    if (state.mark === reading.text) return state.shared ? say(state, SHARED) : say(state, "Yes, this is the connector at hand.", false);
    return say(state, UNSETTLED);
  }
  return [{ ...state, panel: null, seeking: reading.text, opening: null, said: untested(state) }, [{ type: "find", reading }]];
}

/** @param {any} state */
function untested(state) {
  if (!state.to_test.length) return null;
  return { text: `No seating test is recorded for ${state.to_test.join(", ")}.`, urgent: true };
}

/** Whether somebody still waits for the connector of a mark. An answer that took long must not take the place of what was
 * scanned since, nor show up before the next person, nor wipe out steps that are not settled. @param {any} state @param {string} mark */
const sought = (state, mark) => signedOn(state) && !state.pending.length && state.seeking === mark;

/** @param {any} state @param {Heard} heard @returns {[any, Effect[]]} */
function found(state, { mark, connectors }) {
  if (!sought(state, mark)) return [state, []];
  if (connectors.length === 1) return open(state, mark, connectors[0].id, false);
  return [{ ...state, ...blank(), mark, choices: connectors, phase: "choose" }, [{ type: "signal", signal: "attention" }]];
}

/** @param {any} state @param {Heard} heard @returns {[any, Effect[]]} */
function choose(state, { connector }) {
  return open({ ...state, seeking: state.mark }, state.mark, connector, true);
}

/** @param {any} state @param {string} mark @param {string} connector @param {boolean} shared @returns {[any, Effect[]]} */
function open(state, mark, connector, shared) {
  return [{ ...state, mark, opening: { connector, shared } }, [{ type: "open", connector, mark }]];
}

/** Not known here: work can be recorded all the same, under its mark. @param {any} state @param {Heard} heard @returns {[any, Effect[]]} */
function missing(state, { mark, why }) {
  if (!sought(state, mark)) return [state, []];
  const subject = { mark, connector: null, name: mark, part_number: null, snapshot: null, remarks: [why] };
  const at = { ...state, ...blank(), mark, subject, phase: "connector" };
  return at.resume ? takenUp(at) : [at, [{ type: "signal", signal: "attention" }]];
}

/** @param {any} state @param {Heard} heard @returns {[any, Effect[]]} */
function opened(state, { subject, view }) {
  // Of several with one mark, the one that was chosen last.
  const { connector, shared } = state.opening ?? { connector: subject.connector, shared: false };
  if (!sought(state, subject.mark) || connector !== subject.connector) return [state, []];
  const signal = subject.remarks.length ? "attention" : "read";
  const at = { ...state, ...blank(), mark: subject.mark, shared, subject, view, said: state.said, phase: "connector" };
  return at.resume ? takenUp(at) : [at, [{ type: "signal", signal }]];
}

/** The connector as it stands now; what was chosen and asked stays. @param {any} state @param {Heard} heard @returns {[any, Effect[]]} */
function shown(state, { subject, view }) {
  if (state.subject?.mark !== subject.mark || state.subject.connector !== subject.connector) return [state, []];
  return [{ ...state, subject, view }, []];
}

/** @param {any} state @returns {[any, Effect[]]} */
function next(state) {
  if (state.pending.length) return say(state, UNSETTLED);
  return [{ ...state, ...blank(), phase: "scan", panel: null, said: untested(state) }, []];
}

// --- choosing and asking

/** @param {any} state @param {Heard} heard @returns {[any, Effect[]]} */
function setAction(state, { action }) {
  return [{ ...state, action }, []];
}

/** @param {any} state @param {Heard} heard @returns {[any, Effect[]]} */
function toggle(state, { cavity }) {
  if (state.phase !== "connector") return [state, []];
  const known = state.view?.cavities;
  if (known && !known.some((/** @type {any} */ each) => each.id === cavity)) return say(state, unknownCavity(known, cavity));
  const there = state.chosen.includes(cavity);
  const chosen = there ? state.chosen.filter((/** @type {string} */ each) => each !== cavity) : [...state.chosen, cavity];
  return [{ ...state, chosen }, []];
}

/** Cavity ids are case-sensitive, and one typed in the wrong case is the commonest slip. @param {any[]} known @param {string} cavity */
function unknownCavity(known, cavity) {
  const alike = known.filter((each) => each.id.toLowerCase() === cavity.toLowerCase()).map((each) => each.id);
  const hint = alike.length ? ` There is ${alike.join(" and ")}: capitals and small letters are different cavities.` : "";
  return `This connector has no cavity ${cavity}.${hint}`;
}

/** @param {any} state @returns {[any, Effect[]]} */
function clear(state) {
  return [{ ...state, chosen: [] }, []];
}

/** @param {any} state @returns {[any, Effect[]]} */
function ask(state) {
  if (!state.action) return say(state, "Say what you will do: insert, remove or replace.");
  if (!state.chosen.length) return say(state, "Choose the cavities: tap them, type them, or scan their marks.");
  const steps = state.chosen.map((/** @type {string} */ cavity) => ({ action: state.action, cavity }));
  const [asked, effects] = asking(state, steps, steps.map((/** @type {unknown} */ _, /** @type {number} */ at) => at));
  if (state.seeking === null || state.seeking === state.subject.mark) return [asked, effects];
  const [told, signals] = say({ ...asked, seeking: null, opening: null }, `This is about ${state.subject.name}: ${state.seeking} was scanned, and is not at hand yet.`);
  return [told, [...effects, ...signals]];
}

/** @param {any} state @param {any[]} steps @param {number[]} pending @returns {[any, Effect[]]} */
function asking(state, steps, pending) {
  const told = steps.map((each) => equipped(each, state));
  // Steps that were recorded already are history, and no part of the question any more.
  const open = pending.map((at) => told[at]);
  const asked = { ...state, steps: open, pending: open.map((_, at) => at), advice: null, panel: null, phase: "asking" };
  return [asked, [{ type: "ask", subject: state.subject, steps: open }]];
}

/** @param {any} step @param {any} state */
function equipped(step, state) {
  const made = { action: step.action, cavity: step.cavity };
  if (state.tool) Object.assign(made, { tool: state.tool });
  if (state.contact && step.action !== "remove") Object.assign(made, { contact: state.contact });
  return made;
}

/** Whether this is about the question that stands: `steps` are the very ones that were asked about. Since then a tool may have
 * been scanned, and the answer to the question before must not stand for it. @param {any} state @param {any} steps */
const standing = (state, steps) => state.phase === "asking" && state.steps === steps;

/** @param {any} state @param {Heard} heard @returns {[any, Effect[]]} */
function advised(state, { advice, steps }) {
  if (!standing(state, steps)) return [state, []];
  return [{ ...state, phase: "answered", advice }, [{ type: "signal", signal: advice.plan?.answer ?? "attention" }]];
}

/** Another cavity or part instead: the question is withdrawn, what was chosen stays. @param {any} state @returns {[any, Effect[]]} */
function notDone(state) {
  const phase = state.to_test.length ? "seating" : "connector";
  const left = { ...state, phase, steps: [], advice: null, pending: [], reasoned: null };
  return [{ ...left, said: { text: "Nothing more of it is recorded.", urgent: false } }, []];
}

/** Leave one step of the plan out. @param {any} state @param {Heard} heard @returns {[any, Effect[]]} */
function drop(state, { at }) {
  const pending = state.pending.filter((/** @type {number} */ each) => each !== at);
  return pending.length ? asking(state, state.steps, pending) : notDone(state);
}

// --- recording

/** @param {any} state @param {number} at */
export function stepAnswer(state, at) {
  return state.advice?.plan?.steps[at]?.answer ?? null;
}

/** Steps were done. `only`: of a replacement the removal alone. @param {any} state @param {Heard} heard @param {Moment} moment @returns {[any, Effect[]]} */
function done(state, { places, only }, moment) {
  const chosen = places.filter((/** @type {number} */ each) => state.pending.includes(each));
  if (!chosen.length || !state.advice) return [state, []];
  const stopped = chosen.filter((/** @type {number} */ each) => [null, "no_go"].includes(stepAnswer(state, each)));
  if (stopped.length) return [{ ...state, reasoned: { places: chosen, only } }, [{ type: "signal", signal: "attention" }]];
  return recorded(state, chosen, only, moment, undefined);
}

/** @param {any} state @param {Heard} heard @param {Moment} moment @returns {[any, Effect[]]} */
function reason(state, { text }, moment) {
  const told = text.trim();
  if (!told) return say(state, "Type why it was done all the same.");
  return recorded({ ...state, reasoned: null }, state.reasoned.places, state.reasoned.only, moment, told);
}

/** @param {any} state @returns {[any, Effect[]]} */
function cancel(state) {
  return [{ ...state, reasoned: null, panel: null }, []];
}

/** @param {any} state @param {number[]} places @param {boolean} only @param {Moment} moment @param {string} [note] @returns {[any, Effect[]]} */
function recorded(state, places, only, moment, note) {
  const steps = places.map((each) => (only ? { ...state.steps[each], action: "remove" } : state.steps[each]));
  const made = drafts.ofSteps(reference(state), state.shift, steps, moment, { note, tool_looked_at: state.tool_looked_at });
  const pending = state.pending.filter((/** @type {number} */ each) => !places.includes(each));
  const toTest = awaiting(state.to_test, steps);
  const after = { ...state, pending, to_test: toTest, recent: made, reasoned: null, phase: "working" };
  const settled = { ...after, phase: toTest.length ? "seating" : "connector", steps: [], advice: null, chosen: [], action: null };
  return [pending.length ? after : settled, [{ type: "keep", entries: made }]];
}

/** The cavities that hold a new contact now, in the order of the work. @param {string[]} waiting @param {any[]} steps */
function awaiting(waiting, steps) {
  return steps.reduce((left, each) => {
    const others = left.filter((/** @type {string} */ cavity) => cavity !== each.cavity);
    return each.action === "remove" ? others : [...others, each.cavity];
  }, waiting);
}

/** A seating test, a look, or both. @param {any} state @param {Heard} heard @param {Moment} moment @returns {[any, Effect[]]} */
function seated(state, { cavity, held, force_n, level }, moment) {
  const made = [drafts.entry(reference(state), state.shift, "seating_test", { cavity, held, force_n, level }, moment)];
  const left = tested(state, cavity);
  const bad = held === false || level === false;
  const text = `${cavity} is not seated. That insertion has used a cycle. If the contact comes out again, record the removal.`;
  const after = { ...left, recent: made, said: bad ? { text, urgent: true } : { text: `${cavity}: recorded.`, urgent: false } };
  return [after, [{ type: "keep", entries: made }, ...(bad ? [{ type: "signal", signal: "attention" }] : [])]];
}

/** @param {any} state @param {string} cavity */
function tested(state, cavity) {
  const left = state.to_test.filter((/** @type {string} */ each) => each !== cavity);
  return { ...state, to_test: left, phase: state.phase === "seating" && !left.length ? "connector" : state.phase };
}

/** @param {any} state @param {Heard} heard @returns {[any, Effect[]]} */
function skip(state, { cavity }) {
  const after = tested(state, cavity);
  return [{ ...after, said: { text: `No seating test is recorded for ${cavity}.`, urgent: false } }, []];
}

/** Take back what was recorded last here: a correction each, with a reason. @param {any} state @param {Heard} heard @param {Moment} moment @returns {[any, Effect[]]} */
function undo(state, { text }, moment) {
  const told = text.trim();
  if (!state.recent.length) return say({ ...state, panel: null }, "There is nothing here to take back.");
  if (!told) return say(state, "Type why it was entered in error.");
  const made = drafts.corrections(state.recent, state.shift, told, moment);
  const back = { ...state, recent: [], to_test: [], panel: null, said: { text: "Taken back, with your reason. Both stay in the ledger.", urgent: false } };
  return [{ ...back, phase: state.phase === "seating" ? "connector" : state.phase }, [{ type: "keep", entries: made }]];
}

/** Anything else that happened: a finding, a tine entry, a mating. @param {any} state @param {Heard} heard @param {Moment} moment @returns {[any, Effect[]]} */
function other(state, { kind, fields }, moment) {
  if (kind === "finding" && !fields.note?.trim()) return say(state, "Say what is wrong.");
  const looked = kind === "tine_entry" && fields.tool && state.tool_looked_at ? { tool_looked_at: true } : {};
  const made = [drafts.entry(reference(state), state.shift, kind, { ...fields, ...looked }, moment)];
  return [{ ...state, recent: made, panel: null, said: { text: "Recorded.", urgent: false } }, [{ type: "keep", entries: made }]];
}

/** @param {any} state @param {Heard} heard @returns {[any, Effect[]]} */
function kept(state, { sent }) {
  const codes = sent.results.flatMap((/** @type {any} */ each) => each.discrepancies).map((/** @type {string} */ each) => each.replaceAll("_", " "));
  if (sent.refused) return say(state, "The service refused an entry: see what waits. It is kept here for a person.");
  if (codes.length) return say(state, `Recorded, with discrepancies: ${[...new Set(codes)].join(", ")}.`);
  return [state, []];
}

/** @param {any} state @param {Heard} heard @returns {[any, Effect[]]} */
function failed(state, { text, steps }) {
  if (!standing(state, steps)) return say(state, text);
  // No answer is no reason to forget what somebody is about to do, or has done.
  return advised(state, { type: "advised", steps, advice: { plan: null, basis: "nothing", remarks: [text], as_of: null } });
}

/** @param {any} state @param {Heard} heard @returns {[any, Effect[]]} */
function panel(state, { name }) {
  return [{ ...state, panel: name }, []];
}

// --- the shift

/** How long until an unattended bench signs off, in seconds; null while nobody is signed on. @param {any} state @param {number} at_ms */
export function left_s(state, at_ms) {
  return signedOn(state) ? Math.ceil((state.used_at_ms + state.idle_min * 60000 - at_ms) / 1000) : null;
}

/** Time has passed. What was not settled is asked again when the same person signs on.
 * @param {any} state @param {Heard} _heard @param {Moment} moment @returns {[any, Effect[]]} */
function tick(state, _heard, moment) {
  const left = left_s(state, moment.at_ms);
  if (left === null || left > 0) return [state, []];
  return signedOff(state);
}
