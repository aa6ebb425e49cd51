"""One job checked: its result as plain data, from what was kept or cut now."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from simkit.job.model import Job
from simkit.runs.kept import keep_result, kept_result, key_of

LOOKED_UP = "looking up the kept result"  # a stage of the timings of a result that was not cut again


def checked(
    job: Job,
    cell: float,
    progress,
    *,
    pictures: Path | None = None,
    fresh: bool = False,
    report: Callable[[Any, dict[str, Any]], None] | None = None,
    keep: Callable[[Any], None] | None = None,
    lines: Sequence[Any] = (),
) -> dict[str, Any]:
    """Return the result of a job as plain data, as report.result gives it.

    cell: edge of a field cell, mm.  progress: has stage(name) and fraction(done).  pictures: folder to draw
    them in.  report(evidence, result) writes the report.  keep(evidence) keeps what stands after each setup.
    With any of these the job is cut in any case.
    lines: of report.section_line, along which pictures and report show it cut open.
    fresh: a kept result is not looked for.
    Nothing heavy is imported before it is known that something must be cut.  Raises InputProblems.
    """
    started = time.perf_counter()
    if not fresh and pictures is None and report is None and keep is None:
        result = kept(job, cell)
        if result is not None:
            return result
    key = key_of(job, cell)
    result = _cut(job, cell, progress, pictures, report, keep, key, lines)
    result["timings"]["total"] = round(time.perf_counter() - started, 4)
    return result


def kept(job: Job, cell: float) -> dict[str, Any] | None:
    """Return the kept result of an unchanged job, None when there is none."""
    started = time.perf_counter()
    key = key_of(job, cell)
    result = None if key is None else kept_result(key)
    if result is None:
        return None
    seconds = round(time.perf_counter() - started, 4)
    return result | {"timings": {LOOKED_UP: seconds, "total": seconds}}


def _cut(
    job: Job,
    cell: float,
    progress,
    pictures: Path | None,
    report,
    keep: Callable[[Any], None] | None,
    key: str | None,
    lines: Sequence[Any],
) -> dict[str, Any]:
    from simkit.program.job_programs import has_large_program, read_programs

    if has_large_program(job):  # read by compiled code, which may have to be compiled first
        from simkit.warm import warm_up_reading

        warm_up_reading(progress)
    progress.stage("reading the programs")
    reads = read_programs(job)  # before anything heavy is imported: most bad input ends here
    progress.stage("starting")
    from simkit.check import check
    from simkit.report.result import result_of
    from simkit.warm import warm_up

    warm_up(progress)
    evidence, findings, timings = check(job, reads, cell, progress)
    evidence.lines = list(lines)
    result = result_of(evidence, findings, timings)
    # Files that changed meanwhile would be kept under what they were before.
    if key is not None and key_of(job, cell) == key:
        keep_result(key, result)
    if keep is not None:
        progress.stage("keeping the field")
        keep(evidence)
    if pictures is not None:
        from simkit.report.pictures import draw_pictures

        progress.stage("drawing")
        result["pictures"], left_out = draw_pictures(pictures, evidence, result)
        result["remarks"] += left_out
    if report is not None:
        progress.stage("writing the report")
        report(evidence, result)
    return result
