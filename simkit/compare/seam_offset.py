"""A side off its place, as the seam with the other side knows it: often better than its own cut does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from simkit.compare.offset import SideOffset
from simkit.compare.seam_fit import ShiftFit

LEAST_TURN = 0.01  # degrees: a side that is turned lies off by another shift at every place


def with_seam(offsets: Sequence[SideOffset], fit: ShiftFit) -> list[SideOffset]:
    """Return the shifts of the sides, that of the one that is off as the seam tells it where that is better.

    offsets: of both sides, as far as they are known.  fit: of the seam.
    The seam knows how one side lies against the other; that is where the one lies where the other is right.
    Each direction in plan is taken by itself: where the seam shows it, with a smaller bound.  Where they do
    not agree within their bounds in all that the seam shows, something else is wrong, and nothing is taken.
    """
    off = [one for one in offsets if one.is_the_cause]
    turn = abs(fit.turn_degrees) - (fit.bound[2] if fit.is_observable[2] else 0.0)
    if len(off) != 1 or turn > LEAST_TURN:
        return list(offsets)
    own = off[0]
    sign = 1.0 if own.side == 1 else -1.0
    seam = sign * np.array([fit.dx, fit.dy])
    shift, bound = np.array(own.shift), np.array(own.bound)
    is_seen, within = np.array(fit.is_observable[:2], bool), np.array(fit.bound[:2])
    is_better = is_seen & (within < bound[:2])
    if not is_better.any() or (is_seen & (abs(seam - shift[:2]) > bound[:2] + within)).any():
        return list(offsets)
    shift[:2] = np.where(is_better, seam, shift[:2])
    bound[:2] = np.where(is_better, within, bound[:2])
    told = replace(
        own,
        shift=tuple(float(part) for part in shift),
        bound=tuple(float(part) for part in bound),
        rough=0.0 if is_better.all() else own.rough,
        by_seam=(bool(is_better[0]), bool(is_better[1])),
    )
    return [told if one is own else one for one in offsets]
