"""How lengths and measured values are written: mm, or inches where the job speaks of inches."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

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
    """Return the measured value of a finding with its bound and unit, "" when it has none.

    What a program states itself (speeds, feeds for each tooth) stands as it is.
    """
    value, bound, unit, limit = row["value"], row["bound"], row["unit"], row.get("limit")
    if value is None:
        return ""
    if unit == "mm":
        return lengths.value(value, bound, limit)
    if not bound:
        return f"{round(value, 4):g} {unit}".rstrip()
    return measured_words(value, bound, limit, unit)


def limit_of(row: dict[str, Any], lengths: Lengths) -> str:
    """Return the limit of a finding with its unit, "" when it has none."""
    limit = row["limit"]
    if limit is None:
        return ""
    if row["unit"] == "mm":
        return f"{limit / MM_PER_INCH:.4f} in" if lengths.is_inch else f"{limit:g} mm"
    return f"{limit:g} {row['unit']}".rstrip()
