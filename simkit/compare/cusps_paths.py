"""The paths that cut a surface, seen in plan: nearest place on each and its direction."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simkit.frames import Frame
from simkit.moves.table import ARC, Moves


@dataclass(frozen=True)
class Paths:
    """Moves in plan, blank frame, by their row in the job's table.

    start, end, centre (n, 2) mm; sweep (n,) rad, 0 for lines; is_pass (n,) bool: fed, and not upright;
    tool (n,) number of the cutter.
    """

    start: np.ndarray
    end: np.ndarray
    centre: np.ndarray
    sweep: np.ndarray
    is_pass: np.ndarray
    tool: np.ndarray


def plan_paths(moves: Moves, rows: list[slice], frames: list[Frame]) -> Paths:
    """Return the moves of all setups as paths in plan.

    moves: the job's table, each in the program frame of its setup; rows[setup], frames[setup]: as in
    the evidence.  Arcs that do not lie level count as the straight line between their ends.
    """
    n = len(moves)
    start, end, centre, sweep = np.empty((n, 2)), np.empty((n, 2)), np.zeros((n, 2)), np.zeros(n)
    for one, frame in zip(rows, frames, strict=True):
        start[one] = frame.apply(moves.start[one])[:, :2]
        end[one] = frame.apply(moves.end[one])[:, :2]
        is_arc = (moves.kind[one] == ARC) & (moves.plane[one] == 17)
        centre[one] = np.where(is_arc[:, None], frame.apply_plan(moves.centre[one]), 0.0)
        sweep[one] = np.where(is_arc, moves.sweep[one] * frame.plan_sense, 0.0)
    is_pass = ~moves.rapid & ((np.hypot(*(end - start).T) > 1e-6) | (sweep != 0))
    return Paths(start, end, centre, sweep, is_pass, moves.tool)


def nearest_on(paths: Paths, rows: np.ndarray, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the place on each path nearest to its point and the path's direction there, both (k, 2).

    rows (k,) into `paths`; points (k, 2) mm.  Exact but for rounding; of an arc the nearest place on
    its whole circle is meant where the point lies beyond its ends.
    """
    a, b = paths.start[rows], paths.end[rows]
    along = b - a
    length2 = np.maximum((along**2).sum(axis=1), 1e-18)
    share = np.clip(((points - a) * along).sum(axis=1) / length2, 0.0, 1.0)
    place = a + share[:, None] * along
    direction = along / np.sqrt(length2)[:, None]
    is_arc = paths.sweep[rows] != 0
    if is_arc.any():
        centre = paths.centre[rows[is_arc]]
        arm = points[is_arc] - centre
        arm /= np.maximum(np.hypot(*arm.T), 1e-9)[:, None]
        radius = np.hypot(*(a[is_arc] - centre).T)[:, None]
        place[is_arc] = centre + radius * arm
        direction[is_arc] = (
            np.column_stack([-arm[:, 1], arm[:, 0]]) * np.sign(paths.sweep[rows[is_arc]])[:, None]
        )
    return place, direction
