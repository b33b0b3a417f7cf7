// @ts-check
// Whether the contact that somebody means to push in goes with the cavity: its size, and pin or socket.

/** A contact made for the connector; `doubt` says what about it is questionable.
 * @typedef {{part_number: string, sex: string, contact_size: string, doubt: string}} Contact */
/** @typedef {{part_number: string, sex: string, contact_size: string}} OtherContact */
/** What an insert holds, the contacts made for it, and the others that are known beyond doubt.
 * @typedef {{sex: string | null, fitting: Contact[], others: OtherContact[]}} Contacts */

/** The part number of a contact in its one spelling: M39029 is the older marking of AS39029.
 * @param {string} stated @returns {string} */
export function number(stated) {
  return stated.replace(/^M39029\//, "AS39029/");
}

/** Whether a contact goes with a cavity of that size. Another size is wrong, and so is the other sex. What no table lists, what
 * is made for other families, and what can't be held against the insert's sex is unknown: neither a row in doubt nor a gap in a
 * table refuses anything.
 * @param {string | null} stated @param {Contacts} known @param {string} contactSize @returns {import("./answers.js").Fit} */
export function fit(stated, known, contactSize) {
  if (stated === null) return "not_stated";
  const name = number(stated);
  const madeFor = known.fitting.find((each) => each.part_number === name);
  if (madeFor && madeFor.contact_size === contactSize) return known.sex === null ? "unknown" : "fits";
  if (madeFor) return madeFor.doubt ? "unknown" : "wrong";
  const other = known.others.find((each) => each.part_number === name);
  if (!other) return "unknown";
  const otherHalf = known.sex !== null && other.sex !== known.sex;
  return otherHalf || other.contact_size !== contactSize ? "wrong" : "unknown";
}
