// @ts-check
// The insert as one face shows it: each cavity with its id, its wear as colour, pattern and number, and what is chosen.
// True places where the shop imported them; else a scheme, which says so.

import { html, useRef, useState } from "../vendor/preact_htm.js";
import * as guide from "../core/guide.js";
import * as words from "./words.js";

const RADIUS = 100;
const REACH = 112;
/** Smallest first: circles show the order of the sizes, not their dimensions. */
const SIZES = [["23", "22D", "22M", "22"], ["20"], ["16"], ["12"], ["10"], ["8"], ["4"], ["0"]];
const STEP = 0.84;
const CLOSEST = 8;
/** A finger in a glove covers this much of the screen, in CSS pixels. */
const FINGER = 22;

/** Where a place of the pin insert's mating face is seen on this face: mated faces mirror each other, and so does each rear.
 * @param {number[]} place @param {string | null} sex @param {string} face */
export function seen([x, y], sex, face) {
  return (sex === "socket") === (face === "mating_face") ? [-x, y] : [x, y];
}

/** @param {string} size */
function rank(size) {
  const plain = size.split(" ", 1)[0];
  return Math.max(SIZES.findIndex((each) => each.includes(plain)), 0);
}

/** Every cavity with its place and radius in the drawing. @param {any} view @param {any} drawing @param {string} face */
function laid(view, drawing, face) {
  const ranks = view.cavities.map((/** @type {any} */ each) => rank(each.contact_size));
  const most = Math.max(...ranks, 0);
  return view.cavities.map((/** @type {any} */ cavity, /** @type {number} */ at) => {
    const [x, y] = seen(drawing.places[at], drawing.sex, face);
    const radius = Math.min(drawing.pitch * RADIUS * 0.47, 24) * STEP ** Math.min(most - ranks[at], 3);
    return { cavity, x: x * RADIUS, y: -y * RADIUS, radius };
  });
}

/** @param {any} cavity */
function named(cavity) {
  const count = `${cavity.cycles_begun}${cavity.rating ? ` of ${cavity.rating.value}` : " cycles"}`;
  return `Cavity ${words.spoken(cavity.id)}, size ${cavity.contact_size}, ${count}, ${words.held(cavity.occupied)}, ${cavity.wear}${cavity.blocked ? ", blocked" : ""}`;
}

/** @param {{view: any, drawing: any, face: string, chosen: string[], onTap?: (id: string) => void, marked?: string | null}} props */
export function Insert({ view, drawing, face, chosen, onTap, marked = null }) {
  const box = useRef(/** @type {any} */ (null));
  const [sight, setSight] = useState({ times: 1, x: 0, y: 0 });
  const [focus, setFocus] = useState(0);
  const pointers = useRef(/** @type {Map<number, {x: number, y: number}>} */ (new Map()));
  const moved = useRef(false);
  const holes = laid(view, drawing, face);
  const ids = view.cavities.map((/** @type {any} */ each) => each.id);
  const width = (2 * REACH) / sight.times;
  const pixels = (box.current?.clientWidth || 320) / width;
  const look = (/** @type {number} */ times, /** @type {number} */ x, /** @type {number} */ y) => setSight(kept(times, x, y));

  /** The first touch of a crowd brings it near, the second one chooses. @param {any} hole @param {Event} event */
  const tap = (hole, event) => {
    if (moved.current || !onTap) return;
    const byHand = /** @type {MouseEvent} */ (event).detail > 0;
    if (byHand && hole.radius * pixels < FINGER && sight.times < CLOSEST) look((sight.times * FINGER * 1.3) / (hole.radius * pixels), hole.x, hole.y);
    else onTap(hole.cavity.id);
  };
  const keys = (/** @type {KeyboardEvent} */ event) => {
    const all = [...box.current.querySelectorAll("[role=checkbox]")];
    const at = all.indexOf(event.target);
    if (at < 0) return;
    const by = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
    if (by) {
      event.preventDefault();
      const to = (at + by + holes.length) % holes.length;
      setFocus(to);
      all[to].focus();
    } else if (event.key === " " || event.key === "Enter") {
      event.preventDefault();
      onTap?.(ids[at]);
    }
  };
  const handlers = hands(pointers, moved, sight, setSight, box);
  return html`<figure class="insert">
    <figcaption><strong>${words.FACES[face]}</strong> <span>${facts(drawing)}</span></figcaption>
    <div class="sight">
      <svg ref=${box} viewBox=${`${sight.x - width / 2} ${sight.y - width / 2} ${width} ${width}`} role="group"
        aria-label=${`Insert, ${words.FACES[face]}`} onKeyDown=${keys} ...${handlers}>
        <${Patterns} />
        <circle r=${RADIUS + 6} class="shell" />
        <${GuideLine} holes=${holes} ids=${ids} />
        ${holes.map((/** @type {any} */ hole, /** @type {number} */ at) => html`<${Hole} key=${hole.cavity.id} hole=${hole} pixels=${pixels}
          chosen=${chosen.indexOf(hole.cavity.id)} marked=${marked === hole.cavity.id} ringed=${guide.count(ids, hole.cavity.id) && at % 10 === 9}
          focusable=${onTap && at === focus} onTap=${onTap && ((/** @type {Event} */ event) => { setFocus(at); tap(hole, event); })} />`)}
      </svg>
    </div>
    <div class="zoom">
      <button type="button" onClick=${() => look(sight.times * 1.6, sight.x, sight.y)} aria-label="Nearer">+</button>
      <button type="button" onClick=${() => look(sight.times / 1.6, sight.x, sight.y)} aria-label="Farther">−</button>
      <button type="button" onClick=${() => look(1, 0, 0)} disabled=${sight.times === 1}>Whole insert</button>
    </div>
  </figure>`;
}

/** @param {any} drawing */
function facts(drawing) {
  const sex = drawing.sex ? `of a ${drawing.sex} insert` : "pins or sockets not known";
  return `${sex}. ${drawing.schematic ? "SCHEMATIC: not the true places" : "True places"}`;
}

/** A sight that never leaves the insert. @param {number} times @param {number} x @param {number} y */
function kept(times, x, y) {
  const near = Math.min(Math.max(times, 1), CLOSEST);
  const most = REACH - REACH / near;
  const within = (/** @type {number} */ at) => Math.min(Math.max(at, -most), most);
  return { times: near, x: within(x), y: within(y) };
}

/** One finger moves the sight, two bring it nearer. @param {any} pointers @param {any} moved @param {any} sight @param {any} setSight @param {any} box */
function hands(pointers, moved, sight, setSight, box) {
  const spread = () => { const [one, two] = [...pointers.current.values()]; return two ? Math.hypot(one.x - two.x, one.y - two.y) : 0; };
  return {
    onPointerDown: (/** @type {PointerEvent} */ event) => {
      if (!pointers.current.size) moved.current = false;
      pointers.current.set(event.pointerId, { x: event.clientX, y: event.clientY });
    },
    onPointerMove: (/** @type {PointerEvent} */ event) => {
      const before = pointers.current.get(event.pointerId);
      if (!before) return;
      const apart = spread();
      const [dx, dy] = [event.clientX - before.x, event.clientY - before.y];
      if (!moved.current && Math.hypot(dx, dy) < 8) return;
      moved.current = true;
      pointers.current.set(event.pointerId, { x: event.clientX, y: event.clientY });
      const unit = (2 * REACH) / sight.times / box.current.clientWidth;
      if (pointers.current.size > 1 && apart > 0) setSight(kept((sight.times * spread()) / apart, sight.x, sight.y));
      else if (sight.times > 1) setSight(kept(sight.times, sight.x - dx * unit, sight.y - dy * unit));
    },
    onPointerUp: (/** @type {PointerEvent} */ event) => pointers.current.delete(event.pointerId),
    onPointerCancel: (/** @type {PointerEvent} */ event) => pointers.current.delete(event.pointerId),
    onPointerLeave: (/** @type {PointerEvent} */ event) => pointers.current.delete(event.pointerId),
  };
}

/** @param {any} props */
function Hole({ hole, pixels, chosen, marked, ringed, focusable, onTap }) {
  const { cavity, x, y, radius } = hole;
  const picked = chosen >= 0;
  const letter = Math.min(14, radius * [1.2, 1.0, 0.8, 0.65][Math.min(cavity.id.length, 4) - 1]);
  const counts = radius * pixels > 26;
  const role = onTap ? { role: "checkbox", "aria-checked": String(picked), tabindex: focusable ? 0 : -1, onClick: onTap } : { role: "img" };
  return html`<g class=${`hole ${cavity.wear}${picked ? " picked" : ""}${marked ? " marked" : ""}`} aria-label=${named(cavity)} ...${role}>
    ${(picked || marked) && html`<circle class="halo" cx=${x} cy=${y} r=${radius + 1.5} />`}
    ${ringed && html`<circle class="tenth" cx=${x} cy=${y} r=${radius * 1.12} />`}
    <circle class="rim" cx=${x} cy=${y} r=${radius} />
    ${cavity.wear !== "within" && html`<circle class="wear" cx=${x} cy=${y} r=${radius * 0.97} fill=${`url(#wear-${cavity.wear})`} />`}
    ${cavity.occupied !== false && html`<circle class=${cavity.occupied === null ? "contact doubtful" : "contact"} cx=${x} cy=${y} r=${radius * 0.86} />`}
    <text x=${x} y=${y + (counts ? -radius * 0.02 : letter * 0.36)} font-size=${letter}>${cavity.id}</text>
    ${counts && html`<text class="count" x=${x} y=${y + radius * 0.55} font-size=${radius * 0.46}>${cavity.cycles_begun}${cavity.rating ? `/${cavity.rating.value}` : ""}</text>`}
    ${cavity.blocked && html`<path class="blocked" d=${`M${x - radius} ${y - radius}l${2 * radius} ${2 * radius}`} />`}
  </g>`;
}

/** The line that numbered inserts carry through their numbers (common practice). @param {{holes: any[], ids: string[]}} props */
function GuideLine({ holes, ids }) {
  if (!ids.length || !guide.count(ids, ids[0])) return null;
  const inOrder = [...holes].sort((one, two) => Number(one.cavity.id) - Number(two.cavity.id));
  return html`<polyline class="guide" points=${inOrder.map((each) => `${each.x},${each.y}`).join(" ")} />`;
}

/** A pattern for each wear that asks for attention, so that it shows without colour. */
function Patterns() {
  return html`<defs>
    <pattern id="wear-nearing" width="4" height="4" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="4" height="4" class="ground nearing" /><rect width="1.2" height="4" class="figure nearing" /></pattern>
    <pattern id="wear-spent" width="4" height="4" patternUnits="userSpaceOnUse"><rect width="4" height="4" class="ground spent" /><rect width="4" height="1.4" class="figure spent" /></pattern>
    <pattern id="wear-over" width="4" height="4" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="4" height="4" class="ground over" /><path d="M0 0h4v4" class="figure over" /></pattern>
    <pattern id="wear-unknown" width="4" height="4" patternUnits="userSpaceOnUse"><rect width="4" height="4" class="ground unknown" /><circle cx="2" cy="2" r=".8" class="figure unknown" /></pattern>
  </defs>`;
}

/** What the patterns mean, beside the drawing. */
export function Key() {
  const wears = ["within", "nearing", "spent", "over", "unknown"];
  return html`<ul class="key" aria-label="Signs">${wears.map((each) => html`<li key=${each}>
    <svg viewBox="-12 -12 24 24" aria-hidden="true" class=${`hole ${each}`}><circle class="rim" r="10" />${each !== "within" && html`<circle class="wear" r="9.7" fill=${`url(#wear-${each})`} />`}</svg>${each}</li>`)}
    <li><svg viewBox="-12 -12 24 24" aria-hidden="true" class="hole"><circle class="rim" r="10" /><circle class="contact" r="7.5" /></svg>contact in</li></ul>`;
}
