"""Which part of each move is in wood: where its cut begins and ends along it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from simkit.cutters import Cutter
from simkit.effort.chips import effective_radius
from simkit.effort.motion import NOTHING
from simkit.moves.table import ARC, Moves
from simkit.stock.replay import Replay


def parts_in_wood(moves: Moves, met: Replay, cutters: Mapping[int, Cutter]) -> np.ndarray:
    """Return between which parts (n, 2) of its length, 0 to 1, each move takes wood; 0, 0 for none.

    moves (n): of one setup, program frame.  met: their replay.
    A tip touches no wood while it is above all that the move takes.  On straight moves the first column that
    loses something is met no farther ahead than the cutter is wide there, and the last one is left where
    the tip is over it, or as far behind on the way down.  So wood never counts as air, but air may count
    as wood: up to a radius before a cut that does not reach over the middle of the cutter, gaps between the
    first and the last wood, and arcs, of which only what lies above the wood is told apart.
    """
    span = np.zeros((len(moves), 2))
    rows = np.flatnonzero(met.volume > 0)
    if not len(rows):
        return span
    span[rows, 1] = 1.0
    z0, z1, top = moves.start[rows, 2], moves.end[rows, 2], met.top[rows]
    rise = z1 - z0
    crossing = np.clip((top - z0) / np.where(np.abs(rise) > NOTHING, rise, 1.0), 0.0, 1.0)
    is_even = (moves.kind[rows] != ARC) | (moves.plane[rows] == 17)  # the height grows evenly along it
    down, up = is_even & (rise < -NOTHING), is_even & (rise > NOTHING)
    span[rows[down], 0] = crossing[down]
    span[rows[up], 1] = crossing[up]
    level = np.hypot(*(moves.end - moves.start)[rows, :2].T)
    is_line = np.isfinite(met.along[rows, 0]) & (level > NOTHING)
    for number in np.unique(moves.tool[rows[is_line]]):
        mine = np.flatnonzero(is_line & (moves.tool[rows] == number))
        radius = effective_radius(cutters[int(number)], top[mine] - np.minimum(z0, z1)[mine])
        first, last = met.along[rows[mine]].T
        begin, end = (first - radius) / level[mine], (last + radius * down[mine]) / level[mine]
        own = span[rows[mine]]
        span[rows[mine]] = np.column_stack([np.maximum(own[:, 0], begin), np.minimum(own[:, 1], end)])
    # What lies behind the beginning by rounding alone is no length.
    span[:, 1] = np.maximum(span[:, 1], span[:, 0])
    return np.clip(span, 0.0, 1.0)
