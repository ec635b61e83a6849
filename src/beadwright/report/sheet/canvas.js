// A canvas that fits its box on the screen and on paper, and the few strokes that every drawing needs.

import { arcOf } from "./contract.js";

/** Let a canvas have as many pixels as its box shows; -> its context in CSS pixels and its size. */
export function fitted(canvas) {
  const width = canvas.clientWidth, height = canvas.clientHeight;
  const ratio = Math.min(3, Math.max(window.devicePixelRatio || 1, canvas.dataset.ratio || 1));
  const w = Math.max(1, Math.round(width * ratio)), h = Math.max(1, Math.round(height * ratio));
  if (canvas.width !== w || canvas.height !== h) { canvas.width = w; canvas.height = h; }
  const pen = canvas.getContext("2d");
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.clearRect(0, 0, width, height);
  return { pen, width, height };
}

export const FONT = getComputedStyle(document.documentElement).getPropertyValue("--letters") || "sans-serif";

export function letters(pen, size, colour, align = "left", base = "alphabetic") {
  pen.font = `${size}px ${FONT}`;
  pen.fillStyle = colour;
  pen.textAlign = align;
  pen.textBaseline = base;
}

/** Add a move to a path in screen coordinates: a true arc, but for one flatter than a tenth of a pixel. */
export function addMove(path, view, x0, y0, x1, y1, bulge, fresh) {
  const ax = view.x(x0), ay = view.y(y0), bx = view.x(x1), by = view.y(y1);
  if (fresh) path.moveTo(ax, ay);
  const sag = Math.abs(bulge) * Math.hypot(bx - ax, by - ay) * 0.5;
  if (sag < 0.1) { path.lineTo(bx, by); return; }
  const { cx, cy, r, from, sweep } = arcOf(x0, y0, x1, y1, bulge);
  const radius = r * view.scale;
  if (radius > 3e4 && Math.abs(sweep) < 0.5) {
    // far beyond what a rasteriser's short floats place well: the parabola of the same ends and tangents,
    // here less than sag * sweep^2 / 50 away
    const k = Math.tan(sweep / 4), m = (2 * k) / (1 - k * k) / 2;
    path.quadraticCurveTo((ax + bx) / 2 + (by - ay) * -m, (ay + by) / 2 + (bx - ax) * m, bx, by);
    return;
  }
  path.arc(view.x(cx), view.y(cy), radius, -from, -(from + sweep), sweep > 0);
}

/** A numbered balloon, ISO 6433: a circle with its number. */
export function balloon(pen, x, y, number, colour, paper, strong, more = 0) {
  const r = String(number).length > 2 ? 11 : 9;
  pen.beginPath();
  pen.arc(x, y, r, 0, 2 * Math.PI);
  pen.fillStyle = strong ? colour : paper;
  pen.fill();
  pen.lineWidth = strong ? 2 : 1.2;
  pen.strokeStyle = colour;
  pen.setLineDash([]);
  pen.stroke();
  letters(pen, 10, strong ? paper : colour, "center", "middle");
  pen.fillText(String(number), x, y + 0.5);
  if (!more) return;
  // it stands for others beside it too: how many, on a label of its own
  const word = `+${more}`;
  letters(pen, 9, colour, "right", "middle");
  const w = pen.measureText(word).width;
  pen.fillStyle = paper;
  pen.fillRect(x - r - w - 4, y - 6, w + 2, 12);
  pen.fillStyle = colour;
  pen.fillText(word, x - r - 3, y + 0.5);
}

/** An arrow head of a dimension line, ISO 129-1: filled, its tip at (x, y), pointing along the angle. */
export function arrow(pen, x, y, angle) {
  pen.beginPath();
  pen.moveTo(x, y);
  pen.lineTo(x - 10 * Math.cos(angle - 0.16), y - 10 * Math.sin(angle - 0.16));
  pen.lineTo(x - 10 * Math.cos(angle + 0.16), y - 10 * Math.sin(angle + 0.16));
  pen.fill();
}
