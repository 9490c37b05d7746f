// The 3-D view in the browser: draws the parts that Python sends, turned by pointer or arrow keys.
//
// A part is {kind, look, data}: `kind` mesh or lines, `data` raw arrays (position, normal, colour,
// index).  Parts stay; a message only fills new arrays into those that changed, and the picture is
// drawn once per message, at once: waiting for the next frame costs more than it saves.

const KEYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const TURN_RAD = Math.PI / 36; // by one press of a key
THREE.ColorManagement.enabled = false; // colours are used as they are given, on screen and in print alike

// Light is worked out at the corners of the triangles and runs evenly between them, since a browser
// without a graphics card pays for every pixel.  Both faces of a sheet are lit alike: from the sky,
// and from a lamp over the viewer's left shoulder, which also makes the gloss.
const SHADED = `
  attribute vec3 color;
  uniform float gloss;
  varying vec3 shade;
  void main() {
    vec4 seen = modelViewMatrix * vec4(position, 1.0);
    vec3 n = normalize(normalMatrix * normal), toViewer = normalize(-seen.xyz);
    if (dot(n, toViewer) < 0.0) n = -n;
    vec3 lamp = normalize(vec3(-0.35, 0.6, 0.8)), up = normalize((viewMatrix * vec4(0.0, 0.0, 1.0, 0.0)).xyz);
    float light = 0.52 + 0.18 * dot(n, up) + 0.4 * max(dot(n, lamp), 0.0);
    float shine = gloss * pow(max(dot(n, normalize(lamp + toViewer)), 0.0), 24.0);
    shade = color * light + vec3(shine);
    gl_Position = projectionMatrix * seen;
  }`;
const PLAIN = `
  uniform float opacity;
  varying vec3 shade;
  void main() { gl_FragColor = vec4(shade, opacity); }`;

class Part {
  constructor(look) {
    const isClear = look.opacity < 1;
    this.geometry = new THREE.BufferGeometry();
    if (look.kind === "lines") {
      this.object = new THREE.LineSegments(
        this.geometry, new THREE.LineBasicMaterial({ color: look.colour }));
    } else {
      this.object = new THREE.Mesh(this.geometry, new THREE.ShaderMaterial({
        vertexShader: SHADED, fragmentShader: PLAIN, side: THREE.DoubleSide,
        transparent: isClear, depthWrite: !isClear,
        uniforms: { gloss: { value: look.gloss }, opacity: { value: look.opacity } } }));
    }
    this.object.frustumCulled = false;
    this.object.renderOrder = look.order ?? 0;
  }

  // Take new arrays; an empty part is not drawn.
  fill(data) {
    const has = Boolean(data.position && data.position.byteLength);
    this.object.visible = has;
    if (!has) return;
    this.set("position", new Float32Array(copied(data.position)), 3);
    if (data.normal) this.set("normal", new Int8Array(copied(data.normal)), 3, true);
    if (data.colour) this.set("color", new Uint8Array(copied(data.colour)), 3, true);
    this.geometry.setIndex(new THREE.BufferAttribute(new Uint16Array(copied(data.index)), 1));
  }

  set(name, array, size, isNormalized = false) {
    const now = this.geometry.getAttribute(name);
    if (now && now.array.length === array.length) {
      now.array.set(array);
      now.needsUpdate = true;
    } else {
      this.geometry.setAttribute(name, new THREE.BufferAttribute(array, size, isNormalized));
    }
  }

  dispose() {
    this.geometry.dispose();
    this.object.material.dispose();
  }
}

// The bytes that a view of a message shows; a typed array cannot begin anywhere in a message.
function copied(view) {
  return view.buffer.slice(view.byteOffset, view.byteOffset + view.byteLength);
}

// Whether the browser draws without a graphics card: then smooth edges cost more than all the rest.
function isDrawnInSoftware() {
  const gl = document.createElement("canvas").getContext("webgl2");
  const info = gl?.getExtension("WEBGL_debug_renderer_info");
  const name = info ? gl.getParameter(info.UNMASKED_RENDERER_WEBGL) : "";
  gl?.getExtension("WEBGL_lose_context")?.loseContext();
  return /swiftshader|llvmpipe|software/i.test(name);
}

class Picture {
  constructor(outer, height, background, fieldOfView, label) {
    const el = document.createElement("div");
    this.el = el;
    outer.style.width = "100%";
    outer.appendChild(el);
    el.className = "pd-view";
    el.style.height = `${height}px`;
    el.tabIndex = 0;
    el.dataset.lmSuppressShortcuts = "true"; // the arrow keys are the view's while it is chosen
    el.setAttribute("role", "img");
    el.setAttribute("aria-label", label);
    this.renderer = new THREE.WebGLRenderer({ antialias: !isDrawnInSoftware(), preserveDrawingBuffer: true });
    this.renderer.outputColorSpace = THREE.LinearSRGBColorSpace;
    this.renderer.setClearColor(background, 1);
    el.appendChild(this.renderer.domElement);
    this.camera = new THREE.PerspectiveCamera(fieldOfView, 1, 100, 200000);
    this.camera.up.set(0, 0, 1);
    this.scene = new THREE.Scene();
    this.controls = new THREE.OrbitControls(this.camera, this.renderer.domElement);
    this.controls.enableZoom = false; // until the view is chosen: else a page cannot be scrolled past it
    this.controls.addEventListener("change", () => this.drawSoon());
    this.controls.addEventListener("start", () => { this.isTurned = true; });
    this.parts = new Map();
    el.addEventListener("focus", () => { this.controls.enableZoom = true; });
    el.addEventListener("blur", () => { this.controls.enableZoom = false; });
    el.addEventListener("pointerdown", () => el.focus({ preventScroll: true }));
    el.addEventListener("keydown", (event) => this.pressed(event));
    this.watch = new ResizeObserver(() => this.resize());
    this.watch.observe(el);
  }

  part(name, look) {
    if (!this.parts.has(name)) {
      const part = new Part(look);
      this.parts.set(name, part);
      this.scene.add(part.object);
    }
    return this.parts.get(name);
  }

  // Turn to a view: {toward, up, points: the corners of what is to be in sight}.
  lookFrom(view) {
    this.view = view;
    this.isTurned = false;
    const toward = new THREE.Vector3(...view.toward).normalize();
    const right = new THREE.Vector3(...view.up).cross(toward).normalize();
    const up = toward.clone().cross(right);
    const axes = [right, up, toward];
    const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
    for (const point of view.points) {
      const at = new THREE.Vector3(...point);
      axes.forEach((axis, i) => {
        low[i] = Math.min(low[i], at.dot(axis));
        high[i] = Math.max(high[i], at.dot(axis));
      });
    }
    const centre = new THREE.Vector3();
    axes.forEach((axis, i) => centre.addScaledVector(axis, (low[i] + high[i]) / 2));
    const half = axes.map((_, i) => (high[i] - low[i]) / 2);
    const tangent = Math.tan((this.camera.fov * Math.PI) / 360);
    const distance = (Math.max(half[1], half[0] / this.camera.aspect) * 1.04) / tangent + half[2] / 2;
    this.camera.position.copy(centre).addScaledVector(toward, distance);
    // straight from above the way up is not defined: stand a hair off, on the side that gives it
    if (Math.abs(toward.z) > 0.999) this.camera.position.addScaledVector(up, -1e-4 * distance);
    this.controls.target.copy(centre);
    this.controls.update();
    this.draw();
  }

  resize() {
    const { clientWidth: width, clientHeight: height } = this.el;
    if (!width || !height) return;
    this.renderer.setPixelRatio(window.devicePixelRatio || 1);
    this.renderer.setSize(width, height);
    this.camera.aspect = width / height;
    this.camera.updateProjectionMatrix();
    if (this.view && !this.isTurned) this.lookFrom(this.view);
    this.draw();
  }

  pressed(event) {
    const turn = KEYS[event.key];
    if (!turn || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    event.stopPropagation();
    this.isTurned = true;
    const arm = this.camera.position.clone().sub(this.controls.target);
    const polar = Math.acos(arm.z / arm.length());
    const azimuth = Math.atan2(arm.y, arm.x) + turn[0] * TURN_RAD;
    const lean = Math.min(Math.max(polar + turn[1] * TURN_RAD, 1e-4), Math.PI - 1e-4);
    const flat = arm.length() * Math.sin(lean);
    arm.set(flat * Math.cos(azimuth), flat * Math.sin(azimuth), arm.length() * Math.cos(lean));
    this.camera.position.copy(this.controls.target).add(arm);
    this.controls.update();
    this.draw();
  }

  drawSoon() {
    this.frame ??= requestAnimationFrame(() => this.draw());
  }

  draw() {
    if (this.frame) cancelAnimationFrame(this.frame);
    this.frame = null;
    this.renderer.render(this.scene, this.camera);
  }

  dispose() {
    this.watch.disconnect();
    if (this.frame) cancelAnimationFrame(this.frame);
    this.parts.forEach((part) => part.dispose());
    this.controls.dispose();
    this.renderer.dispose();
    this.renderer.forceContextLoss();
  }
}

function render({ model, el }) {
  const looks = model.get("looks");
  const picture = new Picture(
    el, model.get("height"), model.get("background"), model.get("field_of_view"), model.get("label"));
  const changed = new Set(Object.keys(looks));
  const show = () => {
    for (const name of changed) picture.part(name, looks[name]).fill(model.get(name));
    changed.clear();
    picture.draw();
  };
  for (const name of Object.keys(looks)) model.on(`change:${name}`, () => changed.add(name));
  model.on("change", () => changed.size && show());
  model.on("change:view", () => picture.lookFrom(model.get("view")));
  picture.resize();
  show();
  if (model.get("view").toward) picture.lookFrom(model.get("view"));
  return () => picture.dispose();
}

export default { render };
