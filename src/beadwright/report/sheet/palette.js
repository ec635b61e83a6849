// Colours. Chosen so that neighbours differ in lightness as well as in hue: they stay apart for every kind of
// colour vision, and in grey on paper. Roles are told apart by line type too.

const LIGHT = {
  paper: "#f7f5ee", field: "#fffdf7", ink: "#1d2730", faint: "#77808a", hair: "#c9c6ba", tint: "#ece7d8", pale: "#f6f2e7", solid: "#ece7d8",
  mark: "#8f1d4f", note: "#5b6b7a", warning: "#a35a00", error: "#8f1d4f", cut: "#0d6f80",
  roles: ["#4d51a8", "#c39487", "#4e9346", "#08a6f8", "#7b0e31", "#846c6f", "#76931e", "#6d3008", "#a194bf", "#484069"],
  low: [228, 178, 78], middle: [206, 104, 92], high: [38, 34, 92],
  minus: [24, 88, 140], zero: [172, 168, 158], plus: [176, 82, 12],
};
const DARK = {
  paper: "#12181d", field: "#171f25", ink: "#e4e2d8", faint: "#8b959e", hair: "#35414a", tint: "#222d34", pale: "#1c262c", solid: "#73838d",
  mark: "#f08cb4", note: "#9db0c2", warning: "#f0ad4e", error: "#f08cb4", cut: "#63c7d6",
  roles: ["#808af8", "#be9831", "#c3e490", "#91d9f7", "#d45853", "#258dbe", "#ece56a", "#70f8d5", "#af677e", "#80c18e"],
  low: [112, 100, 200], middle: [206, 104, 92], high: [250, 226, 150],
  minus: [110, 180, 236], zero: [104, 112, 118], plus: [242, 160, 76],
};
/** Roles in the order of their colours and line types. */
const KNOWN = ["contour", "fill", "medial", "wall", "rib", "base", "deck", "lap", "approach", "fin"];
const LINE_TYPES = [[], [12, 4], [2, 3], [14, 3, 2, 3], [8, 3], [18, 4], [10, 3, 2, 3, 2, 3], [4, 3], [5, 5], [1, 3]];

export function paletteOf(dark) {
  return dark ? DARK : LIGHT;
}

function roleRow(role) {
  const row = KNOWN.indexOf(role);
  return row >= 0 ? row : role === "departure" ? 8 : 7;
}

export function roleColour(palette, role) {
  return role === "traverse" ? palette.faint : palette.roles[roleRow(role)];
}

export function roleLine(role) {
  return LINE_TYPES[roleRow(role)];
}

const mix = (a, b, t) => a.map((v, i) => Math.round(v + (b[i] - v) * t));
const css = (rgb) => `rgb(${rgb.join(",")})`;

/** Colour of a share from 0 to 1, ever darker on light paper and ever lighter on dark. */
export function ramp(palette, share) {
  const t = Math.min(1, Math.max(0, share));
  return css(t < 0.5 ? mix(palette.low, palette.middle, 2 * t) : mix(palette.middle, palette.high, 2 * t - 1));
}

/** Colour of a share from -1 to 1, grey at 0. */
export function balance(palette, share) {
  const t = Math.min(1, Math.max(-1, share));
  return css(mix(palette.zero, t < 0 ? palette.minus : palette.plus, Math.abs(t)));
}

/** Colour of a face by its id: neighbours in the file differ. */
export function faceColour(palette, face) {
  return face === null ? palette.faint : palette.roles[(face * 3) % palette.roles.length];
}

export function rgbOf(text) {
  if (text.startsWith("#")) return [1, 3, 5].map((i) => parseInt(text.slice(i, i + 2), 16));
  return text.match(/\d+/g).map(Number);
}
