// What the colours of the beads can stand for: which of it is known, its scale, the colour of a move.

import { faceOf } from "./contract.js";
import { balance, faceColour, ramp, roleColour } from "./palette.js";
import { smallText, speedText, temperatureText, timeText } from "./units.js";

export const KINDS = ["role", "curve", "face", "speed", "time", "deviation", "temperature"];
export const KIND_NAMES = {
  role: "role", curve: "curve", face: "face", speed: "speed", time: "time", deviation: "deviation",
  temperature: "temperature",
};
const CURVES = ["line or circle of the CAD", "fitted arc or line", "curve without a source"];

/** Why a kind of colour cannot be shown; "" if it can. */
export function missing(sheet, kind) {
  const any = (key) => sheet.layers.some((row) => row[key] !== undefined);
  switch (kind) {
    case "curve": return sheet.knows.source ? "" : "not told by a program alone: written by plan";
    case "face": return sheet.knows.face ? "" : "not told by a program alone: written by plan";
    case "deviation": return sheet.knows.deviation ? "" : "not computed: beadwright verify PROGRAM PART --sheet FILE measures it";
    case "temperature": return any("interlayer_c") ? "" : "not computed: no material data were given";
    case "speed": return sheet.greatest.feed > 0 ? "" : "the program tells no feed";
    default: return "";
  }
}

const middle = (range) => (range[0] + range[range.length - 1]) / 2;

/** Colour of each move of a layer: an index into a short list of colours, so that moves are drawn in few strokes. */
export function colouring(sheet, layer, kind, palette) {
  const list = [], rows = new Map();
  const use = (colour, key = colour) => {
    if (!rows.has(key)) { rows.set(key, list.length); list.push({ colour, key }); }
    return rows.get(key);
  };
  const steps = 24;
  const stepped = (share) => Math.round(share * steps) / steps;
  const of = new Int16Array(layer.n).fill(-1);
  const temperatures = kind === "temperature" ? scaleOf(sheet, kind) : null;
  const deviation = kind === "deviation" ? sheet.greatest.deviation || 1 : 1;
  for (let i = 0; i < layer.n; i++) {
    const r = layer.run[i];
    if (layer.run_bead[r] < 0) continue;
    const role = sheet.roles[layer.run_role[r]];
    switch (kind) {
      case "role": of[i] = use(roleColour(palette, role), role); break;
      case "curve": {
        const source = layer.source[i];
        of[i] = use(palette.roles[[0, 1, 7][source]], CURVES[source]);
        break;
      }
      case "face": {
        const face = faceOf(layer, i);
        of[i] = use(faceColour(palette, face), face === null ? "no face" : faceName(sheet, face));
        break;
      }
      case "speed": of[i] = use(ramp(palette, stepped(layer.run_feed[r] / sheet.greatest.feed))); break;
      case "time": of[i] = use(ramp(palette, stepped(layer.until[i] / (layer.seconds || 1)))); break;
      case "deviation": {
        const value = layer.deviation[i];
        of[i] = Number.isFinite(value) ? use(balance(palette, stepped(value / deviation))) : use(palette.hair, "not measured");
        break;
      }
      case "temperature": {
        const range = layer.row.interlayer_c;
        const share = range ? (middle(range) - temperatures[0]) / (temperatures[1] - temperatures[0] || 1) : null;
        of[i] = share === null ? use(palette.hair, "not computed") : use(ramp(palette, stepped(share)));
      }
    }
  }
  return { list, of };
}

function scaleOf(sheet, kind) {
  if (kind === "temperature") {
    const all = sheet.layers.flatMap((row) => (row.interlayer_c ? [middle(row.interlayer_c)] : []));
    return [Math.min(...all), Math.max(...all)];
  }
  return [0, 1];
}

export function faceName(sheet, face) {
  const row = sheet.faces[face];
  return row && row.name ? `${face} ${row.name}` : `${face}${row ? " " + row.kind : ""}`;
}

/** Entries of the legend: a word and a colour each, or the two ends of a scale. */
export function legend(sheet, layer, kind, palette, unit) {
  const ends = (low, high, from, to, turn) => ({ scale: [0, 0.25, 0.5, 0.75, 1].map((t) => turn(from + (to - from) * t)), low, high });
  switch (kind) {
    case "speed": return ends("0", speedText(sheet.greatest.feed, unit), 0, 1, (t) => ramp(palette, t));
    case "time": return ends("first bead", timeText(layer.seconds), 0, 1, (t) => ramp(palette, t));
    case "deviation": {
      const size = sheet.greatest.deviation;
      return ends(`${smallText(-size, unit)} inside`, `${smallText(size, unit)} outside`, -1, 1, (t) => balance(palette, t));
    }
    case "temperature": {
      const [low, high] = scaleOf(sheet, kind);
      return ends(temperatureText(low, unit), temperatureText(high, unit), 0, 1, (t) => ramp(palette, t));
    }
    default: {
      const { list } = colouring(sheet, layer, kind, palette);
      return { entries: list.map(({ colour, key }) => ({ colour, word: key })) };
    }
  }
}
