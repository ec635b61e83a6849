// What the page gets: a JSON head in #data and one packed block of arrays a layer in #layer-K.
// The Python side writes the same layout (report/_sheet_data.py); sheet.schema.json describes the head.

/**
 * @typedef {object} Finding
 * @property {string} code
 * @property {"note"|"warning"|"error"} level
 * @property {string} text
 * @property {number} number       its balloon; counts the findings of plan.json from 1
 * @property {number} [layer]
 * @property {number[]} [at_mm]    machine coordinates
 * @property {number} [face]
 * @property {number} [measured]
 * @property {number} [allowed]
 * @property {string} [unit]
 * @property {number} [line]       of the program
 */

/**
 * @typedef {object} LayerRow      a row of plan.json, and
 * @property {number} index
 * @property {number} z0_mm
 * @property {number} z_mm
 * @property {number} height_mm
 * @property {Object<string, number>} counts   lengths of the packed arrays
 * @property {number[][]} front    intervals that the layer's region covers in x
 * @property {number[][]} side     and in y
 */

/**
 * @typedef {object} Sheet
 * @property {string} format
 * @property {number} quantum_mm   unit of packed coordinates
 * @property {string[][]} layout   name, type and what it counts, of each packed array
 * @property {string[]} roles
 * @property {LayerRow[]} layers
 * @property {Finding[]} findings
 * @property {object[]} settings   key, value, from; allowed, standing where they are known
 * @property {object[]} faces
 * @property {object} input
 * @property {object} totals
 * @property {object} bounds_mm
 * @property {number[][]} box_mm   of part and beads, machine coordinates
 */

/**
 * @typedef {object} Layer         decoded arrays of one layer; lengths in mm
 * @property {Float64Array} x      end of each move
 * @property {Float64Array} y
 * @property {Float64Array} x0     and its start
 * @property {Float64Array} y0
 * @property {Float32Array} bulge  tan(sweep / 4); 0 for a straight move
 * @property {Float64Array} length
 * @property {Float64Array} until  seconds at the programmed feed from the layer's first bead to the move's end
 * @property {Int32Array} run      of each move
 * @property {Uint32Array} line    of the program
 */

const TYPES = { i4: Int32Array, u4: Uint32Array, f4: Float32Array, u2: Uint16Array, u1: Uint8Array };
const NO_FACE = 65535;

/** @returns {Sheet} */
export function readSheet() {
  return JSON.parse(document.getElementById("data").textContent);
}

/** Bytes of a base64 text. */
export function bytesOf(text) {
  const raw = atob(text);
  const bytes = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) bytes[i] = raw.charCodeAt(i);
  return bytes;
}

/** Typed arrays that stand one after another in a block. */
export function splitBlock(layout, counts, bytes) {
  const arrays = {};
  let place = 0;
  for (const [name, type, what] of layout) {
    const Kind = TYPES[type.slice(1)];
    arrays[name] = new Kind(bytes.buffer, place, counts[what]);
    place += arrays[name].byteLength;
  }
  return arrays;
}

/** Length of a move with a bulge: chord * (1 + b^2) / (2 b) * 2 atan(b). */
export function moveLength(dx, dy, bulge) {
  const chord = Math.hypot(dx, dy);
  if (!bulge) return chord;
  const b = Math.abs(bulge);
  return (chord * (1 + b * b) * Math.atan(b)) / b;
}

/** Centre, radius and angles of a move with a bulge. */
export function arcOf(x0, y0, x1, y1, bulge) {
  const k = (1 - bulge * bulge) / (4 * bulge);
  const cx = (x0 + x1) / 2 - (y1 - y0) * k;
  const cy = (y0 + y1) / 2 + (x1 - x0) * k;
  const sweep = 4 * Math.atan(bulge);
  return { cx, cy, r: Math.hypot(x0 - cx, y0 - cy), from: Math.atan2(y0 - cy, x0 - cx), sweep };
}

/** Decode the block of a layer; the last few stay decoded. */
export function layerSource(sheet) {
  const kept = new Map();
  return (place) => {
    if (kept.has(place)) return kept.get(place);
    const layer = decode(sheet, place);
    kept.set(place, layer);
    if (kept.size > 6) kept.delete(kept.keys().next().value);
    return layer;
  };
}

function decode(sheet, place) {
  const row = sheet.layers[place];
  const raw = splitBlock(sheet.layout, row.counts, bytesOf(document.getElementById(`layer-${place}`).textContent));
  const n = row.counts.moves, q = sheet.quantum_mm;
  const scaled = (array) => Float64Array.from(array, (v) => v * q);
  const x = scaled(raw.x), y = scaled(raw.y);
  const x0 = new Float64Array(n), y0 = new Float64Array(n), length = new Float64Array(n), until = new Float64Array(n);
  const run = new Int32Array(n), line = new Uint32Array(n);
  let time = 0;
  for (let r = 0; r < row.counts.runs; r++) {
    const first = raw.run_first[r], end = r + 1 < row.counts.runs ? raw.run_first[r + 1] : n;
    const laid = raw.run_bead[r] >= 0;
    let px = raw.run_x[r] * q, py = raw.run_y[r] * q, at = raw.run_line[r];
    for (let i = first; i < end; i++) {
      x0[i] = px; y0[i] = py; run[i] = r;
      px = x[i]; py = y[i];
      at += raw.jump[i];
      line[i] = at;
      const rise = raw.z.length && i > first ? (raw.z[i] - raw.z[i - 1]) * q : 0;
      length[i] = Math.hypot(moveLength(px - x0[i], py - y0[i], raw.bulge[i]), rise);
      if (laid && raw.run_feed[r] > 0) time += length[i] / raw.run_feed[r];
      until[i] = time;
    }
  }
  const loops = [], part = [];
  for (let k = 0; k < row.counts.loops; k++) {
    const first = raw.loop_first[k], end = k + 1 < row.counts.loops ? raw.loop_first[k + 1] : row.counts.points;
    const loop = [];
    for (let i = first; i < end; i++) {
      const next = i + 1 < end ? i + 1 : first;
      loop.push([raw.loop_x[i] * q, raw.loop_y[i] * q, raw.loop_x[next] * q, raw.loop_y[next] * q, raw.loop_bulge[i]]);
    }
    (raw.loop_part[k] ? part : loops).push(loop);
  }
  const lost = Array.from(raw.lost_x, (v, i) => [v * q, raw.lost_y[i] * q, raw.lost_length[i], raw.lost_width[i]]);
  return { ...raw, n, x, y, x0, y0, length, until, run, line, loops, part, lost, seconds: time, place, row };
}

export function faceOf(layer, move) {
  const face = layer.face[move];
  return face === NO_FACE ? null : face;
}
