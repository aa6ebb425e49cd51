"""Where the time of a finishing cut goes, stage by stage, on one thread and by processor time."""

import time

import loads
import numba
import numpy as np

from simkit.frames import IDENTITY
from simkit.stock.cut import TILE, Packed, _pointers, cut, support_of
from simkit.stock.list_kernels import GROUP, LANES, PH, PLEN, PSLOPE, PUX, PX, PY

PLAIN_TILE = 128  # the plain way is fastest with longer rows than the fast way wants
GROUPS = 8  # of moves whose bounds are taken in one call
BLOCK, LEAF = 0.75, 0.15  # mm from the middle to the outermost centres, cells of 0.1 mm


def in_turns(runs, *jobs):
    """Least wall seconds and least processor seconds of each job, done in turns."""
    best = [[np.inf, np.inf] for _ in jobs]
    for _ in range(runs):
        for i, job in enumerate(jobs):
            wall, busy = time.perf_counter(), time.process_time()
            job()
            best[i][0] = min(best[i][0], time.perf_counter() - wall)
            best[i][1] = min(best[i][1], time.process_time() - busy)
    return best


def packed_lines(moves, cutter):
    """Records of straight moves, by the packing of the cut."""
    from simkit.stock.cut import Packed

    view = np.array([-1e3, 1e3, -1e3, 1e3, 1e3])
    packed = Packed(moves, {1: cutter}, IDENTITY, view, 0, 0)
    keep = np.concatenate([np.arange(a, b) for a, b in packed.chunks])
    return packed.records[keep], packed.rows[keep], packed.codes[keep[0]]


@numba.njit(error_model="numpy", nogil=True)
def roots(x, n):
    """Square roots as fast as the vector unit gives them."""
    for _ in range(n):
        for i in range(x.shape[0]):
            x[i] = np.sqrt(x[i]) + 1.0


@numba.njit(error_model="numpy", nogil=True)
def leaf_heights(n, heights, code, records, places, g):
    """Heights of one move after the other over the cells of a leaf."""
    for k in range(n):
        heights(code, records[k % records.shape[0]], places, 16, g)


@numba.njit(error_model="numpy", nogil=True)
def block_bounds(n, bounds, lists, groups, profile, support, half, is_leaf):
    """Bounds of full groups of moves over one block after the other."""
    for k in range(n):
        bounds(
            lists, 0, LANES, groups, len(groups), 0.01 * (k % 7), 0.02, half, half, 0.1, 0.1, profile,
            support, 1e-4, is_leaf,
        )  # fmt: skip


def unit_times(moves, cutter, runs):
    """Seconds of a height, of a bound over a block and over a leaf, and of a root, each alone."""
    records, _, code = packed_lines(moves[:1000], cutter)
    places = np.concatenate([np.tile(np.arange(4) * 0.1, 4), np.repeat(np.arange(4) * 0.1, 4)])
    g, x = np.empty(16, np.float32), np.linspace(1, 2, 512)
    lists, groups = np.zeros(GROUP, np.float32), np.zeros(GROUPS, np.int32)
    some = np.random.default_rng(1).uniform(-0.5, 0.5, (4, LANES)).astype(np.float32)
    for column, numbers in zip((PX, PY, PH, PSLOPE), some, strict=True):
        lists[column : column + LANES] = numbers
    lists[PUX : PUX + LANES], lists[PLEN : PLEN + LANES] = 1.0, 0.5
    (heights, bounds), more = _pointers(), (lists, groups, cutter.code, support_of(cutter))
    n = 16_000
    jobs = (
        lambda: leaf_heights(n, heights, code, records, places, g),
        lambda: block_bounds(n, bounds, *more, BLOCK, False),
        lambda: block_bounds(n, bounds, *more, LEAF, True),
        lambda: roots(x, n // 16),
    )
    for job in jobs:
        job()
    times = in_turns(runs, *jobs)
    return [
        busy / (n * k) for (_, busy), k in zip(times, (16, GROUPS * LANES, GROUPS * LANES, 32), strict=True)
    ]


def winners(owner, edge):
    """How many moves own cells of a block of edge x edge cells, on average."""
    ny, nx = (size // edge * edge for size in owner.shape)
    blocks = owner[:ny, :nx].reshape(ny // edge, edge, nx // edge, edge).swapaxes(1, 2)
    blocks = np.sort(blocks.reshape(-1, edge * edge), axis=1)
    return float(1 + (np.diff(blocks, axis=1) != 0).sum(axis=1).mean())


def profile(name, moves, cutter, size, runs):
    """Print where the time of one cut goes, and what would remain of it if only winners were evaluated.

    Packing and binning are timed as they are called; heights and bounds are counted in the cut, and what one
    takes is timed alone; the rest is what is left: lists written and copied, ceilings, leaves, memory.
    """
    before = numba.get_num_threads()
    numba.set_num_threads(1)
    field, cutters = loads.blank(size), {1: cutter}
    lattice = field.lattice
    view = np.array([0.0, size, 0.0, size, loads.THICKNESS])
    tiles = tuple(-(-n // TILE) for n in lattice.shape)
    tops = np.full(tiles, loads.THICKNESS, np.float32)
    packed = Packed(moves, cutters, IDENTITY, view, 0, 0)
    outcome = cut(field, moves, cutters, IDENTITY)
    jobs = (
        lambda: cut(field, moves, cutters, IDENTITY),
        lambda: cut(field, moves, cutters, IDENTITY, tile=PLAIN_TILE, is_plain=True),
        lambda: Packed(moves, cutters, IDENTITY, view, 0, 0),
        lambda: packed.bins(*lattice.origin, TILE * lattice.cell, tops),
    )
    jobs[1]()
    whole, plain, packing, binning = (1e9 * busy / field.upper.size for _, busy in in_turns(runs, *jobs))
    height, bound, leaf_bound, root = (1e9 * unit for unit in unit_times(moves, cutter, runs))
    numba.set_num_threads(before)
    cells = field.upper.size
    heights, in_leaves = outcome.evaluations / cells, outcome.leaf_tests / cells
    in_blocks = outcome.bound_tests / cells - in_leaves
    parts = (heights * height, in_blocks * bound, in_leaves * leaf_bound)
    rest = whole - packing - binning - sum(parts)
    print(f"{name}: {whole:.0f} ns a cell against {plain:.0f} plain, one thread: {plain / whole:.1f} times")
    for what, taken in (
        ("packing", packing),
        ("binning", binning),
        (f"bounds over blocks: {in_blocks:.1f} a cell of {bound:.2f} ns", parts[1]),
        (f"bounds over leaves: {in_leaves:.1f} a cell of {leaf_bound:.2f} ns", parts[2]),
        (f"heights: {heights:.1f} a cell of {height:.2f} ns, {root:.2f} ns a root", parts[0]),
        ("the rest: lists, ceilings, leaves, memory", rest),
    ):
        print(f"  {taken:5.1f} ns, {100 * taken / whole:3.0f} %: {what}")
    print(f"  of the heights their two roots each alone: {2 * heights * root:.1f} ns")
    owners = winners(outcome.field.upper_move, 4)
    least, each = packing + binning + owners * height, packing + binning + height
    print(
        f"  {owners:.1f} moves own cells of a leaf of 4 x 4.  Were these known, and all free but they, "
        f"packing and binning: {least:.0f} ns, {plain / least:.0f} times; "
        f"with one height a cell {plain / each:.0f}",
        flush=True,
    )
