"""What the tiles tell of each entry in the replay (told_kernels), summed up by move."""

import math

import numpy as np

from simkit._jit import entry_kernel
from simkit.stock.take_kernels import BOTTOM, DEPTH, FAR, LEAN, NEAR, SPOT, TAKEN, TOP, UNDER


@entry_kernel
def add_entries(
    entries, rows, row0, taken, area, lean_area, volume, right, highest, near, far, under, depth, spot, bottom
):
    """Add what some entries took to what is told of their moves, in the order of the entries.

    entries (m,): places in rows; rows int32: of which move each is, row0 the first one's.  taken (m, TAKES).
    area, lean_area mm2: of a cell; and with its sign where right and left are swapped.
    Written, (moves,) each: volume, right mm3; highest, near, far, under mm, with -inf, +inf, -inf, 0 to begin
    with; depth float32, spot int64, bottom float32: of the deepest column, the first cell on ties.
    One after the other, so that sums have the same bits whatever the parts the tiles were done in.
    """
    for i in range(entries.shape[0]):
        if not taken[i, TAKEN] > 0.0:
            continue
        k = rows[entries[i]] - row0
        volume[k] += taken[i, TAKEN] * area
        right[k] += taken[i, LEAN] * lean_area
        highest[k] = max(highest[k], taken[i, TOP])
        near[k] = min(near[k], taken[i, NEAR])
        far[k] = max(far[k], taken[i, FAR])
        under[k] = max(under[k], taken[i, UNDER])
        deepest, cell = taken[i, DEPTH], taken[i, SPOT]
        if deepest > depth[k] or (deepest == depth[k] and cell < spot[k]):
            depth[k], spot[k], bottom[k] = deepest, cell, taken[i, BOTTOM]


@entry_kernel
def tell_moves(first, last, start, end, up, offset, rise, highest, near, far, under, top, along):
    """Write what is told of the moves [first, last), when all of their entries are added.

    start, end (n, 3): of all moves, program frame.  up; offset, rise: heights of the field are z or -z of the
    blank frame, rise z + offset of the program's.  highest, near, far (n,): of add_entries.
    under (n,): 0 on lifts from now on.  Written: top (n,), along (n, 2), NaN for none.
    """
    for i in range(np.uint64(first), np.uint64(last)):
        if end[i, 2] >= start[i, 2]:
            under[i] = 0.0
        top[i] = (up * highest[i] - offset) / rise if math.isfinite(highest[i]) else math.nan
        is_told = math.isfinite(far[i])
        along[i, 0] = near[i] + 0.0 if is_told else math.nan  # + 0.0: no -0
        along[i, 1] = far[i] if is_told else math.nan


@entry_kernel
def tell_places(first, last, place, heights, xs, ys, up, at):
    """Write where the finds [first, last) are: at (n, 3), NaN for none.

    place (n,): iy * nx + ix, -1 for none.  heights (n,) float32: h there.
    """
    nx = np.int64(len(xs))
    for i in range(np.uint64(first), np.uint64(last)):
        at[i, 0] = at[i, 1] = at[i, 2] = math.nan
        if place[i] >= 0:
            at[i, 0], at[i, 1] = xs[place[i] % nx], ys[place[i] // nx]
            at[i, 2] = up * np.float64(heights[i])
