"""Second looks: cells whose range of deviation straddles a limit are cut again on finer cells.

At a step (an upright wall) a sample says little of what lies between it and the next: the step may be
anywhere between two cell centres.  There the range `normal` to `most` of a deviation is wide.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy import ndimage

from simkit.compare.between import Unproved
from simkit.compare.closer import measured
from simkit.compare.deviation import CutSurface, Deviation, _vertical
from simkit.compare.worst import BOTH_ENDS, worst_two_way
from simkit.stock.field import Field, Lattice
from simkit.target.envelope import Envelopes, envelopes
from simkit.target.grid import TargetGrid

DIVIDE = 16  # fine cells to a cell
BLOCK = 4  # cells along the edge of a block that is cut again in one go
STEEP = 4.0  # rise per cell: beyond it (76 degrees) the two-way distance of a sample tells too little
BESIDE = 2.0  # mm: so near to a spot beyond its limit all is one spot
MARGIN = 1  # cells around a block, so that a step at its rim is seen


def second_look(
    deviation: Deviation,
    field: Field,
    target: np.ndarray,
    grid: TargetGrid,
    recut: Callable[[Lattice], Field],
    gouge: float | np.ndarray,
    leftover: float | np.ndarray,
    zone: np.ndarray | None = None,
    allowance: Callable[[Lattice], np.ndarray | None] | None = None,
    unproved: Callable[[bool, np.ndarray], Unproved] | None = None,
    unclear: np.ndarray | None = None,
) -> Deviation:
    """Return the deviation with every straddling cell replaced by the worst of its finer cells.

    deviation: of `field` against the target of `grid`, whose surface on this side is `target` (ny, nx)
    mm, NaN outside the outline.  recut(lattice): the same job on other cells.
    gouge, leftover mm: the limits, one or for each cell (ny, nx), +inf where nothing is judged.
    zone (ny, nx): which cells are judged together, None for all.  allowance(lattice): what is left on
    purpose, as for `deviation`.  unproved(is_gouge, cells (ny, nx) bool): where among them between the
    samples that limit may be broken (`between`), None to trust the samples.  Of the cells that do not
    straddle, those within BESIDE of a spot beyond that limit are not asked: its peak is looked for by
    `peaks`.
    unclear (ny, nx) bool: cells of which that proof does not tell all, None for none.
    A cell straddles a limit when |normal| is within and |most| beyond it.
    So are cells beside an upright step of the target: the cut may miss it by less than a cell, and no
    sample would show it.  Cells that hang together with one that is beyond for certain are left as they are.
    Where it is proved that neither limit is broken no finer cells are cut: `most` is no more than the limit.
    Nor where the proof met a place beyond one: that is what the cell holds, and its peak is for `peaks`.
    A cell so looked at holds the worst value on cells of a sixteenth (`normal`, the least that is
    certain there, and `most`); what still straddles has a range of up to 2.9 fine cells.  Where these show
    nothing beyond a limit, and the target was seen to be farther from the cut at a place, `most` is that.
    A cell holds one value but may be beyond both limits: what it does not show so stands in `rims`.
    """
    gouge = np.broadcast_to(np.asarray(gouge, float), target.shape)
    leftover = np.broadcast_to(np.asarray(leftover, float), target.shape)
    limit = np.where(deviation.normal < 0, gouge, leftover)
    is_straddling = (np.abs(deviation.most) > limit) | _is_steep(target, deviation.lattice.cell)
    is_straddling &= np.isfinite(gouge) | np.isfinite(leftover)
    is_beyond = np.abs(deviation.normal) > limit
    is_open = np.zeros(target.shape, bool)
    for mine in [True] if zone is None else [zone == number for number in np.unique(zone)]:
        is_open |= _is_open(is_straddling & mine, is_beyond)
    normal, most = deviation.normal.copy(), deviation.most.copy()
    seen: list[tuple] = []
    if unproved is not None:
        is_clear = ~np.isnan(target) if unclear is None else ~np.isnan(target) & ~unclear
        is_asked, is_left, share = is_open & is_clear, is_open & ~is_clear, np.ones(target.shape)
        for is_gouge, most_allowed in ((True, gouge), (False, leftover)):
            is_spot = is_beyond & ((deviation.normal < 0) == is_gouge)
            others = ~is_open & ~beside(is_spot, field.lattice.cell) & ~np.isnan(target)
            found = unproved(is_gouge, is_asked | others)
            met, met_at = found.largest_at()
            met = np.where(is_clear, met, 0.0)
            is_worst = met > share * most_allowed
            share[is_worst] = met[is_worst] / np.maximum(most_allowed[is_worst], 1e-9)
            normal[is_worst] = -met[is_worst] if is_gouge else met[is_worst]
            is_left |= found.is_found & (met == 0.0)
            away = np.where(is_clear, found.away, 0.0)
            is_met = (met > most_allowed)[..., None]
            seen.append((is_gouge, most_allowed, met, away, np.where(is_met, met_at, found.away_at)))
        is_met = share > 1.0
        most[is_met] = np.copysign(np.maximum(np.abs(normal), np.abs(most)), normal)[is_met]
        is_proved = is_asked & ~is_left & ~is_met
        most[is_proved] = np.clip(most, -gouge, leftover)[is_proved]
        is_open = is_left & ~is_met
    if not is_open.any():
        return replace(deviation, normal=normal, most=most, rims=_not_shown(most, seen))
    ny, nx = deviation.lattice.shape
    rows, columns = np.nonzero(is_open)
    coarse = CutSurface(field, deviation.side)
    for block in np.unique(rows // BLOCK * (nx // BLOCK + 1) + columns // BLOCK):
        iy, ix = block // (nx // BLOCK + 1) * BLOCK, block % (nx // BLOCK + 1) * BLOCK
        box = (
            max(iy - MARGIN, 0),
            min(iy + BLOCK + MARGIN, ny),
            max(ix - MARGIN, 0),
            min(ix + BLOCK + MARGIN, nx),
        )
        window = deviation.lattice.window(*box, divide=DIVIDE)
        fine = recut(window)
        around = envelopes(grid, window)
        surfaces = (coarse.without(box), CutSurface(fine, deviation.side))
        here = is_open[box[0] : box[1], box[2] : box[3]]
        is_near = np.repeat(np.repeat(here, DIVIDE, axis=0), DIVIDE, axis=1)
        left = None if allowance is None else allowance(window)
        if left is None:
            least, largest = _worst_of_each(fine, around, grid, deviation.side, is_near, surfaces)
        else:
            least, largest = measured(fine, around, grid, deviation.side, is_near, surfaces, left)
        for y, x in zip(*np.nonzero(here), strict=True):
            inside = (
                slice(y * DIVIDE, (y + 1) * DIVIDE),
                slice(x * DIVIDE, (x + 1) * DIVIDE),
            )
            cell = (box[0] + y, box[2] + x)
            normal[cell] = _worst(least[inside], gouge[cell], leftover[cell])
            most[cell] = _worst(largest[inside], gouge[cell], leftover[cell])
    rims = _not_shown(most, seen)
    # What is narrower than the finer cells is not seen on them either: a knife's edge that is gone.
    is_within = is_open & (np.abs(most) <= np.where(most < 0, gouge, leftover))
    for is_gouge, _, _, away, _ in reversed(seen):  # of both in one cell `most` is the gouge
        rows = is_within & (away > 0)
        most[rows] = -away[rows] if is_gouge else away[rows]
    return replace(deviation, normal=normal, most=most, rims=rims)


def _not_shown(most: np.ndarray, seen: list[tuple]) -> dict:
    """Return what of cells was seen beyond a limit that their `most` (ny, nx) mm does not show: `rims`.

    seen: for each kind is_gouge, its limits (ny, nx) mm, the largest that was met, how far off the target was
    seen to be where that is beyond, both (ny, nx) mm, and the place in plan (ny, nx, 2).
    """
    rims = {}
    for is_gouge, limit, met, away, at in seen:
        off = np.maximum(met, away)
        is_hidden = (off > limit) & ((-most if is_gouge else most) <= limit)
        for iy, ix in np.argwhere(is_hidden):
            place = tuple(float(v) for v in at[iy, ix])
            rims[(int(iy), int(ix), is_gouge)] = (place, float(off[iy, ix]))
    return rims


def _worst_of_each(
    fine: Field,
    around: Envelopes,
    grid: TargetGrid,
    side: int,
    is_near: np.ndarray,
    surfaces: tuple[CutSurface, ...],
) -> tuple[np.ndarray, np.ndarray]:
    """Return what `measured` does, at those fine cells that may be the worst of their kind in their cell."""
    vertical = np.where(is_near, _vertical(fine, around, side), np.nan)
    flat = np.flatnonzero(~np.isnan(vertical))
    iy, ix = np.divmod(flat, fine.lattice.nx)
    group = 2 * (iy // DIVIDE * fine.lattice.nx + ix // DIVIDE) + (vertical.ravel()[flat] < 0)
    _, group = np.unique(group, return_inverse=True)
    found = worst_two_way(flat, fine, around, grid, side, vertical.ravel()[flat], surfaces, group, BOTH_ENDS)
    ends = tuple(np.full(vertical.shape, np.nan) for _ in range(2))
    for end, values in zip(ends, found, strict=True):
        end.ravel()[flat] = values
    return ends


def beside(is_spot: np.ndarray, cell: float) -> np.ndarray:
    """Return the cells of spots and those within BESIDE of them, bool (ny, nx); cell: their edge, mm."""
    if not is_spot.any():
        return is_spot
    return ndimage.distance_transform_edt(~is_spot) * cell <= BESIDE


def _is_open(is_straddling: np.ndarray, is_beyond: np.ndarray) -> np.ndarray:
    """Return the straddling cells that hang together with none that is beyond its limit for certain.

    What does hang together with such a cell is part of that spot.
    """
    label, count = ndimage.label(is_straddling, np.ones((3, 3)))
    is_settled = np.zeros(count + 1, bool)
    is_settled[label[is_beyond & is_straddling]] = True
    is_settled[0] = True
    return ~is_settled[label]


def _is_steep(target: np.ndarray, cell: float) -> np.ndarray:
    """Return the cells from which the target rises or falls steeply to a neighbour (ny, nx) bool."""
    is_steep = np.zeros(target.shape, bool)
    for axis in (0, 1):
        jump = np.abs(np.diff(target, axis=axis))
        is_jump = jump > STEEP * cell  # NaN, the outline, compares false: `outline` looks there
        first, second = ([slice(None)] * 2 for _ in range(2))
        first[axis], second[axis] = slice(None, -1), slice(1, None)
        is_steep[tuple(first)] |= is_jump
        is_steep[tuple(second)] |= is_jump
    return is_steep


def _worst(values: np.ndarray, gouge: float, leftover: float) -> float:
    """Return the value that is farthest beyond its own limit, as a part of it; 0 without values."""
    is_value = ~np.isnan(values)
    if not is_value.any():
        return 0.0
    values = values[is_value]
    share = np.abs(values) / np.where(values < 0, max(gouge, 1e-9), max(leftover, 1e-9))
    return float(values[np.argmax(share)])
