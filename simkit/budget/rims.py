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

OUT = 0.5  # mm beside a rim: so near a wall is looked for
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
        deep = sign * rim[:, 2] - its.at((rim + OUT * np.nan_to_num(plan))[:, :2])
        limit = evidence.zones.limits(lattice, side)[0][
            lattice.cell_at(*(rim - lattice.cell * plan)[:, :2].T)
        ]
        chosen = np.flatnonzero((deep > LEAST) & np.isfinite(plan[:, 0]) & np.isfinite(limit))
        at, out, deep, limit = rim[chosen], plan[chosen], deep[chosen], limit[chosen]
        stands, is_wall = [], np.ones(len(at), bool)
        for share in LEVELS:
            level = at - np.outer(share * deep, [0.0, 0.0, sign])

            def is_wood(which, along, level=level, out=out, its=its):
                return its.is_wood(level[which] + along[:, None] * out[which])

            there, is_found = crossing(is_wood, np.zeros(len(at)), REACH)
            stands.append(there)
            is_wall &= is_found
        is_wall &= np.ptp(np.nan_to_num(stands), axis=0) <= EVEN
        chosen = np.flatnonzero(is_wall)
        at, out, deep, limit = at[chosen], out[chosen], deep[chosen], limit[chosen]
        owner = evidence.field.upper_move if side == 1 else evidence.field.lower_move
        lift = lifts(evidence, motion, side, owner[lattice.cell_at(*(at + OUT * out)[:, :2].T)])
        at = at - np.outer(LEVELS[1] * deep, [0.0, 0.0, sign])
        parts.append(
            make_rows(
                GOUGE, side, at, -stands[1][chosen], limit, -out * (side == motion.side),
                np.zeros_like(lift), out, lift,
            )
        )  # fmt: skip
    return parts
