"""Resin poured into what the cuts of one side opened: it stands level in every hollow it reaches.

Heights here are counted along the axis of the side that lies up, h = z or -z of the blank frame.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from simkit.job.steps import Body, Step
from simkit.stock.field import UNCUT, Field, Lattice, is_inside, volume_of

NO_DEPTH = 1e-3  # mm: less than this is the rounding of float32, and no hollow
AROUND = np.ones((3, 3), bool)  # resin runs past corners of cells, wood does not hold together across them
BELOW, EDGE, UNDER = "below", "edge", "under"


@dataclass(frozen=True, slots=True)
class Opening:
    """Where resin runs out of a hollow.

    what: BELOW (through the blank), EDGE (over the edge of the blank) or UNDER (into what was cut from the
    other side).  at (x, y, z) mm, blank frame: its lowest place.  size: mm2 in plan, of an edge mm along it.
    depth mm: of that place below the resin.
    """

    what: str
    at: tuple[float, float, float]
    size: float
    depth: float


@dataclass(frozen=True)
class Poured:
    """What a pour filled.

    up: +1 with side 1 up, -1 with side 2.  level mm: z of the resin blank frame.  rim mm: h below which
    a place is hollow.  body: the blank then.
    lattice, is_filled (ny, nx) bool: the cells that were filled.  is_near: these and all that touch them.
    is_through: those of them where the blank was cut through, so that the other face is resin too.
    volume, bound mm3: of the resin; summed at cell centres, bound as for the volume that is left.
    area mm2.  hollows: how many.  deepest mm, deepest_at (x, y, z) mm: the deepest section, its floor; it may
    be deeper between the cells by deepest_bound: by half of what the floor rises or falls beside it.
    thinnest mm, thinnest_at (x, y, z) mm: what is left least under the resin before it is poured, and the
    floor there; at cell centres, inf and None where all that it fills is cut through.
    openings: where it runs out; what is told here is filled as if they had been closed.
    """

    step: Step
    up: int
    level: float
    rim: float
    body: Body
    lattice: Lattice
    is_filled: np.ndarray
    is_near: np.ndarray
    is_through: np.ndarray
    volume: float
    bound: float
    area: float
    hollows: int
    deepest: float
    deepest_bound: float
    deepest_at: tuple[float, float, float] | None
    thinnest: float
    thinnest_at: tuple[float, float, float] | None
    openings: tuple[Opening, ...]

    @property
    def mass(self) -> float:
        """The mass of the resin, g."""
        return self.volume * self.step.density * 1e-6

    def near(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Return whether places x, y mm lie in or beside a filled cell, and on the blank."""
        iy, ix = self.lattice.cell_at(x, y)
        return self.is_near[iy, ix] & _is_on(self.body, x, y)

    def hollow(self, lower: np.ndarray, upper: np.ndarray, is_near: np.ndarray) -> np.ndarray:
        """Return which places are filled, bool; lower, upper mm: of what is left there before the pour."""
        surface = upper if self.up > 0 else -lower
        return is_near & ((surface < self.rim - NO_DEPTH) | (upper <= lower))


def pour(field: Field, step: Step, body: Body) -> tuple[Field, Poured]:
    """Return the field with resin in it, and what was filled.

    field: before the pour.  step: the pour.  body: the blank between its faces then.
    A hollow is a set of columns, joined across sides or corners of cells, whose surface lies below the
    level (with an overfill: below the face); with an outline only hollows that reach into it are filled.  A
    hollow that is open below or at the edge is filled all the same, and told: as if it had been closed there.
    Where the blank is cut through, resin begins at the lower face.
    Exact at cell centres; its outline is known to a cell.
    """
    lattice, up = field.lattice, step.up
    face = up * body.face(up)
    level = face - step.below if step.below is not None else face + step.over
    rim = level if step.below is not None else face
    surface = (field.upper if up > 0 else -field.lower).astype(np.float64)
    under = (-field.lower if up > 0 else field.upper).astype(np.float64)  # along the other side's axis
    x, y = np.meshgrid(lattice.x(), lattice.y())
    is_on = _is_on(body, x, y)
    is_open = is_on & ~field.is_solid
    is_hollow = is_open | (is_on & (surface < rim - NO_DEPTH))
    label, count = ndimage.label(is_hollow, AROUND)
    is_chosen = np.ones(count + 1, bool)
    if step.outline is not None:
        is_chosen[:] = False
        is_chosen[label[is_inside(lattice.x(), lattice.y(), step.outline)]] = True
    is_chosen[0] = False
    is_filled = is_chosen[label]
    floor = np.where(is_open, up * body.face(-up), surface)
    depth = np.where(is_filled, level - floor, 0.0)
    is_edge = is_filled & _is_at_edge(is_on)
    is_under = is_open & is_filled
    beside = ndimage.binary_dilation(is_under, AROUND) & field.is_solid & is_on
    other = -up * body.face(-up)
    beside &= under < other - NO_DEPTH
    openings = _openings(UNDER, beside, floor, level, lattice, up)
    if not step.is_closed:
        openings = [
            *_openings(BELOW, is_under, floor, level, lattice, up),
            *_openings(EDGE, is_edge & ~is_open, floor, level, lattice, up),
            *openings,
        ]
    volume, bound = volume_of(depth, lattice)
    worst = np.unravel_index(int(np.argmax(depth)), depth.shape)
    is_any = bool(is_filled.any())
    under_it = np.where(is_filled & field.is_solid, field.upper.astype(np.float64) - field.lower, np.inf)
    thin = np.unravel_index(int(np.argmin(under_it)), depth.shape)
    is_floor = bool(np.isfinite(under_it[thin]))
    poured = Poured(
        step=step,
        up=up,
        level=up * level,
        rim=rim,
        body=body,
        lattice=lattice,
        is_filled=is_filled,
        is_near=ndimage.binary_dilation(is_filled, AROUND),
        is_through=is_under,
        volume=volume,
        bound=bound,
        area=float(np.count_nonzero(is_filled)) * lattice.cell**2,
        hollows=int(np.count_nonzero(is_chosen)),
        deepest=float(depth[worst]) if is_any else 0.0,
        deepest_bound=_beside(depth, is_filled, worst) / 2 if is_any else 0.0,
        deepest_at=(float(x[worst]), float(y[worst]), float(up * floor[worst])) if is_any else None,
        thinnest=float(under_it[thin]),
        thinnest_at=(float(x[thin]), float(y[thin]), float(up * floor[thin])) if is_floor else None,
        openings=tuple(sorted(openings, key=lambda one: -one.depth)),
    )
    return fill(field, poured, is_filled), poured


def fill(field: Field, poured: Poured, is_filled: np.ndarray) -> Field:
    """Return the field with resin up to the level in some of its cells, bool (ny, nx)."""
    wood_lower, wood_upper = field.wood_lower, field.wood_upper
    if wood_upper is None:
        wood_lower = np.full(field.lattice.shape, -np.inf, np.float32)
        wood_upper = np.full(field.lattice.shape, np.inf, np.float32)
    is_open = is_filled & ~field.is_solid
    level, far = np.float32(poured.level), np.float32(poured.body.face(-poured.up))
    if poured.up > 0:
        lower = np.where(is_open, far, field.lower)
        floor = np.where(is_open, far, field.upper)
        return replace(
            field,
            lower=lower,
            upper=np.where(is_filled, level, field.upper),
            lower_move=np.where(is_open, np.int32(UNCUT), field.lower_move),
            upper_move=np.where(is_filled, np.int32(UNCUT), field.upper_move),
            wood_lower=wood_lower,
            wood_upper=np.where(is_filled, np.minimum(wood_upper, floor), wood_upper),
        )
    upper = np.where(is_open, far, field.upper)
    floor = np.where(is_open, far, field.lower)
    return replace(
        field,
        lower=np.where(is_filled, level, field.lower),
        upper=upper,
        lower_move=np.where(is_filled, np.int32(UNCUT), field.lower_move),
        upper_move=np.where(is_open, np.int32(UNCUT), field.upper_move),
        wood_lower=np.where(is_filled, np.maximum(wood_lower, floor), wood_lower),
        wood_upper=wood_upper,
    )


def fill_again(field: Field, poured: Poured) -> Field:
    """Return a field on other cells after the same pour.

    Filled are the hollow places in and beside the cells that were filled: exact at cell centres, but for
    another hollow within a cell of a filled one.
    """
    x, y = np.meshgrid(field.lattice.x(), field.lattice.y())
    return fill(field, poured, poured.hollow(field.lower, field.upper, poured.near(x, y)))


def _beside(depth: np.ndarray, is_filled: np.ndarray, cell: tuple) -> float:
    """Return by how much the depth differs at most from a cell to the filled ones round it, mm."""
    iy, ix = (int(k) for k in cell)
    box = np.s_[max(iy - 1, 0) : iy + 2, max(ix - 1, 0) : ix + 2]
    return float(np.abs(depth[box] - depth[iy, ix])[is_filled[box]].max())


def _is_on(body: Body, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return whether places lie on the blank."""
    return (x > body.low[0]) & (x < body.high[0]) & (y > body.low[1]) & (y < body.high[1])


def _is_at_edge(is_on: np.ndarray) -> np.ndarray:
    """Return the cells of the blank that have a side on its edge."""
    padded = np.pad(is_on, 1)
    inner = padded[:-2, 1:-1] & padded[2:, 1:-1] & padded[1:-1, :-2] & padded[1:-1, 2:]
    return is_on & ~inner


def _openings(what: str, is_open, floor, level: float, lattice: Lattice, up: int) -> list[Opening]:
    """Return the openings of one sort; is_open (ny, nx) bool: their cells.  floor mm: h of what is there."""
    label, _ = ndimage.label(is_open, AROUND)
    found = []
    for number, box in enumerate(ndimage.find_objects(label), 1):
        mine = label[box] == number
        low = np.where(mine, floor[box], np.inf)
        if what == EDGE:
            row, column = np.unravel_index(int(np.argmin(low)), low.shape)
        else:  # all as deep: its middle says more than its first cell
            rows, columns = np.nonzero(mine)
            k = int(np.argmin((rows - rows.mean()) ** 2 + (columns - columns.mean()) ** 2))
            row, column = rows[k], columns[k]
        iy, ix = box[0].start + int(row), box[1].start + int(column)
        cells = int(np.count_nonzero(mine))
        found.append(
            Opening(
                what,
                (float(lattice.x()[ix]), float(lattice.y()[iy]), float(up * floor[iy, ix])),
                cells * (lattice.cell if what == EDGE else lattice.cell**2),
                float(level - low[row, column]),
            )
        )
    return found
