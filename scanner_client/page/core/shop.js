// @ts-check
// The shop's tools as last fetched: which part number a mark stands for, and until when a tool's check holds.

import * as shapes from "./shapes.js";

/** A line of `GET /v1/tools`. @typedef {{mark: string, part_number: string, due_on: string | null, serves?: any}} ShopTool */

const DAY = /^\d{4}-\d\d-\d\d$/;
/** @type {shapes.Shape} */
const TOOL = {
  mark: shapes.string, part_number: shapes.string, serves: shapes.anything,
  due_on: shapes.optional((value) => typeof value === "string" && DAY.test(value)),
};

/** A tool by its mark. @param {readonly ShopTool[]} tools @param {string | null} mark @returns {ShopTool | null} */
export function tool(tools, mark) {
  return tools.find((each) => each.mark === mark) ?? null;
}

/** Whether a tool of the list was due for a check before a day, given as YYYY-MM-DD.
 * @param {readonly ShopTool[]} tools @param {string | null} mark @param {string} day @returns {boolean} */
export function overdue(tools, mark, day) {
  const due = tool(tools, mark)?.due_on ?? null;
  return due !== null && day > due;
}

/** What is not understood of a tool on the list.
 * @param {readonly ShopTool[]} tools @param {string | null} mark @returns {string[]} */
export function doubts(tools, mark) {
  const found = tool(tools, mark);
  return found ? shapes.doubts(found, TOOL, "tool") : [];
}
