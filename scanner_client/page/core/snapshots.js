// @ts-check
// What a bench keeps of a connector to go on answering while the service is away, as `GET /v1/connectors/{id}/state` gives it.
// The service leaves out what is as usual; here every field is there.

import * as shapes from "./shapes.js";
import * as states from "./states.js";

/** @typedef {{value: number, basis: string, document: string | null, revision: string | null, paragraph: string | null,
 *   verified_by: string | null, verified_on: string | null, first_insertion_counts: boolean,
 *   nearing_fraction: number | null}} Rating */
/** @typedef {{id: string, contact_size: string}} CavityDefinition */
/** @typedef {{connector: string, serial: string, cavities: CavityDefinition[], history: string, cage: string | null,
 *   part_number: string | null, family: string | null, cavity_ids: string, rating: Rating | null, mating_rating: Rating | null,
 *   populated: boolean | null, nearing_fraction: number | null}} Definition */
/** @typedef {{unknown: string, nearing_fraction: number}} House */
/** A caution with the actions that it goes with.
 * @typedef {{kind: string, text: string, status: string, source: string, actions: string[]}} Caution */
/** `doubts` names what of it is not understood here: while there is any, no answer is a plain go.
 * @typedef {{definition: Definition, state: states.ConnectorState, house: House, tooling: import("./tooling.js").Tooling | null,
 *   contacts: import("./contacts.js").Contacts, cautions: Caution[], entries: number, as_of: string, doubts: string[]}} Snapshot */

const TEXT = shapes.optional(shapes.string);
const FRACTION = shapes.optional(shapes.fraction);

/** @type {shapes.Shape} */
const SNAPSHOT = {
  definition: shapes.anything, state: shapes.anything, house: shapes.anything, tooling: shapes.anything,
  entries: shapes.count, as_of: shapes.instant, drawing: shapes.anything, contacts: shapes.optional(shapes.listOf(shapes.anything)),
  cautions: shapes.optional(shapes.listOf(shapes.anything)), other_contacts: shapes.optional(shapes.listOf(shapes.anything)),
};
const SEX = shapes.oneOf(["pin", "socket"]);
/** Of a drawing the rule needs one thing alone; how it is drawn may change. @type {shapes.Shape} */
const INSERT = { sex: shapes.optional(SEX) };
/** @type {shapes.Shape} */
const OTHER_CONTACT = { part_number: shapes.string, sex: SEX, contact_size: shapes.string };
/** @type {shapes.Shape} */
const CONTACT = { ...OTHER_CONTACT, wire_awg: TEXT, doubt: shapes.string, status: shapes.string, source: shapes.string };
/** @type {shapes.Shape} */
const DEFINITION = {
  connector: shapes.uuid, serial: shapes.string, cavities: shapes.listOf(shapes.anything),
  history: shapes.oneOf(["new", "unknown"]),
  cage: TEXT, part_number: TEXT, family: TEXT, cavity_ids: TEXT, rating: shapes.anything, mating_rating: shapes.anything,
  populated: shapes.optional(shapes.truth), nearing_fraction: FRACTION,
};
/** @type {shapes.Shape} */
const CAVITY = { id: shapes.string, contact_size: shapes.string };
/** @type {shapes.Shape} */
const RATING = {
  value: shapes.positive, basis: shapes.oneOf(["mandatory", "recommended", "house"]),
  document: TEXT, revision: TEXT, paragraph: TEXT,
  verified_by: TEXT, verified_on: TEXT, first_insertion_counts: shapes.optional(shapes.truth), nearing_fraction: FRACTION,
};
/** @type {shapes.Shape} */
const HOUSE = { unknown: shapes.optional(shapes.oneOf(["warn", "no_go"])), nearing_fraction: FRACTION };
/** @type {shapes.Shape} */
const TOOLING = {
  release: shapes.oneOf(["rear", "front"]), release_status: shapes.string, tools: shapes.listOf(shapes.anything),
  pulls: shapes.optional(shapes.listOf(shapes.anything)),
};
/** @type {shapes.Shape} */
const TOOL = {
  part_number: shapes.string, contact_size: shapes.string, half: shapes.oneOf(["remove", "insert"]), end: shapes.string,
  status: shapes.string, source: shapes.string,
};
/** @type {shapes.Shape} */
const PULL = {
  contact_size: shapes.string, force_n: shapes.number, force_lbf: shapes.number, verified: shapes.truth, status: shapes.string,
  source: shapes.string,
};

/** Read a snapshot with all that is left out in it. StateError where its state can't be read.
 * @param {any} json @returns {Snapshot} */
export function read(json) {
  if (!Array.isArray(json?.definition?.cavities)) {
    throw new states.StateError("What is kept of this connector can't be read. Fetch it anew.");
  }
  const state = states.decode(json.state);
  const definition = readDefinition(json.definition);
  return {
    definition,
    state,
    house: { unknown: "warn", ...said(json.house), nearing_fraction: json.house?.nearing_fraction ?? 0.8 },
    tooling: json.tooling ? { ...json.tooling, tools: json.tooling.tools ?? [], pulls: json.tooling.pulls ?? [] } : null,
    contacts: { sex: json.drawing?.sex ?? null, fitting: json.contacts ?? [], others: json.other_contacts ?? [] },
    cautions: json.cautions ?? [],
    entries: json.entries,
    as_of: json.as_of,
    doubts: [...doubts(json), ...state.doubts, ...mismatch(definition, state)],
  };
}

/** @param {any} json @returns {Definition} */
function readDefinition(json) {
  return {
    cage: null, part_number: null, family: null, cavity_ids: "given", populated: null, nearing_fraction: null,
    ...said(json),
    rating: rating(json.rating),
    mating_rating: rating(json.mating_rating),
  };
}

/** @param {any} json @returns {Rating | null} */
function rating(json) {
  if (!json) return null;
  return {
    document: null, revision: null, paragraph: null, verified_by: null, verified_on: null, first_insertion_counts: true,
    nearing_fraction: null, ...said(json),
  };
}

/** The fields in which something is said. @param {any} json @returns {any} */
function said(json) {
  return Object.fromEntries(Object.entries(json ?? {}).filter(([, value]) => value !== null && value !== undefined));
}

/** @param {any} json @returns {string[]} */
function doubts(json) {
  const { definition, tooling } = json;
  const ratings = [definition.rating, definition.mating_rating].filter((each) => each !== null && each !== undefined);
  return [
    ...shapes.doubts(json, SNAPSHOT, "snapshot"),
    ...shapes.doubts(definition, DEFINITION, "definition"),
    ...each(definition.cavities, CAVITY, "definition.cavity"),
    ...each(ratings, RATING, "rating"),
    ...shapes.doubts(json.house, HOUSE, "house"),
    ...(tooling ? shapes.doubts(tooling, TOOLING, "tooling") : []),
    ...each(tooling?.tools, TOOL, "tool"),
    ...each(tooling?.pulls, PULL, "pull"),
    ...shapes.doubts({ sex: json.drawing?.sex }, INSERT, "drawing"),
    ...each(json.contacts, CONTACT, "contact"),
    ...each(json.other_contacts, OTHER_CONTACT, "other_contact"),
  ];
}

/** @param {any} list @param {shapes.Shape} shape @param {string} name @returns {string[]} */
function each(list, shape, name) {
  const found = Array.isArray(list) ? list.flatMap((one) => shapes.doubts(one, shape, name)) : [];
  return [...new Set(found)];
}

/** The cavities of the state are those of the definition, in its order.
 * @param {Definition} definition @param {states.ConnectorState} state */
function mismatch({ cavities }, state) {
  const same = cavities.length === state.cavities.length && cavities.every((one, place) => one.id === state.cavities[place].id);
  return same ? [] : ["state.cavities"];
}
