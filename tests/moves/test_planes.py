"""Arcs in three planes seen from other frames, against scipy rotations of sampled points."""

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from simkit.errors import ShapeError
from simkit.frames import Frame, misplaced, shift, turned
from simkit.moves.table import ARC, join_moves, make_moves

# Axis square to the plane, seen from whose positive end a positive sweep is counter-clockwise
# (NISTIR 6556, section 3.5.3); which coordinates `centre` holds stands in Moves.
NORMAL = {17: (0, 0, 1), 18: (0, 1, 0), 19: (1, 0, 0)}
CENTRE_AT = {17: [0, 1], 18: [2, 0], 19: [1, 2]}


def arc_points(moves, k, count=37):
    """Points on arc k: the arm turned about the plane's axis by scipy, the rise along that axis."""
    plane = int(moves.plane[k])
    normal = np.array(NORMAL[plane], dtype=float)
    centre = moves.start[k].copy()
    centre[CENTRE_AT[plane]] = moves.centre[k]
    share = np.linspace(0, 1, count)
    arm = moves.start[k] - centre
    turn = Rotation.from_rotvec(np.outer(share * moves.sweep[k], normal))
    rise = (moves.end[k] - moves.start[k]) @ normal
    return centre + turn.apply(arm) + np.outer(share * rise, normal)


def some_arcs(seed=5, count=60):
    random = np.random.default_rng(seed)
    plane = random.choice([17, 18, 19], count)
    sweep = random.uniform(0.05, 2 * math.pi, count) * random.choice([-1, 1], count)
    start, end, centre = np.zeros((count, 3)), np.zeros((count, 3)), random.uniform(-9, 9, (count, 2))
    for k in range(count):
        normal = np.array(NORMAL[plane[k]], dtype=float)
        axis = random.uniform(-9, 9, 3)
        axis[CENTRE_AT[plane[k]]] = centre[k]
        arm = np.zeros(3)
        arm[CENTRE_AT[plane[k]]] = random.uniform(1, 7, 2)
        start[k] = axis + arm
        turned_arm = Rotation.from_rotvec(sweep[k] * normal).apply(arm)
        end[k] = axis + turned_arm + random.uniform(-3, 3) * normal
    return make_moves(kind=np.full(count, ARC), plane=plane, start=start, end=end, centre=centre, sweep=sweep)


QUARTER = Frame(np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]]), np.array([3.0, 4, 5]))
FRAMES = {
    "shift": shift(1, -2, 3),
    "about x": turned("about x", 280, 90, 38),
    "about y": turned("about y", 280, 90, 38),
    "quarter": QUARTER,
    "quarter, then about x": turned("about x", 280, 90, 38).after(QUARTER),
    "half turn": misplaced(1, 2, 3, 180, (10, 10)),
}


@pytest.mark.parametrize("name", FRAMES)
def test_in_frame__sampled_points_are_the_mapped_points(name):
    moves, frame = some_arcs(), FRAMES[name]
    seen = moves.in_frame(frame)
    for k in range(len(moves)):
        expected = arc_points(moves, k) @ frame.matrix.T + frame.offset
        assert arc_points(seen, k) == pytest.approx(expected, abs=1e-9)
    assert seen.length() == pytest.approx(moves.length(), rel=1e-12)
    assert arc_points(seen, 0)[-1] == pytest.approx(seen.end[0], abs=1e-9)


def test_in_frame__oblique_turn_is_refused_for_upright_arcs_alone():
    moves, frame = some_arcs(), misplaced(0, 0, 0, 10, (0, 0))
    with pytest.raises(ShapeError, match="arcs in plane 18 or 19 need a frame that maps axes to axes"):
        moves.in_frame(frame)
    flat = moves[moves.plane == 17]
    seen = flat.in_frame(frame)
    for k in range(len(flat)):
        expected = arc_points(flat, k) @ frame.matrix.T + frame.offset
        assert arc_points(seen, k) == pytest.approx(expected, abs=1e-9)


def test_length__of_sampled_points():
    """The polygon of many points is shorter than the arc by less than 1 part in 10^6."""
    moves = some_arcs()
    for k in range(len(moves)):
        steps = np.diff(arc_points(moves, k, 4001), axis=0)
        assert np.linalg.norm(steps, axis=1).sum() == pytest.approx(moves.length()[k], rel=1e-6)


def test_plane__is_17_when_left_out():
    moves = make_moves(start=np.zeros((2, 3)), end=np.ones((2, 3)))
    assert moves.plane.tolist() == [17, 17]
    assert join_moves([moves, some_arcs()[:0]]).plane.dtype == np.uint8
