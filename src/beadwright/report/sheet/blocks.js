// The written parts of the sheet: process sheet, list of findings, title block, legend.

import { KIND_NAMES, faceName, legend } from "./colours.js";
import { laneTexts } from "./column.js";
import { arcOf } from "./contract.js";
import { brief, countText, fixed, lengthText, massText, smallText, speedText, timeText, valueText } from "./units.js";

/** An element with attributes and children; text is never taken for markup. */
export function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [key, value] of Object.entries(attributes)) {
    if (value !== undefined && value !== false) element.setAttribute(key, value === true ? "" : value);
  }
  element.append(...children.filter((child) => child !== null && child !== undefined));
  return element;
}

/** A setting's value with its unit, of a list once. */
function settingText(one, unit) {
  if (one.value === null) return "none";
  if (!Array.isArray(one.value)) return typeof one.value === "object" ? JSON.stringify(one.value) : valueText(one.value, one.unit, unit);
  if (!one.value.length) return "none";
  const texts = one.value.map((v) => (typeof v === "object" ? JSON.stringify(v) : valueText(v, one.unit, unit)));
  const tail = texts[0].match(/[^\d.\u202f\u2212]+$/)?.[0] ?? "";
  const shared = tail && texts.every((text) => text.endsWith(tail));
  return shared ? texts.map((text) => text.slice(0, -tail.length)).join(", ") + tail : texts.join(", ");
}

export function fillProcess(box, sheet, unit) {
  const rows = sheet.settings.map((one) => {
    const value = settingText(one, unit);
    const origin = { default: "default", program: "from the program" }[one.from] ?? `given (${one.from})`;
    // what was given is printed bold, so a default needs no word where it has a standing
    const standing = one.from === "default" && one.standing ? one.standing : [origin, one.standing].filter(Boolean).join(", ");
    return make("tr", { "data-key": one.key, class: one.from === "default" ? "" : "given" },
      make("th", { scope: "row", title: one.text ?? "" }, one.label),
      make("td", {}, value),
      make("td", {}, one.allowed ?? ""),
      make("td", { title: one.source }, standing));
  });
  const head = make("thead", {}, make("tr", {}, ...["setting", "value", "allowed", "standing"].map((word) => make("th", { scope: "col" }, word))));
  if (!rows.length) rows.push(make("tr", {}, make("td", { colspan: 4 }, "the program tells no settings")));
  box.replaceChildren(make("table", {}, head, make("tbody", {}, ...rows)));
}

/** What is allowed; of what should not be there at all, that none is wanted. */
function allowedText(finding, unit) {
  if (finding.allowed === undefined) return "";
  if (finding.allowed === 0) return finding.measured > 0 ? " (none is wanted)" : "";
  return ` (allowed ${valueText(finding.allowed, finding.unit, unit)})`;
}

export function fillFindings(box, sheet, state, pick) {
  const rows = sheet.findings.map((finding) => {
    const where = [
      finding.layer === undefined ? "" : `layer ${finding.layer}`,
      finding.face === undefined ? "" : `face ${faceName(sheet, finding.face)}`,
      finding.at_mm ? finding.at_mm.map((v) => lengthText(v, state.unit, 1).replace(/ (mm|in)$/, "")).join(", ") : "",
      finding.line === undefined ? "" : `line ${finding.line}`,
    ].filter(Boolean).join(" \u00b7 ");
    const measured = finding.measured === undefined ? "" : valueText(finding.measured, finding.unit, state.unit)
      + allowedText(finding, state.unit);
    const button = make("button", { type: "button", "data-finding": finding.number, class: finding.level, "aria-pressed": state.finding === finding.number ? "true" : "false" },
      make("b", {}, String(finding.number)),
      make("span", {}, make("i", {}, `${finding.level} \u00b7 ${finding.code.replaceAll("_", " ")}`), ` ${finding.text} `,
        make("small", {}, [measured, where].filter(Boolean).join(" \u00b7 "))));
    button.addEventListener("click", () => pick(finding));
    return make("li", {}, button);
  });
  const rest = sheet.findings_in_all - sheet.findings.length;
  if (rest > 0) rows.push(make("li", { class: "rest" }, `and ${rest} more, all in the result's JSON`));
  if (!rows.length) rows.push(make("li", { class: "rest" }, "none"));
  box.replaceChildren(...rows);
}

/** What no scrolling box shows on paper: all settings and all findings, on the sheets after the first. */
export function fillAnnex(box, process, findings) {
  const list = make("ol");
  for (const button of findings.querySelectorAll("button")) {
    list.append(make("li", {}, make("b", {}, `${button.querySelector("b").textContent}  `), button.querySelector("span").textContent));
  }
  box.replaceChildren(make("h2", {}, "Process sheet and findings"), process.firstElementChild.cloneNode(true), list);
}

function row(label, value, attributes = {}) {
  return make("div", { class: "cell", ...attributes }, make("span", { class: "label" }, label), make("span", { class: "value" }, value));
}

/** What stays to be machined beyond the finished part: the face with least stock, and the volume. */
function finishedRows(finished, unit) {
  if (!finished) return [];
  const least = finished.faces.reduce((a, b) => (a && a.stock_mm.least <= b.stock_mm.least ? a : b), null);
  const most = Math.max(...finished.faces.map((face) => face.stock_mm.greatest));
  const stock = least ? `${smallText(least.stock_mm.least, unit)} (face ${least.name || least.id}) to ${smallText(most, unit)}` : "no face met";
  const chips = finished.machined_mm3 === undefined ? "" : `, ${brief(Math.round(finished.machined_mm3 / 1000))} cm³ to machine`;
  return [row(`stock on ${finished.file}`, `${stock}${chips}`, { class: least && least.stock_mm.least < 0 ? "cell all wrong" : "cell all", "data-total": "finished" })];
}

/** Title block: the fields of ISO 7200, and what stands for the part's quality. */
export function fillTitle(box, sheet, unit) {
  const { totals, bounds_mm: bounds, input } = sheet;
  const counts = { error: 0, warning: 0, note: 0 };
  for (const level of Object.keys(counts)) counts[level] = sheet.levels[level] ?? 0;
  const not = "not computed";
  const parts = ["section", "fit", "region", "rounding", "corner"].filter((k) => bounds?.[k] !== undefined).map((k) => `${k} ${smallText(bounds[k], unit)}`).join(" + ");
  const estimate = sheet.estimate ?? {}, money = estimate.cost;
  const profile = bounds ? bounds.total : sheet.profile && Math.abs(sheet.profile.greatest_mm);
  const purge = estimate.mass_kg?.purge;
  const low = estimate.low_high;
  const between = (range, text) => (range === undefined ? "" : ` (${text(range[0])} to ${text(range[1])})`);
  const gaps = bounds ? bounds.model : input.gap_mm;
  const judged = sheet.kind === "verification";
  const laying = totals.feed_s === undefined ? not : `${timeText(totals.feed_s)} and traverses: give --traverse-speed`;
  const profileFrame = make("div", { class: "cell tolerance", title: "ISO 1101" },
    make("span", { class: "label" }, bounds ? "profile of a line, bound" : "profile, measured"),
    profile === undefined ? not : make("span", { class: "frame" }, make("span", {}, "\u2312"), make("span", {}, smallText(profile, unit))));
  const cells = [
    row("legal owner", "", { class: "cell blank" }),
    row("title", input.file, { class: "cell wide strong" }),
    row("document type", sheet.kind === "verification" ? "verification" : "deposition plan"),
    row("identification no.", sheet.program.sha256.slice(0, 12), { class: "cell mono", title: `program sha256 ${sheet.program.sha256}` }),
    row("part sha256", (input.sha256 ?? "").slice(0, 12), { class: "cell mono", title: input.sha256 }),
    row("revision", sheet.revision ?? "", { class: "cell blank" }),
    row("sheet", "1; lists follow"),
    row("layers, beads, moves", `${brief(totals.layers)}, ${brief(totals.beads)}, ${brief(sheet.program.moves)}`, { "data-total": "layers", class: "cell wide" }),
    row("bead length", lengthText(totals.length_mm, unit, 0), { "data-total": "length" }),
    row("gaps of the file", gaps === undefined ? not : smallText(gaps, unit)),
    profileFrame,
    bounds ? row("bound of all beads, by parts", `${smallText(bounds.total, unit)} = ${parts}`, { class: "cell rest", "data-total": "bound" }) : null,
    row("worst deviation", sheet.profile ? `${smallText(sheet.profile.greatest_mm, unit)} (95 %: ${smallText(sheet.profile.p95_mm, unit)})` : not, { "data-total": "deviation", class: bounds ? "cell" : "cell rest" }),
    row("build time", totals.time_s === undefined ? laying : timeText(totals.time_s) + between(low?.time_s, timeText), { "data-total": "time" }),
    row("mass", totals.mass_kg === undefined ? (judged ? "not computed: give --density" : not) : massText(totals.mass_kg, unit) + between(low?.part_kg, (v) => massText(v, unit)) + (purge ? ` and ${massText(purge, unit)} to purge` : ""), { "data-total": "mass" }),
    row("cost", money === undefined ? "not computed: no rates" : `${fixed(money.total, 2)} ${money.currency}${between(low?.cost, (v) => fixed(v, 2))}`, { class: bounds ? "cell" : "cell wide" }),
    ...finishedRows(sheet.finished, unit),
    row("findings", [countText(counts.error, "error"), countText(counts.warning, "warning"), countText(counts.note, "note")].join(", "), { "data-total": "findings", class: counts.error ? "cell wide wrong" : "cell wide" }),
    row("program", `beadwright ${sheet.version}`),
    row("projection", "\u2299 \u25c1 first angle"),
    row("creator, date", "", { class: "cell blank sign" }),
    row("approval, date", "", { class: "cell blank sign wide" }),
    row("operator, date", "", { class: "cell blank sign" }),
  ];
  box.replaceChildren(...cells.filter(Boolean));
}

export function fillLegend(box, sheet, layer, state, palette) {
  const what = legend(sheet, layer, state.colour, palette, state.unit);
  if (what.scale) {
    const bar = make("span", { class: "ramp", style: `background: linear-gradient(90deg, ${what.scale.join(", ")})` });
    box.replaceChildren(make("span", {}, what.low), bar, make("span", {}, what.high));
    return;
  }
  const most = 9, entries = what.entries.slice(0, most);
  const items = entries.map(({ colour, word }) => make("span", { class: "entry" }, make("i", { style: `background: ${colour}` }), word));
  if (what.entries.length > most) items.push(make("span", {}, `and ${what.entries.length - most} more`));
  box.replaceChildren(...items);
}

/** What is known of a layer, in a line. */
export function layerText(sheet, state) {
  const row = sheet.layers[state.layer];
  if (!row) return "no layers";
  const texts = [
    `z ${lengthText(row.z0_mm, state.unit, 2)} to ${lengthText(row.z_mm, state.unit, 2)}`,
    row.section_z_mm ? `section at ${row.section_z_mm.map((v) => lengthText(v, state.unit, 3)).join(" and ")}` : "",
    row.beads === undefined ? "" : `${row.beads} ${row.beads === 1 ? "bead" : "beads"}, ${lengthText(row.length_mm, state.unit, 0)}`,
    row.rising ? "rising steadily" : "",
    row.area_mm2 ? `area ${valueText(row.area_mm2, "mm2", state.unit)}` : "",
    row.outline ?? "",
    row.counts?.loops > row.loops ? "dash and two dots: the part without its stock" : "",
    ...laneTexts(sheet, row, state.unit).map(([heading, text]) => `${heading} ${text}`),
  ];
  return texts.filter(Boolean).join(" \u00b7 ");
}

/** What is known of a move, in a line. */
export function moveText(sheet, layer, i, unit) {
  if (i === null || i < 0 || i >= layer.n) return "";
  const r = layer.run[i], laid = layer.run_bead[r] >= 0, bulge = layer.bulge[i];
  const face = layer.face[i] === 65535 ? null : layer.face[i];
  const texts = [
    laid ? `bead ${layer.run_bead[r]}, ${sheet.roles[layer.run_role[r]]}${layer.run_rank[r] ? ` ${layer.run_rank[r]}` : ""}${layer.run_hole[r] ? " of a hole" : ""}` : "traverse",
    `move ${i + 1} of ${layer.n}`,
    bulge ? `arc R ${lengthText(arcOf(layer.x0[i], layer.y0[i], layer.x[i], layer.y[i], bulge).r, unit, 3)} ${bulge > 0 ? "counter-clockwise" : "clockwise"}` : "line",
    `length ${lengthText(layer.length[i], unit, 3)}`,
    `to X ${lengthText(layer.x[i], unit, 4)} Y ${lengthText(layer.y[i], unit, 4)}`,
    laid && layer.run_width[r] > 0 ? `width ${lengthText(layer.run_width[r], unit, 2)}` : "",
    laid ? speedText(layer.run_feed[r], unit) : "",
    face === null ? "" : `face ${faceName(sheet, face)}`,
    layer.deviation.length && Number.isFinite(layer.deviation[i]) ? `deviation ${smallText(layer.deviation[i], unit)}` : "",
    `at ${timeText(layer.until[i])} of the layer's feed time`,
    `program line ${layer.line[i]}`,
  ];
  return texts.filter(Boolean).join(" \u00b7 ");
}

export function colourButtons(box, kinds, why, name, names = KIND_NAMES) {
  box.replaceChildren(...kinds.map((kind) => {
    const reason = why(kind);
    return make("label", { title: reason || "", class: reason ? "off" : "" },
      make("input", { type: "radio", name, value: kind, disabled: Boolean(reason) }), make("span", {}, names[kind] ?? kind));
  }));
}
