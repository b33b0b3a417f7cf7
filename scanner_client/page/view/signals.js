// @ts-check
// Answers and slips for ears and hands: each has its own rhythm, so that they can be told apart with eyes on the work.

/** Tone in hertz, length and pause in milliseconds; a vibration with the same rhythm. @type {Record<string, [number, number, number][]>} */
const RHYTHMS = {
  read: [[1400, 60, 0]],
  go: [[1050, 120, 40], [1400, 160, 0]],
  warn: [[880, 180, 120], [880, 180, 0]],
  no_go: [[330, 350, 120], [330, 350, 120], [330, 500, 0]],
  attention: [[520, 200, 0]],
};

/** @type {AudioContext | null} */
let audio = null;

/** Browsers give sound only after somebody has touched the page. */
export function wake() {
  if (!audio && "AudioContext" in window) audio = new AudioContext();
  if (audio?.state === "suspended") audio.resume().catch(() => {});
}

/** @param {string} name @param {boolean} sound */
export function give(name, sound) {
  const rhythm = RHYTHMS[name] ?? RHYTHMS.attention;
  navigator.vibrate?.(rhythm.flatMap(([, on, off]) => [on, off]));
  if (!sound || audio?.state !== "running") return;
  let at = audio.currentTime;
  for (const [hertz, on, off] of rhythm) {
    const tone = new OscillatorNode(audio, { type: "square", frequency: hertz });
    const level = new GainNode(audio, { gain: 0.2 });
    tone.connect(level).connect(audio.destination);
    tone.start(at);
    tone.stop(at + on / 1000);
    at += (on + off) / 1000;
  }
}
