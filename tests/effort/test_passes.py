"""Sums over moves for the time of programs: compiled and with NumPy, and both against plain sums."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simkit.effort import pass_kernels, passes
from simkit.effort.motion import CURVE, FREE, move_times
from simkit.effort.program_time import program_times
from simkit.effort.rows import ranges, rows_by
from simkit.effort.timing import timed
from simkit.moves.table import LINE, make_moves
from tests.effort.test_motion import UNEVEN


def some_moves(seed, n=3000):
    """Two programs, of the first one a part behind the second; several cutters, lifts to two heights."""
    rng = np.random.default_rng(seed)
    places = np.cumsum(rng.normal(0, 0.4, (n + 1, 3)), axis=0)
    places[:, 2] = -np.abs(places[:, 2]) % 3.0 - 3.0
    rapid = rng.random(n) < 0.1
    places[1:, 2][rapid] = rng.choice([5.0, 20.0, -1.0], rapid.sum(), p=[0.6, 0.2, 0.2])
    tool = np.repeat(rng.integers(0, 4, n // 100), 100)
    tool[:50] = 7  # one that never goes up
    rapid[:50] = False
    program = np.repeat([0, 1, 0], [n // 2, n // 4, n - n // 2 - n // 4])
    feed = np.where(rapid, np.nan, rng.choice([600.0, 2400.0, 90000.0, 0.0], n, p=[0.5, 0.3, 0.1, 0.1]))
    return make_moves(
        programs=("a.nc", "b.nc", "empty.nc"), kind=[LINE] * n, start=places[:-1], end=places[1:],
        rapid=rapid, feed=feed, tool=tool, program=program,
        speed=np.repeat(rng.choice([0.0, 12000.0, -9000.0], n // 60), 60), setup=program,
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("with_wood", [False, True])
def test_time_of_programs__is_the_same_compiled(seed, with_wood):
    moves = some_moves(seed)
    times = move_times(moves, UNEVEN)
    wood = np.random.default_rng(seed).random(len(moves)) if with_wood else None
    plain = program_times(moves, times, UNEVEN, [1.0, 2.0, 3.0], wood)
    assert program_times(moves, times, UNEVEN, [1.0, 2.0, 3.0], wood, pass_kernels) == plain  # to the bit
    assert len(plain[0].operations) > 10
    assert plain[2].cutters == plain[2].operations == ()


@pytest.mark.parametrize("by", [passes, pass_kernels])
def test_cutter__sums_are_those_of_its_moves(by):
    moves = some_moves(9)
    times = move_times(moves, UNEVEN)
    wood = np.random.default_rng(1).random(len(moves))
    for k, program in enumerate(program_times(moves, times, UNEVEN, [0.0] * 3, wood, by)):
        mine = moves.program == k
        assert [one.tool for one in program.cutters] == list(dict.fromkeys(moves.tool[mine].tolist()))
        for one in program.cutters:
            own = np.flatnonzero(mine & (moves.tool == one.tool))
            fed = [i for i in own if not moves.rapid[i]]
            # math.fsum of the library of Python: sums without any rounding but the last.
            assert one.cutting == pytest.approx(math.fsum(times.seconds[fed]), rel=1e-12)
            assert one.in_wood == pytest.approx(math.fsum(times.seconds[fed] * wood[fed]), rel=1e-12)
            assert one.rapids == pytest.approx(math.fsum(times.seconds[own[moves.rapid[own]]]), rel=1e-12)
            assert one.length == pytest.approx(math.fsum(moves.length()[fed]), rel=1e-12)
            late = [i for i in fed if not times.reaches_feed[i]]
            assert one.not_reached * one.length == pytest.approx(math.fsum(moves.length()[late]), rel=1e-9)
            at_feed = [60.0 * moves.length()[i] / moves.feed[i] for i in fed if moves.feed[i] > 0]
            assert one.lost == pytest.approx(max(one.cutting - math.fsum(at_feed), 0.0), rel=1e-9, abs=1e-9)
            held = {int(times.held[i]) for i in fed if times.reaches_feed[i] and times.held[i] != FREE}
            assert {each.by for each in one.held} == held <= {0, 1, 2, CURVE}
            is_to = [i for i in own if one.tool and (i == 0 or moves.tool[i - 1] != one.tool)]
            assert one.changes == len(is_to)
        # All that a program takes is told of its operations too, but for what feeds nowhere.
        whole = sum(one.total for one in program.operations)
        assert whole <= sum(one.cutting + one.rapids for one in program.cutters) + 1e-9


@pytest.mark.parametrize("by", [passes, pass_kernels])
def test_split__a_stretch_ends_with_the_first_move_at_the_safe_height(by):
    # Down, two feeds, up, over, down, one feed, up; then another cutter that only feeds.
    z = [5, 5, -1, -2, -2, 5, 5, 0, -3, 5, 4, 4]
    places = np.column_stack([np.arange(12.0), -np.arange(12.0), np.array(z, float)])
    rapid = np.array([1, 1, 0, 0, 1, 1, 1, 0, 1, 0, 0], bool)
    tool = np.array([1] * 9 + [2] * 2)
    ints, floats = np.empty((11, 3), np.int64), np.empty((11, 5))
    count = by.split(
        tool, places[:-1], places[1:], rapid, np.minimum(places[:-1, 2], places[1:, 2]), np.array([1, 2]),
        np.array([5.0, np.inf]), ints, floats,
    )  # fmt: skip
    assert ints[:count].tolist() == [[0, -1, -1], [1, 2, 3], [5, 7, 7], [9, 9, 10]]
    assert floats[:count, passes.LOW].tolist() == [np.inf, -2.0, -3.0, 4.0]
    assert floats[1, passes.LEAST_X :].tolist() == [2.0, -4.0, 4.0, -2.0]


def test_speed_of_lines__feeds_about_what_the_axes_allow():
    # Within rounding of the limits, where a product may not decide for a quotient.
    moves = some_moves(5)
    delta = moves.end - moves.start
    share = np.maximum(np.abs(delta) / np.linalg.norm(delta, axis=1)[:, None], 1e-12)
    most = (np.array(UNEVEN.speed) / share).min(axis=1)
    rng = np.random.default_rng(5)
    feed = most * rng.choice([0.999, 1.0, 1.0 - 1e-9, 1.0 + 1e-9, np.nextafter(1.0, 0.0), 1.001], len(moves))
    moves = replace(moves, feed=np.where(moves.rapid, np.nan, feed))
    plain, compiled = move_times(moves, UNEVEN), timed(moves, UNEVEN)
    for name in ("seconds", "top", "wanted", "held", "entry", "exit"):
        assert np.array_equal(getattr(plain, name), getattr(compiled, name)), name


def test_rows__are_those_of_the_value():
    rng = np.random.default_rng(0)
    for column in (np.zeros(0, int), np.array([3]), np.repeat([1, 2, 1, 5], 4), rng.integers(0, 4, 200)):
        found = rows_by(column)
        assert list(found) == list(dict.fromkeys(column.tolist()))
        for value, rows in found.items():
            assert np.arange(len(column))[rows].tolist() == np.flatnonzero(column == value).tolist()
    assert isinstance(rows_by(np.repeat([1, 2], 3))[2], slice)
    assert ranges(np.array([4, 9]), np.array([6, 12])).tolist() == [4, 5, 9, 10, 11]
