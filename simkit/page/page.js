// The page: drops files on its desk, asks for a check, and shows what came of it.
"use strict";
(() => {
  const at = (id) => document.getElementById(id);
  let desk = "", files = [], isChecking = false, shown = 0, solid = null, findings = [], lastVerdict = 0, current = 0;
  let tick = 0, pictures = [], chosen = null; // the state that is known; pictures that came; the finding turned to

  // ---- talking to the server ----

  async function ask(method, path, body) {
    const headers = method === "GET" ? {} : { "X-Simkit": "page" };
    let answer;
    try {
      answer = await fetch(path, { method, headers, body, credentials: "omit", cache: "no-store" });
    } catch {
      throw new Error("simkit does not answer: it was ended, or the connection broke off");
    }
    if (answer.ok) return answer;
    const told = await answer.json().catch(() => ({}));
    throw new Error((told.problems || [`simkit answered ${answer.status}`]).join("\n"));
  }
  const mine = (rest) => `desk/${desk}${rest}`;
  const named = (name) => `name=${encodeURIComponent(name)}`;
  const json = async (...words) => (await ask(...words)).json();

  function say(place, lines) {
    place.replaceChildren(...lines.flatMap((text) => text.split("\n")).map((text) => {
      const row = document.createElement("p");
      row.className = "problem";
      row.textContent = text;
      return row;
    }));
  }

  // ---- files ----

  function drawFiles() {
    const several = files.filter((file) => file.kind === "job file").length > 1;
    at("files").replaceChildren(...files.map((file) => {
      const row = document.createElement("li"), name = document.createElement("bdi");
      const gone = document.createElement("button");
      name.textContent = file.name;
      row.className = file.chosen && several ? "is-checked" : "";
      gone.type = "button";
      gone.textContent = "take away";
      gone.setAttribute("aria-label", `take ${file.name} away`);
      gone.addEventListener("click", () => change(async () => {
        ({ files } = await json("DELETE", mine(`/file?${named(file.name)}`)));
      }));
      row.append(name, ` ${file.kind}, ${size(file.size)} `);
      if (several && file.chosen) row.append("– this job is checked ");
      if (several && file.kind === "job file" && !file.chosen) {
        const choose = document.createElement("button");
        choose.type = "button";
        choose.textContent = "check this one";
        choose.setAttribute("aria-label", `check ${file.name}`);
        choose.addEventListener("click", async () => {
          await change(async () => { ({ files } = await json("POST", mine(`/choose?${named(file.name)}`))); });
          await check();
        });
        row.append(choose, " ");
      }
      row.append(gone);
      return row;
    }));
    at("check").disabled = !files.some((file) => file.kind !== "mesh");
    window.jobForm.take(files);
  }
  const size = (bytes) => (bytes < 1e5 ? `${Math.ceil(bytes / 1000)} kB` : `${(bytes / 1e6).toFixed(1)} MB`);

  let queue = Promise.resolve(); // one change of the files after the other
  function change(act) {
    queue = queue.then(async () => {
      try {
        if (isChecking) await json("POST", mine("/stop"));
        await act();
      } catch (reason) {
        say(at("file-problems"), [reason.message]);
      }
      drawFiles();
    });
    return queue;
  }

  // What is in a dropped folder, and below it, as rows { name, file }.
  async function inside(entry, most) {
    if (entry.isFile) {
      const file = await new Promise((go, no) => entry.file(go, no));
      return [{ name: entry.fullPath.replace(/^\//, ""), file }];
    }
    const rows = [], reader = entry.createReader();
    for (;;) {
      const some = await new Promise((go, no) => reader.readEntries(go, no));
      if (!some.length || rows.length > most) return rows;
      for (const one of some) if (!one.name.startsWith(".")) rows.push(...await inside(one, most - rows.length));
    }
  }
  // Of folders only what simkit reads is taken (a .toml without a blank is no job); the job file nearest to the
  // top comes last, for it is checked.
  async function sorted(rows) {
    const endings = at("files-part").dataset.endings.split(" ");
    const depth = (row) => row.name.split("/").length, isJob = (row) => row.name.toLowerCase().endsWith(".toml");
    const kept = [];
    for (const row of rows) {
      const isOurs = depth(row) === 1 || endings.some((one) => row.name.toLowerCase().endsWith(one));
      const isOther = depth(row) > 1 && isJob(row) && row.file.size < 1e6
        && !/^\s*(\[\s*blank|blank\s*[.=])/m.test(await row.file.text());
      if (isOurs && !isOther) kept.push(row);
    }
    kept.sort((a, b) => isJob(a) - isJob(b) || depth(b) - depth(a));
    return kept;
  }

  async function take(list) {
    const most = Number(at("files-part").dataset.most), wrong = [];
    if (!list.length) return;
    const rows = await sorted(list);
    const aside = list.length - rows.length;
    at("aside").textContent = aside ? `${aside} other ${aside === 1 ? "file" : "files"} in the folder left aside.` : "";
    say(at("file-problems"), []);
    await change(async () => {
      for (const { name, file } of rows) {
        const others = files.filter((one) => one.name !== name).reduce((sum, one) => sum + one.size, 0);
        try {
          if (file.size + others > most) throw new Error(`${name}: too large, all files together may have ${size(most)}`);
          ({ files } = await json("PUT", mine(`/file?${named(name)}`), file));
        } catch (reason) {
          wrong.push(reason instanceof TypeError ? `${name}: cannot be read (a folder?)` : reason.message);
        }
      }
    });
    say(at("file-problems"), wrong.length > 6 ? [...wrong.slice(0, 5), `and ${wrong.length - 5} more files`] : wrong);
    if (wrong.length) {
      if (shown && wrong.length < rows.length) { // what is told above is not of these files
        const words = "The verdict is of the files before. Press Check, below the files, for one of those that were taken.";
        at("file-problems").append(Object.assign(document.createElement("p"), { className: "problem", textContent: words }));
      }
      at("running").scrollIntoView({ block: "nearest" });
      return;
    }
    const hasJob = files.some((file) => file.kind === "job file");
    if (hasJob || shown) await check();
    if (!hasJob) {
      try {
        window.jobForm.takeGuess(await json("GET", mine("/guess")));
      } catch { /* the form is filled in by hand then */ }
    }
  }

  const isFiles = (event) => [...(event.dataTransfer ? event.dataTransfer.types : [])].includes("Files");
  for (const name of ["dragenter", "dragover"]) {
    window.addEventListener(name, (event) => {
      if (!isFiles(event)) return;
      event.preventDefault();
      document.body.classList.add("is-over");
    });
  }
  window.addEventListener("dragleave", (event) => { if (!event.relatedTarget) document.body.classList.remove("is-over"); });
  window.addEventListener("drop", (event) => {
    if (!isFiles(event)) return;
    event.preventDefault();
    document.body.classList.remove("is-over");
    const entries = [...event.dataTransfer.items].map((item) => item.webkitGetAsEntry && item.webkitGetAsEntry());
    if (!entries.some((entry) => entry && entry.isDirectory)) {
      take([...event.dataTransfer.files].map((file) => ({ name: file.name, file })));
      return;
    }
    const MOST = 2000; // of a folder dropped by mistake not all is listed
    Promise.all(entries.filter(Boolean).map((entry) => inside(entry, MOST))).then((rows) => take(rows.flat()))
      .catch(() => say(at("file-problems"), ["the folder cannot be read; drop the files in it"]));
  });
  for (const id of ["choose", "choose-folder"]) {
    at(id).addEventListener("change", (event) => {
      const list = [...event.target.files].map((file) => ({ name: file.webkitRelativePath || file.name, file }));
      event.target.value = ""; // so that the same file can be chosen again
      take(list.filter((row) => !row.name.split("/").some((part) => part.startsWith("."))));
    });
  }

  // ---- the check ----

  async function check() {
    say(at("problems"), []);
    const hasJob = files.some((file) => file.kind === "job file");
    try {
      const form = hasJob ? "null" : JSON.stringify(window.jobForm.values());
      const { number } = await json("POST", mine("/check"), form);
      await follow(number);
    } catch (reason) {
      say(at("problems"), [reason.message]);
      at("problems").scrollIntoView({ block: "nearest" });
    }
  }

  // Shows a check as it comes: the verdict as soon as it is known, then findings, the 3-D view, the pictures.
  // Comes back when that is known; what is drawn goes on.
  function follow(number) {
    return new Promise((go) => {
      watch(number, go).catch((reason) => say(at("problems"), [reason.message])).then(go);
    });
  }
  async function watch(number, go) {
    isChecking = true;
    current = number;
    at("check").disabled = true;
    at("progress").hidden = false;
    at("verdict").classList.add("is-old"); // until the new one is there
    offer([]);
    at("drawn").textContent = "A check runs: downloads come after it.";
    at("running").scrollIntoView({ block: "nearest" });
    const taken = new Set();
    try {
      for (;;) {
        const state = await json("GET", mine(`/state?after=${tick}`)); // answered when there is news, or after a second
        if (state.number !== number || current !== number) return;
        tick = state.tick;
        at("bar").value = state.share || 0;
        at("stage").textContent = state.stage || "";
        if (state.verdict && lastVerdict !== number) {
          showVerdict(number, state);
          go();
        }
        for (const name of state.parts.filter((one) => !taken.has(one))) {
          taken.add(name);
          try {
            await showPart(name, state);
          } catch (reason) { // what a new check put away is no fault
            if ((await json("GET", mine("/state"))).number === number) throw reason;
          }
          if (current !== number) return;
        }
        if (state.verdict) sayDrawing(state);
        if (!["waiting", "checking", "drawing"].includes(state.phase)) {
          end(state);
          return;
        }
      }
    } finally {
      if (current === number) endProgress();
    }
  }
  function endProgress() {
    isChecking = false;
    at("check").disabled = false;
    at("progress").hidden = true;
  }
  at("check").addEventListener("click", check);
  at("stop").addEventListener("click", () => json("POST", mine("/stop")).catch((reason) => say(at("problems"), [reason.message])));

  function end(state) {
    if (state.phase === "stopped") say(at("problems"), ["Stopped. Nothing is known of these files."]);
    if (state.phase === "unusable") {
      say(at("problems"), state.problems.length ? ["Not checked:", ...state.problems] : [state.sentence]);
    }
    if (state.phase !== "done") showResult(false);
  }
  // What goes on is told where one looks for it: below the verdict, and before the first one below the files.
  function showResult(isThere) {
    for (const id of ["result", "verdict-part", "more"]) at(id).hidden = !isThere;
    at(isThere ? "verdict-part" : "check-part").after(at("running"));
    if (!isThere) at("running").scrollIntoView({ block: "nearest" });
  }

  // ---- what came of it ----

  function showVerdict(number, { verdict, changes, taken }) {
    lastVerdict = number;
    say(at("taken"), taken || []);
    endProgress();
    showResult(true);
    at("result").classList.add("is-told");
    const first = document.createElement("b"), status = verdict.status[0].toUpperCase() + verdict.status.slice(1);
    first.textContent = status;
    const isFirst = verdict.sentence.startsWith(status);
    at("verdict").replaceChildren(...(isFirst ? [first, verdict.sentence.slice(status.length)] : [verdict.sentence]));
    at("verdict-part").scrollIntoView({ block: "nearest" });
    at("verdict").className = `verdict ${verdict.exit_status === 0 ? "good" : "bad"}`;
    at("changes").replaceChildren();
    if (!changes) return;
    const head = document.createElement("h2"), list = document.createElement("ul");
    head.textContent = "Since the check before";
    list.append(...changes.map((words) => Object.assign(document.createElement("li"), { textContent: words })));
    at("changes").append(head, list);
  }

  // A piece of the report as it is made; simkit escapes all that comes from files, and no script runs here.
  async function showPart(name, state) {
    if (name === "report") {
      offer(["report", "result", "job"]);
      return;
    }
    const piece = await json("GET", mine(`/parts/${name}?of=${state.number}`)); // null: another check has begun
    if (!piece || current !== state.number) return;
    if (name === "words") showWords(piece, state);
    else if (name === "scene") {
      document.getElementById("solid-data").textContent = piece;
      await new Promise((go) => setTimeout(go)); // what is there already is painted first
      solid = window.drawSolid();
      waitForSolid(false);
      if (chosen) turnView(chosen);
    } else if (name === "closeups") {
      for (const [number, drawing] of Object.entries(piece)) at("column").querySelector(`.room-${number}`).outerHTML = drawing;
    } else if (name === "views") {
      at("rest").innerHTML = ["sections", "job", "steps", "budget", "time", "tables", "checklist"].map((one) => piece[one] || rest[one] || "").join("");
    } else showPicture(piece);
  }
  let rest = {}; // words for the part below, which is shown when its drawings are there

  // Pictures stand last, under their heads: what comes later moves nothing that stood there.
  function showPicture([head, figure]) {
    pictures.push(head);
    let part = [...at("pictures").children].find((one) => one.firstChild.textContent === head);
    if (!part) {
      part = document.createElement("section");
      part.append(Object.assign(document.createElement("h2"), { textContent: head }));
      at("pictures").append(part);
    }
    part.insertAdjacentHTML("beforeend", figure);
  }

  // What can be taken home is of the check that is told above; while another runs nothing is.
  function offer(names) {
    for (const name of ["report", "result", "job"]) {
      const link = at(`get-${name}`), isThere = names.includes(name);
      link.toggleAttribute("download", isThere);
      link.toggleAttribute("href", isThere);
      if (isThere) link.href = mine(`/${name}`);
      link.setAttribute("aria-disabled", String(!isThere));
    }
  }

  function sayDrawing(state) {
    const count = pictures.length, drawn = count ? `: ${count} so far` : "";
    const isLeft = state.phase === "done" && !state.parts.includes("report");
    at("drawn").textContent = state.undrawn ? `Not all could be drawn: ${state.undrawn.join(" ")}`
      : isLeft ? "Pictures and report were left when the files changed."
      : state.phase === "done" ? `The report and its ${count} pictures are ready.`
      : `Pictures are being drawn${drawn}.`; // one line on a phone
    if (state.phase === "done" && document.querySelector("#solid.is-coming")) {
      document.querySelector("#solid .instead").textContent = "The 3-D view was not drawn.";
      waitForSolid(false);
    }
  }
  // The view stands there from the first, as large as it will be, and takes no hand before it is drawn.
  function waitForSolid(isComing) {
    const root = document.getElementById("solid");
    root.classList.toggle("is-coming", isComing);
    root.querySelector(".works").inert = isComing;
  }

  function showWords(parts, state) {
    shown = state.number;
    findings = state.findings;
    rest = parts;
    pictures = [];
    solid = null;
    at("result").classList.remove("is-told");
    at("first").innerHTML = parts.first || "";
    at("column").innerHTML = parts.findings;
    at("solid-place").innerHTML = parts.solid;
    waitForSolid(true);
    at("rest").replaceChildren();
    at("pictures").replaceChildren();
    at("rest-part").hidden = at("pictures-part").hidden = false;
    window.programText.hide();
    at("back").hidden = true;
    offer(["result", "job"]);
    for (const article of at("column").querySelectorAll(".finding")) {
      const row = findings[Number(article.id.slice(1)) - 1];
      if (!row || (!row.at && !row.line)) continue;
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = "show its place";
      button.setAttribute("aria-label", `show the place of finding ${row.number}`);
      article.querySelector("h3").append(button);
      article.classList.add("can-show");
      article.addEventListener("click", (event) => {
        if (event.target.closest("a") || String(getSelection())) return;
        turnTo(row, article);
        const box = at("shown").getBoundingClientRect(); // on a narrow screen it stands below the column
        if (box.bottom < 80 || box.top > window.innerHeight - 80) at("shown").scrollIntoView();
      });
    }
    const first = findings[0];
    chosen = null;
    if (first) turnTo(first, at(`f${first.number}`));
  }

  function turnTo(row, article) {
    for (const one of at("column").querySelectorAll(".chosen")) one.classList.remove("chosen");
    if (article) article.classList.add("chosen");
    at("back").hidden = false;
    at("back").href = `#f${row.number}`;
    at("back").textContent = `back to finding ${row.number}`;
    chosen = row;
    turnView(row);
    if (!row.file) return;
    window.programText.show(row.file, row.line, async (name) => (await ask("GET", mine(`/text?${named(name)}`))).text())
      .catch(() => window.programText.hide());
  }

  function turnView(row) {
    if (solid && row.at) solid.turnTo(row.at, row.side);
    for (const label of at("solid-place").querySelectorAll(".spot")) {
      label.classList.toggle("chosen", label.textContent === String(row.number));
    }
    const choice = at("solid-place").querySelector("[name=finding]");
    if (choice) choice.value = String(row.number);
  }

  // A tablet turned: the columns change, the line stays in sight.
  window.matchMedia("(max-width: 61.99rem)").addEventListener("change", () => window.programText.again());

  // ---- begin and end ----

  window.addEventListener("pagehide", (event) => {
    if (event.persisted || !desk) return;
    fetch(mine(""), { method: "DELETE", headers: { "X-Simkit": "page" }, keepalive: true, credentials: "omit" }).catch(() => {});
  });
  json("POST", "desk").then((made) => { desk = made.desk; document.body.dataset.ready = "yes"; })
    .catch((reason) => say(at("file-problems"), [reason.message]));
})();
