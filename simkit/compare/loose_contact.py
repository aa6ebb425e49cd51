"""What later moves of a setup do to a piece that came free."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import ndimage

from simkit.compare.loose_stage import Columns, Loose, Stage, described
from simkit.moves.extremes import extremes
from simkit.moves.table import Moves
from simkit.stock.cut import cut
from simkit.stock.field import Field, Lattice
from simkit.stock.replay import replay

TOUCH = 0.02  # mm: what goes less deep touches nothing
_CROSS = np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]], bool)


def touched_later(stage: Stage, piece: Loose, columns: Columns) -> Loose:
    """Return the piece with what later moves of the setup do to it.

    The feed moves that follow the one that freed it without a lift, and end about a diameter from its end
    or nearer, belong to that cut: they take what was left of the web, and do not count.  Of a straight one
    that goes on farther its way up to there does not.  What is said of the piece is said as it then is.
    """
    moves, done = stage.moves, 0
    field, mask = stage.field, columns.mask(stage.field.lattice.shape)
    if piece.row >= 0:
        done = piece.row + 1 - stage.first
        freed = done
        done += _run_on(stage, done)
        field = stage.after(field, 0, done)
        stage, way = _parted(stage, freed, done)
        if way is not None:
            field = cut(field, way, stage.cutters, stage.frame, first_row=stage.first + done).field
        moves = stage.moves
        mask = mask & field.is_solid
        if not mask.any():
            return piece
        piece = described(stage, field, mask, piece.row - stage.first)
    rows = np.arange(done, len(moves))
    window, alone = _alone(field, mask, stage.frame.up)
    rows = rows[_is_near(moves[rows], stage, window)]
    if not len(rows):
        return piece
    met = replay(alone, moves[rows], stage.cutters, stage.frame)
    kinds = {"cutting part": met.depth, **met.rub_depth}
    deepest = np.max(list(kinds.values()), axis=0)
    hit = np.flatnonzero(deepest > TOUCH)
    if len(hit):
        first = hit[0]
        contact = max(kinds, key=lambda name: kinds[name][first])
        return replace(
            piece,
            touched=stage.first + int(rows[first]),
            contact=contact,
            depth=float(deepest[hit].max()),
            touches=len(hit),
        )
    return replace(piece, grazed=_grazed(stage, alone, rows))


def _grazed(stage: Stage, alone: Field, rows: np.ndarray) -> int:
    """Return the row of the first later feed move along a piece that takes nothing off it; -1 for none.

    Only where such moves together are longer than the cutter is wide: a lift beside the piece is none.
    """
    moves = stage.moves[rows]
    delta = moves.end - moves.start
    is_along = ~moves.rapid & ((np.hypot(delta[:, 0], delta[:, 1]) > 0.01) | (moves.sweep != 0))
    rows = rows[is_along]
    if not len(rows):
        return -1
    is_wood = alone.is_solid
    around = ndimage.maximum_filter(np.where(is_wood, alone.upper, -np.inf), footprint=_CROSS)
    below = ndimage.minimum_filter(np.where(is_wood, alone.lower, np.inf), footprint=_CROSS)
    is_rim = ~is_wood & np.isfinite(around)
    upper = np.where(is_rim, around, alone.lower).astype(np.float32)
    lower = np.where(is_rim, below, alone.lower).astype(np.float32)
    rim = Field(alone.lattice, lower, np.where(is_rim, upper, lower), alone.lower_move, alone.upper_move)
    met = replay(rim, stage.moves[rows], stage.cutters, stage.frame)
    hit = np.flatnonzero(met.depth > TOUCH)
    if not len(hit):
        return -1
    width = stage.cutters[int(stage.moves.tool[rows[hit[0]]])].diameter
    return stage.first + int(rows[hit[0]]) if stage.moves[rows[hit]].length().sum() > width else -1


def _width(stage: Stage, done: int) -> float:
    """Return how far from the end of the first `done` moves moves still belong to the last of them, mm.

    Two round cuts meet when their middles are a diameter apart; on cells a little sooner.
    """
    return stage.cutters[int(stage.moves.tool[done - 1])].diameter + 1.5 * stage.field.lattice.cell


def _parted(stage: Stage, freed: int, done: int) -> tuple[Stage, Moves | None]:
    """Return the stage with the straight move behind `done` begun where it leaves the cut that freed a piece.

    freed, done: how many moves have run when it came free, and with those that belong to that cut.  With it
    comes the way of that move up to there, None where it has none.
    """
    moves = stage.moves
    if not freed or done >= len(moves) or moves.rapid[freed - 1]:
        return stage, None
    if moves.rapid[done] or moves.sweep[done] or moves.tool[done] != moves.tool[freed - 1]:
        return stage, None
    start, end = moves.start[done], moves.end[done]
    away, along, width = start - moves.end[freed - 1], end - start, _width(stage, freed)
    # |away + t along| = width: it begins within, so one t of the two lies ahead.
    a, b, c = along @ along, away @ along, away @ away - width**2
    if c >= 0 or a == 0:
        return stage, None
    t = (-b + np.sqrt(b * b - a * c)) / a
    if t >= 1:
        return stage, None
    way, rest = moves[done : done + 1], replace(moves, start=moves.start.copy())
    rest.start[done] = start + t * along
    return replace(stage, moves=rest), replace(way, end=rest.start[done : done + 1])


def _run_on(stage: Stage, done: int) -> int:
    """Return how many moves behind the first `done` still belong to the cut that freed a piece."""
    moves = stage.moves
    if not done or moves.rapid[done - 1]:
        return 0
    place, width = moves.end[done - 1], _width(stage, done)
    count = 0
    while done + count < len(moves):
        k = done + count
        is_apart = moves.rapid[k] or moves.tool[k] != moves.tool[done - 1]
        if is_apart or np.linalg.norm(moves.end[k] - place) > width or moves[k : k + 1].length()[0] > width:
            break
        count += 1
    return count


def _alone(field: Field, mask: np.ndarray, up: int) -> tuple[Lattice, Field]:
    """Return a window round a piece, and the field there without any other wood."""
    iy, ix = np.nonzero(mask)
    y0, x0 = max(iy.min() - 1, 0), max(ix.min() - 1, 0)
    here = np.s_[y0 : iy.max() + 2, x0 : ix.max() + 2]
    window = field.lattice.window(int(y0), int(iy.max() + 2), int(x0), int(ix.max() + 2))
    lower, upper, mine = field.lower[here], field.upper[here], mask[here]
    # Where nothing stands the surface that is cut lies on the other one.
    lower, upper = (lower, np.where(mine, upper, lower)) if up > 0 else (np.where(mine, lower, upper), upper)
    return window, Field(window, lower.copy(), upper.copy(), field.lower_move[here], field.upper_move[here])


def _is_near(moves: Moves, stage: Stage, window: Lattice) -> np.ndarray:
    """Return which moves may come over a window in plan, with all that is above the cutter, bool (n,)."""
    low, high = extremes(moves.in_frame(stage.frame))
    cones = [cone for cutter in stage.cutters.values() for cone in cutter.stack]
    widths = [cutter.radius for cutter in stage.cutters.values()]
    reach = max([*widths, *(max(cone.low_radius, cone.high_radius) for cone in cones)])
    x, y = window.x(), window.y()
    return (
        (low[:, 0] - reach <= x[-1])
        & (high[:, 0] + reach >= x[0])
        & (low[:, 1] - reach <= y[-1])
        & (high[:, 1] + reach >= y[0])
    )
