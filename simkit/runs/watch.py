"""`simkit watch`: checks a job, or every job below a folder, again whenever one of its files has changed."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from simkit.errors import InputProblems, Interrupted, Place, Problem
from simkit.report.lengths import lengths_of
from simkit.report.shown import shown
from simkit.runs.found import JOB_FILE, job_paths
from simkit.runs.options import Wish
from simkit.runs.outputs import check_outputs, write_outputs
from simkit.runs.watched_files import State, changed_names, files_of, state_of

INTERVAL = 1.0  # s between two looks
_RANGE = (0.1, 3600.0)


def add_watch(commands) -> None:
    """Add the command to the parsers of a command line."""
    watch = commands.add_parser(
        "watch",
        help="check again whenever a program, mesh or job file changes",
        description=(
            "Check a job file, or every job.toml below a folder, now and again whenever the job file, one of "
            "its programs or its mesh has changed; say in one line what is new, worse, better and gone. "
            "Ctrl-C ends it."
        ),
        allow_abbrev=False,
    )
    watch.add_argument("input", metavar="JOB.toml | FOLDER", help="what to watch")
    watch.add_argument("--interval", metavar="S", help="seconds between two looks (default 1)")
    watch.add_argument("--cell", type=str, metavar="MM", help="edge of a field cell (default 0.2 mm)")
    watch.add_argument("--json", type=Path, metavar="FILE", help="write the results as JSON anew each time")
    watch.add_argument("--junit", type=Path, metavar="FILE", help="write JUnit XML anew each time")
    watch.add_argument("--sarif", type=Path, metavar="FILE", help="write SARIF 2.1.0 anew each time")
    watch.add_argument("--pictures", type=Path, metavar="DIR", help="draw the pictures anew each time")
    watch.add_argument(
        "--report", type=Path, metavar="FILE.html", help="write the report of one job anew each time"
    )


def run_watch(options: argparse.Namespace, cell: float) -> int:
    """Watch until interrupted: it never returns by itself.  Raises InputProblems, KeyboardInterrupt."""
    seconds = _interval(options.interval)
    where = Path(options.input)
    _jobs(where)  # what cannot be watched is refused at once
    names = ("json", "junit", "sarif", "pictures", "report")
    wish = Wish(**{name: getattr(options, name) for name in names})
    if wish.report and where.is_dir():
        place = Place("command line", key="--report")
        found, expected = "--report for a folder", "one job, for a report tells one"
        raise InputProblems(Problem(place, found, expected, "watch that job by its file"))
    check_outputs(wish)
    watcher = Watcher(where, cell, wish)
    print(f"watching {where} (Ctrl-C ends it)", file=sys.stderr, flush=True)
    watch(watcher, seconds, time.sleep)
    return 0


def watch(watcher: Watcher, seconds: float, sleep: Callable[[float], None]) -> None:
    """Look, wait, and look again, until `sleep` (or a check) raises."""
    while True:
        watcher.look()
        sleep(seconds)


@dataclass
class _Watched:
    """A job under watch.

    files: what it depends on.  seen: their state at the last look.  checked: their state before the last
    check, None before the first.  record: of the last check.  result: the last that could be made.
    """

    files: tuple[Path, ...]
    seen: State | None = None
    checked: State | None = None
    record: dict[str, Any] | None = None
    result: dict[str, Any] | None = None


@dataclass
class Watcher:
    """Looks at jobs and checks those whose files have changed and are no longer changing.

    where: a job file or a folder.  cell: mm.  wish: the files to write after each check.
    say(path, words, names, record): told of each check, and of a job that is gone (record None).  complain:
    told the problems of bad input.
    """

    where: Path
    cell: float
    wish: Wish
    say: Callable[[Path, str, list[str], dict[str, Any] | None], None] = field(default=None)
    complain: Callable[[InputProblems], None] = field(default=None)
    _jobs: dict[Path, _Watched] = field(default_factory=dict)
    _gone: dict[Path, _Watched] = field(default_factory=dict)

    def __post_init__(self):
        self._is_folder = self.where.is_dir()  # it stays what it was, should it go away
        self.say, self.complain = self.say or _say, self.complain or _tell

    def look(self) -> None:
        """Look at all files once; check what has changed since and stood still since the look before."""
        paths = [self.where]  # a single job that is gone is told as one that cannot be used
        if self._is_folder:
            try:
                paths = _jobs(self.where)
            except InputProblems:  # the last job of the folder is gone, perhaps for a moment
                paths = []
        has_news = False
        for path in [one for one in self._jobs if one not in paths]:
            self._gone[path] = replace(self._jobs.pop(path), seen=None, checked=None, record=None)
            self.say(path, "is gone; it is checked again when it comes back", [], None)
            has_news = True
        for path in paths:
            has_news |= self._look_at(path)
        if has_news:
            records = [job.record for job in self._jobs.values() if job.record is not None]
            try:
                write_outputs(self.wish, records, self._is_folder)
            except InputProblems as problems:  # a full disk today need not be full tomorrow
                self.complain(problems)

    def _look_at(self, path: Path) -> bool:
        job = self._jobs.setdefault(path, self._gone.pop(path, None) or _Watched((path,)))
        job.files = files_of(path, job.files)
        now, before = state_of(job.files), job.seen
        job.seen = now
        is_first = job.checked is None
        # The first check waits for nothing: what changes meanwhile is checked again.
        if now == job.checked or (not is_first and now != before):
            return False
        names = [] if is_first else changed_names(now, job.checked)
        job.checked, old = now, job.record
        job.record = self._check(path)
        self.say(path, told(job.record, old, job.result), names, job.record)
        if "verdict" in job.record:
            job.result = job.record
        return True

    def _check(self, path: Path) -> dict[str, Any]:
        """Return the record of a check; a bad file, or a fault of simkit, is told and ends nothing."""
        from simkit.job.reader import read_job
        from simkit.report.console import Console
        from simkit.runs.many import picture_folders
        from simkit.runs.one import checked
        from simkit.runs.unchecked import fault, keep_traceback, unusable

        pictures = self.wish.pictures
        if pictures is not None and self._is_folder:
            jobs = list(self._jobs)
            pictures = pictures / picture_folders(jobs)[jobs.index(path)]
            pictures.mkdir(parents=True, exist_ok=True)
        try:
            job = read_job(path)
            with Console(quiet=not sys.stderr.isatty()).progress() as progress:
                report = self._write_report if self.wish.report else None
                return checked(job, self.cell, progress, pictures=pictures, report=report)
        except InputProblems as problems:
            self.complain(problems)
            return unusable(str(path), problems)
        except Interrupted:
            raise
        except Exception:
            return fault(str(path), keep_traceback())

    def _write_report(self, evidence, result: dict[str, Any]) -> None:
        from simkit.report.page.page import write_report

        write_report(self.wish.report, evidence, result)


def checks(
    where: Path, cell: float, seconds: float, sleep=time.sleep
) -> Iterator[tuple[Path, str, dict[str, Any]]]:
    """Yield path, words on what changed, and record of each check, as long as it is asked.

    Raises InputProblems for what cannot be watched; bad input later is in the record.
    """
    _jobs(where)
    news: list[tuple[Path, str, dict[str, Any]]] = []

    def say(path: Path, words: str, _: list[str], record: dict[str, Any] | None) -> None:
        if record is not None:
            news.append((path, words, record))

    watcher = Watcher(where, cell, Wish(), say, lambda problems: None)
    while True:
        watcher.look()
        yield from news
        news.clear()
        sleep(seconds)


def _say(path: Path, words: str, names: list[str], _: dict[str, Any] | None) -> None:
    because = f" ({', '.join(names)} changed)" if names else ""
    if not shown(lambda: print(f"{time.strftime('%H:%M:%S')} {path}{because}: {words}")):
        raise KeyboardInterrupt  # nobody listens any more


def told(record: dict[str, Any], old: dict[str, Any] | None, result: dict[str, Any] | None) -> str:
    """Return in one line what changed in the verdict.

    record: of the check.  old: of the one before, None before the first.  result: the last that could be
    made, perhaps some bad files ago, None when there is none.
    """
    if "verdict" not in record:
        return record["sentence"]
    sentence = lengths_of(record).text(record["verdict"]["sentence"])
    if result is None:
        return sentence
    from simkit.report.forms import FAILING
    from simkit.runs.against import compared

    found = compared(record, result, frozenset(FAILING), "")
    gone = sum(row["now"] is None for row in found["better"])
    counts = {
        "new": len(found["new"]),
        "worse": len(found["worse"]),
        "better": len(found["better"]) - gone,
        "gone": gone,
    }
    words = ", ".join(f"{count} {word}" for word, count in counts.items() if count)
    if words:
        return f"{words}. {sentence}"
    is_same = record["verdict"]["status"] == result["verdict"]["status"]
    back = "can be used again; " if old is None or "verdict" not in old else ""
    return f"{back}nothing new, worse, better or gone. {sentence}" if is_same else f"{back}{sentence}"


def _tell(problems: InputProblems) -> None:
    for line in problems.lines():
        print(line, file=sys.stderr, flush=True)


def _jobs(where: Path) -> list[Path]:
    """Return the job files to watch.  Raises InputProblems when there is none."""
    place = Place("command line")
    if where.suffix.lower() == ".toml" and not where.is_dir():
        if not where.exists():
            found, remedy = f"no file '{where}'", "correct the path, or let simkit draft write one"
            raise InputProblems(Problem(place, found, "a job file", remedy))
        return [where]
    if not where.is_dir():
        found = f"'{where}'" if where.exists() else f"no folder '{where}'"
        remedy = f"name a job file or a folder with {JOB_FILE} in it or below"
        raise InputProblems(Problem(place, found, "a job file (.toml) or a folder of jobs", remedy))
    return job_paths([str(where)]) or []


def _interval(text: str | None) -> float:
    if text is None:
        return INTERVAL
    try:
        seconds = float(text)
    except ValueError:
        seconds = 0.0
    low, high = _RANGE
    if not low <= seconds <= high:
        place = Place("command line", key="--interval")
        expected = f"seconds from {low:g} to {high:g}"
        raise InputProblems(Problem(place, f"'{text}'", expected, "write it like --interval 2"))
    return seconds
