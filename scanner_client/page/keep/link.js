// @ts-check
// The HTTP calls to the service: patience, and what each failure means. Whether the device says that it is online is not
// asked: that stays true while the service is down.

/**
 * @typedef {{attempts: number, first_wait_ms: number, longest_wait_ms: number, first_rest_ms: number,
 *   longest_rest_ms: number, answer_ms: number, question_ms: number}} Patience
 * @typedef {{fetch: typeof fetch, monotonic: () => number, sleep: (ms: number) => Promise<unknown>, chance: () => number,
 *   now: () => number}} Means
 * @typedef {{bytes: Uint8Array, symbology: string | null, text: string}} Reading
 * @typedef {{query?: Record<string, string>, body?: any, shape?: (read: any) => boolean, question?: boolean}} What
 *   `question`: somebody stands there and waits, so it is given up sooner than what is sent by itself.
 */

/** Entries in one request: small enough that a slow line gets it through within the time allowed. */
export const MOST_AT_ONCE = 100;
export const MOST_ANSWER_BYTES = 16_000_000;

const BUSY = new Set([429, 500, 502, 503, 504]);
const DENIED = new Set([401, 403]);
const OUTCOMES = new Set(["recorded", "already_recorded", "parked", "refused"]);
const UUID = /^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$/;
const ANSWERS = new Set(["go", "warn", "no_go"]);

/** @type {Patience} */
export const PATIENCE = {
  attempts: 2, first_wait_ms: 300, longest_wait_ms: 2000, first_rest_ms: 2000, longest_rest_ms: 60_000, answer_ms: 10_000, question_ms: 4000,
};

/** What the link takes from the world; tests give their own. @type {Means} */
export const WORLD = {
  fetch: (...told) => fetch(...told),
  monotonic: () => performance.now(),
  sleep: (ms) => new Promise((resolve) => { setTimeout(resolve, ms); }),
  chance: Math.random,
  now: Date.now,
};

/** The service can't be reached or is too busy. Everything that waits, waits on. */
export class AwayError extends Error {
  /** @param {string} text */
  constructor(text) {
    super(text);
    this.name = "AwayError";
  }
}

/** The service does not accept this bench's token. Everything that waits, waits on. */
export class DeniedError extends Error {
  constructor() {
    super("The service does not accept this bench's token: it is missing, has expired or was withdrawn. Nothing is lost: what waits here is sent once a valid token is entered.");
    this.name = "DeniedError";
  }
}

/** The service understood the request and says no; `problem` says why. */
export class RejectedError extends Error {
  /** @param {any} problem */
  constructor(problem) {
    super(problem.detail || problem.title);
    this.name = "RejectedError";
    this.problem = problem;
  }
}

/** The answer is not one of this API: a portal's page, or another version. */
export class GarbledError extends Error {
  /** @param {string} text */
  constructor(text) {
    super(text);
    this.name = "GarbledError";
  }
}

/** Whether an error says that the service could not be asked, so that the bench goes on by itself. @param {unknown} error */
export function leavesAlone(error) {
  return error instanceof AwayError || error instanceof DeniedError || error instanceof GarbledError;
}

/**
 * The way to the service. After a failure it rests, so that a bench without network answers at once.
 * @param {{token: string | null | (() => string | null), answer_ms?: number, patience?: Partial<Patience>, means?: Partial<Means>}} told
 */
export function makeLink({ token, answer_ms, patience, means }) {
  return new Link(token, { ...PATIENCE, ...patience, ...(answer_ms === undefined ? {} : { answer_ms }) }, { ...WORLD, ...means });
}

export class Link {
  /** Made by `makeLink`. @param {string | null | (() => string | null)} token @param {Patience} patience @param {Means} means */
  constructor(token, patience, means) {
    this.token = token;
    this.patience = patience;
    this.means = means;
    this.rest_ms = patience.first_rest_ms;
    this.resting_until = 0;
  }

  /** Whether the service was away just now, so that it is not asked again yet. */
  get resting() {
    return this.means.monotonic() < this.resting_until;
  }

  /** How long to wait until it may be asked again. */
  get rests_ms() {
    return Math.max(0, this.resting_until - this.means.monotonic());
  }

  /** The longest that one call can take. */
  get longest_ms() {
    return this.patience.attempts * (this.patience.answer_ms + this.patience.longest_wait_ms);
  }

  /** Ask the service at the next call, rest or not: somebody said so, or the device has a network again. */
  wake() {
    this.resting_until = 0;
  }

  /** Whether the service says that it is ready. */
  async ready() {
    return ["ready", "up"].includes((await this.ask("GET", "/health/ready", { shape: (read) => typeof read.status === "string" })).status);
  }

  /** The connectors that a mark means. A scan goes with its symbology, which decides how it is read. @param {Reading} reading @returns {Promise<any[]>} */
  async find(reading) {
    if (reading.symbology !== null) return (await this.scan(reading)).connectors;
    return (await this.ask("GET", "/v1/connectors", { query: { mark: reading.text }, shape: listing("connectors"), question: true })).connectors;
  }

  /** What a scan means and what it matches. @param {Reading} reading @returns {Promise<any>} */
  scan(reading) {
    const body = { bytes_base64: base64(reading.bytes), ...(reading.symbology === null ? {} : { symbology: reading.symbology }) };
    return this.ask("POST", "/v1/scans", { body, shape: listing("connectors"), question: true });
  }

  /** A page of connectors by where they are or what order they are worked on. @param {Record<string, string>} query @returns {Promise<any>} */
  connectors(query) {
    return this.ask("GET", "/v1/connectors", { query, shape: listing("connectors") });
  }

  /** One connector with every cavity. @param {string} id @returns {Promise<any>} */
  connector(id) {
    return this.ask("GET", `/v1/connectors/${id}`, { shape: listing("cavities") });
  }

  /** The inputs of the rule for one connector. @param {string} id @returns {Promise<any>} */
  snapshot(id) {
    return this.ask("GET", `/v1/connectors/${id}/state`, { shape: (read) => isSnapshot(read, id), question: true });
  }

  /** The answer to steps. @param {string} id @param {any[]} steps @returns {Promise<any>} */
  plan(id, steps) {
    return this.ask("POST", `/v1/connectors/${id}/plan`, { body: { steps }, shape: (read) => isPlan(read, steps), question: true });
  }

  /** The shop's tools, all of them. @returns {Promise<any[]>} */
  async tools() {
    const found = [];
    let cursor = "";
    do {
      const page = await this.ask("GET", "/v1/tools", { query: cursor ? { cursor } : {}, shape: listing("tools") });
      found.push(...page.tools);
      cursor = page.next;
    } while (cursor);
    return found;
  }

  /**
   * Send facts; a result for each, in order. Sending the same again is safe, since each has its own id.
   * @param {any[]} entries @param {string} sent_at @returns {Promise<any[]>}
   */
  async entries(entries, sent_at) {
    const results = await this.resultsOf(entries, sent_at);
    const listed = results.length === entries.length
      && results.every((each, place) => isResult(each) && (each.id === entries[place].id || (each.id === null && each.outcome === "refused")));
    if (!listed) throw new GarbledError("The service's answer does not list the entries that were sent. They stay here and are sent again.");
    return results.map((each, place) => ({ ...each, id: entries[place].id }));
  }

  /** Where an entry is that the service has accepted; RejectedError if it knows none of this id. @param {string} id @returns {Promise<any>} */
  entry(id) {
    return this.ask("GET", `/v1/entries/${id}`, { shape: (read) => isPlace(read, id), question: true });
  }

  /** @param {any[]} entries @param {string} sent_at @returns {Promise<any[]>} */
  async resultsOf(entries, sent_at) {
    try {
      return (await this.ask("POST", "/v1/entries", { body: { entries, sent_at }, shape: listing("results") })).results;
    } catch (error) {
      if (error instanceof RejectedError && error.problem.results?.length) return error.problem.results;
      throw error;
    }
  }

  /** One request, with everything that can go wrong named. @param {string} method @param {string} path @param {What} [what] @returns {Promise<any>} */
  async ask(method, path, what = {}) {
    if (this.resting) throw new AwayError("The service was away a moment ago; it is tried again shortly.");
    const query = what.query ? `?${new URLSearchParams(what.query)}` : "";
    return understood(await this.answered(method, `${path}${query}`, what.body, what.question ?? false), path, what.shape ?? (() => true));
  }

  /** @param {string} method @param {string} path @param {any} body @param {boolean} question @returns {Promise<{status: number, type: string, text: string}>} */
  async answered(method, path, body, question) {
    let wait = this.patience.first_wait_ms;
    const longest_ms = question ? Math.min(this.patience.question_ms, this.patience.answer_ms) : this.patience.answer_ms;
    for (let attempt = 1; ; attempt += 1) {
      const { answer, why, asked_ms, late } = await this.attempted(method, path, body, longest_ms);
      if (answer) {
        this.rest_ms = this.patience.first_rest_ms;
        this.resting_until = 0;
        return answer;
      }
      const pause = asked_ms ?? wait * (0.5 + this.means.chance());
      if (attempt >= this.patience.attempts || pause > this.patience.longest_wait_ms || (question && late)) {
        this.rest(asked_ms);
        throw new AwayError(why);
      }
      await this.means.sleep(pause);
      wait *= 2;
    }
  }

  /** An answer; or why there is none, and how long the service asked to be left alone. @param {string} method @param {string} path @param {any} body @param {number} longest_ms */
  async attempted(method, path, body, longest_ms) {
    const stop = new AbortController();
    const alarm = setTimeout(() => stop.abort(), longest_ms);
    try {
      const response = await this.means.fetch(path, this.request(method, body, stop.signal));
      const text = await bounded(response, stop);
      if (!BUSY.has(response.status)) {
        return { answer: { status: response.status, type: response.headers.get("Content-Type") ?? "", text }, why: "", asked_ms: null, late: false };
      }
      return { answer: null, why: `The service is busy or in trouble (status ${response.status}).`, asked_ms: this.retryAfter(response), late: false };
    } catch (error) {
      if (error instanceof GarbledError) throw error;
      const late = stop.signal.aborted;
      return { answer: null, why: late ? "The service does not answer in time." : "The service can't be reached.", asked_ms: null, late };
    } finally {
      clearTimeout(alarm);
    }
  }

  /** @param {string} method @param {any} body @param {AbortSignal} signal @returns {RequestInit} */
  request(method, body, signal) {
    const token = typeof this.token === "function" ? this.token() : this.token;
    /** @type {Record<string, string>} */
    const headers = { Accept: "application/json" };
    if (token) headers.Authorization = `Bearer ${token}`;
    if (body !== undefined) headers["Content-Type"] = "application/json";
    // No redirect is followed: a token must not go where nobody sent it.
    return { method, headers, body: body === undefined ? undefined : JSON.stringify(body), signal, cache: "no-store", credentials: "omit", redirect: "error" };
  }

  /** @param {number | null} asked_ms */
  rest(asked_ms) {
    // Without jitter a whole hangar of benches would come back in the same second.
    const rest = this.rest_ms * (0.5 + this.means.chance());
    this.resting_until = this.means.monotonic() + Math.max(rest, asked_ms ?? 0);
    this.rest_ms = Math.min(this.rest_ms * 2, this.patience.longest_rest_ms);
  }

  /** Time to wait by Retry-After, which holds seconds or a date (RFC 9110, 10.2.3). @param {Response} response @returns {number | null} */
  retryAfter(response) {
    const told = response.headers.get("Retry-After") ?? "";
    if (/^[0-9]+$/.test(told)) return Number(told) * 1000;
    const at = told ? Date.parse(told) : NaN;
    return Number.isNaN(at) ? null : Math.max(0, at - this.means.now());
  }
}

/** @param {Response} response @param {AbortController} stop @returns {Promise<string>} */
async function bounded(response, stop) {
  const told = Number(response.headers.get("Content-Length") ?? 0);
  const text = told > MOST_ANSWER_BYTES ? null : await response.text();
  if (text !== null && text.length <= MOST_ANSWER_BYTES) return text;
  stop.abort();
  throw new GarbledError("The service's answer is larger than any that this API gives.");
}

/** @param {{status: number, type: string, text: string}} answer @param {string} path @param {(read: any) => boolean} shape */
function understood({ status, type, text }, path, shape) {
  if (DENIED.has(status)) throw new DeniedError();
  if (status >= 200 && status < 300) return parsed(text, path, shape);
  if (type.startsWith("application/problem+json")) throw new RejectedError(parsed(text, path, isProblem));
  throw new GarbledError(`${path} answered ${status}, and not as the service does. Is there a sign-on page of the network in between?`);
}

/** @param {string} text @param {string} path @param {(read: any) => boolean} shape */
function parsed(text, path, shape) {
  try {
    const read = JSON.parse(text);
    if (read !== null && typeof read === "object" && shape(read)) return read;
  } catch { /* said below */ }
  throw new GarbledError(`${path} answered something that this page can't read. Is there a sign-on page of the network in between, or is this page older than the service?`);
}

/** @param {string} name @returns {(read: any) => boolean} */
const listing = (name) => (read) => Array.isArray(read[name]);

/** @param {any} read */
const isProblem = (read) => typeof read.status === "number" && typeof (read.detail ?? read.title) === "string";

/** @param {any} read */
const isResult = (read) => typeof read === "object" && read !== null && OUTCOMES.has(read.outcome);

/** @param {any} read @param {string} id */
function isPlace(read, id) {
  return read.id === id && (read.connector === null || (read.outcome === "recorded" && UUID.test(read.connector)));
}

/** @param {any} read @param {string} id */
function isSnapshot(read, id) {
  return read.definition?.connector === id && Array.isArray(read.definition.cavities) && read.state !== undefined && typeof read.as_of === "string";
}

/** @param {any} read @param {any[]} steps */
function isPlan(read, steps) {
  return ANSWERS.has(read.answer) && Array.isArray(read.steps) && read.steps.length === steps.length
    && read.steps.every((/** @type {any} */ each, /** @type {number} */ place) => ANSWERS.has(each?.answer) && each.cavity === steps[place].cavity);
}

/** @param {Uint8Array} bytes */
function base64(bytes) {
  return btoa(Array.from(bytes, (each) => String.fromCharCode(each)).join(""));
}
