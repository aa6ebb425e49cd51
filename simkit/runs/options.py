"""The options of a check that a build asks for."""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path

from simkit.errors import InputProblems, Place, Problem
from simkit.runs.limits import NO_LIMITS, Most

_MEGABYTES = {"mb": 1.0, "gb": 1000.0}


@dataclass(frozen=True)
class Wish:
    """What is asked of a check beside the job and its cells.

    json, junit, sarif, report, keep_field: files.  pictures: folder.  against: a stored result.
    sections: lines in words, of report.section_line.
    jobs: how many side by side, None: as many as there are cores.
    """

    json: Path | None = None
    junit: Path | None = None
    sarif: Path | None = None
    report: Path | None = None
    keep_field: Path | None = None
    pictures: Path | None = None
    sections: tuple[str, ...] = ()
    against: Path | None = None
    jobs: int | None = None
    strict: bool = False
    fresh: bool = False
    quiet: bool = False
    accept: bool = False
    most: Most = NO_LIMITS


def add_options(group) -> None:
    """Add the options to a group of an argparse parser."""
    group.add_argument(
        "--junit", type=Path, metavar="FILE", help="write JUnit XML, a case for each limit and job"
    )
    group.add_argument("--sarif", type=Path, metavar="FILE", help="write SARIF 2.1.0, for code-review pages")
    group.add_argument(
        "--against", type=Path, metavar="RESULT.json", help="fail only for what is new or worse than in it"
    )
    group.add_argument("--strict", action="store_true", help="warnings fail, too")
    group.add_argument("--fresh", action="store_true", help="cut again, even if nothing has changed")
    group.add_argument("--jobs", metavar="N", help="how many jobs side by side (default: one for each core)")
    group.add_argument("--most-seconds", metavar="S", help="stop a job that takes longer")
    group.add_argument("--most-memory", metavar="MB", help='stop a job that needs more, such as "4 GB"')


def wish_of(options: argparse.Namespace) -> Wish:
    """Return what the options ask for.  Raises InputProblems with all that cannot be used."""
    problems: list[Problem] = []
    jobs = _number(options.jobs, "--jobs", "a whole number from 1 to 256", problems, 1, 256)
    if jobs is not None and jobs != int(jobs):
        found = f"'{options.jobs}'"
        problems.append(_problem("--jobs", found, "a whole number from 1 to 256", "write it like --jobs 2"))
    seconds = _number(
        options.most_seconds, "--most-seconds", "seconds from 0.1 to 1000000", problems, 0.1, 1e6
    )
    memory = _number(options.most_memory, "--most-memory", "MB from 1 to 1000000", problems, 1, 1e6)
    if options.section and options.pictures is None and options.report is None:
        found, expected = "--section alone", "--pictures or --report, in which to show it"
        problems.append(_problem("--section", found, expected, "add --pictures DIR"))
    if problems:
        raise InputProblems(problems)
    return Wish(
        json=options.json,
        junit=options.junit,
        sarif=options.sarif,
        report=options.report,
        keep_field=options.keep_field,
        pictures=options.pictures,
        sections=tuple(options.section),
        against=options.against,
        jobs=None if jobs is None else int(jobs),
        strict=options.strict,
        fresh=options.fresh,
        quiet=options.quiet,
        accept=options.accept,
        most=Most(seconds, memory),
    )


def _problem(option: str, found: str, expected: str, remedy: str) -> Problem:
    return Problem(Place("command line", key=option), found, expected, remedy)


def _number(
    text: str | None, option: str, expected: str, problems: list[Problem], low: float, high: float
) -> float | None:
    if text is None:
        return None
    words = text.strip().lower()
    factor = 1.0
    if option == "--most-memory":
        for unit, size in _MEGABYTES.items():
            if words.endswith(unit):
                words, factor = words.removesuffix(unit), size
    try:
        number = float(words) * factor
    except ValueError:
        number = float("nan")
    if not low <= number <= high:
        problems.append(_problem(option, f"'{text}'", expected, f"write it like {option} {max(low, 2):g}"))
        return None
    return number
