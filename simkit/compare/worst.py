"""The worst of many cells without measuring all: what lies near a measured one is not much farther off."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from simkit.compare.both_ways import BothWays
from simkit.stock.field import Field
from simkit.target.envelope import Envelopes
from simkit.target.grid import TargetGrid

if TYPE_CHECKING:
    from simkit.compare.deviation import CutSurface

STEPS = (4, 2, 1)  # cells between those that are measured, first to last
SAME = 2e-4  # mm: what is less than the worst by no more than this is told too
MIDDLE = ((0.5, 0.5),)
BOTH_ENDS = ((1.0, 0.0), (0.0, 1.0))


def worst_two_way(
    flat: np.ndarray,
    field: Field,
    envelopes: Envelopes,
    grid: TargetGrid,
    side: int,
    vertical: np.ndarray,
    surfaces: Sequence[CutSurface],
    group: np.ndarray,
    shares: Sequence[tuple[float, float]],
) -> tuple[np.ndarray, np.ndarray]:
    """Return the two-way distance where it is the worst of its group, its least and its most, mm (k,).

    flat, field, envelopes, grid, side, vertical, surfaces: as for `two_way`.  group (k,) int, from 0: which
    cells are one group; those of one are all gouges or all not.  shares: how much of the least and of the
    most counts; a cell whose sum is the largest of its group for one of these, or less than it by up to SAME,
    has its two-way distance, exactly as `two_way` tells it.  All others are NaN, unless they were measured
    anyway.  From one point of the target to another the distance to the cut changes by at most the distance
    between them: cells that are thereby less than the worst are left out.
    """
    both = BothWays(flat, field, envelopes, grid, side, vertical, surfaces)
    ends = np.full((2, len(flat)), np.nan)
    # At most this, at each end; and at least this for the largest of the group, by each of the shares.
    most = np.maximum(both.to_target, both.size) * np.ones((2, 1))
    least = np.full((len(shares), int(group.max(initial=-1)) + 1), -np.inf)
    weights = np.array(shares)
    for score in range(len(shares)):
        np.maximum.at(least[score], group, weights[score].sum() * both.to_target)
    place = np.column_stack([both.x, both.y, both.target])
    iy, ix = np.divmod(flat, field.lattice.nx)
    is_known_height = field.is_solid.ravel()[flat]  # else its own column says nothing of how near the cut is
    row_of = np.full(field.lattice.shape, -1, np.int64)
    row_of[iy, ix] = np.arange(len(flat))
    for step in STEPS:
        is_mine = np.isnan(ends[0]) & (weights @ most >= least[:, group] - SAME).any(axis=0)
        if step > 1:
            is_mine &= (iy % step == step // 2) & (ix % step == step // 2)
        rows = np.flatnonzero(is_mine)
        if len(rows):
            for end, is_least in enumerate((True, False)):
                ends[end, rows] = np.maximum(both.to_target[rows], both.to_cut(rows, is_least))
            most[:, rows] = ends[:, rows]
            for score in range(len(shares)):
                np.maximum.at(least[score], group[rows], weights[score] @ ends[:, rows])
        if step > 1:
            near = row_of[
                np.minimum(iy // step * step + step // 2, field.lattice.ny - 1),
                np.minimum(ix // step * step + step // 2, field.lattice.nx - 1),
            ]
            near = np.where(near >= 0, near, 0)
            is_near = ~np.isnan(ends[0, near]) & (group[near] == group) & is_known_height[near]
            mine = np.flatnonzero(is_near & np.isnan(ends[0]))
            away = np.linalg.norm(place[mine] - place[near[mine]], axis=1)
            most[:, mine] = np.minimum(
                most[:, mine], np.maximum(both.to_target[mine], ends[:, near[mine]] + away)
            )
    return np.copysign(ends[0], vertical), np.copysign(ends[1], vertical)
