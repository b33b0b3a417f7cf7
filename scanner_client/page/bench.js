// @ts-check
// The bench page: sign on, find a connector, ask before the work, record what was done. It keeps no rule of its own:
// every answer is the service's. What was recorded but not acknowledged stays in localStorage until it is.

/** @param {string} id @returns {any} */
const at = (id) => document.getElementById(id);
const UNSENT = "tinebook.unsent";
const REFUSED = "tinebook.refused";
/** So many cavities fit without a filter. */
const MANY = 24;
const WORDS = { go: "GO", warn: "WARN", no_go: "NO GO" };
const KINDS = { insert: ["insertion"], remove: ["removal"], replace: ["removal", "insertion"] };

/** What is at hand. @type {{mark: string, view: any, steps: any[], plan: any, toTest: string[]}} */
const now = { mark: "", view: null, steps: [], plan: null, toTest: [] };

/** A problem that a person must see. */
class Trouble extends Error {
  /** @param {string} text @param {number} status @param {any} [problem] */
  constructor(text, status, problem) {
    super(text);
    this.status = status;
    this.problem = problem;
  }
}

/** @param {string} tag @param {Record<string, string>} attributes @param {(Node | string)[]} children */
function make(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  made.append(...children);
  return made;
}

/** Shapes differ by answer and by wear, so that colour is never the only sign. @param {string} path */
function shape(path) {
  const drawn = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  drawn.setAttribute("viewBox", "0 0 24 24");
  drawn.setAttribute("aria-hidden", "true");
  const line = document.createElementNS("http://www.w3.org/2000/svg", "path");
  for (const [name, value] of Object.entries({ d: path, fill: "none", stroke: "currentColor", "stroke-width": "3" })) line.setAttribute(name, value);
  drawn.append(line);
  return drawn;
}
const SHAPES = {
  go: "M4 12l6 6L20 6", warn: "M12 2L23 21H1zM12 9v6M12 17v2", no_go: "M4 4l16 16M20 4L4 20",
  within: "M12 4a8 8 0 1 0 .1 0z", nearing: "M12 4a8 8 0 1 0 .1 0zM12 4v16M15 5v14", spent: "M4 4h16v16H4zM4 12h16",
  over: "M4 4l16 16M20 4L4 20", unknown: "M8 8a4 4 0 1 1 6 3.5c-2 1-2 2-2 3.5M12 19v2",
};

/** A time-ordered UUID (RFC 9562, version 7); crypto.randomUUID is missing on plain HTTP. */
function freshId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  let at_ms = Date.now();
  for (let place = 5; place >= 0; place -= 1) { bytes[place] = at_ms % 256; at_ms = Math.floor(at_ms / 256); }
  bytes[6] = (bytes[6] & 15) | 112;
  bytes[8] = (bytes[8] & 63) | 128;
  const hex = [...bytes].map((each) => each.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

/** @param {string} path @param {{method?: string, body?: any, raw?: Blob}} [what] */
async function call(path, what = {}) {
  const headers = { Authorization: `Bearer ${sessionStorage.getItem("token") ?? ""}` };
  if (what.body !== undefined) headers["Content-Type"] = "application/json";
  let answer;
  try {
    const body = what.raw ?? (what.body === undefined ? undefined : JSON.stringify(what.body));
    answer = await fetch(path, { method: what.method ?? "GET", headers, body, signal: AbortSignal.timeout(20000) });
  } catch {
    throw new Trouble("No connection. This page does not work without the network yet.", 0);
  }
  const read = await answer.json().catch(() => null);
  if (answer.ok && read !== null) return read;
  if (answer.status === 401 || answer.status === 403) throw new Trouble("The service does not accept this token: it has expired or was withdrawn. Press Change and enter a valid one.", answer.status, read);
  throw new Trouble(read?.detail ?? `The service answered ${answer.status}.`, answer.status, read);
}

/** @param {unknown} error */
function trouble(error) {
  at("trouble").textContent = error instanceof Error ? error.message : String(error);
  at("trouble").hidden = false;
  at("trouble").scrollIntoView({ block: "nearest" });
}

/** @param {string} text @param {boolean} [bad] */
function said(text, bad = false) {
  at("said").textContent = text;
  at("said").className = bad ? "bad" : "";
}

/** Do something that may fail, with the buttons off so that nothing is pressed twice. @param {() => Promise<void>} act */
async function doing(act) {
  at("trouble").hidden = true;
  const buttons = [...document.querySelectorAll("button")].filter((each) => !each.disabled);
  for (const each of buttons) each.disabled = true;
  try { await act(); } catch (error) { trouble(error); } finally { for (const each of buttons) each.disabled = false; }
}

/** @param {"sign-on" | "scan" | "connector"} name */
function show(name) {
  for (const each of ["sign-on", "scan", "connector"]) at(each).hidden = each !== name;
  const badge = sessionStorage.getItem("badge");
  const order = sessionStorage.getItem("order");
  at("who").textContent = badge ? [badge, order].filter(Boolean).join(" · ") : "";
  at("change").hidden = !badge || name === "sign-on";
  at("offline-note").hidden = name === "connector";
  window.scrollTo(0, 0);
}

// --- finding a connector

/** @param {any[]} lines @param {string} mark */
async function choose(lines, mark) {
  now.mark = mark;
  at("choices").replaceChildren();
  if (lines.length === 1) return open(lines[0].id);
  if (!lines.length) throw new Trouble("No connector is registered under this mark. Record the work at the terminal bench, or have the connector registered.", 404);
  at("choices").append(make("li", {}, "Several connectors carry this mark. Which one is in your hand?"), ...lines.map((each) => {
    const place = [each.place.asset, each.place.zone, each.place.position].filter(Boolean).join(" ");
    const button = make("button", { type: "button" }, `${each.serial}, part ${each.part_number ?? "not known"}${place ? `, ${place}` : ""}`);
    button.addEventListener("click", () => doing(() => open(each.id)));
    return make("li", {}, button);
  }));
}

/** @param {string} id */
async function open(id) {
  now.view = await call(`/v1/connectors/${id}`);
  Object.assign(now, { steps: [], plan: null, toTest: [] });
  said("");
  draw();
  show("connector");
}

/** @param {Blob} photo */
async function photographed(photo) {
  const { scans } = await call("/decode", { method: "POST", raw: photo });
  if (scans.length > 1) throw new Trouble(`There are ${scans.length} different symbols in the picture. Go closer, so that only one is in it.`, 422);
  const [scan] = scans;
  if (scan.fault) throw new Trouble(scan.fault, 422);
  const meant = await call("/v1/scans", { method: "POST", body: { bytes_base64: scan.bytes_base64, symbology: scan.symbology ?? undefined } });
  await choose(meant.connectors, scan.text);
}

// --- the connector and the answer

function draw() {
  const view = now.view;
  at("serial").textContent = view.serial;
  at("about").textContent = [view.part_number && `Part ${view.part_number}`, view.place.asset, view.place.zone, view.place.position, view.retired && "RETIRED"].filter(Boolean).join(" · ");
  at("rating").textContent = rated(view.rating);
  at("answer").replaceChildren(...(now.plan ? answered(now.plan) : []));
  at("confirm").hidden = !now.plan;
  at("reason-row").hidden = now.plan?.answer !== "no_go";
  at("reason").required = now.plan?.answer === "no_go";
  at("ask").hidden = !!now.plan || now.toTest.length > 0;
  at("seating").hidden = !!now.plan || !now.toTest.length;
  at("seating-title").textContent = now.toTest.length ? `Seating test of cavity ${now.toTest[0]}` : "";
  at("cavities").replaceChildren(make("legend", {}, "Cavity"), ...view.cavities.map(cell));
  at("filter-row").hidden = view.cavities.length <= MANY;
  at("filter").value = "";
  const tool = at("tool").value;
  at("ask-form").reset();
  at("tool").value = tool;
  // What the answer speaks against is never the button that stands out.
  at("done").classList.toggle("second", now.plan?.answer === "no_go");
  at("not-done").classList.toggle("second", now.plan?.answer !== "no_go");
  at("notice").textContent = now.plan?.notice ?? view.notice;
}

/** @param {any} rating */
function rated(rating) {
  if (!rating) return "No rating is recorded.";
  const source = [rating.document, rating.revision && `rev. ${rating.revision}`, rating.paragraph && `para. ${rating.paragraph}`].filter(Boolean).join(" ") || "no document named";
  return `Rated ${rating.value} cycles, ${rating.basis}, ${source}: ${rating.verified ? `verified by ${rating.verified_by} on ${rating.verified_on}` : "NOT VERIFIED"}`;
}

/** C and c are two cavities, and a screen reader says them alike. @param {string} id */
const spoken = (id) => (id === id.toUpperCase() ? id : `small ${id}`);

/** @param {any} cavity */
function cell(cavity) {
  const held = { true: "contact in", false: "empty", null: "not known" }[String(cavity.occupied)];
  const count = `${cavity.cycles_begun}${cavity.rating ? ` of ${cavity.rating.value}` : " cycles"}, ${held}`;
  const wear = make("span", { class: `wear-${cavity.wear}` }, `${cavity.wear}${cavity.blocked ? ", BLOCKED" : ""}`);
  const mark = shape(SHAPES[cavity.wear]);
  mark.classList.add(`wear-${cavity.wear}`);
  const input = make("input", { type: "radio", name: "cavity", value: cavity.id, required: "", "aria-label": `Cavity ${spoken(cavity.id)}, size ${cavity.contact_size}, ${count}, ${cavity.wear}${cavity.blocked ? ", blocked" : ""}` });
  const facts = make("span", { class: "facts" }, make("span", {}, count), wear);
  return make("label", {}, input, make("span", { class: "cell" }, make("span", { class: "id" }, cavity.id), mark, facts));
}

/** @param {any} plan */
function answered(plan) {
  return [
    make("div", { class: `verdict ${plan.answer}` }, shape(SHAPES[plan.answer]), make("strong", {}, WORDS[plan.answer])),
    ...plan.steps.map((step) => {
      const left = step.left_after === null ? "left not known" : `${step.left_after} left after it`;
      const head = `${now.view.serial}: ${step.action} ${step.cavity} (size ${step.contact_size}): cycle ${step.cycle}${plan.rating ? ` of ${plan.rating.value}` : ""}, ${left}`;
      return make("div", { class: `step ${step.answer}` }, make("b", {}, head), make("ul", {}, ...step.reasons.map((each) => make("li", {}, each.text))));
    }),
    make("p", { class: "basis" }, rated(plan.rating)),
    ...cautions(plan.cautions),
    make("ol", { class: "work" }, ...plan.work.map((each) => make("li", {}, handling(each)))),
  ];
}

/** What can injure is always in sight; the rest is one press away, so that the answer and the work stay on the screen. @param {any[]} all */
function cautions(all) {
  const list = (some) => make("ul", { class: "cautions" }, ...some.map((each) => make("li", {}, make("b", {}, `${each.kind}: `), each.text)));
  const [injury, rest] = [all.filter((each) => each.kind === "WARNING"), all.filter((each) => each.kind !== "WARNING")];
  const told = ["CAUTION", "NOTE"].map((kind) => [rest.filter((each) => each.kind === kind).length, kind]).filter(([count]) => count);
  const summary = make("summary", {}, `${told.map(([count, kind]) => `${count} ${kind}${count === 1 ? "" : "S"}`).join(", ")} for this work`);
  return [...(injury.length ? [list(injury)] : []), ...(rest.length ? [make("details", {}, summary, list(rest))] : [])];
}

/** @param {any} each */
function handling(each) {
  const tools = each.tools.map((tool) => `${tool.part_number}${tool.end ? ` (${tool.end})` : ""}`).join(" or ") || "tool not known";
  const face = each.tool_face ? `tool from the ${each.tool_face.replace("_", " ")}` : "tool face not known";
  const way = `contact ${each.half === "insert" ? "in from" : "out to"} the ${each.contact_face.replace("_", " ")}`;
  return `${each.half} ${each.cavity}: ${tools}; ${face}, ${way}${pull(each.seating_pull)}`;
}

/** The light pull after an insertion; one that nobody of the shop verified says so. @param {any} each */
function pull(each) {
  if (!each) return "";
  return `; then a pull of ${each.force_n} N (${each.force_lbf} lbf), ${each.verified ? "" : "not verified: "}${each.source}`;
}

// --- recording

/** @returns {any[]} */
const unsent = () => JSON.parse(localStorage.getItem(UNSENT) ?? "[]");
/** Refused entries, each with the reason; kept for a person. @returns {any[]} */
const refused = () => JSON.parse(localStorage.getItem(REFUSED) ?? "[]");

function drawUnsent() {
  const [waiting, stopped] = [unsent().length, refused()];
  at("waiting").hidden = !waiting && !stopped.length;
  at("resend").hidden = !waiting;
  at("waiting-text").textContent = [
    waiting && `${waiting} ${waiting === 1 ? "entry is" : "entries are"} not acknowledged yet and kept in this browser. Do not clear it.`,
    ...stopped.map((each) => `Refused: ${each.entry.kind} ${each.entry.cavity ?? ""} (${each.reason}). Show this to somebody who can put it right.`),
  ].filter(Boolean).join(" ");
}

/** Keep the entries, then send all that wait. Their ids make sending twice harmless. @param {any[]} entries */
async function record(entries) {
  localStorage.setItem(UNSENT, JSON.stringify([...unsent(), ...entries]));
  drawUnsent();
  await resend();
}

async function resend() {
  const waiting = unsent().slice(0, 100);
  if (!waiting.length) return;
  let results;
  try {
    ({ results } = await call("/v1/entries", { method: "POST", body: { entries: waiting, sent_at: new Date().toISOString() } }));
  } catch (error) {
    results = error instanceof Trouble ? error.problem?.results : undefined;
    if (!results?.length) throw error instanceof Trouble ? new Trouble(`Kept in this browser, not sent yet. ${error.message}`, error.status) : error;
  }
  const answers = new Map(results.map((each) => [each.id, each]));
  const stopped = waiting.filter((each) => answers.get(each.id)?.outcome === "refused");
  const added = stopped.map((each) => ({ entry: each, reason: answers.get(each.id).problem?.detail ?? "no reason given" }));
  localStorage.setItem(REFUSED, JSON.stringify([...refused(), ...added]));
  localStorage.setItem(UNSENT, JSON.stringify(unsent().filter((each) => !answers.has(each.id))));
  drawUnsent();
  const codes = results.flatMap((each) => each.discrepancies).map((each) => each.replaceAll("_", " "));
  const count = results.length - stopped.length;
  said(`${count} ${count === 1 ? "entry" : "entries"} recorded.${codes.length ? ` Discrepancies: ${codes.join(", ")}.` : ""}`, codes.length > 0);
}

/** @param {string} kind @param {Record<string, any>} fields */
function entry(kind, fields) {
  const made = {
    id: freshId(), connector: now.view.id, kind, performed_at: new Date().toISOString(), performed_by: sessionStorage.getItem("badge"),
    work_order: sessionStorage.getItem("order") || undefined, bench: "page", ...fields,
  };
  return Object.fromEntries(Object.entries(made).filter(([, value]) => value !== undefined && value !== ""));
}

async function done() {
  const note = now.plan.answer === "no_go" ? at("reason").value.trim() : undefined;
  const halves = now.steps.flatMap((step) => KINDS[step.action].map((kind) => ({ kind, step })));
  const end = Date.now();
  // A millisecond apart, so that a removal stays before its insertion.
  const entries = halves.map(({ kind, step }, place) => entry(kind, { cavity: step.cavity, tool: step.tool, note, performed_at: new Date(end - (halves.length - 1 - place)).toISOString() }));
  now.toTest = now.steps.filter((each) => each.action !== "remove").map((each) => each.cavity);
  Object.assign(now, { steps: [], plan: null });
  at("reason").value = "";
  try { await record(entries); } finally { await reload(); }
}

/** Show the connector as it is now; what was recorded stays recorded if that fails. */
async function reload() {
  try { now.view = await call(`/v1/connectors/${now.view.id}`); } catch (error) { trouble(error); }
  draw();
  window.scrollTo(0, 0);
}

// --- what is pressed

at("sign-on-form").addEventListener("submit", (event) => {
  event.preventDefault();
  doing(async () => {
    sessionStorage.setItem("token", at("token").value.trim());
    await call("/v1/connectors?mark=-");
    sessionStorage.setItem("badge", at("badge").value.trim());
    sessionStorage.setItem("order", at("order").value.trim());
    at("token").value = "";
    show("scan");
  });
});
at("change").addEventListener("click", () => { at("badge").value = sessionStorage.getItem("badge") ?? ""; at("order").value = sessionStorage.getItem("order") ?? ""; show("sign-on"); });
at("photo").addEventListener("change", () => {
  const [photo] = at("photo").files;
  at("photo").value = "";
  if (photo) doing(() => photographed(photo));
});
at("mark-form").addEventListener("submit", (event) => {
  event.preventDefault();
  const mark = at("mark").value;
  doing(async () => { await choose((await call(`/v1/connectors?mark=${encodeURIComponent(mark)}`)).connectors, mark); at("mark").value = ""; });
});
at("next").addEventListener("click", () => {
  if (now.plan) return trouble("First say what became of this: done, or not done.");
  Object.assign(now, { view: null, toTest: [] });
  at("choices").replaceChildren();
  at("trouble").hidden = true;
  show("scan");
});
at("ask-form").addEventListener("submit", (event) => {
  event.preventDefault();
  const form = new FormData(at("ask-form"));
  const tool = String(form.get("tool") ?? "").trim();
  const steps = [{ action: form.get("action"), cavity: form.get("cavity"), ...(tool ? { tool } : {}) }];
  doing(async () => {
    now.plan = await call(`/v1/connectors/${now.view.id}/plan`, { method: "POST", body: { steps } });
    now.steps = steps;
    said("");
    draw();
    at("answer").scrollIntoView({ block: "start" });
  });
});
at("filter").addEventListener("input", () => {
  for (const each of document.querySelectorAll(".cavities label")) /** @type {any} */ (each).hidden = !each.querySelector("input")?.value.startsWith(at("filter").value);
});
at("confirm-form").addEventListener("submit", (event) => { event.preventDefault(); doing(done); });
at("not-done").addEventListener("click", () => { Object.assign(now, { steps: [], plan: null }); said("Nothing was recorded."); draw(); });
at("seating-form").addEventListener("submit", (event) => {
  event.preventDefault();
  const held = /** @type {any} */ (event).submitter?.value === "true";
  const [cavity, ...left] = now.toTest;
  const force = at("force").value;
  doing(async () => {
    now.toTest = left;
    at("force").value = "";
    try { await record([entry("seating_test", { cavity, held, force_n: force ? Number(force) : undefined })]); } finally { await reload(); }
    if (!held) said(`It did not hold. That insertion has used a cycle. If the contact comes out again, record the removal of ${cavity}.`, true);
  });
});
at("skip").addEventListener("click", () => { now.toTest = now.toTest.slice(1); draw(); });
at("resend").addEventListener("click", () => doing(resend));

drawUnsent();
show(sessionStorage.getItem("token") && sessionStorage.getItem("badge") ? "scan" : "sign-on");
