// The 3D view of a report: turn the part, pick a zone, read its card. The page works without it.
// Built into viewer.min.js together with scene.js and three.js (MIT); the command stands in DEVELOPERS.md.

import {
  View, arraysOf, boxesOf, byId, facetAlong, facings, followKeys, followPointer, linesOf, partMesh, setOfFacets, spreadOut,
} from "./scene.js";

async function unpacked() {
  const packed = atob(byId("mesh-data").textContent.trim());
  const bytes = new Uint8Array(packed.length);
  for (let i = 0; i < packed.length; i += 1) bytes[i] = packed.charCodeAt(i);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  return new Response(stream).arrayBuffer();
}

class ReportView extends View {
  constructor(told, data) {
    const arrays = arraysOf(told.arrays, data);
    super(told, arrays.corners);
    this.arrays = arrays;
    this.positions = spreadOut(arrays);
    this.boxes = boxesOf(this.positions);
    this.part = partMesh(this.material, this.positions, arrays.normals, arrays.zone, arrays[`paint-${told.maps[0].mode}`]);
    this.creases = linesOf(arrays.corners, arrays.creases);
    this.borders = linesOf(arrays.corners, arrays.borders);
    this.lines.add(this.creases, this.borders);
    this.scene.add(this.part);
    this.names = new Map(told.zones.map((zone) => [zone.id, zone]));
    this.colour(told.maps[0].mode);
  }

  colour(mode) {
    const map = this.told.maps.find((one) => one.mode === mode);
    setOfFacets(this.part, "paint", this.arrays[`paint-${mode}`]);
    this.palette(map);
    for (const legend of document.querySelectorAll("#legends > [data-mode]")) {
      legend.hidden = legend.dataset.mode !== mode;
    }
    this.changed();
  }

  dressLines() {
    this.borders.material.color = this.borderColour;
    this.creases.material.color = this.creaseColour;
  }

  pick(ray) {
    const { facet } = facetAlong(this.positions, this.boxes, ray);
    return facet < 0 ? 0 : Math.max(0, this.arrays.zone[facet]);
  }

  nameOf(zone) {
    return this.names.get(zone)?.name ?? "";
  }

  setupOf(zone) {
    return this.names.get(zone)?.setup ?? this.setup;
  }

  ids() {
    return this.told.zones.map((zone) => zone.id);
  }

  facing(zone) {
    this.ways ??= facings(this.positions, this.arrays.zone);
    return this.ways.get(zone);
  }

  chose(zone) {
    byId("pick-zone").value = String(zone);
    const place = byId("picked");
    place.replaceChildren();
    const card = byId(`card-${zone}`);
    if (card) {
      const copy = card.cloneNode(true);
      copy.removeAttribute("id");
      place.append(copy);
    }
    byId("pick-hint").hidden = Boolean(card);
  }
}

function followControls(view) {
  byId("pick-colour").addEventListener("change", (event) => view.colour(event.target.value));
  byId("pick-zone").addEventListener("change", (event) => {
    const zone = Number(event.target.value);
    if (zone) view.show(zone);
    else view.choose(0);
  });
  byId("pick-setup")?.addEventListener("change", (event) => view.toSetup(Number(event.target.value)));
  byId("look-start").addEventListener("click", () => view.look(null));
  byId("look-top").addEventListener("click", () => view.look(-90, 90));
  byId("look-under").addEventListener("click", () => view.look(-90, -90));
  for (const link of document.querySelectorAll("a[data-show]")) {
    link.addEventListener("click", () => view.show(Number(link.dataset.show)));
  }
}

function toStill() {
  byId("viewer").classList.remove("live");
}

async function start() {
  const told = JSON.parse(byId("mesh-told").textContent);
  const view = new ReportView(told, await unpacked());
  byId("viewer").classList.add("live");
  view.canvas.addEventListener("webglcontextlost", toStill);
  view.canvas.addEventListener("webglcontextrestored", () => byId("viewer").classList.add("live"));
  new ResizeObserver(() => view.resize()).observe(view.canvas.parentElement);
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => view.dress());
  followPointer(view);
  followKeys(view);
  followControls(view);
  view.dress();
  view.resize();
}

// Whatever is missing here (WebGL, unpacking), the still picture stands in the page already.
start().catch((fault) => {
  toStill();
  byId("view-fault").textContent = `The 3D view does not run here (${fault.message}).`;
});
