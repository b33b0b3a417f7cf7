// @ts-check
// Answers while the service is away: the very same rule, on the last known state and what waits in the outbox. What is not
// understood here makes an answer at best a warn.

import * as answers from "./answers.js";
import * as contacts from "./contacts.js";
import * as cycles from "./cycles.js";
import * as entries from "./entries.js";
import * as fold from "./fold.js";
import * as instants from "./instants.js";
import * as marks from "./marks.js";
import * as plans from "./plans.js";
import * as shapes from "./shapes.js";
import * as shop from "./shop.js";
import * as shown from "./shown.js";
import * as snapshots from "./snapshots.js";
import * as views from "./views.js";
import * as ways from "./ways.js";

/** @typedef {import("./snapshots.js").Snapshot} Snapshot */
/** @typedef {import("./states.js").ConnectorState} ConnectorState */
/** @typedef {import("./entries.js").Recorded} Recorded */
/** `snapshot` is the JSON of the service. @typedef {{snapshot: any, fetched_at: string, acknowledged: number}} Cached */
/** @typedef {{place: number, entry: any, kept_at: string, status: string}} Kept */
/** @typedef {{action: answers.Action, cavity: string, tool?: string | null, contact?: string | null}} PlannedStep */
/** @typedef {{plan: views.PlanView, basis: "bench", remarks: string[], as_of: string}} Advice */
/** What an answer stands on here: a state, whether its order is certain, and what was counted in.
 * @typedef {{state: ConnectorState, certain: boolean, waiting: number, left_out: number}} Footing */

/** Words that can't be followed; the text says what would be clear. */
export class UnclearError extends Error {}

const UNCLEAR = "Say insert, remove or replace and the cavity, like: insert 14";
const ORDER_UNCERTAIN = {
  code: "order_uncertain",
  text: "What waits at this bench can't be put in its place in the history without the service, so the count here may be wrong.",
};
const NOT_UNDERSTOOD = {
  code: "not_understood",
  text: "This page does not understand all that is known of this connector, so its answer may be wrong. Load the page anew.",
};

/** The usual ones in our own words, for a bench that the service can't give its own. The approved data's come first.
 * @type {views.CautionView[]} */
const CAUTIONS = [
  {
    kind: "WARNING", text: "Power off before a connector is opened: live contacts burn.", status: "read",
    source: "TM 5-3805-248-23-1 WP 0018 00",
  },
  {
    kind: "CAUTION", text: "A tool of another size, or with a bent or chipped tip, damages the retainer.", status: "second-hand",
    source: "one aircraft maker's standard practices on a public site",
  },
  {
    kind: "CAUTION", text: "A tool that is turned damages the retainer: square to the face, never rotated.", status: "second-hand",
    source: "one aircraft maker's standard practices on a public site",
  },
  {
    kind: "CAUTION", text: "Dirt in a cavity stops a contact from seating: cap every open connector.", status: "read",
    source: "TM 5-3805-248-23-1 WP 0018 00; AC 43.13-1B 11-100 d",
  },
];

/** @type {shapes.Shape} */
const STEP = {
  action: shapes.oneOf(answers.ACTIONS), cavity: shapes.string,
  tool: shapes.optional(shapes.string), contact: shapes.optional(shapes.string),
};

/** Whether a mark means a connector, by the same keys as in the service.
 * @param {marks.Mark} mark @param {any} definition the JSON of the service @returns {boolean} */
export function means(mark, definition) {
  const { serial, cage = null, part_number = null, connector } = definition;
  const wanted = new Set(marks.lookUpKeys(mark));
  return marks.keys(serial, cage, part_number, connector).some((each) => wanted.has(each))
    && !marks.contradicts(mark, serial, cage, part_number);
}

/** Those of the parked entries that may mean a connector: by their own mark, or by a name that it goes by here. A mark that only
 * the service can read may mean any.
 * @param {readonly Kept[]} parked @param {any} definition the JSON of the service @param {readonly string[]} [names]
 * @returns {Kept[]} */
export function meaning(parked, definition, names = []) {
  return parked.filter(({ entry }) => {
    const mark = marks.read(new TextEncoder().encode(entry.connector));
    return names.includes(entry.connector) || mark.unknown_here || means(mark, definition);
  });
}

/** The answer to steps on what is known here. StateError where the kept state can't be read: then nothing is known, which is no go.
 * @param {Cached} cached @param {readonly Kept[]} waiting @param {readonly PlannedStep[]} steps @param {string} now
 * @param {{reached?: boolean, tools?: readonly shop.ShopTool[], parked?: readonly Kept[]}} [how] `reached`: the state is fresh but
 *   lacks entries of this bench; `tools`: the shop's, as last fetched; `parked`: entries of this bench that may mean the connector
 *   (see `meaning`) and were in no ledger when the service was last asked @returns {Advice} */
export function advise(cached, waiting, steps, now, { reached = false, tools = [], parked = [] } = {}) {
  const snapshot = snapshots.read(cached.snapshot);
  // The service holds a check against the day in UTC as well.
  const today = instants.text(instants.micros(now) ?? 0n).slice(0, 10);
  const planned = steps.map((each) => step(snapshot, each, tools, today));
  if (!planned.length) throw new UnclearError(UNCLEAR);
  const strange = steps.flatMap((each) => [...shapes.doubts(each, STEP, "step"), ...shop.doubts(tools, each.tool ?? null)]);
  const doubtful = snapshot.doubts.length > 0 || strange.length > 0 || instants.micros(now) === null;
  const footings = footingsOf(snapshot, waiting);
  const awaited = awaitedIn(snapshot.definition, [...parked, ...waiting.filter((each) => each.status === "parked")]);
  const made = footings.map((each) => planOn(snapshot, each, planned, awaited, doubtful));
  const remarks = [...age(cached, now, reached), ...counted(footings[0])];
  return { plan: made.reduce((one, other) => (heavier(other, one) ? other : one)), basis: "bench", remarks, as_of: snapshot.as_of };
}

/** The state to show: the last known one with what waits here counted in.
 * @param {Cached} cached @param {readonly Kept[]} waiting @returns {ConnectorState} */
export function state(cached, waiting) {
  const footings = footingsOf(snapshots.read(cached.snapshot), waiting);
  return footings[footings.length - 1].state;
}

/** The connector as the service would show it in that state.
 * @param {any} snapshot the JSON of the service @param {ConnectorState} shownState */
export function view(snapshot, shownState) {
  return views.connector(snapshots.read(snapshot), shownState);
}

/** The connector's line in a list, from what is kept of it here. @param {any} snapshot the JSON of the service */
export function line(snapshot) {
  const known = snapshots.read(snapshot);
  return views.line(known, known.state);
}

/** The ways out of a cavity that takes no contact any more.
 * @param {any} snapshot the JSON of the service @param {ConnectorState} shownState @param {string} cavity */
export function waysOut(snapshot, shownState, cavity) {
  const { definition, house } = snapshots.read(snapshot);
  return ways.out(definition, house, shownState, cavity);
}

/** The state to judge on; two where only the service can order the entries, and then the worse answer holds.
 * @param {Snapshot} snapshot @param {readonly Kept[]} waiting @returns {Footing[]} */
function footingsOf({ definition, state: before }, waiting) {
  const usable = waiting.filter((each) => each.status !== "refused" && fits(definition, each));
  const news = usable.map(recorded);
  const about = { waiting: news.length, left_out: waiting.length - usable.length };
  const extended = fold.extend(definition, before, news);
  if (extended) return [{ state: extended, certain: about.left_out === 0, ...about }];
  const forced = fold.extend(definition, before, atTheEnd(before, news));
  return [before, forced].flatMap((each) => (each ? [{ state: each, certain: false, ...about }] : []));
}

/** @param {import("./snapshots.js").Definition} definition @param {Kept} kept */
function fits(definition, kept) {
  if (entries.doubts(kept.entry).length || instants.micros(kept.kept_at) === null) return false;
  const known = new Set(definition.cavities.map((each) => each.id));
  return entries.cavitiesOf(entries.read(kept.entry)).every((each) => known.has(each));
}

/** Nothing can have happened after it was kept: a clock that runs ahead does not push it further.
 * @param {Kept} kept @returns {Recorded} */
function recorded(kept) {
  const entry = entries.read(kept.entry);
  const performed = /** @type {bigint} */ (instants.micros(entry.performed_at));
  const keptAt = /** @type {bigint} */ (instants.micros(kept.kept_at));
  return at(entry, performed < keptAt ? performed : keptAt);
}

/** @param {entries.Entry} entry @param {bigint} moment @returns {Recorded} */
function at(entry, moment) {
  return { entry, at: moment, ordered_at: instants.text(moment) };
}

/** The entries as if they came last, so that every cycle counts. Those about other entries are left out.
 * @param {ConnectorState} before @param {readonly Recorded[]} news @returns {Recorded[]} */
function atTheEnd(before, news) {
  const known = [...before.cavities, before.whole].map((each) => instants.micros(each.last_at));
  const last = [...known, ...news.map((each) => each.at)].reduce(later, news[0].at);
  const acting = [...news]
    .sort(fold.inOrder)
    .filter(({ entry }) => !entries.REFERRING.includes(entry.kind) && !before.whole.pending.includes(entry.id));
  return acting.map(({ entry }, place) => at(entry, last + BigInt(place + 1)));
}

/** @param {bigint} one @param {bigint | null} other */
function later(one, other) {
  return other !== null && other > one ? other : one;
}

/** @param {Snapshot} snapshot @param {PlannedStep} asked @param {readonly shop.ShopTool[]} tools @param {string} today
 * @returns {plans.Step} */
function step({ definition, tooling, contacts: known }, asked, tools, today) {
  const defined = definition.cavities.find((each) => each.id === asked.cavity);
  if (!defined) throw new UnclearError(unknownCavity(definition, asked.cavity));
  if (!answers.ACTIONS.includes(asked.action)) throw new UnclearError(UNCLEAR);
  const { id: cavity, contact_size: size } = defined;
  const mark = asked.tool ?? null;
  const tool = answers.toolFit(tooling, partNumber(mark, tools), size, asked.action);
  const contact = contacts.fit(asked.contact ?? null, known, size);
  return { action: asked.action, cavity, size, brought: { tool, contact, tool_overdue: shop.overdue(tools, mark, today) } };
}

/** @param {import("./snapshots.js").Definition} definition @param {string} cavity */
function unknownCavity({ cavities }, cavity) {
  const near = cavities.map((each) => each.id).filter((each) => each.toLowerCase() === String(cavity).toLowerCase());
  if (!near.length) return `There is no cavity ${cavity} in this connector.`;
  return `There is no cavity ${cavity} here, but there is ${near.join(" and ")}: capitals and small letters differ.`;
}

/** A tool's part number: by the shop's list, else from its number as typed or from its mark.
 * @param {string | null} tool @param {readonly shop.ShopTool[]} tools */
function partNumber(tool, tools) {
  if (tool === null) return null;
  const listed = shop.tool(tools, tool);
  if (listed) return listed.part_number;
  const mark = marks.read(new TextEncoder().encode(tool));
  return mark.current_part_number || mark.part_number || tool;
}

/** Those that the service gave along for these actions, else the ones that are always at hand.
 * @param {Snapshot} snapshot @param {plans.Step[]} steps @returns {views.CautionView[]} */
function cautions(snapshot, steps) {
  const kept = snapshot.cautions.filter((each) => steps.some(({ action }) => each.actions.includes(action)));
  return kept.length ? kept.map(({ kind, text, status, source }) => ({ kind, text, status, source })) : CAUTIONS;
}

/** The cavities that parked entries may be about; one that is not understood may be about any.
 * @param {import("./snapshots.js").Definition} definition @param {readonly Kept[]} parked @returns {Set<string>} */
function awaitedIn({ cavities }, parked) {
  const about = (/** @type {any} */ entry, /** @type {string} */ cavity) =>
    entries.doubts(entry).length > 0 || entries.concerns(entries.read(entry), cavity);
  return new Set(cavities.map((each) => each.id).filter((id) => parked.some(({ entry }) => about(entry, id))));
}

/** @param {Snapshot} snapshot @param {Footing} footing @param {plans.Step[]} steps @param {ReadonlySet<string>} awaited
 * @param {boolean} doubtful @returns {views.PlanView} */
function planOn(snapshot, footing, steps, awaited, doubtful) {
  const made = plans.plan(snapshot.definition, snapshot.house, footing.state, steps, snapshot.tooling, awaited);
  const view = views.plan(snapshot, made, cautions(snapshot, steps));
  const ordered = footing.certain ? view : atBestWarn(view, ORDER_UNCERTAIN);
  return doubtful ? atBestWarn(ordered, NOT_UNDERSTOOD) : ordered;
}

/** @param {views.PlanView} view @param {{code: string, text: string}} why @returns {views.PlanView} */
function atBestWarn(view, why) {
  /** @type {views.ReasonView} */
  const reason = { ...why, answer: "warn" };
  const steps = view.steps.map((each) => ({
    ...each, answer: answers.worst([each.answer, "warn"]), reasons: [...each.reasons, reason],
    ways: each.ways.map((way) => (way.answer ? { ...way, answer: answers.worst([way.answer, "warn"]) } : way)),
  }));
  return { ...view, answer: answers.worst(steps.map((each) => each.answer)), steps };
}

/** Whether one plan is answered worse than another, then leaves worse wear, then more cycles.
 * @param {views.PlanView} one @param {views.PlanView} other */
function heavier(one, other) {
  const difference = severity(one).map((each, place) => each - severity(other)[place]).find((each) => each !== 0);
  return difference !== undefined && difference > 0;
}

/** @param {views.PlanView} plan @returns {number[]} */
function severity(plan) {
  const wear = Math.max(...plan.steps.map((each) => cycles.SEVERITY[each.wear_after]));
  return [answers.weight(plan.answer), wear, Math.max(...plan.steps.map((each) => each.cycle))];
}

/** @param {Cached} cached @param {string} now @param {boolean} reached @returns {string[]} */
function age(cached, now, reached) {
  if (reached) return ["Computed at this bench, since the service has not got everything that was recorded here yet."];
  const here = instants.micros(now), fetched = instants.micros(cached.fetched_at);
  if (here === null || fetched === null || here < fetched) {
    return [
      "Computed at this bench on the last known state, of unknown age, since this bench's clock was set back. " +
        "Others may have worked on this connector meanwhile.",
    ];
  }
  return [
    `Computed at this bench on the last known state, which is ${shown.age(Number(here - fetched))} old: ` +
      "the service is away, and others may have worked on this connector meanwhile.",
  ];
}

/** @param {Footing} footing @returns {string[]} */
function counted({ waiting, left_out: leftOut }) {
  const number = (/** @type {number} */ many) => shown.count(many, "entry", "entries");
  const out = "of this bench about this connector: refused or not fitting, so not counted. Somebody must look at the outbox.";
  return [
    ...(waiting ? [`${number(waiting)} recorded here and not in that state yet: counted in.`] : []),
    ...(leftOut ? [`${number(leftOut)} ${out}`] : []),
  ];
}
