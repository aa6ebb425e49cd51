"""Whether a whole side lies off its place, by proof: cut again without the shift, it must come right."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from simkit.compare.deviation import Deviation
from simkit.compare.offset import SideOffset
from simkit.stock.field import Field

LEFT = 1 / 3  # of what is beyond the limits may remain, by area times how far beyond
LEFT_AREA = 0.75  # by area: walls that are known to a cell stay off a little along their whole length
LEFT_WITHIN = 0.25  # of all that is off, within the limits too
MOST_OFF = 10.0  # limits: what is off by more counts as this
FAIR = 0.05  # of the cells a side cut: less of them in one piece by one cutter has no say
WORSE = 0.1  # limits on the average: rounding and cells


@dataclass(frozen=True)
class SideCut:
    """One side as it is cut.

    off (ny, nx): how far each cell is off as a part of its limit, to 1 within it, 0 where nothing is judged.
    owner (ny, nx): row of the move that cut it, below 0 where none did.
    """

    off: np.ndarray
    owner: np.ndarray


def side_cut(field: Field, found: Deviation, gouge: np.ndarray, leftover: np.ndarray) -> SideCut:
    """Return a side with its deviation held against its limits, mm (ny, nx), all on one lattice."""
    owner = field.upper_move if found.side == 1 else field.lower_move
    is_judged = np.isfinite(found.normal) & np.isfinite(gouge) & np.isfinite(leftover)
    normal = np.where(is_judged, found.normal, 0.0)
    limit = np.where(is_judged, np.where(normal < 0, gouge, leftover), 1.0)
    return SideCut(np.minimum(np.abs(normal) / np.maximum(limit, 1e-6), MOST_OFF), owner)


def proved_offsets(
    offsets: Sequence[SideOffset],
    again: Callable[[Mapping[int, tuple[float, float, float]]], Mapping[int, SideCut]],
    run: np.ndarray,
    farther: Callable[[int], SideOffset | None] = lambda side: None,
) -> list[SideOffset]:
    """Return shifts of sides, those that are not the cause of what is off told as refuted.

    again({side: shift mm, blank frame}): the sides as they are cut with these shifts taken back, on the same
    cells each time.  run (n,): of each move, alike for those of one cutter in one setup.
    farther(side): a larger shift, asked where a small one is refuted; None for none.
    Of several sides those that do not come right are dropped first, and the others asked once more.
    """
    told = list(offsets)
    if not any(one.is_the_cause for one in told):
        return told
    before = again({})
    while claimed := [one for one in told if one.is_the_cause]:
        after = again({one.side: one.shift for one in claimed})
        wrong = [one for one in claimed if not explains(before[one.side], after[one.side], run)]
        if not wrong:
            break
        told = [_next(one, farther) if one in wrong else one for one in told]
    return told


def _next(refuted: SideOffset, farther: Callable[[int], SideOffset | None]) -> SideOffset:
    """Return the shift to ask of a side next; where there is none, the refuted one, marked so."""
    other = farther(refuted.side) if not refuted.rough else None
    is_new = other is not None and other.rough and other.is_the_cause
    return other if is_new else replace(refuted, is_refuted=True)


def explains(before: SideCut, after: SideCut, run: np.ndarray) -> bool:
    """Return whether a side comes right by a shift: as a whole, and no piece of it the worse for it.

    before, after: as cut and with the shift taken back.  run: as for `proved_offsets`.
    A piece is what one cutter cut in one setup and what hangs together.  One that was right without the shift
    shows that the side is not off: a cutter, or a place, is.  It is held against its limits, as a cutter that
    leaves some more on purpose is off by less of what it may leave than a gouge is.
    """
    beyond = [np.maximum(one.off - 1.0, 0.0) for one in (before, after)]
    area = [np.count_nonzero(one) for one in beyond]
    if area[1] > LEFT_AREA * area[0] or beyond[1].sum() > LEFT * beyond[0].sum():
        return False
    if after.off.sum() > LEFT_WITHIN * before.off.sum():
        return False  # it spreads what is off until each cell bears it
    least = max(FAIR * np.count_nonzero(before.owner >= 0), 1)
    of_run = np.where(before.owner >= 0, run[before.owner], -1)
    for one in np.unique(of_run[of_run >= 0]):
        pieces, count = ndimage.label(of_run == one)
        numbers = np.arange(1, count + 1)
        size = np.bincount(pieces.ravel(), minlength=count + 1)[1:]
        was, now = (ndimage.mean(cut.off, pieces, numbers) for cut in (before, after))
        if ((size >= least) & (now > was + WORSE)).any():
            return False
    return True
