// @ts-check
// Which tool goes in from which face, for a family of connectors and a contact size.

/** @typedef {"remove" | "insert"} Half */
/** @typedef {{part_number: string, contact_size: string, half: Half, end: string, status: string, source: string}} Tool */
/** @typedef {{contact_size: string, force_n: number, force_lbf: number, verified: boolean, status: string, source: string}} Pull */
/** @typedef {{release: "rear" | "front", release_status: string, tools: Tool[], pulls: Pull[]}} Tooling */

/** The tools that serve this half for this size.
 * @param {Tooling} tooling @param {Half} half @param {string} contactSize @returns {Tool[]} */
export function serving(tooling, half, contactSize) {
  return tooling.tools.filter((each) => each.half === half && each.contact_size === contactSize);
}

/** The light pull for this size, where one is known.
 * @param {Tooling} tooling @param {string} contactSize @returns {Pull | null} */
export function pull(tooling, contactSize) {
  return tooling.pulls.find((each) => each.contact_size === contactSize) ?? null;
}

/** Where the tool goes in: contacts always enter from the wire side; a front release is worked from the mating face.
 * @param {Tooling["release"]} release @param {Half} half @returns {"wire_side" | "mating_face"} */
export function toolFace(release, half) {
  return half === "remove" && release === "front" ? "mating_face" : "wire_side";
}
