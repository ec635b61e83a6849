// The section drawing: one layer from above, in true arcs.

import { gathered } from "./balloons.js";
import { addMove, arrow, balloon, fitted, letters } from "./canvas.js";
import { colouring } from "./colours.js";
import { arcOf } from "./contract.js";
import { roleLine } from "./palette.js";
import { lengthText, roundLength } from "./units.js";

/** Bands are drawn a little narrower than the bead, so that neighbours stay apart to the eye. */
const CORE = 0.86;
/** Findings nearer to each other share a balloon, CSS pixels. */
const TOGETHER_HERE = 26;

export function createView() {
  const view = {
    cx: 0, cy: 0, scale: 1, width: 1, height: 1,
    x: (v) => view.width / 2 + (v - view.cx) * view.scale,
    y: (v) => view.height / 2 - (v - view.cy) * view.scale,
    worldX: (v) => view.cx + (v - view.width / 2) / view.scale,
    worldY: (v) => view.cy - (v - view.height / 2) / view.scale,
    fit(box, share = 0.88) {
      const w = Math.max(box[1][0] - box[0][0], 1), h = Math.max(box[1][1] - box[0][1], 1);
      view.cx = (box[0][0] + box[1][0]) / 2;
      view.cy = (box[0][1] + box[1][1]) / 2;
      view.scale = share * Math.min(view.width / w, (view.height - 40) / h);
    },
    zoom(factor, sx = view.width / 2, sy = view.height / 2) {
      const wx = view.worldX(sx), wy = view.worldY(sy);
      view.scale = Math.min(1e5, Math.max(1e-3, view.scale * factor));
      view.cx = wx - (sx - view.width / 2) / view.scale;
      view.cy = wy + (sy - view.height / 2) / view.scale;
    },
  };
  return view;
}

/** Draw a layer. `state` says what is picked; `marks` are the findings of this layer. */
export function drawSection(canvas, view, sheet, layer, state, palette, marks) {
  const { pen, width, height } = fitted(canvas);
  view.width = width;
  view.height = height;
  if (!view.placed) { view.fit(sheet.box_mm); view.placed = true; }
  pen.fillStyle = palette.field;
  pen.fillRect(0, 0, width, height);
  axes(pen, view, palette);
  region(pen, view, layer, palette, true);
  beads(pen, view, sheet, layer, state, palette);
  region(pen, view, layer, palette, false);
  finished(pen, view, layer, palette);
  if (state.traverses) traverses(pen, view, layer, palette);
  places(pen, view, layer, palette);
  startPoints(pen, view, layer, palette);
  picked(pen, view, layer, state, palette);
  dimension(pen, view, state, palette);
  const placed = marks.map((finding) => ({ finding, sx: view.x(finding.at_mm[0]), sy: view.y(finding.at_mm[1]) }));
  for (const { finding: mark, sx, sy, more } of gathered(placed, TOGETHER_HERE, state.finding)) {
    const strong = state.finding === mark.number, colour = palette[mark.level];
    pen.strokeStyle = colour;
    pen.lineWidth = 1;
    pen.setLineDash([]);
    pen.beginPath();
    pen.moveTo(sx, sy);
    pen.lineTo(sx + 22, sy - 22);
    pen.stroke();
    pen.beginPath();
    pen.arc(sx, sy, 2.5, 0, 2 * Math.PI);
    pen.fillStyle = colour;
    pen.fill();
    balloon(pen, sx + 28, sy - 28, mark.number, colour, palette.field, strong, more);
  }
  bar(pen, view, state.unit, palette);
}

/** Machine axes as centre lines, ISO 128: long dash, dot. */
function axes(pen, view, palette) {
  pen.strokeStyle = palette.faint;
  pen.lineWidth = 0.7;
  pen.setLineDash([16, 4, 2, 4]);
  pen.beginPath();
  pen.moveTo(view.x(0), 0);
  pen.lineTo(view.x(0), view.height);
  pen.moveTo(0, view.y(0));
  pen.lineTo(view.width, view.y(0));
  pen.stroke();
  pen.setLineDash([]);
  letters(pen, 10, palette.faint);
  if (view.x(0) > 0 && view.x(0) < view.width) pen.fillText("Y", view.x(0) + 4, 12);
  if (view.y(0) > 0 && view.y(0) < view.height) pen.fillText("X", view.width - 12, view.y(0) - 4);
}

function region(pen, view, layer, palette, filled) {
  const path = new Path2D();
  for (const loop of layer.loops) {
    loop.forEach((m, i) => addMove(path, view, m[0], m[1], m[2], m[3], m[4], i === 0));
    path.closePath();
  }
  if (filled) {
    pen.fillStyle = palette.tint;
    pen.fill(path, "nonzero");
    return;
  }
  pen.strokeStyle = palette.ink;
  pen.lineWidth = 1.4;
  pen.setLineDash([]);
  pen.stroke(path);
}

/** The finished part inside its stock, ISO 128: long dash, two dots, thin. */
function finished(pen, view, layer, palette) {
  const path = new Path2D();
  for (const loop of layer.part) {
    loop.forEach((m, i) => addMove(path, view, m[0], m[1], m[2], m[3], m[4], i === 0));
    path.closePath();
  }
  pen.strokeStyle = palette.ink;
  pen.lineWidth = 0.8;
  pen.setLineDash([12, 3, 2, 3, 2, 3]);
  pen.stroke(path);
  pen.setLineDash([]);
}

function beads(pen, view, sheet, layer, state, palette) {
  const { list, of } = colouring(sheet, layer, state.colour, palette);
  const bands = list.map(() => new Map()), lines = list.map(() => new Map());
  const count = state.run === null ? layer.n : state.move + 1;
  let last = -1;
  for (let i = 0; i < layer.n; i++) {
    if (of[i] < 0) { last = -1; continue; }
    const r = layer.run[i], later = i >= count;
    const key = `${layer.run_width[r]}|${later ? 1 : 0}`, type = layer.run_role[r];
    const band = bucket(bands[of[i]], key), line = bucket(lines[of[i]], `${type}|${later ? 1 : 0}`);
    const fresh = last !== i - 1 || layer.run[i - 1] !== r || of[i - 1] !== of[i] || i === count;
    addMove(band, view, layer.x0[i], layer.y0[i], layer.x[i], layer.y[i], layer.bulge[i], fresh);
    addMove(line, view, layer.x0[i], layer.y0[i], layer.x[i], layer.y[i], layer.bulge[i], fresh);
    last = i;
  }
  pen.lineCap = "round";
  pen.lineJoin = "round";
  pen.setLineDash([]);
  list.forEach(({ colour }, k) => {
    pen.strokeStyle = colour;
    for (const [key, path] of bands[k]) {
      const [w, later] = key.split("|");
      if (!(w > 0) || later === "1") continue;
      pen.globalAlpha = 0.34;
      pen.lineWidth = Math.max(0.5, CORE * w * view.scale);
      pen.stroke(path);
    }
  });
  pen.lineCap = "butt";
  list.forEach(({ colour }, k) => {
    pen.strokeStyle = colour;
    for (const [key, path] of lines[k]) {
      const [type, later] = key.split("|");
      pen.globalAlpha = later === "1" ? 0.25 : 1;
      pen.lineWidth = view.scale * 8 > 6 ? 1.3 : 0.9;
      pen.setLineDash(roleLine(sheet.roles[type]));
      pen.stroke(path);
    }
  });
  pen.globalAlpha = 1;
  pen.setLineDash([]);
}

function bucket(map, key) {
  if (!map.has(key)) map.set(key, new Path2D());
  return map.get(key);
}

function traverses(pen, view, layer, palette) {
  const path = new Path2D();
  for (let i = 0; i < layer.n; i++) {
    if (layer.run_bead[layer.run[i]] >= 0) continue;
    addMove(path, view, layer.x0[i], layer.y0[i], layer.x[i], layer.y[i], 0, true);
  }
  pen.strokeStyle = palette.faint;
  pen.lineWidth = 0.7;
  pen.setLineDash([5, 5]);
  pen.stroke(path);
  pen.setLineDash([]);
}

/** Places about as wide as a bead, where one may be missing: small crosses. */
function places(pen, view, layer, palette) {
  if (!layer.lost.length) return;
  pen.strokeStyle = palette.warning;
  pen.lineWidth = 1;
  // they stand 4 mm apart at most: smaller where they would touch
  const half = Math.min(3, Math.max(0.8, 1.2 * view.scale));
  pen.beginPath();
  for (const [x, y] of layer.lost) {
    const sx = view.x(x), sy = view.y(y);
    pen.moveTo(sx - half, sy - half); pen.lineTo(sx + half, sy + half);
    pen.moveTo(sx + half, sy - half); pen.lineTo(sx - half, sy + half);
  }
  pen.stroke();
}

function startPoints(pen, view, layer, palette) {
  pen.lineWidth = 1.1;
  pen.strokeStyle = palette.ink;
  pen.fillStyle = palette.field;
  const q = 1e-5;
  for (let r = 0; r < layer.run_bead.length; r++) {
    // A bead whose width changes has a run for each width; it starts with the first.
    if (layer.run_bead[r] < 0 || (r > 0 && layer.run_bead[r] === layer.run_bead[r - 1])) continue;
    pen.beginPath();
    pen.arc(view.x(layer.run_x[r] * q), view.y(layer.run_y[r] * q), 2.6, 0, 2 * Math.PI);
    pen.fill();
    pen.stroke();
  }
}

/** The move pointed at, and the place of the nozzle. */
function picked(pen, view, layer, state, palette) {
  const i = state.move;
  if (i === null || i < 0 || i >= layer.n) return;
  const path = new Path2D();
  addMove(path, view, layer.x0[i], layer.y0[i], layer.x[i], layer.y[i], layer.bulge[i], true);
  pen.strokeStyle = palette.mark;
  pen.lineWidth = 3;
  pen.stroke(path);
  const [nx, ny] = state.run === null ? [layer.x[i], layer.y[i]] : pointAlong(layer, i, state.share ?? 1);
  const sx = view.x(nx), sy = view.y(ny);
  pen.lineWidth = 1.2;
  pen.beginPath();
  pen.arc(sx, sy, 7, 0, 2 * Math.PI);
  pen.moveTo(sx - 12, sy); pen.lineTo(sx + 12, sy);
  pen.moveTo(sx, sy - 12); pen.lineTo(sx, sy + 12);
  pen.stroke();
}

/** Place at a share of a move's way. */
export function pointAlong(layer, i, share) {
  const x0 = layer.x0[i], y0 = layer.y0[i], x1 = layer.x[i], y1 = layer.y[i], b = layer.bulge[i];
  if (!b) return [x0 + (x1 - x0) * share, y0 + (y1 - y0) * share];
  const { cx, cy, r, from, sweep } = arcOf(x0, y0, x1, y1, b);
  return [cx + r * Math.cos(from + sweep * share), cy + r * Math.sin(from + sweep * share)];
}

function dimension(pen, view, state, palette) {
  const [a, b] = state.dimension;
  if (!a) return;
  pen.strokeStyle = pen.fillStyle = palette.cut;
  pen.lineWidth = 1.2;
  const ax = view.x(a[0]), ay = view.y(a[1]);
  pen.beginPath();
  pen.arc(ax, ay, 4, 0, 2 * Math.PI);
  pen.stroke();
  if (!b) return;
  const bx = view.x(b[0]), by = view.y(b[1]), angle = Math.atan2(by - ay, bx - ax);
  pen.beginPath();
  pen.moveTo(ax, ay);
  pen.lineTo(bx, by);
  pen.stroke();
  arrow(pen, bx, by, angle);
  arrow(pen, ax, ay, angle + Math.PI);
  const dx = b[0] - a[0], dy = b[1] - a[1];
  const text = lengthText(Math.hypot(dx, dy), state.unit, 3);
  const apart = `\u0394X ${lengthText(dx, state.unit, 3)}   \u0394Y ${lengthText(dy, state.unit, 3)}`;
  const mx = (ax + bx) / 2, my = (ay + by) / 2;
  letters(pen, 13, palette.cut, "center", "middle");
  const w = Math.max(pen.measureText(text).width, pen.measureText(apart).width) + 12;
  pen.fillStyle = palette.field;
  pen.globalAlpha = 0.9;
  pen.fillRect(mx - w / 2, my - 19, w, 38);
  pen.globalAlpha = 1;
  pen.fillStyle = palette.cut;
  pen.fillText(text, mx, my - 8);
  pen.font = pen.font.replace("13px", "11px");
  pen.fillText(apart, mx, my + 9);
}

function bar(pen, view, unit, palette) {
  const span = 0.22 * view.width / view.scale;
  const length = unit === "in" ? roundLength(span / 25.4) * 25.4 : roundLength(span);
  const x = 16, y = view.height - 14, w = length * view.scale;
  pen.strokeStyle = palette.ink;
  pen.lineWidth = 1.2;
  pen.beginPath();
  pen.moveTo(x, y); pen.lineTo(x + w, y);
  for (const f of [0, 0.5, 1]) { pen.moveTo(x + f * w, y - 4); pen.lineTo(x + f * w, y + 4); }
  pen.stroke();
  letters(pen, 11, palette.ink, "left", "middle");
  const digits = unit === "in" ? (length < 2.54 ? 2 : 0) : length < 1 ? 2 : 0;
  pen.fillText(lengthText(length, unit, unit === "in" ? digits - 1 < 0 ? 0 : digits - 1 : digits), x + w + 8, y);
}

/** The move nearest to a place on the screen, within some pixels; null if there is none. */
export function nearest(layer, view, sx, sy, reach = 14, withTraverses = false) {
  const wx = view.worldX(sx), wy = view.worldY(sy);
  let best = null, least = reach / view.scale;
  for (let i = 0; i < layer.n; i++) {
    const laid = layer.run_bead[layer.run[i]] >= 0;
    if (!laid && !withTraverses) continue;
    const d = distance(layer, i, wx, wy);
    if (d < least) { least = d; best = i; }
  }
  return best;
}

function distance(layer, i, wx, wy) {
  const x0 = layer.x0[i], y0 = layer.y0[i], dx = layer.x[i] - x0, dy = layer.y[i] - y0, b = layer.bulge[i];
  if (b) {
    const { cx, cy, r, from, sweep } = arcOf(x0, y0, layer.x[i], layer.y[i], b);
    const turn = 2 * Math.PI;
    let along = (Math.atan2(wy - cy, wx - cx) - from) * Math.sign(sweep);
    along = ((along % turn) + turn) % turn;
    if (along <= Math.abs(sweep)) return Math.abs(Math.hypot(wx - cx, wy - cy) - r);
    return Math.min(Math.hypot(wx - x0, wy - y0), Math.hypot(wx - layer.x[i], wy - layer.y[i]));
  }
  const t = Math.min(1, Math.max(0, ((wx - x0) * dx + (wy - y0) * dy) / (dx * dx + dy * dy || 1)));
  return Math.hypot(wx - x0 - t * dx, wy - y0 - t * dy);
}

/** A place to measure from: the end or centre of a move near the pointer, else the place itself. */
export function snapped(layer, view, sx, sy) {
  let best = [view.worldX(sx), view.worldY(sy)], least = 10 / view.scale;
  const [wx, wy] = best;
  const take = (x, y) => {
    const d = Math.hypot(x - wx, y - wy);
    if (d < least) { least = d; best = [x, y]; }
  };
  for (let i = 0; i < layer.n; i++) {
    if (layer.run_bead[layer.run[i]] < 0) continue;
    take(layer.x[i], layer.y[i]);
    if (layer.bulge[i]) {
      const { cx, cy } = arcOf(layer.x0[i], layer.y0[i], layer.x[i], layer.y[i], layer.bulge[i]);
      take(cx, cy);
    }
  }
  for (const loop of [...layer.loops, ...layer.part]) for (const m of loop) take(m[0], m[1]);
  return best;
}
