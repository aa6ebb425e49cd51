"""The table of moves: straight, circular and helical motions as columns of equal length."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from simkit.errors import ShapeError
from simkit.frames import Frame

LINE, ARC = 0, 1

# Plane of an arc -> its two axes in the order that makes a counter-clockwise turn seen from the positive
# end of the third (0 x, 1 y, 2 z), and that third one.  Source: NISTIR 6556 (2000), section 3.5.3.
PLANE_AXES = {17: (0, 1, 2), 18: (2, 0, 1), 19: (1, 2, 0)}
_PLANE_OF_NORMAL = np.array([19, 18, 17], dtype=np.uint8)

_DTYPES = {
    "kind": np.uint8,
    "plane": np.uint8,
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
    "rests": np.bool_,
}
_WIDTH = {"start": 3, "end": 3, "centre": 2}
_DEFAULT = {"feed": np.nan, "plane": 17}


@dataclass(frozen=True)
class Moves:
    """n moves in the order in which they run.

    kind (n,) uint8: LINE, or ARC about `centre` in `plane`, circular or (third axis changing) helical.
    plane (n,) uint8: of arcs, 17 the XY plane, 18 ZX, 19 YZ (the numbers of G17 to G19); 17 for lines.
    rapid (n,) bool.  start, end (n, 3) mm: the tip.
    centre (n, 2) mm: of arcs, else 0: (x, y) in plane 17, (z, x) in 18, (y, z) in 19 (PLANE_AXES).
    sweep (n,) rad: of arcs, counter-clockwise positive seen from the positive end of the axis square to
        the plane (+z, +y, +x), 0 < |sweep| <= 2 pi; else 0.
        An arc is a true circle: |start - centre| = |end - centre| in its plane to rounding; the third
        coordinate grows evenly with the swept angle.
    feed (n,) mm/min, NaN on rapids.  speed (n,) rev/min, signed by M3 (+) and M4 (-), 0 when off.
    tool (n,) number of the cutter.  setup (n,) index.  program (n,) index into `programs`.
    line (n,) source line, from 1.  rests (n,) bool: the machine stands still behind it, for a dwell or an
        exact stop (G61.1).  programs: file names as the user wrote them.
    """

    kind: np.ndarray
    plane: np.ndarray
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
    rests: np.ndarray
    programs: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.kind)

    def __getitem__(self, rows) -> Moves:
        """Return the chosen rows (slice, mask or index array) as a table of their own."""
        columns = {name: getattr(self, name) for name in _DTYPES}
        if isinstance(rows, np.ndarray) and rows.dtype.kind == "i":
            # Three times as fast for places.
            return replace(self, **{name: column.take(rows, axis=0) for name, column in columns.items()})
        some = replace(self, **{name: column[rows] for name, column in columns.items()})
        if isinstance(rows, slice) and "_length" in vars(self):
            vars(some)["_length"] = vars(self)["_length"][rows]
        return some

    def in_frame(self, frame: Frame) -> Moves:
        """Return the same moves seen from another frame (program frame -> blank frame).

        An arc in plane 18 or 19 stays one in plane 18 or 19, so with such arcs the frame must map axes to
        axes (half and quarter turns): else ShapeError.  Error: rounding.
        """
        is_arc = self.kind == ARC
        plane = np.full(len(self), 17, dtype=np.uint8)
        centre = np.where(is_arc[:, None], frame.apply_plan(self.centre), 0.0)
        sweep = self.sweep * frame.plan_sense
        # An arc about a direction d becomes one about R d; R keeps the sense of turning (det R = 1).
        for number in (18, 19):
            rows = np.flatnonzero(is_arc & (self.plane == number))
            if not len(rows):
                continue
            u, v, normal = PLANE_AXES[number]
            direction = frame.matrix[:, normal]
            new_normal = int(np.argmax(np.abs(direction)))
            if abs(abs(direction[new_normal]) - 1.0) > 1e-12:
                raise ShapeError("arcs in plane 18 or 19 need a frame that maps axes to axes")
            plane[rows] = _PLANE_OF_NORMAL[new_normal]
            points = self.start[rows]
            points[:, u], points[:, v] = self.centre[rows].T
            new_u, new_v, _ = PLANE_AXES[int(_PLANE_OF_NORMAL[new_normal])]
            centre[rows] = frame.apply(points)[:, [new_u, new_v]]
            sweep[rows] = self.sweep[rows] * np.sign(direction[new_normal])
        return replace(
            self,
            start=frame.apply(self.start),
            end=frame.apply(self.end),
            plane=plane,
            centre=centre,
            sweep=sweep,
        )

    def length(self) -> np.ndarray:
        """Return the path length of each move, mm (n,), read-only.  Error: rounding."""
        known = vars(self).get("_length")  # asked for again and again, and nothing of a table changes
        if known is not None:
            return known
        delta = self.end - self.start
        length = norms(delta)
        arcs = np.flatnonzero(self.kind == ARC)
        for number, (u, v, normal) in PLANE_AXES.items() if len(arcs) else ():
            rows = arcs[self.plane[arcs] == number]
            arm = self.start[rows][:, [u, v]] - self.centre[rows]
            length[rows] = np.hypot(np.abs(self.sweep[rows]) * np.hypot(*arm.T), delta[rows, normal])
        length.setflags(write=False)
        vars(self)["_length"] = length
        return length


def norms(vectors: np.ndarray) -> np.ndarray:
    """Return the lengths (n,) of vectors (n, 3).  Column by column: NumPy is slow along axes of three."""
    x, y, z = vectors.T
    return np.sqrt(x * x + y * y + z * z)


def make_moves(programs: Sequence[str] = (), **columns) -> Moves:
    """Return a table from columns of equal length; columns left out are zero (feed: NaN, plane: 17).

    `start` and `end` must be given; shapes as in Moves.
    """
    n = len(columns["start"])
    made = {}
    for name, dtype in _DTYPES.items():
        shape = (n, _WIDTH[name]) if name in _WIDTH else (n,)
        if name in columns:
            made[name] = np.ascontiguousarray(columns[name], dtype=dtype).reshape(shape)
        else:
            made[name] = np.full(shape, _DEFAULT.get(name, 0), dtype=dtype)
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
