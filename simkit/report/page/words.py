"""Places of findings in the words of the report."""

from __future__ import annotations

from typing import Any

import numpy as np

from simkit.job.model import Job, Setup
from simkit.report.lengths import Lengths


def setup_of(row: dict[str, Any], job: Job) -> Setup | None:
    """Return the setup in which an operator sees the place of a finding, None when there is none."""
    named = [setup for setup in job.setups if setup.name == row["setup"]]
    if named:
        return named[0]
    if row["side"] is None:
        return job.setups[0] if job.setups else None
    up = 1 if row["side"] == 1 else -1
    return next((setup for setup in job.setups if setup.frame(job.blank).up == up), None)


def place_words(row: dict[str, Any], job: Job, lengths: Lengths) -> str:
    """Return where a finding is, as the operator sees the blank lying there, "" when it has no place."""
    if row["at"] is None:
        return ""
    setup = setup_of(row, job)
    if setup is None:
        x, y, z = row["at"]
        return f"x {lengths.place(x)}, y {lengths.place(y)}, z {lengths.place(z)} {lengths.name} in the blank"
    x, y, z = setup.lie(job.blank).inverse().apply(np.array(row["at"], np.float64))
    down = setup.body(job.blank).thickness - z
    name = lengths.name
    words = f"{lengths.place(x)} {name} from the left, {lengths.place(y)} {name} from the front, "
    if abs(down) < 0.05:
        words += "at the upper face"
    else:
        words += f"{lengths.place(abs(down))} {name} {'below' if down > 0 else 'above'} the upper face"
    side = f"side {row['side']}, " if row["side"] is not None else ""
    return f"{side}{words}, with the blank as it lies in ‘{setup.name}’"


def program_place(row: dict[str, Any], programs: dict[str, Lengths], lengths: Lengths) -> str:
    """Return the same place as the program counts it, in its own unit; "" when unknown.

    programs: of lengths.program_lengths.  lengths: of the report, for a file that is no program.
    """
    lengths = programs.get(row["file"], lengths)
    if row["program_at"] is None:
        return ""
    return "X{} Y{} Z{} {}".format(*(lengths.place(value) for value in row["program_at"]), lengths.name)
