"""What lies round the wood: the table under it, and the ends of the machine's travel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simkit.frames import Frame
from simkit.job.model import Machine
from simkit.job.steps import Body
from simkit.moves.extremes import extremes, farthest_places
from simkit.moves.table import Moves

TOUCH = 0.01  # mm: less than this is a matter of rounding
AXES = ("X", "Y", "Z")


@dataclass(frozen=True)
class Beyond:
    """Moves that go farther than there is room.

    rows: of the job's moves, in order.  over (k,) mm: how far each goes beyond.  at (k, 3) mm: the tip where
    it is farthest, program frame.  axis: 0 to 2; side: -1 at the low end, +1 at the high end.
    """

    rows: np.ndarray
    over: np.ndarray
    at: np.ndarray
    axis: int
    side: int

    @property
    def worst(self) -> int:
        """Which of them goes farthest, the first on ties."""
        return int(np.argmax(self.over))


def below_table(
    moves: Moves, one: slice, frame: Frame, body: Body, spoilboard: float | None
) -> Beyond | None:
    """Return the moves of a setup whose tip goes deeper below the lower face than the spoilboard allows.

    body: the blank between its faces.  spoilboard mm: how deep, None counts as 0.  The lower face of the
    blank as it lies is the table or the board on it, all over.  Exact: the lowest place of each move (arcs
    too).
    """
    part = moves[one]
    low, _ = extremes(part)
    # The tip's height over the table, from its z in the program frame.
    rise = frame.up * (frame.offset[2] - body.face(-frame.up))
    over = -(low[:, 2] + rise) - (spoilboard or 0.0)
    return _beyond(part, one, over, 2, -1)


def beyond_travel(moves: Moves, one: slice, machine: Machine, zero) -> list[Beyond]:
    """Return for each end of each axis the moves of a setup that go beyond it.

    machine: with low and high ends of travel, machine coordinates.  zero (x, y, z) mm: where the programs'
    X0 Y0 Z0 lies there.  The table of moves holds the tip; a machine counts the same way once its
    cutter's length is set.  Exact.
    """
    part = moves[one]
    low, high = extremes(part)
    found = []
    for axis in range(3):
        for side, over in (
            (-1, machine.low[axis] - (low[:, axis] + zero[axis])),
            (1, high[:, axis] + zero[axis] - machine.high[axis]),
        ):
            beyond = _beyond(part, one, over, axis, side)
            if beyond is not None:
                found.append(beyond)
    return found


def _beyond(part: Moves, one: slice, over: np.ndarray, axis: int, side: int) -> Beyond | None:
    rows = np.flatnonzero(over > TOUCH)
    if not len(rows):
        return None
    return Beyond(rows + one.start, over[rows], farthest_places(part[rows], axis, side), axis, side)
