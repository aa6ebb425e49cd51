"""Which part of each move is in wood: where its cut begins and ends along it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from simkit.cutters import Cutter
from simkit.effort.chips import effective_radius
from simkit.effort.motion import BLOCK, NOTHING
from simkit.moves.table import ARC, Moves
from simkit.stock.replay import Replay
from simkit.stock.workers import share_ranges


def parts_in_wood(moves: Moves, met: Replay, cutters: Mapping[int, Cutter]) -> np.ndarray:
    """Return between which parts (n, 2) of its length, 0 to 1, each move takes wood; 0, 0 for none.

    moves (n): of one setup, program frame.  met: their replay.
    A tip touches no wood while it is above all that the move takes.  The first column that
    loses something is met no farther ahead than the cutter is wide there, and the last one is left where
    the tip is over it, or as far behind on the way down.  On an arc of radius R a cutter of radius r is ahead
    by the angle asin(r / R), that of the tangent to it from the arc's centre, or half a turn where r > R.  So
    wood never counts as air, but air may count as wood: up to so much before a cut that does not reach over
    the middle of the cutter, gaps between the first and the last wood, and upright arcs, which count whole.
    """
    span = np.zeros((len(moves), 2))

    def some(first: int, last: int) -> None:
        for a in range(first, last, BLOCK):
            here = slice(a, min(a + BLOCK, last))
            span[here] = _parts(moves[here], met.volume[here], met.along[here], met.top[here], cutters)

    share_ranges(some, len(moves), 4 * BLOCK)  # fewer are done sooner by one thread
    return span


def _parts(moves: Moves, volume, along, tops, cutters: Mapping[int, Cutter]) -> np.ndarray:
    """As parts_in_wood, of some moves; volume, along, tops: of these, from the replay."""
    span = np.zeros((len(moves), 2))
    rows = np.flatnonzero(volume > 0)
    if not len(rows):
        return span
    start, end = moves.start, moves.end
    z0, z1, top = start[rows, 2], end[rows, 2], tops[rows]
    rise = z1 - z0
    crossing = np.clip((top - z0) / np.where(np.abs(rise) > NOTHING, rise, 1.0), 0.0, 1.0)
    is_arc = moves.kind[rows] == ARC
    is_even = ~is_arc | (moves.plane[rows] == 17)  # the height grows evenly along it
    down, up = is_even & (rise < -NOTHING), is_even & (rise > NOTHING)
    begin, stop = np.where(down, crossing, 0.0), np.where(up, crossing, 1.0)
    x, y = end[rows, 0] - start[rows, 0], end[rows, 1] - start[rows, 1]
    level, arm = np.sqrt(x * x + y * y), np.full(len(rows), np.inf)
    arcs = np.flatnonzero(is_arc & is_even)
    if len(arcs):
        which = rows[arcs]
        arm[arcs] = np.sqrt(((start[which, :2] - moves.centre[which]) ** 2).sum(axis=1))
        level[arcs] = arm[arcs] * np.abs(moves.sweep[which])
    first, last, tool = along[rows, 0], along[rows, 1], moves.tool[rows]
    is_told = np.isfinite(first) & (level > NOTHING)
    lowest = np.minimum(z0, z1)
    for number, cutter in cutters.items():
        mine = np.flatnonzero(is_told & (tool == number))
        radius = effective_radius(cutter, top[mine] - lowest[mine])
        round_ = np.flatnonzero(np.isfinite(arm[mine]))
        if len(round_):
            turning = arm[mine[round_]]
            angle = np.where(
                radius[round_] <= turning, np.arcsin(np.minimum(radius[round_] / turning, 1.0)), np.pi
            )
            radius[round_] = angle * turning
        begin[mine] = np.maximum(begin[mine], (first[mine] - radius) / level[mine])
        stop[mine] = np.minimum(stop[mine], (last[mine] + radius * down[mine]) / level[mine])
    # What lies behind the beginning by rounding alone is no length.
    span[rows, 0], span[rows, 1] = np.clip(begin, 0.0, 1.0), np.clip(np.maximum(stop, begin), 0.0, 1.0)
    return span
