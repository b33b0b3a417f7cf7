// @ts-check
// The outbox of the page: entries on disk, with their ids, before anything is sent; and what a bench needs to answer
// alone. It is never emptied: what the service has not acknowledged stays until somebody has dealt with it.

import { Database, asked } from "./database.js";

export { UnusableError, askToStay } from "./database.js";

/**
 * @typedef {"unsent" | "sent" | "parked" | "refused"} Status
 * @typedef {{place: number, entry: any, kept_at: string, status: Status, discrepancies: string[], problem: any}} Kept
 * @typedef {{id: string, status: "sent" | "parked" | "refused", discrepancies?: string[], problem?: any}} Settled
 * @typedef {{unsent: number, sent: number, parked: number, refused: number, oldest_unsent_at: string | null}} Counts
 * @typedef {{snapshot: any, fetched_at: string, acknowledged: number}} Cached
 * @typedef {import("./database.js").Stores} Stores
 */

export const NAME = "tinebook";
export const VERSION = 1;

const ENTRIES = "entries";
const ACKNOWLEDGED = "acknowledged";
/** @type {Status[]} */
const STATUSES = ["unsent", "sent", "parked", "refused"];
const UUID = /^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$/;

/** An id that is in the outbox already, with other content. */
export class ClashError extends Error {
  /** @param {string} id */
  constructor(id) {
    super(`The id ${id} is in the outbox already, with other content.`);
    this.name = "ClashError";
  }
}

/**
 * Open the outbox, or make one. UnusableError if nothing can be kept here.
 * @param {{name?: string, clock?: () => Date, onStranded?: () => void}} [told]
 *   `onStranded` is called when a newer version of the page takes over in another tab.
 * @returns {Promise<Store>}
 */
export async function openStore({ name = NAME, clock = () => new Date(), onStranded } = {}) {
  const database = new Database(name, VERSION, upgrade, onStranded);
  await database.opened();
  return new Store(database, clock);
}

/** The open outbox. Each method is one transaction; what it resolves from is on disk. */
export class Store {
  /** @param {Database} database @param {() => Date} clock */
  constructor(database, clock) {
    this.database = database;
    this.clock = clock;
    /** @type {Set<() => void>} */
    this.listeners = new Set();
    this.others = typeof BroadcastChannel === "undefined" ? null : new BroadcastChannel(database.name);
    if (this.others) this.others.onmessage = () => this.tell();
  }

  /** Let go of the database. */
  async close() {
    this.others?.close();
    await this.database.close();
  }

  /** Be told when entries change, in this tab or another. @param {() => void} listener @returns {() => void} to stop it */
  watch(listener) {
    this.listeners.add(listener);
    return () => this.listeners.delete(listener);
  }

  tell() {
    for (const each of this.listeners) each();
  }

  changed() {
    this.others?.postMessage("changed");
    this.tell();
  }

  /**
   * Put the entries of one act at the end, all or none; what is there stays as it is. ClashError for other content.
   * @param {any[]} entries @param {string} [act] names the act, so that entries kept later may belong to it
   * @param {[name: string, value: any]} [setting] kept together with them or not at all: what else the act changes
   */
  async keep(entries, act = entries[0]?.id, setting) {
    entries.forEach(sendable);
    if (!entries.length) return;
    const kept_at = this.clock().toISOString();
    await this.database.run([ENTRIES, "settings"], "readwrite", async ({ entries: rows, settings }) => {
      if (setting) await asked(settings.put(setting[1], setting[0]));
      for (const entry of entries) {
        const known = await asked(rows.index("id").get(entry.id));
        if (known === undefined) await asked(rows.add(row(entry, act, kept_at)));
        else if (canonical(known.entry) !== canonical(entry)) throw new ClashError(entry.id);
      }
    });
    this.changed();
  }

  /** Entries that stand so, oldest first. @param {Status} status @param {number} [most] @returns {Promise<Kept[]>} */
  async ofStatus(status, most) {
    const rows = await this.read(ENTRIES, (entries) => entries.index("status").getAll(standing(status), most));
    return rows.map(kept);
  }

  /** Entries by their ids, in the order of the outbox. @param {string[]} ids @returns {Promise<Kept[]>} */
  async ofIds(ids) {
    const found = await this.database.run([ENTRIES], "readonly", ({ entries }) =>
      Promise.all(ids.map((id) => asked(entries.index("id").get(id)))));
    return found.filter((each) => each !== undefined).sort((one, two) => one.place - two.place).map(kept);
  }

  /** Write down what became of entries. One that is settled already stays as it is. @param {Settled[]} settled */
  async settle(settled) {
    const settled_at = this.clock().toISOString();
    await this.database.run([ENTRIES, "counters"], "readwrite", async ({ entries, counters }) => {
      let number = await counted(counters);
      for (const each of settled) {
        const known = await asked(entries.index("id").get(each.id));
        if (known?.status !== "unsent") continue;
        number += 1;
        const { status, discrepancies = [], problem = null } = each;
        await asked(entries.put({ ...known, status, settled_at, discrepancies, problem, acknowledged: number }));
      }
      await asked(counters.put(number, ACKNOWLEDGED));
    });
    this.changed();
  }

  /**
   * Write down to which connector parked entries were assigned: from then on they are about no other.
   * @param {{id: string, connector: string}[]} joined
   */
  async join(joined) {
    const settled_at = this.clock().toISOString();
    await this.database.run([ENTRIES, "counters"], "readwrite", async ({ entries, counters }) => {
      let number = await counted(counters);
      for (const { id, connector } of joined) {
        const known = await asked(entries.index("id").get(id));
        if (known?.status !== "parked") continue;
        number += 1;
        await asked(entries.put({ ...known, status: "sent", connector, settled_at, acknowledged: number }));
      }
      await asked(counters.put(number, ACKNOWLEDGED));
    });
    this.changed();
  }

  /** Send a refused entry once more (the reason may be gone). @param {string} id @returns {Promise<boolean>} false if it is not a refused one */
  async again(id) {
    const done = await this.database.run([ENTRIES], "readwrite", async ({ entries }) => {
      const known = await asked(entries.index("id").get(id));
      if (known?.status !== "refused") return false;
      await asked(entries.put({ ...known, status: "unsent", settled_at: null, problem: null, acknowledged: null }));
      return true;
    });
    if (done) this.changed();
    return done;
  }

  /** How many entries stand how, and since when the oldest one waits. @returns {Promise<Counts>} */
  async counts() {
    return this.database.run([ENTRIES], "readonly", async ({ entries }) => {
      const index = entries.index("status");
      const numbers = await Promise.all(STATUSES.map((each) => asked(index.count(standing(each)))));
      const oldest = await asked(index.get(standing("unsent")));
      const counts = Object.fromEntries(STATUSES.map((each, place) => [each, numbers[place]]));
      return /** @type {Counts} */ ({ ...counts, oldest_unsent_at: oldest?.kept_at ?? null });
    });
  }

  /** The entries of the act that somebody kept last. @param {string} performed_by @returns {Promise<any[]>} */
  async lastAct(performed_by) {
    return this.database.run([ENTRIES], "readonly", async ({ entries }) => {
      const cursor = await asked(entries.index("performed_by").openCursor(within(performed_by), "prev"));
      if (!cursor) return [];
      const rows = await asked(entries.index("act").getAll(cursor.value.act));
      return rows.sort((one, two) => one.place - two.place).map((each) => each.entry);
    });
  }

  /**
   * A number that grows with every acknowledged entry, and never falls: read it before a snapshot is fetched.
   * @returns {Promise<number>}
   */
  async acknowledged() {
    return this.database.run(["counters"], "readonly", ({ counters }) => counted(counters));
  }

  /**
   * Entries about a connector, by any of its references, that a snapshot of that number may not hold.
   * @param {string[]} references @param {number} acknowledged @returns {Promise<Kept[]>}
   */
  async since(references, acknowledged) {
    const found = await this.database.run([ENTRIES], "readonly", ({ entries }) =>
      Promise.all([...new Set(references)].map((each) => asked(entries.index("connector").getAll(each)))));
    const open = found.flat().filter((each) => missing(each, acknowledged));
    return open.sort((one, two) => one.place - two.place).map(kept);
  }

  /** What the entries that `since` may give call their connectors. @param {number} acknowledged @returns {Promise<string[]>} */
  async referred(acknowledged) {
    const found = await this.database.run([ENTRIES], "readonly", ({ entries }) => Promise.all([
      asked(entries.index("status").getAll(standing("unsent"))),
      asked(entries.index("status").getAll(standing("refused"))),
      asked(entries.index(ACKNOWLEDGED).getAll(IDBKeyRange.lowerBound(acknowledged, true))),
    ]));
    return [...new Set(found.flat().map((each) => each.connector))].sort();
  }

  /** Keep the state of a connector, to answer from while the service is away. @param {any} snapshot @param {number} acknowledged */
  async saveSnapshot(snapshot, acknowledged) {
    const made = { connector: snapshot.definition.connector, snapshot, fetched_at: this.clock().toISOString(), acknowledged };
    await this.database.run(["snapshots"], "readwrite", async ({ snapshots }) => {
      const known = await asked(snapshots.get(made.connector));
      // Of two answers that overtook each other, in two tabs perhaps, the later one stays.
      if (known === undefined || !overtaken(known.snapshot, snapshot)) await asked(snapshots.put(made));
    });
  }

  /** The last known state of a connector. @param {string} connector @returns {Promise<Cached | null>} */
  async snapshot(connector) {
    const found = await this.read("snapshots", (snapshots) => snapshots.get(connector));
    return found === undefined ? null : cached(found);
  }

  /** Every connector that is known here. @returns {Promise<Cached[]>} */
  async snapshots() {
    return (await this.read("snapshots", (snapshots) => snapshots.getAll())).map(cached);
  }

  /**
   * Keep which connectors a mark means, all of them, so that one of several never passes for the only one.
   * @param {string} mark @param {any[]} lines
   */
  async saveMark(mark, lines) {
    const made = { mark, lines, connectors: lines.map((each) => each.id) };
    await this.database.run(["marks"], "readwrite", ({ marks }) => asked(marks.put(made)));
  }

  /** The connectors that a mark meant when it was last looked up. @param {string} mark @returns {Promise<any[]>} */
  async linesOfMark(mark) {
    return (await this.read("marks", (marks) => marks.get(mark)))?.lines ?? [];
  }

  /** The marks by which a connector has been found here. @param {string} connector @returns {Promise<string[]>} */
  async marksOf(connector) {
    return /** @type {string[]} */ (await this.read("marks", (marks) => marks.index("connectors").getAllKeys(connector)));
  }

  /** A value that was kept; null if there is none. @param {string} name @returns {Promise<any>} */
  async setting(name) {
    return (await this.read("settings", (settings) => settings.get(name))) ?? null;
  }

  /** Keep a value by a name. @param {string} name @param {any} value */
  async saveSetting(name, value) {
    await this.database.run(["settings"], "readwrite", ({ settings }) => asked(settings.put(value, name)));
  }

  /** The shop's lists as last fetched, or null. @returns {Promise<{lists: any, fetched_at: string} | null>} */
  async lists() {
    return this.setting("lists");
  }

  /** Keep the shop's lists, to know its tools while the service is away. @param {any} lists */
  async saveLists(lists) {
    await this.saveSetting("lists", { lists, fetched_at: this.clock().toISOString() });
  }

  /**
   * Take the right to send for a while, where the browser has no locks between tabs. It runs out by itself, so that a
   * tab that died holds up nobody for long. Takes it anew if `holder` has it.
   * @param {string} holder @param {number} length_ms @returns {Promise<boolean>} false if another tab has it
   */
  async takeLease(holder, length_ms) {
    const now_ms = this.clock().getTime();
    return this.database.run(["counters"], "readwrite", async ({ counters }) => {
      const held = await asked(counters.get("lease"));
      // An end further off than any lease is long was written before the clock was set back.
      const live = held && held.until_ms > now_ms && held.until_ms <= now_ms + held.length_ms;
      if (live && held.holder !== holder) return false;
      await asked(counters.put({ holder, length_ms, until_ms: now_ms + length_ms }, "lease"));
      return true;
    });
  }

  /** Give the right to send back. @param {string} holder */
  async leaveLease(holder) {
    await this.database.run(["counters"], "readwrite", async ({ counters }) => {
      if ((await asked(counters.get("lease")))?.holder === holder) await asked(counters.delete("lease"));
    });
  }

  /**
   * @template T
   * @param {string} name @param {(store: IDBObjectStore) => IDBRequest<T>} ask @returns {Promise<T>}
   */
  read(name, ask) {
    return this.database.run([name], "readonly", (stores) => asked(ask(stores[name])));
  }
}

/** @param {IDBDatabase} database @param {number} from */
function upgrade(database, from) {
  if (from < 1) {
    const entries = database.createObjectStore(ENTRIES, { keyPath: "place", autoIncrement: true });
    entries.createIndex("id", "id", { unique: true });
    entries.createIndex("status", ["status", "place"]);
    entries.createIndex("performed_by", ["performed_by", "place"]);
    for (const each of ["act", "connector", ACKNOWLEDGED]) entries.createIndex(each, each);
    database.createObjectStore("snapshots", { keyPath: "connector" });
    database.createObjectStore("marks", { keyPath: "mark" }).createIndex("connectors", "connectors", { multiEntry: true });
    database.createObjectStore("settings");
    database.createObjectStore("counters");
  }
}

/** An entry that could never be told apart from another would stop all that wait behind it. @param {any} entry */
function sendable(entry) {
  if (!UUID.test(entry?.id)) throw new TypeError(`An entry's id is a UUID in small letters, not ${JSON.stringify(entry?.id)}.`);
  for (const each of ["connector", "kind", "performed_by", "performed_at"]) {
    if (typeof entry[each] !== "string" || !entry[each]) throw new TypeError(`An entry says its ${each}.`);
  }
}

/** @param {any} entry @param {string} act @param {string} kept_at */
function row(entry, act, kept_at) {
  const { id, connector, performed_by } = entry;
  return {
    id, act, connector, performed_by, entry: JSON.parse(JSON.stringify(entry)), kept_at, status: "unsent",
    settled_at: null, acknowledged: null, discrepancies: [], problem: null,
  };
}

/** The same content in the same words, whatever the order of its fields. @param {any} value @returns {string} */
function canonical(value) {
  return JSON.stringify(value, (_, each) =>
    each && typeof each === "object" && !Array.isArray(each)
      ? Object.fromEntries(Object.entries(each).sort(([one], [two]) => (one < two ? -1 : 1))) : each);
}

/** @param {any} found @returns {Kept} */
function kept({ place, entry, kept_at, status, discrepancies, problem }) {
  return { place, entry, kept_at, status, discrepancies, problem };
}

/** @param {any} found @returns {Cached} */
function cached({ snapshot, fetched_at, acknowledged }) {
  return { snapshot, fetched_at, acknowledged };
}

/** @param {any} found @param {number} acknowledged */
function missing(found, acknowledged) {
  return found.status === "unsent" || found.status === "refused" || found.acknowledged > acknowledged;
}

/** Whether what is kept was taken after what comes now. Both signs must agree: a service's clock may be set back, and a
 *  service that was restored from a backup has fewer entries. @param {any} known @param {any} now */
function overtaken(known, now) {
  return Date.parse(known.as_of) > Date.parse(now.as_of) && known.entries > now.entries;
}

/** @param {Status} status */
const standing = (status) => within(status);

/** Every key of two parts that begins so. @param {string} first */
function within(first) {
  return IDBKeyRange.bound([first], [first, []]);
}

/** @param {IDBObjectStore} counters @returns {Promise<number>} */
async function counted(counters) {
  return (await asked(counters.get(ACKNOWLEDGED))) ?? 0;
}
