"""What of a job its cut hangs on, as plain data: written beside a field, and compared when it is taken up."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

import numpy as np

from simkit.cutters import Cutter
from simkit.job.model import Job, Setup
from simkit.job.steps import Step
from simkit.moves.table import Moves

FORM, VERSION = "simkit field", 1
ABOUT = "about.json"
# Of a cutter what does not change the field, nor what neck, shank and holder run into.
_NOT_CUT = ("number", "flutes", "chip_load", "plunge_angle", "slot_depth")
_COLUMNS = (
    "kind",
    "plane",
    "rapid",
    "start",
    "end",
    "centre",
    "sweep",
    "feed",
    "speed",
    "tool",
    "rests",
)


def blank_stated(job: Job) -> list[float]:
    """Return length, width and thickness of the blank, mm."""
    return [float(size) for size in (job.blank.length, job.blank.width, job.blank.thickness)]


def cutter_stated(cutter: Cutter) -> dict[str, Any]:
    """Return what a cutter cuts and runs into."""
    return _plain({name: value for name, value in asdict(cutter).items() if name not in _NOT_CUT})


def lie_stated(setup: Setup) -> dict[str, Any]:
    """Return how the blank lies in a setup, and where its zero is."""
    zero = {f"zero.{key}": value for key, value in asdict(setup.zero).items()}
    return _plain({"turn": setup.turn, "swing": setup.swing, **zero})


def reading_stated(job: Job, setup: Setup) -> dict[str, Any]:
    """Return what the moves of a setup's programs hang on beside their bytes.

    Words called harmless and a spindle switched by hand change no move.
    """
    return _plain(
        {
            "cutter": setup.cutter,
            "program_units": setup.program_units,
            "work_offsets": setup.work_offsets,
            "block_delete": job.block_delete,
            "arc_tolerance": job.arc_tolerance,
        }
    )


def step_stated(step: Step) -> dict[str, Any]:
    """Return what a step does to the blank."""
    told = ("density", "most_depth", "is_closed", "tool")
    return _plain({name: value for name, value in asdict(step).items() if name not in told})


def same_moves(one: Moves, other: Moves) -> bool:
    """Return whether two tables hold the same moves of the same lines."""
    return first_other(one, other) is None and np.array_equal(one.line, other.line)


def first_other(one: Moves, other: Moves) -> int | None:
    """Return the line of the first move of `one` that `other` has not in its place, None when there is none.

    Where `other` goes on longer it is that of its next move.  The lines they stand in may differ.
    """
    n = min(len(one), len(other))
    is_other = np.zeros(n, bool)
    for name in _COLUMNS:
        a, b = getattr(one, name)[:n], getattr(other, name)[:n]
        differs = (a != b) & ~((a != a) & (b != b))  # no feed is as good as none
        is_other |= differs.reshape(n, -1).any(axis=1)
    rows = np.flatnonzero(is_other)
    if len(rows):
        return int(one.line[rows[0]])
    if len(one) == len(other):
        return None
    return int((one if len(one) > n else other).line[n])


def _plain(value: Any) -> Any:
    """Return the value as it comes back from a file of JSON."""
    return json.loads(json.dumps(value))
