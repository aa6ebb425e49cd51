"""Which part of each move is in wood: where its cut begins and ends along it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from simkit.cutters import Cutter
from simkit.effort import stretch_kernels
from simkit.effort.chips import effective_radius
from simkit.effort.motion import BLOCK, NOTHING
from simkit.moves.table import ARC, Moves
from simkit.stock.memory import new_array
from simkit.stock.replay import Replay
from simkit.stock.workers import share_ranges


def outline_rows(cutters: Mapping[int, Cutter]) -> tuple[np.ndarray, np.ndarray]:
    """Return numbers (k,) and outlines (k, OUTLINE) of cutters as stretch_kernels takes them."""
    rows = np.zeros((len(cutters), stretch_kernels.OUTLINE))
    for row, cutter in zip(rows, cutters.values(), strict=True):
        o = cutter.outline
        # As in chips.effective_radius.
        has_line, has_arc = o.arc_from > o.flat and o.rise > 0, o.arc_to > o.arc_from
        arc_top = o.arc_f - np.sqrt(max(o.arc_r**2 - (o.arc_to - o.arc_e) ** 2, 0.0))
        row[:] = (
            o.radius, o.base, o.rise * max(o.arc_from - o.flat, 0.0), o.flat, o.rise if has_line else 0.0,
            o.arc_to, o.arc_r**2 if has_arc else 0.0, o.arc_e, o.arc_f, arc_top,
            o.side_z, o.side_rise if o.radius > o.arc_to else 0.0, 2.0 * cutter.radius,
        )  # fmt: skip
    return np.array(list(cutters), np.int64), rows


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
    span = new_array((len(moves), 2), float)
    numbers, outlines = outline_rows(cutters)

    def some(first: int, last: int) -> None:
        stretch_kernels.line_spans(
            first, last, moves.start, moves.end, moves.tool, met.volume, met.along, met.top, numbers,
            outlines, span,
        )  # fmt: skip

    share_ranges(some, len(moves), 4 * BLOCK)  # fewer are done sooner by one thread
    arcs = np.flatnonzero((moves.kind == ARC) & (met.volume > 0))
    if len(arcs):
        span[arcs] = _parts(moves[arcs], met.along[arcs], met.top[arcs], cutters)
    return span


def _parts(moves: Moves, along, top, cutters: Mapping[int, Cutter]) -> np.ndarray:
    """As parts_in_wood, of arcs that take something; along, top: of these, from the replay."""
    span = np.empty((len(moves), 2))
    z0, z1 = moves.start[:, 2], moves.end[:, 2]
    rise = z1 - z0
    crossing = np.clip((top - z0) / np.where(np.abs(rise) > NOTHING, rise, 1.0), 0.0, 1.0)
    is_even = moves.plane == 17  # the height grows evenly along it
    down, up = is_even & (rise < -NOTHING), is_even & (rise > NOTHING)
    begin, stop = np.where(down, crossing, 0.0), np.where(up, crossing, 1.0)
    arm = np.sqrt(((moves.start[:, :2] - moves.centre) ** 2).sum(axis=1))
    level = arm * np.abs(moves.sweep)
    is_told = is_even & np.isfinite(along[:, 0]) & (level > NOTHING)
    lowest = np.minimum(z0, z1)
    for number, cutter in cutters.items():
        mine = np.flatnonzero(is_told & (moves.tool == number))
        radius, turning = effective_radius(cutter, top[mine] - lowest[mine]), arm[mine]
        angle = np.where(radius <= turning, np.arcsin(np.minimum(radius / turning, 1.0)), np.pi)
        radius = angle * turning
        begin[mine] = np.maximum(begin[mine], (along[mine, 0] - radius) / level[mine])
        stop[mine] = np.minimum(stop[mine], (along[mine, 1] + radius * down[mine]) / level[mine])
    # What lies behind the beginning by rounding alone is no length.
    span[:, 0], span[:, 1] = np.clip(begin, 0.0, 1.0), np.clip(np.maximum(stop, begin), 0.0, 1.0)
    return span
