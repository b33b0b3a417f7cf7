// @ts-check
// The browser's own database: opened once, one strict transaction for each act, and every way in which it can fail said
// in words for the person who stands in front of it. What it has taken is on disk when the promise resolves.

/**
 * @typedef {"absent" | "private" | "full" | "newer" | "blocked" | "damaged"} Fault
 * @typedef {{[store: string]: IDBObjectStore}} Stores
 * @typedef {(database: IDBDatabase, from: number, transaction: IDBTransaction) => void} Upgrade
 */

/** How long another tab may hold up an upgrade before the person is told. */
const LONGEST_WAIT_MS = 8000;

const NOT_KEPT = "What is on the screen is NOT kept here yet: leave it open, or write it on paper.";

/** @type {Record<Fault, string>} */
const WORDS = {
  absent: `This browser keeps nothing (it has no IndexedDB). ${NOT_KEPT} Use another browser.`,
  private: `This browser does not let the page keep anything, as in a private window. ${NOT_KEPT} Open the page in an ordinary window.`,
  full: `This device has no room left. ${NOT_KEPT} Free some room, then press it again; clear nothing of this page, since entries in it may not have been sent.`,
  newer: `Another tab runs a newer version of this page. ${NOT_KEPT} Reload this tab.`,
  blocked: `Another tab holds what this page keeps. ${NOT_KEPT} Close the other tabs of this page, then reload this one.`,
  damaged: `What this page keeps can't be opened. ${NOT_KEPT} It is left as it is, since entries in it may not have been sent: clear nothing, restart the browser, and tell the system owner if that does not help.`,
};

/** Nothing can be kept, or read; `code` says which case it is, the text what to do. */
export class UnusableError extends Error {
  /** @param {Fault} code @param {unknown} [cause] */
  constructor(code, cause) {
    super(WORDS[code]);
    this.name = "UnusableError";
    this.code = code;
    this.cause = cause;
  }
}

/** An open database that opens itself again when the browser has closed it. */
export class Database {
  /** @param {string} name @param {number} version @param {Upgrade} upgrade @param {(code: Fault) => void} [onStranded] */
  constructor(name, version, upgrade, onStranded) {
    this.name = name;
    this.version = version;
    this.upgrade = upgrade;
    /** Told once when a newer version of the page has taken over in another tab. */
    this.onStranded = onStranded ?? (() => undefined);
    /** @type {Promise<IDBDatabase> | null} */
    this.opening = null;
    this.stranded = false;
  }

  /** The open connection. UnusableError if there is none to be had. @returns {Promise<IDBDatabase>} */
  opened() {
    if (this.stranded) return Promise.reject(new UnusableError("newer"));
    if (this.opening === null) {
      const opening = opened(this.name, this.version, this.upgrade).then((database) => this.watched(database));
      this.opening = opening;
      // One that failed is tried again: the other tab may be closed by then.
      opening.catch(() => { if (this.opening === opening) this.opening = null; });
    }
    return this.opening;
  }

  /** @param {IDBDatabase} database */
  watched(database) {
    database.onversionchange = () => {
      // Another tab brings a newer version (or clears everything): holding on would block it.
      database.close();
      this.stranded = true;
      this.onStranded("newer");
    };
    database.onclose = () => { this.opening = null; };
    return database;
  }

  /**
   * Carry out `work` in one transaction: all of it is on disk when this resolves, or none of it.
   * `work` may await only what `asked` gives, since a transaction ends when nothing is asked of it.
   * @template T
   * @param {string[]} names @param {IDBTransactionMode} mode @param {(stores: Stores) => Promise<T>} work @returns {Promise<T>}
   */
  async run(names, mode, work) {
    const transaction = await this.begun(names, mode);
    const ended = finished(transaction);
    ended.catch(() => undefined);
    try {
      const result = await work(Object.fromEntries(names.map((name) => [name, transaction.objectStore(name)])));
      await ended;
      return result;
    } catch (error) {
      quietly(() => transaction.abort());
      await ended.catch(() => undefined);
      // A request that failed for lack of room may say less than its transaction does.
      throw explained(transaction.error ?? error, error);
    }
  }

  /** @param {string[]} names @param {IDBTransactionMode} mode @returns {Promise<IDBTransaction>} */
  async begun(names, mode) {
    const database = await this.opened();
    try {
      return began(database, names, mode);
    } catch (error) {
      if (named(error) !== "InvalidStateError") throw explained(error);
    }
    // The browser closes connections of its own accord, for instance when a tablet has slept.
    this.opening = null;
    const again = await this.opened();
    try {
      return began(again, names, mode);
    } catch (error) {
      throw explained(error);
    }
  }

  /** Let go of the database. */
  async close() {
    const opening = this.opening;
    this.opening = null;
    if (opening) (await opening).close();
  }
}

/**
 * What a request gives.
 * @template T
 * @param {IDBRequest<T>} request @returns {Promise<T>}
 */
export function asked(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

/**
 * Ask the browser not to clear what is kept when room gets short. `persisted` is null where it can't say.
 * @returns {Promise<{persisted: boolean | null, used_bytes: number | null, most_bytes: number | null}>}
 */
export async function askToStay() {
  const { storage } = navigator;
  const persisted = storage?.persist ? await storage.persist().catch(() => null) : null;
  const room = storage?.estimate ? await storage.estimate().catch(() => null) : null;
  return { persisted, used_bytes: room?.usage ?? null, most_bytes: room?.quota ?? null };
}

/** @param {IDBDatabase} database @param {string[]} names @param {IDBTransactionMode} mode */
function began(database, names, mode) {
  // Strict: flushed to the disk, not merely handed to the system. Browsers that don't know it ignore it.
  return database.transaction(names, mode, { durability: "strict" });
}

/** @param {string} name @param {number} version @param {Upgrade} upgrade @returns {Promise<IDBDatabase>} */
function opened(name, version, upgrade) {
  return new Promise((resolve, reject) => {
    let given = false;
    const late = setTimeout(() => { given = true; reject(new UnusableError("blocked")); }, LONGEST_WAIT_MS);
    /** @type {IDBOpenDBRequest} */
    let request;
    try {
      request = indexedDB.open(name, version);
    } catch (error) {
      clearTimeout(late);
      reject(new UnusableError(typeof indexedDB === "undefined" ? "absent" : "private", error));
      return;
    }
    request.onupgradeneeded = (event) => upgrade(request.result, event.oldVersion, /** @type {IDBTransaction} */ (request.transaction));
    request.onsuccess = () => {
      clearTimeout(late);
      if (given) request.result.close();
      else resolve(request.result);
    };
    request.onerror = () => {
      clearTimeout(late);
      reject(explained(request.error));
    };
  });
}

/** @param {IDBTransaction} transaction @returns {Promise<void>} */
function finished(transaction) {
  return new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve();
    transaction.onabort = () => reject(transaction.error);
    transaction.onerror = (event) => event.stopPropagation();
  });
}

/** The browser's error in words; an error of our own stays what it is. @param {unknown} error @param {unknown} [first] */
function explained(error, first = error) {
  if (!(error instanceof DOMException) && first instanceof Error && !(first instanceof DOMException)) return first;
  switch (named(error)) {
    case "QuotaExceededError": return new UnusableError("full", error);
    case "VersionError": return new UnusableError("newer", error);
    case "SecurityError": return new UnusableError("private", error);
    case "InvalidStateError": return new UnusableError("private", error);
    default: return error instanceof DOMException ? new UnusableError("damaged", error) : first;
  }
}

/** @param {unknown} error */
function named(error) {
  return error instanceof Error ? error.name : "";
}

/** @param {() => void} act */
function quietly(act) {
  // A transaction that has ended by itself can't be aborted any more, and need not be.
  try { act(); } catch { /* ended */ }
}
