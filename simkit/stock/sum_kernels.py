"""What the tiles tell of each entry in the replay (told_kernels), summed up by move."""

from simkit._jit import entry_kernel
from simkit.stock.told_kernels import BOTTOM, DEPTH, FAR, LEAN, NEAR, SPOT, TAKEN, TOP, UNDER


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
