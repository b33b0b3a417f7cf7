// Runs what a test asks of the page's wedge modules, in the page: {proofs, scans, strokes, keyboards, whole, taken}.
async (asked) => {
  const [wedge, profiles, keys] = await Promise.all(["wedge", "wedge_profile", "keys"].map((each) => import(`/core/${each}.js`)));
  const hex = (bytes) => Array.from(bytes, (each) => each.toString(16).padStart(2, "0")).join("");
  const proven = (profile) => (profiles.isFault(profile) ? { fault: profile } : { name: profiles.name(profile), profile });
  const told = (event) => {
    const { type } = event;
    if (type === "scan") return { type, hex: hex(event.bytes), symbology: event.symbology };
    if (type === "text") return { type, text: event.text };
    return type === "refused" ? { type, reason: event.reason } : { type, profile: event.name };
  };
  const run = ({ profile, proving, strokes, silence_ms }) => {
    let [state, event, at_ms] = [wedge.begin(profile, proving), null, 1000];
    const events = [];
    for (const [token, gap_ms, caps] of strokes) {
      at_ms += gap_ms;
      [state, event] = wedge.feed(state, token, at_ms, caps);
      if (event) events.push(told(event));
    }
    if (silence_ms) [state, event] = wedge.pause(state, at_ms + silence_ms);
    if (silence_ms && event) events.push(told(event));
    return events;
  };
  const taken = ({ profile, strokes }) => {
    let [state, at_ms] = [wedge.begin(profile), 1000];
    return strokes.map(([token, gap_ms]) => {
      at_ms += gap_ms;
      const takes = wedge.takes(state, token, at_ms);
      [state] = wedge.feed(state, token, at_ms);
      return takes;
    });
  };
  const pressed = (events) => {
    let [state, tokens] = [keys.IDLE, []];
    const found = [];
    for (const each of events.map(keyEvent)) {
      [state, tokens] = keys.press(state, each);
      found.push(...tokens);
    }
    const downs = events.map(keyEvent).filter((each) => each.type === "keydown");
    return { tokens: found, single: downs.map(keys.keyToken).filter((each) => each !== null), caps: downs.map(keys.capsLock) };
  };
  const keyEvent = ({ held = [], up, composing = false, ...rest }) => ({
    ...rest, type: up ? "keyup" : "keydown", isComposing: composing, ctrlKey: held.includes("Ctrl"), altKey: held.includes("Alt"),
    shiftKey: held.includes("Shift"), metaKey: held.includes("Meta"), getModifierState: (name) => held.includes(name),
  });
  return {
    check: hex(new TextEncoder().encode(profiles.CHECK)),
    constants: {
      fast_ms: wedge.FAST_MS, fewest: wedge.FEWEST, suffix_ms: wedge.SUFFIX_MS, idle_ms: wedge.IDLE_MS,
      fewest_without_suffix: wedge.FEWEST_WITHOUT_SUFFIX, longest_bytes: wedge.LONGEST,
    },
    unproven: wedge.UNPROVEN,
    proofs: (asked.proofs ?? []).map((tokens) => proven(profiles.prove(tokens))),
    scans: (asked.scans ?? []).map(({ profile, tokens }) => {
      const found = profiles.normalise(profile, tokens);
      return profiles.isFault(found) ? { fault: found } : { hex: hex(found) };
    }),
    strokes: (asked.strokes ?? []).map(run),
    taken: (asked.taken ?? []).map(taken),
    keyboards: (asked.keyboards ?? []).map(pressed),
    whole: (asked.whole ?? []).map(({ profile, proving, text }) => told(wedge.arrive(wedge.begin(profile, proving), text, 1000)[1])),
  };
}
