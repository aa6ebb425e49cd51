"""The plan of a blank as the operator sees it lying in a setup, and which cells lie under each pixel."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from simkit.job.model import Blank
from simkit.stock.field import Lattice


class SeenPlan:
    """A map of across x down pixels, `pitch` mm each, of the whole blank seen from above.

    lattice: of the arrays, blank frame.  turn: of simkit.frames.TURNS, how the blank lies.  Images have
    the back of the blank as seen in their first row and its left end in their first column.  Pixels
    outside the lattice hold nothing.
    """

    def __init__(self, lattice: Lattice, blank: Blank, turn: str, pitch: float, across: int, down: int):
        self.is_x_turned, self.is_y_turned = turn == "about y", turn == "about x"
        self.blank, self.pitch, self.across, self.down = blank, pitch, across, down
        self.lattice = lattice
        x0, y0 = lattice.origin
        if self.is_x_turned:
            x0 = blank.length - x0 - lattice.nx * lattice.cell
        if self.is_y_turned:
            y0 = blank.width - y0 - lattice.ny * lattice.cell
        self.x0, self.y0 = x0, y0
        self.columns = _spans(lattice.nx, lattice.cell, x0, across, pitch)
        self.rows = _spans(lattice.ny, lattice.cell, y0, down, pitch)

    def seen(self, array):
        """The array with its rows from front to back and columns from left to right, as seen."""
        array = array[::-1] if self.is_y_turned else array
        return array[:, ::-1] if self.is_x_turned else array

    def pixel(self, x, y):
        """Pixel (x right, y down) in the map of a point of the blank frame, mm."""
        x = self.blank.length - x if self.is_x_turned else x
        y = self.blank.width - y if self.is_y_turned else y
        return x / self.pitch, self.down - y / self.pitch

    def highest(self, array):
        """Highest value >= 0 of all cells that a pixel touches, 0 where there are none."""
        array = np.pad(self.seen(array), ((0, 1), (0, 1)))
        for axis, (low, high) in enumerate((self.rows, self.columns)):
            best = np.take(array, low, axis)
            for k in range(1, int((high - low).max(initial=1))):
                best = np.maximum(best, np.take(array, np.minimum(low + k, np.maximum(high - 1, low)), axis))
            array = best
        return array[::-1]

    def nearest(self, array, outside):
        """Value of the cell under each pixel's centre."""
        picked = np.pad(self.seen(array), ((0, 1), (0, 1)), constant_values=outside)
        for axis, (n, start, count) in enumerate(
            ((self.lattice.ny, self.y0, self.down), (self.lattice.nx, self.x0, self.across))
        ):
            at = np.floor(((np.arange(count) + 0.5) * self.pitch - start) / self.lattice.cell).astype(int)
            picked = np.take(picked, np.where((at >= 0) & (at < n), at, n), axis)
        return picked[::-1]

    def between(self, array):
        """Values interpolated at each pixel's centre; for shading only."""
        y = ((np.arange(self.down) + 0.5) * self.pitch - self.y0) / self.lattice.cell - 0.5
        x = ((np.arange(self.across) + 0.5) * self.pitch - self.x0) / self.lattice.cell - 0.5
        where = np.meshgrid(y, x, indexing="ij")
        return ndimage.map_coordinates(self.seen(array), where, order=1, mode="nearest")[::-1]


def _spans(n, cell, start, pixels, pitch):
    """First and one past the last cell each pixel touches; (n, n + 1), the padding, where none."""
    edges = (np.arange(pixels + 1) * pitch - start) / cell
    low = np.clip(np.floor(edges[:-1] + 1e-9), 0, n).astype(int)
    high = np.clip(np.ceil(edges[1:] - 1e-9), 0, n).astype(int)
    is_empty = high <= low
    return np.where(is_empty, n, low), np.where(is_empty, n + 1, high)
