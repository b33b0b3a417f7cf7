// @ts-check
// Sending what waits: oldest first, in batches, until nothing waits or the service is away. Nothing is ever dropped.

import { AwayError, DeniedError, GarbledError, MOST_AT_ONCE, RejectedError, leavesAlone } from "./link.js";

/**
 * @typedef {import("./store.js").Store} Store
 * @typedef {import("./store.js").Kept} Kept
 * @typedef {import("./link.js").Link} Link
 * @typedef {{recorded: number, already_recorded: number, parked: number, refused: number, results: any[],
 *   stopped: string | null, denied: boolean}} Sent
 *   What one round did. `stopped`: why it ended early; what it did not reach stays unsent.
 */

/** A whole request that is answered so holds something unacceptable; any other refusal is about bench or address. */
const ABOUT_CONTENT = new Set([400, 413, 422]);
/** Parked entries that are asked after at once: somebody waits meanwhile. */
export const MOST_ASKED = 50;
/** @type {Record<string, "sent" | "parked" | "refused">} */
const STATUS = { recorded: "sent", already_recorded: "sent", parked: "parked", refused: "refused" };

/** Another tab sends just now, so that this one must not. */
export class OccupiedError extends Error {
  constructor() {
    super("Another tab of this page is sending just now.");
    this.name = "OccupiedError";
  }
}

/**
 * Send what waits. Only one tab sends from an outbox at a time.
 * @param {Store} box @param {Link} link @param {() => Date} clock @param {number} [most] @returns {Promise<Sent>}
 */
export async function send(box, link, clock, most = MOST_AT_ONCE) {
  /** @type {Sent} */
  const done = { recorded: 0, already_recorded: 0, parked: 0, refused: 0, results: [], stopped: null, denied: false };
  try {
    await alone(box, link.longest_ms, async (goOn) => {
      for (;;) {
        await goOn();
        const waiting = await box.ofStatus("unsent", most);
        if (!waiting.length) return;
        await batch(box, link, clock, waiting, goOn, done);
      }
    });
  } catch (error) {
    if (![AwayError, DeniedError, GarbledError, RejectedError, OccupiedError].some((each) => error instanceof each)) throw error;
    done.stopped = /** @type {Error} */ (error).message;
    done.denied = error instanceof DeniedError;
  }
  return done;
}

/**
 * Ask what became of parked entries, oldest first, and write down which were assigned. Where the service can't be asked
 * they stay parked, and so does one that it does not know.
 * @param {Store} box @param {Link} link @param {{entry: any}[]} parked @returns {Promise<boolean>} whether any was assigned
 */
export async function askAfter(box, link, parked) {
  const joined = [];
  for (const { entry } of parked.slice(0, MOST_ASKED)) {
    try {
      const { id, connector } = await link.entry(entry.id);
      if (connector !== null) joined.push({ id, connector });
    } catch (error) {
      if (leavesAlone(error)) break;
      if (!(error instanceof RejectedError)) throw error;
    }
  }
  if (joined.length) await box.join(joined);
  return joined.length > 0;
}

/**
 * Send a batch and write down its outcomes; halve one that is refused as a whole until the culprit stands alone.
 * @param {Store} box @param {Link} link @param {() => Date} clock @param {Kept[]} waiting @param {() => Promise<void>} goOn @param {Sent} done
 * @returns {Promise<void>}
 */
async function batch(box, link, clock, waiting, goOn, done) {
  await goOn();
  let results;
  try {
    results = await link.entries(waiting.map((each) => each.entry), clock().toISOString());
  } catch (error) {
    if (!(error instanceof RejectedError) || !ABOUT_CONTENT.has(error.problem.status)) throw error;
    if (waiting.length > 1) {
      const middle = Math.floor(waiting.length / 2);
      await batch(box, link, clock, waiting.slice(0, middle), goOn, done);
      await batch(box, link, clock, waiting.slice(middle), goOn, done);
      return;
    }
    results = [{ id: waiting[0].entry.id, outcome: "refused", discrepancies: [], cavity: null, problem: error.problem }];
  }
  await box.settle(results.map(settled));
  for (const each of results) {
    done[/** @type {"recorded"} */ (each.outcome)] += 1;
    done.results.push(each);
  }
}

/** @param {any} result @returns {import("./store.js").Settled} */
function settled({ id, outcome, discrepancies, problem }) {
  return { id, status: STATUS[outcome], discrepancies: discrepancies ?? [], problem: problem ?? null };
}

/**
 * Hold the right to send, which one tab has at a time. A tab that dies gives it back: at once where the browser has
 * locks between tabs, else when its lease runs out.
 * @param {Store} box @param {number} longest_ms of one call @param {(goOn: () => Promise<void>) => Promise<void>} work
 */
async function alone(box, longest_ms, work) {
  if (navigator.locks) {
    await navigator.locks.request(`${box.database.name}-sending`, { ifAvailable: true }, async (lock) => {
      if (lock === null) throw new OccupiedError();
      await work(async () => undefined);
    });
    return;
  }
  const holder = Array.from(crypto.getRandomValues(new Uint32Array(4))).join("-");
  const goOn = async () => { if (!(await box.takeLease(holder, longest_ms + 5000))) throw new OccupiedError(); };
  try {
    await work(goOn);
  } finally {
    await box.leaveLease(holder);
  }
}
