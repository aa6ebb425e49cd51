"""How likely it is that every limit holds, of errors that happen as the job states them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simkit.budget.contributions import NORMAL, PINS, Contribution
from simkit.budget.rows import Rows

POINTS, REPEATS = 12, 16  # 2^12 points, so many times over
PILOT = 11  # 2^11 points that are asked of every row
NEAR = 0.002  # mm: rows that come so near to the worst of a point of the pilot are kept
FARTHEST = 4.5  # standard deviations that a normal error is taken to reach at most when rows are left out
VALUES = 8_000_000  # in one go
WITHOUT = 4  # scrambles that tell what one error costs: within a hundredth
LIKELY, UNLIKELY = 0.95, 0.01


@dataclass(frozen=True)
class Chance:
    """holds: the probability that every limit holds; bound: how far it may be off.

    first: the row that breaks most often (-1: none does).  shares (k,): of each contribution in the variance
    of that row's value, or of the row with the least room where none breaks; nearest: that row.
    without (k,): the probability if that contribution alone were none.  work_on: a contribution of the key
    without which the probability would be the highest (-1: nothing breaks); holds_without: that probability.
    """

    holds: float
    bound: float
    first: int
    nearest: int
    shares: np.ndarray
    without: np.ndarray
    work_on: int
    holds_without: float


def chance(rows: Rows, parts: list[Contribution], off: float) -> Chance:
    """Return how likely every limit is to hold.  off mm: how far the rows' values may be off.

    Errors are independent of each other, but for those of dowels, which keep within what these permit
    together.  Sampled by scrambled Sobol points, the same in each run: REPEATS
    scrambles of 2^POINTS.  A pilot of 2^PILOT points finds the rows that count, another one tells how often
    the others would have changed the answer.
    bound: 2.13 standard errors of the mean over the scrambles (Student's t, 15 degrees of freedom, 95 %),
    what the probability changes by when all values are `off` higher or lower, and what the second pilot
    allows (no change in n points: up to 3 / n, 95 %).
    Shares add up as standard uncertainties do: GUM (JCGM 100:2008) 5.1.2, from memory.
    """
    steps = np.column_stack([part.column for part in parts])
    is_normal = np.array([part.shape == NORMAL for part in parts])
    variance = (steps * np.array([part.standard / part.size for part in parts])) ** 2
    total = np.sqrt(variance.sum(axis=1))
    room = rows.limit - rows.now
    table = _Table(rows, steps)
    most = np.abs(steps) @ np.where(is_normal, FARTHEST, 1.0)
    near = np.flatnonzero(most + off > rows.limit - rows.value)
    tight = int(np.argmin(np.where(total > 0, room / np.maximum(total, 1e-12), np.inf)))
    if not len(near):
        shares = variance[tight] / max(float(variance[tight].sum()), 1e-300)
        return Chance(1.0, 0.0, -1, tight, shares, np.ones(len(parts)), -1, 1.0)
    kept, missed = _rows_that_count(table, near, parts)
    holds = np.ones((REPEATS, 3))  # as the rows say, off higher, off lower
    broken = np.zeros(len(kept), np.int64)
    for repeat in range(REPEATS):
        error = _errors(parts, POINTS, repeat)
        worst, nth = table.worst(error, kept)
        holds[repeat] = [(worst <= limit).mean() for limit in (0.0, -off, off)]
        broken += np.bincount(nth[worst > 0], minlength=len(kept))
    mean = holds.mean(axis=0)
    bound = 2.13 * float(holds[:, 0].std(ddof=1)) / np.sqrt(REPEATS) + missed
    bound += float(max(abs(mean[1] - mean[0]), abs(mean[2] - mean[0])))
    first = int(kept[np.argmax(broken)]) if broken.any() else -1
    nearest = first if first >= 0 else tight
    shares = variance[nearest] / max(float(variance[nearest].sum()), 1e-300)
    told = _without(table, kept, parts, shares)
    without, work_on, holds_without = told
    work_on = work_on if first >= 0 else -1
    return Chance(float(mean[0]), bound, first, nearest, shares, without, work_on, holds_without)


def _without(table: _Table, kept, parts: list[Contribution], shares) -> tuple[np.ndarray, int, float]:
    """Return how likely all limits hold without each contribution, one of the key that costs the most, and
    how likely they hold without that key.

    A share in the variance of one place does not tell what to work on: another place may break as often, of
    another error.  Keys that cost the same are told apart by their shares.
    """
    keys = [part.key for part in parts]
    names = list(dict.fromkeys(keys))
    alone = np.eye(len(keys), dtype=bool)
    gone = np.vstack([alone, *([key == name for key in keys] for name in names)])
    holds = np.zeros(len(gone))
    for repeat in range(WITHOUT):
        error = _errors(parts, POINTS, repeat)
        for nth, off in enumerate(gone):
            worst, _ = table.worst(np.where(off, 0.0, error), kept)
            holds[nth] += (worst <= 0).mean() / WITHOUT
    each = gone[len(keys) :] @ shares
    best = max(range(len(names)), key=lambda nth: (round(float(holds[len(keys) + nth]), 2), each[nth]))
    return holds[: len(keys)], keys.index(names[best]), float(holds[len(keys) + best])


def _errors(parts: list[Contribution], points: int, seed: int) -> np.ndarray:
    """Return 2^points errors, each a multiple of its size: even from -1 to 1, normal, or as pins permit."""
    from scipy.stats import norm, qmc

    unit = qmc.Sobol(len(parts), scramble=True, seed=seed).random_base2(points)
    error = 2 * unit - 1
    is_normal = [part.shape == NORMAL for part in parts]
    error[:, is_normal] = norm.ppf(np.clip(unit[:, is_normal], 1e-12, 1 - 1e-12))
    pins = [k for k, part in enumerate(parts) if part.shape == PINS]
    if pins:
        nth = [parts[k].nth for k in pins]
        cube = np.full((len(unit), 3), 0.5)
        cube[:, nth] = unit[:, pins]
        error[:, pins] = parts[pins[0]].pins.places(cube)[:, nth] / [parts[k].size for k in pins]
    return error


class _Table:
    """Rows under errors, each a multiple of its size.

    steps (n, k) mm: how the value of each row grows for each error.
    """

    def __init__(self, rows: Rows, steps: np.ndarray):
        self.rows, self.steps, self.is_capped = rows, steps, rows.is_capped

    def over(self, error: np.ndarray, which: np.ndarray) -> np.ndarray:
        """Return by how much rows (m,) are beyond their limits, mm (p, m), under errors (p, k)."""
        rows = self.rows
        over = error @ self.steps[which].T - (rows.limit - rows.value)[which]
        mine = np.flatnonzero(self.is_capped[which])
        if len(mine):
            one = which[mine]
            faces, place = np.unique(rows.faces[one], return_inverse=True)
            depth = error @ self.steps[faces].T + rows.value[faces]
            cap = np.full((len(error), len(one)), -np.inf)
            for nth, lean in enumerate(rows.lean[one].T):
                its = lean * depth[:, place.reshape(rows.faces[one].shape)[:, nth]]
                cap = np.where(lean > 0, np.maximum(cap, its), cap)
            over[:, mine] = np.minimum(over[:, mine], cap - rows.limit[one])
        return over

    def worst(self, error: np.ndarray, which: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Return by how much the worst of some rows is beyond its limit for each error, mm, and its place."""
        chunk = max(1, VALUES // max(len(which), 1))
        worst, nth = np.empty(len(error)), np.empty(len(error), np.int64)
        for first in range(0, len(error), chunk):
            one = slice(first, first + chunk)
            over = self.over(error[one], which)
            nth[one] = np.argmax(over, axis=1)
            worst[one] = over[np.arange(len(over)), nth[one]]
        return worst, nth


def _rows_that_count(table: _Table, near, parts) -> tuple[np.ndarray, float]:
    """Return the rows of `near` that are the worst of a pilot, or nearly, and how often the rest matters."""
    error = _errors(parts, PILOT, REPEATS)
    worst, _ = table.worst(error, near)
    counts = np.zeros(len(near), bool)
    chunk = max(1, VALUES // len(error))
    for first in range(0, len(near), chunk):
        some = near[first : first + chunk]
        over = table.over(error, some)
        counts[first : first + chunk] = (over >= worst[:, None] - NEAR).any(axis=0)
    kept = near[counts]
    other = _errors(parts, PILOT, REPEATS + 1)
    differ = (table.worst(other, near)[0] > 0) != (table.worst(other, kept)[0] > 0)
    few = differ.any() or len(kept) < len(near)
    return kept, (float(differ.mean()) + 3 / len(other)) if few else 0.0


def verdict(found: Chance) -> str:
    """Return 'likely', 'at risk' or 'not possible'."""
    if found.holds - found.bound >= LIKELY:
        return "likely"
    return "not possible" if found.holds + found.bound < UNLIKELY else "at risk"
