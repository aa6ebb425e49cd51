"""Arcs in vertical planes: frames, chords, degenerate cases, boxes, and the same to the bit everywhere."""

from types import SimpleNamespace

import numba
import numpy as np
import pytest

from simkit import check
from simkit.cutters import Cutter
from simkit.frames import IDENTITY, Frame, misplaced, shift, turned
from simkit.moves.table import ARC, join_moves, make_moves
from simkit.stock.cut import cut, cut_heights
from simkit.stock.field import blank_field, blank_lattice
from tests.stock import naive
from tests.stock.some_moves import (
    CUTTERS,
    SHAPES,
    arc,
    check_precise,
    heights,
    points_near,
    random_arc,
    random_line,
    random_upright,
)

SIZE = (30.0, 20.0, 12.0)


@pytest.mark.parametrize("tool", SHAPES)
def test_upright__lies_below_its_chords_by_no_more_than_they_are_short(tool):
    """Chords stay within r (1 - cos(half a chord)) of the arc; a shift of the path by e lowers the cut by at
    most e (1 + slope), so points with a gentle cut are compared."""
    rng = np.random.default_rng(tool)
    for plane in (18, 19):
        moves = arc((1.0, 2.0), 7.0, 0.4, 4.5, (0.0, 0.0), tool, plane)
        tips = naive.path(moves, 0, 401)
        chords = make_moves(start=tips[:-1], end=tips[1:], tool=[tool] * 400)
        points = points_near(rng, moves, 60)
        exact, near = heights(points, moves), heights(points, chords)
        around = [heights(points + d, moves) for d in 1e-4 * np.array([[1, 0], [-1, 0], [0, 1], [0, -1]])]
        is_met = np.isfinite(exact) & np.isfinite(near) & np.isfinite(around).all(axis=0)
        slope = np.abs(np.array(around)[:, is_met] - exact[is_met]).max(axis=0) / 1e-4
        short = 7.0 * (1 - np.cos(4.5 / 800))
        is_gentle = slope < 3
        assert is_gentle.sum() > 10
        assert (np.abs(near[is_met] - exact[is_met])[is_gentle] <= 4 * short + 1e-7).all()


@pytest.mark.parametrize("tool", SHAPES)
def test_upright__of_both_planes_are_each_other_turned(tool):
    """x of plane 18 is y of plane 19: z turns to x, y to z, so the sense changes."""
    rng = np.random.default_rng(tool)
    xz = arc((3.0, 1.0), 5.0, 0.5, 2.5, (2.0, 2.5), tool, 18)
    yz = make_moves(
        kind=xz.kind, plane=[19], start=xz.start[:, [1, 0, 2]], end=xz.end[:, [1, 0, 2]],
        centre=xz.centre[:, ::-1], sweep=-xz.sweep, tool=[tool],
    )  # fmt: skip
    points = points_near(rng, xz, 60)
    a, b = heights(points, xz), heights(points[:, ::-1], yz)
    assert np.isfinite(a).sum() > 20
    assert (np.isfinite(a) == np.isfinite(b)).mean() > 0.98
    is_met = np.isfinite(a) & np.isfinite(b)
    assert np.median(np.abs(a[is_met] - b[is_met])) < 1e-12


@pytest.mark.parametrize("tool", SHAPES)
def test_upright__special_places(tool):
    """Ends at the sides of the circle, whole turns, tiny and half circles, points under centre and ends."""
    half, whole = np.pi, 2 * np.pi
    for r, theta, sweep, third in (
        (5.0, 0.0, half, (0.0, 0.0)),
        (5.0, np.pi / 2, -half, (0.0, 0.0)),
        (4.0, 0.3, whole, (1.0, 1.0)),
        (4.0, 0.3, -whole, (1.0, 3.0)),
        (0.01, 0.3, whole, (0.0, 0.0)),
        (3.0, 1.0, 3.0, (0.0, 1e-7)),
    ):
        moves = arc((0.5, 1.0), r, theta, sweep, third, tool, 18)
        ends = np.concatenate([moves.start[:, :2], moves.end[:, :2]])
        some = np.array([[1.0, 0.0], [1.0, 0.25], [1.0, 2.75]])
        beside = ends + np.array([0.5, 0.0]), ends + np.array([0.0, 1.0])
        points = np.round(np.concatenate([some, ends, *beside]), 6)
        assert check_precise(moves, tool, points) <= 5e-9


@pytest.mark.parametrize("turn", ["none", "about x", "about y"])
def test_upright__turned_frame_equals_turned_moves(turn):
    rng = np.random.default_rng(4)
    moves = join_moves([random_upright(rng, tool) for tool in SHAPES for _ in range(3)])
    frame = turned(turn, *SIZE).after(shift(3.0, -2.0, 0.5))
    quarter = Frame(np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]]), np.array([9.0, 2, 0]))
    for one in (frame, frame.after(quarter)):
        tips = np.concatenate([naive.path(moves, row, 20)[:, :2] for row in range(len(moves))])
        points = np.round(one.apply_plan(tips + rng.uniform(-2, 2, tips.shape)), 6)
        a, rows = cut_heights(points, moves, SHAPES, one, 1e6 * one.up)
        # Seen from the blank frame a move of side 2 points downwards; so both are looked at from side 1.
        back = one if one.up < 0 else IDENTITY
        there = moves if one.up < 0 else moves.in_frame(one)
        if one.up < 0:
            there = moves.in_frame(one).in_frame(one.inverse())
        b, _ = cut_heights(points, there, SHAPES, back, 1e6 * one.up)
        assert (rows >= 0).sum() > 100
        assert np.median(np.abs(a - b)) < 1e-9
        assert (np.abs(a - b) > 1e-6).mean() < 0.02


def test_upright__any_turn_about_z():
    """An arc in a turned plane equals the arc over turned points."""
    rng = np.random.default_rng(5)
    frame = misplaced(1.0, 2.0, 0.0, 33.0, (4.0, 4.0))
    for tool in SHAPES:
        moves = random_upright(rng, tool)
        points = points_near(rng, moves, 40)
        a, _ = cut_heights(frame.apply_plan(points), moves, SHAPES, frame, 1e6)
        b, _ = cut_heights(points, moves, SHAPES, IDENTITY, 1e6)
        assert np.median(np.abs(a - b)) < 1e-8
        assert (np.abs(a - b) > 1e-6).mean() < 0.1


def test_upright__same_bits_for_any_tile_thread_count_and_order():
    rng = np.random.default_rng(6)
    makers = (random_upright, random_arc, random_line)
    moves = join_moves([make(rng, tool) for tool in CUTTERS for make in makers for _ in range(2)])
    field = blank_field(blank_lattice(*SIZE[:2], 0.3), *SIZE)
    frame = shift(10.0, 8.0, 10.0)
    one = cut(field, moves, CUTTERS, frame)
    assert (one.field.upper < SIZE[2]).mean() > 0.3
    before = numba.get_num_threads()
    try:
        for threads in range(1, numba.config.NUMBA_NUM_THREADS + 1):
            numba.set_num_threads(threads)
            other = cut(field, moves, CUTTERS, frame, tile=17).field
            assert np.array_equal(one.field.upper, other.upper)
            assert np.array_equal(one.field.upper_move, other.upper_move)
    finally:
        numba.set_num_threads(before)
    order = rng.permutation(len(moves))
    assert np.array_equal(one.field.upper, cut(field, moves[order], CUTTERS, frame).field.upper)
    x, y = np.meshgrid(field.lattice.x(), field.lattice.y())
    z, rows = cut_heights(np.stack([x.ravel(), y.ravel()], 1), moves, CUTTERS, frame, SIZE[2])
    assert np.array_equal(one.field.upper.ravel(), z.astype(np.float32))
    assert np.array_equal(one.field.upper_move.ravel() < 0, rows < 0)


def test_plan_boxes__hold_everything_that_a_move_cuts():
    rng = np.random.default_rng(8)
    makers = (random_upright, random_arc, random_line)
    moves = join_moves([make(rng, tool) for tool in SHAPES for make in makers for _ in range(3)])
    frame = turned("about x", *SIZE).after(shift(2.0, 1.0))
    boxes = check._plan_boxes(SimpleNamespace(cutters=SHAPES), moves, [slice(0, len(moves))], [frame])
    for row in range(len(moves)):
        tips = frame.apply_plan(naive.path(moves, row, 60)[:, :2])
        x0, x1, y0, y1 = boxes[row]
        assert tips[:, 0].min() - 3 >= x0
        assert tips[:, 0].max() + 3 <= x1
        assert tips[:, 1].min() - 3 >= y0
        assert tips[:, 1].max() + 3 <= y1
        assert x1 - x0 <= np.ptp(tips[:, 0]) + 6.1


def test_upright__a_cone_seen_from_its_rim():
    """Where an interval's middle lies beyond the rim, what a cone does within must not be passed over."""
    cases = (
        ("drill", 0.381388, 118.0, [-0.34427257, 2.52864722, -0.03051481],
         [-0.34427257, -0.34398691, 1.18689726],
         [-0.39827536, -2.93907661], 0.77538758, 19, [-0.35238582, -0.33299337]),
        ("vee", 0.683118, 88.0, [-0.4254125, -1.00948496, -0.65080035],
         [2.84380648, -0.53183931, -4.28838793],
         [-1.75450471, 2.00486116], -2.31682541, 18, [2.70131819, -0.50928184]),
        ("vee", 0.481436, 88.0, [2.17259672, -0.12092115, 0.89193069],
         [0.92219224, -0.49775945, -0.09944357],
         [2.750551, -0.76687339], -5.96198557, 19, [2.14023646, 0.05518637]),
    )  # fmt: skip
    for shape, diameter, point, start, end, centre, sweep, plane, place in cases:
        cutters = {1: Cutter(1, shape, diameter, point=point)}
        moves = make_moves(
            kind=[ARC], plane=[plane], start=[start], end=[end], centre=[centre], sweep=[sweep], tool=[1]
        )
        z, _ = cut_heights(np.array([place]), moves, cutters, IDENTITY, 1e6)
        sampled = naive.sampled_floor(np.array([place]), moves, cutters, 20001)
        assert z[0] <= sampled[0] + 1e-6
        assert z[0] >= sampled[0] - 2 * naive.longest_step(moves, 20001)
