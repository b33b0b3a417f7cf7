// @ts-check
// A bench at work: carries out what the page wants with the outbox and the link, and tells it what came of it.

import * as marks from "../core/marks.js";
import * as offline from "../core/offline.js";
import * as shown from "../core/shown.js";
import { RejectedError, leavesAlone } from "./link.js";
import * as sending from "./sending.js";

/**
 * @typedef {import("./store.js").Store} Store
 * @typedef {import("./store.js").Cached} Cached
 * @typedef {import("./link.js").Link} Link
 * @typedef {import("./link.js").Reading} Reading
 * @typedef {import("./sending.js").Sent} Sent
 * @typedef {{box: Store, link: Link, clock: () => Date}} Bench
 * @typedef {{mark: string, connector: string | null, name: string, part_number: string | null, snapshot: any, remarks: string[]}} Subject
 *   The connector at hand. Without an id it is not known here: entries go by its mark, and the service parks them.
 * @typedef {{type: "found", mark: string, connectors: any[], basis: "service" | "bench"} | {type: "missing", mark: string, why: string}} Heard
 * @typedef {{plan: any, basis: "service" | "bench" | "nothing", remarks: string[], as_of: string | null}} Advice
 *   An answer with what it rests on. No plan means no answer: nothing is known here, and that is never a go.
 */

export const NOT_HERE =
  "The service is away and this connector is not known at this bench: there is no answer, and that is not a go. " +
  "What is done can be recorded all the same; it goes to the service under this mark.";
export const NOT_REGISTERED =
  "No connector is registered under this mark. What is done can be recorded all the same; the service keeps it aside " +
  "until the connector is registered.";

const UUID = /^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$/;
const NOT_READABLE = "This page can't read what the service knows of this connector: there is no answer here, and that is not a go. Load the page anew.";

/** A mark that somebody typed. @param {string} text @returns {Reading} */
export function typed(text) {
  return { bytes: new TextEncoder().encode(text), symbology: null, text };
}

/**
 * Put a bench together.
 * @param {{box: Store, link: Link, clock?: () => Date}} told
 */
export function makeStation({ box, link, clock = () => new Date() }) {
  /** @type {Bench} */
  const bench = { box, link, clock };
  /** The round of sending that runs in this tab, or the last one. @type {Promise<unknown>} */
  let round = Promise.resolve();
  const sent = () => {
    // One after the other: what was kept while a round ended would otherwise wait for the next act.
    const mine = round.then(() => sending.send(box, link, clock));
    round = mine.catch(() => undefined);
    return mine;
  };
  return {
    /** The connectors that a mark means: asked of the service, else by what is known here. @param {Reading} reading */
    find: (reading) => find(bench, reading),
    /** The connector at hand, with its fresh state or the last known one. @param {string} id @param {string} mark */
    openConnector: (id, mark) => openConnector(bench, id, mark),
    /** The answer to steps: of the service if it has everything that was recorded here, else of the same rule, here. @param {Subject} about @param {any[]} steps */
    advise: (about, steps) => advise(bench, sent, about, steps),
    /** Keep entries on disk (then `kept` is called), send what can be sent, and tell what became of these. @param {any[]} entries @param {{act?: string, kept?: () => void, setting?: [string, any]}} [more] */
    record: (entries, more) => record(bench, sent, entries, more ?? {}),
    /** Try to send what waits, rest or not. */
    send: () => { link.wake(); return sent(); },
    /** Send what waits, unless the service was away just now: for a timer. */
    sendQuietly: () => sent(),
    /** The state to show of the connector at hand, like ConnectorView, with what waits here counted in; null if not known. @param {Subject} about */
    standing: (about) => standing(bench, about),
    /** How many entries stand how, how long the oldest waits, and those that need a person. */
    outboxSummary: () => outboxSummary(bench),
    /** Fetch connectors by their marks, to have them where there is no network. @param {Reading[]} readings */
    takeAlong: (readings) => takeAlong(bench, readings),
    /** Fetch connectors by their ids, to have them where there is no network. @param {string[]} ids */
    takeAlongIds: (ids) => takeAlongIds(bench, ids),
  };
}

/** @param {Bench} bench @param {Reading} reading @returns {Promise<Heard>} */
async function find(bench, reading) {
  const key = keyOf(reading);
  let lines;
  try {
    lines = await bench.link.find(reading);
  } catch (error) {
    if (error instanceof RejectedError) return { type: "missing", mark: reading.text, why: error.message };
    if (!leavesAlone(error)) throw error;
    return foundHere(bench, reading, key, /** @type {Error} */ (error));
  }
  await bench.box.saveMark(key, lines);
  if (lines.length) return { type: "found", mark: reading.text, connectors: lines, basis: "service" };
  return { type: "missing", mark: reading.text, why: explained(reading, NOT_REGISTERED) };
}

/** @param {Bench} bench @param {Reading} reading @param {string} key @param {Error} trouble @returns {Promise<Heard>} */
async function foundHere(bench, reading, key, trouble) {
  const told = await bench.box.linesOfMark(key);
  const mark = marks.read(reading.bytes, reading.symbology);
  const known = (await bench.box.snapshots()).filter((each) => offline.means(mark, each.snapshot.definition)).map(line).filter(Boolean);
  // Another one may bear the mark since it was looked up.
  const lines = [...told, ...known.filter((each) => !told.some(({ id }) => id === each?.id))];
  if (lines.length) return { type: "found", mark: reading.text, connectors: lines, basis: "bench" };
  const why = trouble.name === "DeniedError" ? `${trouble.message} ${NOT_HERE}` : NOT_HERE;
  return { type: "missing", mark: reading.text, why: explained(reading, why) };
}

/** @param {Bench} bench @param {string} id @param {string} mark @returns {Promise<Subject>} */
async function openConnector(bench, id, mark) {
  try {
    return subject(id, mark, (await caughtUp(bench, id, mark)).snapshot, []);
  } catch (error) {
    if (!leavesAlone(error) && !(error instanceof RejectedError)) throw error;
    const cached = await readable(bench, id);
    return subject(id, mark, cached?.snapshot ?? null, [stale(bench, cached, /** @type {Error} */ (error))]);
  }
}

/** @param {string} id @param {string} mark @param {any} snapshot @param {string[]} remarks @returns {Subject} */
function subject(id, mark, snapshot, remarks) {
  const definition = snapshot?.definition;
  return { mark, connector: id, name: definition?.serial ?? mark, part_number: definition?.part_number ?? null, snapshot, remarks };
}

/** The connector's state fetched now, and kept for later. @param {Bench} bench @param {string} id @returns {Promise<Cached>} */
async function refreshed(bench, id) {
  const acknowledged = await bench.box.acknowledged();
  const snapshot = await bench.link.snapshot(id);
  await bench.box.saveSnapshot(snapshot, acknowledged);
  return { snapshot, fetched_at: bench.clock().toISOString(), acknowledged };
}

/**
 * The state fetched now, once it is asked what became of entries that were parked and may be about this connector.
 * @param {Bench} bench @param {string} id @param {...string} told marks @returns {Promise<Cached>}
 */
async function caughtUp(bench, id, ...told) {
  const cached = await refreshed(bench, id);
  const parked = await parkedOf(bench, cached, told);
  return (await sending.askAfter(bench.box, bench.link, parked)) ? refreshed(bench, id) : cached;
}

/** The parked entries of this bench that may mean a connector, oldest first. @param {Bench} bench @param {Cached} cached @param {string[]} told marks */
async function parkedOf(bench, { snapshot: { definition } }, told) {
  const names = [...told, ...(await marksOf(bench, definition.connector))];
  return offline.meaning(await bench.box.ofStatus("parked"), definition, names);
}

/** @param {Bench} bench @param {() => Promise<Sent>} sent @param {Subject} about @param {any[]} steps @returns {Promise<Advice>} */
async function advise(bench, sent, about, steps) {
  if (about.connector === null) return nothing(...(about.remarks.length ? about.remarks : [NOT_HERE]));
  try {
    if (!(await waits(bench, sent, about))) {
      const plan = await bench.link.plan(about.connector, steps);
      return { plan, basis: "service", remarks: await refused(bench, about), as_of: null };
    }
    const cached = await caughtUp(bench, about.connector, about.mark);
    return line(cached) === null ? nothing(NOT_READABLE) : advised(bench, about, steps, cached, true);
  } catch (error) {
    if (!leavesAlone(error)) throw error;
    return adviseHere(bench, about, steps, /** @type {Error} */ (error));
  }
}

/** @param {Bench} bench @param {Subject} about @param {any[]} steps @param {Error} trouble @returns {Promise<Advice>} */
async function adviseHere(bench, about, steps, trouble) {
  const cached = await readable(bench, String(about.connector));
  if (cached === null) return nothing(NOT_HERE);
  const advice = await advised(bench, about, steps, cached, false);
  return trouble.name === "AwayError" ? advice : { ...advice, remarks: [trouble.message, ...advice.remarks] };
}

/** @param {Bench} bench @param {Subject} about @param {any[]} steps @param {Cached} cached @param {boolean} reached */
async function advised(bench, about, steps, cached, reached) {
  // In this order: what another tab settles meanwhile is then in one of them at least.
  const parked = [...(await parkedOf(bench, cached, [about.mark])), ...(await unread(bench, about, cached))];
  const waiting = await since(bench, about, cached);
  return offline.advise(cached, waiting, steps, now(bench), { reached, tools: await tools(bench), parked });
}

/** What of this bench the cached state may not hold, under marks that only the service can read: it may be about any connector. @param {Bench} bench @param {Subject} about @param {Cached} cached */
async function unread(bench, about, { acknowledged }) {
  const names = new Set(await references(bench, about, acknowledged));
  const strange = (await bench.box.referred(acknowledged)).filter((each) => !names.has(each) && unreadable(each));
  return bench.box.since(strange, acknowledged);
}

/** @param {string} name what an entry calls its connector */
const unreadable = (name) => marks.read(typed(name).bytes, null).unknown_here;

/** @param {string[]} remarks @returns {Advice} */
const nothing = (...remarks) => ({ plan: null, basis: "nothing", remarks, as_of: null });

/** The shop's tools as last fetched: without the service a tool's check still runs out. @param {Bench} bench */
async function tools(bench) {
  return (await bench.box.lists())?.lists.tools ?? [];
}

/** What of this bench the cached state may not hold. @param {Bench} bench @param {Subject} about @param {Cached} cached */
async function since(bench, about, cached) {
  return bench.box.since(await references(bench, about, cached.acknowledged), cached.acknowledged);
}

/**
 * Everything that entries of this bench call this connector: its id, marks it was found by, marks that mean it.
 * @param {Bench} bench @param {Subject} about @param {number} [acknowledged] @returns {Promise<string[]>}
 */
async function references(bench, about, acknowledged = 0) {
  if (about.connector === null) return [about.mark];
  const definition = about.snapshot?.definition ?? (await bench.box.snapshot(about.connector))?.snapshot.definition;
  const referred = definition ? await bench.box.referred(acknowledged) : [];
  const meant = referred.filter((each) => offline.means(marks.read(typed(each).bytes, null), definition));
  return [about.connector, about.mark, ...meant, ...(await marksOf(bench, about.connector))];
}

/** The marks by which a connector was found here, as they were read. @param {Bench} bench @param {string} id @returns {Promise<string[]>} */
async function marksOf(bench, id) {
  return (await bench.box.marksOf(id)).map((each) => each.slice(each.indexOf("|") + 1));
}

/** @param {Bench} bench @param {() => Promise<Sent>} sent @param {any[]} entries @param {{act?: string, kept?: () => void, setting?: [string, any]}} more */
async function record(bench, sent, entries, { act, kept, setting }) {
  await bench.box.keep(entries, act, setting);
  kept?.();
  const done = await sent();
  if (done.stopped === null) await refresh(bench, entries);
  return { sent: done, kept: await bench.box.ofIds(entries.map((each) => each.id)) };
}

/** Fetch anew what is kept of the connectors just worked on, so that a later answer without the service is good. @param {Bench} bench @param {any[]} entries */
async function refresh(bench, entries) {
  // A mark instead of an id: its connector is not known here.
  const names = new Set(entries.map((each) => each.connector).filter((each) => UUID.test(each)));
  for (const each of names) {
    try {
      await refreshed(bench, each);
    } catch (error) {
      if (!leavesAlone(error) && !(error instanceof RejectedError)) throw error;
    }
  }
}

/** @param {Bench} bench @param {Subject} about */
async function standing(bench, about) {
  const cached = about.connector === null ? null : await readable(bench, about.connector);
  if (cached === null) return null;
  return offline.view(cached.snapshot, offline.state(cached, await since(bench, about, cached)));
}

/** @param {Bench} bench */
async function outboxSummary(bench) {
  const counts = await bench.box.counts();
  const oldest = counts.oldest_unsent_at;
  const [waiting, parked, stopped] = await Promise.all([
    bench.box.ofStatus("unsent", 100), bench.box.ofStatus("parked"), bench.box.ofStatus("refused"),
  ]);
  return { counts, oldest: oldest === null ? null : ageOf(bench, oldest), unsent: waiting, parked, refused: stopped };
}

/** @param {Bench} bench @param {Reading[]} readings */
async function takeAlong(bench, readings) {
  const taken = [];
  for (const reading of readings) {
    const heard = await find(bench, reading);
    if (heard.type === "missing") taken.push({ mark: reading.text, taken: [], why: heard.why });
    else taken.push({ mark: reading.text, ...(await takeAlongIds(bench, heard.connectors.map((each) => each.id))) });
  }
  return taken;
}

/** @param {Bench} bench @param {string[]} ids @returns {Promise<{taken: string[], why: string | null}>} what came, and why the rest did not */
async function takeAlongIds(bench, ids) {
  const taken = [];
  let why = null;
  for (const id of ids) {
    try {
      await caughtUp(bench, id);
      taken.push(id);
    } catch (error) {
      if (!leavesAlone(error) && !(error instanceof RejectedError)) throw error;
      why = /** @type {Error} */ (error).message;
    }
  }
  return { taken, why };
}

/** What a mark is kept under here: its family of symbol decides how it is read, so it is part of the key. @param {Reading} reading */
function keyOf(reading) {
  return `${reading.symbology ?? ""}|${reading.text}`;
}

/** What is wrong with the mark itself, first. @param {Reading} reading @param {string} why */
function explained(reading, why) {
  const faults = marks.read(reading.bytes, reading.symbology).faults.map((/** @type {{text: string}} */ each) => each.text);
  return [...faults, why].join(" ");
}

/** The last known state. One that this version can't read is as good as not known. @param {Bench} bench @param {string} id @returns {Promise<Cached | null>} */
async function readable(bench, id) {
  const cached = await bench.box.snapshot(id);
  return cached !== null && line(cached) !== null ? cached : null;
}

/** A connector in a list, from what is kept of it here; null if this version can't read that. @param {Cached} cached */
function line(cached) {
  try {
    return offline.line(cached.snapshot);
  } catch {
    return null;
  }
}

/** @param {Bench} bench @param {Cached | null} cached @param {Error} trouble */
function stale(bench, cached, trouble) {
  if (cached === null) return `${trouble.message} ${NOT_HERE}`;
  return `${trouble.message} Shown is the last known state, ${ageOf(bench, cached.fetched_at)} old.`;
}

/** Whether something about this connector has still not reached the service, after one more try. @param {Bench} bench @param {() => Promise<Sent>} sent @param {Subject} about */
async function waits(bench, sent, about) {
  const wanted = new Set(await references(bench, about));
  const some = async () => (await bench.box.ofStatus("unsent")).some(({ entry }) => wanted.has(entry.connector) || unreadable(entry.connector));
  if (!(await some())) return false;
  await sent();
  return some();
}

/** @param {Bench} bench @param {Subject} about @returns {Promise<string[]>} */
async function refused(bench, about) {
  const wanted = new Set(await references(bench, about));
  const number = (await bench.box.ofStatus("refused")).filter((each) => wanted.has(each.entry.connector)).length;
  if (!number) return [];
  return [`${number} ${number === 1 ? "entry" : "entries"} of this bench about this connector: refused, so not counted. Somebody must look at the outbox.`];
}

/** @param {Bench} bench @param {string} at */
const ageOf = (bench, at) => shown.age((bench.clock().getTime() - Date.parse(at)) * 1000);

/** @param {Bench} bench */
const now = (bench) => bench.clock().toISOString();
