// The build column: bars by layer on the elevation's z scale.

import { fitted, letters } from "./canvas.js";
import { ABOVE, BELOW, zScale } from "./elevation.js";
import { brief, smallText, temperatureText, timeText } from "./units.js";

/** Lanes in their order: heading, one value a layer or undefined, its text. `band` gives two values. */
export function lanes(sheet) {
  const counted = new Map();
  for (const finding of sheet.findings) {
    if (finding.layer === undefined) continue;
    const row = counted.get(finding.layer) ?? { error: 0, warning: 0, note: 0 };
    row[finding.level] += 1;
    counted.set(finding.layer, row);
  }
  const stock = (row) => (row.stock_mm === undefined ? undefined : typeof row.stock_mm === "number" ? row.stock_mm : row.stock_mm.greatest);
  const covered = (row) => row.coverage && row.area_mm2 > 0 ? (100 * row.coverage.covered_mm2) / row.area_mm2 : undefined;
  return [
    { key: "return", heading: "return time", value: (row) => row.return_s?.median, text: (v) => timeText(v) },
    { key: "time", heading: "layer time", value: (row) => row.time_s, text: (v) => timeText(v), optional: true },
    { key: "temperature", heading: "interlayer temperature", band: (row) => row.interlayer_c, text: temperatureText },
    { key: "bound", heading: "bound", value: (row) => row.bounds_mm?.total, text: smallText },
    { key: "deviation", heading: "deviation", value: (row) => row.deviation_mm, text: smallText, optional: true },
    { key: "coverage", heading: "coverage", value: covered, text: (v) => `${brief(v)} %` },
    { key: "stock", heading: "stock", value: stock, text: smallText },
    { key: "findings", heading: "findings", marks: (row) => counted.get(row.index), text: brief },
  ].filter((lane) => lane.marks || !(lane.optional || sheet.kind === "verification") || sheet.layers.some((row) => (lane.band ?? lane.value)(row) !== undefined));
}

/** `wide` is the elevation's width, which sets the scale that both share. */
export function drawColumn(canvas, wide, sheet, state, palette) {
  const { pen, width, height } = fitted(canvas);
  const z = zScale(sheet, wide, height, state.side), all = lanes(sheet), lane = (width - 4) / all.length;
  pen.fillStyle = palette.field;
  pen.fillRect(0, 0, width, height);
  all.forEach((one, k) => drawLane(pen, sheet, one, 2 + k * lane, lane, z, height, state, palette));
  const row = sheet.layers[state.layer];
  if (!row) return;
  const y = z.y((row.z0_mm + row.z_mm) / 2), tall = Math.max(2, row.height_mm * z.scale);
  pen.strokeStyle = palette.cut;
  pen.lineWidth = 1.2;
  pen.strokeRect(1, y - tall / 2 - 1, width - 2, tall + 2);
}

function drawLane(pen, sheet, lane, x, wide, z, height, state, palette) {
  const low = height - BELOW, room = wide - 8;
  pen.strokeStyle = palette.hair;
  pen.lineWidth = 0.8;
  pen.beginPath();
  pen.moveTo(x + 2, ABOVE - 6);
  pen.lineTo(x + 2, low);
  pen.stroke();
  pen.save();
  pen.translate(x + wide / 2 + 2, ABOVE - 8);
  pen.rotate(-Math.PI / 2);
  letters(pen, 10, palette.ink, "left", "middle");
  const words = lane.heading.split(" ");
  if (words.length > 1) { pen.fillText(words[0], 0, -6); pen.fillText(words.slice(1).join(" "), 0, 6); }
  else pen.fillText(lane.heading, 0, 0);
  pen.restore();
  const bars = sheet.layers.map((row) => lane.band ? lane.band(row) : lane.marks ? lane.marks(row) : lane.value(row));
  if (!lane.marks && bars.every((v) => v === undefined)) {
    pen.save();
    pen.translate(x + wide / 2 + 2, (ABOVE + low) / 2);
    pen.rotate(-Math.PI / 2);
    letters(pen, 10, palette.faint, "center", "middle");
    const byFace = lane.key === "stock" && sheet.faces.some((face) => face.stock_mm);
    pen.fillText(byFace ? "by face: see the part" : "not computed", 0, 0);
    pen.restore();
    return;
  }
  const numbers = bars.flatMap((v) => v === undefined ? [] : lane.marks ? [v.error + v.warning + v.note] : [v].flat().map(Math.abs));
  const most = Math.max(...numbers, 0), least = lane.band ? Math.min(...numbers) : 0;
  const share = (v) => (most > least ? (Math.abs(v) - least) / (most - least) : 0.5);
  sheet.layers.forEach((row, k) => {
    const value = bars[k];
    if (value === undefined) return;
    const top = z.y(row.z_mm), tall = Math.max(0.8, z.y(row.z0_mm) - top - (row.height_mm * z.scale > 3 ? 0.6 : 0));
    const picked = k === state.layer;
    if (lane.marks) {
      let at = x + 4;
      for (const level of ["error", "warning", "note"]) {
        if (!value[level]) continue;
        const w = Math.max(2, (room * value[level]) / Math.max(most, 1));
        pen.fillStyle = palette[level];
        pen.fillRect(at, top, w, Math.max(tall, 1.5));
        at += w;
      }
      return;
    }
    pen.fillStyle = picked ? palette.cut : palette.roles[0];
    if (lane.band) {
      const from = share(value[0]), to = share(value[1]);
      pen.fillRect(x + 4 + room * from, top, Math.max(1.5, room * (to - from)), tall);
    } else pen.fillRect(x + 4, top, Math.max(value === 0 ? 0 : 1, room * share(value)), tall);
  });
  letters(pen, 9, palette.faint, "center", "top");
  const end = lane.marks ? `${sheet.findings.length}` : lane.text(most, state.unit);
  pen.save();
  pen.translate(x + wide / 2 + 2, low + 6);
  pen.rotate(-Math.PI / 2);
  pen.textAlign = "right";
  pen.textBaseline = "middle";
  pen.fillText(end, 0, 0);
  pen.restore();
}

/** What the lanes say of a layer, in words. */
export function laneTexts(sheet, row, unit) {
  return lanes(sheet).flatMap((lane) => {
    const value = lane.band ? lane.band(row) : lane.marks ? lane.marks(row) : lane.value(row);
    if (value === undefined) return [];
    if (lane.marks) return [[lane.heading, `${value.error + value.warning + value.note}`]];
    if (lane.band) return [[lane.heading, `${lane.text(value[0], unit)} to ${lane.text(value[1], unit)}`]];
    return [[lane.heading, lane.text(value, unit)]];
  });
}
