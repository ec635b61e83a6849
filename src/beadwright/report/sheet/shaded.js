// The turnable picture of the part: triangles from the CAD kernel, painted with a depth buffer of our own, so that
// it needs no graphics card, prints, and knows the face under the pointer. Nothing is measured on it.

import { balance, faceColour, ramp, rgbOf } from "./palette.js";
import { smallText } from "./units.js";

export const SHADES = ["plain", "face", "stock", "deviation"];

export function shadeMissing(sheet, kind) {
  if (kind === "stock") return sheet.faces.some((f) => f.stock_mm) ? "" : "not computed: no stock was asked for";
  if (kind === "deviation") return sheet.faces.some((f) => f.deviation_mm !== undefined) ? "" : "not computed: beadwright verify PROGRAM PART --sheet FILE measures it";
  return "";
}

/** What the colours of the faces mean, in words; "" where they only tell faces apart. */
export function shadeText(sheet, kind, unit) {
  const most = (values) => smallText(Math.max(...values.map(Math.abs)), unit);
  if (kind === "stock") return `stock: up to ${most(sheet.faces.flatMap((f) => (f.stock_mm ? [f.stock_mm.greatest] : [])))}`;
  if (kind === "deviation") return `deviation: brown outside, blue inside; greatest ${most(sheet.faces.flatMap((f) => f.deviation_mm ?? []))}`;
  return "";
}

function shadeOf(sheet, kind, palette) {
  const plain = rgbOf(palette.solid), known = sheet.faces;
  if (kind === "face") return (face) => rgbOf(faceColour(palette, face));
  if (kind === "stock") {
    const most = Math.max(...known.map((f) => f.stock_mm?.greatest ?? 0), 1e-9);
    return (face) => known[face]?.stock_mm ? rgbOf(ramp(palette, known[face].stock_mm.greatest / most)) : plain;
  }
  if (kind === "deviation") {
    const most = Math.max(...known.map((f) => Math.abs(f.deviation_mm ?? 0)), 1e-9);
    return (face) => known[face]?.deviation_mm === undefined ? plain : rgbOf(balance(palette, known[face].deviation_mm / most));
  }
  return () => plain;
}

/** Paint the part; -> what each pixel shows, for `faceAt` and for the next call, which only colours anew where it can. */
export function drawPart(canvas, sheet, state, palette, last) {
  const ratio = Math.max(1, canvas.dataset.ratio || 1);
  const w = Math.max(1, Math.round(canvas.clientWidth * ratio)), h = Math.max(1, Math.round(canvas.clientHeight * ratio));
  if (canvas.width !== w || canvas.height !== h) { canvas.width = w; canvas.height = h; }
  const seen = [w, h, state.turn, state.tip].join();
  const picture = last?.seen === seen ? last : { seen, w, h, ratio, ...raster(sheet, state, w, h) };
  const pen = canvas.getContext("2d"), image = pen.createImageData(w, h);
  paint(new Uint32Array(image.data.buffer), picture, sheet, state, palette);
  pen.putImageData(image, 0, 0);
  return picture;
}

/** By pixel: the face that is seen (-1: none), its height in the part, its light, and whether an outline runs there. */
function raster(sheet, state, w, h) {
  const depth = new Float32Array(w * h).fill(-Infinity), owner = new Int32Array(w * h).fill(-1);
  const made = { depth, owner, height: new Float32Array(w * h), light: new Float32Array(w * h), line: new Uint8Array(w * h) };
  const project = camera(sheet, state, w, h);
  const { points, corners, face } = sheet.triangles;
  const at = new Float64Array(points.length);
  for (let i = 0; i < points.length; i += 3) project(points[i], points[i + 1], points[i + 2], at, i);
  for (let t = 0; t < face.length; t++) {
    const a = 3 * corners[3 * t], b = 3 * corners[3 * t + 1], c = 3 * corners[3 * t + 2];
    const area = (at[b] - at[a]) * (at[c + 1] - at[a + 1]) - (at[b + 1] - at[a + 1]) * (at[c] - at[a]);
    if (area !== 0) fill(made, at, points, a, b, c, area, w, h, face[t], lightOf(points, a, b, c, project.light));
  }
  outlines(made, w, h, project.step);
  return made;
}

function paint(pixels, { owner, height, light, line }, sheet, state, palette) {
  const field = packed(rgbOf(palette.field), 1), ink = packed(rgbOf(palette.ink), 1), cut = rgbOf(palette.cut);
  const shade = shadeOf(sheet, state.shade, palette), known = new Map(), row = sheet.layers[state.layer];
  const colourOf = (face) => { if (!known.has(face)) known.set(face, shade(face)); return known.get(face); };
  for (let i = 0; i < pixels.length; i++) {
    if (line[i]) pixels[i] = ink;
    else if (owner[i] < 0) pixels[i] = field;
    else if (row && height[i] > row.z0_mm && height[i] <= row.z_mm) pixels[i] = packed(cut, 0.6 + 0.4 * light[i]);
    else pixels[i] = packed(colourOf(owner[i]), light[i]);
  }
}

function packed(rgb, light) {
  const at = (v) => Math.min(255, Math.round(v * light));
  return (255 << 24) | (at(rgb[2]) << 16) | (at(rgb[1]) << 8) | at(rgb[0]);
}

/** Turn about z, then tip: x to the right, y up, depth towards the eye. */
function camera(sheet, state, w, h) {
  const box = sheet.whole_mm, mid = [0, 1, 2].map((k) => (box[0][k] + box[1][k]) / 2);
  const size = Math.hypot(...[0, 1, 2].map((k) => box[1][k] - box[0][k])) || 1;
  const ct = Math.cos(state.turn), st = Math.sin(state.turn), cp = Math.cos(state.tip), sp = Math.sin(state.tip);
  let wide = 0, tall = 0;
  for (let k = 0; k < 8; k++) {
    const [x, y, z] = [0, 1, 2].map((i) => box[(k >> i) & 1][i] - mid[i]);
    wide = Math.max(wide, Math.abs(ct * x + st * y));
    tall = Math.max(tall, Math.abs(cp * z + sp * (-st * x + ct * y)));
  }
  const scale = 0.46 * Math.min(w / (wide || 1), h / (tall || 1));
  const project = (x, y, z, out, i) => {
    const dx = x - mid[0], dy = y - mid[1], dz = z - mid[2];
    const across = ct * dx + st * dy, away = -st * dx + ct * dy;
    out[i] = w / 2 + scale * across;
    out[i + 1] = h / 2 - scale * (cp * dz + sp * away);
    out[i + 2] = sp * dz - cp * away;
  };
  // from over the left shoulder
  const l = [-0.45, 0.75, 0.55];
  project.light = [ct * l[0] + st * cp * l[2] - st * sp * l[1], st * l[0] - ct * cp * l[2] + ct * sp * l[1], cp * l[1] + sp * l[2]];
  project.step = size / 30;
  return project;
}

function lightOf(p, a, b, c, light) {
  const ux = p[b] - p[a], uy = p[b + 1] - p[a + 1], uz = p[b + 2] - p[a + 2];
  const vx = p[c] - p[a], vy = p[c + 1] - p[a + 1], vz = p[c + 2] - p[a + 2];
  const nx = uy * vz - uz * vy, ny = uz * vx - ux * vz, nz = ux * vy - uy * vx;
  const n = Math.hypot(nx, ny, nz) || 1;
  return 0.62 + 0.38 * Math.abs((nx * light[0] + ny * light[1] + nz * light[2]) / n);
}

function fill({ depth, owner, height, light }, at, points, a, b, c, area, w, h, face, lit) {
  const x0 = Math.max(0, Math.ceil(Math.min(at[a], at[b], at[c]) - 0.5)), x1 = Math.min(w - 1, Math.floor(Math.max(at[a], at[b], at[c]) - 0.5));
  const y0 = Math.max(0, Math.ceil(Math.min(at[a + 1], at[b + 1], at[c + 1]) - 0.5)), y1 = Math.min(h - 1, Math.floor(Math.max(at[a + 1], at[b + 1], at[c + 1]) - 0.5));
  const za = points[a + 2], zb = points[b + 2], zc = points[c + 2];
  for (let y = y0; y <= y1; y++) {
    for (let x = x0; x <= x1; x++) {
      const px = x + 0.5, py = y + 0.5;
      const wa = ((at[b] - px) * (at[c + 1] - py) - (at[b + 1] - py) * (at[c] - px)) / area;
      const wb = ((at[c] - px) * (at[a + 1] - py) - (at[c + 1] - py) * (at[a] - px)) / area;
      const wc = 1 - wa - wb;
      if (wa < 0 || wb < 0 || wc < 0) continue;
      const d = wa * at[a + 2] + wb * at[b + 2] + wc * at[c + 2], i = y * w + x;
      if (d <= depth[i]) continue;
      depth[i] = d;
      owner[i] = face;
      height[i] = wa * za + wb * zb + wc * zc;
      light[i] = lit;
    }
  }
}

/** A line where the face or the depth changes. */
function outlines({ line, owner, depth }, w, h, step) {
  for (let y = 0; y < h - 1; y++) {
    for (let x = 0; x < w - 1; x++) {
      const i = y * w + x;
      for (const j of [i + 1, i + w]) {
        if (owner[i] === owner[j] && !(Math.abs(depth[i] - depth[j]) > step)) continue;
        line[depth[i] >= depth[j] ? i : j] = 1;
      }
    }
  }
}

export function faceAt(picture, x, y) {
  if (!picture) return null;
  const px = Math.floor(x * picture.ratio), py = Math.floor(y * picture.ratio);
  if (px < 0 || py < 0 || px >= picture.w || py >= picture.h) return null;
  const face = picture.owner[py * picture.w + px];
  return face < 0 ? null : face;
}
