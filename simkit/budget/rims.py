"""Rows of the upright walls that a side cuts beside sharp rims of the part.

The part has no wall there, it ends at the rim, so no row of a face asks it: but where such a wall is too far
in it takes the rim away, also where the faces beside it do not (corners.py puts them together).
"""

from __future__ import annotations

import numpy as np

from simkit.budget.motion import Motion, SideHeights
from simkit.budget.rows import GOUGE, Rows, lifts, make_rows
from simkit.budget.steps import crossing
from simkit.target.sharp import along_edges, outward_in_plan

# mm beside a rim: so near a wall is looked for; the nearer where a steep cut goes on beside it.
OUT = (0.5, 0.1)
LEAST = 0.1  # mm: what goes less deep under the rim is none
REACH = 1.0  # mm either way in plan
LEVELS = (0.25, 0.5, 0.75)  # of how deep it goes there: where it stands at each
EVEN = 0.02  # mm: these agree by as much


def rim_rows(evidence, motion: Motion, heights: dict[int, SideHeights]) -> list[Rows]:
    """Return rows of gouges by the walls that sides cut beside sharp rims: how far in these stand, mm.

    heights: of both sides.  Error: of `crossing`.
    """
    edges, lattice, parts = evidence.target_grid.sharp, evidence.field.lattice, []
    mine = edges[edges.is_rim]
    nth, rim = along_edges(mine.a, mine.b)
    plan = outward_in_plan(mine)[nth]
    for side, its in heights.items():
        if side not in evidence.deviations or not len(rim):
            continue
        sign = 1.0 if side == 1 else -1.0
        limit = evidence.zones.limits(lattice, side)[0][
            lattice.cell_at(*(rim - lattice.cell * plan)[:, :2].T)
        ]
        is_asked = np.isfinite(plan[:, 0]) & np.isfinite(limit)
        chosen, deep, stands, beside = _walls(its, sign, rim, plan, is_asked)
        at, out, limit = rim[chosen], plan[chosen], limit[chosen]
        owner = evidence.field.upper_move if side == 1 else evidence.field.lower_move
        lift = lifts(evidence, motion, side, owner[lattice.cell_at(*(at + beside[:, None] * out)[:, :2].T)])
        at = at - np.outer(LEVELS[1] * deep, [0.0, 0.0, sign])
        parts.append(
            make_rows(
                GOUGE, side, at, -stands, limit, -out * (side == motion.side),
                np.zeros_like(lift), out, lift,
            )
        )  # fmt: skip
    return parts


def _walls(its: SideHeights, sign: float, rim, plan, is_asked) -> tuple:
    """Return which places of a rim (n, 3) have an upright wall of a side beside them, and figures of each.

    In mm: how deep the wall goes under the rim, where it stands along plan (n, 3), the way out, and how far
    beside the rim it was looked for.
    """
    found = []
    for beside in OUT:
        deep = sign * rim[:, 2] - its.at((rim + beside * np.nan_to_num(plan))[:, :2])
        chosen = np.flatnonzero((deep > LEAST) & is_asked)
        stands, is_wall = [], np.ones(len(chosen), bool)
        for share in LEVELS:
            level = rim[chosen] - np.outer(share * deep[chosen], [0.0, 0.0, sign])

            def is_wood(which, along, level=level, out=plan[chosen]):
                return its.is_wood(level[which] + along[:, None] * out[which])

            there, is_found = crossing(is_wood, np.zeros(len(chosen)), REACH)
            stands.append(there)
            is_wall &= is_found
        is_wall &= np.ptp(np.nan_to_num(stands), axis=0) <= EVEN
        rows = chosen[is_wall]
        found.append((rows, deep[rows], stands[1][is_wall], np.full(len(rows), beside)))
        is_asked = is_asked.copy()
        is_asked[rows] = False
    return tuple(np.concatenate(parts) for parts in zip(*found, strict=True))
