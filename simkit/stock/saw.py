"""The blank sawn to length and width: all that stands outside a box in plan goes, through and through."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from simkit.job.steps import Body, Step
from simkit.stock.field import UNCUT, Field, volume_of


@dataclass(frozen=True)
class Sawn:
    """What sawing took off.

    before, body: the blank before and after it.  volume, bound mm3: taken, summed at cell centres.
    deepest mm: the most that one column lost.
    """

    step: Step
    before: Body
    body: Body
    volume: float
    bound: float
    deepest: float

    def is_off(self, x: np.ndarray, y: np.ndarray) -> np.ndarray:
        """Return which places x, y mm (blank frame) lie on what was sawn off, bool."""
        return ~((x > self.body.low[0]) & (x < self.body.high[0])) | ~(
            (y > self.body.low[1]) & (y < self.body.high[1])
        )


def saw(field: Field, step: Step, before: Body) -> tuple[Field, Sawn]:
    """Return the field without what stands outside the step's box, and what went.

    field: before the step.  before: the blank between its faces then.  Walls are upright; the saw's own cut
    lies outside the box.  Exact at cell centres.
    """
    sawn = Sawn(step, before, before.after(step), 0.0, 0.0, 0.0)
    after = take_off(field, sawn)
    depth = np.where(field.is_solid & ~after.is_solid, field.upper.astype(np.float64) - field.lower, 0.0)
    volume, bound = volume_of(depth, field.lattice)
    return after, replace(sawn, volume=volume, bound=bound, deepest=float(depth.max(initial=0.0)))


def take_off(field: Field, sawn: Sawn) -> Field:
    """Return a field, on any cells, after the same sawing."""
    is_off = sawn.is_off(*np.meshgrid(field.lattice.x(), field.lattice.y()))
    body = sawn.body
    return replace(
        field,
        upper=np.where(is_off, np.minimum(field.upper, field.lower), field.upper),
        lower_move=np.where(is_off, np.int32(UNCUT), field.lower_move),
        upper_move=np.where(is_off, np.int32(UNCUT), field.upper_move),
        sawn=(body.low[0], body.low[1], body.high[0], body.high[1]),
    )
