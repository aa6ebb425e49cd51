"""Where the time of a finishing cut goes, stage by stage, on one thread and by processor time."""

import time

import loads
import numba
import numpy as np
from stage_kernels import (
    MOVES,
    block_bounds,
    firsts,
    grouped,
    groups_told,
    leaf_cells,
    leaf_heights,
    leaf_tests,
    listed,
    pieces_chosen,
    pieces_kept,
    tested,
)

from simkit.cutters import BALL
from simkit.frames import IDENTITY
from simkit.stock.cut import TILE, Packed, _pointers, cut, support_of
from simkit.stock.leaf_kernels import HALF
from simkit.stock.list_kernels import CHANCE, GROUP, LANES, LOWEST, PH, PLEN, PSLOPE, PUX, PX, PY

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


def unit_times(moves, cutter, runs):
    """Seconds that a piece of work takes alone, by name: in the first cache, each branch as the last time."""
    records, rows, code = packed_lines(moves[:1000], cutter)
    rng, x = np.random.default_rng(1), np.linspace(1, 2, 512)
    lists, groups = np.zeros(16 * GROUP, np.float32), np.zeros(GROUPS, np.int32)
    some = rng.uniform(-0.5, 0.5, (4, LANES)).astype(np.float32)
    for column, numbers in zip((PX, PY, PH, PSLOPE), some, strict=True):
        lists[column : column + LANES] = numbers
    lists[PUX : PUX + LANES], lists[PLEN : PLEN + LANES] = 1.0, 0.5
    (_, bounds), more = _pointers(), (lists, groups, cutter.code, support_of(cutter))
    kept = lists.copy()
    kept[LOWEST : LOWEST + LANES] = kept[CHANCE : CHANCE + LANES] = rng.permutation(LANES) / LANES
    names, w = rng.integers(0, len(records), 200).astype(np.float32), rng.random(16 * 16)
    small, keys = np.zeros(256, np.float32), np.empty(4 * LANES, np.int32)
    field = (np.zeros((32, 32), np.float32), np.zeros((32, 32), np.int32), np.arange(32.0), np.arange(32.0))
    leaf_room = (w, w, small, small.copy(), small, w, keys, w)
    columns = (np.full(len(records), code, np.int8), rows, records)
    n = 16_000
    radius, vectors, names_of = (
        cutter.radius,
        np.zeros(2 * GROUPS, np.int32),
        np.arange(16 * LANES, dtype=np.int32),
    )
    block_bounds(1, bounds, *more, BLOCK, False)
    sixth = float(np.quantile(lists[LOWEST : LOWEST + LANES], 1.0 / 6.0))
    room = np.zeros(256, np.float32)
    grouped(1, lists, room)
    strips = np.concatenate([lists[: 8 * GROUP]] * 2)
    for k in range(4):  # 128 groups: the same two again and again, far apart in height
        for column in range(GROUP // LANES):
            at = column * LANES
            strips[k * GROUP + at : k * GROUP + at + LANES] = np.tile(
                lists[GROUP + at : GROUP + at + 2], LANES // 2
            )
        strips[k * GROUP + PH : k * GROUP + PH + LANES] += rng.permutation(LANES) / 8
    under, some_names = float(strips[PH : PH + LANES].min() + 0.5), np.zeros(16 * LANES, np.int32)
    floats = (names_of.view(np.float32), some_names.view(np.float32))
    jobs = {
        "height": (HALF * MOVES, lambda: leaf_heights(n, cutter.code, columns, names, w)),
        "block bound": (GROUPS * LANES, lambda: block_bounds(n, bounds, *more, BLOCK, False)),
        "leaf bound": (GROUPS * LANES, lambda: block_bounds(n, bounds, *more, LEAF, True)),
        "root": (32, lambda: roots(x, n // 16)),
        "listed": (1, lambda: listed(n, records, lists.copy())),
        "kept": (GROUPS * LANES, lambda: tested(n, kept, groups, columns)),
        "first": (GROUPS * LANES, lambda: firsts(n, kept, groups, keys)),
        "group made": (2, lambda: grouped(n, lists, room)),
        "group": (
            4 * LANES,
            lambda: groups_told(n, strips, 0, 4 * LANES, radius, BLOCK, under, *floats, room),
        ),
        "piece chosen": (GROUPS * LANES, lambda: pieces_chosen(n, lists, vectors, radius, BLOCK, room)),
        "piece kept": (GROUPS * LANES, lambda: pieces_kept(n, lists, vectors, radius, BLOCK, sixth, room)),
        "leaf test": (LANES, lambda: leaf_tests(n, lists, small, small, small.copy())),
        "cell": (16, lambda: leaf_cells(n, field, leaf_room)),
    }
    for _, job in jobs.values():
        job()
    times = in_turns(runs, *(job for _, job in jobs.values()))
    return {name: busy / (n * each) for (name, (each, _)), (_, busy) in zip(jobs.items(), times, strict=True)}


def winners(owner, edge):
    """How many moves own cells of a block of edge x edge cells, on average."""
    ny, nx = (size // edge * edge for size in owner.shape)
    blocks = owner[:ny, :nx].reshape(ny // edge, edge, nx // edge, edge).swapaxes(1, 2)
    blocks = np.sort(blocks.reshape(-1, edge * edge), axis=1)
    return float(1 + (np.diff(blocks, axis=1) != 0).sum(axis=1).mean())


def profile(name, moves, cutter, size, runs):
    """Print where the time of one cut goes, and what would remain of it if only winners were evaluated.

    Packing and binning are timed as they are called; all else is counted in the cut, and what one takes is
    timed alone.  That is the least that each stage can take as it is written.
    """
    before = numba.get_num_threads()
    numba.set_num_threads(1)
    field, cutters = loads.blank(size), {1: cutter}
    lattice = field.lattice
    view = np.array([0.0, size, 0.0, size, loads.THICKNESS])
    tiles = tuple(-(-n // TILE) for n in lattice.shape)
    tops = np.full(tiles, loads.THICKNESS, np.float32)
    extent = 1.5 * TILE * lattice.cell if cutter.code == BALL else 0.0  # as the cut packs strips
    packed = Packed(moves, cutters, IDENTITY, view, 0, 0, extent)
    outcome = cut(field, moves, cutters, IDENTITY)
    jobs = (
        lambda: cut(field, moves, cutters, IDENTITY),
        lambda: cut(field, moves, cutters, IDENTITY, tile=PLAIN_TILE, is_plain=True),
        lambda: Packed(moves, cutters, IDENTITY, view, 0, 0, extent),
        lambda: packed.bins(*lattice.origin, TILE * lattice.cell, tops),
    )
    jobs[1]()
    whole, plain, packing, binning = (1e9 * busy / field.upper.size for _, busy in in_turns(runs, *jobs))
    unit = {what: 1e9 * taken for what, taken in unit_times(moves, cutter, runs).items()}
    numba.set_num_threads(before)
    cells = field.upper.size
    heights, in_leaves = outcome.evaluations / cells, outcome.leaf_tests / cells
    of_groups = outcome.group_tests / cells
    in_blocks = outcome.bound_tests / cells - in_leaves - of_groups
    named = packed.bins(*lattice.origin, TILE * lattice.cell, tops)[1]
    single = (
        np.count_nonzero(named >= 0) / cells
    )  # strips are made while packing; to list them is in the rest
    entries = single if cutter.code == BALL else named.size / cells
    print(f"{name}: {whole:.0f} ns a cell against {plain:.0f} plain, one thread: {plain / whole:.1f} times")
    rest = whole
    over_blocks = (
        ("bounds over blocks", in_blocks, unit["block bound"]),
        ("the best of each quarter among them", in_blocks, unit["first"]),
        ("which come under the ceiling, a sixth copied", in_blocks, unit["kept"]),
    )
    if cutter.code == BALL:
        over_blocks = (
            ("groups of moves made", entries / 16, unit["group made"]),
            ("groups over blocks", of_groups, unit["group"]),
            ("the best of each quarter, of some (at most this)", in_blocks, unit["piece chosen"]),
            ("bounds over blocks, a sixth copied", in_blocks, unit["piece kept"]),
        )
    for what, many, each in (
        ("packing", 1, packing),
        ("binning", 1, binning),
        ("moves into lists of tiles", entries, unit["listed"]),
        *over_blocks,
        ("bounds over leaves", in_leaves, unit["leaf bound"]),
        ("which come under the surface", in_leaves, unit["leaf test"]),
        ("heights", heights, unit["height"]),
        ("cells read into leaves and back", 1, unit["cell"]),
    ):
        print(
            f"  {many * each:5.1f} ns, {100 * many * each / whole:3.0f} %: {what}"
            + (f": {many:.2f} a cell of {each:.2f} ns alone" if many != 1 else "")
        )
        rest -= many * each
    print(
        f"  {rest:5.1f} ns, {100 * rest / whole:3.0f} %: the rest: what stages take longer than alone "
        f"(branches not foreseen, memory, waiting\n            for what comes before), ceilings, copies of "
        f"the field; without it {plain / (whole - rest):.1f} times"
    )
    print(f"  of the heights their two roots each alone: {2 * heights * unit['root']:.1f} ns")
    owners = winners(outcome.field.upper_move, 4)
    least, each = packing + binning + owners * unit["height"], packing + binning + unit["height"]
    print(
        f"  {owners:.1f} moves own cells of a leaf of 4 x 4.  Were these known, and all free but they, "
        f"packing and binning: {least:.0f} ns, {plain / least:.0f} times; "
        f"with one height a cell {plain / each:.0f}",
        flush=True,
    )
