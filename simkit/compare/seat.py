"""How a turned piece seats in its jig: both as cut, the piece moved a little until it drops deepest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog
from scipy.spatial import ConvexHull, QhullError

from simkit.compare.edges import rims
from simkit.compare.relief import relief_of
from simkit.compare.seat_walls import REACH, SAME_HEIGHT, TURN, Heights, Pose, Walls, step_rows
from simkit.stock.field import Lattice

BOUND = 0.02  # mm in plan: how far the room between upright walls may be off
LOOKS = 14  # steps of the search, each with exact heights
SLOPE = 0.005  # mm: over which slopes are taken
MOST_ROWS = 300  # of a linear program, added at a time
MOST_CELLS = 40_000  # of the piece looked at in the search
FINE = 0.005  # mm: to this a single place of contact is found


@dataclass(frozen=True)
class Seat:
    """How a piece seats.

    room mm: at the best place, the least distance in plan between upright walls of piece and jig, negative
        where they would overlap by as much; None where no walls face each other.  Within room_bound.
    stands_up mm: how far above its stated height it comes to rest, negative: below.  Within stands_up_bound.
    pose: where that is.  contacts (n, 3) mm, jig frame: where it touches, to a cell; first: one of them, in
        the middle, where it is highest thereabouts, in plan within first_bound mm.
    rests_on: "table", "jig" or "table and jig".
    mass_centre (x, y) mm, jig frame.  tips mm: how far that lies outside what it rests on, negative: inside.
    play_shift: (left, right, front, back) mm from the pose, at most REACH; play_turn: degrees either way.
    relief: outlines (x, y) mm in the jig's frame, of what to take away from it; relief_holes: of each the
        outlines within it of what may stay.
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
    first_bound: float
    rests_on: str
    mass_centre: tuple[float, float]
    tips: float
    play_shift: tuple[float, float, float, float] | None
    play_turn: tuple[float, float] | None
    relief: list[np.ndarray]
    relief_holes: list[list[np.ndarray]]
    clearance: np.ndarray
    lattice: Lattice
    piece_walls: np.ndarray
    jig_walls: np.ndarray

    @property
    def relief_places(self) -> list[np.ndarray]:
        """A place (x, y) mm in each outline of the relief, and in none of its holes."""
        return [
            outline[0] if holes else outline.mean(axis=0)
            for outline, holes in zip(self.relief, self.relief_holes, strict=True)
        ]

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
    it for the lowest rest.  The piece is not tilted.  The search begins at the stated place, and is local:
    where a piece can come to rest in two ways, the one near the stated place is told.
    """
    pose = Pose(0.0, 0.0, 0.0, (float(mass[0]), float(mass[1])))
    walls = Walls(bottom, jig, rims(bottom, lattice), rims(jig, jig_lattice), pose)
    pose, room = _most_room(walls, pose)
    xs, ys = np.meshgrid(lattice.x(), lattice.y())
    cells = np.column_stack([xs.ravel(), ys.ravel()])
    low = bottom(cells)
    points, lows = _samples(cells, low, walls)
    if room is None or room >= 0:
        pose = _lowest(walls, jig, points, lows, pose)
    on_jig = jig(pose.apply(points))
    top = np.concatenate([on_jig - lows, _at_jig_rims(walls, pose)])
    stands_up, bound = _closer(bottom, jig, pose, points, on_jig - lows, lattice.cell, float(top.max()))
    places = np.concatenate([pose.apply(points), walls.jig_rims.at])
    is_touching = top >= top.max() - SAME_HEIGHT
    touching = places[is_touching]
    height = np.concatenate([on_jig, walls.jig_rims.high])[is_touching]
    contacts = np.column_stack([touching, height])
    centre = pose.apply(np.asarray(mass, float)[None])[0]
    on_table = height <= SAME_HEIGHT
    with np.errstate(invalid="ignore"):
        clearance = np.where(np.isfinite(low), low + stands_up - jig(pose.apply(cells)), np.nan)
    middle = np.argmin(np.hypot(*(touching - touching.mean(axis=0)).T))
    first, first_bound = _highest_near(bottom, jig, pose, touching[middle], lattice.cell)
    relief = relief_of(bottom, jig, pose, lattice, walls) if stands_up > bound + SAME_HEIGHT else []
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
        first=first,
        first_bound=first_bound,
        rests_on="table" if on_table.all() else "table and jig" if on_table.any() else "jig",
        mass_centre=(float(centre[0]), float(centre[1])),
        tips=outside_by(touching, centre),
        play_shift=shift,
        play_turn=turn,
        relief=[outline for outline, _ in relief],
        relief_holes=[holes for _, holes in relief],
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


def _box(pose: Pose, trust: float, arm: float) -> list[tuple[float, float]]:
    """Return how far a step may go: `trust` mm at most, and not beyond what is looked at."""
    now, most = (pose.dx, pose.dy, np.radians(pose.degrees)), (REACH, REACH, np.radians(TURN))
    steps = (trust, trust, trust / arm)
    return [
        (max(-s, -m - n), min(s, m - n)) for s, m, n in zip(steps, most, now, strict=True)
    ]  # none is empty: the pose lies within


def _best(cost: list[int], table: np.ndarray, limits: np.ndarray, box) -> np.ndarray | None:
    """Return the step (dx, dy, radians) of least cost . v with table (n, 4) v <= limits (n,), or None.

    Of the many rows few bind, so the program is solved with some, then with those that its answer breaks too.
    Exact: it ends when none is broken by more than 1e-9.
    """
    bounds = [*box, (-1e6, 1e6)]
    used = np.unique(
        np.concatenate(
            [np.argsort(limits)[:MOST_ROWS], np.arange(0, len(limits), 1 + len(limits) // MOST_ROWS)]
        )
    )
    while True:
        found = linprog(cost, table[used], limits[used], bounds=bounds)
        if found.status != 0:
            return None
        over = table @ found.x - limits
        over[used] = 0.0
        broken = np.flatnonzero(over > 1e-9)
        if not len(broken):
            return found.x[:3]
        used = np.concatenate([used, broken[np.argsort(-over[broken])[:MOST_ROWS]]])


def _most_room(walls: Walls, pose: Pose) -> tuple[Pose, float | None]:
    """Return the place with the most room between upright walls, and the room; None without walls."""
    best, trust = walls.room(pose), 1.0
    if not np.isfinite(best):
        return pose, None
    arm = max(walls.farthest, 1.0)
    for _ in range(LOOKS):
        rows, gaps = walls.rows(pose, best + 4 * trust)
        table = np.column_stack([rows, np.ones(len(rows))])
        step = _best([0, 0, 0, -1], table, gaps, _box(pose, trust, arm))
        if step is None:
            break
        new = pose.moved(step)
        room = walls.room(new)
        if room > best + 1e-5:
            pose, best = new, room
        else:
            trust /= 4
            if trust < 1e-3:
                break
    return pose, best


def _samples(cells: np.ndarray, low: np.ndarray, walls: Walls) -> tuple[np.ndarray, np.ndarray]:
    """Return the points of the piece that are looked at, and its lower surface there."""
    is_wood = np.isfinite(low)
    at = walls.piece_rims.at
    return np.concatenate([cells[is_wood], at]), np.concatenate([low[is_wood], walls.piece_rims.low])


def _at_jig_rims(walls: Walls, pose: Pose) -> np.ndarray:
    """Return how high the upper rims of the jig stand above the piece's lower surface, -inf without wood."""
    return walls.jig_rims.high - walls.bottom(pose.back(walls.jig_rims.at))


def _lowest(walls: Walls, jig: Heights, points: np.ndarray, low: np.ndarray, pose: Pose) -> Pose:
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
        rows = step_rows(slope[is_sloped], at[is_near][is_sloped], pose)
        most = -here[is_near][is_sloped]
        walls_rows, gaps = walls.rows(pose, 4 * trust)
        table = np.concatenate(
            [
                np.column_stack([rows, -np.ones(len(rows))]),
                np.column_stack([walls_rows, np.zeros(len(walls_rows))]),
            ]
        )
        limits = np.concatenate([most, np.maximum(gaps, 0.0)])
        step = _best([0, 0, 0, 1], table, limits, _box(pose, trust, arm))
        if step is None:
            break
        new = pose.moved(step)
        rest = float((jig(new.apply(points)) - low).max())
        if rest < best - 1e-5 and walls.room(new) >= 0:
            pose, best = new, rest
        else:
            trust /= 4
            if trust < 1e-3:
                break
    return pose


def _highest_near(bottom, jig, pose: Pose, place, cell: float) -> tuple[tuple[float, float, float], float]:
    """Return where the jig stands highest above the piece near a place (2,) mm, jig frame, and how near.

    Looked for up to a cell away on points that draw nearer each other, to FINE.  Where it touches over an
    area, and nothing is higher, the place itself.
    """

    def over(points):
        with np.errstate(invalid="ignore"):
            return jig(points) - bottom(pose.back(points))

    steps = (np.stack(np.meshgrid(np.arange(9), np.arange(9)), axis=-1).reshape(-1, 2) - 4) / 4
    best, size = np.asarray(place, float), cell
    value = float(over(best[None])[0])
    while True:
        near = best + steps * size
        its = np.nan_to_num(over(near), nan=-np.inf)
        k = int(np.argmax(its))
        if its[k] > value + 1e-6 or not np.isfinite(value):
            best, value = near[k], float(its[k])
        if size / 4 <= FINE:
            break
        size /= 2
    height = float(jig(best[None])[0])
    return (float(best[0]), float(best[1]), height), size / 4


def _closer(bottom, jig, pose, points, here, cell, top) -> tuple[float, float]:
    """Return the highest of jig less piece, on finer and finer points near the highest, and a bound, mm."""
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
