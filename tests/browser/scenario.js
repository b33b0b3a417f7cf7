// Drives the page's dialogue through one scenario; gives the entries that it kept.
async ([shared, scenario]) => {
  const talk = await import("/core/talk.js");
  let count = 0;
  const kept = [];
  let asked = null;
  let state = { ...talk.begin({ shift: shared.shift }), used_at_ms: 1 };
  const hear = (heard) => {
    const ids = Array.from({ length: 50 }, () => `id-${count++}`);
    const [next, effects] = talk.step(state, heard, { at_ms: 1793610000000 + 1000 * count, ids });
    state = next;
    for (const each of effects) {
      if (each.type === "keep") kept.push(...each.entries);
      if (each.type === "ask") asked = each;
    }
  };
  const places = (cavities) => state.steps.map((each, at) => [each, at]).filter(([each]) => cavities.includes(each.cavity)).map(([, at]) => at);
  const advise = (answers) => hear({ type: "advised", advice: { remarks: [], plan: {
    answer: answers.includes("no_go") ? "no_go" : answers.includes("warn") ? "warn" : "go",
    steps: asked.steps.map((each, at) => ({ ...each, answer: answers[at], reasons: [] })), work: [], cautions: [] } } });
  const ACTS = {
    plan: (act) => {
      hear({ type: "action", action: act.plan });
      for (const cavity of act.cavities) hear({ type: "toggle", cavity });
      hear({ type: "ask" });
      advise(act.answers);
    },
    tool: (act) => hear({ type: "typed", field: "tool", text: act.tool }),
    contact: (act) => hear({ type: "typed", field: "contact", text: act.contact }),
    done: (act) => hear({ type: "done", places: places(act.done) }),
    not_done: () => hear({ type: "not_done" }),
    reason: (act) => hear({ type: "reason", text: act.reason }),
    cancel: () => hear({ type: "cancel" }),
    held: (act) => hear({ type: "seated", cavity: act.held, held: true, force_n: act.force_n }),
    failed: (act) => hear({ type: "seated", cavity: act.failed, held: false }),
    tine: (act) => hear({ type: "other", kind: "tine_entry", fields: { cavity: act.tine, tool: state.tool } }),
    finding: (act) => hear({ type: "other", kind: "finding", fields: { cavity: act.cavity, note: act.finding } }),
    remark: (act) => hear({ type: "other", kind: "finding", fields: { cavity: act.cavity, note: act.remark, blocks: false } }),
    mated: () => hear({ type: "other", kind: "mating", fields: {} }),
    unmated: () => hear({ type: "other", kind: "unmating", fields: {} }),
    undo: (act) => hear({ type: "undo", text: act.undo }),
  };
  const { id, serial, cavities } = shared.connector;
  const view = { cavities: cavities.map(([name, size]) => ({ id: name, contact_size: size })) };
  hear({ type: "opened", subject: { mark: serial, connector: id, name: serial, part_number: null, snapshot: null, remarks: [] }, view });
  for (const act of scenario.acts) ACTS[Object.keys(act)[0]](act);
  return { kept, phase: state.phase };
}
