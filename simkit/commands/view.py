"""`simkit view`: a job checked and shown in a window of the desktop."""

from __future__ import annotations

import argparse
from pathlib import Path

from simkit.commands.words import cell_of
from simkit.errors import InputProblems, Place, Problem

MOST_STEP_CELLS = 250_000  # of the field behind a line: coarser than the check's, so that it comes at once


def add_view(commands) -> None:
    """Add the command to the parsers of a command line."""
    view = commands.add_parser(
        "view",
        help="look at a job in a window: findings, part, leftover, the wood at any line",
        description=(
            "Check a job and show it in a window of the desktop: the verdict, the findings with their "
            "pictures, the part cut open, and the wood as it stands at any line of the programs."
        ),
        allow_abbrev=False,
    )
    view.add_argument("job", metavar="JOB.toml", type=Path, help="the job file")
    view.add_argument("--cell", metavar="MM", help="edge of a field cell (default 0.2 mm)")


def run_view(options: argparse.Namespace) -> int:
    """Show the window until it is left; the exit status is that of the check."""
    cell = cell_of(options.cell)
    from simkit.job.reader import read_job

    job = read_job(options.job)
    from simkit.view.probe import why_no_window

    trouble = why_no_window()
    if trouble is not None:
        place = Place("simkit view", key="window")
        name = f"{options.job.stem}.html"
        words = (
            f"look at the 3-D view of the report instead: simkit check {options.job} --report {name}, "
            "then open it in a browser"
        )
        raise InputProblems(Problem(place, trouble, "a desktop with OpenGL on which to open a window", words))
    look = _look(job, cell)
    from simkit.report.verdict import status_of
    from simkit.view.window import Window

    Window(look).show()
    return status_of(look.result)


def _look(job, cell: float):
    """Return the Look of a job checked now."""
    from simkit.report.console import Console

    with Console().progress() as progress:
        progress.stage("reading the programs")
        from simkit.program.job_programs import read_programs

        reads = read_programs(job)
        from simkit.check import check
        from simkit.report.result import result_of
        from simkit.stock.field import blank_lattice
        from simkit.view.look import Look
        from simkit.view.steps import Steps
        from simkit.warm import warm_up

        warm_up(progress)
        evidence, findings, timings = check(job, reads, cell, progress)
        result = result_of(evidence, findings, timings)
    blank = job.blank
    coarse = max(cell, (blank.length * blank.width / MOST_STEP_CELLS) ** 0.5)
    return Look(evidence, result, Steps(job, reads, blank_lattice(blank.length, blank.width, coarse)))
