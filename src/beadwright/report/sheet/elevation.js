// The elevation: the part on the platform from the side, on the z scale that the build column shares.

import { columned, gathered, uncrossed } from "./balloons.js";
import { arrow, balloon, fitted, letters } from "./canvas.js";
import { fixed, lengthText } from "./units.js";

/** Room above and below the drawing, in CSS pixels: headings of the column's lanes, dimensions. */
export const ABOVE = 66, BELOW = 62;
/** And to the sides of the elevation: the height's dimension, the balloons. */
const LEFT = 56, RIGHT = 50;
/** The column of balloons from the right, their pitch, and how near places lie together, CSS pixels. */
const COLUMN = 18, PITCH = 23, TOGETHER = 20;

/** Least height of a layer in a drawing at true scale, CSS pixels; below it z is drawn higher than x. */
const LEAST_LAYER = 3;

/** The horizontal scale that shows all of the part. */
function acrossScale(sheet, width, side) {
  const axis = side ? 1 : 0;
  return (width - LEFT - RIGHT) / Math.max(sheet.whole_mm[1][axis] - sheet.whole_mm[0][axis], 1);
}

/** The z scale of elevation and build column: that of x, unless layers would then be too low to pick. */
export function zScale(sheet, width, height, side) {
  const top = Math.max(sheet.whole_mm[1][2], sheet.layers.length ? sheet.layers.at(-1).z_mm : 1, 1);
  const low = Math.min(sheet.whole_mm[0][2], 0);
  const full = (height - ABOVE - BELOW) / (top - low);
  const pitch = sheet.layers.length ? (sheet.layers.at(-1).z_mm - sheet.layers[0].z0_mm) / sheet.layers.length || 1 : 1;
  const scale = Math.min(full, Math.max(acrossScale(sheet, width, side), LEAST_LAYER / pitch));
  return { top, low, scale, y: (z) => height - BELOW - (z - low) * scale, z: (y) => low + (height - BELOW - y) / scale };
}

/** The layer at a height, or the nearest one. */
export function layerAt(sheet, z) {
  const rows = sheet.layers;
  let low = 0, high = rows.length - 1;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (rows[middle].z_mm <= z) low = middle + 1; else high = middle;
  }
  return low;
}

/** Scales of the elevation: both the smaller one where z is not drawn higher. */
function elevationScale(sheet, width, height, state) {
  const axis = state.side ? 1 : 0, z = zScale(sheet, width, height, state.side);
  const low = sheet.whole_mm[0][axis], high = sheet.whole_mm[1][axis];
  const scale = Math.min(acrossScale(sheet, width, state.side), z.scale);
  const middle = LEFT + (width - LEFT - RIGHT) / 2;
  return { axis, z, scale, stretch: z.scale / scale, low, high, x: (v) => middle + (v - (low + high) / 2) * scale };
}

export function drawElevation(canvas, sheet, state, palette) {
  const { pen, width, height } = fitted(canvas);
  const view = elevationScale(sheet, width, height, state), { z } = view;
  pen.fillStyle = palette.field;
  pen.fillRect(0, 0, width, height);
  platform(pen, view, width, palette);
  if (sheet.volume_mm) volume(pen, view, sheet, palette);
  const partly = isPartial(sheet);
  if (partly) shadow(pen, canvas, view, sheet, palette);
  outline(pen, view, sheet, palette);
  edges(pen, view, sheet, palette);
  extents(pen, view, state, height, palette);
  const row = sheet.layers[state.layer];
  if (row) cutLine(pen, view, row, width, state, palette);
  balloons(pen, sheet, state, width, height, palette);
  letters(pen, 10, palette.faint, "left", "middle");
  const stretch = Math.abs(view.stretch - 1) < 0.01 ? "true scale" : `z scale ${fixed(view.stretch, 1)} \u00d7 that of ${state.side ? "Y" : "X"}`;
  pen.fillText(`seen along ${state.side ? "\u2212X" : "+Y"} \u00b7 ${stretch}`, 8, height - 20);
  pen.fillText(`filled: what each layer covers; ${partly ? "pale: the rest of the part" : "thin: edges of the part"}`, 8, height - 8);
}

/** The platform's line with the strokes of solid ground below it. */
function platform(pen, view, width, palette) {
  const y = view.z.y(0);
  pen.strokeStyle = palette.ink;
  pen.lineWidth = 1.4;
  pen.beginPath();
  pen.moveTo(10, y + 0.7);
  pen.lineTo(width - 4, y + 0.7);
  pen.stroke();
  pen.lineWidth = 0.6;
  pen.beginPath();
  for (let x = 14; x < width - 4; x += 9) { pen.moveTo(x, y + 1); pen.lineTo(x - 6, y + 7); }
  pen.stroke();
}

function volume(pen, view, sheet, palette) {
  const [low, high] = sheet.volume_mm;
  pen.strokeStyle = palette.faint;
  pen.lineWidth = 0.8;
  pen.setLineDash([14, 3, 2, 3, 2, 3]);
  pen.strokeRect(view.x(low[view.axis]), view.z.y(high[2]), (high[view.axis] - low[view.axis]) * view.scale, (high[2] - low[2]) * view.z.scale);
  pen.setLineDash([]);
}

/** Whether layers of the part are missing, as after `--layers`. */
function isPartial(sheet) {
  const rows = sheet.layers;
  if (!rows.length || !sheet.triangles) return false;
  const high = rows.at(-1);
  return rows[0].z0_mm > sheet.whole_mm[0][2] + rows[0].height_mm || high.z_mm < sheet.whole_mm[1][2] - high.height_mm;
}

/** The outline of all of the part, pale, from its triangles: kept until the drawing's scale or colours change. */
function shadow(pen, canvas, view, sheet, palette) {
  const key = [canvas.width, canvas.height, canvas.clientWidth, view.axis, palette.tint].join();
  if (sheet.shadow?.key !== key) {
    const image = document.createElement("canvas");
    image.width = canvas.width;
    image.height = canvas.height;
    const path = seenSide(sheet.triangles, view), own = image.getContext("2d");
    own.scale(canvas.width / canvas.clientWidth, canvas.height / canvas.clientHeight);
    own.fillStyle = own.strokeStyle = palette.faint;
    own.lineWidth = 1.6;
    own.lineJoin = "round";
    own.fill(path);
    own.stroke(path);
    own.globalCompositeOperation = "source-atop";
    own.fillStyle = own.strokeStyle = palette.pale;
    own.lineWidth = 0.3;
    own.fill(path);
    own.stroke(path);
    sheet.shadow = { key, image };
  }
  pen.drawImage(sheet.shadow.image, 0, 0, canvas.clientWidth, canvas.clientHeight);
}

/** All triangles that look this way, as one path. */
function seenSide({ points, corners, face }, view) {
  const path = new Path2D(), x = (i) => view.x(points[3 * i + view.axis]), y = (i) => view.z.y(points[3 * i + 2]);
  for (let t = 0; t < face.length; t++) {
    const [a, b, c] = corners.subarray(3 * t, 3 * t + 3);
    const ax = x(a), ay = y(a), bx = x(b), by = y(b), cx = x(c), cy = y(c);
    // those that look the other way cover the same
    if ((bx - ax) * (cy - ay) - (by - ay) * (cx - ax) <= 0) continue;
    path.moveTo(ax, ay);
    path.lineTo(bx, by);
    path.lineTo(cx, cy);
    path.closePath();
  }
  return path;
}

function outline(pen, view, sheet, palette) {
  const key = view.axis ? "side" : "front";
  for (const [grow, colour] of [[1.3, palette.ink], [0, palette.tint]]) {
    pen.fillStyle = colour;
    for (const row of sheet.layers) {
      const top = view.z.y(row.z_mm), tall = view.z.y(row.z0_mm) - top;
      for (const [a, b] of row[key]) {
        const x = view.x(a), w = (b - a) * view.scale;
        const over = grow || 0.5;
        pen.fillRect(x - grow, top - over, w + 2 * grow, tall + 2 * over);
      }
    }
  }
}

function edges(pen, view, sheet, palette) {
  if (!sheet.edges) return;
  const { points, first } = sheet.edges;
  pen.strokeStyle = palette.faint;
  pen.lineWidth = 0.6;
  pen.beginPath();
  for (let k = 0; k < first.length; k++) {
    const end = k + 1 < first.length ? first[k + 1] : points.length / 3;
    for (let i = first[k]; i < end; i++) {
      const x = view.x(points[3 * i + view.axis]), y = view.z.y(points[3 * i + 2]);
      if (i === first[k]) pen.moveTo(x, y); else pen.lineTo(x, y);
    }
  }
  pen.stroke();
}

/** Over-all dimensions, ISO 129-1. */
function extents(pen, view, state, height, palette) {
  const { z } = view;
  const x0 = view.x(view.low), x1 = view.x(view.high), y = height - BELOW + 20;
  pen.strokeStyle = pen.fillStyle = palette.ink;
  pen.lineWidth = 0.7;
  pen.beginPath();
  pen.moveTo(x0, height - BELOW + 10); pen.lineTo(x0, y + 4);
  pen.moveTo(x1, height - BELOW + 10); pen.lineTo(x1, y + 4);
  pen.moveTo(x0, y); pen.lineTo(x1, y);
  const left = Math.max(24, x0 - 14), top = z.y(z.top), low = z.y(Math.max(z.low, 0));
  pen.moveTo(x0 - 3, top); pen.lineTo(left - 4, top);
  pen.moveTo(left, top); pen.lineTo(left, low);
  pen.stroke();
  arrow(pen, x0, y, Math.PI); arrow(pen, x1, y, 0);
  arrow(pen, left, top, -Math.PI / 2); arrow(pen, left, low, Math.PI / 2);
  letters(pen, 11, palette.ink, "center", "bottom");
  const word = lengthText(view.high - view.low, state.unit, 1);
  const w = pen.measureText(word).width + 8;
  pen.fillStyle = palette.field;
  pen.fillRect((x0 + x1) / 2 - w / 2, y - 6, w, 12);
  pen.fillStyle = palette.ink;
  pen.fillText(word, (x0 + x1) / 2, y + 6);
  pen.save();
  pen.translate(left - 3, (top + low) / 2);
  pen.rotate(-Math.PI / 2);
  pen.fillText(lengthText(z.top, state.unit, 1), 0, 0);
  pen.restore();
}

function cutLine(pen, view, row, width, state, palette) {
  const y = view.z.y((row.z0_mm + row.z_mm) / 2), tall = Math.max(1.5, row.height_mm * view.z.scale);
  pen.fillStyle = palette.cut;
  pen.globalAlpha = 0.85;
  for (const [a, b] of row[view.axis ? "side" : "front"]) pen.fillRect(view.x(a), y - tall / 2, (b - a) * view.scale, tall);
  pen.globalAlpha = 1;
  pen.strokeStyle = palette.cut;
  pen.lineWidth = 1;
  pen.setLineDash([14, 3, 2, 3]);
  pen.beginPath();
  pen.moveTo(Math.max(30, view.x(view.low) - 8), y);
  pen.lineTo(width, y);
  pen.stroke();
  pen.setLineDash([]);
  letters(pen, 11, palette.cut, "right", "bottom");
  const word = `z ${lengthText(row.z_mm, state.unit, 2)}`;
  pen.strokeStyle = palette.field;
  pen.lineWidth = 3;
  pen.lineJoin = "round";
  pen.strokeText(word, width - RIGHT - 2, y - tall / 2 - 2);
  pen.fillText(word, width - RIGHT - 2, y - tall / 2 - 2);
}

/** Balloons in a column at the right, one for places that lie together; the rest is counted. */
export function elevationBalloons(sheet, state, width, height) {
  const view = elevationScale(sheet, width, height, state), low = height - BELOW - 10, room = Math.floor((low - 24) / PITCH) + 1;
  const places = sheet.findings.filter((f) => f.at_mm)
    .map((finding) => ({ finding, sx: view.x(finding.at_mm[view.axis]), sy: view.z.y(finding.at_mm[2]) }));
  const heads = gathered(places, TOGETHER, state.finding), shown = heads.slice(0, room);
  const rest = heads.slice(room).reduce((sum, head) => sum + 1 + head.more, 0);
  return { shown: uncrossed(columned(shown, PITCH, 24, low), width - COLUMN), rest };
}

function balloons(pen, sheet, state, width, height, palette) {
  const { shown, rest } = elevationBalloons(sheet, state, width, height);
  for (const { finding, sx, sy, y, more } of shown) {
    const strong = state.finding === finding.number, colour = palette[finding.level];
    pen.strokeStyle = colour;
    pen.lineWidth = strong ? 1.4 : 0.7;
    pen.beginPath();
    pen.moveTo(sx, sy);
    pen.lineTo(width - COLUMN, y);
    pen.stroke();
    pen.beginPath();
    pen.arc(sx, sy, 2, 0, 2 * Math.PI);
    pen.fillStyle = colour;
    pen.fill();
    balloon(pen, width - COLUMN + 2, y, finding.number, colour, palette.field, strong, more);
  }
  if (rest) {
    letters(pen, 10, palette.faint, "right", "top");
    pen.fillText(`and ${rest} more`, width - 4, 2);
  }
}
