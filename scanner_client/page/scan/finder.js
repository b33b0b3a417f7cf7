// @ts-check
// The finder pattern of a square Data Matrix (ISO/IEC 16022): two solid sides, two of alternating modules.
// Pure; the twin of scanner_client/finder.py.

/** @typedef {{values: Float32Array, size: number}} Field a square of modules, 1 dark, -1 light */
/** @typedef {{score: number, size: number, row: number, column: number, turns: number, polarity: number}} Find a square in a field whose border looks like a finder pattern; quarter turns against the clock bring it upright; polarity -1 is light on dark */

/** Modules to a side, of the square symbols that hold one data region; 10 is left out, since a handful of characters has too little correction to be drawn anew and believed. */
const SIZES = [12, 14, 16, 18, 20, 22, 24, 26];

/** The border upright: 1 dark, -1 light; 0 inside, where the data are. @param {number} size @returns {Field} */
export function pattern(size) {
  const values = new Float32Array(size * size);
  const last = size - 1;
  for (let at = 0; at < size; at += 1) {
    values[at] = at % 2 === 0 ? 1 : -1;
    values[at * size + last] = at % 2 === 0 ? -1 : 1;
  }
  for (let at = 0; at < size; at += 1) values[at * size] = values[last * size + at] = 1;
  return { values, size };
}

/** Turned by quarters against the clock. @param {Field} field @param {number} turns @returns {Field} */
export function quartered(field, turns) {
  const { size } = field;
  let { values } = field;
  for (let turn = ((turns % 4) + 4) % 4; turn > 0; turn -= 1) {
    const before = values;
    values = before.map((_, at) => before[(at % size) * size + size - 1 - Math.floor(at / size)]);
  }
  return { values, size };
}

/** The best place of each size, turn and polarity in a field, the best first. @param {Field} field @returns {Find[]} */
export function best(field) {
  const sums = running(field);
  const found = [];
  for (const size of SIZES) if (size <= field.size) found.push(...bestOf(sums, field.size, size));
  return found.sort((one, other) => other.score - one.score);
}

/** @typedef {{down: Float32Array, along: Float32Array, downTurning: Float32Array, alongTurning: Float32Array}} Sums running sums, plain and with alternating sign; each row or column begins with nought */

/** @param {Field} field @returns {Sums} */
function running({ values, size }) {
  const wide = size + 1;
  const [down, along, downTurning, alongTurning] = [0, 1, 2, 3].map(() => new Float32Array(wide * wide));
  for (let row = 0; row < size; row += 1) {
    for (let column = 0; column < size; column += 1) {
      const [at, value] = [row * wide + column, values[row * size + column]];
      down[at + wide] = down[at] + value;
      along[at + 1] = along[at] + value;
      downTurning[at + wide] = downTurning[at] + (row % 2 === 0 ? value : -value);
      alongTurning[at + 1] = alongTurning[at] + (column % 2 === 0 ? value : -value);
    }
  }
  return { down, along, downTurning, alongTurning };
}

/** @param {Sums} sums @param {number} fieldSize @param {number} size @returns {Find[]} */
function bestOf(sums, fieldSize, size) {
  /** @type {Find[]} */
  const tops = [];
  for (let turns = 0; turns < 4; turns += 1) for (const polarity of [1, -1]) tops.push({ score: -9, size, row: 0, column: 0, turns, polarity });
  for (let row = 0; row + size <= fieldSize; row += 1) {
    for (let column = 0; column + size <= fieldSize; column += 1) {
      const scores = likeness(sums, fieldSize + 1, size, row, column);
      for (const top of tops) {
        // Of two that look the same the bigger one is no accident.
        const score = (scores[top.turns] * top.polarity) / (4 * size) + 0.002 * size;
        if (score > top.score) Object.assign(top, { score, row, column });
      }
    }
  }
  return tops;
}

/** How much a square looks like a finder pattern, for each number of turns to upright. @param {Sums} sums @param {number} wide @param {number} size @param {number} row @param {number} column */
function likeness(sums, wide, size, row, column) {
  const last = size - 1;
  const [rowSign, columnSign] = [row % 2 === 0 ? 1 : -1, column % 2 === 0 ? 1 : -1];
  const upper = row * wide + column;
  const [lower, end] = [upper + size * wide, upper + size];
  const [left, right] = [sums.down[lower] - sums.down[upper], sums.down[lower + last] - sums.down[upper + last]];
  const [above, below] = [sums.along[end] - sums.along[upper], sums.along[end + last * wide] - sums.along[upper + last * wide]];
  // Positive where the first module, the upper or the left one, is dark.
  const leftTurning = (sums.downTurning[lower] - sums.downTurning[upper]) * rowSign;
  const rightTurning = (sums.downTurning[lower + last] - sums.downTurning[upper + last]) * rowSign;
  const aboveTurning = (sums.alongTurning[end] - sums.alongTurning[upper]) * columnSign;
  const belowTurning = (sums.alongTurning[end + last * wide] - sums.alongTurning[upper + last * wide]) * columnSign;
  return [
    left + below + aboveTurning - rightTurning,
    above + left + rightTurning + belowTurning,
    right + above - belowTurning + leftTurning,
    below + right - leftTurning - aboveTurning,
  ];
}
