"""Lines on the blank, asked for in words, along which it is shown cut open.  Needs nothing heavy."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from simkit.errors import InputProblems, Place, Problem
from simkit.job.model import Blank, Job
from simkit.units import length_mm

OPTION = "--section"
_LIKE = 'X,Y to X,Y, such as "20,45 to 260,45" or "1in,2in to 10in,2in"'
_UNIT_AT_END = re.compile(r"""[\d/.]\s*([a-z"]+)$""", re.IGNORECASE)
MOST = 20  # sections of one check
SHORTEST = 1.0  # mm


@dataclass(frozen=True)
class SectionLine:
    """A straight line in plan from start to end (x, y) mm, blank frame, within the blank."""

    start: tuple[float, float]
    end: tuple[float, float]

    @property
    def length(self) -> float:
        """Return how long it is, mm."""
        return math.hypot(self.end[0] - self.start[0], self.end[1] - self.start[1])


def section_lines(texts: Sequence[str], job: Job) -> list[SectionLine]:
    """Return the lines that words such as "20,45 to 260,45" mean, each cut off at the blank's edges.

    Numbers are in the job's unit unless they carry one; a unit behind the last number alone counts for all.
    x from the left end, y from the front edge of the blank with side 1 up.
    Raises InputProblems with all that cannot be used.
    """
    problems: list[Problem] = []
    lines = []
    place = Place("command line", key=OPTION)
    if len(texts) > MOST:
        found = f"{len(texts)} sections"
        raise InputProblems(Problem(place, found, f"at most {MOST} of them", "ask for fewer at a time"))
    for text in texts:
        try:
            lines.append(_within(_ends(text, job.unit), job.blank, text))
        except InputProblems as wrong:
            problems += wrong.problems
    if problems:
        raise InputProblems(problems)
    return lines


def _problem(found: str, expected: str, remedy: str) -> InputProblems:
    return InputProblems(Problem(Place("command line", key=OPTION), found, expected, remedy))


def _ends(text: str, unit: str) -> list[tuple[float, float]]:
    places = [place.split(",") for place in re.split(r"\bto\b", text.strip(), flags=re.IGNORECASE)]
    if len(places) != 2 or any(len(place) != 2 for place in places):
        raise _problem(f"'{text}'", _LIKE, "write two places with the word to between them")
    words = [word.strip() for place in places for word in place]
    units = [found[1] if (found := _UNIT_AT_END.search(word)) else "" for word in words]
    if units[3] and not any(units[:3]):
        words = [*(f"{word} {units[3]}" for word in words[:3]), words[3]]
    try:
        x0, y0, x1, y1 = (length_mm(word, unit) for word in words)
    except ValueError as reason:
        raise _problem(f"{reason} in '{text}'", _LIKE, "write lengths, with or without a unit") from None
    return [(x0, y0), (x1, y1)]


def _within(ends: list[tuple[float, float]], blank: Blank, text: str) -> SectionLine:
    """Return the part of the line over the blank."""
    (x0, y0), (x1, y1) = ends
    low, high = 0.0, 1.0
    for start, way, size in ((x0, x1 - x0, blank.length), (y0, y1 - y0, blank.width)):
        if way == 0:
            if not 0 <= start <= size:
                low, high = 1.0, 0.0
            continue
        first, last = sorted((-start / way, (size - start) / way))
        low, high = max(low, first), min(high, last)
    if (high - low) * math.hypot(x1 - x0, y1 - y0) < SHORTEST:
        sizes = f"{blank.length:g} x {blank.width:g} mm"
        raise _problem(
            f"'{text}', less than {SHORTEST:g} mm of which lies over the blank",
            f"a line across the blank of {sizes}",
            "measure x from the left end and y from the front edge, side 1 up",
        )
    at = [(x0 + part * (x1 - x0), y0 + part * (y1 - y0)) for part in (low, high)]
    return SectionLine(at[0], at[1])
