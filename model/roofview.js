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
  model.on("change:chosen", () => choose(model.get("chosen")));
  model.on("change:notes", () => {
    picture.notes = model.get("notes");
    choose(picture.chosen); // its numbers have changed, and its row is a new one
  });
  picture.notes = model.get("notes");
  picture.resize();
  show();
  if (model.get("view").toward) picture.lookFrom(model.get("view"));
  return () => {
    tables.dispose();
    picture.dispose();
  };
}

export default { render };
