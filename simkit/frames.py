"""Rigid maps between the program frame of a setup and the blank frame.

Blank frame: x along the length, y along the width, z up with side 1 facing up, origin at the
left-front-bottom corner.  A setup's table frame has the same directions as the operator sees them
(x right, y back, z up) with its origin at the left-front-bottom corner of the blank as it lies there.
A z-buffer holds no tilt, so a frame turns only about z and may turn the blank over.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

TURNS = ("none", "about x", "about y")
SWINGS = ("none", "quarter left", "half", "quarter right")  # seen from above; left is counter-clockwise


@dataclass(frozen=True)
class Frame:
    """A rigid map p -> matrix @ p + offset that keeps z vertical.

    matrix (3, 3) float64, proper rotation; offset (3,) float64 mm.
    """

    matrix: np.ndarray
    offset: np.ndarray

    def __post_init__(self):
        object.__setattr__(self, "matrix", np.asarray(self.matrix, dtype=np.float64).reshape(3, 3))
        object.__setattr__(self, "offset", np.asarray(self.offset, dtype=np.float64).reshape(3))

    @property
    def up(self) -> int:
        """+1 when the frame's z is the blank's z (side 1 up), -1 when the blank lies turned over."""
        return 1 if self.matrix[2, 2] > 0 else -1

    @property
    def plan_sense(self) -> int:
        """+1 when a counter-clockwise arc stays so in plan, -1 when it becomes clockwise."""
        plan = self.matrix[:2, :2]
        return 1 if plan[0, 0] * plan[1, 1] - plan[0, 1] * plan[1, 0] > 0 else -1

    def apply(self, points: np.ndarray) -> np.ndarray:
        """Return points (..., 3) mm mapped by this frame."""
        return np.asarray(points, dtype=np.float64) @ self.matrix.T + self.offset

    def apply_plan(self, points: np.ndarray) -> np.ndarray:
        """Return plan points (..., 2) mm mapped by this frame (z plays no part)."""
        return np.asarray(points, dtype=np.float64) @ self.matrix[:2, :2].T + self.offset[:2]

    def after(self, first: Frame) -> Frame:
        """Return the map that does `first`, then this one."""
        return Frame(self.matrix @ first.matrix, self.matrix @ first.offset + self.offset)

    def inverse(self) -> Frame:
        """Return the map back."""
        return Frame(self.matrix.T, -(self.matrix.T @ self.offset))


IDENTITY = Frame(np.eye(3), np.zeros(3))


def shift(x: float, y: float, z: float = 0.0) -> Frame:
    """Return the map that moves points by (x, y, z) mm."""
    return Frame(np.eye(3), np.array([x, y, z]))


def turned(turn: str, length: float, width: float, thickness: float) -> Frame:
    """Return the map from the table frame of a blank put back after `turn` to the blank frame.

    turn: "none", "about x": (x, y, z) -> (x, W-y, T-z), "about y": -> (L-x, y, T-z).
    length, width, thickness: L, W, T of the blank, mm.  Exact but for rounding.
    Source: rotations by a half turn; checked against scipy's Rotation in tests.
    """
    if turn == "none":
        return IDENTITY
    if turn == "about x":
        return Frame(np.diag([1.0, -1.0, -1.0]), np.array([0.0, width, thickness]))
    if turn == "about y":
        return Frame(np.diag([-1.0, 1.0, -1.0]), np.array([length, 0.0, thickness]))
    raise ValueError(f"turn must be one of {TURNS}, not {turn!r}")


def swung(swing: str, length: float, width: float) -> Frame:
    """Return the map from the table frame of a blank swung round on the table to its table frame before.

    swing: of SWINGS.  length, width: of the blank as it lies before, along x and y, mm; a quarter turn
    exchanges them.  Both frames have their origin at the left front corner of the blank as it lies.
    "quarter left": (x, y) -> (y, W-x) back.  Exact but for rounding.
    Source: rotations by quarter turns; checked against scipy's Rotation in tests.
    """
    if swing == "none":
        return IDENTITY
    if swing == "quarter left":
        return Frame([[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]], [0.0, width, 0.0])
    if swing == "half":
        return Frame(np.diag([-1.0, -1.0, 1.0]), [length, width, 0.0])
    if swing == "quarter right":
        return Frame([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]], [length, 0.0, 0.0])
    raise ValueError(f"swing must be one of {SWINGS}, not {swing!r}")


def misplaced(dx: float, dy: float, dz: float, degrees: float, about: tuple[float, float]) -> Frame:
    """Return a misplacement of the blank on the table: a turn about z at `about`, then a shift.

    dx, dy, dz mm; degrees counter-clockwise seen from above; about (x, y) mm.
    """
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    matrix = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    centre = np.array([about[0], about[1], 0.0])
    return Frame(matrix, centre - matrix @ centre + np.array([dx, dy, dz]))
