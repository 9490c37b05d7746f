// The owner's page: stock and planned in one drawing (roofdrawing.js), swiped and turned.  Needs no network.

const page = JSON.parse(document.getElementById("pd-data").textContent);
const at = (id) => document.getElementById(id);

const NOTHING = { position: new Float32Array(0) };

function bytesOf(text) {
  return Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0)).buffer;
}

// A part as the drawing wants it, from the whole numbers of packedparts.py.
function unpacked(part) {
  const whole = new Int16Array(bytesOf(part.position));
  const position = Float32Array.from(whole, (q, i) => page.low[i % 3] + page.step * (q + 32768));
  const index = bytesOf(part.index);
  const out = { position, names: part.names };
  out.index = part.is_wide ? new Uint32Array(index) : Uint32Array.from(new Uint16Array(index));
  if (part.normal) out.normal = new Int8Array(bytesOf(part.normal));
  if (part.colour) out.colour = new Uint8Array(bytesOf(part.colour));
  return out;
}

function inOneColour(part, colour) {
  return part.colour ? { ...part, colour: part.colour.map((_, i) => colour[i % 3]) } : part;
}

function canDraw() {
  const gl = document.createElement("canvas").getContext("webgl2");
  gl?.getExtension("WEBGL_lose_context")?.loseContext();
  return Boolean(gl);
}

function heightFor(stage) {
  return Math.round(Math.min(520, Math.max(240, 0.56 * stage.clientWidth)));
}

function start() {
  const stage = at("pd-stage");
  at("pd-flat").hidden = true;
  at("pd-controls").hidden = false;
  const picture = new Picture(stage, heightFor(stage), page.background, page.field_of_view, page.label);
  picture.renderer.domElement.style.touchAction = "pan-y"; // across turns the car, up and down scrolls the page
  const over = (kind, words) => {
    const box = document.createElement("div");
    box.className = kind;
    box.textContent = words;
    box.setAttribute("aria-hidden", "true"); // the slider says it
    picture.el.appendChild(box);
    return box;
  };
  const line = over("pd-line", "");
  const sides = [over("pd-side before", "stock"), over("pd-side after", "planned")];
  const partsOf = (packed) => new Map(Object.entries(packed).map(([name, part]) => [name, unpacked(part)]));
  const stock = partsOf(page.stock);
  const plans = page.plans.map(partsOf);

  const fill = (parts, names) => {
    const isPlain = at("pd-plain").checked;
    for (const name of names) {
      const found = parts.get(name) ?? NOTHING;
      picture.part(name, page.looks[name]).fill(
        isPlain && name.endsWith("shell") ? inOneColour(found, page.paint) : found);
    }
  };
  const show = () => {
    const number = Number(document.querySelector("input[name=pd-plan]:checked")?.value ?? 0);
    fill(stock, Object.keys(page.stock));
    fill(plans[number], Object.keys(page.looks).filter((name) => !(name in page.stock)));
    picture.notes = page.notes;
    picture.choose("");
  };
  const swipe = () => {
    const share = at("pd-swipe").valueAsNumber;
    at("pd-swipe").setAttribute("aria-valuetext", `${share} % stock, ${100 - share} % planned`);
    line.style.left = `${share}%`;
    line.hidden = share === 0 || share === 100;
    sides[0].hidden = share < 12;
    sides[1].hidden = share > 86;
    picture.swipeTo(share / 100);
  };
  const look = (name) => {
    picture.lookFrom(page.views[name]);
    for (const button of document.querySelectorAll("[data-view]")) {
      button.setAttribute("aria-pressed", String(button.dataset.view === name));
    }
  };
  picture.onChoice = (name) => picture.choose(name);
  picture.resize();
  show();
  look(page.first_view);
  swipe();
  at("pd-swipe").addEventListener("input", swipe);
  at("pd-plain").addEventListener("change", show);
  for (const radio of document.querySelectorAll("input[name=pd-plan]")) radio.addEventListener("change", show);
  for (const button of document.querySelectorAll("[data-view]")) {
    button.addEventListener("click", () => look(button.dataset.view));
  }
  for (const button of document.querySelectorAll("[data-turn]")) {
    button.addEventListener("click", () => picture.turn(...button.dataset.turn.split(" ").map(Number)));
  }
  window.addEventListener("resize", () => { picture.el.style.height = `${heightFor(stage)}px`; });
}

if (canDraw()) start();
else at("pd-no3d").hidden = false;
