"""What is proved between the samples of a blank into which resin was poured.

A pour begins a new segment: over the places that it filled only what runs after it has cut the surface that
is left.  So these are asked of the later moves alone, and everything else of all of them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from simkit.compare.between import FLOOR, Unproved, unproved_gouges, unproved_leftover
from simkit.compare.sweeps import Sweeps
from simkit.stock.field import Lattice
from simkit.stock.pour import AROUND, Poured
from simkit.stock.steps import Done
from simkit.stock.thickness import Thicknessed
from simkit.target.grid import TargetGrid

NEAR = 1.0  # mm from the rim of a pour: there neither the earlier nor the later moves alone tell the surface


@dataclass(frozen=True)
class Segment:
    """A pour over one side, and the moves that cut there after it.

    is_near (ny, nx) bool: cells that it filled and those beside them; is_inner: filled all about.
    start: the surface before those moves, along the side's axis; lowest: no higher than it was anywhere near.
    """

    sweeps: Sweeps
    is_near: np.ndarray
    is_inner: np.ndarray
    start: float
    lowest: float


class SideSweeps:
    """The moves of one side, and its segments.

    sweeps: of all moves, from the face as it is at the end.  make(first setup, start): the same of the moves
    of the setups from `first` on.  done[setup]: the steps that follow it.
    """

    def __init__(
        self,
        sweeps: Sweeps,
        make: Callable[[int, float], Sweeps],
        done: Sequence[Sequence[Done]],
        lattice: Lattice,
    ):
        self.sweeps, self.lattice = sweeps, lattice
        self.segments: list[Segment] = []
        up = 1 if sweeps.side == 1 else -1
        every = [(setup, one) for setup, its in enumerate(done) for one in its]
        for k, (setup, one) in enumerate(every):
            if not isinstance(one, Poured):
                continue
            is_filled = one.is_filled if one.up == up else one.is_through
            if not is_filled.any():
                continue
            level = up * (one.level if one.up == up else one.body.face(up))
            faces = [
                up * other.face
                for _, other in every[k + 1 :]
                if isinstance(other, Thicknessed) and other.up == up
            ]
            start = min([level, *faces])
            lowest = min([start, one.rim, *faces]) if one.up == up else start
            is_near = ndimage.binary_dilation(is_filled, AROUND)
            deep = ndimage.distance_transform_edt(np.pad(is_filled, 1, mode="edge"))[1:-1, 1:-1]
            is_inner = deep * lattice.cell > NEAR
            self.segments = [_without(earlier, is_near) for earlier in self.segments]
            self.segments.append(Segment(make(setup + 1, start), is_near, is_inner, start, lowest))

    def gouges(self, grid: TargetGrid, deepest, is_asked, floor: float = FLOOR, with_faces=False) -> Unproved:
        """Return where a cut, or resin that was poured too low, may lie deeper than it may.

        As `between.unproved_gouges`.  Of the level of the resin the target's samples are asked.
        """
        found, is_mine = self._nothing()
        for one in self.segments:
            is_here = is_asked & one.is_near & np.isfinite(deepest)
            is_mine |= one.is_near
            _join(found, unproved_gouges(one.sweeps, grid, self.lattice, deepest, is_here, floor, with_faces))
            depth = self._target(grid, is_here, True) - one.lowest
            self._not_ruled_out(found, is_here, depth, deepest)
        rest = unproved_gouges(
            self.sweeps, grid, self.lattice, deepest, is_asked & ~is_mine, floor, with_faces
        )
        return _join(found, rest)

    def leftover(
        self, grid: TargetGrid, highest, owner, is_asked, floor: float = FLOOR, with_faces=False
    ) -> Unproved:
        """Return where what is left may stand prouder than it may, as `between.unproved_leftover`.

        Within NEAR of the rim of a pour by the heights that resin and wood can have there, no less.
        """
        found, is_mine = self._nothing()
        for one in self.segments:
            is_here = is_asked & one.is_near & np.isfinite(highest)
            is_mine |= one.is_near
            is_cut = is_here & one.is_inner & bool(one.sweeps.packs)
            some = unproved_leftover(
                one.sweeps, grid, self.lattice, highest, owner, is_cut, floor, with_faces
            )
            _join(found, some)
            high = np.where(one.is_inner, one.start, max(one.start, self.sweeps.start))
            is_rest = is_here & ~is_cut
            self._not_ruled_out(found, is_rest, high - self._target(grid, is_rest, False), highest)
        rest = unproved_leftover(
            self.sweeps, grid, self.lattice, highest, owner, is_asked & ~is_mine, floor, with_faces
        )
        return _join(found, rest)

    def _nothing(self) -> tuple[Unproved, np.ndarray]:
        return Unproved(np.zeros(self.lattice.shape, bool)), np.zeros(self.lattice.shape, bool)

    def _target(self, grid: TargetGrid, is_asked: np.ndarray, is_top: bool) -> np.ndarray:
        """Return the target's highest or lowest surface in and beside asked cells, along the axis, mm."""
        heights = np.full(self.lattice.shape, -np.inf if is_top else np.inf)
        around = ndimage.binary_dilation(is_asked, AROUND)
        iy, ix = np.nonzero(around)
        if not len(iy):
            return heights
        lower, upper = grid.heights(np.column_stack(self.lattice.centre_of(iy, ix)))
        surface = upper if self.sweeps.side == 1 else -lower
        heights[iy, ix] = np.where(np.isnan(surface), heights[iy, ix], surface)
        pick = ndimage.maximum_filter if is_top else ndimage.minimum_filter
        return pick(heights, footprint=AROUND, mode="nearest")

    def _not_ruled_out(self, found: Unproved, is_asked, size, most) -> None:
        iy, ix = np.nonzero(is_asked & (size > most) & np.isfinite(size) & ~found.is_found)
        x, y = self.lattice.centre_of(iy, ix)
        found.add(iy * self.lattice.nx + ix, x, y, size[iy, ix], is_met=False)


def _without(segment: Segment, is_over: np.ndarray) -> Segment:
    """Return a segment without the places of a later one."""
    is_near, is_inner = segment.is_near & ~is_over, segment.is_inner & ~is_over
    return Segment(segment.sweeps, is_near, is_inner, segment.start, segment.lowest)


def _join(found: Unproved, other: Unproved) -> Unproved:
    """Add what another found."""
    found.is_found |= other.is_found
    is_farther = other.away > found.away
    found.away[is_farther], found.away_at[is_farther] = other.away[is_farther], other.away_at[is_farther]
    found._met.extend(other._met)
    return found
