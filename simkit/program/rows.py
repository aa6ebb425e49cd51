"""The motions of one program as columns that grow while it is read."""

from __future__ import annotations

from array import array

import numpy as np

from simkit.program.interpreter import ARC, ARC_YZ, ARRIVAL, RAPID, ROW

_X, _CODE, _FEED, _LINE, _CENTRE, _SWEEP = (
    ROW.index(name) for name in ("x", "code", "feed", "line", "centre x", "sweep")
)


class Rows:
    """The first `count` rows of every column hold motions; the rest is room.

    end (n, 3) mm.  code (n,) uint8, as in interpreter.ROW.  feed (n,) mm/min, NaN on rapids.
    line (n,) int32.  centre (n, 2) mm and sweep (n,) rad, zero but for arcs.
    """

    NAMES = ("end", "code", "feed", "line", "centre", "sweep")

    def __init__(self, room: int):
        self.count = 0
        self.end = np.empty((room, 3))
        self.code = np.empty(room, dtype=np.uint8)
        self.feed = np.empty(room)
        self.line = np.empty(room, dtype=np.int32)
        # Zeros the kernel never writes: a program with no arcs then costs no memory for them here.
        self.centre = np.zeros((room, 2))
        self.sweep = np.zeros(room)

    def __len__(self) -> int:
        return self.count

    @property
    def room(self) -> int:
        """Rows that fit without growing."""
        return len(self.code)

    def make_room(self, rows: int) -> None:
        """Make room for this many rows more."""
        needed = self.count + rows
        if needed > self.room:
            self._resize(max(needed, self.room + self.room // 2))

    def trim(self) -> None:
        """Give back the room that is not used."""
        if self.count < self.room:
            self._resize(self.count)

    def _resize(self, room: int) -> None:
        for name in self.NAMES:
            column = getattr(self, name)
            # In place: large blocks are remapped by the system, so nothing is held twice.
            column.resize((room, *column.shape[1:]), refcheck=False)

    def take(self, rows: array) -> None:
        """Move the rows an interpreter has collected (ROW numbers each) to the end of the columns."""
        if not rows:
            return
        table = np.frombuffer(rows, dtype=np.float64).reshape(-1, len(ROW))
        self.make_room(len(table))
        new = slice(self.count, self.count + len(table))
        self.end[new] = table[:, _X : _X + 3]
        self.code[new] = table[:, _CODE]
        is_rapid = (table[:, _CODE] == RAPID) | (table[:, _CODE] == ARRIVAL)
        self.feed[new] = np.where(is_rapid, np.nan, table[:, _FEED])
        self.line[new] = table[:, _LINE]
        is_arc = ((table[:, _CODE] >= ARC) & (table[:, _CODE] <= ARC_YZ))[:, None]
        self.centre[new] = np.where(is_arc, table[:, _CENTRE : _CENTRE + 2], 0.0)
        self.sweep[new] = np.where(is_arc[:, 0], table[:, _SWEEP], 0.0)
        self.count += len(table)
        del table
        del rows[:]
