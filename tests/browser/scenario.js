// Drives the page's dialogue through one scenario; gives the entries that it kept and how the talk stands.
async ([shared, scenario]) => {
  const [talk, marks] = await Promise.all([import("/core/talk.js"), import("/core/marks.js")]);
  const { id, serial, cavities } = shared.connector;
  const subject = { mark: serial, connector: id, name: serial, part_number: null, snapshot: null, remarks: [] };
  const view = { cavities: cavities.map(([name, size]) => ({ id: name, contact_size: size })) };
  const kept = [];
  let count = 0;
  let waited_ms = 0;
  let asked = null;
  let state = talk.begin({ shift: shared.shift, used_at_ms: 1793610000000 });
  const hear = (heard) => {
    const ids = Array.from({ length: 50 }, () => `id-${count++}`);
    const [next, effects] = talk.step(state, heard, { at_ms: 1793610000000 + waited_ms + count, ids });
    state = next;
    for (const each of effects) {
      if (each.type === "keep") kept.push(...each.entries);
      if (each.type === "ask") asked = each;
      if (each.type === "open" || (each.type === "find" && each.reading.text === serial)) hear({ type: "opened", subject, view });
    }
  };
  const places = (wanted) => state.steps.map((each, at) => [each, at]).filter(([each]) => wanted.includes(each.cavity)).map(([, at]) => at);
  const advise = (answers) => hear({ type: "advised", steps: asked.steps, advice: { remarks: [], plan: {
    answer: answers.includes("no_go") ? "no_go" : answers.includes("warn") ? "warn" : "go",
    steps: asked.steps.map((each, at) => ({ ...each, answer: answers[at], reasons: [] })), work: [], cautions: [] } } });
  const other = (kind, fields) => hear({ type: "other", kind, fields });
  const wait = (minutes) => { waited_ms += minutes * 60000; hear({ type: "tick" }); };
  const scan = (text) => hear({ type: "scanned", reading: { text, bytes: new TextEncoder().encode(text), symbology: null }, mark: marks.read(new TextEncoder().encode(text), null) });
  const ACTS = {
    plan: (act) => {
      hear({ type: "action", action: act.plan });
      for (const cavity of act.cavities) hear({ type: "toggle", cavity });
      hear({ type: "ask" });
    },
    scan: (act) => scan(act.scan),
    tool: (act) => hear({ type: "typed", field: "tool", text: act.tool }),
    contact: (act) => hear({ type: "typed", field: "contact", text: act.contact }),
    looked: () => hear({ type: "looked" }),
    done: (act) => hear({ type: "done", places: places(act.done), only: act.only === "removal" }),
    drop: (act) => hear({ type: "drop", at: places([act.drop])[0] }),
    not_done: () => hear({ type: "not_done" }),
    reason: (act) => hear({ type: "reason", text: act.reason }),
    cancel: () => hear({ type: "cancel" }),
    held: (act) => hear({ type: "seated", cavity: act.held, held: true, force_n: act.force_n, level: act.level }),
    failed: (act) => hear({ type: "seated", cavity: act.failed, held: false }),
    level: (act) => hear({ type: "seated", cavity: act.level, level: true }),
    not_level: (act) => hear({ type: "seated", cavity: act.not_level, level: false }),
    skip: (act) => hear({ type: "skip", cavity: act.skip }),
    tine: (act) => other("tine_entry", { cavity: act.tine, tool: state.tool }),
    finding: (act) => other("finding", { cavity: act.cavity, note: act.finding }),
    remark: (act) => other("finding", { cavity: act.cavity, note: act.remark, blocks: false }),
    closed: (act) => other("finding_closed", { cavity: act.cavity, note: act.closed }),
    renewed: (act) => other("renewal", { cavity: act.cavity, note: act.renewed }),
    mated: () => other("mating", {}),
    unmated: () => other("unmating", {}),
    undo: (act) => hear({ type: "undo", text: act.undo }),
    idle_min: (act) => wait(act.idle_min),
    restart: (act) => {
      state = talk.begin(JSON.parse(JSON.stringify(talk.memory(state))));
      wait(act.after_min ?? 0);
      hear({ type: "resume" });
    },
  };
  hear({ type: "typed", field: "mark", text: serial, reading: { text: serial } });
  for (const act of scenario.acts) {
    asked = null;
    ACTS[Object.keys(act)[0]](act);
    if ((asked !== null) !== ("answers" in act)) throw new Error(`asked: ${JSON.stringify(asked)} after ${JSON.stringify(act)}`);
    if (asked) advise(act.answers);
  }
  const open = state.pending.map((at) => state.steps[at].cavity);
  return { kept, after: { badge: state.shift.badge, at_hand: state.subject !== null, open, to_test: state.to_test } };
}
