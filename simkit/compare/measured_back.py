"""How the second side lies against the first, as the operator sees it on the table: what the seam shows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simkit.compare.seam_fit import ShiftFit
from simkit.frames import swung, turned


@dataclass(frozen=True)
class MeasuredBack:
    """How side 2 lies in a setup, against side 1.

    setup: its name.  right, back mm and degrees (counter-clockwise from above): about the middle of the blank
    where the turn is seen, else about the middle of the seam.  bound (3,): of these, mm, mm and degrees.
    is_seen (3,): what is not is 0, its bound infinite.
    """

    setup: str
    right: float
    back: float
    degrees: float
    bound: tuple[float, float, float]
    is_seen: tuple[bool, bool, bool]

    @property
    def words(self) -> str:
        """In words, "" where the seam shows nothing."""
        within = " \N{PLUS-MINUS SIGN} "
        right, back, turn = (round(one, digits) + 0.0 for one, digits in
                             zip((self.right, self.back, self.degrees), (3, 3, 4), strict=True))  # fmt: skip
        parts = [
            f"{abs(right):.3f}{within}{self.bound[0]:.3f} mm {'left' if right < 0 else 'right'}",
            f"{abs(back):.3f}{within}{self.bound[1]:.3f} mm {'forward' if back < 0 else 'back'}",
            f"turned {abs(turn):.4f}{within}{self.bound[2]:.4f} degrees {'right' if turn < 0 else 'left'}",
        ]
        names = ("shift left and right", "shift front and back", "turn")
        hidden = [name for name, seen in zip(names, self.is_seen, strict=True) if not seen]
        if len(hidden) == 3:
            return ""
        told = ", ".join(part for part, seen in zip(parts, self.is_seen, strict=True) if seen)
        return told + (f"; not observable: {', '.join(hidden)}" if hidden else "")


def measured_back(
    fit: ShiftFit, setup: str, turn: str, swing: str, size: tuple[float, float, float]
) -> MeasuredBack:
    """Return how side 2 lies in a setup that holds the blank turned over.

    fit: of the seam, blank frame.  setup: its name.  turn, swing: how it holds the blank.  size mm: of the
    blank.  In the directions, and about the place, in which a person states a shift and a turn.

    Bound: from the middle of the seam to that of the blank, (x, y) apart, a turn t carries a shift of
    (-y t, x t); so a turn that may be off by u adds |y| u and |x| u, and what is left out of the rotation
    hypot(x, y) t^2 / 2.
    """
    length, width, _ = size
    lie = turned(turn, *size).after(swung(swing, length, width))
    is_seen = np.array(fit.is_observable, bool)
    degrees = -fit.turn_degrees if is_seen[2] else 0.0
    away = np.array([length / 2, width / 2]) - np.array(fit.about)
    shift = -np.array([fit.dx, fit.dy]) + np.radians(degrees) * np.array([-away[1], away[0]])
    bound = np.array(fit.bound[:2], float)
    if is_seen[2]:
        bound = bound + np.radians(fit.bound[2]) * np.abs(away[::-1])
        bound = bound + np.hypot(*away) * np.radians(degrees) ** 2 / 2
    plan = np.abs(lie.matrix[:2, :2])  # a quarter turn at most changes the axes, nothing mixes them
    axes = plan.argmax(axis=0)
    seen_as, bound = is_seen[:2][axes], bound[axes]
    right, back = np.where(seen_as, shift @ lie.matrix[:2, :2], 0.0)
    return MeasuredBack(
        setup, float(right), float(back), float(degrees * lie.plan_sense),
        (*(float(one) for one in bound), float(fit.bound[2])),
        (*(bool(one) for one in seen_as), bool(is_seen[2])),
    )  # fmt: skip
