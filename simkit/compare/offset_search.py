"""Where a whole side may lie that is off by millimetres: shifts in plan at which cut and part look alike."""

from __future__ import annotations

import numpy as np
from scipy import fft

MOST_CELLS = 400  # along the longer edge of the cells that are compared
FARTHEST = 15.0  # mm, in x and in y
CLIP = 2.0  # mm: the cut counts as no farther above or below all of the part than this
LEAST_SEEN = 0.8  # share of the part that must lie on the blank
TRIED = 6  # shifts that are told


def alike_shifts(cut: np.ndarray, target: np.ndarray, cell: float) -> list[tuple[tuple[int, int], float]]:
    """Return shifts of the target at which the cut looks most like it, best first.

    Each ((rows, columns) in cells, mm): and how far apart those that were tried are.

    cut (ny, nx) mm: heights of what is left, along the side's axis, what holds nothing far below the part.
    target (ny, nx) mm: NaN outside the outline.  cell mm: edge of a cell.
    What is compared is the spread of cut minus target over the cells of the part: it knows no shift along z,
    and trench, frame and skin around the part count where the shifted part would lie on them.
    Cells are compared, and shifts tried, so far apart that MOST_CELLS lie along the longer edge; shifts of at
    most FARTHEST.
    Source: sums of squared differences under a mask by correlations, D. Padfield, 'Masked object registration
    in the Fourier domain', IEEE Transactions on Image Processing 21, 2012, from memory; twin in the tests.
    """
    stride = max(-(-max(cut.shape) // MOST_CELLS), 1)
    cut, target = cut[::stride, ::stride], target[::stride, ::stride]
    is_part = np.isfinite(target)
    if not is_part.any():
        return []
    low, high = target[is_part].min(), target[is_part].max()
    middle = (low + high) / 2  # small numbers keep the sums of squares exact enough
    cut = np.clip(cut, low - CLIP, high + CLIP) - middle
    mask, wanted = is_part.astype(float), np.where(is_part, target - middle, 0.0)
    size = tuple(fft.next_fast_len(2 * n - 1, real=True) for n in cut.shape)

    def turned(array):
        return fft.rfft2(array, size)

    def correlated(first, second):
        """Return the sums of first(x + shift) * second(x)."""
        return fft.irfft2(first * np.conj(second), size)

    ones, cuts, squares = turned(np.ones_like(cut)), turned(cut), turned(cut**2)
    masks, wants = turned(mask), turned(wanted)
    count = correlated(ones, masks)
    total = correlated(cuts, masks) - correlated(ones, wants)
    square = correlated(squares, masks) - 2 * correlated(cuts, wants) + correlated(ones, turned(wanted**2))
    is_seen = count >= LEAST_SEEN * is_part.sum()
    spread = np.where(is_seen, square / np.maximum(count, 1) - (total / np.maximum(count, 1)) ** 2, np.inf)
    most = int(FARTHEST / (cell * stride))
    rows, columns = (np.arange(-min(most, n - 1), min(most, n - 1) + 1) for n in cut.shape)
    spread = spread[np.ix_(rows, columns)]  # negative shifts stand at the far end
    found = []
    for _ in range(TRIED):
        iy, ix = np.unravel_index(np.argmin(spread), spread.shape)
        if not np.isfinite(spread[iy, ix]):
            break
        found.append(((int(rows[iy]) * stride, int(columns[ix]) * stride), cell * stride))
        spread[max(iy - 2, 0) : iy + 3, max(ix - 2, 0) : ix + 3] = np.inf
    return found
