"""How the cuts of the second side may lie off their place, and what each way of it moves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from simkit.budget.lifts import cut_lifts, last_lifts, planings
from simkit.frames import Frame, misplaced
from simkit.job.model import Job
from simkit.job.steps import POUR
from simkit.stock.cut import cut_heights

# In this order wherever there is one number for each; behind them one for each step to a thickness, mm.
NAMES = ("right", "back", "turn", "high", "thickness")
UNITS = ("mm", "mm", "degrees", "mm", "mm")
PLANED = "planed"


@dataclass(frozen=True)
class Motion:
    """The side that is cut second, and how it may move against the first.

    side: 1 or 2.  setup: index of the first setup that cuts it; right and back are as its operator sees them.
    lie: its table frame -> blank frame.  middle (x, y) mm, table frame: of the blank; turns go about it.
    lift (setups, 1 + k): by how much the cuts of each rise against the part for each mm that the blank is
    thicker, and that each step to a thickness leaves more; see lifts.py.
    face_lift (2, 1 + k): of the faces of side 1 and side 2, as they are at the end, in the same way.
    planed (k,): numbers of those steps in `job.steps`.
    """

    side: int
    setup: int
    lie: Frame
    middle: tuple[float, float]
    lift: np.ndarray
    face_lift: np.ndarray
    planed: tuple[int, ...] = ()

    @property
    def names(self) -> list[tuple[str, str, int | None]]:
        """Name and unit of each number of a change, and the number of the step where there is one."""
        plain = [(name, unit, None) for name, unit in zip(NAMES, UNITS, strict=True)]
        return plain + [(PLANED, "mm", number) for number in self.planed]

    def columns(self, at: np.ndarray) -> np.ndarray:
        """Return how a cut of that side moves for one of each of NAMES but the thickness, (n, 4, 3) mm.

        at (n, 3) mm, blank frame.  Linear: a turn of t radians moves by t r, and not by t^2 r / 2 less.
        """
        right, back, up = self.lie.matrix.T
        return np.stack(
            [
                np.broadcast_to(right, at.shape),
                np.broadcast_to(back, at.shape),
                self.turn_about(at, self.middle),
                np.broadcast_to(up, at.shape),
            ],
            axis=1,
        )

    def turn_about(self, at: np.ndarray, about: Sequence[float]) -> np.ndarray:
        """Return how places (n, 3) mm move for a degree about a place (x, y) mm of the table, (n, 3) mm."""
        table = self.lie.inverse().apply(at)
        away = np.stack([-(table[:, 1] - about[1]), table[:, 0] - about[0], np.zeros(len(at))], axis=1)
        return np.radians(away) @ self.lie.matrix.T

    def back_from(self, points: np.ndarray, change: np.ndarray, lift: np.ndarray) -> np.ndarray:
        """Return where points of cuts that have moved came from, (n, 3) mm.

        points (n, 3) mm, blank frame.  change (n, 5 + k): of `names` for each.  lift (n, 1 + k): of the setup
        whose cut it is.  Exact.
        """
        table = self.lie.inverse().apply(points)
        right, back, degrees, high = change[:, :4].T
        # The frame of a thicker blank lifts its cuts; what is left is a misplacement on the table.
        table[:, 2] -= high + self.lie.matrix[2, 2] * np.sum(lift * change[:, 4:], axis=1)
        table[:, :2] -= np.column_stack([right, back])
        c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
        x, y = (table[:, :2] - np.array(self.middle)).T
        table[:, :2] = np.column_stack([c * x + s * y, c * y - s * x]) + np.array(self.middle)
        return self.lie.apply(table)

    def frame(self, change: Sequence[float]) -> Frame:
        """Return the misplacement of the table frame for one change of `names`; thicknesses play no part."""
        right, back, degrees, high = change[:4]
        return misplaced(right, back, high, degrees, self.middle)


def motion_of(job: Job, frames: Sequence[Frame]) -> Motion | None:
    """Return how the second side may move, None when all setups cut one side."""
    later = [index for index, frame in enumerate(frames) if frame.up != frames[0].up]
    if not later:
        return None
    setup = job.setups[later[0]]
    across, deep = setup.size_on_table(job.blank)
    return Motion(
        side=1 if frames[later[0]].up > 0 else 2,
        setup=later[0],
        lie=setup.lie(job.blank),
        middle=(across / 2, deep / 2),
        lift=cut_lifts(job),
        face_lift=last_lifts(job),
        planed=planings(job),
    )


class SideHeights:
    """The surface of one side at any places, by the sweeps of its moves: exact.

    evidence: of findings.  Heights count along the side's own axis (z of side 1, -z of side 2).  Of a side
    into which resin was poured they are as the whole job left them, what filled cuts had opened included.
    """

    def __init__(self, evidence, side: int):
        self.side, self.sign = side, 1.0 if side == 1 else -1.0
        self._cutters = evidence.job.cutters
        is_poured = any(step.do == POUR and step.side == side for step in evidence.job.steps)
        self._columns = evidence.columns if is_poured else None
        self._start = evidence.job.last_body.face(1 if side == 1 else -1)  # no cut reaches over it
        self._parts = [
            (evidence.moves[one], frame)
            for one, frame in zip(evidence.rows, evidence.frames, strict=True)
            if frame.up == (1 if side == 1 else -1) and one.stop > one.start
        ]

    def at(self, points: np.ndarray) -> np.ndarray:
        """Return the heights at points (n, 2) mm, blank frame: (n,) mm along the side's axis."""
        if self._columns is not None:
            left = self._columns(points)
            return left.upper if self.side == 1 else -left.lower
        found = np.full(len(points), self._start)
        for moves, frame in self._parts:
            found, _ = cut_heights(points, moves, self._cutters, frame, found)
        return self.sign * found

    def is_wood(self, points: np.ndarray) -> np.ndarray:
        """Return whether this side left wood at points (n, 3) mm, (n,) bool."""
        return self.at(points[:, :2]) > self.sign * points[:, 2]
