"""Small kernels of the fast cut, each against the plain way of saying the same."""

import numba
import numpy as np

from simkit.stock.bit_kernels import not_above_zero
from simkit.stock.cut_kernels import highest
from simkit.stock.line_kernels import line_ball, line_ball_level
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


def test_line_ball_level__has_the_bits_of_line_ball():
    rng = np.random.default_rng(5)
    ball, level = from_python(line_ball), from_python(line_ball_level)
    for _ in range(500):
        dx, dy = rng.uniform(-4, 4, 2)
        turn, length, h0 = rng.uniform(0, 6.3), rng.uniform(0, 3), rng.uniform(-20, 20)
        along = (np.cos(turn), np.sin(turn), length, 0.0)
        for place in ((dx, dy), (0.0, 0.0), (-along[1], along[0]), (3.0 * along[1], -3.0 * along[0])):
            assert level(*place, h0, 3.0, 1e-9, *along) == ball(*place, h0, 3.0, 1e-9, *along, 0.0)


def test_highest__of_a_block_wider_than_its_room():
    rng = np.random.default_rng(6)
    h, find = rng.uniform(-5, 5, (20, 170)).astype(np.float32), from_python(highest)
    for iy0, iy1, ix0, ix1 in ((0, 20, 0, 170), (3, 4, 5, 6), (2, 19, 60, 130), (0, 1, 0, 65)):
        assert find(h, iy0, iy1, ix0, ix1, np.empty(64, np.float32)) == h[iy0:iy1, ix0:ix1].max()
