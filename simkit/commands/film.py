"""`simkit film`: the cutting from above as a GIF."""

from __future__ import annotations

import argparse
from pathlib import Path

from simkit.commands.words import cell_of, print_text
from simkit.runs.films import check_film, write_film


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
    text = options.steps
    steps = check_film(options.film, int(text) if text.isascii() and text.isdigit() else text)
    from simkit.job.reader import read_job
    from simkit.program.job_programs import read_programs
    from simkit.report.console import Console

    job = read_job(options.job)
    with Console().progress() as progress:
        progress.stage("reading the programs")
        reads = read_programs(job)
        size = write_film(options.film, job, reads, steps, cell, progress)
    print_text(f"wrote {options.film}, {size / 1e6:.1f} MB")
    return 0
