"""How likely it is that every limit holds, of errors that happen as the job states them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simkit.budget.contributions import NORMAL, Contribution
from simkit.budget.rows import Rows

POINTS, REPEATS = 12, 16  # 2^12 points, so many times over
FARTHEST = 4.5  # standard deviations that a normal error is taken to reach at most when rows are left out
CHUNK = 1024
LIKELY, UNLIKELY = 0.95, 0.01


@dataclass(frozen=True)
class Chance:
    """holds: the probability that every limit holds; bound: how far it may be off.

    first: the row that breaks most often (-1: none does).  shares (k,): of each contribution in the variance
    of that row's value, or of the row with the least room where none breaks; nearest: that row.
    """

    holds: float
    bound: float
    first: int
    nearest: int
    shares: np.ndarray


def chance(rows: Rows, parts: list[Contribution], off: float) -> Chance:
    """Return how likely every limit is to hold.  off mm: how far the rows' values may be off.

    Errors are independent of each other.  Sampled by scrambled Sobol points, the same in each run: REPEATS
    scrambles of 2^POINTS; bound: 2.13 standard errors of their mean (Student's t, 15 degrees of freedom, 95 %)
    and what the probability changes by when all values are `off` higher or lower.
    Shares add up as standard uncertainties do: GUM (JCGM 100:2008) 5.1.2, from memory.
    """
    from scipy.stats import norm, qmc

    steps = np.column_stack([part.column for part in parts])
    is_normal = np.array([part.shape == NORMAL for part in parts])
    variance = (steps * np.where(is_normal, 1.0, 1 / np.sqrt(3.0))) ** 2
    total = np.sqrt(variance.sum(axis=1))
    room = rows.limit - rows.value
    most = np.abs(steps) @ np.where(is_normal, FARTHEST, 1.0)
    near = np.flatnonzero(most + off > room)
    tight = np.argmin(np.where(total > 0, room / np.maximum(total, 1e-12), np.inf))
    holds = np.ones((REPEATS, 3))  # as the rows say, off higher, off lower
    broken = np.zeros(len(near), np.int64)
    for repeat in range(REPEATS) if len(near) else ():
        unit = qmc.Sobol(len(parts), scramble=True, seed=repeat).random_base2(POINTS)
        error = np.where(is_normal, norm.ppf(np.clip(unit, 1e-12, 1 - 1e-12)), 2 * unit - 1)
        kept = np.zeros(3)
        for first in range(0, len(error), CHUNK):
            over = error[first : first + CHUNK] @ steps[near].T - room[near]
            worst = over.max(axis=1)
            kept += [(worst <= limit).sum() for limit in (0.0, -off, off)]
            nth = np.argmax(over, axis=1)[worst > 0]
            broken += np.bincount(nth, minlength=len(near))
        holds[repeat] = kept / len(error)
    mean = holds.mean(axis=0)
    error = 2.13 * float(holds[:, 0].std(ddof=1)) / np.sqrt(REPEATS)
    bound = error + float(max(abs(mean[1] - mean[0]), abs(mean[2] - mean[0])))
    first = int(near[np.argmax(broken)]) if broken.any() else -1
    nearest = first if first >= 0 else int(tight)
    shares = variance[nearest] / max(float(variance[nearest].sum()), 1e-300)
    return Chance(float(mean[0]), bound, first, nearest, shares)


def verdict(found: Chance) -> str:
    """Return 'likely', 'at risk' or 'not possible'."""
    if found.holds - found.bound >= LIKELY:
        return "likely"
    return "not possible" if found.holds + found.bound < UNLIKELY else "at risk"
