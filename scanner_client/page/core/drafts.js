// @ts-check
// Entries from what somebody says was done. Ids and times come in; nothing here decides whether it was right.

/** @typedef {{at_ms: number, ids: string[]}} Moment a point in time and fresh ids, which a pure talk can't make itself */
/** @typedef {{badge: string, work_order: string | null, bench: string | null}} Shift */
/** @typedef {{action: "insert" | "remove" | "replace", cavity: string, tool?: string, contact?: string}} Step */

/** The half cycles that a step leaves behind, in order. @type {Record<string, string[]>} */
export const HALVES = { insert: ["insertion"], remove: ["removal"], replace: ["removal", "insertion"] };

/** An RFC 3339 time with microseconds: entries of one act stand a microsecond apart, so that their order stays told.
 * @param {number} at_ms @param {number} earlier_us @returns {string} */
export function instant(at_ms, earlier_us = 0) {
  const whole_us = Math.floor(at_ms) * 1000 - earlier_us;
  const at = new Date(Math.floor(whole_us / 1000)).toISOString();
  const rest_us = ((whole_us % 1000) + 1000) % 1000;
  return `${at.slice(0, -1)}${String(rest_us).padStart(3, "0")}Z`;
}

/** One entry; fields that say nothing are left out.
 * @param {string} connector @param {Shift} shift @param {string} kind @param {Record<string, unknown>} fields
 * @param {Moment} moment @param {number} [place] @param {number} [count] @returns {any} */
export function entry(connector, shift, kind, fields, moment, place = 0, count = 1) {
  const told = {
    id: moment.ids[place],
    connector,
    kind,
    performed_at: instant(moment.at_ms, count - 1 - place),
    performed_by: shift.badge,
    work_order: shift.work_order,
    bench: shift.bench,
    ...fields,
  };
  return Object.fromEntries(Object.entries(told).filter(([, value]) => value !== undefined && value !== null && value !== ""));
}

/** The entries of steps that were done, in their order.
 * @param {string} connector @param {Shift} shift @param {Step[]} steps @param {Moment} moment
 * @param {{note?: string, tool_looked_at?: boolean}} [about] @returns {any[]} */
export function ofSteps(connector, shift, steps, moment, about = {}) {
  const halves = steps.flatMap((step) => HALVES[step.action].map((kind) => ({ step, kind })));
  return halves.map(({ step, kind }, place) => {
    const contact = kind === "insertion" ? step.contact : undefined;
    const looked = step.tool && about.tool_looked_at ? true : undefined;
    const fields = { cavity: step.cavity, tool: step.tool, contact, note: about.note, tool_looked_at: looked };
    return entry(connector, shift, kind, fields, moment, place, halves.length);
  });
}

/** What takes entries back: one correction each, with the reason. The entries stay in the ledger.
 * @param {any[]} made @param {Shift} shift @param {string} reason @param {Moment} moment @returns {any[]} */
export function corrections(made, shift, reason, moment) {
  return made.map((each, place) =>
    entry(each.connector, shift, "correction", { corrects: each.id, note: reason }, moment, place, made.length));
}

/** A time-ordered UUID (RFC 9562, version 7) from a time and 10 random bytes. @param {number} at_ms @param {Uint8Array} random */
export function uuid7(at_ms, random) {
  const bytes = new Uint8Array(16);
  bytes.set(random.subarray(0, 10), 6);
  let left = Math.floor(at_ms);
  for (let place = 5; place >= 0; place -= 1) { bytes[place] = left % 256; left = Math.floor(left / 256); }
  bytes[6] = (bytes[6] & 15) | 112;
  bytes[8] = (bytes[8] & 63) | 128;
  const hex = [...bytes].map((each) => each.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}
