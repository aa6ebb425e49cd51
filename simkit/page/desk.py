"""A desk: what one tab of a browser has dropped, and the check of it."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

from simkit.errors import InputProblems, Interrupted, Place, Problem
from simkit.job.key import UNFILLED
from simkit.page.changes import changes
from simkit.page.checker import Checker
from simkit.page.form import JOB_FILE, field_words, job_text
from simkit.page.laid import Laid, jigs_of, lay_out
from simkit.page.names import JOB, MESH, kind_of, safe_path
from simkit.report.lengths import lengths_of
from simkit.report.whole_file import json_text
from simkit.runs.unchecked import fault, keep_traceback, unusable

MOST_FILES = 60
PREFILL_SECONDS = 60
STAGES = 14  # of a check, for the bar until one was seen
LEAVING = 3.0  # s that a picture may take to its end; then its process is ended, and a new one begun
HOLD = 1.0  # s that a question about the state may wait for news; a browser asks few at once
PACE = 0.5  # s between two news of how far a stage is
LASTS = "; it takes a minute or two"
DRAWING = "drawing"  # the phase in which the result is known, and pictures come
REPORT = "report"  # the last of the parts: the whole file


class Busy(Exception):
    """The files of a desk do not change while they are checked."""


class Desk:
    """Files in a folder of its own, known by names that `safe_path` let pass, and the last two results."""

    def __init__(self, folder: Path, checker: Checker):
        self.used = time.monotonic()
        self._folder, self._out = folder / "in", folder / "out"
        self._root, self._checker = folder, checker
        self._laid = Laid(folder / "laid")  # the files as the checked job names them
        for part in (self._folder, self._out):
            part.mkdir(parents=True)
        self._lock = threading.RLock()
        self._news = threading.Condition(self._lock)
        self._told_at = 0.0  # when the last news came
        self._kinds: dict[str, str] = {}  # by name, in the order dropped
        self._paths: dict[str, Path] = {}  # where the bytes are: a number for a name
        self._count = 0
        self._chosen: str | None = None  # the job file that came last, or was asked for
        self._asked: str | None = None  # the one that was asked for by name
        self._is_made = False  # the job file comes from the form
        self._thread: threading.Thread | None = None
        self._wanted = 0  # number of the check that is wanted
        self._state: dict[str, Any] = {"number": 0, "phase": "nothing", "tick": 0}
        self._result: dict[str, Any] | None = None  # the last that came to an end
        self._seen_stages = STAGES

    # ---- files ----

    def size(self) -> int:
        """Return how many bytes were dropped."""
        with self._lock:
            return sum(path.stat().st_size for path in self._paths.values())

    def files(self) -> list[dict[str, Any]]:
        """Return name, kind and size of every file, and of job files which one is checked."""
        with self._lock:
            chosen, is_made = self._job_name(), self._is_made
            rows = [(name, kind, self._paths[name].stat().st_size) for name, kind in self._kinds.items()]
        return [
            {"name": name, "kind": kind, "size": size, "chosen": name == chosen}
            for name, kind, size in rows
            if not (is_made and kind == JOB)
        ]

    def put(self, name: str, data: bytes) -> str:
        """Keep a file; one of the same name goes.  The job file that came last is checked.  Returns its name.

        Raises InputProblems for a name that cannot be used, Busy while a check runs.
        """
        name = safe_path(name)
        kind = kind_of(name)
        with self._lock:
            self._refuse_when_busy()
            if name not in self._kinds and len(self._kinds) >= MOST_FILES:
                found, remedy = f"more than {MOST_FILES} files", "take some away first"
                raise InputProblems(Problem(Place(name), found, f"{MOST_FILES} at most", remedy))
            like = {other.casefold(): other for other in self._kinds}  # one file on some systems
            old = like.get(name.casefold())
            gone = [old] if old is not None and old != name else []
            if kind == JOB:
                gone += [other for other, what in self._kinds.items() if what == JOB and self._is_made]
                self._is_made, self._chosen = False, name
            for other in dict.fromkeys(gone):
                self._drop(other)
            if name not in self._paths:
                self._count += 1
                self._paths[name] = self._folder / f"{self._count}"
            self._paths[name].write_bytes(data)
            self._kinds[name] = kind
        return name

    def take_away(self, name: str) -> None:
        """Forget a file.  Raises KeyError for one that is not there, Busy while a check runs."""
        with self._lock:
            self._refuse_when_busy()
            self._drop(self._known(name))

    def choose(self, name: str) -> None:
        """Take another of the job files for the one to be checked.  Raises KeyError for any other name."""
        with self._lock:
            self._refuse_when_busy()
            if self._kinds[self._known(name)] != JOB:
                raise KeyError(name)
            self._chosen = self._asked = name

    def _drop(self, name: str) -> None:
        self._kinds.pop(name, None)
        path = self._paths.pop(name, None)
        if path is not None:
            path.unlink(missing_ok=True)

    def _known(self, name: str) -> str:
        if name not in self._kinds:
            raise KeyError(name)
        return name

    def text_of(self, name: str) -> str:
        """Return a program or the job file as text, by its name here or in the job that was checked.

        Raises KeyError for any other name.
        """
        with self._lock:
            name = self._laid.named.get(name, name)
            if self._kinds[self._known(name)] == MESH:
                raise KeyError(name)
            data = self._paths[name].read_bytes()
        try:
            return data.decode("utf-8-sig")
        except UnicodeDecodeError:
            return data.decode("latin-1")

    def job_file(self) -> tuple[str, bytes] | None:
        """Return name and bytes of the job file, None when there is none yet."""
        with self._lock:
            name = self._job_name()
            return None if name is None else (name.rpartition("/")[2], self._paths[name].read_bytes())

    def _job_name(self) -> str | None:
        """Return the job to be checked: the one that was chosen, unless it is the jig of another."""
        jobs = [name for name, kind in self._kinds.items() if kind == JOB]
        chosen = self._chosen if self._chosen in jobs else next(reversed(jobs), None)
        last = "" if chosen is None else chosen.rpartition("/")[2]
        others = [name for name in jobs if name != chosen and last in jigs_of(self._paths[name])]
        return chosen if len(others) != 1 or chosen == self._asked else others[0]

    # ---- the check ----

    def start(self, form: dict[str, Any] | None) -> int:
        """Begin a check and return its number.  form: see form.job_text, None for the dropped job file.

        What is still drawn of the check before is left.
        Raises Busy while one runs, InputProblems where there is nothing to check, ValueError for no form.
        """
        self._end_drawing()
        with self._lock:
            if self.is_busy():
                raise Busy
            self._refuse_when_busy()
            if form is not None and (self._is_made or self._job_name() is None):
                mesh = next((name for name, kind in self._kinds.items() if kind == MESH), None)
                text = job_text(form, mesh)
                if len(self._kinds) > 0:
                    self.put(JOB_FILE, text.encode("utf-8", "replace"))
                    self._is_made = True
            job = self._job_name()
            if job is None:
                found, expected = "no files", "a job file, or programs and the form"
                raise InputProblems(Problem(Place("this page"), found, expected, "drop programs first"))
            number = self._wanted = self._state["number"] + 1
            self._state = {"number": number, "phase": "waiting", "tick": self._state["tick"]}
            self._tell(stage="waiting", share=0.0, parts=[])
            self._thread = threading.Thread(target=self._check, args=(number, job), daemon=True)
            self._thread.start()
        return number

    def stop(self) -> None:
        """End the check that runs or waits, if there is one; of one that is drawn the result stays."""
        self._end_drawing()
        with self._lock:
            thread, self._wanted = self._thread, 0
        if thread is not None and thread.is_alive():
            self._checker.stop(self)
            thread.join(10)

    def _end_drawing(self) -> None:
        """Leave what is drawn, and wait until it is."""
        with self._lock:
            thread, is_drawing = self._thread, self._state["phase"] == DRAWING
        if is_drawing:
            self._checker.leave(self)
            thread.join(LEAVING)
            if thread.is_alive():
                self._checker.stop(self)
                thread.join(10)

    def close(self) -> None:
        """End the check and remove all files."""
        self.stop()
        shutil.rmtree(self._root, ignore_errors=True)

    def state(self, after: int | None = None) -> dict[str, Any]:
        """Return how far the check is, and what it said: number, phase, stage, share, verdict, parts ...

        after: the `tick` of the state that is known; waits for another one, HOLD at most.
        """
        with self._news:
            self._news.wait_for(lambda: after is None or self._state["tick"] != after, HOLD)
            return dict(self._state)

    def is_busy(self) -> bool:
        """Return whether a check waits or runs, or is drawn."""
        return self._thread is not None and self._thread.is_alive()

    def part(self, name: str, of: int | None = None) -> bytes:
        """Return a piece of the report as JSON, null when another check than `of` has begun meanwhile.

        Raises KeyError for one that is not drawn.
        """
        if name == REPORT:
            raise KeyError(name)
        with self._lock:
            if of is not None and of != self._state["number"]:
                return b"null"
            return self._made(name, f"{name}.json")

    def report(self) -> tuple[str, bytes]:
        """Return the report as HTML, with a name for it.  Raises KeyError when there is none, or not yet."""
        return self._named_after_job("report.html"), self._made(REPORT, "report.html")

    def result(self) -> tuple[str, bytes]:
        """Return the result as --json writes it, with a name for it.

        Raises KeyError when there is none, or not yet: one of the files before is none of these.
        """
        with self._lock:
            if "verdict" not in self._state or self._result is None:
                raise KeyError("result")
            return self._named_after_job("result.json"), json_text(self._result).encode("utf-8")

    def _named_after_job(self, last: str) -> str:
        """Return a name for a download: that of the job before it, as far as any system takes it."""
        with self._lock:
            job = "" if self._result is None else self._result["job"]["name"]
        return "_".join([*re.findall(r"[^\W_]+", "" if job == "job" else job)[:6], last])

    def _made(self, name: str, file: str) -> bytes:
        with self._lock:
            if name not in self._state.get("parts", ()):
                raise KeyError(name)
            return (self._out / file).read_bytes()

    def prefill(self) -> dict[str, Any]:
        """Return what the files let one guess for the form."""
        folder = self._root / "guess"
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        with self._lock:
            names = {name.rpartition("/")[2]: name for name, kind in self._kinds.items() if kind != JOB}
            for last, name in names.items():
                shutil.copyfile(self._paths[name], folder / last)
        words = [sys.executable, "-P", "-m", "simkit.page.prefill", str(folder)]
        done = subprocess.run(words, capture_output=True, timeout=PREFILL_SECONDS, check=True)
        guess = json.loads(done.stdout)
        for row in guess["setups"]:
            row["programs"] = [names.get(name, name) for name in row["programs"]]
        return guess

    def _refuse_when_busy(self) -> None:
        if not self.is_busy() or threading.current_thread() is self._thread:
            return
        if self._state["phase"] != DRAWING:
            raise Busy
        self._checker.leave(self)  # what is drawn will be drawn anew soon, and needs no file that was dropped

    def _check(self, number: int, job: str) -> None:
        for path in self._out.iterdir():
            path.unlink()
        self._stages, self._named = 0, ""
        try:
            self._laid = laid = lay_out(self._root / "laid", dict(self._paths), job)
            self._tell(taken=laid.words)
            name = job.rpartition("/")[2]
            record = self._checker.check(
                self, laid.folder, name, self._out, self._say, lambda: self._wanted == number
            )
        except Interrupted:
            self._tell(phase="stopped")
            return
        except InputProblems as problems:
            record = unusable(job, problems)
        except Exception:
            record = fault(job, keep_traceback())
        if "verdict" not in record and self._state["phase"] == DRAWING:  # what is known stays known
            self._tell(phase="done", undrawn=[record["sentence"]])
            return
        if "verdict" not in record:
            self._tell(
                phase="unusable",
                sentence=record["sentence"],
                problems=_lines(record["problems"], self._is_made),
            )
            return
        self._tell(phase="done")

    def _say(self, what: str, value: Any) -> None:
        """Take what the worker tells: a stage, how much of it is done, the result, what is drawn of it."""
        if what == "preparing":
            self._named = value
            self._tell(phase="checking", stage=value + LASTS, share=0.0)
        elif what == "stage":
            self._stages += 1
            self._named = value
            self._tell(phase="checking", stage=value, share=self._share(0.0))
        elif what == "counted":
            done, of = value
            words, share = f"{self._named}, {done} of {of}", done / max(of, 1)
            if self._stages == 0:  # before the check: a bar of its own
                self._tell(stage=words + LASTS, share=round(min(share, 0.99), 3))
            else:
                self._tell(stage=words, share=self._share(share))
        elif what == "fraction":
            self._tell(share=self._share(value))
        elif what == "result":
            self._seen_stages = max(self._stages, 1)
            more = {} if self._result is None else {"changes": changes(value, self._result)}
            self._result = value
            self._tell(phase=DRAWING, share=1.0, **_told(value), **more)
        elif what == "part":
            self._tell(parts=[*self._state["parts"], value])
        elif what == "undrawn":
            self._tell(undrawn=value)

    def _share(self, done: float) -> float:
        return round(min((self._stages - 1 + done) / max(self._seen_stages, self._stages), 0.99), 3)

    def _tell(self, **what: Any) -> None:
        now = time.monotonic()
        with self._news:
            self._state = self._state | what
            if set(what) == {"share"} and now - self._told_at < PACE:
                return  # told with what comes next
            self._told_at = now
            self._state["tick"] += 1
            self._news.notify_all()


def _told(result: dict[str, Any]) -> dict[str, Any]:
    """Return what a page shows of a result beside the parts of its report."""
    rows = [{key: row[key] for key in ("number", "at", "side", "file", "line")} for row in result["findings"]]
    verdict = result["verdict"]
    told = lengths_of(result).text(verdict["sentence"])
    return {"verdict": verdict | {"sentence": told}, "findings": rows}


def _lines(rows: list[dict[str, Any]], is_made: bool) -> list[str]:
    """Return problems as the command line writes them.  is_made: the job file is that of the form.

    Who filled in the form never saw a line of that file: what is wrong there is told by the field.
    """
    lines = []
    for row in rows:
        field = field_words(row["key"]) if is_made and row["file"] == JOB_FILE else None
        place = Place(row["file"], row["line"], row["column"], row["key"])
        found = row["found"]
        if field is not None:
            place, found = Place(field), found.replace(f"'{UNFILLED}', still", "nothing, still")
        lines.append(str(Problem(place, found, row["expected"], row["remedy"])))
    return lines
