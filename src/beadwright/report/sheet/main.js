// Puts the sheet together: state, drawings, pointer and keys.

import { colourButtons, fillAnnex, fillFindings, fillLegend, fillProcess, fillTitle, layerText, moveText } from "./blocks.js";
import { KINDS, faceName, missing } from "./colours.js";
import { drawColumn } from "./column.js";
import { bytesOf, layerSource, readSheet } from "./contract.js";
import { drawElevation, elevationBalloons, layerAt, zScale } from "./elevation.js";
import { paletteOf } from "./palette.js";
import { createView, drawSection, nearest, snapped } from "./section.js";
import { SHADES, drawPart, faceAt, shadeMissing, shadeText } from "./shaded.js";
import { createStore } from "./store.js";
import { lengthText, timeText } from "./units.js";

const byId = (id) => document.getElementById(id);
const sheet = readSheet();
const layerOf = layerSource(sheet);
const view = createView();
const store = createStore({
  layer: 0, move: null, finding: null, colour: "role", shade: "plain", unit: "mm",
  dark: matchMedia("(prefers-color-scheme: dark)").matches, side: sheet.look_along_x, traverses: false,
  measuring: false, dimension: [null, null], run: null, share: 1, rate: 10, turn: -0.6, tip: 0.5, view: 0,
});
const { state } = store;
let printing = false, picture = null;
const palette = () => paletteOf(state.dark && !printing);
const present = () => layerOf(state.layer);
const hasLayers = sheet.layers.length > 0;

/** Edges and triangles of the part, and the box of all of it: the layers of a sheet may be few of the part's. */
function decodePart() {
  const element = byId("part-data");
  sheet.whole_mm = sheet.box_mm;
  if (!element) return;
  const { edges, triangles } = sheet.part, bytes = bytesOf(element.textContent);
  let place = 0;
  const take = (Kind, n) => { const array = new Kind(bytes.buffer, place, n); place += array.byteLength; return array; };
  sheet.edges = { points: take(Float32Array, 3 * edges.points), first: take(Uint32Array, edges.chains) };
  if (triangles) {
    sheet.triangles = { points: take(Float32Array, 3 * triangles.points), corners: take(Uint32Array, 3 * triangles.count), face: take(Uint32Array, triangles.count) };
  }
  sheet.whole_mm = boxOf(sheet.box_mm, sheet.edges.points, sheet.triangles?.points ?? []);
}

/** Least and greatest of the corners of a box and of points. */
function boxOf(box, ...arrays) {
  const [low, high] = box.map((corner) => [...corner]);
  for (const points of arrays) {
    for (let i = 0; i < points.length; i++) {
      low[i % 3] = Math.min(low[i % 3], points[i]);
      high[i % 3] = Math.max(high[i % 3], points[i]);
    }
  }
  return [low, high];
}

function drawDrawing() {
  if (!hasLayers) return;
  const row = sheet.layers[state.layer];
  const marks = sheet.findings.filter((f) => f.at_mm && f.layer === row.index);
  drawSection(byId("section"), view, sheet, present(), state, palette(), marks);
}

function drawSides() {
  drawElevation(byId("elevation"), sheet, state, palette());
  drawColumn(byId("column"), byId("elevation").clientWidth, sheet, state, palette());
}

function drawShaded() {
  if (sheet.triangles) picture = drawPart(byId("part"), sheet, state, palette(), picture);
}

function drawAll() {
  drawSides();
  drawDrawing();
  drawShaded();
}

function write() {
  if (!hasLayers) return;
  byId("layer-number").value = sheet.layers[state.layer].index;
  byId("layer-text").textContent = layerText(sheet, state);
  fillLegend(byId("legend"), sheet, present(), state, palette());
}

function writeMove() {
  if (!hasLayers) return;
  const text = moveText(sheet, present(), state.move, state.unit);
  byId("readout").textContent = text || "point at a bead, or step along the program with the arrow keys left and right";
  const before = sheet.layers.slice(0, state.layer).reduce((sum, row) => sum + (row.time_s ?? NaN), 0);
  const at = state.move === null ? 0 : present().until[state.move] ?? 0;
  byId("clock").textContent = Number.isFinite(before) && state.layer > 0 ? `${timeText(before + at)} since the start` : `${timeText(at)} of ${timeText(present().seconds)}`;
}

function pickLayer(place) {
  if (!hasLayers) return;
  store.set({ layer: Math.min(sheet.layers.length - 1, Math.max(0, place)), move: null, finding: null });
}

/** Jump to where a finding is. */
function pickFinding(finding) {
  const patch = { finding: finding.number };
  const place = finding.layer !== undefined ? sheet.layers.findIndex((row) => row.index === finding.layer)
    : finding.at_mm && hasLayers ? layerAt(sheet, finding.at_mm[2]) : -1;
  if (place >= 0) Object.assign(patch, { layer: place, move: null });
  store.set(patch);
  if (finding.at_mm) {
    view.cx = finding.at_mm[0];
    view.cy = finding.at_mm[1];
    view.scale = Math.max(view.scale, 0.3 * Math.min(view.width, view.height) / (12 * (sheet.greatest.width || 10)));
    store.set({ view: state.view + 1 });
  }
}

function stepFinding(way) {
  const all = sheet.findings;
  if (!all.length) return;
  const at = all.findIndex((f) => f.number === state.finding);
  pickFinding(all[(at + way + all.length) % all.length]);
}

function stepMove(way) {
  if (!hasLayers) return;
  const n = present().n, next = state.move === null ? (way > 0 ? 0 : n - 1) : state.move + way;
  if (next >= n && state.layer + 1 < sheet.layers.length) { store.set({ layer: state.layer + 1, move: 0, share: 1 }); return; }
  if (next < 0 && state.layer > 0) { store.set({ layer: state.layer - 1, move: layerOf(state.layer - 1).n - 1, share: 1 }); return; }
  store.set({ move: Math.min(n - 1, Math.max(0, next)), share: 1 });
}

/** Run along the program in time: state.run is the time within the layer. */
let lastTick = 0;
function tick(now) {
  if (state.run === null) return;
  const passed = Math.min(0.2, (now - lastTick) / 1000) * state.rate;
  lastTick = now;
  let time = state.run + passed, layer = present();
  if (time >= layer.seconds) {
    if (state.layer + 1 >= sheet.layers.length) { store.set({ run: null }); return; }
    store.set({ layer: state.layer + 1, move: 0, run: 0, share: 0 });
  } else {
    let low = 0, high = layer.n - 1;
    while (low < high) { const m = (low + high) >> 1; if (layer.until[m] > time) high = m; else low = m + 1; }
    const before = low > 0 ? layer.until[low - 1] : 0, span = layer.until[low] - before;
    store.set({ run: time, move: low, share: span > 0 ? (time - before) / span : 1 });
  }
  requestAnimationFrame(tick);
}

function runOrStop() {
  if (!hasLayers) return;
  if (state.run !== null) { store.set({ run: null }); return; }
  const start = state.move === null ? 0 : present().until[state.move];
  store.set({ run: start >= present().seconds ? 0 : start });
  lastTick = performance.now();
  requestAnimationFrame(tick);
}

function moved() { store.set({ view: state.view + 1 }); }
function zoom(factor, x, y) { view.zoom(factor, x, y); moved(); }
function fit() { view.fit(sheet.box_mm); moved(); }
function measureAt(point) {
  const [a, b] = state.dimension;
  store.set({ dimension: a && !b ? [a, point] : [point, null] });
}
function measureKey() {
  if (!hasLayers) return;
  if (state.move === null) { store.set({ measuring: !state.measuring }); return; }
  measureAt([present().x[state.move], present().y[state.move]]);
}
function nextColour() {
  const open = KINDS.filter((kind) => !missing(sheet, kind));
  store.set({ colour: open[(open.indexOf(state.colour) + 1) % open.length] });
}

const KEYS = {
  ArrowUp: () => pickLayer(state.layer + 1), ArrowDown: () => pickLayer(state.layer - 1),
  PageUp: () => pickLayer(state.layer + 10), PageDown: () => pickLayer(state.layer - 10),
  Home: () => pickLayer(0), End: () => pickLayer(sheet.layers.length - 1),
  ArrowRight: () => stepMove(1), ArrowLeft: () => stepMove(-1), " ": runOrStop,
  "+": () => zoom(1.25), "=": () => zoom(1.25), "-": () => zoom(0.8), 0: fit,
  f: () => stepFinding(1), F: () => stepFinding(-1), c: nextColour, m: measureKey,
  t: () => store.set({ traverses: !state.traverses }), u: () => store.set({ unit: state.unit === "mm" ? "in" : "mm" }),
  d: () => store.set({ dark: !state.dark }), v: () => store.set({ side: !state.side }),
  Escape: () => store.set({ dimension: [null, null], measuring: false, move: null, finding: null, run: null }),
};
const PANS = { ArrowUp: [0, 1], ArrowDown: [0, -1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] };
const TURNS = { ArrowUp: ["tip", 0.1], ArrowDown: ["tip", -0.1], ArrowLeft: ["turn", -0.12], ArrowRight: ["turn", 0.12] };

function onKey(event) {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const target = event.target;
  if (target.matches("input[type=number], select")) { if (event.key === "Escape") target.blur(); return; }
  if (target.matches("button, input[type=radio]") && (event.key === " " || event.key === "Enter")) return;
  if (target.matches("input[type=radio]") && event.key.startsWith("Arrow")) return;
  if (target.matches(".scrolls") && /^(Page|Home|End|Arrow)/.test(event.key)) return;
  if (target.id === "part" && TURNS[event.key]) { const [key, by] = TURNS[event.key]; store.set({ [key]: state[key] + by }); }
  else if (event.shiftKey && PANS[event.key]) {
    const [x, y] = PANS[event.key], step = 60 / view.scale;
    view.cx += x * step; view.cy += y * step; moved();
  } else if (KEYS[event.key]) KEYS[event.key]();
  else return;
  event.preventDefault();
}

function dragged(canvas, act) {
  canvas.addEventListener("pointerdown", (event) => {
    canvas.setPointerCapture(event.pointerId);
    let x = event.clientX, y = event.clientY, way = 0;
    const move = (e) => { way += Math.abs(e.clientX - x) + Math.abs(e.clientY - y); act(e.clientX - x, e.clientY - y); x = e.clientX; y = e.clientY; };
    const up = () => { canvas.removeEventListener("pointermove", move); canvas.dragged = way > 4; };
    canvas.addEventListener("pointermove", move);
    canvas.addEventListener("pointerup", up, { once: true });
    canvas.addEventListener("pointercancel", up, { once: true });
  });
}

function wire() {
  const section = byId("section"), part = byId("part");
  document.addEventListener("keydown", onKey);
  dragged(section, (dx, dy) => { view.cx -= dx / view.scale; view.cy += dy / view.scale; moved(); });
  section.addEventListener("wheel", (e) => { e.preventDefault(); zoom(Math.exp(-e.deltaY * 0.0015), e.offsetX, e.offsetY); }, { passive: false });
  section.addEventListener("pointermove", (e) => {
    if (e.buttons || state.run !== null || !hasLayers) return;
    const move = nearest(present(), view, e.offsetX, e.offsetY, 14, state.traverses);
    if (move !== null) store.set({ move, share: 1 });
  });
  section.addEventListener("click", (e) => { if (state.measuring && !section.dragged && hasLayers) measureAt(snapped(present(), view, e.offsetX, e.offsetY)); });
  section.addEventListener("dblclick", fit);
  for (const id of ["elevation", "column"]) {
    const canvas = byId(id);
    const pick = (e) => pickLayer(layerAt(sheet, zScale(sheet, byId("elevation").clientWidth, canvas.clientHeight, state.side).z(e.offsetY)));
    canvas.addEventListener("pointerdown", pick);
    canvas.addEventListener("pointermove", (e) => { if (e.buttons) pick(e); });
    canvas.addEventListener("wheel", (e) => { e.preventDefault(); pickLayer(state.layer + (e.deltaY < 0 ? 1 : -1)); }, { passive: false });
  }
  dragged(part, (dx, dy) => store.set({ turn: state.turn - dx * 0.01, tip: Math.min(1.6, Math.max(-1.6, state.tip + dy * 0.01)) }));
  part.addEventListener("pointermove", (e) => {
    const face = faceAt(picture, e.offsetX, e.offsetY), row = face === null ? null : sheet.faces[face];
    byId("face-text").textContent = face === null ? shadeText(sheet, state.shade, state.unit) : `face ${faceName(sheet, face)}${row?.stock_mm ? `, stock ${lengthText(row.stock_mm.greatest, state.unit)}` : ""}`;
  });
  byId("layer-number").addEventListener("change", (e) => {
    const place = sheet.layers.findIndex((row) => row.index === Number(e.target.value));
    if (place >= 0) pickLayer(place); else write();
  });
  const press = { "layer-up": KEYS.ArrowUp, "layer-down": KEYS.ArrowDown, fit, run: runOrStop, units: KEYS.u, theme: KEYS.d, side: KEYS.v, traverses: KEYS.t,
    measure: () => store.set({ measuring: !state.measuring, dimension: [null, null] }), print: () => window.print() };
  for (const [id, act] of Object.entries(press)) byId(id).addEventListener("click", act);
  byId("rate").addEventListener("change", (e) => store.set({ rate: Number(e.target.value) }));
  byId("colours").addEventListener("change", (e) => store.set({ colour: e.target.value }));
  byId("shades").addEventListener("change", (e) => store.set({ shade: e.target.value }));
  window.addEventListener("resize", () => moved());
  window.addEventListener("beforeprint", () => onPaper(true));
  window.addEventListener("afterprint", () => onPaper(false));
  new ResizeObserver(() => { view.placed = view.placed && view.width > 1; drawAll(); }).observe(byId("section"));
}

/** Lay the sheet out for paper and draw it at that size, finer; or back for the screen. */
function onPaper(on) {
  printing = on;
  document.documentElement.classList.toggle("paper", on);
  for (const canvas of document.querySelectorAll("canvas")) canvas.dataset.ratio = on ? 3 : "";
  if (on) fillAnnex(byId("annex"), byId("process"), byId("findings"));
  applyTheme();
  store.flush();
  const share = view.scale / view.width;
  drawAll();
  view.scale = share * view.width;
  drawAll();
  write();
}

function applyTheme() {
  document.documentElement.dataset.theme = state.dark && !printing ? "dark" : "light";
}

function mark(id, on) { byId(id).setAttribute("aria-pressed", on ? "true" : "false"); }

function listen() {
  const look = ["unit", "dark"];
  store.on(["layer", "colour", ...look], write);
  store.on(["layer", "move", "unit"], writeMove);
  store.on(["layer", "move", "finding", "colour", "view", "traverses", "dimension", "run", "share", ...look], drawDrawing);
  store.on(["layer", "finding", "side", ...look], drawSides);
  store.on(["layer", "turn", "tip", "shade", "dark"], drawShaded);
  store.on(["unit"], () => { fillProcess(byId("process"), sheet, state.unit); fillTitle(byId("title-block"), sheet, state.unit); });
  store.on(["unit"], () => fillFindings(byId("findings"), sheet, state, pickFinding));
  store.on(["finding"], () => {
    for (const button of byId("findings").querySelectorAll("button")) {
      const own = Number(button.dataset.finding) === state.finding;
      button.setAttribute("aria-pressed", own ? "true" : "false");
      if (own) button.scrollIntoView({ block: "nearest" });
    }
  });
  store.on(["dark"], applyTheme);
  store.on(["shade", "unit"], () => { if (sheet.triangles) byId("face-text").textContent = shadeText(sheet, state.shade, state.unit); });
  store.on(["measuring", "run", "traverses", "colour", "shade"], () => {
    mark("measure", state.measuring); mark("run", state.run !== null); mark("traverses", state.traverses);
    byId("section").classList.toggle("measuring", state.measuring);
    byId("run").textContent = state.run === null ? "run \u25b8" : "stop \u25a0";
    for (const name of ["colour", "shade"]) {
      const picked = document.querySelector(`input[name=${name}][value=${state[name]}]`);
      if (picked) picked.checked = true;
    }
  });
  store.on(["unit"], () => { byId("units").textContent = state.unit; });
}

/** The layer in the middle; of a verification the measured one nearest to it. */
function firstShown() {
  const middle = Math.max(0, Math.floor(sheet.layers.length / 2));
  const measured = sheet.layers.map((row, place) => (row.deviation_mm === undefined ? Infinity : Math.abs(place - middle)));
  const nearest = Math.min(...measured);
  return Number.isFinite(nearest) ? measured.indexOf(nearest) : middle;
}

function start() {
  decodePart();
  colourButtons(byId("colours"), KINDS, (kind) => missing(sheet, kind), "colour");
  if (sheet.triangles) colourButtons(byId("shades"), SHADES, (kind) => shadeMissing(sheet, kind), "shade", {});
  else byId("face-text").textContent = sheet.part_missing;
  for (const name of ["colour", "shade"]) { const first = document.querySelector(`input[name=${name}]`); if (first) first.checked = true; }
  byId("layer-count").textContent = hasLayers ? `${sheet.layers[0].index} to ${sheet.layers.at(-1).index}` : "none";
  applyTheme();
  listen();
  wire();
  fillProcess(byId("process"), sheet, state.unit);
  fillTitle(byId("title-block"), sheet, state.unit);
  fillFindings(byId("findings"), sheet, state, pickFinding);
  state.layer = firstShown();
  write();
  writeMove();
  drawAll();
  const room = byId("elevation");
  window.sheet = { data: sheet, state, store, layerOf, view, balloons: () => elevationBalloons(sheet, state, room.clientWidth, room.clientHeight) };
  document.documentElement.dataset.ready = "true";
}

start();
