"""Arcs as chords, for what need not be as exact as the cut itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from simkit.moves.table import ARC, LINE, PLANE_AXES, Moves


def chords_of(moves: Moves, sagitta: float) -> tuple[Moves, np.ndarray]:
    """Return the moves with arcs split into straight ones, and the row each came from (m,) int64.

    sagitta mm: the most that a chord stands off its arc.  Ends lie on the arc, the first and the last of
    each are those of the arc itself.  A chord over the angle a of radius r stands off by r (1 - cos(a / 2)).
    """
    is_arc = moves.kind == ARC
    if not is_arc.any():
        return moves, np.arange(len(moves))
    count = np.ones(len(moves), np.int64)
    radius = np.zeros(len(moves))
    for number, (u, v, _) in PLANE_AXES.items():
        rows = np.flatnonzero(is_arc & (moves.plane == number))
        arm = moves.start[rows][:, [u, v]] - moves.centre[rows]
        radius[rows] = np.hypot(arm[:, 0], arm[:, 1])
    bent = is_arc & (radius > 0)
    share = np.clip(1.0 - sagitta / np.maximum(radius[bent], sagitta), -1.0, 1.0)
    angle = np.maximum(2.0 * np.arccos(share), 1e-6)
    count[bent] = np.maximum(np.ceil(np.abs(moves.sweep[bent]) / angle), 1).astype(np.int64)
    of = np.repeat(np.arange(len(moves)), count)
    nth = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    start, end = places_on(moves, of, nth / count[of]), places_on(moves, of, (nth + 1) / count[of])
    is_first, is_last = nth == 0, nth + 1 == count[of]
    start[is_first], end[is_last] = moves.start[of[is_first]], moves.end[of[is_last]]
    table = moves[of]
    zero = np.zeros(len(of))
    return (
        replace(
            table,
            kind=np.full(len(of), LINE, np.uint8),
            plane=np.full(len(of), 17, np.uint8),
            start=start,
            end=end,
            centre=np.zeros((len(of), 2)),
            sweep=zero,
        ),
        of,
    )


def places_on(moves: Moves, of: np.ndarray, part: np.ndarray) -> np.ndarray:
    """Return the place (m, 3) mm on moves `of` after a part (m,) of each, 0 to 1."""
    start, end = moves.start[of], moves.end[of]
    place = start + part[:, None] * (end - start)
    for number, (u, v, _) in PLANE_AXES.items():
        rows = np.flatnonzero((moves.kind[of] == ARC) & (moves.plane[of] == number))
        centre = moves.centre[of[rows]]
        arm = start[rows][:, [u, v]] - centre
        turn = moves.sweep[of[rows]] * part[rows]
        cos, sin = np.cos(turn), np.sin(turn)
        place[rows, u] = centre[:, 0] + arm[:, 0] * cos - arm[:, 1] * sin
        place[rows, v] = centre[:, 1] + arm[:, 0] * sin + arm[:, 1] * cos
    return place
