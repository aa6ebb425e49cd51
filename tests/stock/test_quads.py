"""Four leaves at once, each step against the way it is done one by one."""

import numba
import numpy as np
import pytest

from simkit.stock import bound_kernels, leaf_kernels, list_kernels, quad_kernels
from simkit.stock import wide_kernels as wide
from simkit.stock.half_kernels import STREAMS, heights_of_ball, lower_halves_ball
from simkit.stock.line_kernels import line_ball
from simkit.stock.record_kernels import COLUMNS, LENGTH, RADIUS, RIM2, SHIFT, SLOPE, UX, UY, H, X, Y
from tests.stock.from_python import from_python

R, CELLS, LEAF, GROUP, LANES = (
    3.0,
    leaf_kernels.CELLS,
    leaf_kernels.LEAF,
    list_kernels.GROUP,
    list_kernels.LANES,
)
add_line = from_python(list_kernels.add_line)
close_list = from_python(list_kernels.close_list)
ball_bounds = from_python(bound_kernels.ball_bounds)
halves_under = from_python(leaf_kernels.halves_under)
contacts, planes = from_python(quad_kernels._contacts), from_python(quad_kernels._planes)
under, show = from_python(quad_kernels._under), from_python(quad_kernels._show)


def some_records(rng, n):
    """Straight moves of a ball about the origin, some level, each drawn with another."""
    records = np.zeros((n, COLUMNS))
    records[:, [X, Y]] = rng.uniform(-2, 2, (n, 2))
    records[:, H], records[:, RADIUS], records[:, RIM2] = rng.uniform(-0.2, 0.2, n), R, 1e-9
    turn, m = rng.uniform(0, 6.3, n), np.where(rng.random(n) < 0.3, 0.0, rng.uniform(-1, 1, n))
    records[:, UX], records[:, UY], records[:, LENGTH] = np.cos(turn), np.sin(turn), rng.uniform(0, 3, n)
    records[:, SLOPE], records[:, SHIFT] = m, m / np.sqrt(1 + m * m)
    records[n // 2 : 2 * (n // 2)] = records[: n // 2]
    return records


@pytest.mark.parametrize("n", [1, 7, 16, 17, 32])
def test_under__is_what_the_bounds_of_each_leaf_say(n):
    """Bit by bit as halves_under of ball_bounds, but where a bound is within rounding of the surface."""
    rng, told = np.random.default_rng(n), 0
    for _ in range(30):
        records = some_records(rng, n)
        lists, count = np.full(2 * GROUP, np.nan, np.float32), 0
        for j in range(n):
            count = add_line(lists, count, 0.0, 0.0, 0.0, 50.0, j, j, records)
        close_list(lists, 0, n)
        x, y, half = *rng.uniform(-1.5, 1.5, 2), 0.15
        lean, margin, lift = rng.uniform(-0.5, 0.5, 2), 1e-4, np.float32(0.05)
        off = np.zeros(2 * CELLS, np.float32)
        off[:CELLS] = np.tile(np.linspace(-half, half, LEAF), LEAF)
        off[CELLS:] = np.repeat(np.linspace(-half, half, LEAF), LEAF)
        w = np.zeros(4 * CELLS)
        w[2 * CELLS : 3 * CELLS] = np.float32(rng.uniform(0.0, 0.6) + 0.1 * rng.random(CELLS))
        done = np.float32(rng.integers(-1, n))
        groups = np.zeros(1, np.int32)
        ball_bounds(lists, 0, n, groups, 1, x, y, half, half, *lean, R, margin)
        surface, marks = w[2 * CELLS : 3 * CELLS].astype(np.float32), np.empty(2 * LANES, np.float32)
        wanted = []
        for shift in (-1e-6, 0.0, 1e-6):
            at = np.float32(lift + np.float32(shift))
            wanted.append(halves_under(lists, np.uint64(0), np.uint64(n), at, surface, off, done, marks))
        room = np.zeros(quad_kernels.LEAF_ROOM + 64, np.float32)
        lanes, at = np.uint64((n + 15) & ~15), np.uint64(32)
        contacts(lists, np.uint64(0), lanes, x, y, half, half, *lean, R, room, at)
        planes(lists, np.uint64(0), lanes, half, half, R, margin, lift, done, room, at)
        show((w, w, w, off, w, w, w, w), room, at)
        found = under(np.uint64(n), room, at)
        for k in range(2):
            assert found[k] & ~wanted[0][k] == 0
            assert wanted[2][k] & ~found[k] == 0
            told += int(found[k]).bit_count()
        if done >= 0:
            assert not (found[0] | found[1]) >> int(done) & 1
    assert told > 0


@numba.njit
def lower_of(names, places, count, rows, records, w, apart, some):
    """What lower_halves_ball does, for a test."""
    lower_halves_ball(names, places, count, rows, records, w, np.uint64(apart), some)


def test_lower_halves__have_the_bits_of_the_formulas():
    rng, n = np.random.default_rng(12), 60
    sweep, records, rows = from_python(line_ball), some_records(rng, n), rng.permutation(n).astype(np.int32)
    for count in (0, STREAMS, 7 * STREAMS, n // STREAMS * STREAMS):
        w = np.zeros((4, 4, CELLS))
        w[:, :2], w[:, 2], w[:, 3] = (
            rng.uniform(-2.5, 2.5, (4, 2, CELLS)),
            rng.uniform(-1, 3, (4, CELLS)),
            -1.0,
        )
        names = rng.permutation(n)[:count]
        halves = np.sort(rng.integers(0, 8, count))
        wanted = w.copy()
        for j, half in zip(names, halves, strict=True):
            a, leaf = records[j], wanted[half // 2]
            for i in range(half % 2 * 8, half % 2 * 8 + 8):
                g = np.float32(
                    sweep(
                        leaf[0, i] - a[X], leaf[1, i] - a[Y], a[H], R, a[RIM2], a[UX], a[UY], a[LENGTH],
                        a[SLOPE], a[SHIFT],
                    )
                )  # fmt: skip
                if g < leaf[2, i] or (g == leaf[2, i] and rows[j] < leaf[3, i]):
                    leaf[2, i], leaf[3, i] = g, rows[j]
        places = (halves // 2 * 4 * CELLS + halves % 2 * 8).astype(np.float32)
        flat = w.reshape(-1).copy()
        lower_of(names.astype(np.float32), places, count, rows, records, flat, CELLS, np.empty(16 * n))
        assert np.array_equal(flat, wanted.reshape(-1))
    assert len(set(wanted[:, 3].ravel())) > 1


@numba.njit
def heights_of(j, records, places, g):
    """What heights_of_ball does, for a test."""
    heights_of_ball(j, records, places, np.uint64(1), np.uint64(10), g, np.uint64(2))


def test_heights_of_ball__are_those_of_the_formula():
    rng = np.random.default_rng(13)
    records, sweep = some_records(rng, 20), from_python(line_ball)
    for j in range(20):
        places, g = rng.uniform(-4, 4, 24), np.zeros(12, np.float32)
        heights_of(j, records, places, g)
        a = records[j]
        more = (a[H], R, a[RIM2], a[UX], a[UY], a[LENGTH], a[SLOPE], a[SHIFT])
        wanted = [np.float32(sweep(places[i] - a[X], places[i + 10] - a[Y], *more)) for i in range(1, 9)]
        assert np.array_equal(g[2:10], wanted)
        assert not g[:2].any()


@numba.njit
def sixteen_of(numbers, to):
    """What wide_kernels does to sixteen, for a test: shifted, filled, and the place of the least."""
    wide.shift_sixteen(to, np.uint64(1), numbers, np.uint64(2), np.float32(0.5))
    wide.fill_sixteen(to, np.uint64(20), np.float32(3.0), np.float32(2.0))
    return wide.lane_of_least(numbers, np.uint64(2))


def test_sixteen__are_shifted_filled_and_searched():
    rng = np.random.default_rng(14)
    for _ in range(20):
        numbers, to = rng.integers(-5, 5, 20).astype(np.float32), np.zeros(40, np.float32)
        assert sixteen_of(numbers, to) == numbers[2:18].argmin()
        assert np.array_equal(to[1:17], numbers[2:18] + np.float32(0.5))
        assert np.array_equal(to[20:36], 3.0 + 2.0 * np.arange(16))
        assert np.count_nonzero(to[[0, 17, 18, 19, 36, 37]]) == 0
