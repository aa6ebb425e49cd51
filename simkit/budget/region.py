"""The region of shift, turn, height and thickness within which every limit holds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simkit.budget.anew import Anew
from simkit.budget.lifts import reach_of
from simkit.budget.motion import NAMES
from simkit.job.model import Job

ASKED = 6  # rows asked anew in each direction
ROUNDS = 4
FAR = np.array([5.0, 5.0, 2.0, 5.0, 5.0])  # mm and degrees: what binds nowhere nearer is not told
PLAN = 48  # directions of the plan region
SMALL = 1e-9


@dataclass(frozen=True)
class Reach:
    """How far a change can go along one direction until a limit breaks.

    far: multiples of the direction.  row: the row that breaks first, -1 when none does within FAR.
    off mm: how much the rows and the exact sweeps differ in value there.
    """

    far: np.ndarray
    row: np.ndarray
    off: np.ndarray


def reaches(anew: Anew, ways: np.ndarray, far: np.ndarray) -> Reach:
    """Return how far changes can go along ways (d, 5 + k), at most far (d,): arrays (d,).

    First by the rows, then ASKED rows of each way that bind first are evaluated anew there and the place is
    corrected, ROUNDS times.  A way that no limit lets begin has reach 0.
    """
    rows = anew.rows
    slope = anew.columns @ ways.T  # (n, d)
    slack = np.maximum(rows.limit - rows.now, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        breaks = np.where(slope > SMALL, slack[:, None] / slope, np.inf)
        mine = np.flatnonzero(rows.is_capped)
        breaks[mine] = _capped_breaks(rows, mine, slope)
        # Of a row with a cap the mean rate until it breaks.
        is_mean = np.isfinite(breaks[mine]) & (breaks[mine] > SMALL)
        slope[mine] = np.where(is_mean, slack[mine, None] / breaks[mine], slope[mine])
    d = len(ways)
    asked = min(ASKED, len(rows))
    nearest = np.argpartition(breaks, asked - 1, axis=0)[:asked] if len(rows) else np.zeros((0, d), int)
    # One of each place: neighbours say the same.
    at = np.take_along_axis(breaks, nearest, axis=0)
    reach = np.minimum(at.min(axis=0, initial=np.inf), far)
    row = np.full(d, -1)
    off = np.zeros(d)
    for _ in range(ROUNDS):
        which = nearest.ravel()
        changes = np.tile(reach, asked)[:, None] * np.tile(ways, (asked, 1))
        exact = anew.values(which, changes).reshape(asked, d)
        rate = np.take_along_axis(slope, nearest, axis=0)
        with np.errstate(divide="ignore", invalid="ignore"):
            step = np.where(rate > SMALL, (rows.limit[nearest] - exact) / rate, np.inf)
        closest = np.argmin(step, axis=0)
        by = step[closest, np.arange(d)]
        off = np.abs(exact - anew.linear(which, changes).reshape(asked, d))[closest, np.arange(d)]
        row = np.where(np.isfinite(by), nearest[closest, np.arange(d)], -1)
        new = np.clip(reach + np.where(np.isfinite(by), by, np.inf), 0.0, far)
        is_still = np.abs(new - reach) * np.abs(rate[closest, np.arange(d)]) < 1e-4
        reach = new
        if is_still.all():
            break
    row = np.where(reach < far - SMALL, row, -1)
    return Reach(reach, row, off)


def _capped_breaks(rows, mine: np.ndarray, slope: np.ndarray) -> np.ndarray:
    """Return how far ways go until rows with a cap break, (k, d): the cap must be beyond the limit, too.

    mine (k,): these rows.  slope (n, d): of all rows.
    """
    limit = rows.limit[mine, None]

    def until(value, rate):
        return np.where(value > limit, 0.0, np.where(rate > SMALL, (limit - value) / rate, np.inf))

    cap = np.full((len(mine), slope.shape[1]), np.inf)
    for nth in range(rows.faces.shape[1]):
        face, lean = rows.faces[mine, nth], rows.lean[mine, nth, None]
        its = until(lean * rows.value[face, None], lean * slope[face])
        cap = np.where(lean > 0, np.minimum(cap, its), cap)
    return np.maximum(cap, until(rows.value[mine, None], slope[mine]))


def axis_ways(wide: int = len(NAMES)) -> np.ndarray:
    """Return the ways up and down along each number of a change alone, (2 wide, wide): down first."""
    ways = np.zeros((2 * wide, wide))
    for k in range(wide):
        ways[2 * k, k], ways[2 * k + 1, k] = -1.0, 1.0
    return ways


def axis_far(job: Job) -> np.ndarray:
    """Return how far those ways may go at most, (2 wide,): while each step takes something off."""
    least = np.minimum(reach_of(job), FAR[-1])
    return np.concatenate([np.repeat(FAR[:4], 2), least.ravel()])


def plan_ways(wide: int = len(NAMES), count: int = PLAN) -> np.ndarray:
    """Return ways in plan all round, without a turn, counter-clockwise from the right, (count, wide)."""
    angle = 2 * np.pi * np.arange(count) / count
    ways = np.zeros((count, wide))
    ways[:, 0], ways[:, 1] = np.cos(angle), np.sin(angle)
    return ways
