"""Which way over: whether the stated turn of a setup fits the target, or another one fits far better."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from simkit.stock.field import Field
from simkit.target.envelope import Envelopes

CLIP = 5.0  # mm: a column counts at most this, so that a few deep ones cannot decide
FAR_BETTER = 4.0  # another turn must fit better by this factor
GOOD = 0.2  # mm: a mean error below this is a fit, whatever other turns would give


@dataclass(frozen=True)
class TurnFit:
    """How well the turns of one setup fit the target.

    setup: index.  stated: the job's turn.  errors: turn -> mean size of the vertical difference, mm,
    each column clipped at CLIP.  better: the turn that fits far better, None when the stated one
    holds.  is_told_apart: False when the stated turn fits and another fits as well (a symmetric part).
    """

    setup: int
    stated: str
    errors: dict[str, float]
    better: str | None
    is_told_apart: bool


def side_error(field: Field, envelopes: Envelopes, up: int) -> float:
    """Return the mean size of the vertical difference between cut and target on one side, mm.

    field, envelopes: on one lattice; up: +1 the upper surface, -1 the lower one.  Columns outside the
    outline do not count; each counts at most CLIP.  A mean over cell centres of the lattice given.
    """
    is_part = envelopes.is_part
    if not is_part.any():
        return 0.0
    if up > 0:
        difference = field.upper[is_part] - envelopes.upper[is_part]
    else:
        difference = field.lower[is_part] - envelopes.lower[is_part]
    return float(np.minimum(np.abs(difference), CLIP).mean())


def fit_turn(setup: int, stated: str, error_for: Callable[[str], float], turns: tuple[str, ...]) -> TurnFit:
    """Return whether another turn fits the target far better than the stated one.

    error_for(turn): side_error of the job cut anew with that turn.  turns: those to try.
    """
    errors = {turn: error_for(turn) for turn in dict.fromkeys((stated, *turns))}
    here = errors[stated]
    best = min(errors, key=lambda turn: (errors[turn], turn))
    is_worse = here > GOOD and errors[best] * FAR_BETTER < here
    others = [error for turn, error in errors.items() if turn != stated]
    is_told_apart = not (here <= GOOD and any(error <= max(GOOD, here) for error in others))
    return TurnFit(setup, stated, errors, best if is_worse else None, is_told_apart)
