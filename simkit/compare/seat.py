"""How a turned piece seats in its jig: both as cut, the piece moved a little until it drops deepest."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import ndimage
from scipy.optimize import linprog
from scipy.spatial import ConvexHull, QhullError, cKDTree

from simkit.compare.edges import SPACING, Rims, rims
from simkit.stock.field import Lattice

REACH = 2.0  # mm: how far the place is looked for about the stated one
TURN = 2.0  # degrees: the same
SAME_HEIGHT = 0.02  # mm: surfaces this near touch
BOUND = 0.02  # mm in plan: how far the room between upright walls may be off
LOOKS = 14  # steps of the search, each with exact heights
LEVELS = 40  # heights of rims told apart
SLOPE = 0.005  # mm: over which slopes are taken
MOST_CELLS = 40_000  # of the piece looked at in the search

Heights = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Pose:
    """Where the piece lies off its stated place: shift (dx, dy) mm, then degrees about `about`, jig frame."""

    dx: float
    dy: float
    degrees: float
    about: tuple[float, float]

    def apply(self, points: np.ndarray) -> np.ndarray:
        """Return points (n, 2) of the piece at its stated place, moved."""
        a = np.radians(self.degrees)
        matrix = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
        return (points - self.about) @ matrix.T + self.about + (self.dx, self.dy)

    def back(self, points: np.ndarray) -> np.ndarray:
        """Return the way back of `apply`."""
        a = np.radians(self.degrees)
        matrix = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
        return (points - self.about - (self.dx, self.dy)) @ matrix + self.about

    def moved(self, step: np.ndarray) -> Pose:
        """Return the pose after a small step (dx mm, dy mm, turn in radians)."""
        return Pose(self.dx + step[0], self.dy + step[1], self.degrees + np.degrees(step[2]), self.about)


@dataclass(frozen=True)
class Seat:
    """How a piece seats.

    room mm: at the best place, the least distance in plan between upright walls of piece and jig, negative
        where they would overlap by as much; None where no walls face each other.  Within room_bound.
    stands_up mm: how far above its stated height it comes to rest, negative: below.  Within stands_up_bound.
    pose: where that is.  contacts (n, 3) mm, jig frame: where it touches; first: one of them, in the
        middle.  rests_on: "table", "jig" or "table and jig".
    mass_centre (x, y) mm, jig frame.  tips mm: how far that lies outside what it rests on, negative: inside.
    play_shift: (left, right, front, back) mm from the pose, at most REACH; play_turn: degrees either way.
    relief: outlines (x, y) mm in the jig's frame, of what to take away from it.
    clearance (ny, nx) mm over `lattice` (the piece at its stated place): piece less jig as it rests, NaN
        where the piece has no wood.
    piece_walls, jig_walls (n, 2) mm, jig frame: points on the upright walls of the piece as it rests, and of
        the jig, a few hundredths apart.
    """

    room: float | None
    room_bound: float
    stands_up: float
    stands_up_bound: float
    pose: Pose
    contacts: np.ndarray
    first: tuple[float, float, float]
    rests_on: str
    mass_centre: tuple[float, float]
    tips: float
    play_shift: tuple[float, float, float, float] | None
    play_turn: tuple[float, float] | None
    relief: list[np.ndarray]
    clearance: np.ndarray
    lattice: Lattice
    piece_walls: np.ndarray
    jig_walls: np.ndarray

    @property
    def drops_in(self) -> bool:
        """Whether the upright walls let it in."""
        return self.room is None or self.room >= 0


def seat(bottom: Heights, jig: Heights, lattice: Lattice, jig_lattice: Lattice, mass: np.ndarray) -> Seat:
    """Return how a piece seats in a jig.

    bottom(points) mm: the piece's lower surface at its stated place and height, jig frame, inf without wood.
    jig(points) mm: the jig's upper surface, 0 where it is open or ends: the table.  Both exact at any points.
    lattice: cells over the piece at its stated place.  jig_lattice: over the jig.  mass (x, y) mm.

    Upright walls: the distance of every rim point from the rims it could meet, and linear programs that move
    the piece for the largest room, each step with distances measured anew.  Sloped ones: programs that move
    it for the lowest rest.  The piece is not tilted.  The search begins at the stated place, and is local.
    """
    walls = _Walls(bottom, jig, rims(bottom, lattice), rims(jig, jig_lattice))
    pose = Pose(0.0, 0.0, 0.0, (float(mass[0]), float(mass[1])))
    pose, room = _most_room(walls, pose)
    xs, ys = np.meshgrid(lattice.x(), lattice.y())
    cells = np.column_stack([xs.ravel(), ys.ravel()])
    low = bottom(cells)
    points, lows = _samples(cells, low, walls)
    if room is None or room >= 0:
        pose = _lowest(walls, jig, points, lows, pose)
    top = np.concatenate([jig(pose.apply(points)) - lows, _at_jig_rims(walls, pose)])
    stands_up, bound = _closer(bottom, jig, pose, points, lows, lattice.cell, float(top.max()))
    places = np.concatenate([pose.apply(points), walls.jig_rims.at])
    touching = places[top >= top.max() - SAME_HEIGHT]
    height = np.concatenate([jig(pose.apply(points)), walls.jig_rims.high])[top >= top.max() - SAME_HEIGHT]
    contacts = np.column_stack([touching, height])
    centre = pose.apply(np.asarray(mass, float)[None])[0]
    on_table = height <= SAME_HEIGHT
    with np.errstate(invalid="ignore"):
        clearance = np.where(np.isfinite(low), low + stands_up - jig(pose.apply(cells)), np.nan)
    shift = turn = None
    if room is not None and room >= 0:
        shift = tuple(walls.march(pose, np.array(d)) for d in ((-1, 0, 0), (1, 0, 0), (0, -1, 0), (0, 1, 0)))
        turn = tuple(float(np.degrees(walls.march(pose, np.array((0, 0, d))))) for d in (1, -1))
    return Seat(
        room=room,
        room_bound=BOUND,
        stands_up=stands_up,
        stands_up_bound=bound,
        pose=pose,
        contacts=contacts,
        first=tuple(float(v) for v in contacts[np.argmin(np.hypot(*(touching - touching.mean(axis=0)).T))]),
        rests_on="table" if on_table.all() else "table and jig" if on_table.any() else "jig",
        mass_centre=(float(centre[0]), float(centre[1])),
        tips=outside_by(touching, centre),
        play_shift=shift,
        play_turn=turn,
        relief=_relief(bottom, jig, pose, lattice, walls) if stands_up > bound + SAME_HEIGHT else [],
        clearance=clearance.reshape(lattice.shape),
        lattice=lattice,
        piece_walls=pose.apply(walls.piece_rims.at),
        jig_walls=walls.jig_rims.at,
    )


def outside_by(points: np.ndarray, centre: np.ndarray) -> float:
    """Return how far a place lies outside the hull of points (n, 2), mm; negative: inside by as much."""
    away = points - centre
    try:
        hull = ConvexHull(points)
    except (QhullError, ValueError):  # fewer than three, or on a line: it rocks about that
        return _from_line(away)
    most = float((hull.equations[:, :2] @ centre + hull.equations[:, 2]).max())
    return most if most <= 0 else _from_line(away[hull.vertices])


def _from_line(away: np.ndarray) -> float:
    """Return the distance of the origin from the closed line through points (n, 2), never negative."""
    ends = np.roll(away, -1, axis=0)
    along = ends - away
    length = np.maximum((along**2).sum(axis=1), 1e-300)
    part = np.clip(-(away * along).sum(axis=1) / length, 0, 1)
    return float(np.hypot(*(away + part[:, None] * along).T).min())


class _Walls:
    """The upright walls of piece and jig: which of them can meet, and how far apart they are."""

    def __init__(self, bottom: Heights, jig: Heights, piece_rims: Rims, jig_rims: Rims):
        self.bottom, self.jig, self.piece_rims, self.jig_rims = bottom, jig, piece_rims, jig_rims
        self.along = np.concatenate([_along(piece_rims.at), _along(jig_rims.at)])
        self.mine = _groups(piece_rims.low, jig_rims.at, jig_rims.low, jig_rims.high, 1)
        self.other = _groups(-jig_rims.high, piece_rims.at, -piece_rims.high, -piece_rims.low, 1)

    def gaps(self, pose: Pose) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return signed gaps (n,) mm, how the piece would close each (n, 2), and places (n, 2)."""
        return self._all(pose)[:3]

    def _all(self, pose: Pose):
        at = pose.apply(self.piece_rims.at)
        found = _signed(self.mine, at, self.jig(at) > self.piece_rims.low + SAME_HEIGHT)
        back = pose.back(self.jig_rims.at)
        other = _signed(self.other, back, self.bottom(back) < self.jig_rims.high - SAME_HEIGHT)
        # What a point of the jig sees in the piece's frame moves the other way.
        ways = -(pose.apply(back + other[1]) - self.jig_rims.at)
        gap = np.concatenate([found[0], other[0]])
        is_known = np.isfinite(gap)
        way, places = np.concatenate([found[1], ways]), np.concatenate([at, self.jig_rims.at])
        return gap[is_known], way[is_known], places[is_known], self.along[is_known]

    def rows(self, pose: Pose, most: float) -> tuple[np.ndarray, np.ndarray]:
        """Return what a step takes from each gap below `most` (n, 3), and these gaps (n,) mm.

        Left out: overlapping points whose nearest way out runs along their own wall.  Near a corner that is
        the other wall's, and the points beside them know better.
        """
        gap, way, places, along = self._all(pose)
        is_sure = (gap > 0) | (np.abs((way * along).sum(axis=1)) < 0.5)
        chosen = (gap < most) & (np.abs(gap) > 1e-6) & is_sure
        return _rows(way[chosen], places[chosen], pose), gap[chosen]

    def room(self, pose: Pose) -> float:
        """Return the least gap, mm; inf when no walls can meet."""
        return float(self.gaps(pose)[0].min(initial=np.inf))

    def march(self, pose: Pose, way: np.ndarray) -> float:
        """Return how far the piece can go one way before walls meet, at most TURN or REACH."""
        gap, _, places = self.gaps(pose)
        arm = float(np.hypot(*(places - pose.about).T).max()) if way[2] else 1.0
        most, gone, room = (np.radians(TURN) if way[2] else REACH), 0.0, float(gap.min())
        for _ in range(60):
            if room < 1e-3 or gone >= most:
                break
            gone += room / arm  # nothing on the piece moves farther than its room
            room = self.room(pose.moved(way * gone))
        return min(gone, most)


def _along(at: np.ndarray) -> np.ndarray:
    """Return the direction in which a wall runs at each of its rim points (n, 2), of unit length."""
    if len(at) < 5:
        return np.zeros((len(at), 2))
    _, near = cKDTree(at).query(at, k=5)
    off = at[near] - at[near].mean(axis=1, keepdims=True)
    xx, yy, xy = (off[..., 0] ** 2).sum(1), (off[..., 1] ** 2).sum(1), (off[..., 0] * off[..., 1]).sum(1)
    angle = np.arctan2(2 * xy, xx - yy) / 2
    return np.column_stack([np.cos(angle), np.sin(angle)])


def _groups(mine: np.ndarray, at: np.ndarray, low: np.ndarray, high: np.ndarray, sense: int) -> list:
    """Return (points, tree of the rims they can meet) by levels of height."""
    if not len(mine) or not len(at):
        return []
    step = max(0.05, float(np.ptp(mine)) / LEVELS)
    level = np.floor((mine - mine.min()) / step).astype(np.int64)
    groups = []
    for one in np.unique(level):
        chosen = np.flatnonzero(level == one)
        z = float(mine[chosen].min()) + SAME_HEIGHT
        is_met = (high > z) & (low <= z)
        if is_met.any():
            groups.append((chosen, cKDTree(at[is_met]), at[is_met]))
    return groups


def _signed(groups: list, points: np.ndarray, is_inside: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return signed distances (n,), inf where there is nothing to meet, and ways that close them (n, 2)."""
    gap, way = np.full(len(points), np.inf), np.zeros((len(points), 2))
    for chosen, tree, at in groups:
        distance, nearest = tree.query(points[chosen])
        to = (at[nearest] - points[chosen]) / np.maximum(distance, 1e-12)[:, None]
        sign = np.where(is_inside[chosen], -1.0, 1.0)
        gap[chosen], way[chosen] = sign * distance, sign[:, None] * to
    return gap, way


def _rows(way: np.ndarray, places: np.ndarray, pose: Pose) -> np.ndarray:
    """Return what a step (dx, dy, radians) moves each place along its way (n, 3)."""
    arm = places - np.array(pose.about) - (pose.dx, pose.dy)
    return np.column_stack([way, way[:, 1] * arm[:, 0] - way[:, 0] * arm[:, 1]])


def _box(pose: Pose, trust: float, arm: float) -> list[tuple[float, float]]:
    """Return how far a step may go: `trust` mm at most, and not beyond what is looked at."""
    now, most = (pose.dx, pose.dy, np.radians(pose.degrees)), (REACH, REACH, np.radians(TURN))
    steps = (trust, trust, trust / arm)
    return [
        (max(-s, -m - n), min(s, m - n)) for s, m, n in zip(steps, most, now, strict=True)
    ]  # none is empty: the pose lies within


def _most_room(walls: _Walls, pose: Pose) -> tuple[Pose, float | None]:
    """Return the place with the most room between upright walls, and the room; None without walls."""
    gap, _, places = walls.gaps(pose)
    if not len(gap):
        return pose, None
    best, trust = float(gap.min()), 1.0
    for _ in range(LOOKS):
        arm = max(float(np.hypot(*(places - pose.about).T).max()), 1.0)
        rows, gaps = walls.rows(pose, best + 4 * trust)
        found = linprog(
            [0, 0, 0, -1],
            np.column_stack([rows, np.ones(len(rows))]),
            gaps,
            bounds=[*_box(pose, trust, arm), (None, None)],
        )
        if found.status != 0:
            break
        new = pose.moved(found.x[:3])
        room = walls.room(new)
        if room > best + 1e-5:
            pose, best = new, room
        else:
            trust /= 4
            if trust < 1e-3:
                break
    return pose, best


def _samples(cells: np.ndarray, low: np.ndarray, walls: _Walls) -> tuple[np.ndarray, np.ndarray]:
    """Return the points of the piece that are looked at, and its lower surface there."""
    is_wood = np.isfinite(low)
    at = walls.piece_rims.at
    return np.concatenate([cells[is_wood], at]), np.concatenate([low[is_wood], walls.piece_rims.low])


def _at_jig_rims(walls: _Walls, pose: Pose) -> np.ndarray:
    """Return how high the upper rims of the jig stand above the piece's lower surface, -inf without wood."""
    return walls.jig_rims.high - walls.bottom(pose.back(walls.jig_rims.at))


def _lowest(walls: _Walls, jig: Heights, points: np.ndarray, low: np.ndarray, pose: Pose) -> Pose:
    """Return the place where the piece lies deepest, with its upright walls kept apart."""
    if len(points) > MOST_CELLS:
        chosen = np.linspace(0, len(points) - 1, MOST_CELLS).astype(np.int64)
        points, low = points[chosen], low[chosen]
    arm = max(float(np.hypot(*(points - pose.about).T).max()), 1.0)
    best, trust = float((jig(pose.apply(points)) - low).max()), 0.5
    for _ in range(LOOKS):
        at = pose.apply(points)
        here = jig(at) - low
        is_near = here > best - 8 * trust
        slope = np.column_stack(
            [
                (jig(at[is_near] + step) - jig(at[is_near] - step)) / (2 * SLOPE)
                for step in ((SLOPE, 0.0), (0.0, SLOPE))
            ]
        )
        is_sloped = np.abs(slope).max(axis=1) < 6.0  # a steeper place is a wall, which has its own rows
        rows = _rows(slope[is_sloped], at[is_near][is_sloped], pose)
        most = -here[is_near][is_sloped]
        walls_rows, gaps = walls.rows(pose, 4 * trust)
        table = np.concatenate(
            [
                np.column_stack([rows, -np.ones(len(rows))]),
                np.column_stack([walls_rows, np.zeros(len(walls_rows))]),
            ]
        )
        found = linprog(
            [0, 0, 0, 1],
            table,
            np.concatenate([most, np.maximum(gaps, 0.0)]),
            bounds=[*_box(pose, trust, arm), (None, None)],
        )
        if found.status != 0:
            break
        new = pose.moved(found.x[:3])
        rest = float((jig(new.apply(points)) - low).max())
        if rest < best - 1e-5 and walls.room(new) >= 0:
            pose, best = new, rest
        else:
            trust /= 4
            if trust < 1e-3:
                break
    return pose


def _closer(bottom, jig, pose, points, low, cell, top) -> tuple[float, float]:
    """Return the highest of jig less piece, on finer and finer points near the highest, and a bound, mm."""
    here = jig(pose.apply(points)) - low
    chosen = points[here >= np.sort(here)[-min(len(here), 400)]][:400]
    best, size, change = max(top, float(here.max())), cell, 0.0
    while size > 0.01:
        steps = (np.stack(np.meshgrid(np.arange(5), np.arange(5)), axis=-1).reshape(-1, 2) - 2) * size / 4
        near = (chosen[:, None] + steps[None]).reshape(-1, 2)
        value = jig(pose.apply(near)) - bottom(near)
        if not np.isfinite(value).any():
            break
        order = np.argsort(-value)[:400]
        change = max(float(value[order[0]]) - best, 0.0)
        best, chosen, size = max(best, float(value[order[0]])), near[order], size / 4
    return best, change + SAME_HEIGHT / 2


def _relief(bottom, jig, pose, lattice, walls) -> list[np.ndarray]:
    """Return the least to take off the jig: outlines of where it stands above the piece at its stated height.

    On cells of a quarter of the piece's, each outline the hull of one such place, so that it holds all of it
    but what is narrower than such a cell.
    """
    size = lattice.cell / 4
    xs = np.arange(lattice.origin[0] - 2 * lattice.cell, lattice.x()[-1] + 2 * lattice.cell, size)
    ys = np.arange(lattice.origin[1] - 2 * lattice.cell, lattice.y()[-1] + 2 * lattice.cell, size)
    x, y = np.meshgrid(xs, ys)
    points = np.column_stack([x.ravel(), y.ravel()])
    is_high = (jig(points) > bottom(pose.back(points)) + SAME_HEIGHT).reshape(x.shape)
    gap, _, places = walls.gaps(pose)
    rim = places[gap < 0]  # overlaps too narrow for cells show at the rims
    ix = np.clip(np.rint((rim[:, 0] - xs[0]) / size).astype(int), 0, len(xs) - 1)
    iy = np.clip(np.rint((rim[:, 1] - ys[0]) / size).astype(int), 0, len(ys) - 1)
    is_high[iy, ix] = True
    label, count = ndimage.label(is_high, np.ones((3, 3)))
    outlines = []
    half = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * max(size / 2, SPACING)
    for one in range(1, count + 1):
        at = np.column_stack([x[label == one], y[label == one]])
        corners = (at[:, None] + half[None]).reshape(-1, 2)
        outlines.append(corners[ConvexHull(corners).vertices])
    return outlines
