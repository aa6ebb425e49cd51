"""A piece a little off its stated place, and the room between its upright walls and those of the jig."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from simkit.compare.edges import Rims

REACH = 2.0  # mm: how far the place is looked for about the stated one
TURN = 2.0  # degrees: the same
SAME_HEIGHT = 0.02  # mm: surfaces this near touch
LEVELS = 40  # heights of rims told apart
LIFTED = 0.5  # a point that lies less deep than this part of its way out is lifted
FEW = 20  # of so many points one is asked first

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


class Walls:
    """The upright walls of piece and jig: which of them can meet, and how far apart they are.

    A gap changes by no more than the piece moves.  So the gaps at the stated place tell which points can
    matter at another one, and only these are asked there; points too far to ever matter are left out.
    """

    def __init__(self, bottom: Heights, jig: Heights, piece_rims: Rims, jig_rims: Rims, stated: Pose):
        self.bottom, self.jig, self.piece_rims, self.jig_rims = bottom, jig, piece_rims, jig_rims
        self.stated, self.count = stated, len(piece_rims.at)
        self.along = np.concatenate([_along(piece_rims.at), _along(jig_rims.at)])
        self.trees: list[tuple[cKDTree, np.ndarray, np.ndarray]] = []
        self.tree_of = np.full(len(self.along), -1)
        self._pair(piece_rims.low, jig_rims.at, jig_rims.low, jig_rims.high, 0)
        self._pair(-jig_rims.high, piece_rims.at, -piece_rims.high, -piece_rims.low, self.count)
        met = np.flatnonzero(self.tree_of >= 0)
        self.gap = np.full(len(self.along), np.inf)  # at the stated place
        self.farthest = 0.0
        self.nearest: int | None = None  # the point of the least gap, None where no walls can meet
        if len(met):
            at = np.concatenate([piece_rims.at, jig_rims.at])[met]
            self.farthest = float(np.hypot(*(at - stated.about).T).max())
            least = float(self._ask(stated, met[::FEW])[0].min())
            most = math.hypot(REACH, REACH) + math.radians(TURN) * self.farthest
            far = max(least, 0.0) + 2 * most if np.isfinite(least) else np.inf
            gap, _, _, away = self._ask(stated, met, far)
            self.gap[met] = away  # what lies under now is asked again
            self.nearest = int(met[gap.argmin()]) if np.isfinite(gap).any() else None

    def _pair(self, mine: np.ndarray, at: np.ndarray, low: np.ndarray, high: np.ndarray, first: int) -> None:
        """Give each point, by levels of height, a tree of the rims it can meet.  first: index of point 0."""
        if not len(mine) or not len(at):
            return
        step = max(0.05, float(np.ptp(mine)) / LEVELS)
        level = np.floor((mine - mine.min()) / step).astype(np.int64)
        for one in np.unique(level):
            chosen = np.flatnonzero(level == one)
            z = float(mine[chosen].min()) + SAME_HEIGHT
            is_met = (high > z) & (low <= z)
            if is_met.any():
                self.tree_of[first + chosen] = len(self.trees)
                self.trees.append((cKDTree(at[is_met]), at[is_met], high[is_met]))

    def _ask(self, pose: Pose, chosen: np.ndarray, far: float = np.inf):
        """Return signed gaps (n,) mm of points, inf beyond `far`, what closes them (n, 2), places, distances.

        Where a point lies far less deep under the other surface than inside its walls (the top of a rail
        that bears the piece), it is lifted and not pushed aside: its gap is inf, its distance (n,) is not.
        """
        is_mine = chosen < self.count
        mine, other = chosen[is_mine], chosen[~is_mine] - self.count
        at, theirs = pose.apply(self.piece_rims.at[mine]), self.jig_rims.at[other]
        back = pose.back(theirs)
        # The piece's heights are turned over for the points of the jig, so that both ask the same.
        own = np.concatenate([self.piece_rims.low[mine], -self.jig_rims.high[other]])
        there = np.concatenate([self.jig(at), -self.bottom(back)])
        points = np.concatenate([at, back])
        order = np.concatenate([np.flatnonzero(is_mine), np.flatnonzero(~is_mine)])
        gap, way = np.full(len(points), np.inf), np.zeros((len(points), 2))
        away = np.full(len(points), np.inf)
        tree_of = self.tree_of[chosen[order]]
        for one in np.unique(tree_of):
            of_tree = np.flatnonzero(tree_of == one)
            tree, rims, tops = self.trees[one]
            distance, nearest = tree.query(points[of_tree], distance_upper_bound=far)
            is_near = np.isfinite(distance)
            of_tree, distance, nearest = of_tree[is_near], distance[is_near], nearest[is_near]
            to = (rims[nearest] - points[of_tree]) / np.maximum(distance, 1e-12)[:, None]
            # Inside a wall it is as high as the wall's top; a slope that rises a little is none.
            inside = np.maximum((own[of_tree] + tops[nearest]) / 2, own[of_tree] + SAME_HEIGHT)
            sign = np.where(there[of_tree] > inside, -1.0, 1.0)
            is_lifted = (sign < 0) & (there[of_tree] - own[of_tree] < LIFTED * distance)
            gap[of_tree], way[of_tree] = np.where(is_lifted, np.inf, sign * distance), sign[:, None] * to
            away[of_tree] = np.where(is_lifted, -distance, sign * distance)
        # What a point of the jig sees in the piece's frame moves the other way.
        way[len(at) :] = -(pose.apply(back + way[len(at) :]) - theirs)
        found, ways, places, distances = (np.empty_like(one) for one in (gap, way, points, away))
        found[order], ways[order], distances[order] = gap, way, away
        places[order] = np.concatenate([at, theirs])
        return found, ways, places, distances

    def _near(self, pose: Pose, most: float):
        """Return the points (n,) whose gap is below `most`, mm, their gaps, what closes them, and places."""
        chosen = np.flatnonzero(self.gap < most + self._moved(pose))
        gap, way, places, _ = self._ask(pose, chosen)
        is_near = gap < most
        return chosen[is_near], gap[is_near], way[is_near], places[is_near]

    def _moved(self, pose: Pose) -> float:
        """Return how far at most a point lies from where it is at the stated place, mm."""
        turn = math.radians(abs(pose.degrees - self.stated.degrees))
        return math.hypot(pose.dx - self.stated.dx, pose.dy - self.stated.dy) + turn * self.farthest + 1e-6

    def rows(self, pose: Pose, most: float) -> tuple[np.ndarray, np.ndarray]:
        """Return what a step takes from each gap below `most` (n, 3), and these gaps (n,) mm.

        Left out: overlapping points whose nearest way out runs along their own wall.  Near a corner that is
        the other wall's, and the points beside them know better.
        """
        points, gap, way, places = self._near(pose, most)
        is_sure = (gap > 0) | (np.abs((way * self.along[points]).sum(axis=1)) < 0.5)
        chosen = (np.abs(gap) > 1e-6) & is_sure
        return step_rows(way[chosen], places[chosen], pose), gap[chosen]

    def room(self, pose: Pose) -> float:
        """Return the least gap, mm; inf when no walls can meet."""
        if self.nearest is None:
            return np.inf
        least = float(self._ask(pose, np.array([self.nearest]))[0][0])
        return min(least, float(self._near(pose, least)[1].min(initial=np.inf)))

    def overlaps(self, pose: Pose) -> np.ndarray:
        """Return places (n, 2) mm on the walls that would overlap, jig frame."""
        return self._near(pose, 0.0)[3]

    def march(self, pose: Pose, way: np.ndarray) -> float:
        """Return how far the piece can go one way before walls meet, at most TURN or REACH."""
        arm = max(self.farthest, 1.0) if way[2] else 1.0
        most, gone, room = (np.radians(TURN) if way[2] else REACH), 0.0, self.room(pose)
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


def step_rows(way: np.ndarray, places: np.ndarray, pose: Pose) -> np.ndarray:
    """Return what a step (dx, dy, radians) moves each place along its way (n, 3)."""
    arm = places - np.array(pose.about) - (pose.dx, pose.dy)
    return np.column_stack([way, way[:, 1] * arm[:, 0] - way[:, 0] * arm[:, 1]])
