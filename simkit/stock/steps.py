"""The steps between the setups, done to a field, or once more on other cells and at any points."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from simkit.job.model import Job
from simkit.job.steps import POUR
from simkit.stock.field import Field
from simkit.stock.pour import Poured, fill_again, pour
from simkit.stock.thickness import Thicknessed, take, thickness

Done = Poured | Thicknessed


def do_steps(field: Field, job: Job, setup: int) -> tuple[Field, list[Done]]:
    """Return the field after the steps that follow a setup (its index), and what each did.

    field: after that setup, on any lattice.  Each pour begins a new segment: within one the order of cuts
    does not matter, from one to the next it does.
    """
    done: list[Done] = []
    for number, step in job.steps_after(setup):
        do = pour if step.do == POUR else thickness
        field, one = do(field, step, job.body(number))
        done.append(one)
    return field, done


def do_again(field: Field, done: Sequence[Done]) -> Field:
    """Return a field on other cells after steps that were done on a check's cells."""
    for one in done:
        field = fill_again(field, one) if isinstance(one, Poured) else take(field, one.up, one.face)
    return field


def do_at(points, lower, upper, row_lower, row_upper, done: Sequence[Done]) -> tuple[np.ndarray, ...]:
    """Return surfaces and rows at points after steps that were done on a check's cells.

    points (n, 2), lower, upper (n,) mm float64; rows (n,) of the moves that cut them, -1 for none.
    Exact, as `pour.fill_again` and `thickness.take` are.
    """
    for one in done:
        if isinstance(one, Poured):
            is_filled = one.hollow(lower, upper, one.near(*points.T))
            is_open = is_filled & (upper <= lower)
            far = one.body.face(-one.up)
            lower, upper = np.where(is_open, far, lower), np.where(is_open, far, upper)
            row_lower, row_upper = np.where(is_open, -1, row_lower), np.where(is_open, -1, row_upper)
            if one.up > 0:
                upper, row_upper = np.where(is_filled, one.level, upper), np.where(is_filled, -1, row_upper)
            else:
                lower, row_lower = np.where(is_filled, one.level, lower), np.where(is_filled, -1, row_lower)
        elif one.up > 0:
            row_upper = np.where(upper > one.face, -1, row_upper)
            upper = np.minimum(upper, one.face)
        else:
            row_lower = np.where(lower < one.face, -1, row_lower)
            lower = np.maximum(lower, one.face)
    return lower, upper, row_lower, row_upper
