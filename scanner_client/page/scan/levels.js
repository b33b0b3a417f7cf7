// @ts-check
// Grey levels in small steps: blur, thin, thicken, resize, spread. Pure; the twin of scanner_client/levels.py, whose
// figures hold here, but for blurs, which are true Gaussians.

/** @typedef {{data: Uint8Array, width: number, height: number}} Grey */

/** A picture of this size. @param {number} width @param {number} height @returns {Grey} */
export const blank = (width, height) => ({ data: new Uint8Array(width * height), width, height });

/** The levels of a colour picture (weights of ITU-R BT.601). @param {Uint8ClampedArray | Uint8Array} rgba @param {number} width @param {number} height @returns {Grey} */
export function fromColours(rgba, width, height) {
  const made = blank(width, height);
  for (let at = 0, from = 0; at < made.data.length; at += 1, from += 4) {
    made.data[at] = (306 * rgba[from] + 601 * rgba[from + 1] + 117 * rgba[from + 2] + 512) >> 10;
  }
  return made;
}

/** A part of it, cut at its edges. @param {Grey} grey @param {number} left @param {number} top @param {number} width @param {number} height @returns {Grey} */
export function cut(grey, left, top, width, height) {
  const [x, y] = [Math.max(0, left), Math.max(0, top)];
  const made = blank(Math.max(0, Math.min(grey.width, left + width) - x), Math.max(0, Math.min(grey.height, top + height) - y));
  for (let row = 0; row < made.height; row += 1) {
    const from = (y + row) * grey.width + x;
    made.data.set(grey.data.subarray(from, from + made.width), row * made.width);
  }
  return made;
}

/** The same picture, its rows as columns. @param {Grey} grey @returns {Grey} */
export function transposed(grey) {
  const { data, width, height } = grey;
  const made = blank(height, width);
  for (let y = 0; y < height; y += 1) for (let x = 0, to = y; x < width; x += 1, to += height) made.data[to] = data[y * width + x];
  return made;
}

/** A Gaussian blur. @param {Grey} grey @param {number} sigma_px @returns {Grey} */
export function blurred(grey, sigma_px) {
  const reach = Math.ceil(3 * sigma_px);
  const bell = Float32Array.from({ length: 2 * reach + 1 }, (_, at) => Math.exp(-0.5 * ((at - reach) / sigma_px) ** 2));
  const sum = bell.reduce((before, each) => before + each, 0);
  return transposed(along(transposed(along(grey, bell.map((each) => each / sum))), bell.map((each) => each / sum)));
}

/** Each row folded with a symmetric kernel. @param {Grey} grey @param {Float32Array} kernel @returns {Grey} */
function along(grey, kernel) {
  const { width, height } = grey;
  const reach = kernel.length >> 1;
  const made = blank(width, height);
  const row = new Float32Array(width + 2 * reach);
  for (let y = 0; y < height; y += 1) {
    padded(row, grey.data, y * width, width, reach);
    for (let x = 0; x < width; x += 1) {
      let sum = kernel[reach] * row[x + reach];
      for (let step = 1; step <= reach; step += 1) sum += kernel[reach + step] * (row[x + reach - step] + row[x + reach + step]);
      made.data[y * width + x] = sum + 0.5;
    }
  }
  return made;
}

/** A row with its ends repeated. @param {Float32Array | Int32Array | Uint8Array} row @param {Uint8Array} data @param {number} from @param {number} width @param {number} reach */
function padded(row, data, from, width, reach) {
  row.fill(data[from], 0, reach);
  row.set(data.subarray(from, from + width), reach);
  row.fill(data[from + width - 1], reach + width);
}

/** The mean of a square around each pixel. @param {Grey} grey @param {number} reach_px @returns {Grey} */
export function averaged(grey, reach_px) {
  return transposed(runningMean(transposed(runningMean(grey, reach_px)), reach_px));
}

/** @param {Grey} grey @param {number} reach @returns {Grey} */
function runningMean(grey, reach) {
  const { width, height } = grey;
  const made = blank(width, height);
  const row = new Int32Array(width + 2 * reach);
  const count = 2 * reach + 1;
  for (let y = 0; y < height; y += 1) {
    padded(row, grey.data, y * width, width, reach);
    let sum = 0;
    for (let x = 0; x < count; x += 1) sum += row[x];
    for (let x = 0; x < width; x += 1) {
      made.data[y * width + x] = sum / count + 0.5;
      sum += row[x + count] - row[x];
    }
  }
  return made;
}

/** An unsharp mask. @param {Grey} grey @param {number} sigma_px @param {number} amount @returns {Grey} */
export function sharpened(grey, sigma_px, amount) {
  const soft = blurred(grey, sigma_px).data;
  const made = blank(grey.width, grey.height);
  for (let at = 0; at < soft.length; at += 1) {
    made.data[at] = clipped(grey.data[at] + amount * (grey.data[at] - soft[at]));
  }
  return made;
}

/** @param {number} level */
const clipped = (level) => (level < 0 ? 0 : level > 255 ? 255 : level);

/** Grey erosion: the darkest pixel of a square around each. Dark dots grow together. @param {Grey} grey @param {number} side_px @returns {Grey} */
export const darkest = (grey, side_px) => inverted(lightest(inverted(grey), side_px));

/** Grey dilation: the lightest pixel of a square around each. Light dots grow together, dark specks go. @param {Grey} grey @param {number} side_px @returns {Grey} */
export const lightest = (grey, side_px) => transposed(rowMost(transposed(rowMost(grey, side_px)), side_px));

/** Black for white. @param {Grey} grey @returns {Grey} */
export const inverted = (grey) => ({ ...grey, data: grey.data.map((each) => 255 - each) });

/** The reach doubles each time, so that a big square costs little more than a small one. @param {Grey} grey @param {number} side @returns {Grey} */
function rowMost(grey, side) {
  const { width, height } = grey;
  const made = blank(width, height);
  const before = side >> 1;
  const row = new Uint8Array(width + side - 1);
  for (let y = 0; y < height; y += 1) {
    row.fill(grey.data[y * width], 0, before);
    row.set(grey.data.subarray(y * width, (y + 1) * width), before);
    row.fill(grey.data[(y + 1) * width - 1], before + width);
    for (let reach = 1, left = row.length; reach < side; ) {
      const step = Math.min(reach, side - reach);
      left -= step;
      for (let x = 0; x < left; x += 1) if (row[x + step] > row[x]) row[x] = row[x + step];
      reach += step;
    }
    made.data.set(row.subarray(0, width), y * width);
  }
  return made;
}

/** So many times the size, smoothly. @param {Grey} grey @param {number} factor @returns {Grey} */
export function scaled(grey, factor) {
  const [width, height] = [Math.max(1, Math.round(grey.width * factor)), Math.max(1, Math.round(grey.height * factor))];
  if (width === grey.width && height === grey.height) return grey;
  return transposed(rowsResized(transposed(rowsResized(grey, width)), height));
}

/** Each row at another length, by cubics (a = -1/2) that widen where it shrinks. @param {Grey} grey @param {number} width @returns {Grey} */
function rowsResized(grey, width) {
  const made = blank(width, grey.height);
  const ratio = grey.width / width;
  const wide = Math.max(1, ratio);
  const count = Math.ceil(4 * wide) + 1;
  const weights = new Float32Array(width * count);
  const starts = new Int32Array(width);
  for (let x = 0; x < width; x += 1) {
    const middle = (x + 0.5) * ratio - 0.5;
    starts[x] = Math.ceil(middle - 2 * wide);
    let sum = 0;
    for (let at = 0; at < count; at += 1) sum += weights[x * count + at] = cubic((starts[x] + at - middle) / wide);
    for (let at = 0; at < count; at += 1) weights[x * count + at] /= sum;
  }
  const reach = count + 2;
  const row = new Float32Array(grey.width + 2 * reach);
  for (let y = 0; y < grey.height; y += 1) {
    padded(row, grey.data, y * grey.width, grey.width, reach);
    for (let x = 0; x < width; x += 1) {
      let sum = 0;
      for (let at = 0, from = starts[x] + reach; at < count; at += 1) sum += weights[x * count + at] * row[from + at];
      made.data[y * width + x] = clipped(sum + 0.5);
    }
  }
  return made;
}

/** @param {number} away */
function cubic(away) {
  const far = Math.abs(away);
  if (far >= 2) return 0;
  return far < 1 ? (1.5 * far - 2.5) * far * far + 1 : ((-0.5 * far + 2.5) * far - 4) * far + 2;
}

/** A whole fraction of the size, each pixel the mean of those it replaces. @param {Grey} grey @param {number} factor @returns {Grey} */
export function reduced(grey, factor) {
  const made = blank(Math.floor(grey.width / factor), Math.floor(grey.height / factor));
  const all = factor * factor;
  for (let y = 0; y < made.height; y += 1) {
    for (let x = 0; x < made.width; x += 1) {
      let sum = all >> 1;
      for (let row = 0; row < factor; row += 1) {
        const from = (y * factor + row) * grey.width + x * factor;
        for (let column = 0; column < factor; column += 1) sum += grey.data[from + column];
      }
      made.data[y * made.width + x] = sum / all;
    }
  }
  return made;
}

/** The level that such a part (0 to 1) of all pixels does not exceed. @param {Grey} grey @param {number} part */
export function level(grey, part) {
  const count = new Uint32Array(256);
  for (let at = 0; at < grey.data.length; at += 1) count[grey.data[at]] += 1;
  let left = part * grey.data.length;
  for (let found = 0; found < 256; found += 1) {
    left -= count[found];
    if (left <= 0) return found;
  }
  return 255;
}

/** Full contrast: all but the outermost hundredths of the levels are pulled out to black and white. @param {Grey} grey @returns {Grey} */
export function spread(grey) {
  const [dark, light] = [level(grey, 0.02), level(grey, 0.98)];
  const factor = 255 / Math.max(light - dark, 8);
  const table = Uint8Array.from({ length: 256 }, (_, each) => clipped((each - dark) * factor));
  return { ...grey, data: grey.data.map((each) => table[each]) };
}

/** Black where darker than the mean of the surroundings, else white. @param {Grey} grey @param {number} reach_px @returns {Grey} */
export function againstSurroundings(grey, reach_px) {
  const around = averaged(grey, reach_px).data;
  return { ...grey, data: grey.data.map((each, at) => (each < around[at] - 1 ? 0 : 255)) };
}

/** Turned about its middle by degrees against the clock; what was outside is paper. @param {Grey} grey @param {number} degrees @returns {Grey} */
export function turned(grey, degrees) {
  const { data, width, height } = grey;
  const made = blank(width, height);
  made.data.fill(level(grey, 0.5));
  const [cos, sin] = [Math.cos((degrees * Math.PI) / 180), Math.sin((degrees * Math.PI) / 180)];
  const [across, down] = [(width - 1) / 2, (height - 1) / 2];
  for (let y = 0; y < height; y += 1) {
    for (let x = 0; x < width; x += 1) {
      const u = cos * (x - across) - sin * (y - down) + across;
      const v = sin * (x - across) + cos * (y - down) + down;
      const [left, top] = [Math.floor(u), Math.floor(v)];
      if (left < 0 || top < 0 || left + 1 >= width || top + 1 >= height) continue;
      const at = top * width + left;
      const above = data[at] + (data[at + 1] - data[at]) * (u - left);
      const below = data[at + width] + (data[at + width + 1] - data[at + width]) * (u - left);
      made.data[y * width + x] = above + (below - above) * (v - top) + 0.5;
    }
  }
  return made;
}
