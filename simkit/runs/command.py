"""`simkit check`: one job told in full, or many in a table; the exit status of either."""

from __future__ import annotations

import _thread
import os
import sys
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from simkit.errors import InputProblems, Place, Problem
from simkit.job.model import Job
from simkit.report.section_line import section_lines
from simkit.report.shown import shown, wrote
from simkit.report.verdict import status_of
from simkit.runs.against import stored_for, stored_results
from simkit.runs.judged import judged
from simkit.runs.kept import files_of
from simkit.runs.limits import Watch
from simkit.runs.one import LOOKED_UP, checked
from simkit.runs.options import Wish, wish_of
from simkit.runs.outputs import check_outputs, write_outputs

__all__ = ["check_many", "check_one", "wish_of"]

LAST_WAIT = 10.0  # s that a check beyond its limits has to end by itself


def check_one(job: Job, cell: float, wish: Wish) -> int:
    """Check one job, tell all of it, and return the exit status.  Raises InputProblems."""
    check_outputs(wish, [*([Path(job.file)] if job.file else []), *files_of(job)])
    lines = section_lines(wish.sections, job)
    stored = None if wish.against is None else stored_results(wish.against)
    from simkit.report.console import Console

    def report(evidence, result: dict[str, Any]) -> None:
        from simkit.report.page.page import write_report

        write_report(wish.report, evidence, _judged(result, wish, stored, True))

    unkept: list[InputProblems] = []

    def keep(evidence) -> None:
        from simkit.fields.keep import keep_field

        try:
            keep_field(wish.keep_field, evidence)
        except InputProblems as problems:  # the check is done: its verdict is told first
            unkept.append(problems)

    console = Console(quiet=wish.quiet)
    stop = _Stop()
    try:
        with Watch(wish.most, stop), console.progress() as progress:
            result = checked(
                job,
                cell,
                progress,
                pictures=wish.pictures,
                fresh=wish.fresh,
                report=report if wish.report else None,
                keep=keep if wish.keep_field else None,
                lines=lines,
            )
    except KeyboardInterrupt:
        if not stop.words:
            raise
    if stop.words:
        stop.timer.cancel()
        print(stop.words, file=sys.stderr)
        return 2
    result = _judged(result, wish, stored, True)
    write_outputs(wish, [result], False)
    _tell_written(wish, len(result["pictures"]))
    shown(lambda: _show_one(console, result, wish))
    for problems in unkept:
        raise problems
    return status_of(result)


def _tell_written(wish: Wish, pictures: int) -> None:
    """Say on standard error which files were written; --quiet leaves that out."""
    if wish.quiet:
        return
    for path in (wish.report, wish.keep_field, wish.json, wish.junit, wish.sarif):
        if path is not None:
            wrote(path)
    if wish.pictures is not None:
        wrote(wish.pictures, f"{pictures} picture{'' if pictures == 1 else 's'} in")


def _show_one(console, result: dict[str, Any], wish: Wish) -> None:
    if LOOKED_UP in result["timings"] and not wish.quiet:
        print("unchanged, so not cut again (--fresh cuts it again)", file=sys.stderr)
    console.show(result)
    if wish.accept:
        print(accept_text(result))


def check_many(paths: Sequence[Path], cell: float, wish: Wish) -> int:
    """Check many job files, tell them in one table, and return one exit status.  Raises InputProblems."""
    check_outputs(wish, paths)
    if wish.sections:
        place = Place("command line", key="--section")
        found, expected = "--section for several jobs", "one job, for a line lies on one blank"
        raise InputProblems(Problem(place, found, expected, "check each job by itself for its sections"))
    if wish.report:
        place = Place("command line", key="--report")
        found, expected = "--report for several jobs", "one job, for a report tells one"
        raise InputProblems(Problem(place, found, expected, "check each job by itself for its report"))
    if wish.keep_field:
        place = Place("command line", key="--keep-field")
        found, expected = "--keep-field for several jobs", "one job, for a field is of one blank"
        raise InputProblems(Problem(place, found, expected, "check each job by itself for its field"))
    stored = None if wish.against is None else stored_results(wish.against)
    from simkit.report.many_console import ManyConsole
    from simkit.runs.crew import cores
    from simkit.runs.many import Orders, check_all

    console = ManyConsole(wish.quiet)
    orders = Orders(cell, wish.jobs or cores(), wish.fresh, wish.pictures, wish.most)
    with console.progress(len(paths)) as watch:
        results = check_all(paths, orders, watch)
    results = [_judged(result, wish, stored, len(paths) == 1) for result in results]
    write_outputs(wish, results, True)
    _tell_written(wish, sum(len(result.get("pictures", ())) for result in results))
    shown(lambda: _show_many(console, results, wish))
    return max(status_of(result) for result in results)


def _show_many(console, results: Sequence[dict[str, Any]], wish: Wish) -> None:
    from simkit.report.junit import problem_line

    for result in results:
        for problem in result.get("problems", []):
            print(f"{result['job']['file']}: {problem_line(problem)}", file=sys.stderr)
    console.show(results)
    if wish.accept:
        for result in results:
            if "findings" in result:
                print(f"# {result['job']['file']}\n{accept_text(result)}\n")


def _judged(
    result: dict[str, Any], wish: Wish, stored: Sequence[dict[str, Any]] | None, is_alone: bool
) -> dict[str, Any]:
    if "verdict" not in result:
        return result
    then = None if stored is None else stored_for(result["job"]["file"], stored, is_alone)
    if stored is not None and then is None:
        words = f"{wish.against} has no result of this job: every finding counts"
        result = result | {"remarks": [*result["remarks"], words]}
    return judged(result, wish.strict, then, str(wish.against))


class _Stop:
    """Ends a check beyond its limits: by an interruption first, by force when that takes too long."""

    def __init__(self):
        self.words = ""
        self.timer = threading.Timer(LAST_WAIT, self._force)
        self.timer.daemon = True

    def __call__(self, words: str) -> None:
        self.words = f"stopped: {words}; nothing is known of the job"
        self.timer.start()
        _thread.interrupt_main()

    def _force(self) -> None:
        print(self.words, file=sys.stderr, flush=True)
        os._exit(2)


def accept_text(result: dict[str, Any]) -> str:
    """Return the lines to paste into the job file, each finding's with its number and words above."""
    parts = [
        f"# {row['number']}: {row['message']}\n{row['accept']}" for row in result["findings"] if row["accept"]
    ]
    return "\n\n".join(parts) if parts else "# nothing to accept"
