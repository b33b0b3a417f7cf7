// @ts-check
// Shapes for answers and wear: colour is never the only sign.

import { html } from "../vendor/preact_htm.js";

/** @type {Record<string, string>} */
const PATHS = {
  go: "M4 12l6 6L20 6", warn: "M12 2L23 21H1zM12 9v6M12 17v2", no_go: "M4 4l16 16M20 4L4 20", none: "M8 8a4 4 0 1 1 6 3.5c-2 1-2 2-2 3.5M12 19v2",
  within: "M12 4a8 8 0 1 0 .1 0z", nearing: "M12 4a8 8 0 1 0 .1 0zM6 18L18 6", spent: "M4 4h16v16H4zM4 12h16", over: "M4 4l16 16M20 4L4 20",
  unknown: "M8 8a4 4 0 1 1 6 3.5c-2 1-2 2-2 3.5M12 19v2", tick: "M4 12l6 6L20 6",
};

/** @param {{name: string, class?: string}} props */
export function Shape({ name, class: given }) {
  return html`<svg class=${given ?? "shape"} viewBox="0 0 24 24" aria-hidden="true"><path d=${PATHS[name]} fill="none" stroke="currentColor" stroke-width="3" /></svg>`;
}
