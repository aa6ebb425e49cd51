"""Lengths, values and places in the words of the report: mm, or inches where the job speaks of inches."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np

from simkit.job.model import Job, Setup
from simkit.units import MM_PER_INCH, inch_words, measured_words

# A number directly before mm, not part of a word or of a longer number; "mm2" and "mm/min" are no lengths.
_MM = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?) mm(?![\w/])")


@dataclass(frozen=True)
class Lengths:
    """How lengths are written.  unit: of the job file; whatever is not "in" is told in mm."""

    unit: str = "mm"

    @property
    def is_inch(self) -> bool:
        """Whether the report speaks of inches."""
        return self.unit == "in"

    @property
    def name(self) -> str:
        """Return "in" or "mm"."""
        return "in" if self.is_inch else "mm"

    def size(self, mm: float) -> str:
        """Return a size without its unit: inches as a fraction where it is one, to 1/64."""
        return inch_words(mm) if self.is_inch else f"{round(mm, 2) + 0.0:g}"

    def sizes(self, *mm: float) -> str:
        """Return sizes one beside the other, with the unit."""
        return f"{' × '.join(self.size(one) for one in mm)} {self.name}"

    def place(self, mm: float) -> str:
        """Return a coordinate without its unit, to 0.1 mm or 0.001 in."""
        return f"{mm / MM_PER_INCH + 0.0:.3f}" if self.is_inch else f"{round(mm, 1) + 0.0:.1f}"

    def value(self, mm: float, bound: float | None = None, limit: float | None = None) -> str:
        """Return a measured value with its bound and unit, as `measured_words` has it.  limit: mm, too."""
        scale, digits = (MM_PER_INCH, 4) if self.is_inch else (1.0, 2)
        others = [None if one is None else one / scale for one in (bound, limit)]
        return measured_words(mm / scale, *others, self.name, digits)

    def text(self, words: str) -> str:
        """Return words of a finding, which speak of mm, with inches behind each length where needed."""
        if not self.is_inch:
            return words
        return _MM.sub(lambda found: f"{found[0]} ({float(found[1]) / MM_PER_INCH:.3f} in)", words)


def measured(row: dict[str, Any], lengths: Lengths) -> str:
    """Return the measured value of a finding with its bound and unit, "" when it has none."""
    value, bound, unit = row["value"], row["bound"], row["unit"]
    if value is None:
        return ""
    if unit == "mm":
        return lengths.value(value, bound, row["limit"])
    if not bound:
        return f"{round(value, 4):g} {unit}".rstrip()
    return measured_words(value, bound, row["limit"], unit)


def limit_of(row: dict[str, Any], lengths: Lengths) -> str:
    """Return the limit of a finding with its unit, "" when it has none."""
    limit = row["limit"]
    if limit is None:
        return ""
    if row["unit"] == "mm":
        return f"{limit / MM_PER_INCH:.4f} in" if lengths.is_inch else f"{limit:g} mm"
    return f"{limit:g} {row['unit']}".rstrip()


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


def program_place(row: dict[str, Any], lengths: Lengths) -> str:
    """Return the same place as the program counts it, in the unit of the report; "" when unknown."""
    if row["program_at"] is None:
        return ""
    return "X{} Y{} Z{} {}".format(*(lengths.place(value) for value in row["program_at"]), lengths.name)
