"""What a result holds of the steps between the setups, as types, part of `forms`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from simkit.job.steps import DOINGS
from simkit.report.table_forms import Place, told


@dataclass(frozen=True, slots=True)
class Opening:
    """Where resin runs out."""

    what: Literal["below", "edge", "under"] = told(
        "through the blank, over its edge, or into what was cut from the other side"
    )
    at: Place = told("its lowest place, blank frame")
    size: float = told("mm2; of an edge mm along it")
    depth: float = told("mm below the level of the resin")


@dataclass(frozen=True, slots=True)
class Step:
    """One thing done to the blank between setups."""

    number: int = told("from 1")
    do: Literal[DOINGS] = told("what is done")
    after: str = told("name of the setup")
    side: int = told("that lies up, or whose face is taken off")
    words: str = told("what it does, in words")
    volume: float = told("of the resin poured, or of what is taken off, mm3; sum at cell centres")
    bound: float = told("how far that may be off")
    mass: float | None = told("of the resin, g; None but for a pour")
    density: float | None = told("of the resin, kg/m3")
    deepest: float = told("deepest section of the resin, or the most that one place loses, mm")
    deepest_at: Place | None = told("where the resin is deepest, on its floor")
    most_depth: float | None = told("the deepest that may be poured at once")
    area: float | None = told("of the resin's surface, mm2")
    hollows: int | None = told("how many were filled")
    level: float | None = told("z of the resin's surface, mm, blank frame")
    openings: tuple[Opening, ...] = told("where it runs out; filled as if they were closed")
    face: float | None = told("z of the new face, mm, blank frame")
    narrower: float | None = told("mm by which rims of the resin draw in at most, known to a cell")
    thickness_after: float = told("between the faces of the blank, mm")
    size_after: tuple[float, float] = told("length and width of the blank, mm")


@dataclass(frozen=True, slots=True)
class Steps:
    """What is done to the blank between the setups and after the last."""

    rows: tuple[Step, ...] = told("in the order of the work")
    resin_left: float = told("of what is left, mm3")
    resin_bound: float = told("how far that may be off")
    bytes_per_cell: int = told("that a field takes: 16, and 8 more once resin was poured")
