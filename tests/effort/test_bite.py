"""Bites of slots and passes whose width, depth and side are known."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simkit.cutters import Cutter
from simkit.effort.bite import bites
from simkit.effort.motion import move_times
from simkit.frames import IDENTITY, turned
from simkit.job.model import Machine
from simkit.moves.table import ARC, LINE, make_moves
from simkit.stock.field import blank_field, blank_lattice
from simkit.stock.replay import replay

SIZE = (60.0, 40.0, 12.0)
CUTTERS = {
    1: Cutter(1, "flat", 6.0, flutes=2),
    2: Cutter(2, "ball", 6.0, flutes=2),
    3: Cutter(3, "vee", 12.0, point=90.0),
    4: Cutter(4, "flat", 4.5, flutes=2),
    5: Cutter(5, "vee", 12.0, point=90.0, flutes=2),
}


def path(places, tool=1, feed=2400.0, **columns):
    """Straight cuts from place to place, at 18000 rev/min."""
    n = len(places) - 1
    columns = {"speed": [18000.0] * n} | columns
    columns |= {"tool": [tool] * n, "feed": np.full(n, feed)}
    return make_moves(programs=("a.nc",), start=places[:-1], end=places[1:], **columns)


def bitten(moves, frame=IDENTITY, cell=0.1):
    field = blank_field(blank_lattice(SIZE[0], SIZE[1], cell), *SIZE)
    met = replay(field, moves, CUTTERS, frame)
    return bites(moves, met, move_times(moves, Machine()), CUTTERS, cell), met


def test_slot__volume_is_length_times_section():
    moves = path([[10, 20, 14], [10, 20, 9], [50, 20, 9]])
    own, met = bitten(moves)
    # Down: a cylinder; along: 40 x 6 x 3 (REFERENCES: what stands in front is as much as lies behind).
    assert met.volume == pytest.approx([math.pi * 9 * 3, 40 * 6 * 3], rel=0.01)
    assert own.of.tolist() == [0, 1]
    assert own.is_pass.tolist() == [False, True]
    assert own.depth[1] == pytest.approx(3.0, abs=1e-6)
    assert own.width[1] == pytest.approx(6.0, abs=own.bound[1])
    assert own.is_slot.tolist() == [False, True]
    assert own.per_tooth == pytest.approx([2400 / 36000] * 2)
    assert own.thickest[1] == pytest.approx(60 * 40 / own.seconds[1] / 36000, rel=1e-3)
    assert own.removal[1] == pytest.approx(3 * 6 * 40 / (own.seconds[1] / 60), rel=0.01)
    assert own.wood_on.tolist() == [0, 0]


def test_moves_shorter_than_a_cell__are_looked_at_together():
    x = np.linspace(10, 50, 801)
    moves = path(np.column_stack([x, 0 * x + 20, 0 * x + 9]))
    own, _ = bitten(moves, cell=0.2)
    assert own.of.max() + 1 == len(own.row) == pytest.approx(40 / 6, abs=1)
    assert own.length.sum() == pytest.approx(40.0)
    inside = slice(1, -1)
    assert own.width[inside] == pytest.approx(6.0, abs=own.bound.max())
    assert own.depth[inside] == pytest.approx(3.0, abs=1e-6)
    assert own.is_slot[inside].all()


@pytest.mark.parametrize("turn", ["none", "about x", "about y"])
@pytest.mark.parametrize(("step", "side"), [(1.5, 1), (-1.5, -1), (2.5, 1), (-2.5, -1)])
def test_second_pass__is_as_wide_as_its_step_and_has_the_wood_on_its_side(step, side, turn):
    # To the right of +x lies -y: a pass set off to -y finds its wood on the right.
    frame = turned(turn, *SIZE)
    y = 20 - step
    z = 9.0
    moves = path([[10, 20, z], [50, 20, z], [50, 20, 14], [10, y, 14], [10, y, z], [50, y, z]])
    own, _ = bitten(moves, frame)
    last = own.of[-1]
    assert own.width[last] == pytest.approx(abs(step), abs=own.bound[last])
    assert own.width[last] == pytest.approx(abs(step), abs=0.15)
    assert own.wood_on[last] == side
    # Clockwise from above, wood on the right: climb; the other way round the other.
    speed = np.full(len(own.row), 18000.0)
    assert own.climbs(speed)[last] == side
    assert own.climbs(-speed)[last] == -side
    assert not own.is_slot[last]


@pytest.mark.parametrize(("turn", "radius", "side"), [(1, 9, 1), (1, 6, -1), (-1, 9, -1), (-1, 6, 1)])
def test_arc__wood_outside_a_turn_to_the_left_is_on_the_right(turn, radius, side):
    # A ring slot on a circle of 7.5, then a circle 1.5 wider or narrower.
    arcs = [7.5, radius]
    moves = make_moves(
        programs=("a.nc",), kind=[ARC, LINE, ARC],
        start=[[37.5, 20, 9], [37.5, 20, 14], [30 + radius, 20, 9]],
        end=[[37.5, 20, 9], [30 + radius, 20, 14], [30 + radius, 20, 9]], centre=[[30, 20], [0, 0], [30, 20]],
        sweep=[turn * 2 * math.pi, 0, turn * 2 * math.pi], feed=[1200.0] * 3, speed=[9000.0] * 3,
        tool=[1] * 3, rapid=[False, True, False],
    )  # fmt: skip
    own, met = bitten(moves)
    assert own.wood_on[own.of[2]] == side
    ring = math.pi * ((arcs[1] + 3 * side * turn) ** 2 - (7.5 + 3 * side * turn) ** 2)
    assert met.volume[2] == pytest.approx(abs(ring) * 3, rel=0.02)


def test_ball_and_vee__have_the_diameter_of_their_depth():
    own, _ = bitten(path([[10, 20, 11], [50, 20, 11]], tool=2))
    assert own.depth[0] == pytest.approx(1.0, abs=0.01)
    assert own.diameter[0] == pytest.approx(2 * math.sqrt(5), abs=0.02)
    # A segment of a circle: 3^2 acos(2/3) - 2 sqrt(5); as wide as a rectangle of its depth.
    section = 9 * math.acos(2 / 3) - 2 * math.sqrt(5)
    # Over its length, and the front: half of what stands across a cut this deep and as wide.
    assert own.volume[0] == pytest.approx(40 * section + math.pi * (3 - 1 / 3), rel=0.01)
    assert own.width[0] == pytest.approx(own.volume[0] / 40, rel=1e-3)
    own, _ = bitten(path([[10, 20, 10], [50, 20, 10]], tool=3))
    assert own.diameter[0] == pytest.approx(4.0, abs=0.3)
    # A triangle 4 wide and 2 deep, and a cone at its ends.
    assert own.volume[0] == pytest.approx(40 * 4 + math.pi * 8 / 3, rel=0.01)
    assert own.width[0] == pytest.approx(own.volume[0] / 40 / own.depth[0], rel=1e-3)


def test_chips_of_ball_and_vee__are_thinner_than_their_feed():
    # A slot 1 mm deep with the ball: seen from above f_z, across its edge f_z sqrt(1 x 5) / 3 (ISO 3002-3).
    own, _ = bitten(path([[10, 20, 11], [50, 20, 11]], tool=2, feed=240.0))
    fed = 60 * own.length[0] / own.seconds[0] / 36000
    # Its width, that of a rectangle, is less than its diameter there; all its front cuts.
    assert own.width[0] < 0.95 * own.diameter[0]
    assert own.engaged[0] == math.pi
    assert own.seen[0] == pytest.approx(fed)
    assert own.thickest[0] == pytest.approx(fed * math.sqrt(5) / 3, rel=5e-3)
    own, _ = bitten(path([[10, 20, 9], [50, 20, 9]], tool=5, feed=240.0))
    assert own.thickest[0] == pytest.approx(own.seen[0] * math.sqrt(0.5))
    assert own.mean[0] < own.thickest[0]
    # Straight down the tip of a ball lies level, and the chip is as thick as it is fed.
    own, _ = bitten(path([[30, 20, 14], [30, 20, 9]], tool=2, feed=240.0))
    assert own.thickest[0] == own.seen[0]


def test_plunge__down_into_wood_but_not_along_a_wall():
    own, _ = bitten(path([[10, 20, 14], [10, 20, 9], [30, 20, 8], [50, 20, 8], [50, 20, 5], [51, 20, 4.9]]))
    assert own.is_plunge.tolist() == [True, True, False, True, True]
    assert own.plunge_angle[:2] == pytest.approx([90.0, math.degrees(math.atan2(1, 20))])
    assert own.is_ramp.tolist() == [True, True, False, True, True]
    # A millimetre beside a slot 6 deep, straight down along its wall: it takes a sliver.
    slot = [[10, 20, 6], [50, 20, 6], [50, 20, 14], [30, 20.3, 14], [30, 20.3, 7]]
    own, _ = bitten(path(slot))
    assert own.in_wood[own.of[-1]]
    assert not own.is_plunge[own.of[-1]]


SLOT_TO_6 = [[10, 20, 6], [50, 20, 6], [50, 20, 14]]  # with a 6 mm flat: walls at y 17 and 23


@pytest.mark.parametrize(("y", "is_told"), [(22.5, False), (23.5, True), (16.5, True), (17.5, False)])
def test_plunge__beside_a_wall_where_the_wood_reaches_the_middle(y, is_told):
    own, _ = bitten(path([*SLOT_TO_6, [30, y, 14], [30, y, 7]]))
    assert own.is_plunge[-1] == is_told
    assert own.plunge_angle[-1] == pytest.approx(90.0)
    # A way down along the wall, 7 mm on 20: the same, however deep it is by then.
    own, _ = bitten(path([*SLOT_TO_6, [20, y, 14], [40, y, 7]]))
    assert own.in_wood[-1]
    assert own.is_plunge[-1] == is_told
    assert own.plunge_angle[-1] == pytest.approx(math.degrees(math.atan2(7, 20)))
    # In short moves each stretch, too.
    t = np.linspace(0.0, 1.0, 41)[:, None]
    short = np.array([20, y, 14]) + t * np.array([20, 0, -7])
    own, _ = bitten(path([*SLOT_TO_6, *short]))
    ways = own.down > 0.5
    ways[: own.of[3]] = False
    assert ways.sum() >= 2
    assert (own.is_plunge[ways] == is_told).all()


def test_plunge__within_an_earlier_cut_counts_from_its_floor():
    floor = [[10, 20, 9], [50, 20, 9], [50, 20, 14]]
    own, _ = bitten(path([*floor, [30, 20, 14], [30, 20, 6]]))
    assert own.is_plunge[-1]
    assert (own.down[-1], own.plunge_angle[-1]) == (pytest.approx(3.0), pytest.approx(90.0))
    # 5 down over 10, of which 3 are in wood: its angle is that of the way, not 3 over 10.
    own, _ = bitten(path([*floor, [20, 20, 11], [30, 20, 6]]))
    assert own.is_plunge[-1]
    assert own.down[-1] == pytest.approx(3.0, abs=0.01)
    assert own.plunge_angle[-1] == pytest.approx(math.degrees(math.atan2(5, 10)), abs=0.1)
    # To and fro in its own slot, each time over what the one before left.
    own, _ = bitten(path([[10, 20, 12], [40, 20, 10.5], [10, 20, 9], [40, 20, 7.5], [10, 20, 6]]))
    assert own.is_plunge[own.of[1:]].all()
    assert own.plunge_angle[own.of] == pytest.approx([math.degrees(math.atan2(1.5, 30))] * 4, abs=0.01)
    # Into a hole of 4.5 mm only the rim comes down in wood, 44 % of what it would be without the hole.
    hole = path([[30, 20, 14], [30, 20, 5], [30, 20, 14], [30, 20, 14], [30, 20, 6]])
    own, _ = bitten(replace(hole, tool=np.array([4, 4, 1, 1])))
    assert own.in_wood[-1]
    assert not own.is_plunge[-1]


def around(x, y, rib):
    """Cuts with the 6 mm flat, down to 4, that leave a rib along y, `rib` wide about x, alone."""
    left, right = x - rib / 2 - 3, x + rib / 2 + 3
    ways = []
    for column in (left - 3, left, right, right + 3):
        ways += [[column, y - 8, 14], [column, y - 8, 4], [column, y + 8, 4], [column, y + 8, 14]]
    return ways


@pytest.mark.parametrize(("frame", "cell"), [(IDENTITY, 0.1), (turned("about x", *SIZE), 0.2)])
def test_plunge__onto_a_thin_rib(frame, cell):
    # A millimetre of wood across the middle: a fifth of what a plunge into whole wood would take.
    ways = around(30, 20, 1.0)
    own, _ = bitten(path([*ways, [30, 20, 14], [30, 20, 6]]), frame, cell)
    assert own.volume[-1] < 0.3 * own.whole[-1]
    assert own.is_plunge[-1]
    assert own.under[-1] == pytest.approx(6.0, abs=1e-5)
    # In steps shorter than a skin it is as much.
    steps = [[30, 20, z] for z in np.linspace(14, 6, 161)]
    own, _ = bitten(path([*ways, *steps]), frame, cell)
    assert own.under[own.of[-1]] > 1
    assert own.is_plunge[own.of[-1]]
    # A millimetre beside the rib's middle its side is met, and nothing under the middle.
    own, _ = bitten(path([*ways, [31.5, 20, 14], [31.5, 20, 6]]), frame, cell)
    assert own.in_wood[-1]
    assert not own.is_plunge[-1]


@pytest.mark.parametrize(("x", "y", "is_told"), [(30.4, 19.6, True), (28.9, 21.1, False), (34, 16, True)])
def test_plunge__at_an_outer_corner(x, y, is_told):
    # Left of x 30 and behind y 20 the wood is gone down to 4: what stays has its corner there.
    ways = [[10, 23, 14], [10, 23, 4], [50, 23, 4], [50, 28, 4], [10, 28, 4], [10, 28, 14]]
    ways += [[27, 28, 14], [27, 28, 4], [27, 5, 4], [22, 5, 4], [22, 28, 4], [22, 28, 14]]
    own, _ = bitten(path([*ways, [x, y, 14], [x, y, 8]]))
    assert own.in_wood[-1]
    assert own.is_plunge[-1] == is_told
    if x == 30.4:
        assert own.volume[-1] < 0.5 * own.whole[-1]


def test_plunge__into_a_hole_that_leaves_the_middle_free():
    # Of 5 mm the hole leaves a third of what there was, of 2 mm nine tenths; the middle is free in both.
    cutters = {5: Cutter(5, "flat", 5.0), 6: Cutter(6, "flat", 2.0)} | CUTTERS
    hole = path([[30, 20, 14], [30, 20, 5], [30, 20, 14], [30, 20, 14], [30, 20, 6]])
    for tool in (5, 6):
        moves = replace(hole, tool=np.array([tool, tool, 1, 1]))
        field = blank_field(blank_lattice(SIZE[0], SIZE[1], 0.1), *SIZE)
        met = replay(field, moves, cutters, IDENTITY)
        own = bites(moves, met, move_times(moves, Machine()), cutters, 0.1)
        assert own.in_wood[-1]
        assert not own.is_plunge[-1]


def test_plunge__a_ball_down_a_steep_slope_is_none():
    # 60 degrees down, then half a millimetre inside: the ball's side cuts, its middle comes down in air.
    fall = 8 * math.tan(math.radians(60))
    wide = {2: Cutter(2, "ball", 6.0, flutes=2)}
    moves = path([[20, 20, 14], [28, 20, 14 - fall], [19.4, 20, 14], [27.4, 20, 14 - fall]], tool=2)
    field = blank_field(blank_lattice(SIZE[0], SIZE[1], 0.1), *SIZE)
    met = replay(field, moves, wide, IDENTITY)
    own = bites(moves, met, move_times(moves, Machine()), wide, 0.1)
    assert own.is_plunge[own.of[0]]
    assert own.in_wood[own.of[2]]
    assert not own.is_plunge[own.of[2]]


def test_plunge__down_a_slope_a_thin_layer_is_none():
    # 15 degrees down, then the same half a millimetre lower, as a finishing pass goes.
    fall = 20 * math.tan(math.radians(15))
    own, _ = bitten(path([[20, 20, 12], [40, 20, 12 - fall], [20, 20, 11.5], [40, 20, 11.5 - fall]]))
    assert own.is_plunge[own.of[0]]
    assert not own.is_plunge[own.of[2]]


def test_plunge__a_short_way_down_is_no_mean_with_the_pass_behind_it():
    # 0.9 mm down over 3 mm in three moves, at the feed of the pass: atan(0.9 / 3) = 16.70 degrees.
    ramp = [[10, 20, 12], [11, 20, 11.7], [12, 20, 11.4], [13, 20, 11.1]]
    own, _ = bitten(path([*ramp, [50, 20, 11.1]]))
    assert own.of.tolist() == [0, 0, 0, 1]
    assert own.is_plunge.tolist() == [True, False]
    assert own.plunge_angle[0] == pytest.approx(math.degrees(math.atan(0.3)), abs=1e-9)
    # A flat cutter takes pi D^2 a_p / 4 + D a_p level / 2 on its way down from the surface.
    assert own.volume[0] == pytest.approx(math.pi * 9 * 0.9 + 6 * 0.9 * 3 / 2, rel=0.01)
    # Behind it a slot 0.9 deep, and nothing else.
    assert own.volume[1] == pytest.approx(6 * 0.9 * 37, rel=0.01)
    assert own.width[1] == pytest.approx(6.0, abs=own.bound[1])


def test_air_and_rapids__take_nothing():
    moves = path([[10, 20, 9], [50, 20, 9], [10, 20, 9], [10, 35, 14]])
    own, _ = bitten(replace(moves, rapid=np.array([False, False, True])))
    assert own.of.tolist() == [0, 1, -1]
    assert own.in_wood.tolist() == [True, False]
    assert own.removal[1] == own.depth[1] == own.width[1] == 0.0


def test_volumes__of_the_stretches_are_those_of_the_moves():
    rng = np.random.default_rng(3)
    places = np.column_stack([rng.uniform(5, 55, 60), rng.uniform(5, 35, 60), rng.uniform(7, 13, 60)])
    moves = path(places, tool=2)
    own, met = bitten(moves)
    assert own.volume.sum() == pytest.approx(met.volume.sum())
    assert np.bincount(own.of, met.volume) == pytest.approx(own.volume)
    assert (own.volume[own.of[met.volume > 0]] > 0).all()
    assert own.seconds.sum() == pytest.approx(move_times(moves, Machine()).seconds.sum())
    # The section of a stretch is no larger than width times depth of its cutter.
    assert (own.width <= own.diameter + 1e-9).all()


@pytest.mark.parametrize("seed", range(3))
def test_finer_cells__stay_inside_the_bound(seed):
    rng = np.random.default_rng(seed)
    places = np.column_stack([rng.uniform(8, 52, 12), rng.uniform(8, 32, 12), np.full(12, 9.0)])
    coarse, _ = bitten(path(places), cell=0.4)
    fine, _ = bitten(path(places), cell=0.1)
    # In wood of even height the depth is the same, so the widths differ by the rims alone.
    both = (coarse.depth > 0) & (fine.depth > 0)
    assert both.sum() >= 8
    assert (np.abs(coarse.width - fine.width) <= coarse.bound + fine.bound)[both].all()


def test_no_edges_and_no_spindle__no_chip():
    own, _ = bitten(path([[10, 20, 9], [50, 20, 9]], tool=3))
    assert np.isnan(own.per_tooth[0])
    own, _ = bitten(path([[10, 20, 9], [50, 20, 9]], speed=[0.0]))
    assert np.isnan(own.per_tooth[0])


def test_nothing__bites_nothing():
    own, _ = bitten(make_moves(start=np.zeros((0, 3)), end=np.zeros((0, 3))))
    assert len(own.row) == 0


@pytest.mark.parametrize(("tool", "rel"), [(1, 0.01), (2, 0.15)])
def test_plunge__whole_is_what_a_way_down_from_the_surface_takes(tool, rel):
    own, _ = bitten(replace(path([[15, 20, 12], [45, 20, 9]]), tool=np.array([tool])), cell=0.1)
    assert own.whole[0] == pytest.approx(own.volume[0], rel=rel)
    if tool == 1:  # a flat cutter: its disc goes down by 3, and behind it a wedge of its width stays open
        assert own.whole[0] == pytest.approx(math.pi * 9 * 3 + 6 * 3 * 30 / 2, rel=1e-9)
