// What the 3D view of a report and that of the live page share: light and colours, the eye, picking, numbers, keys.

import {
  BufferAttribute, BufferGeometry, Color, DataTexture, GLSL3, Group, LinearSRGBColorSpace, LineBasicMaterial,
  LineSegments, Mesh, NearestFilter, OrthographicCamera, RGBAFormat, Scene, ShaderMaterial, UnsignedByteType,
  Vector3, WebGLRenderer, WebGLRenderTarget, DoubleSide,
} from "three";

export const DEGREES = Math.PI / 180;
const TURN_PER_PIXEL = 0.4;
const TURN_PER_KEY = 6;
const ZOOM_PER_KEY = 1.2;
const MOVE_PER_KEY = 40;
// A press that moves less than this is a click, pixels.
const CLICK_PIXELS = 4;
const REST_MS = 160;
// Numbers are placed by a small picture of the zones, so many times smaller than the view.
const COARSE = 3;
const LEAST_SEEN = 8;
const MOST_LABELS = 40;
const MARGIN = 0.92;
// Facets in a box, where one is looked for along a ray.
const BLOCK = 64;

export const byId = (id) => document.getElementById(id);

const VERTEX = `
in float paint; in float zone;
uniform vec3 toolAxis; uniform bool preview;
flat out float itsPaint; flat out float itsZone; out vec3 itsNormal; out float itsClimb;
void main() {
  itsPaint = paint; itsZone = zone; itsNormal = normalMatrix * normal; itsClimb = dot(normal, toolAxis);
  gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
  // facets that are shown in pieces instead
  if (paint > 254.5 && !preview) gl_Position = vec4(2.0, 2.0, 2.0, 1.0);
}`;

const FRAGMENT = `
flat in float itsPaint; flat in float itsZone; in vec3 itsNormal; in float itsClimb;
uniform sampler2D palette; uniform float chosen; uniform float hovered; uniform vec3 faded; uniform vec4 light;
uniform float around; uniform vec3 hatch; uniform bool ids; uniform bool preview; uniform vec3 bounds;
out vec4 colour;
void main() {
  if (ids) {
    float id = max(itsZone, 0.0);
    colour = vec4(mod(id, 256.0) / 255.0, floor(id / 256.0) / 255.0, 1.0, 1.0);
    return;
  }
  vec3 normal = normalize(gl_FrontFacing ? itsNormal : -itsNormal);
  int k = int(itsPaint + 0.5);
  if (preview) {
    // slope classes at once, from the normals of the smooth surface
    float slope = degrees(acos(clamp(itsClimb / max(length(itsNormal), 1e-6), -1.0, 1.0)));
    k = slope < bounds.x ? 0 : slope < bounds.y ? 1 : slope < bounds.z ? 2 : 3;
  }
  vec3 lit = texelFetch(palette, ivec2(k, 0), 0).rgb;
  vec3 dark = texelFetch(palette, ivec2(k, 1), 0).rgb;
  vec4 stroke = texelFetch(palette, ivec2(k, 2), 0);
  vec3 c = mix(dark, lit, clamp(around + light.w * max(dot(normal, light.xyz), 0.0), 0.0, 1.0));
  if (stroke.a > 0.5 && fract(dot(gl_FragCoord.xy, hatch.xy)) < hatch.z) c = stroke.rgb;
  if (!preview && chosen > 0.0 && abs(itsZone - chosen) > 0.5) c = mix(faded, c, 0.14);
  if (!preview && hovered > 0.0 && abs(itsZone - hovered) < 0.5) c = mix(c, vec3(1.0), 0.18);
  colour = vec4(c, 1.0);
}`;

export function arraysOf(told, data) {
  const kinds = { f4: Float32Array, u4: Uint32Array, i2: Int16Array, i1: Int8Array, u1: Uint8Array };
  const arrays = {};
  for (const { name, kind, start, count } of told) arrays[name] = new kinds[kind](data, start, count);
  return arrays;
}

// Every facet gets corners of its own: paint and zone belong to facets, not to corners.
export function spreadOut(arrays) {
  const { corners, faces } = arrays;
  const positions = new Float32Array(faces.length * 3);
  for (let i = 0; i < faces.length; i += 1) positions.set(corners.subarray(3 * faces[i], 3 * faces[i] + 3), 3 * i);
  return positions;
}

export function threefold(values) {
  const spread = new values.constructor(values.length * 3);
  for (let i = 0; i < values.length; i += 1) spread.fill(values[i], 3 * i, 3 * i + 3);
  return spread;
}

export function paletteOf(map) {
  const width = map.lit.length;
  const bytes = new Uint8Array(4 * 3 * width);
  for (let k = 0; k < width; k += 1) {
    bytes.set([...map.lit[k], 255], 4 * k);
    bytes.set([...map.dark[k], 255], 4 * (width + k));
    bytes.set(map.hatch[k] ? [...map.hatch[k], 255] : [0, 0, 0, 0], 4 * (2 * width + k));
  }
  const texture = new DataTexture(bytes, width, 3, RGBAFormat, UnsignedByteType);
  texture.minFilter = NearestFilter;
  texture.magFilter = NearestFilter;
  texture.needsUpdate = true;
  return texture;
}

// The camera: an azimuth about the tool axis and an elevation above the plan, parallel projection.
class Eye {
  constructor(told, size) {
    this.told = told;
    this.size = size;
    this.camera = new OrthographicCamera(-1, 1, 1, -1, 0.1, 10);
    this.camera.matrixAutoUpdate = false;
    this.width = 1;
    this.height = 1;
    this.toSetup(0);
  }

  toSetup(number) {
    this.frame = this.told[number].frame.map((row) => new Vector3(...row));
    this.toStart(number);
  }

  toStart(number) {
    this.azimuth = this.told[number].azimuth;
    this.elevation = this.told[number].elevation;
    this.home();
  }

  home() {
    this.zoom = 1;
    this.target = new Vector3();
  }

  turn(byAzimuth, byElevation) {
    this.azimuth = (((this.azimuth + byAzimuth) % 360) + 360) % 360;
    this.elevation = Math.min(90, Math.max(-90, this.elevation + byElevation));
  }

  axes() {
    const [x, y, z] = this.frame;
    const [a, e] = [this.azimuth * DEGREES, this.elevation * DEGREES];
    const of = (p, q, r) => new Vector3().addScaledVector(x, p).addScaledVector(y, q).addScaledVector(z, r);
    return {
      right: of(-Math.sin(a), Math.cos(a), 0),
      up: of(-Math.sin(e) * Math.cos(a), -Math.sin(e) * Math.sin(a), Math.cos(e)),
      near: of(Math.cos(e) * Math.cos(a), Math.cos(e) * Math.sin(a), Math.sin(e)),
    };
  }

  get perPixel() {
    return this.fitted / this.zoom;
  }

  // mm a pixel that shows the whole part from here; corners are three numbers each
  fit(corners) {
    const { right, up } = this.axes();
    let [wide, high] = [1e-9, 1e-9];
    for (let i = 0; i < corners.length; i += 3) {
      const [x, y, z] = [corners[i], corners[i + 1], corners[i + 2]];
      wide = Math.max(wide, 2 * Math.abs(x * right.x + y * right.y + z * right.z));
      high = Math.max(high, 2 * Math.abs(x * up.x + y * up.y + z * up.z));
    }
    this.fitted = Math.max(wide / this.width, high / this.height) / MARGIN;
  }

  place() {
    const { right, up, near } = this.axes();
    const { camera } = this;
    const [w, h] = [(this.width * this.perPixel) / 2, (this.height * this.perPixel) / 2];
    Object.assign(camera, { left: -w, right: w, top: h, bottom: -h, near: 0, far: 4 * this.size });
    camera.updateProjectionMatrix();
    const at = this.target.clone().addScaledVector(near, 2 * this.size);
    camera.matrix.makeBasis(right, up, near).setPosition(at);
    camera.matrixWorld.copy(camera.matrix);
    camera.matrixWorldInverse.copy(camera.matrixWorld).invert();
  }

  move(x, y) {
    const { right, up } = this.axes();
    this.target.addScaledVector(right, -x * this.perPixel).addScaledVector(up, y * this.perPixel);
  }

  // from a point of the view, in pixels from its middle: where the line of sight starts, and its way
  ray(x, y) {
    const { right, up, near } = this.axes();
    const from = this.target.clone().addScaledVector(right, x * this.perPixel).addScaledVector(up, -y * this.perPixel);
    return { from: from.addScaledVector(near, 2 * this.size), way: near.clone().negate() };
  }
}

// Boxes around facets that follow one another, six numbers a box: neighbours are near, see report_simplify.py.
export function boxesOf(positions) {
  const boxes = new Float32Array(6 * Math.ceil(positions.length / (9 * BLOCK)));
  for (let k = 0; k < boxes.length; k += 6) {
    const box = [Infinity, Infinity, Infinity, -Infinity, -Infinity, -Infinity];
    const [first, last] = [(k / 6) * 9 * BLOCK, Math.min(positions.length, (k / 6 + 1) * 9 * BLOCK)];
    for (let i = first; i < last; i += 1) {
      box[i % 3] = Math.min(box[i % 3], positions[i]);
      box[3 + (i % 3)] = Math.max(box[3 + (i % 3)], positions[i]);
    }
    boxes.set(box, k);
  }
  return boxes;
}

function meetsBox(boxes, k, from, way) {
  let [enter, leave] = [-Infinity, Infinity];
  for (let axis = 0; axis < 3; axis += 1) {
    const [low, high] = [boxes[k + axis] - from[axis], boxes[k + 3 + axis] - from[axis]];
    if (Math.abs(way[axis]) < 1e-12) {
      if (low > 0 || high < 0) return false;
    } else {
      enter = Math.max(enter, Math.min(low / way[axis], high / way[axis]));
      leave = Math.min(leave, Math.max(low / way[axis], high / way[axis]));
    }
  }
  return enter <= leave;
}

// How far along a ray a facet is met, or Infinity.
function wayToFacet(positions, i, from, way) {
  const [dx, dy, dz] = way;
  const ax = positions[i], ay = positions[i + 1], az = positions[i + 2];
  const ux = positions[i + 3] - ax, uy = positions[i + 4] - ay, uz = positions[i + 5] - az;
  const vx = positions[i + 6] - ax, vy = positions[i + 7] - ay, vz = positions[i + 8] - az;
  const px = dy * vz - dz * vy, py = dz * vx - dx * vz, pz = dx * vy - dy * vx;
  const det = ux * px + uy * py + uz * pz;
  if (det === 0) return Infinity;
  const tx = from[0] - ax, ty = from[1] - ay, tz = from[2] - az;
  const u = (tx * px + ty * py + tz * pz) / det;
  if (u < 0 || u > 1) return Infinity;
  const qx = ty * uz - tz * uy, qy = tz * ux - tx * uz, qz = tx * uy - ty * ux;
  const v = (dx * qx + dy * qy + dz * qz) / det;
  if (v < 0 || u + v > 1) return Infinity;
  const t = (vx * qx + vy * qy + vz * qz) / det;
  return t > 0 ? t : Infinity;
}

// The nearest facet along a ray and how far it is, or -1; `isShown` tells which facets count.
export function facetAlong(positions, boxes, ray, isShown = () => true) {
  const [from, way] = [ray.from.toArray(), ray.way.toArray()];
  let [nearest, found] = [Infinity, -1];
  for (let k = 0; k < boxes.length; k += 6) {
    if (!meetsBox(boxes, k, from, way)) continue;
    const [first, last] = [(k / 6) * BLOCK, Math.min(positions.length / 9, (k / 6 + 1) * BLOCK)];
    for (let facet = first; facet < last; facet += 1) {
      const t = wayToFacet(positions, 9 * facet, from, way);
      if (t < nearest && isShown(facet)) [nearest, found] = [t, facet];
    }
  }
  return { facet: found, way: nearest };
}

// Mean outward direction of every zone, weighted by area: where to look at it from.
export function facings(positions, zone) {
  const sums = new Map();
  const [a, b, c] = [new Vector3(), new Vector3(), new Vector3()];
  for (let f = 0; f < zone.length; f += 1) {
    a.fromArray(positions, 9 * f);
    b.fromArray(positions, 9 * f + 3).sub(a);
    c.fromArray(positions, 9 * f + 6).sub(a);
    if (!sums.has(zone[f])) sums.set(zone[f], { way: new Vector3(), area: 0 });
    const sum = sums.get(zone[f]);
    b.cross(c);
    sum.way.add(b);
    sum.area += b.length();
  }
  return sums;
}

// Light, paints and what is picked, for meshes whose corners have a paint and a zone.
export function partMaterial(told) {
  const uniforms = {
    palette: { value: null }, chosen: { value: 0 }, hovered: { value: 0 }, faded: { value: new Color() },
    light: { value: told.light }, around: { value: told.around }, hatch: { value: new Vector3(...told.hatch) },
    ids: { value: false }, preview: { value: false }, bounds: { value: new Vector3(5, 45, 91) },
    toolAxis: { value: new Vector3(0, 0, 1) },
  };
  return new ShaderMaterial({
    vertexShader: VERTEX, fragmentShader: FRAGMENT, uniforms, glslVersion: GLSL3, side: DoubleSide,
    polygonOffset: true, polygonOffsetFactor: 1, polygonOffsetUnits: 1,
  });
}

// A mesh of facets that have corners of their own: three numbers a corner, three corners a facet.
export function partMesh(material, positions, normals, zone, paint) {
  const geometry = new BufferGeometry();
  geometry.setAttribute("position", new BufferAttribute(positions, 3));
  geometry.setAttribute("normal", new BufferAttribute(normals, 3, true));
  geometry.setAttribute("zone", new BufferAttribute(threefold(zone), 1));
  geometry.setAttribute("paint", new BufferAttribute(threefold(paint), 1));
  const mesh = new Mesh(geometry, material);
  mesh.frustumCulled = false;
  return mesh;
}

export function setOfFacets(mesh, name, values) {
  const attribute = mesh.geometry.getAttribute(name);
  attribute.array.set(threefold(values));
  attribute.needsUpdate = true;
}

// Lines between corners: pairs of numbers of corners, or none where corners follow one another in pairs.
export function linesOf(corners, ends) {
  const geometry = new BufferGeometry();
  geometry.setAttribute("position", new BufferAttribute(corners, 3));
  if (ends) geometry.setIndex(new BufferAttribute(ends, 1));
  const lines = new LineSegments(geometry, new LineBasicMaterial());
  lines.frustumCulled = false;
  return lines;
}

// Whether the processor draws: smooth edges take it half of its time.
export function isDrawnBySoftware() {
  const gl = document.createElement("canvas").getContext("webgl2");
  const told = gl?.getExtension("WEBGL_debug_renderer_info");
  const name = told ? gl.getParameter(told.UNMASKED_RENDERER_WEBGL) : "";
  gl?.getExtension("WEBGL_lose_context")?.loseContext();
  return /swiftshader|llvmpipe|software/i.test(name);
}

// A view of a part. What is shown is put into `scene` and `lines` by whoever makes it, who also answers `pick` (the zone
// along a ray), `nameOf`, `ids`, `facing` and `chose`.
export class View {
  constructor(told, corners, smooth = true) {
    this.told = told;
    this.corners = corners;
    this.canvas = byId("scene");
    this.renderer = new WebGLRenderer({ canvas: this.canvas, antialias: smooth });
    this.renderer.outputColorSpace = LinearSRGBColorSpace;
    this.eye = new Eye(told.setups, told.size);
    this.setup = 0;
    this.chosen = 0;
    this.material = partMaterial(told);
    this.lines = new Group();
    this.scene = new Scene();
    this.scene.add(this.lines);
    this.target = new WebGLRenderTarget(1, 1);
  }

  palette(map) {
    this.material.uniforms.palette.value?.dispose();
    this.material.uniforms.palette.value = paletteOf(map);
  }

  // ground and lines as the page has them, in light or dark
  dress() {
    const style = getComputedStyle(byId("stage"));
    const colour = (name) => new Color().setStyle(style.getPropertyValue(name).trim(), LinearSRGBColorSpace);
    this.renderer.setClearColor(colour("--ground"), 1);
    this.material.uniforms.faded.value = colour("--faded");
    this.borderColour = colour("--border");
    this.creaseColour = colour("--crease");
    this.dressLines();
    this.changed();
  }

  resize() {
    const { clientWidth: width, clientHeight: height } = this.canvas.parentElement;
    if (!width || !height) return;
    this.renderer.setPixelRatio(Math.min(window.devicePixelRatio, 2));
    this.renderer.setSize(width, height, false);
    this.target.setSize(Math.ceil(width / COARSE), Math.ceil(height / COARSE));
    Object.assign(this.eye, { width, height });
    this.eye.fit(this.corners);
    this.changed();
  }

  changed() {
    byId("labels").hidden = true;
    clearTimeout(this.resting);
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame(() => {
      this.asked = false;
      this.draw();
      this.resting = setTimeout(() => this.label(), REST_MS);
    });
  }

  draw() {
    this.eye.place();
    this.renderer.setRenderTarget(null);
    this.renderer.render(this.scene, this.eye.camera);
    drawAxes(this.eye);
    this.canvas.dataset.drawn = "yes";
  }

  // numbers on the zones that are seen, where most of each is
  label() {
    const { width, height } = this.target;
    this.material.uniforms.ids.value = true;
    this.lines.visible = false;
    const ground = this.renderer.getClearColor(new Color());
    this.renderer.setClearColor(0x000000, 1);
    this.renderer.setRenderTarget(this.target);
    this.renderer.render(this.scene, this.eye.camera);
    const pixels = new Uint8Array(4 * width * height);
    this.renderer.readRenderTargetPixels(this.target, 0, 0, width, height, pixels);
    this.renderer.setRenderTarget(null);
    this.renderer.setClearColor(ground, 1);
    this.material.uniforms.ids.value = false;
    this.lines.visible = true;
    placeLabels(pixels, width, height, this.eye, this.chosen);
    this.canvas.dataset.rested = "yes";
  }

  at(event) {
    const box = this.canvas.getBoundingClientRect();
    const [x, y] = [event.clientX - box.left - box.width / 2, event.clientY - box.top - box.height / 2];
    const began = performance.now();
    const zone = this.pick(this.eye.ray(x, y));
    this.canvas.dataset.pickMs = (performance.now() - began).toFixed(2);
    return zone;
  }

  hover(zone) {
    if (this.material.uniforms.hovered.value === zone) return;
    this.material.uniforms.hovered.value = zone;
    byId("under-pointer").textContent = zone ? `${zone}  ${this.nameOf(zone)}` : "";
    this.changed();
  }

  choose(zone) {
    this.chosen = zone;
    this.material.uniforms.chosen.value = zone;
    this.canvas.dataset.zone = String(zone);
    this.chose(zone);
    this.changed();
  }

  // turn so that most of a zone is seen, and choose it
  show(zone) {
    const setup = this.setupOf(zone);
    if (setup !== this.setup) this.toSetup(setup);
    const told = this.facing(zone);
    if (told && told.area > 0) {
      const [x, y, z] = this.eye.frame.map((axis) => axis.dot(told.way) / told.area);
      const flat = Math.hypot(x, y);
      if (flat > 0.2) this.eye.azimuth = Math.atan2(y, x) / DEGREES + 20;
      this.eye.elevation = Math.min(70, Math.max(-70, Math.atan2(z, flat) / DEGREES + (z >= 0 ? 25 : -15)));
      this.eye.home();
      this.eye.fit(this.corners);
    }
    this.choose(zone);
  }

  toSetup(number) {
    this.setup = number;
    this.eye.toSetup(number);
    this.eye.fit(this.corners);
    const picker = byId("pick-setup");
    if (picker) picker.value = String(number);
    this.changed();
  }

  look(azimuth, elevation) {
    if (azimuth === null) this.eye.toStart(this.setup);
    else Object.assign(this.eye, { azimuth, elevation });
    this.eye.home();
    this.eye.fit(this.corners);
    this.changed();
  }

  next(step) {
    const ids = this.ids();
    const place = ids.indexOf(this.chosen);
    this.show(ids[(place + step + ids.length + (place < 0 && step < 0 ? 1 : 0)) % ids.length]);
  }
}

function placeLabels(pixels, width, height, eye, chosen) {
  const seen = new Map();
  const each = (work) => {
    for (let i = 0, p = 0; p < width * height; p += 1, i += 4) {
      const zone = pixels[i] + 256 * pixels[i + 1];
      if (zone) work(zone, p % width, Math.floor(p / width));
    }
  };
  // pixels with the same zone all round: what faces away shows through along its rim, a pixel wide
  const isWithin = (zone, x, y) =>
    [[x - 1, y], [x + 1, y], [x, y - 1], [x, y + 1]].every(([u, v]) => {
      if (u < 0 || v < 0 || u >= width || v >= height) return false;
      const i = 4 * (v * width + u);
      return pixels[i] + 256 * pixels[i + 1] === zone;
    });
  each((zone, x, y) => {
    if (!isWithin(zone, x, y)) return;
    if (!seen.has(zone)) seen.set(zone, { zone, count: 0, x: 0, y: 0, off: Infinity, at: null });
    const one = seen.get(zone);
    one.count += 1;
    one.x += x;
    one.y += y;
  });
  each((zone, x, y) => {
    if (!isWithin(zone, x, y)) return;
    const one = seen.get(zone);
    const off = (x - one.x / one.count) ** 2 + (y - one.y / one.count) ** 2;
    if (off < one.off) Object.assign(one, { off, at: [x, y] });
  });
  const place = byId("labels");
  place.replaceChildren();
  place.hidden = false;
  const taken = [];
  const order = [...seen.values()].sort((one, other) => other.count - one.count);
  for (const one of order) {
    if (one.count < LEAST_SEEN || taken.length >= MOST_LABELS || (chosen && one.zone !== chosen)) continue;
    const words = String(one.zone);
    const [x, y] = [(one.at[0] + 0.5) * COARSE, eye.height - (one.at[1] + 0.5) * COARSE];
    const [w, h] = [5 + 4.5 * words.length, 11];
    if (taken.some((box) => Math.abs(box.x - x) < box.w + w && Math.abs(box.y - y) < box.h + h)) continue;
    taken.push({ x, y, w, h });
    const label = document.createElement("span");
    label.textContent = words;
    label.style.left = `${x}px`;
    label.style.top = `${y}px`;
    place.append(label);
  }
}

function drawAxes(eye) {
  const canvas = byId("axes");
  const pen = canvas.getContext("2d");
  const style = getComputedStyle(canvas);
  const [ink, axis] = [style.color, style.getPropertyValue("--axis").trim()];
  const { right, up } = eye.axes();
  const middle = canvas.width / 2;
  pen.clearRect(0, 0, canvas.width, canvas.height);
  pen.font = "22px sans-serif";
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  const arm = (way, length, words, colour, wide) => {
    const [x, y] = [way.dot(right), -way.dot(up)];
    pen.strokeStyle = colour;
    pen.fillStyle = colour;
    pen.lineWidth = wide;
    pen.beginPath();
    pen.moveTo(middle, middle);
    pen.lineTo(middle + x * length, middle + y * length);
    pen.stroke();
    if (Math.hypot(x, y) > 0.2) pen.fillText(words, middle + x * (length + 16), middle + y * (length + 16));
  };
  // an axis along the tool axis would hide behind it: its letter stands there
  const axes = { X: new Vector3(1, 0, 0), Y: new Vector3(0, 1, 0), Z: new Vector3(0, 0, 1) };
  const along = Object.keys(axes).find((letter) => Math.abs(axes[letter].dot(eye.frame[2])) > 0.9999);
  const sign = along && axes[along].dot(eye.frame[2]) < 0 ? "-" : "+";
  arm(eye.frame[2], 58, along ? `tool ${sign}${along}` : "tool", axis, 7);
  for (const letter of Object.keys(axes)) if (letter !== along) arm(axes[letter], 44, letter, ink, 3);
}

export function followPointer(view) {
  const { canvas } = view;
  const down = new Map();
  let [moved, hovering] = [0, 0];
  canvas.addEventListener("pointerdown", (event) => {
    canvas.focus({ preventScroll: true });
    canvas.setPointerCapture(event.pointerId);
    down.set(event.pointerId, event);
    moved = 0;
  });
  canvas.addEventListener("pointermove", (event) => {
    const before = down.get(event.pointerId);
    if (!before) {
      cancelAnimationFrame(hovering);
      hovering = requestAnimationFrame(() => view.hover(view.at(event)));
      return;
    }
    const [x, y] = [event.clientX - before.clientX, event.clientY - before.clientY];
    moved += Math.hypot(x, y);
    const other = [...down.values()].find((one) => one.pointerId !== event.pointerId);
    if (other) {
      const apart = (one) => Math.hypot(one.clientX - other.clientX, one.clientY - other.clientY);
      view.eye.zoom *= apart(event) / Math.max(1, apart(before));
      view.eye.move(x / 2, y / 2);
    } else if (event.buttons & 6 || event.shiftKey) view.eye.move(x, y);
    else view.eye.turn(-x * TURN_PER_PIXEL, y * TURN_PER_PIXEL);
    down.set(event.pointerId, event);
    view.changed();
  });
  const up = (event) => {
    if (down.delete(event.pointerId) && event.type === "pointerup" && moved < CLICK_PIXELS) view.choose(view.at(event));
  };
  for (const name of ["pointerup", "pointercancel"]) canvas.addEventListener(name, up);
  canvas.addEventListener("pointerleave", () => view.hover(0));
  canvas.addEventListener("contextmenu", (event) => event.preventDefault());
  canvas.addEventListener("wheel", (event) => {
    // the page scrolls until the view is clicked
    if (document.activeElement !== canvas) return;
    event.preventDefault();
    view.eye.zoom *= Math.exp(-event.deltaY * (event.deltaMode ? 0.05 : 0.0015));
    view.changed();
  }, { passive: false });
}

export function followKeys(view) {
  const { eye } = view;
  const arrows = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
  const keys = {
    "+": () => { eye.zoom *= ZOOM_PER_KEY; },
    "=": () => { eye.zoom *= ZOOM_PER_KEY; },
    "-": () => { eye.zoom /= ZOOM_PER_KEY; },
    Home: () => view.look(null),
    t: () => view.look(-90, 90),
    u: () => view.look(-90, -90),
    n: () => view.next(1),
    p: () => view.next(-1),
    Escape: () => view.choose(0),
  };
  view.canvas.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const arrow = arrows[event.key];
    if (arrow && event.shiftKey) eye.move(arrow[0] * MOVE_PER_KEY, -arrow[1] * MOVE_PER_KEY);
    else if (arrow) eye.turn(arrow[0] * TURN_PER_KEY, arrow[1] * TURN_PER_KEY);
    else if (keys[event.key]) keys[event.key]();
    else return;
    event.preventDefault();
    view.changed();
  });
}
