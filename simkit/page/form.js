// The short form of a job, and the drawing that follows it: the blank as the operator at the front sees it.
"use strict";
window.jobForm = (() => {
  const SHAPES = { flat: [], ball: [], "bull-nose": ["corner"], "tapered ball": ["tip", "taper"], vee: ["point", "tip"],
    drill: ["point"] };
  const WORDS = { corner: "corner radius", tip: "tip", taper: "taper, degrees", point: "point, degrees" };
  const CORNERS = ["left front", "right front", "left back", "right back", "centre"];
  const FACES = { top: "top of the blank", bottom: "table" };
  const TURNS = { "": "", "about x": "about its length: front edge goes to the back",
    "about y": "about its width: left end goes to the right", none: "not turned over" };
  const ANCHORS = { origin: "its own zero", "low corner": "its low corner", centre: "its middle" };
  const AREAS = ["clamp", "stop", "tape", "vacuum", "screw"];
  const form = document.getElementById("form"), drawing = document.getElementById("drawing");
  const cutters = document.getElementById("cutters"), setups = document.getElementById("setups");
  const units = document.getElementById("mesh-units");
  let programs = [];
  const sides = {}, chosen = new Set(); // the side of each program, and of which a person chose it

  function el(tag, more = {}, ...inside) {
    const made = document.createElement(tag);
    for (const [name, value] of Object.entries(more)) {
      if (name in made) made[name] = value; else made.setAttribute(name, value);
    }
    made.append(...inside);
    return made;
  }
  function choice(words, name, rows, value) {
    const pairs = Array.isArray(rows) ? rows.map((row) => [row, row]) : Object.entries(rows);
    const select = el("select", { name }, ...pairs.map(([key, text]) => el("option", { value: key }, text)));
    if (value !== undefined && pairs.some(([key]) => key === value)) select.value = value;
    return el("label", {}, words, select);
  }
  const entry = (words, name, value = "", mode = "decimal") =>
    el("label", {}, words, el("input", { name, value, size: 7, autocomplete: "off", inputMode: mode }));

  function addCutter(number) {
    const more = el("span", { className: "more" });
    const row = el("fieldset", { className: "cutter" }, el("legend", {}, "Cutter"),
      entry("T", "number", number, "numeric"), choice("shape", "shape", ["", ...Object.keys(SHAPES)]),
      entry("diameter", "diameter"), more);
    row.addEventListener("change", (event) => {
      if (event.target.name !== "shape") return;
      more.replaceChildren(...(SHAPES[event.target.value] || []).map((name) => entry(WORDS[name], name)));
    });
    const gone = el("button", { type: "button" }, "take away");
    gone.addEventListener("click", () => { row.remove(); follow(); });
    row.append(gone);
    cutters.append(row);
  }

  // Dowels count from the left front corner of the blank, side 1 up; what stands on the table from that of the
  // blank as it lies there.
  function addRow(root, fields, isAsked = true) {
    const row = el("fieldset", { className: "extra" }, ...fields), gone = el("button", { type: "button" }, "take away");
    gone.addEventListener("click", () => { row.remove(); follow(); });
    row.append(gone);
    root.append(row);
    if (isAsked) row.querySelector("input, select").focus();
    follow();
    return row;
  }
  const dowelFields = (x = "", y = "") => [el("legend", {}, "Dowel"), entry("from the left", "x", x),
    entry("from the front", "y", y), entry("diameter", "diameter")];
  const dowels = document.getElementById("dowels"), areas = document.getElementById("areas");
  document.getElementById("more-dowels").addEventListener("click", () => addRow(dowels, dowelFields()));
  document.getElementById("more-areas").addEventListener("click", () => addRow(areas, [el("legend", {}, "Table"),
    choice("what", "what", AREAS), choice("on", "side", { "": "both sides", 1: "side 1", 2: "side 2" }, ""),
    entry("from the left", "left"), entry("to", "right"), entry("from the front", "front"), entry("to", "back"),
    entry("top above the table (clamp, stop)", "height")]));
  const rows = (root) => [...root.querySelectorAll(".extra")].map((row) =>
    Object.fromEntries([...row.querySelectorAll("[name]")].map((one) => [one.name, one.value])));

  function value(root, name) {
    const found = root.querySelector(`[name="${name}"]`);
    return found ? found.value : "";
  }

  function addSide(index, told) {
    const row = el("fieldset", { className: "side" }, el("legend", {}, `Side ${index + 1}`));
    if (index) row.append(choice("turned over ", "turn", TURNS));
    row.append(choice("X0 Y0 at ", "corner", CORNERS, told.corner), choice("Z0 at ", "face", FACES, told.face),
      entry("cutters may go below the blank by ", "spoilboard"));
    setups.append(row);
  }

  // Which program belongs to which side; a new program is put where its name or the guess says.
  function drawPrograms() {
    let place = document.getElementById("which");
    if (!place) {
      place = el("fieldset", { id: "which" }, el("legend", {}, "Programs"));
      setups.prepend(place);
    }
    place.replaceChildren(el("legend", {}, "Programs"), ...programs.map((name) => {
      const label = choice(`${name} `, "program", { 0: "side 1", 1: "side 2", "": "not used" }, sides[name]);
      label.querySelector("select").dataset.program = name;
      return label;
    }));
  }

  function takePrograms(names) {
    programs = names;
    for (const name of names) if (!(name in sides)) sides[name] = /2|b(ack|ottom)/i.test(name) ? "1" : "0";
    drawPrograms();
    follow();
  }

  function takeMesh(name) {
    units.hidden = !name;
    if (!name || units.dataset.name === name) return;
    units.dataset.name = name;
    units.replaceChildren(el("legend", {}, "Mesh"),
      choice(`${name} is in `, "mesh_units", { "": "", mm: "mm", cm: "cm", m: "m", in: "in" }));
    units.append(choice("there lies ", "mesh_anchor", ANCHORS),
      ...["from the left", "from the front", "from below"].map((words, k) => entry(words, `mesh_at_${k}`, "0")),
      el("span", { className: "quiet" }, "Counted from the left front bottom corner of the blank, side 1 up."));
  }

  function takeGuess(guess) {
    const rows = [...cutters.querySelectorAll(".cutter")].map((row) => value(row, "number"));
    for (const number of guess.cutters || []) if (!rows.includes(String(number))) addCutter(String(number));
    ["length", "width", "thickness"].forEach((name, k) => {
      const told = (guess.sizes || [])[k] || [], place = document.getElementById(`told-${name}`);
      place.textContent = told.length ? `${name}: ${told.join(" ")}` : "";
    });
    if (!dowels.children.length) {
      for (const one of guess.dowels || []) {
        const row = addRow(dowels, dowelFields(...one.at), false);
        row.dataset.drill = one.cutter; // the hole is as wide as the cutter that drills it
      }
    }
    const blocks = [...setups.querySelectorAll(".side")];
    (guess.setups || []).forEach((told, index) => {
      for (const name of told.programs) if (!chosen.has(name)) sides[name] = String(index);
      for (const key of ["corner", "face"]) {
        const select = blocks[index] && blocks[index].querySelector(`[name="${key}"]`);
        if (select && told[key] && !select.dataset.touched) select.value = told[key];
      }
    });
    const counts = form.querySelector('[name="unit"]');
    if (guess.unit && !counts.dataset.touched) counts.value = guess.unit;
    const unit = units.querySelector("select");
    if (unit && guess.mesh_units && !unit.dataset.touched) unit.value = guess.mesh_units;
    const place = document.getElementById("guesses");
    const why = [...(guess.problems || []), ...(guess.why || [])].filter(Boolean);
    place.replaceChildren();
    if (why.length) {
      place.append(el("details", {}, el("summary", {}, "What the files tell; see whether it is right"),
        el("ul", {}, ...why.map((words) => el("li", {}, words)))));
    }
    drawPrograms();
    follow();
  }

  function values() {
    const blocks = [...setups.querySelectorAll(".side")];
    const made = blocks.map((row, index) => ({
      programs: programs.filter((name) => sides[name] === String(index)), turn: index ? value(row, "turn") : "none",
      corner: value(row, "corner"), face: value(row, "face"), spoilboard: value(row, "spoilboard"),
    })).filter((row) => row.programs.length);
    return {
      unit: value(form, "unit"), blank: ["length", "width", "thickness"].map((name) => value(form, name)),
      cutters: [...cutters.querySelectorAll(".cutter")].map((row) =>
        Object.fromEntries([...row.querySelectorAll("[name]")].map((one) => [one.name, one.value]))),
      setups: made, mesh_units: value(form, "mesh_units"), mesh_anchor: value(form, "mesh_anchor"),
      mesh_at: [0, 1, 2].map((k) => value(form, `mesh_at_${k}`)), dowels: rows(dowels),
      areas: rows(areas).map(({ left, front, right, back, ...row }) => ({ ...row, box: [left, front, right, back] })),
      limits: Object.fromEntries(["gouge", "leftover", "thinnest_wall", "witness_step"].map((one) => [one, value(form, one)])),
    };
  }

  // ---- the drawing ----

  const WIDE = 340, SPACE = 46;
  function svg(tag, more, text) {
    const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
    for (const [name, one] of Object.entries(more)) made.setAttribute(name, one);
    if (text !== undefined) made.textContent = text;
    return made;
  }
  const words = (x, y, text, anchor = "middle") => svg("text", { x, y, "text-anchor": anchor, class: "t" }, text);
  const line = (x1, y1, x2, y2) => svg("line", { x1, y1, x2, y2, class: "zero-line" });

  // A length as a job file takes it: 38, 1/4 or 1 1/2; NaN for anything else.
  function lengthOf(text) {
    const told = String(text).trim(), found = /^(?:(\d+)[\s-]+)?(\d+)\s*\/\s*(\d+)$/.exec(told);
    if (found) return Number(found[1] || 0) + Number(found[2]) / Number(found[3]);
    return told === "" ? NaN : Number(told.replace(",", "."));
  }

  // Dowel holes, clamps and tape in the drawing of a side, as far as their numbers are filled in.
  function extras(told, row, index, size, pitch, x, y) {
    const read = lengthOf;
    const [length, width] = size, shapes = [];
    for (const one of told.areas) {
      const [left, front, right, back] = one.box.map(read);
      if (one.side && Number(one.side) !== index + 1) continue;
      if (!(right > left && back > front)) continue;
      const stands = ["clamp", "stop"].includes(one.what);
      shapes.push(svg("rect", { x: x + left / pitch, y: y + (width - back) / pitch, width: (right - left) / pitch,
        height: (back - front) / pitch, class: stands ? "clamp" : "mark-down" }),
      words(x + (left + right) / 2 / pitch, y + (width - (front + back) / 2) / pitch + 4, one.what));
    }
    for (const one of told.dowels) {
      const [a, b, wide] = [read(one.x), read(one.y), read(one.diameter)];
      if (!(wide > 0 && a >= 0 && b >= 0)) continue;
      const across = row.turn === "about y" ? length - a : a, up = row.turn === "about x" ? width - b : b;
      shapes.push(svg("circle", { cx: x + across / pitch, cy: y + (width - up) / pitch,
        r: Math.max(wide / 2 / pitch, 2.5), class: "hole" }));
    }
    return shapes;
  }

  function sideDrawing(row, index, size, told) {
    const [length, width, thick] = size, pitch = Math.max(length / (WIDE - 2 * SPACE), width / 150);
    const wide = length / pitch, tall = width / pitch, x = (WIDE - wide) / 2, y = 30;
    const deep = Math.max(thick / pitch, 10), below = y + tall + 40, height = below + deep + 24;
    const picture = svg("svg", { viewBox: `0 0 ${WIDE} ${height}`, "aria-hidden": "true" });
    const isOpen = index > 0 && !row.turn, isOver = index > 0 && row.turn !== "none", part = row.corner.split(" ");
    const zx = row.corner === "centre" ? x + wide / 2 : part[0] === "left" ? x : x + wide;
    const zy = row.corner === "centre" ? y + tall / 2 : part[1] === "front" ? y + tall : y;
    // The mark on the corner left front of side 1: where it lies now, dashed when it looks down.
    const isLeft = row.turn !== "about y", isFront = row.turn !== "about x";
    const mx = isLeft ? x + 3 : x + wide - 3, my = isFront ? y + tall - 3 : y + 3;
    const sx = isLeft ? 18 : -18, sy = isFront ? -18 : 18;
    const zz = row.face === "top" ? below : below + deep;
    picture.append(
      svg("rect", { x, y, width: wide, height: tall, class: "blank-wood" }),
      ...extras(told, row, index, size, pitch, x, y),
      ...(isOpen ? [] : [svg("path", { d: `M${mx} ${my}h${sx}L${mx} ${my + sy}Z`, class: isOver ? "mark-down" : "mark-up" })]),
      words(WIDE / 2, y - 8, "back"), words(WIDE / 2, y + tall + 16, "front"),
      words(x - 8, y + tall / 2 + 4, "left", "end"), words(x + wide + 8, y + tall / 2 + 4, "right", "start"),
      line(zx - 9, zy, zx + 20, zy), line(zx, zy + 9, zx, zy - 20),
      svg("circle", { cx: zx, cy: zy, r: 6, class: "zero-ring" }),
      words(zx + 22, zy + 13, "X", "start"), words(zx - 7, zy - 11, "Y", "end"),
      svg("rect", { x, y: below, width: wide, height: deep, class: "blank-wood" }),
      line(x - 16, zz, x + 12, zz), words(x - 19, zz + 4, "Z0", "end"),
      words(WIDE / 2, below + deep + 16, `from the front: side ${isOver ? 2 : 1} up`),
    );
    const turned = { "about x": "front edge at the back now", "about y": "left end at the right now" }[row.turn];
    const caption = isOpen ? "choose how it is turned over" : isOver ? `turned over, ${turned}; the mark on side 1 looks down` : "mark this corner of the wood";
    return el("figure", {}, picture, el("figcaption", {}, `Side ${index + 1}: ${caption}`));
  }

  function follow() {
    const told = values(), read = (text, other) => (lengthOf(text) > 0 ? lengthOf(text) : other);
    const size = [read(told.blank[0], 280), read(told.blank[1], 90), read(told.blank[2], 38)];
    const isWhole = told.blank.every((text) => lengthOf(text) > 0);
    const parts = told.setups.map((row, index) => sideDrawing(row, index, size, told));
    if (!isWhole) parts.push(el("p", { className: "quiet" }, "An example, until the size of the blank is filled in."));
    drawing.replaceChildren(...parts);
    drawing.setAttribute("aria-label", told.setups.map((row, index) =>
      `Side ${index + 1}: ${row.turn || "turn not chosen"}, X0 Y0 at ${row.corner}, Z0 at ${row.face}`).join(". "));
  }

  // Holes that the programs drill are as wide as their cutter, until a person says otherwise.
  function widenHoles() {
    for (const row of dowels.querySelectorAll("[data-drill]")) {
      const wide = row.querySelector('[name="diameter"]');
      const drill = [...cutters.querySelectorAll(".cutter")].find((one) => value(one, "number") === row.dataset.drill);
      if (drill && !wide.dataset.touched) wide.value = value(drill, "diameter");
    }
  }

  form.addEventListener("input", (event) => {
    event.target.dataset.touched = "yes";
    widenHoles();
    const { program } = event.target.dataset;
    if (program) {
      sides[program] = event.target.value;
      chosen.add(program);
    }
    follow();
  });
  form.addEventListener("submit", (event) => event.preventDefault());
  document.getElementById("more-cutters").addEventListener("click", () => { addCutter(""); follow(); });
  [{ corner: "left front", face: "top" }, { corner: "left front", face: "top" }].forEach((row, k) => addSide(k, row));

  return {
    values, takeGuess,
    // Shows the form where there is no job file.
    take(files) {
      const of = (kind) => files.filter((file) => file.kind === kind).map((file) => file.name);
      form.hidden = of("job file").length > 0 || !of("program").length;
      takeMesh(of("mesh")[0]);
      takePrograms(of("program"));
    },
  };
})();
