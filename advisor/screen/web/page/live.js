// The live page: questions beside the part, each answered while its control moves.
// Built into live.min.js together with the report's scene.js and three.js (MIT); the command stands in DEVELOPERS.md.

import {
  View, arraysOf, boxesOf, byId, facetAlong, facings, followKeys, followPointer, isDrawnBySoftware, linesOf, partMesh, setOfFacets, spreadOut,
} from "../../../pack/report/scene.js";

const SHELF_MM = [0.5, 1, 2, 3, 4, 6, 8, 10, 12, 16];
// Ends of the sliders for cusps (um) and stepovers (mm); steps between them grow by an even factor.
const HEIGHTS = { cusp: [0.5, 100], stepover: [0.02, 5] };
// Facets of parts that are drawn with smooth edges by the processor too.
const MOST_SMOOTH = 60_000;
const SETTLE_MS = 900;
const LOOK_MS = 250;
const QUICK_LOOK_MS = 120;
const SVG = "http://www.w3.org/2000/svg";

// -- words and elements

function element(name, words = "", more = {}) {
  const made = document.createElement(name);
  if (words) made.textContent = words;
  for (const [key, value] of Object.entries(more)) {
    if (key in made) made[key] = value;
    else made.setAttribute(key, value);
  }
  return made;
}

function bdi(words) {
  return element("bdi", words);
}

function minutesWords(minutes) {
  if (minutes >= 100) return `${Math.round(minutes).toLocaleString("en")} min`;
  return `${Number(minutes.toPrecision(3))} min`;
}

function pathWords(metres) {
  return `${metres >= 100 ? Math.round(metres).toLocaleString("en") : Number(metres.toPrecision(3))} m`;
}

function rounded(value, digits = 3) {
  return Number(value.toPrecision(digits));
}

// -- the view

class LiveView extends View {
  constructor(told, arrays) {
    super(told, arrays.corners, told.facets < MOST_SMOOTH || !isDrawnBySoftware());
    this.arrays = arrays;
    this.positions = spreadOut(arrays);
    this.boxes = boxesOf(this.positions);
    const count = arrays.faces.length / 3;
    this.zone = new Int16Array(count);
    this.part = partMesh(this.material, this.positions, arrays.normals, this.zone, new Uint8Array(count));
    this.scene.add(this.part);
    this.creases = linesOf(arrays.corners, arrays.creases);
    this.lines.add(this.creases);
    const [axis] = told.setups.map((setup) => setup.frame[2]);
    this.material.uniforms.toolAxis.value.set(...axis);
    this.rows = new Map();
    this.palette(told.classes);
  }

  // zones and paints of a plan, with the pieces of the facets that its lines cut
  take(arrays, map) {
    this.zone = arrays.zone;
    setOfFacets(this.part, "zone", arrays.zone);
    setOfFacets(this.part, "paint", arrays.paint);
    this.drop(this.pieces);
    this.drop(this.borders, this.lines);
    const corners = arrays["piece-corners"];
    this.pieceZone = arrays["piece-zone"];
    this.pieceBoxes = boxesOf(corners);
    this.pieces = partMesh(this.material, corners, arrays["piece-normals"], this.pieceZone, arrays["piece-paint"]);
    this.scene.add(this.pieces);
    this.borders = linesOf(arrays.borders, null);
    this.lines.add(this.borders);
    this.ways = null;
    this.palette(map);
    this.material.uniforms.preview.value = false;
    this.dress();
  }

  paint(arrays, map) {
    setOfFacets(this.part, "paint", arrays.paint);
    setOfFacets(this.pieces, "paint", arrays["piece-paint"]);
    this.palette(map);
    this.changed();
  }

  // slope classes at once, before the plan answers
  preview(flat, steep, wall) {
    const { preview, bounds } = this.material.uniforms;
    if (!preview.value) this.palette(this.told.classes);
    preview.value = true;
    bounds.value.set(flat, steep, wall);
    if (this.borders) this.borders.visible = false;
    if (this.pieces) this.pieces.visible = false;
    this.changed();
  }

  drop(mesh, from = this.scene) {
    if (!mesh) return;
    from.remove(mesh);
    mesh.geometry.dispose();
  }

  dressLines() {
    this.creases.material.color = this.creaseColour;
    if (this.borders) this.borders.material.color = this.borderColour;
    if (this.passes) this.passes.material.color = this.creaseColour;
  }

  pick(ray) {
    if (!this.pieces) return 0;
    const zones = this.zone;
    const whole = facetAlong(this.positions, this.boxes, ray, (facet) => zones[facet] > -32768);
    const piece = facetAlong(this.pieces.geometry.getAttribute("position").array, this.pieceBoxes, ray);
    if (whole.facet < 0 && piece.facet < 0) return 0;
    return Math.max(0, piece.way < whole.way ? this.pieceZone[piece.facet] : zones[whole.facet]);
  }

  nameOf(zone) {
    return this.rows.get(zone)?.name ?? "";
  }

  setupOf(zone) {
    return this.rows.get(zone)?.setup ?? this.setup;
  }

  ids() {
    return [...this.rows.keys()];
  }

  facing(zone) {
    if (!this.ways) {
      this.ways = facings(this.positions, this.zone);
      const pieces = facings(this.pieces.geometry.getAttribute("position").array, this.pieceZone);
      for (const [id, told] of pieces) {
        const own = this.ways.get(id);
        if (own) { own.way.add(told.way); own.area += told.area; } else this.ways.set(id, told);
      }
    }
    return this.ways.get(zone);
  }

  chose(zone) {
    showCard(zone);
  }

  // passes of the last stage, or none
  lay(segments) {
    this.drop(this.passes, this.lines);
    this.passes = segments ? linesOf(segments, null) : null;
    if (this.passes) this.lines.add(this.passes);
    this.dress();
  }
}

// -- the server

const state = { room: "", told: null, view: null, mode: "class", asking: false, waiting: null, drag: "", drags: 0, turn: 0, looking: 0, settling: 0 };

class Fault extends Error {}

async function call(path, options = {}) {
  let answer;
  try {
    answer = await fetch(path, { cache: "no-store", ...options });
  } catch {
    throw new Fault("The program behind this page does not answer: was it ended?");
  }
  if (answer.ok) return answer;
  const words = await answer.text();
  let fault = words;
  try { fault = JSON.parse(words).fault ?? words; } catch { /* plain words */ }
  const told = new Fault(fault || `the program refused (${answer.status})`);
  told.status = answer.status;
  throw told;
}

function inRoom(path) {
  return `rooms/${state.room}/${path}`;
}

async function arraysFrom(answer) {
  const data = await answer.arrayBuffer();
  const length = new DataView(data).getUint32(0, true);
  const told = JSON.parse(new TextDecoder().decode(new Uint8Array(data, 4, length)));
  const kinds = told.arrays.map((one) => ({ ...one, start: one.start + 4 + length }));
  return { told, arrays: arraysOf(kinds, data) };
}

function posted(body) {
  return { method: "POST", body: JSON.stringify(body), headers: { "content-type": "application/json" } };
}

function showFault(fault) {
  const place = byId("fault");
  place.textContent = fault ? String(fault.message ?? fault) : "";
  place.hidden = !fault;
}

async function trying(work) {
  try {
    showFault(null);
    return await work();
  } catch (fault) {
    showFault(fault);
    if (!(fault instanceof Fault)) console.error(fault);
    return null;
  }
}

// One question at a time; of those asked meanwhile the newest alone, but for what must not be lost.
async function ask(asked) {
  if (state.asking) {
    if (state.waiting?.resolve && state.waiting.asked.do === "set" && asked.do === "set" && state.waiting.asked.drag === asked.drag) {
      state.waiting.resolve(null);
      state.waiting = null;
    }
    if (state.waiting) await state.waiting.done;
    if (state.asking) {
      let resolve;
      const done = new Promise((made) => { resolve = made; });
      state.waiting = { asked, resolve, done };
      return done;
    }
  }
  state.asking = true;
  clearTimeout(state.settling);
  try {
    await askNow(asked);
  } finally {
    state.asking = false;
    const next = state.waiting;
    state.waiting = null;
    if (next) ask(next.asked).then(next.resolve);
    else settleSoon();
  }
  return null;
}

async function askNow(asked) {
  const began = performance.now();
  state.turn += 1;
  try {
    showFault(null);
    const { told, arrays } = await arraysFrom(await call(inRoom("ask"), posted({ ...asked, mode: state.mode })));
    if (state.waiting?.asked.do === "set" && asked.do === "set") return;
    taken(told, arrays);
    document.body.dataset.answerMs = (performance.now() - began).toFixed(0);
    document.body.dataset.answers = String(Number(document.body.dataset.answers ?? 0) + 1);
  } catch (fault) {
    showFault(fault);
    if (state.told) {
      fill(state.told);
      await showMap();
    }
  }
}

async function showMap() {
  const { turn } = state;
  const { told, arrays } = await arraysFrom(await call(inRoom(`map?mode=${state.mode}`)));
  // what was asked meanwhile is newer
  if (turn === state.turn) taken(told, arrays);
}

function taken(told, arrays) {
  const before = state.told;
  state.told = told;
  state.mode = told.map.mode;
  state.view.rows = new Map(told.zones.map((zone) => [zone.id, zone]));
  state.view.take(arrays, told.map);
  fill(told, before);
  document.body.dataset.settled = told.settled ? "yes" : "no";
}

// the whole plan, quietly, once nobody moves anything
function settleSoon() {
  clearTimeout(state.settling);
  if (!state.told || state.told.settled) return;
  state.settling = setTimeout(() => { if (!state.asking) run("settle"); }, SETTLE_MS);
}

async function run(kind) {
  await trying(async () => {
    await call(inRoom("errand"), posted({ kind }));
    await follow(kind);
  });
}

// Look how far the errand is, until it ends.
async function follow(kind) {
  const look = (state.looking += 1);
  const box = byId("errand");
  for (;;) {
    const told = await (await call(inRoom("errand"))).json();
    if (look !== state.looking) return;
    box.hidden = told.state !== "running" || told.kind === "settle";
    byId("errand-words").textContent = told.what;
    byId("errand-share").value = told.share;
    if (told.kind === "settle" && told.state === "running") byId("sureness").textContent = "Being checked: reach, corners, places left over …";
    if (told.state === "running") {
      await new Promise((resolve) => { setTimeout(resolve, kind === "settle" ? LOOK_MS : QUICK_LOOK_MS); });
      continue;
    }
    box.hidden = true;
    if (told.state === "failed") throw new Fault(told.fault);
    if (told.state === "done" && told.kind === kind) await finished(kind);
    else if (state.told) fill(state.told);
    return;
  }
}

async function finished(kind) {
  if (kind === "load") await showPart();
  else if (kind === "folder") {
    const link = element("a", "", { href: inRoom("plan.zip"), download: "" });
    document.body.append(link);
    link.click();
    link.remove();
    if (!state.told.settled) await showMap();
  } else if (!state.asking) await showMap();
  if (kind === "prove" && state.told.modes.some(([mode]) => mode === "cusp")) await colour("cusp");
}

async function showPart() {
  const { told, arrays } = await arraysFrom(await call(inRoom("part")));
  if (state.view) {
    state.view.renderer.dispose();
    const canvas = byId("scene");
    canvas.replaceWith(canvas.cloneNode());
  }
  state.view = new LiveView(told, arrays);
  delete byId("work").dataset.empty;
  wireView(state.view);
  await showMap();
  state.view.choose(0);
  settleSoon();
}

function wireView(view) {
  followPointer(view);
  followKeys(view);
  if (!state.sized) {
    state.sized = new ResizeObserver(() => state.view?.resize());
    state.sized.observe(byId("stage"));
    window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => state.view?.dress());
  }
  view.dress();
  view.resize();
  const setups = byId("pick-setup");
  setups.replaceChildren(...view.told.setups.map((_, number) => element("option", `set-up ${number + 1}`, { value: String(number) })));
  byId("setup-choice").hidden = view.told.setups.length < 2;
}

// -- files

async function loadFile(file) {
  await state.ready;
  await trying(async () => {
    if (file.size > state.mostBytes) throw new Fault(`${file.name} is larger than ${Math.round(state.mostBytes / 1e6)} MB`);
    await call(inRoom(`file?name=${encodeURIComponent(file.name)}`), { method: "POST", body: file });
    await follow("load");
  });
}

// -- what the page says

function fill(told) {
  byId("part-name").textContent = told.part.name;
  byId("part-words").textContent = told.part.words;
  document.title = `${told.part.name}: try a plan`;
  byId("undo").disabled = !told.undo;
  byId("redo").disabled = !told.redo;
  for (const id of ["get-job", "get-plan"]) byId(id).hidden = false;
  byId("get-job").href = inRoom("job.toml");
  byId("unit-question").hidden = !told.part.unit_open;
  byId("unit").value = told.part.unit;
  fillQuestions(told);
  fillSums(told);
  fillZones(told);
  fillEntries(told);
  fillLegend(told.map);
  const notes = told.notes.map((words) => element("li", words));
  byId("notes-list").replaceChildren(...notes);
  byId("notes").hidden = notes.length === 0;
  const picker = byId("pick-colour");
  picker.replaceChildren(...told.modes.map(([mode, words]) => element("option", words, { value: mode })));
  picker.value = told.map.mode;
  if (state.view.chosen) showCard(state.view.chosen);
}

function put(id, value) {
  const control = byId(id);
  if (document.activeElement !== control || control.type !== "number") control.value = String(value);
}

function fillQuestions({ asked, unit }) {
  put("steep", asked.steep_from);
  put("steep-number", asked.steep_from);
  byId("steep-open").checked = asked.steep_open;
  put("flat", asked.flat_below);
  put("flat-number", asked.flat_below);
  byId("ball-kind").textContent = asked.kind === "ball" ? "ball" : "bull-nose cutter";
  put("ball-number", rounded(asked.ball / unit.mm, 4));
  put("ball", nearest(SHELF_MM, asked.ball));
  for (const place of document.querySelectorAll("[data-unit]")) place.textContent = unit.sign;
  const kind = asked.cusp === null ? "stepover" : "cusp";
  byId("target").value = kind;
  fillHeight(kind, kind === "cusp" ? asked.cusp : asked.stepover);
  byId("material").value = asked.material ?? "";
  if (asked.material && byId("material").value !== asked.material) {
    byId("material").append(element("option", asked.material, { value: asked.material }));
    byId("material").value = asked.material;
  }
  byId("machine-axes").value = asked.axes;
  put("spindle", asked.max_spindle);
}

function heightUnit(kind) {
  const { sign, mm } = state.told.unit;
  return kind === "cusp" && sign === "mm" ? { sign: "µm", scale: 1 } : { sign: kind === "cusp" ? "in" : sign, scale: kind === "cusp" ? mm * 1000 : mm };
}

function fillHeight(kind, value) {
  const { sign, scale } = heightUnit(kind);
  const [least, most] = HEIGHTS[kind];
  byId("height-unit").textContent = sign;
  put("height-number", rounded(value / scale, 3));
  put("height", Math.round((100 * Math.log(value / least)) / Math.log(most / least)));
}

function heightAt(kind, place) {
  const [least, most] = HEIGHTS[kind];
  return rounded(least * (most / least) ** (place / 100), 2);
}

function nearest(values, wanted) {
  return values.reduce((best, value, place) => (Math.abs(value - wanted) < Math.abs(values[best] - wanted) ? place : best), 0);
}

function fillSums({ sums, before, first, settled, proved }) {
  const known = sums.total_min !== null;
  byId("sums").textContent = known ? minutesWords(sums.total_min) : `${pathWords(sums.path_m)} of passes`;
  const lines = [];
  if (known && sums.low_min !== null) lines.push(`${minutesWords(sums.low_min)} to ${minutesWords(sums.high_min)}, ${pathWords(sums.path_m)} of passes in ${sums.zones} zones.`);
  else if (!known) lines.push(`In ${sums.zones} zones. Name the material to know minutes.`);
  const place = byId("against");
  place.replaceChildren(element("span", lines.join(" ")));
  const same = JSON.stringify(before) === JSON.stringify(first);
  place.append(...difference(sums, before, "Before this change"));
  if (!same) place.append(...difference(sums, first, "At the start"));
  byId("sureness").textContent = proved ? "Passes laid and cut virtually." : settled ? "Checked: lengths are area over spacing, no passes laid." : "A first answer; it will be checked.";
  byId("prove").disabled = proved;
  byId("passes-choice").hidden = !proved;
  if (!proved && state.view.passes) {
    byId("show-passes").checked = false;
    showPasses(false);
  }
}

function difference(sums, other, when) {
  if (!other) return [];
  const minutes = sums.total_min !== null && other.total_min !== null;
  const [now, then, words] = minutes ? [sums.total_min, other.total_min, minutesWords] : [sums.path_m, other.path_m, pathWords];
  const change = now - then;
  const same = Math.abs(change) < 0.0005 * then;
  const told = element("span", same ? "no change" : `${change < 0 ? "−" : "+"}${words(Math.abs(change))}`, { className: same ? "" : change < 0 ? "less" : "more" });
  return [document.createElement("br"), `${when} ${words(then)}: `, told, "."];
}

function fillZones(told) {
  const known = told.zones.some((zone) => zone.min !== null);
  byId("cost-head").textContent = known ? "min" : "path";
  const ticked = new Set([...document.querySelectorAll("#zone-rows input:checked")].map((box) => Number(box.value)));
  const rows = told.zones.map((zone) => {
    const row = element("tr", "", { className: zone.cut ? "" : "no" });
    row.dataset.zone = String(zone.id);
    const tick = element("input", "", { type: "checkbox", value: String(zone.id), ariaLabel: `tick zone ${zone.id}` });
    tick.checked = state.keepTicks && ticked.has(zone.id);
    const open = element("button", "", { type: "button" });
    const kind = element("span", "", { className: "kind" });
    kind.style.background = `rgb(${classColour(zone.class)})`;
    kind.title = zone.class;
    open.append(kind, element("b", String(zone.id)), bdi(` ${zone.name}`));
    open.addEventListener("click", () => state.view.show(zone.id));
    const cost = known ? (zone.min === null ? "–" : minutesWords(zone.min).replace(" min", "")) : pathWords(zone.path_m);
    const cells = [tick, open, zone.locked ? `${zone.way}, held` : zone.way, cost];
    cells.forEach((cell, place) => {
      const made = element("td", "", { className: place === 3 ? "number" : "" });
      made.append(cell);
      row.append(made);
    });
    return row;
  });
  byId("zone-rows").replaceChildren(...rows);
  markRow();
  tickChanged();
}

function classColour(name) {
  const place = ["flat", "shallow", "steep", "undercut"].indexOf(name);
  return state.view.told.classes.lit[place].join(",");
}

function markRow() {
  for (const row of document.querySelectorAll("#zone-rows tr")) row.setAttribute("aria-current", String(Number(row.dataset.zone) === state.view.chosen));
}

function tickChanged() {
  byId("join").disabled = document.querySelectorAll("#zone-rows input:checked").length < 2;
}

function fillEntries(told) {
  byId("decided").hidden = told.entries.length === 0;
  byId("entries").replaceChildren(...told.entries.map((entry) => {
    const item = element("li");
    const back = element("button", "take back", { type: "button", ariaLabel: `take back: ${entry.words}` });
    back.addEventListener("click", () => ask({ do: "forget", place: entry.place }));
    item.append(bdi(entry.words), back);
    return item;
  }));
}

// -- legend

function svg(name, more) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(more)) made.setAttribute(key, String(value));
  return made;
}

function swatch(row) {
  const made = svg("svg", { width: 36, height: 18, viewBox: "0 0 36 18", "aria-hidden": "true" });
  made.append(svg("rect", { x: 0.5, y: 0.5, width: 35, height: 17, rx: 2, fill: row.colour, stroke: "#1b212b" }));
  let at = 0;
  for (const [colour, share] of row.strip) {
    made.append(svg("rect", { x: 1 + 34 * at, y: 1, width: 34 * share, height: 16, fill: colour }));
    at += share;
  }
  if (row.hatch) made.append(svg("path", { d: "M22 17 30 1M28 17 35 3M16 17 24 1", stroke: row.hatch, "stroke-width": 2 }));
  if (row.lean !== null) made.append(svg("path", { d: "M3 9H13", stroke: row.ink, "stroke-width": 2.4, "stroke-linecap": "round", transform: `rotate(${-row.lean} 8 9)` }));
  return made;
}

function fillLegend(map) {
  const place = byId("legend");
  place.replaceChildren();
  if (map.scale) {
    const bar = svg("svg", { class: "bar", viewBox: "0 0 400 40", role: "img", "aria-label": `scale of ${map.heading}` });
    const { colours, ticks } = map.scale;
    const stride = Math.max(1, Math.floor(colours.length / 60));
    for (let k = 0; k < colours.length; k += stride) bar.append(svg("rect", { x: 20 + (360 * k) / colours.length, y: 2, width: (360 * Math.min(stride, colours.length - k)) / colours.length + 0.3, height: 16, fill: colours[k] }));
    bar.append(svg("rect", { x: 20, y: 2, width: 360, height: 16, fill: "none", stroke: "currentColor", "stroke-width": 0.8 }));
    for (const [where, words] of ticks) {
      const label = svg("text", { x: 20 + 360 * where, y: 33, "text-anchor": "middle", fill: "currentColor" });
      label.textContent = words;
      bar.append(label);
    }
    place.append(bar);
  }
  const list = element("ul");
  for (const row of map.rows) {
    const item = element("li");
    const words = element("span");
    words.append(element("b", row.name), ` ${row.words} `);
    if (row.share !== null && row.share > 0.0005) words.append(element("span", `${row.share < 0.01 ? "less than 1" : Math.round(100 * row.share)} %`, { className: "quiet" }));
    item.append(swatch(row), words);
    list.append(item);
  }
  place.append(list);
  if (map.note) place.append(element("p", map.note, { className: "quiet" }));
}

async function colour(mode) {
  state.mode = mode;
  await trying(async () => {
    const { told, arrays } = await arraysFrom(await call(inRoom(`paint?mode=${mode}`)));
    state.view.paint(arrays, told.map);
    state.told.map = told.map;
    state.mode = told.map.mode;
    byId("pick-colour").value = told.map.mode;
    fillLegend(told.map);
  });
}

async function showPasses(wanted) {
  byId("passes-words").textContent = "";
  if (!wanted) {
    state.view.lay(null);
    return;
  }
  await trying(async () => {
    const { told, arrays } = await arraysFrom(await call(inRoom("passes")));
    state.view.lay(arrays.segments);
    byId("passes-words").textContent = told.stride > 1 ? `(one in ${told.stride})` : "";
  });
}

// -- a zone's card

async function showCard(zone) {
  const place = byId("card");
  byId("card-hint").hidden = Boolean(zone);
  markRow();
  if (!zone) {
    place.hidden = true;
    place.replaceChildren();
    return;
  }
  try {
    const told = await (await call(inRoom(`zone/${zone}`))).json();
    if (state.view.chosen !== zone) return;
    place.replaceChildren(...cardParts(told));
    place.hidden = false;
    place.dataset.zone = String(zone);
  } catch (fault) {
    if (fault.status === 422) state.view.choose(0);
    else showFault(fault);
  }
}

function cardParts(told) {
  const title = element("h3");
  title.append(`${told.title}: `, bdi(told.name));
  const facts = element("dl");
  for (const [label, value] of told.facts) {
    const pair = element("div");
    const shown = element("dd");
    shown.append(bdi(value));
    pair.append(element("dt", label), shown);
    facts.append(pair);
  }
  const reasons = element("ul");
  reasons.append(...told.reasons.map((words) => element("li", words)));
  return [title, ...candidateTable(told), handTools(told), facts, reasons];
}

function candidateTable(told) {
  if (told.candidates.length === 0 || told.protected) return [];
  const minutes = told.candidates.some((one) => one.min !== null);
  const table = element("table");
  const head = element("tr");
  const counts = told.candidates.some((one) => one.passes !== null);
  for (const words of ["held to", `step ${told.unit}`, ...(counts ? ["passes"] : []), minutes ? "min" : "path"]) head.append(element("th", words, { scope: "col", className: words === "held to" ? "" : "number" }));
  const body = element("tbody");
  const choice = (value, label, checked) => {
    const made = element("label");
    const radio = element("input", "", { type: "radio", name: "strategy", value, checked });
    radio.addEventListener("change", () => ask({ do: "lock", zone: told.id, value: value || null }));
    made.append(radio, label);
    return made;
  };
  const free = element("tr");
  const freeCell = element("td", "", { colSpan: 4 });
  freeCell.append(choice("", "whatever is advised", told.locked === null));
  free.append(freeCell);
  body.append(free);
  for (const one of told.candidates) {
    const row = element("tr", "", { className: one.usable ? "" : "no", title: one.why[0] ?? "" });
    const first = element("td");
    first.append(choice(one.strategy, one.chosen ? `${one.words} ✓` : one.words, told.locked === one.strategy));
    row.append(first);
    const cost = minutes ? (one.min === null ? "–" : String(rounded(one.min))) : one.path_m === null ? "–" : pathWords(one.path_m);
    for (const words of [one.stepover ?? "–", ...(counts ? [one.passes === null ? "–" : String(one.passes)] : []), cost]) row.append(element("td", words, { className: "number" }));
    body.append(row);
  }
  const top = element("thead");
  top.append(head);
  table.append(top, body);
  const wide = element("div", "", { className: "wide" });
  wide.append(table);
  return [wide];
}

function handTools(told) {
  const place = element("form", "", { className: "hand" });
  const name = element("input", "", { type: "text", value: told.own_name ?? "", placeholder: "a name of your own", maxLength: 80, ariaLabel: `name of zone ${told.id}` });
  const button = (words, asked) => {
    const made = element("button", words, { type: "button" });
    made.addEventListener("click", () => ask(asked));
    return made;
  };
  place.addEventListener("submit", (event) => {
    event.preventDefault();
    ask({ do: "rename", zone: told.id, value: name.value.trim() || null });
  });
  place.append(name, element("button", "Name it", { type: "submit" }), button("Take apart", { do: "split", zone: told.id }), button("Leave out", { do: "exclude", zone: told.id }),
    button(told.protected ? "Let passes on it" : "Keep passes off", { do: "protect", zone: told.id, value: !told.protected }));
  return place;
}

// -- questions

function thresholds() {
  return [Number(byId("flat-number").value), Number(byId("steep-number").value), state.told?.asked.wall ?? 91];
}

function slider(id, key, toOptions, previews) {
  const [range, number] = [byId(id), byId(`${id}-number`)];
  const moved = (from, to) => {
    if (!state.told || from.value === "" || !Number.isFinite(Number(from.value))) return;
    to(from.value);
    if (previews) state.view.preview(...thresholds());
    ask({ do: "set", options: toOptions(), drag: `${key} ${state.drags}` });
  };
  range.addEventListener("pointerdown", () => { state.drags += 1; });
  range.addEventListener("focus", () => { state.drags += 1; });
  number.addEventListener("focus", () => { state.drags += 1; });
  return { range, number, moved };
}

function wireQuestions() {
  const steep = slider("steep", "steep", () => ({ "zones.steep_from": `${byId("steep-number").value} deg` }), true);
  const flat = slider("flat", "flat", () => ({ "zones.flat_below": `${byId("flat-number").value} deg` }), true);
  for (const one of [steep, flat]) {
    one.range.addEventListener("input", () => one.moved(one.range, (value) => { one.number.value = value; }));
    one.number.addEventListener("change", () => one.moved(one.number, (value) => { one.range.value = value; }));
  }
  byId("steep-open").addEventListener("change", (event) => ask({ do: "set", options: { "zones.steep_from": event.target.checked ? null : `${byId("steep-number").value} deg` } }));
  const unit = () => state.told.unit;
  const ball = slider("ball", "ball", () => ({ ball: `${byId("ball-number").value} ${unit().sign}` }), false);
  ball.range.addEventListener("input", () => ball.moved(ball.range, (place) => { ball.number.value = String(rounded(SHELF_MM[place] / unit().mm, 4)); }));
  ball.number.addEventListener("change", () => ball.moved(ball.number, (value) => { ball.range.value = String(nearest(SHELF_MM, Number(value) * unit().mm)); }));
  const kind = () => byId("target").value;
  const heightOptions = () => {
    const { sign } = heightUnit(kind());
    return { [kind()]: `${byId("height-number").value} ${sign === "µm" ? "um" : sign}` };
  };
  const height = slider("height", "height", heightOptions, false);
  height.range.addEventListener("input", () => height.moved(height.range, (place) => { height.number.value = String(rounded(heightAt(kind(), Number(place)) / heightUnit(kind()).scale, 3)); }));
  height.number.addEventListener("change", () => height.moved(height.number, () => {}));
  byId("target").addEventListener("change", () => {
    // the same on a flat, said the other way
    const { asked } = state.told;
    const cusp = asked.cusp ?? (1000 * asked.flat_step ** 2) / (4 * asked.ball);
    fillHeight(kind(), kind() === "cusp" ? cusp : asked.flat_step);
    ask({ do: "set", options: heightOptions() });
  });
  byId("material").addEventListener("change", (event) => ask({ do: "set", options: { material: event.target.value || null } }));
  byId("machine-axes").addEventListener("change", (event) => ask({ do: "set", options: { "machine.axes": event.target.value } }));
  byId("spindle").addEventListener("change", (event) => ask({ do: "set", options: { "machine.max_spindle": `${event.target.value} rpm` } }));
  byId("ask").addEventListener("submit", (event) => event.preventDefault());
  byId("unit").addEventListener("change", (event) => trying(async () => {
    await call(inRoom("unit"), posted({ unit: event.target.value }));
    await follow("load");
  }));
}

function wireButtons() {
  byId("open").addEventListener("click", () => byId("file").click());
  byId("file").addEventListener("change", (event) => {
    const [file] = event.target.files;
    if (file) loadFile(file);
    event.target.value = "";
  });
  byId("undo").addEventListener("click", () => ask({ do: "undo" }));
  byId("redo").addEventListener("click", () => ask({ do: "redo" }));
  byId("prove").addEventListener("click", () => run("prove"));
  byId("get-plan").addEventListener("click", () => run("folder"));
  byId("errand-stop").addEventListener("click", () => trying(() => call(inRoom("errand"), { method: "DELETE" })));
  byId("join").addEventListener("click", () => ask({ do: "join", zones: [...document.querySelectorAll("#zone-rows input:checked")].map((box) => Number(box.value)) }));
  byId("zone-rows").addEventListener("change", tickChanged);
  byId("pick-colour").addEventListener("change", (event) => colour(event.target.value));
  byId("show-passes").addEventListener("change", (event) => showPasses(event.target.checked));
  byId("pick-setup").addEventListener("change", (event) => state.view.toSetup(Number(event.target.value)));
  byId("look-start").addEventListener("click", () => state.view.look(null));
  byId("look-top").addEventListener("click", () => state.view.look(-90, 90));
  byId("look-under").addEventListener("click", () => state.view.look(-90, -90));
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z" || !state.told || event.target.type === "text") return;
    event.preventDefault();
    ask({ do: event.shiftKey ? "redo" : "undo" });
  });
}

function wireDrop() {
  const stage = byId("stage");
  document.addEventListener("dragover", (event) => {
    event.preventDefault();
    stage.classList.add("aimed");
  });
  document.addEventListener("dragleave", (event) => { if (!event.relatedTarget) stage.classList.remove("aimed"); });
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    stage.classList.remove("aimed");
    const [file] = event.dataTransfer.files;
    if (file) loadFile(file);
  });
}

async function start() {
  wireQuestions();
  wireButtons();
  wireDrop();
  const told = await (await call("rooms", { method: "POST" })).json();
  state.mostBytes = told.most_bytes;
  byId("material").append(...told.materials.map((name) => element("option", name, { value: name })));
  byId("file").accept = told.formats.join(",");
  byId("drop-kinds").textContent = told.formats.join("  ");
  const kept = sessionStorage.getItem("room");
  state.room = kept ?? told.room;
  if (kept) {
    // loaded again: the work goes on where it was
    try {
      await showPart();
      call(`rooms/${told.room}`, { method: "DELETE" });
      return;
    } catch {
      state.room = told.room;
    }
  }
  sessionStorage.setItem("room", state.room);
  if (told.first) {
    await call(inRoom("first"), { method: "POST" });
    await follow("load");
  }
}

state.ready = trying(start);
