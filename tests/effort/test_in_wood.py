"""Where the cut of a move begins and ends, against what drawing it says."""

import math
from dataclasses import replace

import numpy as np
import pytest

from simkit.effort.in_wood import parts_in_wood
from simkit.effort.motion import move_times
from simkit.frames import IDENTITY, turned
from simkit.job.model import Machine
from simkit.moves.chords import places_on
from simkit.moves.table import ARC, make_moves
from simkit.stock.field import blank_field, blank_lattice
from simkit.stock.replay import replay
from tests.effort.test_bite import CUTTERS, SIZE, bitten, path

CELL = 0.1


def parts(moves, frame=IDENTITY):
    field = blank_field(blank_lattice(SIZE[0], SIZE[1], CELL), *SIZE)
    return parts_in_wood(moves, replay(field, moves, CUTTERS, frame), CUTTERS)


@pytest.mark.parametrize("turn", ["none", "about x", "about y"])
def test_down_and_up__what_is_above_the_wood_is_air(turn):
    frame = turned(turn, *SIZE)
    # 14 to 9 straight down, wood from 12 down; a ramp from 16 to 8 in clean wood; up again from there.
    moves = path([[20, 10, 14], [20, 10, 9], [20, 10, 16], [20, 30, 16], [40, 30, 8], [40, 30, 20]])
    found = parts(moves, frame)
    assert found[0] == pytest.approx([2 / 5, 1.0])
    assert found[3] == pytest.approx([0.5, 1.0])
    assert found[[1, 2, 4]] == pytest.approx(np.zeros((3, 2)))


def test_level__from_the_front_of_the_cutter_to_its_middle():
    # From outside: the blank ends at 0 and 60, a flat of 6 meets it 3 before, and leaves it with its middle.
    assert parts(path([[-20, 20, 9], [80, 20, 9]]))[0] == pytest.approx([0.17, 0.8], abs=0.001)
    assert parts(path([[80, 20, 9], [-20, 20, 9]]))[0] == pytest.approx([0.17, 0.8], abs=0.001)
    # A ball 1 mm deep is sqrt(5) wide.
    begin = (20 - math.sqrt(5)) / 100
    assert parts(path([[-20, 20, 11], [80, 20, 11]], tool=2))[0] == pytest.approx([begin, 0.8], abs=0.001)


def test_helix__above_the_wood_is_air():
    turn = {"kind": [ARC], "centre": [[30, 20]], "sweep": [2 * math.pi], "tool": [1]}
    down = make_moves(programs=("a.nc",), start=[[35, 20, 14]], end=[[35, 20, 10]], **turn)
    assert parts(down)[0] == pytest.approx([0.5, 1.0])


@pytest.mark.parametrize("sense", [1, -1])
def test_arc__from_the_tangent_to_the_cutter_to_its_middle(sense):
    # A circle of 6 about (58, 20) from outside the blank, which ends at 60: of the ring from 3 to 9 that a
    # flat of 6 cuts, the wood begins acos(2 / 3) round its inside, and the cutter is asin(3 / 6) ahead.
    turn = {"kind": [ARC], "centre": [[58, 20]], "sweep": [sense * 2 * math.pi], "tool": [1]}
    out = make_moves(programs=("a.nc",), start=[[64, 20, 9]], end=[[64, 20, 9]], **turn)
    wood = math.degrees(math.acos(2 / 3))
    assert parts(out)[0] == pytest.approx([(wood - 30) / 360, (360 - wood) / 360], abs=0.008)
    # A quarter that ends before the wood, and one tighter than the cutter, of which nothing is known.
    short = make_moves(programs=("a.nc",), start=[[66, 20, 9]], end=[[66 - 3, 20 + sense * 3, 9]], **turn | {
        "centre": [[63, 20]], "sweep": [sense * math.pi / 2]})  # fmt: skip
    assert parts(short).tolist() == [[0.0, 0.0]]


def arcs(rng, tool, n=24):
    """Arcs and helices about the end of the blank."""
    centre, radius = np.array([60.0, 20.0]) + rng.uniform(-5, 9, (n, 2)), rng.uniform(2, 14, n)
    angle, sweep = rng.uniform(0, 6.28, n), rng.uniform(-6.2, 6.2, n)
    ends = [
        np.column_stack([centre[:, 0] + radius * np.cos(at), centre[:, 1] + radius * np.sin(at)])
        for at in (angle, angle + sweep)
    ]
    z = rng.uniform(7, 15, (2, n))
    z[1, ::2] = z[0, ::2]
    start, end = (np.column_stack([place, height]) for place, height in zip(ends, z, strict=True))
    columns = {"kind": [ARC] * n, "centre": centre, "sweep": sweep, "tool": [tool] * n}
    return make_moves(programs=("a.nc",), start=start, end=end, **columns)


@pytest.mark.parametrize("tool", [1, 2])
@pytest.mark.parametrize("seed", range(3))
def test_any_arc__takes_nothing_outside_its_part(tool, seed):
    moves = arcs(np.random.default_rng(seed), tool)
    told = 0
    for k in range(len(moves)):
        one, field = moves[k : k + 1], blank_field(blank_lattice(SIZE[0], SIZE[1], 0.2), *SIZE)
        taken = replay(field, one, CUTTERS, IDENTITY)
        begin, end = parts_in_wood(one, taken, CUTTERS)[0]

        def piece(a, b, one=one):
            places = places_on(one, np.array([0, 0]), np.array([a, b]))
            return replace(one, start=places[:1], end=places[1:], sweep=one.sweep * (b - a))

        volume = taken.volume[0]
        told += volume > 0 and end - begin < 0.95
        assert (
            begin == 0.0
            or replay(field, piece(0.0, begin), CUTTERS, IDENTITY).volume[0] <= 1e-3 + 1e-4 * volume
        )
        assert end == 1.0 or replay(taken.field, piece(end, 1.0), CUTTERS, IDENTITY).volume[0] <= 1e-3
        if volume > 0:
            whole = replay(field, piece(begin, end), CUTTERS, IDENTITY).volume[0]
            assert whole == pytest.approx(volume, rel=1e-3, abs=1e-3)
    assert told > 2


@pytest.mark.parametrize("tool", [1, 2])
@pytest.mark.parametrize("seed", range(3))
def test_any_move__takes_nothing_outside_its_part(tool, seed):
    rng = np.random.default_rng(seed)
    places = np.column_stack([rng.uniform(-20, 80, 12), rng.uniform(-10, 50, 12), rng.uniform(6, 17, 12)])
    moves = path(places, tool=tool)
    span = parts(moves)
    cut = 0
    for k, (begin, end) in enumerate(span):
        a, b = places[k], places[k + 1]
        short = path([a, a + begin * (b - a)], tool=tool), path([a + end * (b - a), b], tool=tool)
        field = blank_field(blank_lattice(SIZE[0], SIZE[1], CELL), *SIZE)
        if k:
            field = replay(field, moves[:k], CUTTERS, IDENTITY).field
        taken = replay(field, moves[k : k + 1], CUTTERS, IDENTITY)
        ahead = replay(field, short[0], CUTTERS, IDENTITY).volume[0]
        behind = replay(taken.field, short[1], CUTTERS, IDENTITY).volume[0]
        # What float32 makes of a height at the crossing.
        assert begin == 0.0 or ahead <= 1e-3 + 1e-4 * taken.volume[0]
        assert behind == 0.0
        middle = path([a + begin * (b - a), a + end * (b - a)], tool=tool)
        if taken.volume[0] > 0:
            cut += 1
            whole = replay(field, middle, CUTTERS, IDENTITY).volume[0]
            assert whole == pytest.approx(taken.volume[0], rel=1e-3, abs=1e-3)
    assert cut > 3


def test_short_moves__of_which_some_touch_no_cell_are_in_wood_together():
    x = np.linspace(-20, 80, 4001)
    moves = path(np.column_stack([x, 0 * x + 20, 0 * x + 9]))
    own, _ = bitten(moves, cell=0.2)
    seconds = move_times(moves, Machine()).seconds
    # From -3 on; the outermost columns lie 2.9 beside the path, so the front meets the last of them at 60
    # less sqrt(3^2 - 2.9^2).
    length = 63.0 - math.sqrt(9 - 2.9**2)
    assert (own.share * moves.length()).sum() == pytest.approx(length, abs=0.4)
    assert (own.share * seconds).sum() == pytest.approx(length / 40.0, rel=0.01)


def test_pass_that_enters_from_outside__is_as_wide_as_its_cut():
    # Half of the way in air: width and removal are those of the other half.
    own, _ = bitten(path([[-60, 20, 9], [55, 20, 9]]))
    assert own.width[0] == pytest.approx(6.0, abs=own.bound[0])
    assert own.removal[0] == pytest.approx(3 * 6 * 2400, rel=0.05)
    assert own.is_slot[0]
