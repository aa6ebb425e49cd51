"""The blank cut open along any line: stock, what is left, the part, and how far the two lie apart."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

import numpy as np
from scipy.spatial import cKDTree

from simkit.findings.evidence import Evidence
from simkit.report.section_line import SectionLine


@dataclass(frozen=True)
class LineSection:
    """An upright cut through the blank along a line, mm.

    line: where.  along (n,): places on it, from its start, each in the middle of its share; step: between
    them.  lower, upper (n,): what is left, none where upper <= lower.  target_lower, target_upper (n,): the
    part, NaN where there is none.  proud (2, n), deep (2, n): of side 1 and side 2, how far the cut lies
    outside the part, or inside it, along the shortest way; NaN where it does not.  over (2, n), under (2, n):
    the limits there, inf where nothing is judged.  wood_lower, wood_upper (n,): what is left is wood between
    these, else resin; None without a pour.
    """

    line: SectionLine
    along: np.ndarray
    step: float
    lower: np.ndarray
    upper: np.ndarray
    target_lower: np.ndarray
    target_upper: np.ndarray
    proud: np.ndarray
    deep: np.ndarray
    over: np.ndarray
    under: np.ndarray
    wood_lower: np.ndarray | None = None
    wood_upper: np.ndarray | None = None

    @property
    def is_solid(self) -> np.ndarray:
        """Places that still hold wood (n,) bool."""
        return self.upper > self.lower

    @property
    def is_part(self) -> np.ndarray:
        """Places over the part (n,) bool."""
        return ~np.isnan(self.target_upper)


def cut_along(evidence: Evidence, line: SectionLine, count: int, low: float = 0.0, high: float | None = None):
    """Return the LineSection of the blank along a line, from low to high mm of it (None: its end).

    count: places.  Error: none of its own: heights are those of the swept cutters and of the target's
    triangles at these very places, distances those from the cut to the nearest triangle that looks to that
    side.  Where no wood is left over the part: how far the wood is in the plane of the cut, to `step`.
    """
    high = line.length if high is None else high
    step = (high - low) / count
    along = low + (np.arange(count) + 0.5) * step
    start, end = np.array(line.start), np.array(line.end)
    points = start + (end - start) * (along / line.length)[:, None]
    left = evidence.columns(points)
    lower, upper = left.lower, left.upper
    is_poured = evidence.field.wood_upper is not None
    wood = (left.wood_lower, left.wood_upper) if is_poured else (None, None)
    nothing = np.full(count, np.nan)
    target_lower, target_upper = nothing, nothing
    if evidence.target_grid is not None:
        target_lower, target_upper = evidence.target_grid.heights(points)
    over, under = _limits(evidence, points)
    grid = evidence.target_grid
    proud, deep = _apart(points, along, step, lower, upper, target_lower, target_upper, grid)
    return LineSection(
        line, along, step, lower, upper, target_lower, target_upper, proud, deep, over, under, *wood
    )  # fmt: skip


def runs(is_true: np.ndarray) -> list[np.ndarray]:
    """Return the indices of each unbroken run of true places."""
    return [
        np.array([index for index, _ in group])
        for flag, group in groupby(enumerate(is_true.tolist()), key=lambda item: item[1])
        if flag
    ]


def _limits(evidence: Evidence, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return how far wood may stand out and how deep it may be missing (2, n) mm; inf where not judged."""
    zones = evidence.zones
    over, under = np.empty((2, len(points))), np.empty((2, len(points)))
    for row, side in enumerate((1, 2)):
        rules = [zones.rules[0]] * len(points)
        if len(zones.rules) > 1:
            rules = [zones.rule_at((float(x), float(y)), side) for x, y in points]
        judged = [rule if rule.is_judged else None for rule in rules]
        over[row] = [np.inf if rule is None else rule.leftover + rule.finish_allowance for rule in judged]
        under[row] = [np.inf if rule is None else rule.gouge for rule in judged]
    if evidence.deviations:
        for row, side in enumerate((1, 2)):
            if side not in evidence.deviations:  # no setup cuts it
                over[row] = under[row] = np.inf
    return over, under


def _apart(points, along, step, lower, upper, target_lower, target_upper, grid):
    """Return `proud` and `deep` of a LineSection."""
    count = len(along)
    proud, deep = np.full((2, count), np.nan), np.full((2, count), np.nan)
    if grid is None:
        return proud, deep
    is_part, is_solid = ~np.isnan(target_upper), upper > lower
    for row, (mine, its, sense) in enumerate(((upper, target_upper, 1), (lower, target_lower, -1))):
        with np.errstate(invalid="ignore"):
            off = sense * (mine - its)
        for values, is_there in ((proud, off > 0), (deep, off < 0)):
            at = np.flatnonzero(is_part & is_solid & is_there)
            if len(at):
                on_cut = np.column_stack([points[at], mine[at]])
                values[row, at] = grid.distance(on_cut, row + 1, np.abs(off[at]))
    is_gone = is_part & ~is_solid
    if is_gone.any():
        wood = cKDTree(_outline(along, step, lower, upper, is_solid)) if is_solid.any() else None
        for row, its in enumerate((target_upper, target_lower)):
            at = np.column_stack([along, its])[is_gone]
            deep[row, is_gone] = np.inf if wood is None else wood.query(at)[0]
    return proud, deep


def _outline(along, step, low, high, is_there) -> np.ndarray:
    """Return points (m, 2) on the outline of columns: both ends of each, and their upright walls."""
    points = [np.column_stack([along, edge])[is_there] for edge in (low, high)]
    for here, there in ((is_there[:-1], is_there[1:]), (is_there[1:], is_there[:-1])):
        for wall in np.flatnonzero(here & ~there) + (here is not is_there[:-1]):
            z = np.arange(low[wall], high[wall], step)
            points.append(np.column_stack([np.full(len(z), along[wall]), z]))
    return np.concatenate(points)
