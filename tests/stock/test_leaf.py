"""Small kernels of the fast cut, each against the plain way of saying the same."""

import numba
import numpy as np
import pytest

from simkit.stock import leaf_kernels, list_kernels, lose_kernels
from simkit.stock import wide_kernels as wide
from simkit.stock.bit_kernels import not_above_zero
from simkit.stock.cut_kernels import highest
from simkit.stock.half_kernels import lower_half_ball, lower_half_flat
from simkit.stock.line_kernels import line_ball, line_flat
from simkit.stock.memory import LEAST, PAGE, new_array
from simkit.stock.record_kernels import (
    COLUMNS,
    LENGTH,
    RADIUS,
    RIM2,
    SHIFT,
    SLOPE,
    UX,
    UY,
    H,
    X,
    Y,
)
from tests.stock.from_python import from_python


@numba.njit
def marks_of(numbers, first):
    """What not_above_zero tells, for a test."""
    return not_above_zero(numbers, np.uint64(first))


def test_not_above_zero__tells_each_of_sixteen():
    rng = np.random.default_rng(4)
    for first in range(5):
        numbers = rng.uniform(-1, 1, 24).astype(np.float32)
        numbers[rng.integers(0, 24, 6)] = [0.0, -0.0, np.nan, np.inf, -np.inf, 1e-45]
        told = marks_of(numbers, first)
        assert [bool(told >> k & 1) for k in range(16)] == list(numbers[first : first + 16] <= 0.0)
        assert told < 2**16


@numba.njit
def under_ceiling_of(lists, places, half_x, half_y, slope_x, slope_y, ceiling):
    """What under_ceiling tells, for a test."""
    return wide.under_ceiling(lists, places, half_x, half_y, slope_x, slope_y, ceiling)


def test_under_ceiling__tells_each_of_sixteen_planes():
    rng, one = np.random.default_rng(7), np.float32
    for _ in range(50):
        lists = rng.uniform(-1, 1, 64).astype(one)
        lists[rng.integers(0, 16, 2)] = [np.nan, 1e30]
        numbers = rng.uniform(0, 0.5, 5).astype(one)
        half_x, half_y, slope_x, slope_y, ceiling = numbers
        told = under_ceiling_of(lists, (np.uint64(0), np.uint64(17), np.uint64(40)), *numbers)
        fall = half_x * np.abs(lists[17:33] - slope_x) + half_y * np.abs(lists[40:56] - slope_y)
        assert [bool(told >> k & 1) for k in range(16)] == list(lists[:16] - fall - ceiling <= 0.0)


@numba.njit
def any_below_of(numbers, first, limit):
    """What any_below tells, for a test."""
    return wide.any_below(numbers, np.uint64(first), np.float32(limit))


def test_any_below__of_sixteen():
    numbers = np.full(20, 5.0, np.float32)
    numbers[0], numbers[17], numbers[3] = 1.0, 1.0, np.nan
    assert [any_below_of(numbers, first, 2.0) for first in (0, 1, 2, 4)] == [True, False, True, True]
    assert not any_below_of(numbers, 0, 1.0)


@numba.njit
def rows_of(cells, columns, first, w, off, back):
    """Two rows of four cells in the room of a leaf and back again, for a test."""
    zero, eight = np.uint64(0), np.uint64(8)
    wide.gather_rows(w, zero, cells, np.uint64(first), np.uint64(columns))
    wide.fill_rows(w, eight, 2.5, -3.5)
    wide.shift_eight(off, zero, w, zero, 0.1)
    wide.scatter_rows(back, np.uint64(first), np.uint64(columns), w, zero)


@pytest.mark.parametrize("dtype", [np.float32, np.int32, np.float64])
def test_rows__of_a_leaf_there_and_back(dtype):
    cells = (1000 * np.random.default_rng(8).random((6, 9))).astype(dtype)
    w, off, back = np.zeros(16), np.zeros(8, np.float32), np.zeros((6, 9), dtype)
    rows_of(cells, 9, 2 * 9 + 3, w, off, back)
    wanted = cells[2:4, 3:7]
    assert np.array_equal(w[:8], wanted.astype(float).ravel())
    assert np.array_equal(w[8:], [2.5] * 4 + [-3.5] * 4)
    assert np.array_equal(off, (w[:8] - 0.1).astype(np.float32))
    assert np.array_equal(back[2:4, 3:7], wanted)
    assert np.count_nonzero(back) == np.count_nonzero(wanted)


@pytest.mark.parametrize("can_pack", [True, False])
def test_copy_pieces__in_their_order_behind_those_there(can_pack, monkeypatch):
    if can_pack and not list_kernels.CAN_PACK:
        pytest.skip("this machine packs no vectors")
    monkeypatch.setattr(list_kernels, "CAN_PACK", can_pack)
    copy, rng = from_python(list_kernels.copy_pieces), np.random.default_rng(9)
    group, lanes, piece = list_kernels.GROUP, list_kernels.LANES, list_kernels.PIECE
    lists = np.zeros(5 * group, np.float32)
    lists[: 2 * group] = rng.random(2 * group)
    lists[2 * group :] = -1.0
    kept, wanted = 0, []
    for first in (0, 16, group, group + 16, 0, 16):
        mask = rng.random(16) < 0.6
        bits = np.uint32(sum(1 << k for k in range(16) if mask[k]))
        kept = copy(lists, np.uint64(first), bits, np.uint64(2 * group), np.uint64(kept))
        wanted += [[lists[first + k + c * lanes] for c in range(piece)] for k in np.flatnonzero(mask)]
    places = [2 * group + k // lanes * group + k % lanes for k in range(len(wanted))]
    assert kept == len(wanted) > lanes
    assert [[lists[i + c * lanes] for c in range(piece)] for i in places] == wanted
    assert (lists[2 * group :] != -1.0).sum() == piece * kept


@pytest.mark.parametrize("can_pack", [True, False])
def test_name_pieces__the_moves_whose_bits_are_set(can_pack, monkeypatch):
    if can_pack and not leaf_kernels.CAN_PACK:
        pytest.skip("this machine packs no vectors")
    monkeypatch.setattr(leaf_kernels, "CAN_PACK", can_pack)
    name, rng = from_python(leaf_kernels.name_pieces), np.random.default_rng(10)
    lists = np.zeros(list_kernels.GROUP, np.float32)
    moves = rng.integers(0, 2**19, list_kernels.LANES)
    lists[list_kernels.ENTRY : list_kernels.ENTRY + list_kernels.LANES] = moves
    for share in (0.0, 0.2, 0.5, 1.0):
        mask = rng.random(list_kernels.LANES) < share
        bits = np.uint32(sum(1 << k for k in range(list_kernels.LANES) if mask[k]))
        names = np.full(80, -1.0, np.float32)
        count = name(lists, np.uint64(0), bits, names, np.uint64(3))
        assert count == mask.sum()
        assert np.array_equal(names[3 : 3 + count], moves[mask])


@numba.njit
def lower_of(is_ball, names, first, count, rows, records, w, at, apart):
    """What half_kernels does, for a test."""
    first, at, apart = np.uint64(first), np.uint64(at), np.uint64(apart)
    if is_ball:
        lower_half_ball(names, first, count, rows, records, w, at, apart)
    else:
        lower_half_flat(names, first, count, rows, records, w, at, apart)


@pytest.mark.parametrize("is_ball", [True, False])
def test_lower_half__has_the_bits_of_the_formulas(is_ball):
    rng, n = np.random.default_rng(11), 60
    sweep = from_python(line_ball if is_ball else line_flat)
    records, rows = np.zeros((n, COLUMNS)), rng.permutation(n).astype(np.int32)
    records[:, [X, Y]] = rng.uniform(-2, 2, (n, 2))
    records[:, H], records[:, RADIUS], records[:, RIM2] = rng.uniform(-0.2, 0.2, n), 3.0, 1e-9
    turn, m = rng.uniform(0, 6.3, n), np.where(rng.random(n) < 0.3, 0.0, rng.uniform(-1, 1, n))
    records[:, UX], records[:, UY], records[:, LENGTH] = np.cos(turn), np.sin(turn), rng.uniform(0, 3, n)
    records[:, SLOPE], records[:, SHIFT] = m, m / np.sqrt(1 + m * m)
    records[n // 2 :] = records[: n // 2]  # each drawn with another
    for count in (0, 1, 7, n):
        w = np.zeros(64)
        w[:32], w[32:48], w[48:] = rng.uniform(-2.5, 2.5, 32), rng.uniform(-1, 3, 16), -1.0
        names = np.concatenate([[0], rng.permutation(n)]).astype(np.float32)
        wanted = w.copy()
        for j in names[1 : count + 1].astype(int):
            a = records[j]
            last = (a[LENGTH], a[SLOPE], a[SHIFT]) if is_ball else (a[LENGTH], a[SLOPE])
            cover = (a[RADIUS], a[RIM2]) if is_ball else (a[RADIUS] * a[RADIUS] + a[RIM2],)
            for i in range(8, 16):
                g = np.float32(sweep(w[i] - a[X], w[i + 16] - a[Y], a[H], *cover, a[UX], a[UY], *last))
                if g < wanted[i + 32] or (g == wanted[i + 32] and rows[j] < wanted[i + 48]):
                    wanted[i + 32], wanted[i + 48] = g, rows[j]
        lower_of(is_ball, names, 1, count, rows, records, w, 8, 16)
        assert np.array_equal(w, wanted)
    assert len(set(w[56:])) > 1


@pytest.mark.parametrize("shape", [5, (3, 4), (700, 900), 3_000_001])
def test_new_array__is_an_array_like_any_other(shape):
    for dtype in (np.float32, np.int8):
        new = new_array(shape, dtype)
        plain = np.empty(shape, dtype)
        assert (new.shape, new.dtype, new.strides) == (plain.shape, plain.dtype, plain.strides)
        assert new.flags.writeable
        assert new.flags.c_contiguous
        if new.nbytes >= LEAST:
            assert new.ctypes.data % PAGE == 0
        new[...] = 7
        assert (new == 7).all()


def test_highest__of_a_block_wider_than_its_room():
    rng = np.random.default_rng(6)
    h, find = rng.uniform(-5, 5, (20, 170)).astype(np.float32), from_python(highest)
    for iy0, iy1, ix0, ix1 in ((0, 20, 0, 170), (3, 4, 5, 6), (2, 19, 60, 130), (0, 1, 0, 65)):
        assert find(h, iy0, iy1, ix0, ix1, np.empty(64, np.float32)) == h[iy0:iy1, ix0:ix1].max()


def test_winners__what_fills_up_a_vector_never_counts():
    # Behind the bounds stand numbers of any size: packed without a word on what follows them.
    find, rng = from_python(leaf_kernels.winners), np.random.default_rng(11)
    lanes, wide = list_kernels.LANES, lose_kernels.WIDE
    cells = lose_kernels.CELLS
    for n in (1, 5, 15, 16, 17, 31, 32):
        low, slope_x, slope_y = rng.normal(0, 1, (3, n)).astype(np.float32)
        off_x, off_y = rng.uniform(-0.7, 0.7, (2, cells)).astype(np.float32)
        hb = rng.normal(-1, 1, cells).astype(np.float32)
        off_x = np.tile(off_x[:wide], lose_kernels.LEAF)
        off_y = np.repeat(off_y[: lose_kernels.LEAF], wide)
        planes = np.full(4 * lanes, -1e38, np.float32)
        planes[:lanes] = list_kernels.BIG
        for k, row in enumerate((low, slope_x, slope_y)):
            planes[k * lanes : k * lanes + n] = row
        found = find(planes, np.uint64(n), hb, np.concatenate([off_x, off_y]), wide)
        under = low[:, None] + slope_y[:, None] * off_y + slope_x[:, None] * off_x <= hb
        assert [bool(found >> lane & 1) for lane in range(lanes)] == [
            *under.any(axis=1),
            *[False] * (lanes - n),
        ]
