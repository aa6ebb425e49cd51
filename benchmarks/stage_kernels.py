"""Stages of the fast cut, each alone, one piece of work after the other: what cut_profile times."""

import numpy as np

from simkit._jit import entry_kernel
from simkit.stock.block_kernels import keep
from simkit.stock.group_kernels import MOST_BEND, best_groups, groups_under, make_groups
from simkit.stock.leaf_kernels import best_in_quarters, halves_under, load_leaf, lower_half, store_leaf
from simkit.stock.list_kernels import GROUP, LANES, add_line
from simkit.stock.vector_kernels import best_pieces, keep_pieces

MOVES = 4  # in the list of a half of a leaf


@entry_kernel
def leaf_heights(n, profile, moves, names, w):
    """Heights of lists of MOVES moves over one half of a leaf after the other."""
    for k in range(n):
        lower_half(profile, moves, names, np.uint64(k % 100), MOVES, w, k % 2)


@entry_kernel
def block_bounds(n, bounds, lists, groups, profile, support, half, is_leaf):
    """Bounds of full groups of moves over one block after the other."""
    for k in range(n):
        bounds(
            lists, 0, LANES, groups, len(groups), 0.01 * (k % 7), 0.02, half, half, 0.1, 0.1, profile,
            support, 1e-4, is_leaf,
        )  # fmt: skip


@entry_kernel
def listed(n, records, lists):
    """One move after the other into the first list of a tile."""
    for k in range(n):
        add_line(lists, k % 256, 0.0, 0.0, 0.0, 100.0, k, k % records.shape[0], records)


@entry_kernel
def tested(n, lists, groups, moves):
    """Lists of a sixth of full groups, as of those under a ceiling."""
    for _ in range(n):
        keep(lists, 0, LANES, groups, len(groups), 0.5, 0.5, 0.0, 0.0, 1.0 / 6.0, GROUP, np.inf, 0, moves)


@entry_kernel
def firsts(n, lists, groups, keys):
    """The best of each quarter of one block after the other."""
    total, half = 0, np.float32(0.4)
    for _ in range(n):
        a, b, c, d = best_in_quarters(lists, 0, LANES, groups, len(groups), half, half, np.float32(0.0), keys)
        total += a + b + c + d
    return total


@entry_kernel
def leaf_tests(n, lists, hb, off, marks):
    """Bounds of full groups held against the surface of a leaf."""
    total = np.uint32(0)
    for _ in range(n):
        a, b = halves_under(
            lists, np.uint64(0), np.uint64(LANES), np.float32(0.0), hb, off, np.float32(-1.0), marks
        )
        total ^= a ^ b
    return total


@entry_kernel
def leaf_cells(n, field, room):
    """Cells of one leaf after the other read and written."""
    for k in range(n):
        block = (4 * (k // 8 % 8), 4 * (k // 8 % 8) + 4, 4 * (k % 8), 4 * (k % 8) + 4)
        load_leaf(field, block, room)
        store_leaf(field, block, room)


@entry_kernel
def grouped(n, lists, room):
    """One list of LANES pieces after the other into groups."""
    for _ in range(n):
        make_groups(lists, 0, LANES, GROUP, np.float32(MOST_BEND), False, room)


@entry_kernel
def groups_told(n, lists, base, many, radius, half, limit, numbers, names, room):
    """Which of many groups are the most promising, and which come under a ceiling, block after block."""
    total = 0
    for k in range(n):
        x = 0.01 * (k % 7)
        a, b, c, d = best_groups(lists, base, many, x, 0.02, half, half, 0.1, 0.1, radius, room)
        total += a + b + c + d
        total += groups_under(
            lists, base, many, x, 0.02, half, half, 0.1, 0.1, radius, 1e-4, limit, numbers, names, room
        )
    return total


@entry_kernel
def pieces_chosen(n, lists, vectors, radius, half, room):
    """The best pieces of each quarter of one block after the other."""
    total = 0
    for k in range(n):
        a, b, c, d = best_pieces(
            lists,
            0,
            vectors,
            len(vectors),
            0.01 * (k % 7),
            0.02,
            half,
            half,
            0.1,
            0.1,
            radius,
            1e-4,
            0.5,
            room,
        )
        total += a + b + c + d
    return total


@entry_kernel
def pieces_kept(n, lists, vectors, radius, half, limit, room):
    """Bounds of the pieces of some vectors, and a list of those under a ceiling, block after block."""
    total = 0
    for k in range(n):
        total += keep_pieces(
            lists, 0, vectors, len(vectors), 0.01 * (k % 7), 0.02, half, half, 0.1, 0.1, radius, 1e-4, limit,
            GROUP, room,
        )  # fmt: skip
    return total
