"""A film written to a file: what the command line and Python share."""

from __future__ import annotations

from pathlib import Path

from simkit.errors import InputProblems, Place, Problem
from simkit.runs.outputs import check_json

LEAST_STEPS, MOST_STEPS = 2, 400


def check_film(path: Path, steps: int | str) -> int:
    """Return the steps of a film that can be written to a path.  Raises InputProblems."""
    check_json(path, "FILE.gif")
    if isinstance(steps, str) or not LEAST_STEPS <= steps <= MOST_STEPS:
        place = Place("command line", key="--steps")
        expected = f"a whole number from {LEAST_STEPS} to {MOST_STEPS}"
        raise InputProblems(Problem(place, f"'{steps}'", expected, "write it like --steps 60"))
    return steps


def write_film(path: Path, job, reads, steps: int, cell: float, progress) -> int:
    """Draw the film of a job that was read and write it; return its bytes.  Raises InputProblems."""
    from simkit.check import job_lattice
    from simkit.report.whole_file import write_whole_bytes
    from simkit.view.film import film_of
    from simkit.view.steps import Steps
    from simkit.warm import warm_up

    lattice = job_lattice(job, cell)
    warm_up(progress)
    progress.stage("cutting and drawing")
    film = film_of(Steps(job, reads, lattice), steps, progress.fraction)
    write_whole_bytes(path, film, "FILE.gif")
    return len(film)
