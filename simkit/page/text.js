// The text of a program, however long: only the lines in sight stand in the page.
"use strict";
window.programText = (() => {
  const LINE = 20, SPARE = 30; // pixels of a line; lines kept above and below those in sight
  const box = document.getElementById("text"), part = document.getElementById("text-part");
  const name = document.getElementById("text-name");
  let lines = [], chosen = 0, asked = 0;

  function draw() {
    const first = Math.max(Math.floor(box.scrollTop / LINE) - SPARE, 0);
    const last = Math.min(first + Math.ceil(box.clientHeight / LINE) + 2 * SPARE, lines.length);
    const all = document.createElement("div"), shown = document.createElement("pre");
    all.className = "all";
    all.style.height = `${lines.length * LINE}px`;
    shown.style.top = `${first * LINE}px`;
    for (let k = first; k < last; k++) {
      const row = document.createElement("span"), number = document.createElement("span");
      number.className = "num";
      number.textContent = `${k + 1 === chosen ? "▶ " : ""}${k + 1}`;
      row.append(number, ` ${lines[k].slice(0, 400)}`);
      if (k + 1 === chosen) row.className = "here";
      shown.append(row);
    }
    all.append(shown);
    box.replaceChildren(all);
  }

  let isWaiting = false;
  box.addEventListener("scroll", () => {
    if (isWaiting) return;
    isWaiting = true;
    requestAnimationFrame(() => { isWaiting = false; draw(); });
  });

  // Shows a file at a line.  load(file) gives its text.
  async function show(file, line, load) {
    const mine = ++asked;
    part.hidden = false; // its room is kept while the text comes
    name.textContent = line ? `${file}, line ${line}` : file;
    const text = await load(file);
    if (mine !== asked) return; // another finding was chosen meanwhile
    lines = text.split(/\r\n|\r|\n/);
    chosen = line || 0;
    draw();
    again();
  }
  // Shows the chosen line again, after the box was moved in the page: that takes it back to its beginning.
  function again() {
    box.scrollTop = Math.max((chosen - 1) * LINE - box.clientHeight / 2 + LINE, 0);
    draw();
  }
  return { show, again, hide() { part.hidden = true; box.replaceChildren(); lines = []; asked++; } };
})();
