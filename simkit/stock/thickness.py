"""A face of the blank taken to a thickness: all that stands over a plane goes, wood and resin alike."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from simkit.job.steps import Body, Step
from simkit.stock.field import UNCUT, Field, Lattice, volume_of
from simkit.stock.pour import AROUND, NO_DEPTH

LEAN = 2.0  # a rim that leans less than 63 degrees from upright draws in by no more than this for each mm


@dataclass(frozen=True, slots=True)
class Lost:
    """A place where something is gone with the face: cells, area mm2, at (x, y, z) mm, box, blank frame.

    at: where it reached deepest, on its floor.  depth mm: how deep it was there below the old face.
    is_whole: nothing at all is left of that pocket.
    """

    at: tuple[float, float, float]
    box: tuple[float, float, float, float]
    cells: int
    area: float
    depth: float
    is_whole: bool


@dataclass(frozen=True)
class Thicknessed:
    """What a step to a thickness took.

    up: +1 for side 1, -1 for side 2.  face mm: z of the new face, blank frame.  before, body: the blank
    before and after it.  lattice: the cells it was computed on.
    volume, bound mm3: taken, summed at cell centres.  deepest mm: the most that one column lost.
    resin_lost, carving_lost: where resin of that side, or what was cut into it, is gone wholly.
    narrower mm: by how much the rims of what is left of the resin draw in at most, known to a cell.
    """

    step: Step
    up: int
    face: float
    before: Body
    body: Body
    lattice: Lattice
    volume: float
    bound: float
    deepest: float
    resin_lost: tuple[Lost, ...]
    carving_lost: tuple[Lost, ...]
    narrower: float


def thickness(field: Field, step: Step, before: Body) -> tuple[Field, Thicknessed]:
    """Return the field with one face taken off, and what went.

    field: before the step.  before: the blank between its faces then.
    Exact at cell centres.  In a blank that is too thin for it, only what stands over that height goes.
    Gone is resin farther from what is left of it than LEAN times the depth taken:
    nearer, it is a rim that draws in.
    """
    up, lattice = step.up, field.lattice
    body = before.after(step)
    face = before.low[2] + step.thickness if up > 0 else before.high[2] - step.thickness
    after = take(field, up, face)
    depth = _columns(field) - _columns(after)
    volume, bound = volume_of(depth, lattice)
    old = up * before.face(up)
    down = old - up * face
    had, has = field.is_resin(step.side), after.is_resin(step.side)
    floor = _floor(field, up)
    rim = had & ~has & (floor < old - NO_DEPTH)
    far, narrower = _far(rim, has, down, lattice.cell)
    surface = (field.upper if up > 0 else -field.lower).astype(np.float64)
    was_cut = field.is_solid & ~had & (surface < old - NO_DEPTH)
    is_cut = (was_cut & (surface < up * face - NO_DEPTH)) | ~after.is_solid
    carved, _ = _far(was_cut & ~is_cut, is_cut | has, down, lattice.cell)
    return after, Thicknessed(
        step=step,
        up=up,
        face=face,
        before=before,
        body=body,
        lattice=lattice,
        volume=volume,
        bound=bound,
        deepest=float(depth.max(initial=0.0)),
        resin_lost=_lost(far, had, has, floor, old, lattice, up, False),
        carving_lost=_lost(carved, was_cut, is_cut, surface, old, lattice, up, True),
        narrower=narrower,
    )


def take(field: Field, up: int, face: float) -> Field:
    """Return the field without what stands over a face at z mm, blank frame."""
    face = np.float32(face)
    if up > 0:
        is_taken = field.upper > face
        return replace(
            field,
            upper=np.where(is_taken, face, field.upper),
            upper_move=np.where(is_taken, np.int32(UNCUT), field.upper_move),
        )
    is_taken = field.lower < face
    return replace(
        field,
        lower=np.where(is_taken, face, field.lower),
        lower_move=np.where(is_taken, np.int32(UNCUT), field.lower_move),
    )


def _columns(field: Field) -> np.ndarray:
    return np.where(field.is_solid, field.upper.astype(np.float64) - field.lower, 0.0)


def _floor(field: Field, up: int) -> np.ndarray:
    """Return where resin of a side begins, h mm (ny, nx); where there is none, the surface."""
    if field.wood_upper is None:
        return (field.upper if up > 0 else -field.lower).astype(np.float64)
    if up > 0:
        return np.clip(field.wood_upper, field.lower, field.upper).astype(np.float64)
    return -np.clip(field.wood_lower, field.lower, field.upper).astype(np.float64)


def _far(is_gone: np.ndarray, is_left: np.ndarray, down: float, cell: float) -> tuple[np.ndarray, float]:
    """Return which of what is gone lay far from what is left, and how far the rest reached, mm."""
    if not is_gone.any():
        return is_gone, 0.0
    if not is_left.any():
        return is_gone, 0.0
    away = ndimage.distance_transform_edt(~is_left) * cell
    is_far = is_gone & (away > LEAN * down + 1.5 * cell)
    near = away[is_gone & ~is_far]
    return is_far, float(near.max(initial=0.0))


def _lost(is_gone, had, has, floor, old: float, lattice: Lattice, up: int, is_cut: bool) -> tuple[Lost, ...]:
    """Return the places that are gone, the largest first.

    had, has (ny, nx) bool: where something was and is.  is_cut: it was cut; what reaches the blank's edge is
    then a face that was cut down, and no pattern.
    """
    whole, _ = ndimage.label(had, AROUND)
    is_kept = np.zeros(whole.max() + 1, bool)
    is_kept[whole[has & had]] = True
    label, _ = ndimage.label(is_gone, AROUND)
    found = []
    for number, box in enumerate(ndimage.find_objects(label), 1):
        rows, columns = box
        at_edge = rows.start == 0 or columns.start == 0
        at_edge |= rows.stop == lattice.ny or columns.stop == lattice.nx
        if is_cut and at_edge:
            continue
        mine = label[box] == number
        low = np.where(mine, floor[box], np.inf)
        row, column = np.unravel_index(int(np.argmin(low)), low.shape)
        iy, ix = rows.start + int(row), columns.start + int(column)
        x0, y0 = lattice.origin
        cells = int(np.count_nonzero(mine))
        found.append(
            Lost(
                at=(float(lattice.x()[ix]), float(lattice.y()[iy]), float(up * low[row, column])),
                box=(
                    x0 + columns.start * lattice.cell,
                    y0 + rows.start * lattice.cell,
                    x0 + columns.stop * lattice.cell,
                    y0 + rows.stop * lattice.cell,
                ),
                cells=cells,
                area=cells * lattice.cell**2,
                depth=float(old - low[row, column]),
                is_whole=not is_kept[whole[iy, ix]],
            )
        )
    return tuple(sorted(found, key=lambda one: -one.area))
