// @ts-check
// Unique item identity: the UII that the elements of a mark make up (MIL-STD-130N w/Change 1, Table A-II and TEIs).
// Twin of service/core/identity.py, without its GS1 part.

/**
 * @typedef {import("./envelope.js").Element} Element
 * @typedef {import("./envelope.js").Envelope} Envelope
 * @typedef {import("./envelope.js").Fault} Fault
 * @typedef {"construct_1" | "construct_2" | "complete" | "equivalent"} Construct
 *   How an identity is made: unique in the enterprise, in a part or lot, given whole, or as an equivalent.
 * @typedef {{uii: string, construct: Construct, used: string[], cage: string | null, part_number: string | null,
 *   lot: string | null, serial: string | null}} Identity
 *   A UII with the elements that it is made of. The UII is a key: it can't be split again into its elements.
 * @typedef {{identity: Identity | null, deviations: string[], faults: Fault[]}} Reading
 * @typedef {{agency: string, form: RegExp, name: string}} Enterprise
 *   A kind of enterprise identifier: the agency code that its UII begins with, its form, its name in a sentence.
 * @typedef {{whole: Map<string, Construct>, cageSerials: string[], enterprises: Map<string, Enterprise>,
 *   enterpriseSerials: string[], parts: string[], lots: string[], partSerials: string[]}} Dialect
 *   Which qualifiers of a format play which part in a UII.
 * @typedef {{dialect: Dialect, elements: Element[]}} Understood
 */

import { halved } from "./envelope.js";

/** Characters, agency code included (public pages quoting MIL-STD-130N; 130M allowed 78). */
export const LONGEST_UII = 50;

const LEGAL = /^[A-Z0-9/-]+$/;
const CAGE = /^[0-9A-HJ-NP-Z]{5}$/;

/** @type {Enterprise} */
const BY_CAGE = { agency: "D", form: CAGE, name: "CAGE code" };
/** @type {Enterprise} */
const BY_DUNS = { agency: "UN", form: /^[0-9]{9,13}$/, name: "DUNS number" };
/** @type {Enterprise} */
const BY_GS1 = { agency: "", form: /^[0-9]{4,12}$/, name: "GS1 company prefix" };
/** @type {Enterprise} */
const BY_DODAAC = { agency: "LD", form: /^[0-9A-HJ-NP-Z]{6}$/, name: "DoDAAC" };
/** @type {Enterprise} */
const BY_AGENCY = { agency: "", form: /^(?:D[0-9A-HJ-NP-Z]{5}|(?!D)[A-Z0-9]{2,})$/, name: "agency code with enterprise" };

const SELF_DELIMITING = "37S";
const SELF_DELIMITED = /^(?:D[0-9A-HJ-NP-Z]{5}[A-Z0-9/-]+|(?!D)[A-Z0-9/-]{3,})[+][A-Z0-9/-]+$/;
const FROM_MEMORY = new Set(["USN", "UST", "BII"]);

/** MIL-STD-130N Table A-II; 37S from the list of ANSI MH10.8.2. @type {Dialect} */
const DATA = {
  whole: new Map([["25S", "complete"], [SELF_DELIMITING, "construct_2"], ["I", "equivalent"], ["22S", "equivalent"]]),
  cageSerials: ["18S"],
  enterprises: new Map([["17V", BY_CAGE], ["12V", BY_DUNS], ["3V", BY_GS1], ["7L", BY_DODAAC], ["18V", BY_AGENCY]]),
  enterpriseSerials: [],
  parts: ["1P"],
  lots: ["1T"],
  partSerials: ["S"],
};
/** A table on a trade page that quotes MIL-STD-130N; USN, UST and BII from memory. @type {Dialect} */
const TEXT = {
  whole: new Map([["UID", "complete"]]),
  cageSerials: ["USN", "UST"],
  enterprises: new Map([["CAG", BY_CAGE], ["MFR", BY_CAGE], ["SPL", BY_CAGE], ["DUN", BY_DUNS], ["EUC", BY_GS1]]),
  enterpriseSerials: ["SER", "UCN"],
  parts: ["PNO"],
  lots: ["LOT", "BII"],
  partSerials: ["SEQ"],
};
/** @type {Map<string, Dialect>} */
const DIALECTS = new Map([["06", DATA], ["12", TEXT], ["DD", TEXT]]);

/** Whether a text has the form of a CAGE or NCAGE code: five capitals or digits, never I or O (GS1 TDT files).
 * @param {string} text @returns {boolean} */
export function isCage(text) {
  return CAGE.test(text);
}

/** Whether a text keeps to the alphabet and the length of a UII. That says nothing about who issued it.
 * @param {string} text @returns {boolean} */
export function isUii(text) {
  return text.length <= LONGEST_UII && LEGAL.test(text);
}

/** The UII of a serial that is unique in its enterprise, or null where the elements are not legal ones.
 * @param {string} cage @param {string} serial @returns {string | null} */
export function construct1(cage, serial) {
  return joined(cage, [serial]);
}

/** The UII of a serial that is unique in its original part number, or null where the elements are not legal ones.
 * @param {string} cage @param {string} partNumber @param {string} serial @returns {string | null} */
export function construct2(cage, partNumber, serial) {
  return joined(cage, [partNumber, serial]);
}

/** @param {string} cage @param {string[]} parts */
function joined(cage, parts) {
  const uii = `D${cage}${parts.join("")}`;
  return isCage(cage) && parts.every((each) => each !== "") && isUii(uii) ? uii : null;
}

/** The identity of a mark. Elements of several envelopes are never mixed, and nothing ambiguous gives an identity.
 * One element that is a whole UII is always the UII, whatever else is in the symbol (MIL-STD-130N Change 1).
 * @param {Envelope[]} envelopes @returns {Reading} */
export function read(envelopes) {
  const understood = envelopes.flatMap(({ format, elements }) => {
    const dialect = DIALECTS.get(format);
    return dialect ? [{ dialect, elements }] : [];
  });
  const repeated = understood.flatMap(duplicates);
  if (repeated.length) return { identity: null, deviations: [], faults: repeated };
  const given = understood.flatMap(whole);
  const candidates = distinct(given.length ? given : understood.flatMap(made));
  if (candidates.length > 1) {
    const text = "The mark gives more than one identity: find out which of them is the connector's.";
    return { identity: null, deviations: [], faults: [{ code: "ambiguous_identity", text }] };
  }
  if (!candidates.length) return { identity: null, deviations: [], faults: [missing(understood)] };
  const [identity] = candidates;
  const faults = identityFaults(identity, understood);
  return { identity: faults.length ? null : identity, deviations: deviations(identity, understood), faults };
}

/** Identities that differ in what they are made of; of equal ones the last.
 * @param {Identity[]} found @returns {Identity[]} */
function distinct(found) {
  return [...new Map(found.map((each) => [JSON.stringify([each.uii, each.cage, each.part_number, each.lot, each.serial]), each])).values()];
}

/** @param {Element[]} elements @returns {Map<string, string>} */
function values(elements) {
  return new Map(elements.map((each) => [each.qualifier, each.value]));
}

/** @param {Dialect} dialect @returns {string[]} */
function serials(dialect) {
  return [...dialect.cageSerials, ...dialect.enterpriseSerials, ...dialect.partSerials];
}

/** @param {Understood} found @returns {Fault[]} */
function duplicates({ dialect, elements }) {
  const known = new Set([...dialect.whole.keys(), ...dialect.enterprises.keys(), ...dialect.parts, ...dialect.lots, ...serials(dialect)]);
  const qualifiers = elements.map((each) => each.qualifier);
  return [...new Set(qualifiers)]
    .filter((each) => known.has(each) && qualifiers.indexOf(each) !== qualifiers.lastIndexOf(each))
    .map((each) => ({ code: "duplicate_qualifier", text: `The element ${each} stands in the mark more than once.` }));
}

/** @param {Understood} found @returns {Identity[]} */
function whole({ dialect, elements }) {
  return elements.flatMap(({ qualifier, value }) => {
    const construct = dialect.whole.get(qualifier);
    if (construct === undefined) return [];
    return [qualifier === SELF_DELIMITING ? selfDelimiting(value) : identityOf(value, construct, [qualifier])];
  });
}

/** @param {string} uii @param {Construct} construct @param {string[]} used @param {Partial<Identity>} [parts] @returns {Identity} */
function identityOf(uii, construct, used, parts = {}) {
  return { uii, construct, used, cage: null, part_number: null, lot: null, serial: null, ...parts };
}

/** The UII of construct 2, with the serial apart; the part number too where the enterprise has a CAGE code.
 * @param {string} value */
function selfDelimiting(value) {
  const at = value.indexOf("+");
  const [start, serial] = at < 0 ? [value, ""] : [value.slice(0, at), value.slice(at + 1)];
  const [agencyAndCage, partNumber] = halved(start, 6);
  const parts = start.startsWith("D") ? { cage: agencyAndCage.slice(1), part_number: partNumber } : {};
  return identityOf(start + serial, "construct_2", [SELF_DELIMITING], { ...parts, serial });
}

/** @param {Understood} found @returns {Identity[]} */
function made({ dialect, elements }) {
  const held = values(elements);
  const found = [];
  for (const qualifier of dialect.cageSerials) {
    const value = held.get(qualifier);
    if (value === undefined) continue;
    const [cage, serial] = halved(value, 5);
    found.push(identityOf(`D${cage}${serial}`, "construct_1", [qualifier], { cage, serial }));
  }
  for (const [qualifier, kind] of dialect.enterprises) {
    const value = held.get(qualifier);
    if (value !== undefined) found.push(...ofEnterprise(dialect, held, qualifier, kind.agency + value, kind));
  }
  return found;
}

/** @param {Dialect} dialect @param {Map<string, string>} held @param {string} qualifier @param {string} start @param {Enterprise} kind */
function ofEnterprise(dialect, held, qualifier, start, kind) {
  const byCage = kind.agency === "D" || (kind === BY_AGENCY && start.startsWith("D"));
  const cage = byCage ? start.slice(1) : null;
  const found = [];
  for (const number of dialect.enterpriseSerials) {
    const serial = held.get(number);
    if (serial !== undefined) found.push(identityOf(start + serial, "construct_1", [qualifier, number], { cage, serial }));
  }
  for (const within of [...dialect.parts, ...dialect.lots]) {
    for (const number of dialect.partSerials) {
      const [group, serial] = [held.get(within), held.get(number)];
      if (group === undefined || serial === undefined) continue;
      const inside = dialect.parts.includes(within) ? { part_number: group } : { lot: group };
      found.push(identityOf(start + group + serial, "construct_2", [qualifier, within, number], { cage, serial, ...inside }));
    }
  }
  return found;
}

/** @param {Identity} identity @param {Understood[]} understood @returns {Fault[]} */
function identityFaults(identity, understood) {
  const faults = understood.flatMap(({ dialect, elements }) =>
    [...values(elements)].flatMap(([qualifier, value]) =>
      identity.used.includes(qualifier) ? elementFaults(dialect, qualifier, value) : []));
  const length = [...identity.uii].length;
  if (length > LONGEST_UII) {
    faults.push({ code: "too_long", text: `The identity has ${length} characters; ${LONGEST_UII} are allowed.` });
  }
  return faults;
}

/** @param {Dialect} dialect @param {string} qualifier @param {string} value @returns {Fault[]} */
function elementFaults(dialect, qualifier, value) {
  if (qualifier === SELF_DELIMITING) {
    const text = "The element 37S is not an agency code with enterprise, a part number, one plus sign and a serial.";
    return SELF_DELIMITED.test(value) ? [] : [{ code: "bad_enterprise", text }];
  }
  if (!LEGAL.test(value)) {
    const text = `The element ${qualifier} holds something other than capitals, digits, hyphen and slash.`;
    return [{ code: "illegal_character", text }];
  }
  const kind = dialect.enterprises.get(qualifier);
  if (kind) {
    const text = `${value} in the element ${qualifier} is not a ${kind.name}.`;
    return kind.form.test(value) ? [] : [{ code: "bad_enterprise", text }];
  }
  const byCage = dialect.cageSerials.includes(qualifier);
  if (!byCage && !(dialect.whole.get(qualifier) === "complete" && value.startsWith("D"))) return [];
  // D is the agency code of CAGE codes alone, so five legal characters and a serial have to follow it.
  const rest = byCage ? value : value.slice(1);
  const text = `The element ${qualifier} does not hold a CAGE code and a serial.`;
  return isCage(rest.slice(0, 5)) && rest.length > 5 ? [] : [{ code: "bad_enterprise", text }];
}

/** @param {Identity} identity @param {Understood[]} understood @returns {string[]} */
function deviations(identity, understood) {
  const second = understood.some(({ dialect, elements }) =>
    elements.some(({ qualifier }) => serials(dialect).includes(qualifier) && !identity.used.includes(qualifier)));
  const remembered = identity.used.some((each) => FROM_MEMORY.has(each));
  return [...(second ? ["second_serial"] : []), ...(remembered ? ["qualifier_from_memory"] : [])];
}

/** @param {Understood[]} understood @returns {Fault} */
function missing(understood) {
  /** @param {(dialect: Dialect) => string[]} which */
  const present = (which) => understood.some(({ dialect, elements }) => elements.some((each) => which(dialect).includes(each.qualifier)));
  if (present(serials) && !present((dialect) => [...dialect.enterprises.keys()])) {
    return { code: "no_enterprise", text: "The mark has a serial but does not say whose it is." };
  }
  if (present((dialect) => dialect.partSerials)) {
    const text = "The serial of this mark is unique only together with a part or lot number, and the mark has neither.";
    return { code: "serial_without_part", text };
  }
  return { code: "no_identity", text: "The mark has no elements that identify one item." };
}
