// @ts-check
// What the screens say about figures, times and places: each said in one way everywhere.

/** @type {Record<string, string>} */
export const ANSWERS = { go: "GO", warn: "WARN", no_go: "NO GO", none: "NO ANSWER" };
/** @type {Record<string, string>} */
export const FACES = { mating_face: "Mating face (front)", wire_side: "Wire side (rear)" };
/** @type {Record<string, string>} */
export const ACTIONS = { insert: "Insert", remove: "Remove", replace: "Replace" };
/** @type {Record<string, string>} */
export const ACTIONS_DONE = { insert: "inserted", remove: "removed", replace: "replaced" };
const LBF_N = 4.4482216152605;

/** C and c are two cavities, and a screen reader says them alike. @param {string} id */
export const spoken = (id) => (/[a-z]/.test(id) && id === id.toLowerCase() ? `small ${id}` : id);

/** @param {boolean | null} occupied */
export const held = (occupied) => (occupied === null ? "contact not known" : occupied ? "contact in" : "empty");

/** @param {number} count @param {string} one @param {string} many */
export const counted = (count, one, many) => `${count} ${count === 1 ? one : many}`;

/** @param {any} rating */
export function rated(rating) {
  if (!rating) return "No rating is recorded.";
  const place = [rating.document, rating.revision && `rev. ${rating.revision}`, rating.paragraph && `para. ${rating.paragraph}`];
  const source = place.filter(Boolean).join(" ") || "no document named";
  const proof = rating.verified ? `verified by ${rating.verified_by} on ${rating.verified_on}` : "NOT VERIFIED";
  return `Rated ${rating.value} cycles, ${rating.basis}, ${source}: ${proof}`;
}

/** A force as the shop likes it. @param {number} force_n @param {"N" | "lbf"} unit */
export function force(force_n, unit) {
  return unit === "N" ? `${force_n.toFixed(1)} N` : `${(force_n / LBF_N).toFixed(1)} lbf`;
}

/** A typed force in newtons; null for none. @param {string} text @param {"N" | "lbf"} unit @returns {number | null} */
export function newtons(text, unit) {
  const told = text.trim().replace(",", ".");
  if (!told) return null;
  const number = Number(told);
  if (!Number.isFinite(number) || number < 0) return NaN;
  return unit === "N" ? number : Math.round(number * LBF_N * 10) / 10;
}

/** How long ago, or ahead. @param {number} ms */
export function age(ms) {
  const minutes = Math.floor(Math.abs(ms) / 60000);
  if (minutes < 1) return "less than a minute";
  if (minutes < 60) return counted(minutes, "minute", "minutes");
  if (minutes < 48 * 60) return counted(Math.floor(minutes / 60), "hour", "hours");
  return counted(Math.floor(minutes / 1440), "day", "days");
}

/** @param {any} place */
export const placed = (place) => [place?.asset, place?.zone, place?.position].filter(Boolean).join(" · ");

/** @param {any} each a line of connectors */
export const lineOf = (each) => `${each.serial}, part ${each.part_number ?? "not known"}${placed(each.place) ? `, ${placed(each.place)}` : ""}`;
