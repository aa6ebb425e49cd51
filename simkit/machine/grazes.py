"""Rapids held against the wood at many places of their own, not at the centres of a check's cells.

Between the centres of cells a rapid may graze a wall, or the tip of a fine cutter scratch: neither takes
anything from a cell.  So where a rapid comes below what stands within a cell of its way, the wood is asked
for at points under the cutter, exact as it stood when the rapid ran.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter

from simkit.cutters import Cutter
from simkit.frames import Frame
from simkit.machine.room import TOUCH
from simkit.moves.extremes import extremes
from simkit.moves.table import Moves, make_moves
from simkit.stock.cut import cut_heights
from simkit.stock.field import Field

MOST_FOUND = 20  # in a setup: more tell nothing new
MOST_POINTS = 200_000  # of one rapid, farther apart from there on
MOST_WORK = 4_000_000  # moves near the rapids asked about in a setup; what comes behind is not asked


@dataclass(frozen=True)
class Graze:
    """A rapid that met wood: its row among the job's, how deep mm along the axis, where (3,) mm, blank frame.

    The place is the lowest wood taken there.
    """

    row: int
    depth: float
    at: tuple[float, float, float]


class WoodThen:
    """The wood of a setup as it stood before any of its moves, at any points.

    moves: of the job; one: rows of the setup.  frame: program frame -> blank frame.  start(points (n, 2)):
    the height of what stood there before the setup on the side that the frame cuts, blank-frame z, and
    whether anything stood there.
    """

    def __init__(
        self,
        moves: Moves,
        one: slice,
        frame: Frame,
        cutters: Mapping[int, Cutter],
        start: Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]],
    ):
        self.moves, self.one, self.frame, self.cutters, self.start = moves, one, frame, cutters, start
        part = moves[one]
        radius = np.zeros(len(part))
        for number, cutter in cutters.items():
            radius[part.tool == number] = cutter.radius
        low, high = extremes(part.in_frame(frame))
        self.radius = radius
        self.low, self.high = low[:, :2] - radius[:, None], high[:, :2] + radius[:, None]
        self.work = 0

    def met(self, way: Moves, until: int, points: np.ndarray) -> Graze | None:
        """Return what one rapid meets at points (n, 2), blank frame, until: the setup's moves run before it.

        Its row is `until`, a row among the job's.
        """
        up, ran = self.frame.up, until - self.one.start
        wood, stands = self.start(points)
        points, wood = points[stands], wood[stands]
        if not len(points):
            return None
        low, high = points.min(axis=0), points.max(axis=0)
        near = np.flatnonzero(((self.low[:ran] <= high) & (self.high[:ran] >= low)).all(axis=1))
        self.work += len(near) + ran // 100
        if len(near):
            wood, _ = cut_heights(points, self.moves[self.one.start + near], self.cutters, self.frame, wood)
        left, _ = cut_heights(points, way, self.cutters, self.frame, wood)
        depth = up * (wood - left)
        worst = int(np.argmax(depth))
        if depth[worst] <= TOUCH:
            return None
        x, y = points[worst]
        return Graze(until, float(depth[worst]), (float(x), float(y), float(left[worst])))


def grazes(wood: WoodThen, before: Field, told: np.ndarray) -> list[Graze]:
    """Return the rapids of a setup that meet wood which the cells do not tell, in the order they run.

    before: what stands before the setup, blank frame.  told (n,) bool: the rapids that are told already.
    All that is told is certain: heights are exact at the points.  Points are half a cell apart along and
    across the way, the outermost TOUCH inside the cutter's edge: a wall, or a face along the way, that
    reaches farther in than that is met; a rib or spire that no point falls on is not.  Rapids straight up
    meet nothing that their cutter has not met.  At most MOST_FOUND are told and about MOST_WORK moves looked
    at.
    """
    part, frame = wood.moves[wood.one], wood.frame
    up, lattice = frame.up, before.lattice
    seen = part.in_frame(frame)
    begin, end = up * seen.start[:, 2], up * seen.end[:, 2]
    tallest = np.where(before.is_solid, up * (before.upper if up > 0 else before.lower), -np.inf)
    tallest = maximum_filter(tallest, 3, mode="nearest")
    is_way = (seen.start[:, :2] != seen.end[:, :2]).any(axis=1) | (end < begin)
    asked = part.rapid & is_way & ~told & (np.minimum(begin, end) < tallest.max() - TOUCH)
    found: list[Graze] = []
    for local in np.flatnonzero(asked):
        radius = wood.radius[local]
        lowest = min(begin[local], end[local])
        points = under(seen.start[local, :2], seen.end[local, :2], radius - TOUCH, 0.5 * lattice.cell)
        corner, size = np.array(lattice.origin), np.array([lattice.nx, lattice.ny]) * lattice.cell
        points = points[((points > corner) & (points < corner + size)).all(axis=1)]
        points = points[tallest[lattice.cell_at(*points.T)] > lowest + TOUCH]
        if not len(points):
            continue
        row = wood.one.start + int(local)
        met = wood.met(wood.moves[row : row + 1], row, points)
        found += [met] if met is not None else []
        if len(found) >= MOST_FOUND or wood.work > MOST_WORK:
            break
    return found


@dataclass(frozen=True)
class FirstWay:
    """A program begins with rapids from where the one before it ended, and they lead through wood.

    line: of the rapid.  ended: name of the program before.  graze: what it meets; its row is the first one of
    the program that begins.
    """

    line: int
    ended: str
    graze: Graze


def first_ways(wood: WoodThen, reads: Sequence, step: float) -> list[FirstWay]:
    """Return the ways from the end of one program of a setup to the first place of the next that meet wood.

    reads: (path, ProgramRead) of the setup, in the order they run.  step mm: between points.
    Asked where the tip's place at the end is known and the next program neither goes to a machine place nor
    changes to another cutter first: it then starts where the other ended.  Points as for `grazes`.
    """
    found, row, last = [], wood.one.start, None
    for _, read in reads:
        moves = read.moves
        if last is not None and len(moves):
            way = _first_way(wood, last, read, row, step)
            found += [way] if way is not None else []
        row += len(moves)
        last = read if len(moves) else last
    return found


def _first_way(wood: WoodThen, last, read, row: int, step: float) -> FirstWay | None:
    here, number = last.ends_at, int(last.moves.tool[-1])
    if None in here or number not in wood.cutters:
        return None
    for line, *place, tool in read.opening:
        if tool not in (None, number):
            return None
        there = tuple(old if new is None else new for old, new in zip(here, place, strict=True))
        way = make_moves(programs=("",), start=[here], end=[there], rapid=[True], tool=[number])
        seen = way.in_frame(wood.frame)
        points = under(seen.start[0, :2], seen.end[0, :2], wood.cutters[number].radius - TOUCH, step)
        met = None if here[:2] == there[:2] and there[2] >= here[2] else wood.met(way, row, points)
        if met is not None:
            return FirstWay(line, last.name, met)
        here = there
    return None


def under(start: np.ndarray, end: np.ndarray, radius: float, step: float) -> np.ndarray:
    """Return points (n, 2) under a cutter on its way from start (2,) to end (2,) mm in plan.

    On lines along the way and on rings round its ends, the outermost at `radius`, no farther apart than
    `step` mm, or as far as MOST_POINTS makes them.
    """
    radius = max(radius, 0.0)
    length = float(np.hypot(*(end - start)))
    step = max(step, float(np.sqrt((2 * radius * length + 2 * np.pi * radius**2) / MOST_POINTS)))
    rings = [np.zeros((1, 2))]
    for r in np.linspace(0.0, radius, int(np.ceil(radius / step)) + 1)[1:]:
        turn = np.linspace(0, 2 * np.pi, max(int(np.ceil(2 * np.pi * r / step)), 8), endpoint=False)
        rings.append(r * np.column_stack([np.cos(turn), np.sin(turn)]))
    disc = np.concatenate(rings)
    if length == 0:
        return start + disc
    along = (end - start) / length
    s = np.linspace(0, length, int(np.ceil(length / step)) + 1)
    # One of the lines is the middle: there the tip of a pointed cutter runs.
    half = int(np.ceil(radius / step))
    u = np.linspace(-radius, radius, 2 * half + 1)
    lines = s[:, None, None] * along + u[None, :, None] * np.array([-along[1], along[0]])
    return np.concatenate([start + lines.reshape(-1, 2), start + disc, end + disc])
