// @ts-check
// What is believed of what was seen. A matrix symbol corrects its own errors and is believed at once; a bar code has
// no error correction and is believed when looks at different parts of it agree and nothing contradicts. Pure.
// `believed` is the twin of the function in scanner_client/ladder.py; `watch` adds that a camera shows things again, so
// that bar codes need two frames, and so do symbols that were drawn anew: a camera that is left on has many tries.

/** @typedef {"lines" | "upper" | "lower" | "whole" | "drawn"} Part which pixels of a bar code a look goes by; what shares pixels shares their faults */
/** @typedef {{look: string, part: Part, bytes: Uint8Array, symbology: string | null, box: number[], corners: number[][] | null}} Sight */
/** @typedef {{frame: number, at_ms: number, sight: Sight}} Witness */
/** @typedef {{frame: number, at_ms: number}} Moment */
/** @typedef {{frame: number, witnesses: Map<string, Witness[]>, shown: Map<string, Moment>}} Memory `shown`: when each told symbol was last in sight */

const LINEAR_FAMILIES = ["]C", "]A"];
const AGREEING_PARTS = 2;
const AGREEING_LOOKS = 3;
const AGREEING_FRAMES = 2;
/** A bar code must be confirmed within this time. */
const PATIENCE_MS = 3000;
/** A symbol has left when it was not seen for so long, and for so many frames: each rung has had its turn then. */
const GONE_MS = 1500;
const GONE_FRAMES = 20;

/** A camera that has shown nothing yet. @returns {Memory} */
export const blank = () => ({ frame: 0, witnesses: new Map(), shown: new Map() });

/** Whether it is a bar code, which has no error correction (AIM families of ISO/IEC 15424). @param {{symbology: string | null}} sight */
export const linear = ({ symbology }) => LINEAR_FAMILIES.includes((symbology ?? "").slice(0, 2));

/** Two sights with one key are one reading: the same bytes in the same symbology. @param {Sight} sight */
export const key = ({ bytes, symbology }) => `${symbology} ${Array.from(bytes, (each) => each.toString(16).padStart(2, "0")).join("")}`;

/** The readings of one picture that are sure, in the order seen. @param {Sight[]} sights @returns {Sight[]} */
export function believed(sights) {
  const groups = [...grouped(sights).values()];
  return groups.filter(({ first, agreeing }) => !linear(first) || confirmed(agreeing)).map(({ first }) => first);
}

/** The readings of one picture that are not sure (yet). @param {Sight[]} sights @returns {Sight[]} */
export function doubted(sights) {
  return [...grouped(sights).values()].filter(({ first, agreeing }) => linear(first) && !confirmed(agreeing)).map(({ first }) => first);
}

/**
 * Whether no further look is worth its time: what is in doubt is not known to be another symbol than what is sure.
 * To go on until every doubtful reading has found another like it would be to look for agreement in errors.
 * @param {Sight[]} sights
 */
export function settled(sights) {
  const sure = new Set(believed(sights).map(key));
  const unsure = new Set(doubted(sights).map(key));
  if (!sure.size || !unsure.size) return sure.size > 0;
  const certain = sights.filter((each) => sure.has(key(each)));
  if (!certain.some(linear)) return false;
  return !sights.some((each) => unsure.has(key(each)) && certain.some((other) => beside(each, other)));
}

/**
 * One more frame of a camera: what it shows, and which symbols are new and sure.
 * A bar code needs as much agreement as in one picture, from two frames or more; a frame that shows another bar code in
 * its place, and not it, begins it anew.
 * @param {Memory} memory @param {Sight[]} sights @param {number} at_ms @returns {[Memory, Sight[]]}
 */
export function watch(memory, sights, at_ms) {
  const frame = memory.frame + 1;
  const groups = grouped(sights);
  const witnesses = kept(memory.witnesses, groups, at_ms);
  for (const [name, { first, agreeing }] of groups) {
    if (needsMore(agreeing, first)) witnesses.set(name, [...(witnesses.get(name) ?? []), ...agreeing.map((sight) => ({ frame, at_ms, sight }))]);
  }
  const shown = new Map([...memory.shown].filter(([, last]) => at_ms - last.at_ms < GONE_MS || frame - last.frame < GONE_FRAMES));
  const told = [];
  for (const [name, { first, agreeing }] of groups) {
    const sure = !needsMore(agreeing, first) || repeated(witnesses.get(name) ?? []);
    if (sure && !shown.has(name)) told.push(first);
    if (sure || shown.has(name)) shown.set(name, { frame, at_ms });
  }
  return [{ frame, witnesses, shown }, told];
}

/** @param {Map<string, Witness[]>} witnesses @param {Map<string, unknown>} groups @param {number} at_ms @returns {Map<string, Witness[]>} */
function kept(witnesses, groups, at_ms) {
  const bars = [...groups.keys()].some((each) => linear({ symbology: each.split(" ")[0] }));
  const still = [...witnesses].filter(([name]) => !bars || groups.has(name) || !linear({ symbology: name.split(" ")[0] }));
  return new Map(still.map(([name, all]) => [name, all.filter((each) => at_ms - each.at_ms < PATIENCE_MS)]));
}

/** Whether one frame is not enough. @param {Sight[]} agreeing @param {Sight} first */
const needsMore = (agreeing, first) => linear(first) || agreeing.every((each) => each.part === "drawn");

/** @param {Witness[]} witnesses */
function repeated(witnesses) {
  const sights = witnesses.map((each) => each.sight);
  return new Set(witnesses.map((each) => each.frame)).size >= AGREEING_FRAMES && (!linear(sights[0]) || confirmed(sights));
}

/** Each reading with the sights that have a say in it. @param {Sight[]} sights */
function grouped(sights) {
  /** @type {Map<string, {first: Sight, agreeing: Sight[]}>} */
  const groups = new Map();
  for (const each of sights) {
    const group = groups.get(key(each)) ?? { first: each, agreeing: [] };
    if (!sights.some((other) => contradict(each, other))) group.agreeing.push(each);
    if (!group.first.corners && each.corners) group.first = each;
    groups.set(key(each), group);
  }
  return groups;
}

/** @param {Sight[]} agreeing */
function confirmed(agreeing) {
  const parts = new Set(agreeing.map((each) => each.part));
  return parts.size >= AGREEING_PARTS || new Set(agreeing.map((each) => each.look)).size >= AGREEING_LOOKS;
}

/** Whether one look read the same bars in two ways. @param {Sight} one @param {Sight} other */
function contradict(one, other) {
  const both = one.look === other.look && linear(one) && linear(other);
  return both && key(one) !== key(other) && !beside(one, other);
}

/** Whether one look saw them in two places. @param {Sight} one @param {Sight} other */
function beside(one, other) {
  const [left, top, right, bottom] = one.box;
  const apart = right < other.box[0] || other.box[2] < left || bottom < other.box[1] || other.box[3] < top;
  return one.look === other.look && apart;
}
