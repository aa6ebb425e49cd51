"""The two distances between cut and target at chosen cells, from which the two-way distance is made."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from simkit.compare.overhang import CLOSE, removed_below
from simkit.stock.field import Field
from simkit.target.envelope import Envelopes
from simkit.target.grid import TargetGrid

if TYPE_CHECKING:
    from simkit.compare.deviation import CutSurface

AWAY = 2.0  # mm: so far the nearest wood is looked for where nothing is left under a place of the target


def is_gone(field: Field, envelopes: Envelopes, side: int) -> np.ndarray:
    """Return the columns of the part that a side cut right through, and that are empty (ny, nx) bool.

    At a sharp rim a cut as thin as a hair goes through, and what is left may end far from there.
    """
    if side == 1:
        is_through = field.upper < envelopes.lower
    else:
        is_through = field.lower > envelopes.upper
    return is_through & ~field.is_solid


class BothWays:
    """The two distances at chosen cells.

    flat (k,): row * nx + column of the cells.  field, envelopes, grid, side: as for `deviation`.
    vertical (k,) mm: at these cells, not NaN.  surfaces: the cut, in one or more finenesses.
    is_larger: only the larger of the two distances counts: those to the cut that are smaller than that to the
    target are told as any such distance.
    points (k, 3) mm: on the cut, blank frame.  to_target (k,) mm: from there to the target, gouges to the
    surface they entered through, leftover to whatever is nearest.  size (k,) mm: |vertical|; no
    less than AWAY where `is_gone`, for there no wood lies straight below the target.
    """

    def __init__(
        self,
        flat: np.ndarray,
        field: Field,
        envelopes: Envelopes,
        grid: TargetGrid,
        side: int,
        vertical: np.ndarray,
        surfaces: Sequence[CutSurface],
        is_larger: bool = True,
    ):
        self.side = side
        self.vertical, self.surfaces, self.size = vertical, surfaces, np.abs(vertical)
        gone = np.flatnonzero(is_gone(field, envelopes, side).ravel()[flat] & (vertical < 0))
        self.size[gone] = np.maximum(self.size[gone], AWAY)
        self.x, self.y = field.lattice.centre_of(*np.divmod(flat, field.lattice.nx))
        cut = (field.upper if side == 1 else field.lower).ravel()[flat].astype(np.float64)
        self.target = envelopes.side(side).ravel()[flat] * (1 if side == 1 else -1)
        self.points = np.column_stack([self.x, self.y, cut])
        self.to_target = np.empty(len(flat))
        for is_gouge in (True, False):
            one = np.flatnonzero((vertical < 0) == is_gouge)
            self.to_target[one] = grid.distance(self.points[one], side if is_gouge else 0, self.size[one])
        deep = np.flatnonzero(vertical < 0)
        other = envelopes.side(3 - side).ravel()[flat]
        is_through = cut < other if side == 1 else cut > other
        may_be_outside = (envelopes.void.ravel()[flat] > 0) | is_through
        self.to_target[deep] = removed_below(
            self.points[deep], self.to_target[deep], grid, side, self._is_bare, may_be_outside[deep]
        )
        self._enough = self.to_target if is_larger else np.full(len(flat), -1.0)
        self._box = (self.x.min(), self.x.max(), self.y.min(), self.y.max()) if len(flat) else (0.0,) * 4

    def _is_bare(self, places: np.ndarray) -> np.ndarray:
        """Return whether the cut took the wood off places (m, 3) of the target's surface (m,) bool.

        Between the samples of the finest surface there, on straight lines: where the next sample lies beside
        the part and is cut, a skin thinner than a cell seems gone.  `between` asks the moves themselves.
        """
        height = np.full(len(places), np.nan)
        for surface in reversed(self.surfaces):
            rows = np.flatnonzero(np.isnan(height))
            height[rows] = surface.height_at(*places[rows, :2].T)
        along = places[:, 2] if self.side == 1 else -places[:, 2]
        return height <= along + CLOSE

    def to_cut(self, rows: np.ndarray, is_least: bool) -> np.ndarray:
        """Return the least, or the most, that the distance from the target to the cut can be, mm (m,).

        rows (m,): of the chosen cells.
        """
        found, vertical = self.size[rows], self.vertical[rows]
        for is_gouge in (True, False):
            one = np.flatnonzero(vertical < 0 if is_gouge else vertical > 0)
            for surface in reversed(self.surfaces):  # the finest first, which turns the others away
                one = one[found[one] > self._enough[rows[one]]]
                if not len(one):
                    break
                if is_least and found[one].max() <= surface.way_out(*self._box):
                    continue
                mine = rows[one]
                found[one] = surface.distance(
                    self.x[mine], self.y[mine], self.target[mine], found[one], is_gouge, is_least,
                    self._enough[mine],
                )  # fmt: skip
        return found
