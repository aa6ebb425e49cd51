"""The table of moves: straight, circular and helical motions as columns of equal length."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from simkit.frames import Frame

LINE, ARC = 0, 1

_DTYPES = {
    "kind": np.uint8,
    "rapid": np.bool_,
    "start": np.float64,
    "end": np.float64,
    "centre": np.float64,
    "sweep": np.float64,
    "feed": np.float64,
    "speed": np.float64,
    "tool": np.int32,
    "setup": np.int32,
    "program": np.int32,
    "line": np.int32,
}
_WIDTH = {"start": 3, "end": 3, "centre": 2}


@dataclass(frozen=True)
class Moves:
    """n moves in the order in which they run.

    kind (n,) uint8: LINE, or ARC about `centre` in plan, circular or (z changing) helical.
    rapid (n,) bool.  start, end (n, 3) mm: the tip.  centre (n, 2) mm: of arcs, else 0.
    sweep (n,) rad: of arcs, counter-clockwise positive seen from +z, 0 < |sweep| <= 2 pi; else 0.
        An arc is a true circle: |start - centre| = |end - centre| to rounding; z grows evenly with
        the swept angle.
    feed (n,) mm/min, NaN on rapids.  speed (n,) rev/min, signed by M3 (+) and M4 (-), 0 when off.
    tool (n,) number of the cutter.  setup (n,) index.  program (n,) index into `programs`.
    line (n,) source line, from 1.  programs: file names as the user wrote them.
    """

    kind: np.ndarray
    rapid: np.ndarray
    start: np.ndarray
    end: np.ndarray
    centre: np.ndarray
    sweep: np.ndarray
    feed: np.ndarray
    speed: np.ndarray
    tool: np.ndarray
    setup: np.ndarray
    program: np.ndarray
    line: np.ndarray
    programs: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.kind)

    def __getitem__(self, rows) -> Moves:
        """Return the chosen rows (slice, mask or index array) as a table of their own."""
        return replace(self, **{name: getattr(self, name)[rows] for name in _DTYPES})

    def in_frame(self, frame: Frame) -> Moves:
        """Return the same moves seen from another frame (program frame -> blank frame)."""
        return replace(
            self,
            start=frame.apply(self.start),
            end=frame.apply(self.end),
            centre=np.where((self.kind == ARC)[:, None], frame.apply_plan(self.centre), 0.0),
            sweep=self.sweep * frame.plan_sense,
        )

    def length(self) -> np.ndarray:
        """Return the path length of each move, mm (n,)."""
        delta = self.end - self.start
        plan = np.hypot(delta[:, 0], delta[:, 1])
        radius = np.hypot(*(self.start[:, :2] - self.centre).T)
        plan = np.where(self.kind == ARC, np.abs(self.sweep) * radius, plan)
        return np.hypot(plan, delta[:, 2])


def make_moves(programs: Sequence[str] = (), **columns) -> Moves:
    """Return a table from columns of equal length; columns left out are zero (feed: NaN).

    `start` and `end` must be given; shapes as in Moves.
    """
    n = len(columns["start"])
    made = {}
    for name, dtype in _DTYPES.items():
        shape = (n, _WIDTH[name]) if name in _WIDTH else (n,)
        if name in columns:
            made[name] = np.ascontiguousarray(columns[name], dtype=dtype).reshape(shape)
        else:
            made[name] = np.full(shape, np.nan if name == "feed" else 0, dtype=dtype)
    return Moves(programs=tuple(programs), **made)


def join_moves(tables: Sequence[Moves]) -> Moves:
    """Return the tables one after the other, program indices renumbered to the joined names."""
    names: list[str] = []
    parts: dict[str, list[np.ndarray]] = {name: [] for name in _DTYPES}
    for table in tables:
        for name in _DTYPES:
            column = getattr(table, name)
            parts[name].append(column + len(names) if name == "program" else column)
        names.extend(table.programs)
    if not tables:
        return make_moves(start=np.zeros((0, 3)), end=np.zeros((0, 3)))
    joined = {name: np.concatenate(columns).astype(_DTYPES[name]) for name, columns in parts.items()}
    return Moves(programs=tuple(names), **joined)


assert {f.name for f in fields(Moves)} == {*_DTYPES, "programs"}
