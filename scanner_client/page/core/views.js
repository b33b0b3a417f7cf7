// @ts-check
// The wire's shapes from the rule's values, for a bench that answers by itself.

import * as cycles from "./cycles.js";
import { SENTENCES } from "./discrepancies.js";
import * as plans from "./plans.js";
import * as states from "./states.js";

/** @typedef {import("./snapshots.js").Definition} Definition */
/** @typedef {import("./snapshots.js").House} House */
/** @typedef {import("./snapshots.js").Rating} Rating */
/** @typedef {import("./snapshots.js").Snapshot} Snapshot */
/** @typedef {import("./states.js").ConnectorState} ConnectorState */
/** @typedef {import("./states.js").CavityState} CavityState */
/** @typedef {{code: string, answer: import("./answers.js").Answer, text: string}} ReasonView */
/** @typedef {{action: string, cavity: string, contact_size: string, answer: import("./answers.js").Answer, reasons: ReasonView[],
 *   cycle: number, left_after: number | null, wear_after: cycles.Wear, ways: import("./ways.js").Way[]}} StepView */
/** @typedef {{kind: string, text: string, status: string, source: string}} CautionView */
/** @typedef {{answer: import("./answers.js").Answer, steps: StepView[], work: object[], limiting: object | null,
 *   rating: object | null, cautions: CautionView[], notice: string}} PlanView */

export const DECIDES =
  "Tinebook supports the work; the approved maintenance data, the local rules and the licensed person decide.";

/** A rating with its provenance and the cycle from which it warns.
 * @param {Rating | null} value @param {number | null} connectorFraction @param {House} house */
export function rating(value, connectorFraction, house) {
  if (!value) return null;
  const { document, revision, paragraph, verified_by, verified_on } = value;
  return {
    value: value.value, unit: "cycles", basis: value.basis, document, revision, paragraph, verified_by, verified_on,
    // Never by a name alone, nor by a document that nobody looked into.
    verified: document !== null && verified_by !== null && verified_on !== null,
    first_insertion_counts: value.first_insertion_counts,
    nearing_from: cycles.limits(value, connectorFraction, house).nearing_from,
  };
}

/** One connector with every cavity, as the service shows it. Its chain is the service's alone.
 * @param {Snapshot} snapshot @param {ConnectorState} state */
export function connector(snapshot, state) {
  const { definition, house } = snapshot;
  const { connector: id, serial, cage, part_number, family, history, cavity_ids } = definition;
  const { matings, unmatings, mated, retired } = state.whole;
  const figures = cycles.limits(definition.rating, definition.nearing_fraction, house);
  const shown = rating(definition.rating, definition.nearing_fraction, house);
  const sizes = new Map(definition.cavities.map((each) => [each.id, each.contact_size]));
  return {
    id, serial, cage, part_number, family, history, cavity_ids, rating: shown, ...limits(state, figures), retired,
    // A snapshot of one that has left is closed as that of a retired one is: it says no more.
    handed_over: false,
    place: place(state),
    mating: { matings, unmatings, mated, rating: rating(definition.mating_rating, null, house) },
    cavities: state.cavities.map((each) => cavity(each, sizes.get(each.id) ?? "", figures, shown)),
    discrepancies: discrepancies(state),
    entries: snapshot.entries,
    chain_hash: "",
    notice: DECIDES,
  };
}

/** One connector in a list.
 * @param {Snapshot} snapshot @param {ConnectorState} state */
export function line(snapshot, state) {
  const { connector: id, serial, cage, part_number, family, rating: rated, nearing_fraction: fraction } = snapshot.definition;
  const figures = cycles.limits(rated, fraction, snapshot.house);
  return { id, serial, cage, part_number, family, ...limits(state, figures), place: place(state) };
}

/** A plan answered.
 * @param {Snapshot} snapshot @param {plans.Plan} made @param {CautionView[]} cautions @returns {PlanView} */
export function plan({ definition, house }, made, cautions) {
  return {
    answer: made.answer,
    steps: made.steps.map(step),
    work: made.work.map(handling),
    limiting: limiting(made.limiting),
    rating: rating(definition.rating, definition.nearing_fraction, house),
    cautions,
    notice: DECIDES,
  };
}

/** One cavity as it stands.
 * @param {CavityState} state @param {string} size @param {cycles.Limits} figures @param {object | null} shown its rating */
function cavity(state, size, figures, shown) {
  const stands = plans.standing(state, figures);
  const { id, occupied, life, insertions, removals, tine_entries, seating_tests, held, contact } = state;
  return {
    id, contact_size: size, occupied, cycles_begun: stands.begun, cycles_completed: stands.completed, rating: shown,
    wear: stands.wear, left: stands.left, life, history_known: state.known, insertions, removals, tine_entries, seating_tests,
    held, contact, blocked: states.blocked(state), discrepancies: state.discrepancies.map((each) => each.code),
  };
}

/** @param {ConnectorState} state @param {cycles.Limits} figures */
function limits(state, figures) {
  const worst = plans.limiting(state.cavities, figures);
  if (!worst) return { wear: "unknown", limiting_cavity: null, left: null };
  return { wear: worst.standing.wear, limiting_cavity: worst.cavity, left: worst.standing.left };
}

/** @param {ConnectorState} state */
function place({ whole: { asset, zone, position } }) {
  return { asset, zone, position };
}

/** @param {ConnectorState} state */
function discrepancies(state) {
  const shown = (/** @type {states.Discrepancy[]} */ list, /** @type {string | null} */ name) =>
    list.map(({ entry, code }) => ({ entry, code, text: SENTENCES[code] ?? code, cavity: name }));
  return [...shown(state.whole.discrepancies, null), ...state.cavities.flatMap((each) => shown(each.discrepancies, each.id))];
}

/** @param {plans.JudgedStep} each @returns {StepView} */
function step({ step: { action, cavity: name, size }, judged, after, ways }) {
  return {
    action, cavity: name, contact_size: size, answer: judged.answer, reasons: judged.reasons, cycle: judged.standing.next,
    left_after: after.left, wear_after: after.wear, ways,
  };
}

/** @param {plans.Handling} each */
function handling(each) {
  const { half, cavity: name, contact_size, tool_face, contact_face, seating_pull: pull } = each;
  return {
    half, cavity: name, contact_size, tool_face, contact_face,
    tools: each.tools.map(({ part_number, end, status, source }) => ({ part_number, end, status, source })),
    seating_pull: pull && {
      force_n: pull.force_n, force_lbf: pull.force_lbf, verified: pull.verified, status: pull.status, source: pull.source,
    },
  };
}

/** @param {plans.Limiting | null} each */
function limiting(each) {
  if (!each) return null;
  return { cavity: each.cavity, wear: each.standing.wear, cycles_begun: each.standing.begun, left: each.standing.left };
}
