// @ts-check
// Plans: ordered steps judged one after the other, each on the state that the ones before it leave.

import * as answers from "./answers.js";
import * as cavity from "./cavity.js";
import * as cycles from "./cycles.js";
import * as entries from "./entries.js";
import * as tooling from "./tooling.js";
import * as ways from "./ways.js";

/** @typedef {import("./snapshots.js").Definition} Definition */
/** @typedef {import("./states.js").CavityState} CavityState */
/** One thing somebody is about to do; `size` is that of the cavity's contact, `brought` what is known of tool and contact.
 * @typedef {{action: answers.Action, cavity: string, size: string, brought: answers.Brought}} Step */
/** @typedef {{step: Step, judged: answers.Judged, after: cycles.Standing, ways: ways.Way[]}} JudgedStep */
/** One half cycle of the work: what, where, from which face, with which tools; after an insertion, the pull to test it.
 * @typedef {{half: tooling.Half, cavity: string, contact_size: string, tool_face: string | null, contact_face: string,
 *   tools: tooling.Tool[], seating_pull: tooling.Pull | null}} Handling */
/** @typedef {{cavity: string, standing: cycles.Standing}} Limiting */
/** @typedef {{answer: answers.Answer, steps: JudgedStep[], work: Handling[], limiting: Limiting | null}} Plan */

const EARLIEST = "1950-01-01T00:00:00Z";
const NOBODY = "00000000-0000-0000-0000-000000000000";

/** The kinds of entry that a step leaves behind, in order. @type {Readonly<Record<answers.Action, string[]>>} */
export const KINDS = Object.freeze({ insert: ["insertion"], remove: ["removal"], replace: ["removal", "insertion"] });
/** @type {Readonly<Record<string, tooling.Half>>} */
const HALVES = { removal: "remove", insertion: "insert" };

/** Judge the steps in order. A step that is no_go is still followed through, as the facts would be if it were done.
 * @param {Definition} definition @param {import("./snapshots.js").House} house @param {import("./states.js").ConnectorState} state
 * @param {readonly Step[]} steps @param {tooling.Tooling | null} tools
 * @param {ReadonlySet<string>} [awaited] cavities that accepted entries may be about which are in no ledger yet @returns {Plan} */
export function plan(definition, house, state, steps, tools, awaited = new Set()) {
  const figures = cycles.limits(definition.rating, definition.nearing_fraction, house);
  const present = new Map(state.cavities.map((each) => [each.id, { ...each }]));
  const byRules = cavity.rules(definition);
  // A cavity that any step is about is not free for another one.
  const named = new Set(steps.map((each) => each.cavity));
  const judged = steps.map((step) => {
    const met = present.get(step.cavity);
    if (!met) throw new RangeError(`no cavity ${step.cavity} in this state`);
    const verdict = answers.judge(definition, house, state.whole, met, step.action, step.brought, awaited.has(step.cavity));
    const now = { ...state, cavities: [...present.values()] };
    const shut = verdict.answer === "no_go";
    const found = shut ? ways.out(definition, house, now, step.cavity, step.action, named, awaited) : [];
    for (const kind of KINDS[step.action]) cavity.apply(met, supposed(kind, step.cavity), byRules);
    return { step, judged: verdict, after: standing(met, figures), ways: found };
  });
  return {
    answer: answers.worst(judged.map((each) => each.judged.answer)),
    steps: judged,
    work: steps.flatMap((step) => handlings(step, tools)),
    limiting: limiting([...present.values()], figures),
  };
}

/** The connector's count is that of its limiting cavity: the worst wear, then the most cycles, then the insert's order.
 * @param {readonly CavityState[]} cavities @param {cycles.Limits} figures @returns {Limiting | null} */
export function limiting(cavities, figures) {
  const standings = cavities.map((each) => standing(each, figures));
  const worst = cycles.mostPressing(standings);
  return worst === null ? null : { cavity: cavities[worst].id, standing: standings[worst] };
}

/** Where the retainer of a cavity stands.
 * @param {CavityState} state @param {cycles.Limits} figures @returns {cycles.Standing} */
export function standing(state, figures) {
  return cycles.standing(state, state.occupied, state.known, figures);
}

/** @param {string} kind @param {string} name @returns {entries.Recorded} */
function supposed(kind, name) {
  const entry = entries.read({ id: NOBODY, connector: "-", kind, performed_at: EARLIEST, performed_by: "-", cavity: name });
  return { entry, at: 0n, ordered_at: EARLIEST };
}

/** @param {Step} step @param {tooling.Tooling | null} tools @returns {Handling[]} */
function handlings(step, tools) {
  return KINDS[step.action].map((kind) => HALVES[kind]).map((half) => ({
    half,
    cavity: step.cavity,
    contact_size: step.size,
    tool_face: tools ? tooling.toolFace(tools.release, half) : null,
    contact_face: "wire_side",
    tools: tools ? tooling.serving(tools, half, step.size) : [],
    seating_pull: tools && half === "insert" ? tooling.pull(tools, step.size) : null,
  }));
}
