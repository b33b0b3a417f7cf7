// @ts-check
// What a value must look like to be understood. Whatever does not fit is named, so that an answer on it is never a plain go.

import * as instants from "./instants.js";

/** @typedef {(value: unknown) => boolean} Check */
/** @typedef {Record<string, Check>} Shape */

const UUID = /^[0-9a-f]{8}-?[0-9a-f]{4}-?[0-9a-f]{4}-?[0-9a-f]{4}-?[0-9a-f]{12}$/i;

/** @type {Check} */ export const string = (value) => typeof value === "string";
/** @type {Check} */ export const truth = (value) => typeof value === "boolean";
/** @type {Check} */ export const number = (value) => typeof value === "number" && Number.isFinite(value);
/** @type {Check} */ export const count = (value) => Number.isSafeInteger(value) && Number(value) >= 0;
/** @type {Check} */ export const positive = (value) => count(value) && Number(value) > 0;
/** @type {Check} */ export const fraction = (value) => number(value) && Number(value) > 0 && Number(value) <= 1;
/** @type {Check} */ export const uuid = (value) => typeof value === "string" && UUID.test(value);
/** @type {Check} */ export const instant = (value) => instants.micros(value) !== null;
/** @type {Check} */ export const anything = () => true;

/** @param {Check} check @returns {Check} the same, or nothing at all */
export const optional = (check) => (value) => value === undefined || value === null || check(value);

/** @param {Iterable<string>} words @returns {Check} */
export const oneOf = (words) => {
  const known = new Set(words);
  return (value) => typeof value === "string" && known.has(value);
};

/** @param {Check} check @returns {Check} */
export const listOf = (check) => (value) => Array.isArray(value) && value.every(check);

/** @param {...Check} checks @returns {Check} an array of exactly these, in order */
export const tuple = (...checks) => (value) =>
  Array.isArray(value) && value.length === checks.length && checks.every((check, place) => check(value[place]));

/** The fields of an object that are not understood: of another type than is known, missing, or not known at all.
 * @param {unknown} value @param {Shape} shape @param {string} name what the object is called in the words that come back
 * @returns {string[]} */
export function doubts(value, shape, name) {
  if (typeof value !== "object" || value === null || Array.isArray(value)) return [name];
  const given = /** @type {Record<string, unknown>} */ (value);
  const strange = Object.keys(given).filter((each) => !Object.prototype.hasOwnProperty.call(shape, each));
  const misfit = Object.keys(shape).filter((each) => !shape[each](given[each]));
  return [...strange, ...misfit].map((each) => `${name}.${each}`);
}

/** A UUID in its one written form, which sorts as the service sorts it.
 * @param {string} text @returns {string} */
export function canonical(text) {
  const hex = text.replace(/-/g, "").toLowerCase();
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}
