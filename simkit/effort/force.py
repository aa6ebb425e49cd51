"""The largest cutting force of a setup, an estimate, to be held against what tape or vacuum bears."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from simkit.cutters import Cutter
from simkit.effort.bite import Bites
from simkit.effort.chips import edge_force, power, tangential_force
from simkit.moves.table import Moves


@dataclass(frozen=True, slots=True)
class LargestForce:
    """row: the move of the setup that pushes hardest.  newton: an estimate.

    is_mean: the mean of a turn, for the job does not state the edges of that cutter; else the force of the
    edges that cut at one moment.
    """

    row: int
    newton: float
    is_mean: bool


def largest_force(
    own: Bites, moves: Moves, cutters: Mapping[int, Cutter], cutting_force: float | None
) -> LargestForce | None:
    """Return the largest cutting force along the passes of one setup; None where nothing says how large.

    own: bites of the setup; moves: its moves.  cutting_force N/mm2: k_c, None when not stated.  The larger
    of the mean force of a turn, P / v_c, and of k_c a_p h_max of the edges in wood at one moment.  Ways
    straight down and stretches without a speed are left out, and what lifts the wood is not told.
    """
    if cutting_force is None:
        return None
    speed = moves.speed[own.row]
    asked = own.is_pass & own.is_whole & own.in_wood & (speed != 0)
    if not asked.any():
        return None
    force, is_mean = np.zeros(len(own.row)), np.ones(len(own.row), bool)
    mean = tangential_force(power(own.removal, cutting_force), speed, own.diameter)
    force[asked] = mean[asked]
    engaged = own.engaged
    for number, cutter in cutters.items():
        mine = asked & (own.tool == number) & ~np.isnan(own.seen)
        if cutter.flutes and mine.any():
            edges = edge_force(own.depth, own.seen, engaged, cutter.flutes, cutting_force)
            force[mine] = np.maximum(mean, edges)[mine]
            is_mean[mine] = False
    worst = int(np.argmax(force))
    return LargestForce(int(own.row[worst]), float(force[worst]), bool(is_mean[worst]))
