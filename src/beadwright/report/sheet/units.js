// Lengths in mm inside; shown in mm or inches.

const INCH = 25.4;
/** Narrow, and no line breaks at it. */
const THIN = "\u202f";
const RAISED = { "-": "\u207b", ...Object.fromEntries([..."\u2070\u00b9\u00b2\u00b3\u2074\u2075\u2076\u2077\u2078\u2079"].map((c, i) => [i, c])) };

/** A number with so many decimals, thousands set apart by a thin space. */
export function fixed(value, decimals) {
  const [whole, rest] = Math.abs(value).toFixed(decimals).split(".");
  const grouped = whole.replace(/\B(?=(\d{3})+$)/g, THIN);
  const zero = Number(value.toFixed(decimals)) === 0;
  return (value < 0 && !zero ? "\u2212" : "") + grouped + (rest ? "." + rest : "");
}

/** A length with its unit; in inches one digit more stands for about the same step. */
export function lengthText(mm, unit, decimals = 2) {
  return unit === "in" ? `${fixed(mm / INCH, decimals + 1)} in` : `${fixed(mm, decimals)} mm`;
}

/** A number of four significant digits at most, for small and large values alike. */
export function brief(value) {
  if (value === 0) return "0";
  const size = Math.abs(value);
  if (size < 1e-3 || size >= 1e7) {
    const [digits, power] = value.toExponential(1).split("e");
    return `${digits.replace("-", "\u2212")}\u00b710${[...power.replace("+", "")].map((c) => RAISED[c]).join("")}`;
  }
  return fixed(value, Math.max(0, 3 - Math.floor(Math.log10(size)))).replace(/(\.\d*?)0+$/, "$1").replace(/\.$/, "");
}

// mm: less than this is nothing that is laid or measured here.
const LEAST = 1e-6;

/** A small length: in mm or micrometres, or in inches; below a nanometre only that it is below. */
export function smallText(mm, unit) {
  if (mm !== 0 && Math.abs(mm) < LEAST) return unit === "in" ? `< ${brief(LEAST / INCH)} in` : "< 0.001 \u00b5m";
  if (unit !== "in" && mm !== 0 && Math.abs(mm) < 0.01) return `${brief(mm * 1000)} \u00b5m`;
  return unit === "in" ? `${brief(mm / INCH)} in` : `${brief(mm)} mm`;
}

export function speedText(mmPerSecond, unit) {
  return unit === "in" ? `${fixed((mmPerSecond * 60) / INCH, 1)} in/min` : `${fixed(mmPerSecond, 1)} mm/s`;
}

export function massText(kg, unit) {
  return unit === "in" ? `${brief(kg / 0.45359237)} lb` : `${brief(kg)} kg`;
}

export function temperatureText(celsius, unit) {
  return unit === "in" ? `${fixed(celsius * 1.8 + 32, 0)} \u00b0F` : `${fixed(celsius, 0)} \u00b0C`;
}

/** A time to the nearest second, from an hour on to the nearest minute. */
export function timeText(seconds) {
  const s = Math.round(seconds), minutes = Math.round(seconds / 60);
  const two = (v) => String(v).padStart(2, "0");
  return s < 3600 ? `${Math.floor(s / 60)}:${two(s % 60)} min` : `${Math.floor(minutes / 60)}:${two(minutes % 60)} h`;
}

/** A value of a finding or a setting in its own unit, turned to inches where it is a length. */
export function valueText(value, own, unit) {
  if (typeof value !== "number") return String(value);
  if (own === "mm") return smallText(value, unit);
  if (own === "mm_s" || own === "mm/s") return speedText(value, unit);
  if (own === "mm2" && unit === "in") return `${brief(value / INCH ** 2)} in\u00b2`;
  const shown = { mm2: "mm\u00b2", mm3: "mm\u00b3", deg: "\u00b0", c: "\u00b0C", degC: "\u00b0C" }[own] ?? own ?? "";
  return `${brief(value)} ${shown}`.trim();
}

/** Greatest of 1, 2, 5 times a power of ten that is at most `span`. */
export function roundLength(span) {
  const power = 10 ** Math.floor(Math.log10(span));
  return power * (span >= 5 * power ? 5 : span >= 2 * power ? 2 : 1);
}

/** A number of things as people read it: "1 error", "2 errors". */
export function countText(count, one) {
  return `${count} ${count === 1 ? one : `${one}s`}`;
}
