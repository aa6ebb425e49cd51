"""What is done to the blank between the setups: resin poured, a face planed, a size sawn.  Lengths in mm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

POUR, THICKNESS, SAW = "pour", "thickness", "saw"
DOINGS = (POUR, THICKNESS, SAW)
TOOLS = ("planer", "surfacing cutter")
RESIN_DENSITY = 1100.0  # kg/m3: common practice, no source


@dataclass(frozen=True, slots=True)
class Step:
    """One thing done to the blank after a setup has run; steps after the same setup follow in their order.

    do: of DOINGS.  after: index of the setup.  side: 1 or 2: the side that lies up while resin is poured, or
    the face that is taken off.
    Of a pour: below mm: its level under that face, or over mm: how high it stands over it; the other is None.
    outline: places (x, y) mm, blank frame: every hollow that reaches into it is filled; None: every hollow of
    the side.  density kg/m3.  most_depth mm: the deepest that may be poured at once, None when not stated.
    is_closed: openings below and at the edges are closed with tape or a dam.
    Of a thickness: thickness mm: what is left, measured from the other face.  tool: of TOOLS.
    Of sawing: box (x0, y0, x1, y1) mm, blank frame: what is left in plan.
    """

    do: str
    after: int
    side: int
    below: float | None = None
    over: float | None = None
    outline: tuple[tuple[float, float], ...] | None = None
    density: float = RESIN_DENSITY
    most_depth: float | None = None
    is_closed: bool = False
    thickness: float | None = None
    tool: str = TOOLS[0]
    box: tuple[float, float, float, float] | None = None

    @property
    def up(self) -> int:
        """+1 for side 1, -1 for side 2: the way its face looks along z of the blank frame."""
        return 1 if self.side == 1 else -1


@dataclass(frozen=True, slots=True)
class Body:
    """The box between the faces of the blank at some moment: low, high (x, y, z) mm, blank frame.

    What was cut into the faces, and resin that stands over them, does not count.
    """

    low: tuple[float, float, float]
    high: tuple[float, float, float]

    @property
    def length(self) -> float:
        """Its size along x, mm."""
        return self.high[0] - self.low[0]

    @property
    def width(self) -> float:
        """Its size along y, mm."""
        return self.high[1] - self.low[1]

    @property
    def thickness(self) -> float:
        """Its size along z, mm."""
        return self.high[2] - self.low[2]

    def face(self, up: int) -> float:
        """Return the height of the face that looks up (+1) or down (-1) in the blank frame, z in mm."""
        return self.high[2] if up > 0 else self.low[2]

    def after(self, step: Step) -> Body:
        """Return the box after a step: a blank thinner than it is to be stays as it is."""
        if step.do == SAW:
            x0, y0, x1, y1 = step.box
            (lx, ly, lz), (hx, hy, hz) = self.low, self.high
            return Body((max(lx, x0), max(ly, y0), lz), (min(hx, x1), min(hy, y1), hz))
        if step.do != THICKNESS or step.thickness >= self.thickness:
            return self
        (x0, y0, z0), (x1, y1, z1) = self.low, self.high
        if step.up > 0:
            return Body(self.low, (x1, y1, z0 + step.thickness))
        return Body((x0, y0, z1 - step.thickness), self.high)


def stands_over(steps: Sequence[Step], side: int) -> float:
    """Return how far resin stands over the face of a side after some steps, mm, if nothing was cut off it."""
    over = 0.0
    for step in steps:
        if step.side == side:
            over = 0.0 if step.do == THICKNESS else max(over, step.over or 0.0)
    return over


def body_after(length: float, width: float, thickness: float, steps: Sequence[Step]) -> Body:
    """Return the box of a blank of these sizes, mm, after some steps."""
    body = Body((0.0, 0.0, 0.0), (length, width, thickness))
    for step in steps:
        body = body.after(step)
    return body
