"""`simkit film`: the cutting from above as a GIF."""

from __future__ import annotations

import argparse
from pathlib import Path

from simkit.commands.words import cell_of, print_text
from simkit.errors import InputProblems, Place, Problem
from simkit.runs.outputs import check_json

MOST_STEPS = 400


def add_film(commands) -> None:
    """Add the command to the parsers of a command line."""
    film = commands.add_parser(
        "film",
        help="draw the cutting from above as a film, a GIF",
        description="Draw the blank from above at steps of the programs, as a GIF.  Judges nothing.",
        allow_abbrev=False,
    )
    film.add_argument("job", metavar="JOB.toml", type=Path, help="the job file")
    film.add_argument("film", metavar="FILE.gif", type=Path, help="where to write it")
    film.add_argument("--steps", metavar="N", default="60", help="how many steps (default 60)")
    film.add_argument("--cell", metavar="MM", default="0.4", help="edge of a field cell (default 0.4 mm)")


def run_film(options: argparse.Namespace) -> int:
    """Write the film; 0 when it is there."""
    cell = cell_of(options.cell)
    check_json(options.film, "FILE.gif")
    text = options.steps
    if not (text.isascii() and text.isdigit() and 2 <= int(text) <= MOST_STEPS):
        place = Place("command line", key="--steps")
        expected = f"a whole number from 2 to {MOST_STEPS}"
        raise InputProblems(Problem(place, f"'{text}'", expected, "write it like --steps 60"))
    from simkit.job.reader import read_job
    from simkit.program.job_programs import read_programs
    from simkit.report.console import Console

    job = read_job(options.job)
    with Console().progress() as progress:
        progress.stage("reading the programs")
        reads = read_programs(job)
        from simkit.check import job_lattice
        from simkit.report.whole_file import write_whole_bytes
        from simkit.view.film import film_of
        from simkit.view.steps import Steps
        from simkit.warm import warm_up

        lattice = job_lattice(job, cell)
        warm_up(progress)
        progress.stage("cutting and drawing")
        film = film_of(Steps(job, reads, lattice), int(text), progress.fraction)
        write_whole_bytes(options.film, film, "FILE.gif")
    print_text(f"{options.film}: {len(film) / 1e6:.1f} MB")
    return 0
