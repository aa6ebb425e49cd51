"""Whether a cutter has another diameter than the job states: one cause of what is off in many places."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from simkit.compare.deviation import Deviation
from simkit.compare.outline import OutlineStep
from simkit.compare.reach_options import COMMON_SIZES
from simkit.cutters import Cutter, faults
from simkit.stock.field import Field

SHAPES = ("flat", "ball", "bull-nose")  # whose diameter is all there is to mistake
MANY = 0.02  # of the cells of a side beyond their limits: fewer are faults of places
CURED = 0.2  # of them may remain with the other diameter
MOST_OFF = 2.0  # mm: what is off by more counts as this
AS_CLOSE = 0.05  # mm on the average: on the cells that are asked nearer is no better
RATIO = 3.0  # the largest mistake asked about
ALIKE = 0.02  # of the diameter: nearer to it nothing is mistaken


OUTER = 0  # stands for the outer wall where sides are numbered


@dataclass(frozen=True)
class OtherSize:
    """A cutter that seems to have another diameter than the job states.

    number: the cutter; stated, likely mm.  before, after {side: part}: of what is judged of each side, or of
    the OUTER wall, the part beyond the limits, as stated and with the likely diameter.  least, most mm: of
    the sizes asked that fit as well so far as the cells tell.  also: numbers of the job's cutters of that
    shape and size, one of which the programs may mean.
    """

    number: int
    stated: float
    likely: float
    before: dict[int, float]
    after: dict[int, float]
    least: float
    most: float
    also: tuple[int, ...]


@dataclass(frozen=True)
class Beyond:
    """What of one side, or of the outer wall, is beyond its limits.

    part: of what is judged, 0 to 1.  gouges, leftovers: rows of the moves that cut such cells, or next to
    them, one for each cell.  is_there, off (ny, nx): such cells, and how far each cell is off,
    mm, 0 where nothing is judged.
    """

    part: float
    gouges: np.ndarray
    leftovers: np.ndarray
    is_there: np.ndarray
    off: np.ndarray


def beyond(field: Field, found: Deviation, gouge: np.ndarray, leftover: np.ndarray) -> Beyond:
    """Return what of a side is surely beyond its limits.

    found: deviation of the side, on the lattice of the field.  gouge, leftover (ny, nx) mm: limits.
    """
    owner = field.upper_move if found.side == 1 else field.lower_move
    is_judged = np.isfinite(found.normal) & np.isfinite(gouge) & np.isfinite(leftover)
    off = np.where(is_judged, found.normal, 0.0)
    is_gouge, is_leftover = off < -gouge, off > leftover
    return _beyond(is_judged, is_gouge, is_leftover, np.abs(off), owner)


def beyond_wall(
    field: Field, steps: OutlineStep, is_part: np.ndarray, gouge: np.ndarray, leftover: np.ndarray
) -> Beyond:
    """Return what surely stands out from the outer wall, or is cut away behind it, farther than it may.

    As a part of its length.  steps: of compare.outline.  is_part, gouge, leftover (ny, nx): cells of the
    part, and limits mm; all on one lattice.  Holes have outer walls too.
    """
    cell = field.lattice.cell
    is_edge = is_part & ~ndimage.binary_erosion(is_part)
    is_leftover = steps.is_step & (steps.run > leftover + cell)
    behind = ndimage.distance_transform_edt(is_part, sampling=cell) - cell / 2
    is_cut = is_part & ~field.is_solid
    is_gouge = is_cut & (behind > gouge + cell)
    owner = np.maximum(field.upper_move, field.lower_move)
    off = np.where(steps.is_step, steps.run, np.where(is_cut, behind, 0.0))
    return _beyond(is_edge | steps.is_step, is_gouge, is_leftover, off, owner)


def _beyond(is_judged, is_gouge, is_leftover, off, owner) -> Beyond:
    count, is_there = np.count_nonzero(is_judged), is_gouge | is_leftover
    part = min(np.count_nonzero(is_there) / count, 1.0) if count else 0.0
    if (owner[is_there] < 0).any() and (owner >= 0).any():
        nearest = ndimage.distance_transform_edt(owner < 0, return_distances=False, return_indices=True)
        owner = owner[tuple(nearest)]
    rows = [owner[here & (owner >= 0)] for here in (is_gouge, is_leftover)]
    return Beyond(part, *rows, is_there, np.minimum(off, MOST_OFF))


def other_size(
    cutters: Mapping[int, Cutter],
    tool: np.ndarray,
    before: Mapping[int, Beyond],
    again: Callable[[Mapping[int, Cutter]], Mapping[int, Beyond]],
) -> OtherSize | None:
    """Return the cutter with whose other diameter nearly all comes to lie within the limits, None for none.

    cutters: as the job states them.  tool (n,): of each move.  before: of each side and the outer wall.
    again(cutters): the same with all cut by other cutters.
    Asked is the cutter that cut most of what is beyond the limits: narrower where that are gouges, wider
    where it is left over, by the sizes of the job's cutters, half and twice its own, and common sizes.  It
    is told where a size leaves at most CURED of it everywhere; of several the one that comes nearest to the
    part in the cells that are off, and of those as near, that of another cutter, or half or twice its own.
    """
    off = {side: one for side, one in before.items() if one.part > MANY}
    gouges, leftovers = (
        np.concatenate([tool[getattr(one, name)] for one in off.values()] or [np.empty(0, int)])
        for name in ("gouges", "leftovers")
    )
    numbers, counts = np.unique(np.concatenate([gouges, leftovers]), return_counts=True)
    if not len(numbers):
        return None
    cutter = cutters[int(numbers[counts.argmax()])]
    is_wide = np.count_nonzero(gouges == cutter.number) >= np.count_nonzero(leftovers == cutter.number)
    cured = []
    for made in _of_other_sizes(cutter, list(cutters.values()), is_wide):
        after = again({**cutters, cutter.number: made})
        if all(after[side].part <= CURED * one.part for side, one in off.items()):
            rest = float(np.mean(np.concatenate([after[side].off[off[side].is_there] for side in off])))
            cured.append((rest, made.diameter, after))
    if not cured:
        return None
    own, half = _others(cutters, cutter), {cutter.diameter / 2, cutter.diameter * 2}
    closest = min(rest for rest, _, _ in cured)
    close = [one for one in cured if one[0] <= closest + AS_CLOSE]
    _, likely, after = min(close, key=lambda one: (one[1] not in own, one[1] not in half, *one[:2]))
    sizes = [size for _, size, _ in close]
    sides = [side for side, one in before.items() if one.part > 0 and after[side].part <= CURED * one.part]
    parts = [{side: one[side].part for side in sides} for one in (before, after)]
    return OtherSize(
        cutter.number, cutter.diameter, likely, *parts, min(sizes), max(sizes), tuple(own.get(likely, ()))
    )


def _others(cutters: Mapping[int, Cutter], cutter: Cutter) -> dict[float, list[int]]:
    """Return the other cutters of a shape: diameter -> their numbers."""
    found: dict[float, list[int]] = {}
    for number, one in sorted(cutters.items()):
        if one.shape == cutter.shape and number != cutter.number:
            found.setdefault(one.diameter, []).append(number)
    return found


def _of_other_sizes(cutter: Cutter, cutters: Sequence[Cutter], is_wide: bool) -> list[Cutter]:
    """Return a cutter in the sizes that it may have been mistaken for."""
    d = cutter.diameter
    if cutter.shape not in SHAPES:
        return []
    sizes = {d / 2, d * 2, *COMMON_SIZES, *(one.diameter for one in cutters)}
    made = []
    for size in sorted(sizes):
        is_asked = size < d * (1 - ALIKE) if is_wide else size > d * (1 + ALIKE)
        is_asked &= d / RATIO <= size <= d * RATIO
        if is_asked and not faults(cutter.shape, vars(cutter) | {"diameter": size, "cutting_length": None}):
            made.append(replace(cutter, diameter=size, cutting_length=None))
    return made
