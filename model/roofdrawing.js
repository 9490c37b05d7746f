// The 3-D drawing in the browser: parts on a canvas, turned by pointer or arrow keys.
//
// A part has a look (mesh or lines, opacity, gloss …) and raw arrays (position, normal, colour, index).
// Parts stay; new arrays are filled into those that changed.  It knows nothing of where the parts come
// from: the notebook's widget (roofview.js) and the owner's page (review.js) use the same drawing.
//
// A look may say of which side a part is, "before" or "after"; then the picture can be swiped: left of the
// line all but "after" is drawn, right of it all but "before".  Without a swipe every part is drawn.

const KEYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const TURN_RAD = Math.PI / 36; // by one press of a key
const MARGIN = 1.05; // of room around the car in a view
const SLACK_PX = 4; // a pointer that moved less was not dragged

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

const LIT = `
  void main() { gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0); }`;
const LIT_COLOUR = "void main() { gl_FragColor = vec4(1.0, 0.72, 0.0, 0.55); }"; // amber, over all

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
    this.side = look.side ?? "";
    this.isFilled = false;
  }

  // Take new arrays; an empty part is not drawn.
  fill(data) {
    const has = Boolean(data.position && data.position.byteLength);
    this.object.visible = this.isFilled = has;
    this.names = has ? data.names ?? [] : [];
    if (!has) return;
    this.geometry.boundingSphere = null;
    this.set("position", new Float32Array(copied(data.position)), 3);
    if (data.normal) this.set("normal", new Int8Array(copied(data.normal)), 3, true);
    if (data.colour) this.set("color", new Uint8Array(copied(data.colour)), 3, true);
    this.geometry.setIndex(new THREE.BufferAttribute(new Uint32Array(copied(data.index)), 1));
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

  // What a triangle belongs to.
  nameOf(triangle) {
    return this.names.find(([, end]) => triangle < end)?.[0] ?? "";
  }

  // Runs of triangles, [first, one past the last], that belong to a name.
  runsOf(name) {
    return this.names.flatMap(([own, end], i) => (own === name ? [[i ? this.names[i - 1][1] : 0, end]] : []));
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
    el.setAttribute("role", "group"); // not img: what is said in it would not be read out
    el.setAttribute("aria-label", label);
    this.renderer = new THREE.WebGLRenderer({ antialias: !isDrawnInSoftware(), preserveDrawingBuffer: true });
    this.renderer.outputColorSpace = THREE.LinearSRGBColorSpace;
    this.renderer.setClearColor(background, 1);
    this.renderer.domElement.setAttribute("aria-hidden", "true");
    el.appendChild(this.renderer.domElement);
    this.fieldOfView = fieldOfView;
    this.camera = new THREE.PerspectiveCamera(fieldOfView, 1, 50, 200000);
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
    this.lit = new THREE.ShaderMaterial({
      vertexShader: LIT, fragmentShader: LIT_COLOUR, side: THREE.DoubleSide, transparent: true, depthTest: false });
    this.marks = [];
    this.swipe = null;
    this.chosen = "";
    this.notes = {};
    this.onChoice = () => {};
    this.pointed = note(el, "");
    this.fixed = note(el, "pd-fixed");
    this.fixed.setAttribute("role", "status");
    el.addEventListener("pointermove", (event) => this.pointAt(event));
    el.addEventListener("pointerleave", () => { this.pointed.innerHTML = ""; });
    el.addEventListener("pointerdown", (event) => { this.downAt = [event.clientX, event.clientY]; });
    el.addEventListener("click", (event) => this.clicked(event));
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

  // Turn to a view: {toward, up, points: the corners of what is to be in sight}, or
  // {eye, toward, field_of_view}: from a place of its own, away from toward.
  lookFrom(view) {
    this.view = view;
    this.isTurned = false;
    this.camera.fov = view.field_of_view ?? this.fieldOfView;
    this.camera.updateProjectionMatrix();
    if (view.eye) {
      this.camera.position.set(...view.eye);
      this.controls.target.set(...view.eye).addScaledVector(new THREE.Vector3(...view.toward), -1);
      this.controls.update();
      this.draw();
      return;
    }
    const toward = new THREE.Vector3(...view.toward).normalize();
    const right = new THREE.Vector3(...view.up).cross(toward).normalize();
    const up = toward.clone().cross(right);
    const seen = view.points.map((point) => {
      const at = new THREE.Vector3(...point);
      return [at.dot(right), at.dot(up), at.dot(toward)];
    });
    const middle = [0, 1, 2].map((i) => {
      const along = seen.map((at) => at[i]);
      return (Math.min(...along) + Math.max(...along)) / 2;
    });
    const centre = new THREE.Vector3();
    [right, up, toward].forEach((axis, i) => centre.addScaledVector(axis, middle[i]));
    // From a distance d a point x across, y up and z towards the viewer is in sight where
    // |y| <= (d - z) tan and |x| <= (d - z) tan aspect, tan that of half the field of view.
    const tangent = Math.tan((this.camera.fov * Math.PI) / 360) / MARGIN;
    const distance = Math.max(...seen.map(([x, y, z]) => z - middle[2]
      + Math.max(Math.abs(y - middle[1]), Math.abs(x - middle[0]) / this.camera.aspect) / tangent));
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
    this.turn(...turn);
  }

  // Turn by so many steps: around to the right, and down to a lower place to look from.
  turn(around, down) {
    this.isTurned = true;
    const arm = this.camera.position.clone().sub(this.controls.target);
    const polar = Math.acos(arm.z / arm.length());
    const azimuth = Math.atan2(arm.y, arm.x) + around * TURN_RAD;
    const lean = Math.min(Math.max(polar + down * TURN_RAD, 1e-4), Math.PI - 1e-4);
    const flat = arm.length() * Math.sin(lean);
    arm.set(flat * Math.cos(azimuth), flat * Math.sin(azimuth), arm.length() * Math.cos(lean));
    this.camera.position.copy(this.controls.target).add(arm);
    this.controls.update();
    this.draw();
  }

  // The name of what is under the pointer, nearest first; glass and the ghost are looked through.
  under(event) {
    const box = this.el.getBoundingClientRect();
    const at = new THREE.Vector2(
      ((event.clientX - box.left) / box.width) * 2 - 1, 1 - ((event.clientY - box.top) / box.height) * 2);
    const ray = new THREE.Raycaster();
    ray.setFromCamera(at, this.camera);
    const hidden = this.swipe === null ? "none" : (at.x + 1) / 2 < this.swipe ? "after" : "before";
    const solid = [...this.parts.values()].filter(
      (p) => p.names.length && !p.object.material.transparent && p.side !== hidden);
    const hit = ray.intersectObjects(solid.filter((p) => p.object.visible).map((p) => p.object), false)[0];
    return hit ? solid.find((p) => p.object === hit.object).nameOf(hit.faceIndex) : "";
  }

  pointAt(event) {
    if (event.buttons || this.pointing) return;
    this.pointing = requestAnimationFrame(() => {
      this.pointing = null;
      const box = this.el.getBoundingClientRect();
      const [x, y] = [event.clientX - box.left, event.clientY - box.top];
      this.pointed.innerHTML = this.notes[this.under(event)] ?? "";
      this.pointed.style.left = `${Math.max(0, Math.min(x + 14, box.width - this.pointed.offsetWidth - 4))}px`;
      this.pointed.style.top = `${Math.max(0, Math.min(y + 14, box.height - this.pointed.offsetHeight - 4))}px`;
    });
  }

  clicked(event) {
    const [x, y] = this.downAt ?? [event.clientX, event.clientY];
    if (Math.hypot(event.clientX - x, event.clientY - y) > SLACK_PX) return;
    const name = this.under(event);
    this.onChoice(name === this.chosen ? "" : name);
  }

  // Light what belongs to a name, and say its numbers.
  choose(name) {
    this.chosen = name;
    this.unmark();
    for (const part of this.parts.values()) {
      if (!part.object.visible || part.object.material.transparent) continue;
      for (const [first, end] of part.runsOf(name)) {
        const geometry = new THREE.BufferGeometry();
        geometry.setAttribute("position", part.geometry.getAttribute("position"));
        geometry.setIndex(part.geometry.index);
        geometry.setDrawRange(3 * first, 3 * (end - first));
        const mark = new THREE.Mesh(geometry, this.lit);
        mark.frustumCulled = false;
        mark.renderOrder = 9;
        this.marks.push(mark);
        this.scene.add(mark);
      }
    }
    this.fixed.innerHTML = name ? this.notes[name] ?? "" : "";
    this.draw();
  }

  unmark() {
    for (const mark of this.marks) {
      this.scene.remove(mark);
      mark.geometry.dispose();
    }
    this.marks = [];
  }

  drawSoon() {
    this.frame ??= requestAnimationFrame(() => this.draw());
  }

  // Swipe: before is seen in this share of the width, from the left, and after in the rest; null for no swipe.
  swipeTo(share) {
    this.swipe = share;
    this.draw();
  }

  draw() {
    if (this.frame) cancelAnimationFrame(this.frame);
    this.frame = null;
    if (this.swipe === null) {
      this.drawAllBut("", 0, 1);
      return;
    }
    this.renderer.setScissorTest(true);
    this.drawAllBut("after", 0, this.swipe);
    this.drawAllBut("before", this.swipe, 1);
    this.renderer.setScissorTest(false);
  }

  // Draw between two shares of the width all parts but those of one side.
  drawAllBut(side, from, to) {
    const { clientWidth: width, clientHeight: height } = this.el;
    const [left, right] = [Math.round(from * width), Math.round(to * width)];
    if (left >= right) return;
    for (const part of this.parts.values()) part.object.visible = part.isFilled && (!side || part.side !== side);
    this.renderer.setScissor(left, 0, right - left, height);
    this.renderer.render(this.scene, this.camera);
    for (const part of this.parts.values()) part.object.visible = part.isFilled;
  }

  dispose() {
    this.watch.disconnect();
    if (this.frame) cancelAnimationFrame(this.frame);
    if (this.pointing) cancelAnimationFrame(this.pointing);
    this.unmark();
    this.lit.dispose();
    this.parts.forEach((part) => part.dispose());
    this.controls.dispose();
    this.renderer.dispose();
    this.renderer.forceContextLoss();
  }
}

function note(el, kind) {
  const box = document.createElement("div");
  box.className = `pd-at ${kind}`;
  el.appendChild(box);
  return box;
}
