"""Rows of steep walls: where the cut's wall stands, by the exact sweeps."""

from __future__ import annotations

import numpy as np

from simkit.budget.motion import Motion, SideHeights
from simkit.budget.rows import GOUGE, LEFTOVER, STEEP, Rows, make_rows
from simkit.compare.outline import HOLDING

SPACING = 0.8  # mm along a wall
MIDDLE, END = 0.5, 0.2  # of its height: levels, the second from both ends, but no farther in than
FARTHEST = 1.0  # mm, for corners look for their walls near them
REACH, SAMPLES = 1.5, 31  # mm either way along the normal, and places there
FINEST = 0.0005  # mm: a wall is bracketed this closely
LEAN = 0.7  # of a unit normal's height: flatter faces are no wall


def step_rows(evidence, motion: Motion, heights: SideHeights, other: SideHeights) -> list[Rows]:
    """Return rows of the walls that a side cuts: how far they stand off the part's walls.

    heights, other: of that side and of the other one.  A wall is looked for along the part's normal at
    three of its levels.  What stands out is leftover only where the other side did not take that level away.
    """
    side = heights.side
    place, level, outward, cell, is_outline = _places(evidence, side)
    if not len(place):
        return []
    plan = outward[:, :2] / np.maximum(np.linalg.norm(outward[:, :2], axis=1), 1e-9)[:, None]
    s, is_found = crossing(
        lambda which, along: heights.is_wood(
            np.column_stack([place[which] + along[:, None] * plan[which], level[which]])
        ),
        np.zeros(len(place)),
        REACH,
    )
    lean = np.linalg.norm(outward[:, :2], axis=1)
    lattice = evidence.field.lattice
    owner = evidence.field.upper_move if side == 1 else evidence.field.lower_move
    near = lattice.cell_at(*(place + 0.5 * lattice.cell * plan).T)
    row = owner[near]
    row = np.where(row >= 0, row, owner.ravel()[cell])
    is_found &= row >= 0
    gouge, leftover = (a.ravel()[cell] for a in evidence.zones.limits(lattice, side))
    left = evidence.zones.allowance(lattice, side)
    least, most = (0.0, 0.0) if left is None else left.reshape(2, -1)[:, cell]
    at = np.column_stack([place, level])
    lift = motion.lift[evidence.moves.setup[np.maximum(row, 0)]]
    beyond = place + (np.maximum(np.nan_to_num(s), 0.0) + np.minimum(leftover, REACH))[:, None] * plan
    stands = other.is_wood(np.column_stack([beyond, level])) & ~_is_held(evidence, place)
    parts = []
    for kind, way, value, limit, is_mine in (
        (GOUGE, -1.0, -(s * lean - least), gouge, is_found),
        (LEFTOVER, 1.0, s * lean - most, leftover, is_found & (stands | ~is_outline)),
    ):
        chosen = np.flatnonzero(is_mine & np.isfinite(limit))
        parts.append(
            make_rows(
                kind, side, at[chosen], value[chosen], limit[chosen],
                way * outward[chosen] * (side == motion.side),
                way * outward[chosen, 2:] * lift[chosen], outward[chosen], lift[chosen],
            )
        )  # fmt: skip
    return parts


def _is_held(evidence, place: np.ndarray) -> np.ndarray:
    """Return whether places (n, 2) of the outline lie so near to a tab or the frame that wood there holds."""
    from scipy import ndimage

    lattice, is_reached = evidence.field.lattice, evidence.outside.is_reached
    if not is_reached.any():
        return np.zeros(len(place), bool)
    away = ndimage.distance_transform_edt(~is_reached, sampling=lattice.cell)
    return away[lattice.cell_at(*place.T)] <= HOLDING + lattice.cell


def crossing(is_wood, about: np.ndarray, reach: float) -> tuple[np.ndarray, np.ndarray]:
    """Return where wood ends along lines, mm (n,) float64, and whether it does within reach (n,) bool.

    is_wood(which (k,), along (k,) mm) -> (k,) bool.  about (n,) mm: the end nearest to this is taken.
    Error: half of FINEST, where wood does not end twice between two of SAMPLES.
    """
    n = len(about)
    s = np.linspace(-reach, reach, SAMPLES)
    places = about[:, None] + s
    wood = is_wood(np.repeat(np.arange(n), SAMPLES), places.ravel()).reshape(n, SAMPLES)
    ends = wood[:, :-1] & ~wood[:, 1:]
    middle = (s[:-1] + s[1:]) / 2
    k = np.argmin(np.where(ends, np.abs(middle), np.inf), axis=1)
    is_found = ends[np.arange(n), k]
    rows = np.flatnonzero(is_found)
    inner, outer = places[rows, k[rows]], places[rows, k[rows] + 1]
    share = np.arange(1, 8) / 8
    while len(rows) and np.max(outer - inner) > FINEST:
        tried = inner[:, None] + (outer - inner)[:, None] * share
        wood = is_wood(np.repeat(rows, 7), tried.ravel()).reshape(-1, 7)
        first = np.cumprod(wood, axis=1).sum(axis=1)
        bounds = np.column_stack([inner, tried, outer])
        inner, outer = bounds[np.arange(len(rows)), first], bounds[np.arange(len(rows)), first + 1]
    found = np.full(n, np.nan)
    found[rows] = (inner + outer) / 2
    return found, is_found


def _levels(tall: np.ndarray) -> np.ndarray:
    """Return how far over the foot of walls of a height (n,) mm these are asked, (n, 3) mm."""
    end = np.minimum(END * tall, FARTHEST)
    return np.column_stack([end, MIDDLE * tall, tall - end])


def _places(evidence, side: int):
    """Return places on walls of the part: plan (n, 2), z (n,), normal (n, 3), cell (n,), is_outline (n,)."""
    lattice, grid = evidence.field.lattice, evidence.target_grid
    sign = 1.0 if side == 1 else -1.0
    mine = sign * evidence.envelopes.side(side)
    far = sign * evidence.envelopes.side(3 - side)  # where the part ends below its outline
    found = []
    for axis in (0, 1):
        for flip in (False, True):
            first, second = ([slice(None)] * 2 for _ in range(2))
            first[axis], second[axis] = slice(None, -1), slice(1, None)
            inner, outer = (second, first) if flip else (first, second)
            high, low = mine[tuple(inner)], mine[tuple(outer)]
            is_outline = np.isnan(low) & ~np.isnan(high)
            base = np.where(is_outline, far[tuple(inner)], low)
            iy, ix = np.nonzero(high - base > STEEP * lattice.cell)
            height = np.stack([base[iy, ix], high[iy, ix]])
            edge = is_outline[iy, ix]
            step = np.array([0, 1] if axis == 1 else [1, 0])
            iy_in, ix_in = iy + (step[0] if flip else 0), ix + (step[1] if flip else 0)
            way = np.array([step[1], step[0]]) * (-1.0 if flip else 1.0)
            found.append((iy_in, ix_in, height, edge, np.broadcast_to(way, (len(iy), 2))))
    iy, ix = (np.concatenate([one[k] for one in found]) for k in (0, 1))
    height = np.concatenate([one[2] for one in found], axis=1)
    edge = np.concatenate([one[3] for one in found])
    way = np.concatenate([one[4] for one in found])
    x, y = lattice.centre_of(iy, ix)
    # One of each short stretch, for each direction and each height.
    tile = max(SPACING, lattice.cell)
    key = np.column_stack([x // tile, y // tile, way, height[1] // 1.0, height[0] // 1.0])
    _, kept = np.unique(key, axis=0, return_index=True)
    iy, ix, x, y, height, edge, way = (
        iy[kept],
        ix[kept],
        x[kept],
        y[kept],
        height[:, kept],
        edge[kept],
        way[kept],
    )
    n, m = len(kept), 3
    each = np.repeat(np.arange(n), m)
    level = (height[0][:, None] + _levels(height[1] - height[0])).ravel()
    start = np.column_stack([x, y])

    def is_part(which, along):
        points = start[each[which]] + along[:, None] * way[each[which]]
        ends = grid.heights(points)
        top = ends[1] if side == 1 else -ends[0]
        return top > level[which]

    s, is_found = crossing(is_part, np.full(len(each), lattice.cell / 2), 1.5 * lattice.cell)
    chosen = np.flatnonzero(is_found)
    place = start[each[chosen]] + s[chosen, None] * way[each[chosen]]
    z = sign * level[chosen]
    corners = (
        grid.ordered[0][grid.nearest(np.column_stack([place, z]), side)]
        if len(chosen)
        else np.zeros((0, 3, 3))
    )
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    is_wall = np.abs(normal[:, 2]) < LEAN
    chosen, place, z, normal = chosen[is_wall], place[is_wall], z[is_wall], normal[is_wall]
    cell = (iy * lattice.nx + ix)[each[chosen]]
    return place, z, normal, cell, edge[each[chosen]]
