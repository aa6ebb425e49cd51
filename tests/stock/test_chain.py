"""A ball's lines move by move: which leaves they meet, what these lose, and all of it against lists."""

import numba
import numpy as np
import pytest

from simkit.cutters import Cutter
from simkit.frames import IDENTITY, turned
from simkit.moves.table import LINE, make_moves
from simkit.stock import bit_kernels, chain_kernels, shave_kernels
from simkit.stock import meet_kernels as meets
from simkit.stock.bound_kernels import STEEPEST
from simkit.stock.cut import cut
from simkit.stock.field import blank_field, blank_lattice
from simkit.stock.lose_kernels import CELLS, FLOOR, KEEPER, LEAF, ON_PATH, WIDE
from simkit.stock.replay import replay
from tests.stock.from_python import from_python
from tests.stock.test_cut import SIZE, assert_same
from tests.stock.test_replay import path, winding

CELL, RADIUS = 0.2, 3.0
LEAVES = meets.WIDE
meet, settle = from_python(meets.meet), from_python(meets.settle)
level_leaf, reach_vectors = from_python(meets.level_leaf), from_python(meets.reach_vectors)


@numba.njit
def zero_or_less(numbers, first):
    """A bit for each of sixteen numbers, for a test."""
    return bit_kernels.not_above_zero(numbers, np.uint64(first))


@numba.njit
def begin_and_shave(slots, firsts, ons, cells, batch, places, line, sides, changed, size):
    """Lower leaves by a move that stands as 7; return what is told of it, for a test."""
    sums, deep = np.empty(shave_kernels.SUMS), np.empty(shave_kernels.DEEPS, np.float32)
    marks = np.empty(CELLS, np.int32)
    shave_kernels.begin_move(sums, deep, marks)
    half = np.uint64(len(slots) // 2)
    for begin, end in ((np.uint64(0), half), (half, np.uint64(len(slots)))):
        shave_kernels.shave(
            np.float32(7.0), slots, begin, end, np.uint64(0), firsts, ons, cells, batch, sums, deep, marks,
            places, line, sides, changed, np.uint64(1),
        )  # fmt: skip
    return shave_kernels.told_of_move(sums, deep, marks, size)


def numbers_of(a, b, margin):
    """What meet is told of a line from a to b, near the tile all along."""
    away = b - a
    length = np.hypot(away[0], away[1])
    ux, uy = away[:2] / length if length > 1e-9 else (1.0, 0.0)
    slope = away[2] / length if length > 1e-9 else 0.0
    line = np.zeros(meets.LINE_NUMBERS, np.float32)
    line[: meets.LINE_MARGIN] = [*a, ux, uy, length, slope, slope / np.hypot(1.0, slope), length]
    line[meets.LINE_MARGIN], line[meets.LINE_MORE] = margin, margin**2 * 2.0**16
    line[meets.LINE_TIE] = margin
    return line


def swept(a, b, x, y):
    """Heights of a ball from a to b over places, and which share of the way counts: by trying 1001."""
    share = np.linspace(0.0, 1.0, 1001)
    tips = a + share[:, None] * (b - a)
    rest = RADIUS**2 - (x[:, None] - tips[:, 0]) ** 2 - (y[:, None] - tips[:, 1]) ** 2
    heights = np.where(rest >= 0, tips[:, 2] + RADIUS - np.sqrt(np.maximum(rest, 0.0)), np.inf)
    return heights.min(axis=1), heights.argmin(axis=1) / 1000.0


def wood(rng):
    """Sixteen leaves, four by four, of a rough slope: cells as of a yard; x, y and h of the cells of each."""
    cells = np.zeros(LEAVES * shave_kernels.KEPT, np.float32)
    slope, rough = rng.normal(0, rng.choice([0.0, 0.3, 2.0]), 2), rng.choice([0.0, 0.01, 0.5])
    found = []
    for leaf in range(LEAVES):
        row, column = np.divmod(leaf, meets.SIDE)
        x = (column * WIDE + np.arange(CELLS) % WIDE - 15.5) * CELL
        y = (row * LEAF + np.arange(CELLS) // WIDE - 7.5) * CELL
        h = np.float32(slope @ [x, y] + rng.normal(0, 1) * rough + rough * rng.random(CELLS))
        cells[leaf * shave_kernels.KEPT :][:CELLS] = h
        found.append((x, y, h))
    return cells, found


@pytest.mark.parametrize("seed", range(12))
def test_meet__leaves_out_no_leaf_that_a_line_takes_from(seed):
    rng = np.random.default_rng(seed)
    counts = np.zeros((3, 2), int)  # of leaves not met, behind and ahead: said, and so it is
    for _ in range(40):
        cells, leaves = wood(rng)
        about = np.zeros(2 * meets.VECTOR, np.float32)
        for leaf, (x, y, _) in enumerate(leaves):
            for row, number in (
                (meets.AT_X, x.mean()), (meets.AT_Y, y.mean()), (meets.HALF_X, np.ptp(x) / 2),
                (meets.HALF_Y, np.ptp(y) / 2),
            ):  # fmt: skip
                about[row + leaf] = number
            level_leaf(
                about, cells, np.uint64(leaf), np.uint64(leaf * shave_kernels.KEPT), CELL, 0.0, STEEPEST
            )
        settle(about, 0, RADIUS)
        for lane in range(LEAVES):  # the box round all of them, and what fills a vector
            about[meets.VECTOR + meets.AT_X + lane] = 1e12 if lane else 0.0
            about[meets.VECTOR + meets.HALF_X + lane] = 15.5 * CELL
            about[meets.VECTOR + meets.HALF_Y + lane] = 7.5 * CELL
        a = rng.uniform(-6, 6, 3) * [1, 1, 0.3]
        b = a + rng.normal(0, 1, 3) * 10.0 ** rng.uniform(-2, 0.7) * [1, 1, rng.choice([0.0, 0.3, 1.0])]
        if rng.random() < 0.1:
            b[:2] = a[:2]
        a[2], b[2] = (a[2], b[2]) if a[0] != b[0] else np.sort([a[2], b[2]])
        line = numbers_of(a, b, 1e-4)
        half = np.hypot(3.5, 1.5) * CELL
        meet(about, 0, line, RADIUS, half)
        under, behind, ahead = (zero_or_less(about, row) for row in (meets.UNDER, meets.BEHIND, meets.AHEAD))
        reach_vectors(about, np.uint64(meets.VECTOR), line, RADIUS)
        is_near, all_behind = (about[meets.VECTOR + row] <= 0 for row in (meets.UNDER, meets.BEHIND))
        assert zero_or_less(about, meets.VECTOR + meets.UNDER) in (0, 1)
        for leaf, (x, y, h) in enumerate(leaves):
            heights, share = swept(a, b, x, y)
            is_met, touched = bool(under >> leaf & 1), np.isfinite(heights)
            assert is_near or not touched.any()
            if not is_met:
                assert (heights >= h).all()
            counts[0] += [not is_met, (heights >= h).all()]
            for k, bits, end in ((1, behind, 0.0), (2, ahead, 1.0)) if line[meets.LINE_LENGTH] else ():
                so = touched.any() and (share[touched] == end).all()
                if bits >> leaf & 1:
                    assert (share[touched] == end).all()
                counts[k] += [bool(bits >> leaf & 1) and so, so]
            if all_behind:
                assert behind >> leaf & 1
    assert (counts[:, 0] >= [0.8, 0.6, 0.6] * counts[:, 1]).all(), counts
    assert (counts[:, 1] > 15).all(), counts


@pytest.mark.parametrize("seed", range(20))
def test_shave__as_cell_by_cell(seed):
    rng = np.random.default_rng(seed)
    size, leaves = 64, np.array([0, 5, 4, 17, 3])
    rows, columns = np.divmod(np.arange(18), 4)
    cells = np.zeros(18 * shave_kernels.KEPT, np.float32)
    places, firsts, ons = np.zeros(22 * CELLS), np.zeros(18, np.int32), np.zeros(36, np.int32)
    for k in range(4):
        places[k * CELLS : (k + 1) * CELLS] = (k * WIDE + np.arange(CELLS) % WIDE) * CELL
    for k in range(18):
        row, column = rows[k], columns[k]
        places[(4 + k) * CELLS : (5 + k) * CELLS] = (k * LEAF + np.arange(CELLS) // WIDE) * CELL
        firsts[k], ons[2 * k : 2 * k + 2] = (
            row * LEAF * size + column * WIDE,
            (column * CELLS, (4 + row) * CELLS),
        )
        mine = cells[k * shave_kernels.KEPT : (k + 1) * shave_kernels.KEPT]
        mine[:CELLS] = rng.choice(np.float32([5.0, 5.25, 6.1]), CELLS)
        mine[FLOOR : FLOOR + CELLS], mine[KEEPER:] = -1.0, -1.0
        mine[FLOOR : FLOOR + CELLS : 5] = 5.2
    before = cells.reshape(18, 3, CELLS).copy()
    slots = leaves.astype(np.float32)
    heights = rng.choice(np.float32([4.0, 4.5, 5.1, 5.9, 7.0, np.inf]), (len(leaves), CELLS))
    heights[-1] = np.inf  # nothing is lost here
    angle = rng.uniform(0, 2 * np.pi)
    x, y, ux, uy = 2.0 + rng.normal(), 2.5 + rng.normal(), np.cos(angle), np.sin(angle)
    right = (ux, uy) if seed % 4 else (0.0, 0.0)
    changed = np.zeros(3, np.int32)
    told = begin_and_shave(
        slots, firsts, ons, cells, heights.reshape(-1).copy(), places, (x, y, ux, uy), right, changed, size
    )

    after, total, lean, ways, tops, finds = before.copy(), 0.0, 0.0, [], [], []
    for leaf, to in zip(leaves, heights, strict=True):
        stood, floor, _ = before[leaf]
        lost = np.maximum(stood - np.maximum(to, floor), np.float32(0.0))
        after[leaf, 0] = np.minimum(stood, to)
        after[leaf, 2] = np.where(to < stood, 7.0, -1.0)
        px, py = (places[on : on + CELLS] for on in ons[2 * leaf : 2 * leaf + 2])
        side = (px - x) * right[1] + (py - y) * -right[0]
        total += lost.sum(dtype=float)
        lean += (lost.astype(float) * np.where(side > ON_PATH, 1, np.where(side < -ON_PATH, -1, 0))).sum()
        ways += list(((px - x) * ux + (py - y) * uy)[lost > 0])
        tops += list(stood[lost > 0])
        iy, ix = rows[leaf] * LEAF + np.arange(CELLS) // WIDE, columns[leaf] * WIDE + np.arange(CELLS) % WIDE
        finds += [(-depth, cell) for depth, cell in zip(lost, iy * size + ix, strict=True)]
        assert bool(changed[1 + leaf // 16] >> leaf % 16 & 1) == bool((to < stood).any())
    assert total > 0
    assert changed[0] == 0
    assert np.array_equal(cells.reshape(18, 3, CELLS), after)
    depth, cell = min(finds)
    assert told == (total, lean, min(ways), max(ways), max(tops), -depth, cell)


def raster(n, step):
    """A finishing pass to and fro over waves, some of its ways steep."""
    side = int(np.sqrt(n))
    x, y = np.meshgrid(np.arange(side) * step, np.arange(side) * step)
    x[1::2] = x[1::2, ::-1]
    z = 7 + 1.5 * np.sin(x / 2) + 2 * np.cos(y / 3) + 1.2 * (np.sin(x * 1.7) > 0.6)
    return np.column_stack([x.ravel() + 7.0, y.ravel() + 4.0, z.ravel()])


WAYS = {
    "waves": lambda: raster(900, 0.35),
    "fine": lambda: raster(625, 0.11),
    "turns": lambda: winding(5, 0.3, 300),
    "long": lambda: winding(6, 5.0, 120),
    "there and back": lambda: np.repeat(
        [[[8.0, 6.0, 6.0], [22.0, 9.0, 5.0], [12.0, 14.0, 5.5]]], 40, 0
    ).reshape(-1, 3),
}


@pytest.mark.parametrize("turn", ["none", "about x", "about y"])
@pytest.mark.parametrize("way", WAYS)
def test_chain__tells_what_lists_do(way, turn):
    """Fewer moves than LEAST go by lists, leaf by leaf."""
    moves, frame = path(WAYS[way]()), turned(turn, *SIZE)
    cutters, few = {1: Cutter(1, "ball", 5.0)}, chain_kernels.LEAST - 8
    before = blank_field(blank_lattice(*SIZE[:2], 0.15), *SIZE)
    # Side 2 is cut already: its surface is the floor of what is taken.
    other = turned("about x" if turn == "none" else "none", *SIZE)
    before = cut(before, path([[4.0, 4.0, 6.5], [26.0, 15.0, 6.5]]), {1: Cutter(1, "ball", 9.0)}, other).field
    found = replay(before, moves, cutters, frame)
    field, parts, heights = before, [], 0
    for first in range(0, len(moves), few):
        part = replay(field, moves[first : first + few], cutters, frame, first_row=first)
        field, heights = part.field, heights + part.evaluations
        parts.append(part)
    assert found.evaluations != heights
    assert_same(found.field, field)
    for name in ("depth", "at", "top", "along", "under"):
        wanted = np.concatenate([getattr(part, name) for part in parts])
        assert np.array_equal(getattr(found, name), wanted, equal_nan=True), name
    for name in ("volume", "right"):  # summed leaf by leaf
        wanted = np.concatenate([getattr(part, name) for part in parts])
        assert getattr(found, name) == pytest.approx(wanted, rel=1e-12, abs=1e-12), name
    assert (found.volume > 0).sum() > 2


@pytest.mark.parametrize("tile", [16, 37, 100, 144])
def test_chain__same_bits_for_tiles_and_threads(tile):
    moves, cutters = path(WAYS["waves"]()), {1: Cutter(1, "ball", 5.0)}
    before = blank_field(blank_lattice(*SIZE[:2], 0.15), *SIZE)
    first = replay(before, moves, cutters, IDENTITY)
    threads = numba.get_num_threads()
    try:
        numba.set_num_threads(1)
        other = replay(before, moves, cutters, IDENTITY, tile=tile)
    finally:
        numba.set_num_threads(threads)
    assert_same(other.field, first.field)
    for name in ("depth", "at", "top", "along", "under"):
        assert np.array_equal(getattr(other, name), getattr(first, name), equal_nan=True), name
    assert other.volume == pytest.approx(first.volume, rel=1e-12)  # summed tile by tile


def test_chain__slot_in_short_pieces_is_length_times_section():
    # A slot R deep: R^2 pi / 2 for each mm of it, in whatever pieces; the first takes its half ball too.
    n, radius, cell = 200, 2.5, 0.05
    moves = make_moves(
        kind=[LINE] * n, start=[[8 + 0.05 * k, 10.0, 9.5] for k in range(n)],
        end=[[8.05 + 0.05 * k, 10.0, 9.5] for k in range(n)], tool=[1] * n,
    )  # fmt: skip
    before = blank_field(blank_lattice(*SIZE[:2], cell), *SIZE)
    taken = replay(before, moves, {1: Cutter(1, "ball", 2 * radius)}, IDENTITY).volume
    assert SIZE[2] - 9.5 == radius
    assert taken[1:].sum() == pytest.approx(0.05 * (n - 1) * np.pi * radius**2 / 2, rel=2e-3)
    assert taken[0] == pytest.approx(2 / 3 * np.pi * radius**3 + 0.05 * np.pi * radius**2 / 2, rel=2e-3)
