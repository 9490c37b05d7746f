// The 3-D view as the notebook's widget: the parts that Python sends, in the drawing of roofdrawing.js.
//
// A message only fills new arrays into the parts that changed, and the picture is drawn once per message,
// at once: waiting for the next frame costs more than it saves.

// Rows of the tables beside the view name places: one that is chosen is lit in the picture, and back.
function tieToTables(el, choose) {
  const chosenIn = (event) => event.target.closest?.("[data-place]")?.dataset.place;
  const onClick = (event) => { const place = chosenIn(event); if (place) choose(place); };
  const onKey = (event) => { if (event.key === "Enter" || event.key === " ") onClick(event); };
  let around = null;
  const tie = () => {
    around ??= el.closest(".pd-preview");
    around?.addEventListener("click", onClick);
    around?.addEventListener("keydown", onKey);
  };
  requestAnimationFrame(tie); // the view is put on the page after it is made
  return {
    show: (name) => around?.querySelectorAll("[data-place]").forEach(
      (row) => row.classList.toggle("pd-chosen", row.dataset.place === name)),
    dispose: () => {
      around?.removeEventListener("click", onClick);
      around?.removeEventListener("keydown", onKey);
    },
  };
}

// Sliders beside the view have their label on the page, but none that is read out with the handle; what
// is to be typed has its name in a tip only.
function nameControls(el) {
  let watch = null;
  const nameHandles = (around) => around.querySelectorAll(".noUi-handle:not([aria-label])").forEach((handle) => {
    const label = handle.closest(".widget-slider")?.querySelector(".widget-label")?.innerText;
    if (label) handle.setAttribute("aria-label", label);
  });
  const nameTyped = (around) => around.querySelectorAll("input[title]:not([aria-label])").forEach(
    (input) => input.setAttribute("aria-label", input.title));
  const nameAll = (around) => { nameHandles(around); nameTyped(around); };
  requestAnimationFrame(() => {
    const around = el.closest(".pd-preview");
    if (!around) return;
    nameAll(around);
    watch = new MutationObserver(() => nameAll(around));
    watch.observe(around, { childList: true, subtree: true });
  });
  return () => watch?.disconnect();
}

// Views of one group turn together: each says where it looks from, and the others of its group follow.
const TURNED = "pd-turned";
function tieTogether(picture, group) {
  let isFollowing = false;
  const tell = () => {
    if (isFollowing || !picture.isTurned) return; // by a person, not to a view by its name
    const [eye, target] = [picture.camera.position.toArray(), picture.controls.target.toArray()];
    document.dispatchEvent(new CustomEvent(TURNED, { detail: { group, from: picture, eye, target } }));
  };
  const follow = ({ detail }) => {
    if (detail.group !== group || detail.from === picture) return;
    isFollowing = true;
    picture.isTurned = true;
    picture.camera.position.set(...detail.eye);
    picture.controls.target.set(...detail.target);
    picture.controls.update(); // says that it has changed, which is not to be told again
    isFollowing = false;
    picture.drawSoon();
  };
  picture.controls.addEventListener("change", tell);
  document.addEventListener(TURNED, follow);
  return () => document.removeEventListener(TURNED, follow);
}

// Before and after: a range over the picture's foot says how much of it, from the left, is before.
function swiped(picture, model) {
  const range = document.createElement("input");
  Object.assign(range, { type: "range", min: 0, max: 1, step: 0.005, value: 0.5, className: "pd-swipe" });
  range.setAttribute("aria-label", "Before and after: how much of the picture, from the left, is before");
  range.dataset.lmSuppressShortcuts = "true";
  const line = document.createElement("div");
  line.className = "pd-swipe-line";
  const show = () => {
    const is = model.get("is_swiped");
    range.hidden = line.hidden = !is;
    line.style.left = `${100 * range.value}%`;
    picture.swipeTo(is ? Number(range.value) : null);
  };
  for (const kind of ["pointerdown", "keydown", "click"]) range.addEventListener(kind, (e) => e.stopPropagation());
  range.addEventListener("input", show);
  model.on("change:is_swiped", show);
  picture.el.append(line, range);
  show();
}

// The ghost as clear as is wanted; its edges fade with it.
function dimmed(picture, model) {
  const show = () => {
    const opacity = model.get("ghost_opacity");
    const ghost = picture.parts.get("ghost").object.material, edges = picture.parts.get("ghost_edges").object.material;
    ghost.uniforms.opacity.value = opacity;
    edges.transparent = true;
    edges.opacity = Math.min(1, opacity / model.get("looks").ghost.opacity);
    picture.draw();
  };
  model.on("change:ghost_opacity", show);
  show();
}

function render({ model, el }) {
  const looks = model.get("looks");
  const picture = new Picture(
    el, model.get("height"), model.get("background"), model.get("field_of_view"), model.get("label"));
  const changed = new Set(Object.keys(looks));
  const show = () => {
    for (const name of changed) picture.part(name, looks[name]).fill(model.get(name));
    changed.clear();
    if (picture.chosen) picture.choose(picture.chosen);
    else picture.draw();
  };
  const choose = (name) => {
    picture.choose(name);
    tables.show(name);
    if (model.get("chosen") === name) return;
    model.set("chosen", name);
    model.save_changes();
  };
  const tables = tieToTables(el, choose);
  picture.onChoice = choose;
  for (const name of Object.keys(looks)) model.on(`change:${name}`, () => changed.add(name));
  model.on("change", () => changed.size && show());
  model.on("change:view", () => picture.lookFrom(model.get("view")));
  model.on("change:label", () => picture.el.setAttribute("aria-label", model.get("label")));
  model.on("change:chosen", () => choose(model.get("chosen")));
  model.on("change:notes", () => {
    picture.notes = model.get("notes");
    choose(picture.chosen); // its numbers have changed, and its row is a new one
  });
  picture.notes = model.get("notes");
  picture.resize();
  show();
  dimmed(picture, model);
  swiped(picture, model);
  if (model.get("view").toward) picture.lookFrom(model.get("view"));
  const part = model.get("group") ? tieTogether(picture, model.get("group")) : () => {};
  const forget = nameControls(el);
  return () => {
    forget();
    part();
    tables.dispose();
    picture.dispose();
  };
}

export default { render };
