"""Frames against scipy's rotations, and the program frames of a job by points worked out by hand."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from simkit.frames import IDENTITY, TURNS, Frame, misplaced, shift, swung, turned
from simkit.job.model import Blank, Setup, Zero

L, W, T = 280.0, 90.0, 38.0
BLANK = Blank(L, W, T)
POINTS = np.random.default_rng(5).uniform(-50, 300, (40, 3))
MIDDLE = np.array([L / 2, W / 2, T / 2])


def close(made, expected):
    assert made == pytest.approx(np.asarray(expected, float), abs=1e-10)


@pytest.mark.parametrize(
    ("turn", "axis"), [("none", (0, 0, 0)), ("about x", (np.pi, 0, 0)), ("about y", (0, np.pi, 0))]
)
def test_turned__is_a_half_turn_about_the_middle_of_the_blank(turn, axis):
    half = Rotation.from_rotvec(axis)
    close(turned(turn, L, W, T).apply(POINTS), half.apply(POINTS - MIDDLE) + MIDDLE)


@pytest.mark.parametrize(
    ("turn", "expected"),
    [("none", (10, 20, 30)), ("about x", (10, 70, 8)), ("about y", (270, 20, 8))],
)
def test_turned__by_hand(turn, expected):
    close(turned(turn, L, W, T).apply(np.array([10.0, 20, 30])), expected)


@pytest.mark.parametrize(
    ("swing", "degrees"), [("none", 0), ("quarter left", 90), ("half", 180), ("quarter right", -90)]
)
def test_swung__is_undone_by_the_turn_the_other_way(swing, degrees):
    """Left is counter-clockwise seen from above: a place of the blank was where turning back puts it."""
    back = Rotation.from_euler("z", -degrees, degrees=True)
    size = np.array([L, W]) if degrees % 180 == 0 else np.array([W, L])
    now, before = np.append(size / 2, 0.0), np.array([L / 2, W / 2, 0.0])
    close(swung(swing, L, W).apply(POINTS), back.apply(POINTS - now) + before)


def test_swung__by_hand():
    # A quarter to the left brings the right edge to the back.
    close(swung("quarter left", L, W).apply(np.array([W, L, 5.0])), (L, 0, 5))
    close(swung("quarter right", L, W).apply(np.array([0.0, 0.0, 5.0])), (L, 0, 5))
    with pytest.raises(ValueError, match="not 'once'"):
        swung("once", L, W)


def test_turned__refuses_another_word():
    with pytest.raises(ValueError, match="not 'about z'"):
        turned("about z", L, W, T)


@pytest.mark.parametrize("degrees", [-170.0, -0.1, 0.0, 3.7, 90.0])
def test_misplaced__is_a_turn_about_z_then_a_shift(degrees):
    about = np.array([12.0, 34.0, 0.0])
    turn = Rotation.from_euler("z", degrees, degrees=True)
    made = misplaced(0.3, -0.2, 0.1, degrees, (12.0, 34.0))
    close(made.apply(POINTS), turn.apply(POINTS - about) + about + [0.3, -0.2, 0.1])


def test_misplaced__quarter_turn_by_hand():
    # (11, 5) is 1 right of (10, 5); a quarter turn counter-clockwise brings it 1 behind.
    close(misplaced(0, 0, 0, 90, (10, 5)).apply(np.array([11.0, 5, 2])), (10, 6, 2))


@pytest.mark.parametrize("turn", TURNS)
def test_frame__inverse_and_composition(turn):
    first, then = turned(turn, L, W, T), misplaced(1.5, -2.5, 0.25, 17.0, (40, 30))
    both = then.after(first)
    close(both.apply(POINTS), then.apply(first.apply(POINTS)))
    close(both.inverse().apply(both.apply(POINTS)), POINTS)
    close(both.inverse().after(both).matrix, np.eye(3))
    expected = Rotation.from_euler("z", 17, degrees=True) * Rotation.from_matrix(first.matrix)
    close(both.matrix, expected.as_matrix())
    assert np.linalg.det(both.matrix) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize(("turn", "sense"), [("none", 1), ("about x", -1), ("about y", -1)])
def test_frame__sense_of_arcs_follows_the_signed_area(turn, sense):
    frame = misplaced(1, 2, 0, 200.0, (3, 4)).after(turned(turn, L, W, T))
    corners = frame.apply_plan(np.array([[0.0, 0], [1, 0], [0, 1]]))  # counter-clockwise
    a, b = corners[1] - corners[0], corners[2] - corners[0]
    assert np.sign(a[0] * b[1] - a[1] * b[0]) == sense
    assert frame.plan_sense == sense
    assert frame.up == sense  # a proper rotation that keeps z vertical flips both or neither


def test_frame__plan_points_are_points_without_z():
    frame = misplaced(1, 2, 3, 20.0, (3, 4)).after(turned("about y", L, W, T))
    close(frame.apply_plan(POINTS[:, :2]), frame.apply(POINTS)[:, :2])
    close(frame.apply(POINTS.reshape(8, 5, 3)), frame.apply(POINTS).reshape(8, 5, 3))


def test_frame__takes_lists_and_keeps_float64():
    frame = Frame([[1, 0, 0], [0, 1, 0], [0, 0, 1]], [1, 2, 3])
    assert frame.matrix.dtype == frame.offset.dtype == np.float64
    close(frame.apply([1, 1, 1]), (2, 3, 4))
    close(IDENTITY.apply(POINTS), POINTS)
    close(shift(1, 2).apply([0, 0, 7]), (1, 2, 7))


# Where program X0 Y0 Z0 is in the blank frame, worked out by hand.
ZEROS = [
    ("none", "left front", "top", (0, 0, 38)),
    ("none", "right front", "top", (280, 0, 38)),
    ("none", "left back", "bottom", (0, 90, 0)),
    ("none", "right back", "bottom", (280, 90, 0)),
    ("none", "centre", "top", (140, 45, 38)),
    # Turned about x the operator's front is the blank's back, and the top is side 2 (z = 0).
    ("about x", "left front", "top", (0, 90, 0)),
    ("about x", "right front", "bottom", (280, 90, 38)),
    ("about x", "left back", "top", (0, 0, 0)),
    ("about x", "right back", "top", (280, 0, 0)),
    ("about x", "centre", "bottom", (140, 45, 38)),
    # Turned about y the operator's left is the blank's right.
    ("about y", "left front", "top", (280, 0, 0)),
    ("about y", "right front", "top", (0, 0, 0)),
    ("about y", "left back", "bottom", (280, 90, 38)),
    ("about y", "right back", "top", (0, 90, 0)),
    ("about y", "centre", "top", (140, 45, 0)),
]


@pytest.mark.parametrize(("turn", "corner", "face", "expected"), ZEROS)
def test_setup__zero_by_hand(turn, corner, face, expected):
    setup = Setup("s", (), turn=turn, zero=Zero(corner, face))
    close(setup.frame(BLANK).apply(np.zeros(3)), expected)


@pytest.mark.parametrize(
    ("turn", "expected"),
    # Table frame: zero at (5, 10, 38 + 2), the point (1, 2, -3) from it at (6, 12, 37).
    [("none", (6, 12, 37)), ("about x", (6, 78, 1)), ("about y", (274, 12, 1))],
)
def test_setup__offset_is_as_the_operator_sees_it(turn, expected):
    setup = Setup("s", (), turn=turn, zero=Zero("left front", "top", (5.0, 10.0, 2.0)))
    close(setup.frame(BLANK).apply(np.array([1.0, 2.0, -3.0])), expected)


@pytest.mark.parametrize(
    ("turn", "expected"),
    [("none", (0.3, -0.2, 38.1)), ("about x", (0.3, 90.2, -0.1)), ("about y", (279.7, -0.2, -0.1))],
)
def test_setup__misplacement_acts_on_the_table(turn, expected):
    frame = Setup("s", (), turn=turn, misplacement=misplaced(0.3, -0.2, 0.1, 0.0, (0, 0))).frame(BLANK)
    close(frame.apply(np.zeros(3)), expected)


def test_setup__misplacement_turns_about_its_point_not_about_the_zero():
    # Zero right front at (280, 0); a quarter turn about the table's (140, 45): (140, 45) + (45, 140).
    wrong = misplaced(0, 0, 0, 90.0, (140, 45))
    frame = Setup("s", (), zero=Zero("right front", "bottom"), misplacement=wrong).frame(BLANK)
    close(frame.apply(np.zeros(3)), (185, 185, 0))
