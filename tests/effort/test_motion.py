"""Time of moves: closed forms, a loop in plain Python, programs walked in fine steps of time."""

import math
from dataclasses import fields, replace

import numpy as np
import pytest

from simkit.effort.motion import ARC_SHARE, CURVE, FREE, is_stop, move_times
from simkit.job.model import Machine
from simkit.moves.table import ARC, LINE, make_moves
from simkit.stock import workers
from tests.effort.walked import corner_speed, path_of, walk

EVEN = Machine(speed=(6000.0, 6000.0, 6000.0), acceleration=(500.0, 500.0, 500.0), rounding=0.02)
UNEVEN = Machine(speed=(9000.0, 6000.0, 2400.0), acceleration=(700.0, 400.0, 250.0), rounding=0.03)


def lines(points, feed=3000.0, **columns):
    points = np.asarray(points, float)
    n = len(points) - 1
    return make_moves(start=points[:-1], end=points[1:], feed=np.full(n, feed), tool=np.ones(n), **columns)


@pytest.mark.parametrize(("d", "seconds"), [(100.0, 2.1), (5.0, 0.2), (2.0, 0.1264911064)])
def test_one_move__takes_what_a_trapezoid_takes(d, seconds):
    # v = 50 mm/s, a = 500 mm/s2: d/v + v/a from v2/a = 5 mm on, else 2 sqrt(d/a); textbook.
    times = move_times(lines([[0, 0, 0], [d, 0, 0]]), EVEN)
    assert times.seconds[0] == pytest.approx(seconds, rel=1e-9)
    assert times.reaches_feed[0] == (d >= 5.0)


def test_one_move__is_held_back_by_its_slowest_axis():
    d = np.array([30.0, 40.0, 0.0])
    times = move_times(replace(lines([[0, 0, 0], d]), rapid=np.ones(1, bool)), UNEVEN)
    v, a = min(150 / 0.6, 100 / 0.8), min(700 / 0.6, 400 / 0.8)
    assert times.wanted[0] == pytest.approx(v)
    assert times.seconds[0] == pytest.approx(50 / v + v / a)


@pytest.mark.parametrize(
    ("d", "feed", "held"),
    [
        ((30, 40, 0), 7500.0, FREE),  # Y allows 6000 / 0.8
        ((30, 40, 0), 7600.0, 1),
        ((0, 0, 9), 2500.0, 2),
        ((100, 0, 0), 9100.0, 0),
        ((100, 0, 0), np.nan, FREE),  # a rapid wants what the axes allow
    ],
)
def test_held__names_the_axis_that_keeps_a_feed_down(d, feed, held):
    moves = replace(lines([[0, 0, 0], d], feed), rapid=np.array([np.isnan(feed)]))
    assert move_times(moves, UNEVEN).held.tolist() == [held]


def test_held__a_turn_too_small_for_the_feed():
    # v^2 / r = a / sqrt(2): 59.5 mm/s on r 10.
    for feed, held in ((3500.0, FREE), (3700.0, CURVE)):
        columns = {"kind": [ARC], "centre": [[10, 0]], "sweep": [2 * math.pi], "feed": [feed], "tool": [1]}
        turn = make_moves(start=[[0, 0, 0]], end=[[0, 0, 0]], **columns)
        times = move_times(turn, EVEN)
        assert times.held.tolist() == [held]
    assert times.wanted[0] == pytest.approx(math.sqrt(10 * 500 / math.sqrt(2)))


def test_two_moves_in_one_line__are_one():
    times = move_times(lines([[0, 0, 0], [3, 4, 0], [60, 80, 0]]), EVEN)
    assert times.seconds.sum() == pytest.approx(100 / 50 + 50 / (500 / 0.8), rel=1e-9)


def test_two_moves_at_right_angles__turn_at_the_speed_of_the_corner():
    times = move_times(lines([[0, 0, 0], [100, 0, 0], [100, 100, 0]]), EVEN)
    corner = math.sqrt(8 * 0.02 * 500 / math.sqrt(2))
    assert times.exit[0] == times.entry[1] == pytest.approx(corner)
    # Up to 50 mm/s, on, down to the speed of the corner; and the same backwards.
    one = 50 / 500 + (50 - corner) / 500 + (100 - 2500 / 1000 - (2500 - corner**2) / 1000) / 50
    assert times.seconds == pytest.approx([one, one])


def test_there_and_back__stops_short_by_the_corner():
    times = move_times(lines([[0, 0, 0], [100, 0, 0], [0, 0, 0]]), EVEN)
    assert times.exit[0] == pytest.approx(math.sqrt(2 * 500 * 0.02))


def test_exact_corners__come_to_rest():
    times = move_times(lines([[0, 0, 0], [100, 0, 0], [100, 100, 0]]), replace(EVEN, rounding=1e-12))
    assert times.seconds == pytest.approx([2.1, 2.1], rel=1e-4)


def test_chords_of_a_circle__go_no_faster_than_its_centripetal_acceleration_allows():
    turn = np.linspace(0, 2 * math.pi, 721)
    points = np.column_stack([2 * np.cos(turn), 2 * np.sin(turn), 0 * turn])
    times = move_times(lines(points, feed=6000.0), EVEN)
    # sqrt(a r) where a chord lies along an axis, up to sqrt(2) times that squared where both axes turn it
    assert times.entry.max() <= math.sqrt(math.sqrt(2) * 500 * 2) * (1 + 1e-9)
    assert times.entry[180 - 30 : 180 + 30].min() >= math.sqrt(500 * 2) * 0.99


def test_arc__keeps_both_accelerations_together_within_the_axes():
    moves = make_moves(
        kind=[ARC], start=[[2, 0, 0]], end=[[2, 0, 0]], centre=[[0, 0]], sweep=[2 * math.pi], feed=[6000.0],
        tool=[1],
    )  # fmt: skip
    times = move_times(moves, EVEN)
    a = 500 * ARC_SHARE
    assert times.top[0] == pytest.approx(math.sqrt(a * 2))
    assert math.hypot(times.top[0] ** 2 / 2, a) == pytest.approx(500)
    length, v = 4 * math.pi, math.sqrt(a * 2)
    assert times.seconds[0] == pytest.approx(length / v + v / a)


def test_helix__climbs_no_faster_than_z():
    moves = make_moves(
        kind=[ARC], start=[[20, 0, 0]], end=[[20, 0, 40]], centre=[[0, 0]], sweep=[2 * math.pi],
        feed=[9000.0], tool=[1],
    )  # fmt: skip
    times = move_times(moves, replace(UNEVEN, speed=(9000, 9000, 1200)))
    length = math.hypot(40 * math.pi, 40)
    assert times.top[0] * 40 / length == pytest.approx(20.0)


def test_stops__where_program_cutter_spindle_or_place_change():
    moves = lines(np.arange(18.0).reshape(6, 3), speed=[1, 1, 2, 2, 2])
    assert is_stop(moves).tolist() == [False, True, False, False]
    assert is_stop(replace(moves, tool=np.array([1, 1, 1, 1, 2]))).tolist() == [False, True, False, True]
    start = moves.start.copy()
    start[1, 0] += 1
    assert is_stop(replace(moves, start=start)).tolist() == [True, True, False, False]
    times = move_times(moves, EVEN)
    assert times.exit[1] == times.entry[2] == 0.0


def test_move_of_no_length__takes_no_time_and_holds_nothing_up():
    whole = move_times(lines([[0, 0, 0], [50, 0, 0], [100, 0, 0]]), EVEN)
    held = move_times(lines([[0, 0, 0], [50, 0, 0], [50, 0, 0], [100, 0, 0]]), EVEN)
    assert held.seconds.sum() == pytest.approx(whole.seconds.sum())
    assert held.seconds[1] == 0.0
    assert held.reaches_feed[1]


def random_moves(seed, count=40):
    """Lines of all lengths and arcs that go on from them, at several feeds, some of them rapids."""
    rng = np.random.default_rng(seed)
    kind, end, centre, sweep = [], [], [], []
    at = np.zeros(3)
    start = []
    for _ in range(count):
        start.append(at)
        if rng.random() < 0.3:
            c = at[:2] + rng.normal(size=2) * rng.choice([1.0, 8.0])
            turn = rng.uniform(0.3, 3) * rng.choice([-1, 1])
            arm = complex(*(at[:2] - c)) * np.exp(1j * turn)
            at = np.array([c[0] + arm.real, c[1] + arm.imag, at[2] + rng.choice([0.0, 1.0])])
            kind.append(ARC), centre.append(c), sweep.append(turn)
        else:
            at = at + rng.normal(size=3) * rng.choice([0.2, 2.0, 20.0])
            kind.append(LINE), centre.append([0, 0]), sweep.append(0)
        end.append(at)
    return make_moves(
        kind=kind, start=start, end=end, centre=centre, sweep=sweep, tool=np.ones(count),
        feed=rng.choice([600.0, 2400.0, 6000.0], count), rapid=rng.random(count) < 0.15,
    )  # fmt: skip


def limits_of(moves, machine):
    """Lengths, speeds, accelerations and corners, all from places along the moves."""
    speed, acceleration = np.array(machine.speed) / 60, np.array(machine.acceleration)
    lengths, wanted, along, first, last = [], [], [], [], []
    for row in range(len(moves)):
        path = path_of(moves, row, 2000)
        step = np.diff(path, axis=0)
        size = np.linalg.norm(step, axis=1)
        lengths.append(size.sum())
        way = step / size[:, None]
        first.append(way[0]), last.append(way[-1])
        if moves.kind[row] == ARC:
            level = math.hypot(*step[0, :2]) / size[0]
            rise = max(abs(way[0, 2]), 1e-12)
            radius = math.hypot(*(moves.start[row, :2] - moves.centre[row]))
            a = acceleration[:2].min() / math.sqrt(2)
            v = min(speed[:2].min() / level, speed[2] / rise, math.sqrt(a * radius) / level)
            along.append(min(a / level, acceleration[2] / rise))
        else:
            share = np.maximum(np.abs(way[0]), 1e-12)
            v = (speed / share).min()
            along.append((acceleration / share).min())
        wanted.append(v if moves.rapid[row] else min(v, moves.feed[row] / 60))
    corners = [0.0]
    for i in range(len(moves) - 1):
        shorter = min(lengths[i], lengths[i + 1])
        v = corner_speed(last[i], first[i + 1], shorter, acceleration, machine.rounding)
        corners.append(min(v, wanted[i], wanted[i + 1]))
    return np.array(lengths), np.array(wanted), np.array(along), np.array([*corners, 0.0])


@pytest.mark.parametrize("machine", [EVEN, UNEVEN], ids=["even", "uneven"])
@pytest.mark.parametrize("seed", range(4))
def test_random_program__takes_as_long_as_when_walked_in_time(seed, machine):
    moves = random_moves(seed)
    walked = walk(*limits_of(moves, machine))
    assert move_times(moves, machine).seconds.sum() == pytest.approx(walked, rel=0.005)


@pytest.mark.parametrize("seed", range(4))
def test_speeds__are_those_of_a_loop_forwards_and_back(seed):
    moves = random_moves(seed, 150)
    times = move_times(moves, UNEVEN)
    lengths, wanted, along, corners = limits_of(moves, UNEVEN)
    v = corners.copy()
    for i in range(len(lengths)):
        v[i + 1] = min(v[i + 1], math.sqrt(v[i] ** 2 + 2 * along[i] * lengths[i]))
    for i in range(len(lengths) - 1, -1, -1):
        v[i] = min(v[i], math.sqrt(v[i + 1] ** 2 + 2 * along[i] * lengths[i]))
    # The chords of an arc are off its tangent by a two-thousandth of its sweep.
    assert times.entry == pytest.approx(v[:-1], rel=5e-3, abs=1e-3)
    assert times.wanted == pytest.approx(wanted, rel=1e-3)


@pytest.mark.parametrize("seed", range(4))
def test_backwards__takes_as_long(seed):
    moves = random_moves(seed)
    back = moves[::-1]
    back = replace(back, start=back.end, end=back.start, sweep=-back.sweep)
    assert move_times(back, UNEVEN).seconds.sum() == pytest.approx(move_times(moves, UNEVEN).seconds.sum())


@pytest.mark.parametrize("seed", range(4))
def test_stronger_machine__is_never_slower(seed):
    moves = random_moves(seed)
    slow = move_times(moves, UNEVEN).seconds.sum()
    stronger = replace(UNEVEN, acceleration=tuple(2 * a for a in UNEVEN.acceleration))
    assert move_times(moves, stronger).seconds.sum() < slow
    assert move_times(moves, replace(UNEVEN, rounding=0.1)).seconds.sum() < slow


def test_nothing__takes_nothing():
    assert move_times(make_moves(start=np.zeros((0, 3)), end=np.zeros((0, 3))), EVEN).seconds.shape == (0,)


@pytest.mark.parametrize("size", [1, 2, 7, 40])
def test_blocks__of_any_size_give_the_same_bits(size, monkeypatch):
    moves = random_moves(3)
    moves.end[[5, 6]], moves.start[[6, 7]] = moves.start[5], moves.start[5]  # no length
    whole = move_times(moves, UNEVEN)
    monkeypatch.setattr("simkit.effort.motion.BLOCK", size)
    again = move_times(moves, UNEVEN)
    for each in fields(whole):
        assert np.array_equal(getattr(again, each.name), getattr(whole, each.name)), each.name


@pytest.mark.parametrize("size", [1, 7])
def test_blocks__in_any_order_give_the_same_bits(size, monkeypatch):
    moves = random_moves(4)
    whole = move_times(moves, UNEVEN)
    monkeypatch.setattr("simkit.effort.motion.BLOCK", size)

    def from_the_last(job, count):
        for index in reversed(range(count)):
            job(index)

    for share in (from_the_last, workers.share):
        again = move_times(moves, UNEVEN, share)
        for each in fields(whole):
            assert np.array_equal(getattr(again, each.name), getattr(whole, each.name)), each.name
