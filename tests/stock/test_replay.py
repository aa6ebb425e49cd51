"""What each move takes and what rubs, in the order of the moves: against a plain replay, closed forms."""

from itertools import pairwise

import numba
import numpy as np
import pytest

from simkit.cutters import Cutter
from simkit.frames import IDENTITY, turned
from simkit.moves.chords import places_on
from simkit.moves.table import ARC, LINE, make_moves
from simkit.stock.cut import cut
from simkit.stock.field import blank_field, blank_lattice
from simkit.stock.replay import CLEAR, replay
from simkit.stock.row_kernels import SPAN
from tests.stock import naive
from tests.stock.some_moves import SHAPES
from tests.stock.test_cut import CUTTERS, SIZE, assert_same, blank, job


def path(places, tool=1, rapid=False):
    """Straight moves from place to place."""
    n = len(places) - 1
    return make_moves(kind=[LINE] * n, start=places[:-1], end=places[1:], tool=[tool] * n, rapid=[rapid] * n)


def one_by_one(field, moves, cutters, frame=IDENTITY):
    """The same by cutting each move alone and looking at the two fields: volume, deepest."""
    cell = field.lattice.cell
    rows = []
    for k in range(len(moves)):
        after = cut(field, moves[k : k + 1], cutters, frame, first_row=k).field
        # What is taken is wood: between the surface and the other side's.
        before, left = (
            np.maximum(one.upper.astype(float) - one.lower, 0.0).astype(np.float32) for one in (field, after)
        )
        lost = np.maximum(before - left, 0.0)
        rows.append(
            (lost.sum(dtype=float) * cell**2, lost.max(), np.unravel_index(lost.argmax(), lost.shape))
        )
        field = after
    return field, rows


@pytest.mark.parametrize("turn", ["none", "about x", "about y"])
@pytest.mark.parametrize("seed", range(3))
def test_replay__as_the_moves_cut_one_by_one(seed, turn):
    moves, frame = job(seed), turned(turn, *SIZE)
    field, rows = one_by_one(blank(), moves, CUTTERS, frame)
    found = replay(blank(), moves, CUTTERS, frame)
    assert_same(found.field, field)
    assert found.volume == pytest.approx([row[0] for row in rows], abs=1e-3)
    assert found.depth == pytest.approx([row[1] for row in rows], abs=1e-5)
    assert (found.depth > 0).sum() > 20


def plain_side(moves, k, points):
    """+1 for places (m, 2) in the program's plan on the right of a move, -1 left, 0 where nothing is told."""
    start, end, centre = moves.start[k, :2], moves.end[k, :2], moves.centre[k]
    if moves.kind[k] == ARC and moves.plane[k] != 17:
        way = places_on(moves, np.full(400, k), np.linspace(0, 1, 400))[:, :2]
        steps = np.diff(way, axis=0)
        whole = way[-1] - way[0]
        ahead = steps @ whole
        is_straight = np.abs(whole[0] * (way - way[0])[:, 1] - whole[1] * (way - way[0])[:, 0]).max() < 1e-9
        if not is_straight or (ahead < -1e-12).any() or np.hypot(*whole) < 1e-6:
            return np.zeros(len(points))
        out = (points - way[0]) @ np.array([whole[1], -whole[0]]) / np.hypot(*whole)
        return np.where(np.abs(out) > 1e-9, np.sign(out), 0.0)
    if moves.kind[k] == ARC:
        out = np.linalg.norm(points - centre, axis=1) - np.linalg.norm(start - centre)
        return np.where(np.abs(out) > 1e-9, np.sign(out * moves.sweep[k]), 0.0)
    if np.array_equal(start, end):
        return np.zeros(len(points))
    along = complex(*(end - start))
    seen = (points - start) @ np.array([1, 1j]) / along  # as if the move ran along +x
    return np.where(np.abs(seen.imag) * abs(along) > 1e-9, -np.sign(seen.imag), 0.0)


def layers():
    """Passes of a flat cutter level by level, along and askew: most leaves go from level to level."""
    rng, parts = np.random.default_rng(3), []
    for z in (10.5, 9.0, 8.25):
        askew = rng.uniform(-0.5, 0.5)
        rows = [[[3, y, z], [27, y + askew, z]] for y in np.arange(2.0, 18.0, 1.75)]
        parts += [row[::-1] if k % 2 else row for k, row in enumerate(rows)]
    return path(np.concatenate(parts), 2)


def rings():
    """Ways down and level arcs of a flat cutter, both ways round, about centres beside the blank."""
    kind, start, end, centre, sweep = [], [], [], [], []
    for k, (x, y, z) in enumerate([(15, -25, 10.5), (15, 45, 9.5), (-30, 10, 9.0), (15, -25, 8.5)]):
        middle = np.arctan2(10 - y, 15 - x)
        for n, r in enumerate(np.hypot(15 - x, 10 - y) + np.arange(-6.0, 7.0, 2.25)):
            sense = 1 if (n + k) % 2 else -1
            ends = [
                [x + r * np.cos(middle + a), y + r * np.sin(middle + a), z]
                for a in (-0.3 * sense, 0.25 * sense)
            ]
            kind += [LINE, ARC]
            start += [[*ends[0][:2], z + 2], ends[0]]
            end += ends
            centre += [[0, 0], [x, y]]
            sweep += [0.0, 0.55 * sense]
    return make_moves(kind=kind, start=start, end=end, centre=centre, sweep=sweep, tool=[2] * len(kind))


def edges():
    """Level moves of a flat cutter where looking row by row has its edges, in both directions.

    Arcs about centres in the blank, so that some tiles lie round them, some just beside, and some on the side
    that an arc leaves out; circles as wide as the cutter and less; whole circles; ways straight down and
    moves of no length; lines nearly along the rows.
    """
    kind, start, end, centre, sweep, z = [], [], [], [], [], 11.5

    def add(of, from_, to, about=(0, 0), turn=0.0):
        kind.append(of), start.append(from_), end.append(to), centre.append(about), sweep.append(turn)

    about = [(15, 10), (4.1, 16.3), (29, 1)]
    for k, (r, turn) in enumerate([(8, 5.9), (2, 6.0), (0.7, 2 * np.pi), (6, 2 * np.pi), (5, 0.2), (9, 3.2)]):
        for sense in (1, -1):
            z -= 0.4
            x, y = about[k % 3]
            begin = 0.7 * k
            ends = [[x + r * np.cos(a), y + r * np.sin(a), z] for a in (begin, begin + sense * turn)]
            add(LINE, [*ends[0][:2], z + 1], ends[0])  # straight down
            add(LINE, ends[0], ends[0])  # of no length
            add(ARC, ends[0], ends[0] if turn == 2 * np.pi else ends[1], (x, y), sense * turn)
    for k, slope in enumerate([0.0, 0.009, 0.011, -0.009, -0.011, 1e-9]):
        z -= 0.3
        ends = [[2, 3 + 2.5 * k, z], [28, 3 + 2.5 * k + 26 * slope, z]]
        add(LINE, *(ends[::-1] if k % 2 else ends))
        ends = [[3 + 4 * k, 2, z - 0.1], [3 + 4 * k + 16 * slope, 18, z - 0.1]]
        add(LINE, *(ends if k % 2 else ends[::-1]))
    return make_moves(kind=kind, start=start, end=end, centre=centre, sweep=sweep, tool=[2] * len(kind))


PASSES = {"layers": layers, "rings": rings, "edges": edges}


@pytest.mark.parametrize("turn", ["none", "about x", "about y"])
@pytest.mark.parametrize("seed", [0, 1, "layers", "rings", "edges"])
def test_replay__which_side_of_the_path_the_wood_stood(seed, turn):
    moves, frame = PASSES[seed]() if seed in PASSES else job(seed), turned(turn, *SIZE)
    field, wanted = blank(), []
    x, y = np.meshgrid(field.lattice.x(), field.lattice.y())
    points = frame.inverse().apply(np.stack([x, y, 0 * x], axis=-1))[..., :2]
    for k in range(len(moves)):
        after = cut(field, moves[k : k + 1], CUTTERS, frame, first_row=k).field
        before, left = (np.maximum(one.upper.astype(float) - one.lower, 0.0) for one in (field, after))
        lost = (before - left).ravel()
        at = np.flatnonzero(lost > 0)
        side = plain_side(moves, k, points.reshape(-1, 2)[at])
        wanted.append((lost[at] * side).sum() * field.lattice.cell**2)
        field = after
    found = replay(blank(), moves, CUTTERS, frame)
    assert found.right == pytest.approx(wanted, abs=2e-3)
    assert (np.abs(found.right) > 1).sum() > 10
    assert (np.abs(found.right) <= found.volume + 1e-9).all()


@pytest.mark.parametrize("turn", ["none", "about x", "about y"])
@pytest.mark.parametrize("seed", [0, 1, "layers", "rings", "edges"])
def test_replay__highest_wood_taken_and_where_along_the_move(seed, turn):
    moves, frame = PASSES[seed]() if seed in PASSES else job(seed), turned(turn, *SIZE)
    field, lines, arcs = blank(), 0, 0
    x, y = np.meshgrid(field.lattice.x(), field.lattice.y())
    points = frame.inverse().apply(np.stack([x, y, 0 * x], axis=-1))[..., :2]
    found = replay(blank(), moves, CUTTERS, frame)
    for k in range(len(moves)):
        after = cut(field, moves[k : k + 1], CUTTERS, frame, first_row=k).field
        was, now = (np.maximum(one.upper - one.lower, 0.0) for one in (field, after))
        lost = was - now > 0
        if not lost.any():
            assert np.isnan(found.top[k])
            assert np.isnan(found.along[k]).all()
        else:
            surface = np.stack([x, y, field.upper if frame.up > 0 else field.lower], axis=-1)[lost]
            assert found.top[k] == pytest.approx(frame.inverse().apply(surface)[:, 2].max(), abs=1e-4)
            delta = (moves.end[k] - moves.start[k])[:2]
            if moves.kind[k] == LINE and np.hypot(*delta) > 0:
                along = (points[lost] - moves.start[k, :2]) @ (delta / np.hypot(*delta))
                assert found.along[k] == pytest.approx([along.min(), along.max()], abs=1e-6)
                lines += 1
            elif moves.kind[k] == ARC and moves.plane[k] == 17:
                start = complex(*(moves.start[k, :2] - moves.centre[k]))
                sweep = abs(moves.sweep[k])
                to = (points[lost] - moves.centre[k]) @ np.array([1, 1j]) / start
                angle = np.mod(np.angle(to) * np.sign(moves.sweep[k]), 2 * np.pi)
                is_before = (angle > sweep) & (2 * np.pi - angle < angle - sweep)
                angle = np.where(is_before, angle - 2 * np.pi, angle)
                ends = [angle.min(), angle.max()] if sweep <= 2 * np.pi else [0.0, sweep]
                assert found.along[k] == pytest.approx(abs(start) * np.array(ends), abs=1e-5)
                arcs += 1
            elif moves.kind[k] == ARC:
                assert np.isnan(found.along[k]).all()
        field = after
    assert lines > 5 or seed == "rings"
    assert arcs > 3 or seed == "layers"


@pytest.mark.parametrize("turn", ["none", "about x"])
@pytest.mark.parametrize("passes", PASSES)
def test_replay__rows_tell_what_lists_do(passes, turn):
    """Tiles wider than SPAN take no move in rows; of few cells, nearly every arc lies beside them."""
    moves, frame = PASSES[passes](), turned(turn, *SIZE)
    lattice = blank_lattice(*SIZE[:2], 0.15)
    before = blank_field(lattice, *SIZE)
    wanted = replay(before, moves, CUTTERS, frame, tile=2 * SPAN)
    assert (wanted.volume > 0).sum() > 15
    for tile in (16, 50, 64, SPAN):
        found = replay(before, moves, CUTTERS, frame, tile=tile)
        assert found.evaluations != wanted.evaluations
        assert_same(found.field, wanted.field)
        for name in ("depth", "at", "top", "under"):
            assert np.array_equal(getattr(found, name), getattr(wanted, name), equal_nan=True), name
        for name in ("volume", "right", "along"):  # summed tile by tile; angles of cells on one ray
            assert getattr(found, name) == pytest.approx(getattr(wanted, name), abs=1e-9, nan_ok=True), name


def test_replay__field_of_every_shape_is_that_of_the_cut():
    rng = np.random.default_rng(4)
    for number, cutter in SHAPES.items():
        places = np.column_stack([rng.uniform(-2, 32, 40), rng.uniform(-2, 22, 40), rng.uniform(3, 13, 40)])
        moves = path(places, number)
        assert_same(
            replay(blank(), moves, {number: cutter}, IDENTITY).field,
            cut(blank(), moves, {number: cutter}, IDENTITY).field,
        )


def winding(seed, step, n=160):
    """A ball's way of short lines with turns of any angle, up and down, some back on themselves."""
    rng = np.random.default_rng(seed)
    heading = np.cumsum(rng.normal(0.0, 0.4, n) + np.where(rng.random(n) < 0.05, np.pi, 0.0))
    ways = np.column_stack([np.cos(heading), np.sin(heading), rng.normal(0.0, 0.6, n)]) * step
    ways[rng.random(n) < 0.05, :2] = 0.0  # straight up or down
    places = np.array([15.0, 10.0, 8.0]) + np.concatenate([np.zeros((1, 3)), np.cumsum(ways, axis=0)])
    return np.clip(places, [3.0, 3.0, 0.3], [27.0, 17.0, 11.0])


@pytest.mark.parametrize("turn", ["none", "about x"])
@pytest.mark.parametrize(("seed", "step"), [(0, 0.02), (1, 0.3), (2, 1.5), (3, 0.3), (4, 6.0)])
def test_replay__lines_that_carry_on_from_each_other(seed, step, turn):
    moves, frame = path(winding(seed, step)), turned(turn, *SIZE)
    cutters = {1: Cutter(1, "ball", 5.0)}
    # On such cells the ends of lines lie on centres and the rim over others.
    for cell in (0.25, 0.1):
        start = blank_field(blank_lattice(*SIZE[:2], cell), *SIZE)
        field, rows = one_by_one(start, moves, cutters, frame)
        found = replay(start, moves, cutters, frame)
        assert_same(found.field, field)
        assert found.volume == pytest.approx([row[0] for row in rows], abs=1e-4)
        assert found.depth == pytest.approx([row[1] for row in rows], abs=1e-6)


def test_replay__lines_of_one_level_over_each_other():
    # What the second pass crosses the first has lowered as far: nothing more is taken there.
    places = [[5, 5, 9], [25, 5, 9], [25, 8, 9], [5, 8, 9], [5, 8, 8.5], [25, 5, 8.5], [25, 8, 9], [5, 5, 9]]
    moves, cutters = path(places, 1), {1: Cutter(1, "flat", 6.0)}
    field, rows = one_by_one(blank(), moves, cutters)
    found = replay(blank(), moves, cutters, IDENTITY)
    assert_same(found.field, field)
    assert found.volume == pytest.approx([row[0] for row in rows], abs=1e-3)
    assert found.volume[-1] == 0


def test_replay__same_bits_for_threads_and_tiles():
    moves = job(7, n=200)
    shanks = {1: Cutter(1, "ball", 6.0, cutting_length=3.0, shank=8.0), 2: CUTTERS[2], 3: CUTTERS[3]}
    first = replay(blank(), moves, shanks, IDENTITY)
    before = numba.get_num_threads()
    try:
        for threads, tile in ((1, 64), (2, 16), (2, 37)):
            numba.set_num_threads(min(threads, before))
            other = replay(blank(), moves, shanks, IDENTITY, tile=tile)
            assert_same(other.field, first.field)
            assert np.array_equal(other.depth, first.depth)
            assert np.array_equal(other.rub_depth["shank"], first.rub_depth["shank"])
            assert np.array_equal(other.rub_at["shank"], first.rub_at["shank"], equal_nan=True)
            assert other.volume == pytest.approx(first.volume, rel=1e-12)  # summed tile by tile
    finally:
        numba.set_num_threads(before)
    assert (first.rub_depth["shank"] > 0).any()


def test_volume__slot_is_length_times_section():
    """A slot 4 mm wide and 2 mm deep, 20 mm from blank edge to blank edge: 20 x 4 x 2 mm3, in two steps."""
    field = blank_field(blank_lattice(30.0, 20.0, 0.1), 30.0, 20.0, 12.0)
    moves = path([(15, -4, 14), (15, -4, 11), (15, 24, 11), (15, 24, 10), (15, -4, 10)], 2)
    found = replay(field, moves, {2: Cutter(2, "flat", 4.0)}, IDENTITY)
    assert found.volume == pytest.approx([0, 20 * 4, 0, 20 * 4], rel=1e-6)
    assert found.depth.tolist() == [0, 1, 0, 1]
    assert (found.at[1, 0] - 15) ** 2 < 4


def test_volume__ball_plunge_is_a_cap():
    """A ball of radius 3 plunged 2 mm takes pi h^2 (R - h / 3) (handbook formula of the spherical cap)."""
    for cell, rel in ((0.1, 3e-3), (0.05, 1e-3)):
        field = blank_field(blank_lattice(30.0, 20.0, cell), 30.0, 20.0, 12.0)
        moves = path([(15, 10, 14), (15, 10, 10)])
        (volume,) = replay(field, moves, {1: Cutter(1, "ball", 6.0)}, IDENTITY).volume
        assert volume == pytest.approx(np.pi * 4 * (3 - 2 / 3), rel=rel)


def rub(cutter, places, cell=0.2, cutters=None):
    """What neck, shank or holder go into along straight moves: {part: depths}."""
    field = blank_field(blank_lattice(30.0, 20.0, cell), 30.0, 20.0, 12.0)
    found = replay(field, path(places, cutter.number), {cutter.number: cutter} | (cutters or {}), IDENTITY)
    return {part: depth.tolist() for part, depth in found.rub_depth.items()}, found


def test_rub__slot_deeper_than_the_edges_are_long():
    """9 mm deep with edges of 5 mm: the shank, as thick as the cutter, runs 4 mm deep into the wood ahead."""
    short = Cutter(1, "flat", 6.0, cutting_length=5.0, shank=6.0)
    rubs, found = rub(short, [(-5, 10, 14), (-5, 10, 3), (35, 10, 3)])
    assert rubs["shank"] == [0, 4]
    assert found.rub_at["shank"][1, 2] == 12
    # In two steps of 4.5 mm it clears its own way.
    assert rub(short, [(-5, 10, 7.5), (35, 10, 7.5), (35, 10, 3), (-5, 10, 3)])[0]["shank"] == [0, 0, 0]


def test_rub__what_is_higher_than_the_edges_meets_even_a_thin_neck():
    long = Cutter(1, "flat", 6.0, cutting_length=5.0, neck=3.0, neck_length=20.0, shank=6.0)
    rubs, _ = rub(long, [(-5, 10, 14), (-5, 10, 3), (35, 10, 3)])
    assert rubs == {"neck": [0, 4], "shank": [0, 0]}
    bare = Cutter(1, "flat", 6.0, cutting_length=5.0)
    assert rub(bare, [(-5, 10, 14), (-5, 10, 3), (35, 10, 3)])[0] == {"shank": [0, 4]}


def test_rub__plunge_clears_its_way_but_not_beside_it():
    same = Cutter(1, "drill", 6.0, cutting_length=5.0, shank=6.0)
    thick = Cutter(1, "drill", 6.0, cutting_length=5.0, shank=10.0)
    thin = Cutter(1, "drill", 6.0, cutting_length=5.0, shank=4.0)
    down = [(15, 10, 14), (15, 10, 2), (15, 10, 14)]
    assert rub(same, down)[0]["shank"] == [0, 0]
    assert rub(thin, down)[0]["shank"] == [0, 0]
    assert rub(thick, down)[0]["shank"] == [5, 5]  # top 12, the shank begins at 2 + 5; on the way up too


def test_rub__ramp_meets_the_wood_where_it_arrives():
    """Down a ramp of 1 in 2 the shank's height over a place ahead is that at which it gets there.

    At (x, 10) ahead the front of the shank arrives when the axis is at x - 3, the tip at 12 - (x - 3) / 2
    and the shank 2 mm above it: 7.95 mm deep for the last cell centre before 23, at most 8 beside it.
    """
    short = Cutter(1, "flat", 6.0, cutting_length=2.0, shank=6.0)
    depth, found = rub(short, [(0, 10, 12), (20, 10, 2)], 0.2)
    assert 7.95 - CLEAR <= depth["shank"][0] <= 8
    assert np.hypot(*(found.rub_at["shank"][0, :2] - (20, 10))) == pytest.approx(3, abs=0.15)


def test_rub__holder_cone_over_a_wall():
    """A holder that widens from 20 to 40 mm over 10 mm: over a place 15 mm off its axis it is 5 mm up."""
    deep = Cutter(1, "flat", 4.0, cutting_length=6.0, shank=4.0, stick_out=6.0, holder=((20.0, 40.0, 10.0),))
    field = blank_field(blank_lattice(30.0, 20.0, 0.2), 30.0, 20.0, 12.0)
    # All but a wall at the right edge is low already.
    x = field.lattice.x()
    field.upper[:, x < 20.0] = 1.0
    moves = path([(5, 10, 2), (5.1, 10, 2)])
    found = replay(field, moves, {1: deep}, IDENTITY)
    # At x 20.1 and y 10.1: 15.0 off the end of the path; the holder is at 2 + 6 + (15 - 10) = 13 there.
    assert found.rub_depth["holder"][0] == 0
    found = replay(field, path([(5, 10, 0), (5.1, 10, 0)]), {1: deep}, IDENTITY)
    away = np.hypot(20.1 - 5.1, 0.1)
    assert found.rub_depth["holder"][0] == pytest.approx(12 - (6 + away - (10 - CLEAR)), abs=2e-3)


@pytest.mark.parametrize("seed", range(4))
def test_rub__against_positions_one_after_the_other(seed):
    """Each straight move stepped in 0.01 mm: the shank may not be where wood still stands at that moment."""
    rng = np.random.default_rng(seed)
    cutter = Cutter(1, "flat", 3.0, cutting_length=2.0, shank=5.0, stick_out=5.0, holder=((9.0, 14.0, 3.0),))
    places = np.column_stack([rng.uniform(0, 30, 7), rng.uniform(0, 20, 7), rng.uniform(4, 12, 7)])
    places[3, :2] = places[2, :2]
    field = blank_field(blank_lattice(30.0, 20.0, 0.5), 30.0, 20.0, 12.0)
    moves = path(places)
    found = replay(field, moves, {1: cutter}, IDENTITY)
    x, y = np.meshgrid(field.lattice.x(), field.lattice.y())
    h = field.upper.astype(float).copy()
    for k, (a, b) in enumerate(pairwise(places)):
        worst = {"shank": 0.0, "holder": 0.0}
        steps = int(np.ceil(np.linalg.norm(b - a) / 0.01))
        for s in np.linspace(0, 1, steps + 1):
            px, py, pz = a + s * (b - a)
            r = np.hypot(x - px, y - py)
            # The cutting part is there as soon as what is above it.
            h = np.where(r <= cutter.radius, np.minimum(h, pz), h)
            shank = np.where(r <= 2.5 - CLEAR, h - np.maximum(pz + 2.0, 0), 0)
            up = 5.0 + np.maximum(r - (4.5 - CLEAR), 0) * 3.0 / 2.5
            holder = np.where(r <= 7.0 - CLEAR, h - np.maximum(pz + up, 0), 0)
            worst["shank"] = max(worst["shank"], shank.max())
            worst["holder"] = max(worst["holder"], holder.max())
        for part, value in worst.items():
            # A step of 0.01 mm sees a little less, on a slope of up to 8 mm over the shortest way here.
            assert value - 1e-4 <= found.rub_depth[part][k] <= value + 0.05


def test_rub__along_an_arc_and_from_below():
    short = Cutter(1, "flat", 6.0, cutting_length=5.0, shank=6.0)
    arc = make_moves(
        kind=[LINE, ARC],
        start=[(25, 10, 14), (25, 10, 3)],
        end=[(25, 10, 3), (5, 10, 3)],
        centre=[(0, 0), (15, 10)],
        sweep=[0, np.pi],
        tool=[1, 1],
    )
    for turn in ("none", "about x"):
        field = blank_field(blank_lattice(30.0, 20.0, 0.2), 30.0, 20.0, 12.0)
        found = replay(field, arc, {1: short}, turned(turn, 30.0, 20.0, 12.0))
        assert found.rub_depth["shank"].tolist() == [0, 4]
        assert found.rub_at["shank"][1, 2] == (12 if turn == "none" else 0)
        # A second time along it, nothing stands in the way: walls are as far as the cutter is wide.
        again = replay(found.field, arc, {1: short}, turned(turn, 30.0, 20.0, 12.0))
        assert again.rub_depth["shank"].tolist() == [0, 0]
        assert again.volume.tolist() == [0, 0]


def chronological_depths(field, moves):
    """Plain loop: each move in turn against what stands; sampled heights, no formula of the cut."""
    x, y = np.meshgrid(field.lattice.x(), field.lattice.y())
    points = np.stack([x.ravel(), y.ravel()], 1)
    upper, lower = field.upper.astype(float).ravel(), field.lower.astype(float).ravel()
    depths = np.zeros(len(moves))
    for i in range(len(moves)):
        g = naive.sampled_floor(points, moves[[i]], CUTTERS, 1001)
        depths[i] = max((upper - np.maximum(g, lower)).max(), 0)
        upper = np.minimum(upper, g)
    return depths


def test_depth__as_in_a_plain_chronological_loop():
    moves = job(12, n=45)
    moves = moves[moves.tool == 1]  # the ball: its heights have no jumps that samples could miss
    field = blank(0.8)
    field.lower[6:13, 6:19] = 6.0
    out = replay(field, moves, CUTTERS, IDENTITY)
    expected = chronological_depths(field, moves)
    assert (expected > 0).sum() >= 2
    assert np.array_equal(out.depth > 0.1, expected > 0.1)
    # Near the rim a ball rises sqrt(2 R h) when its distance is half a step h = 0.016 mm too long.
    assert np.abs(out.depth - expected).max() < np.sqrt(2 * 3 * 0.016)
    assert np.median(np.abs(out.depth - expected)) < 1e-3


@pytest.mark.parametrize("frame", [IDENTITY, turned("about x", *SIZE)])
@pytest.mark.parametrize("moves", [job(14), layers()])
def test_depth__equal_one_cut_for_each_move(moves, frame):
    field = blank()
    field.lower[10:40, 20:60] = 5.0
    field.upper[30:70, 50:100] = 8.0
    out = replay(field, moves, CUTTERS, frame)
    assert np.array_equal(np.isnan(out.at[:, 0]), out.depth == 0)
    state = field
    for i in range(len(moves)):
        after = cut(state, moves[[i]], CUTTERS, frame).field
        if frame.up > 0:
            taken = np.maximum(state.upper - np.maximum(after.upper, state.lower), 0)
        else:
            taken = np.maximum(np.minimum(after.lower, state.upper) - state.lower, 0)
        assert out.depth[i] == taken.max()
        if taken.max() > 0:
            iy, ix = np.unravel_index(np.argmax(taken), taken.shape)
            x, y = field.lattice.centre_of(iy, ix)
            z = max(after.upper[iy, ix], state.lower[iy, ix])
            if frame.up < 0:
                z = min(after.lower[iy, ix], state.upper[iy, ix])
            assert out.at[i] == pytest.approx([x, y, z], abs=1e-9)
        state = after


def test_depth__known_depths():
    field = blank()
    moves = make_moves(
        rapid=[True, True, True, True, False, True],
        start=[[5, 5, 20], [5, 5, 20], [12, 5, 12], [20, 10, 5], [25, 5, 3], [25, 5, 20]],
        end=[[5, 5, 10], [5, 5, 9], [15, 5, 12], [20, 10, -3], [25, 5, 3], [25, 5, 3]],
        tool=[2] * 6,
    )
    out = replay(field, moves, CUTTERS, IDENTITY)
    # Two into solid wood; one deeper in the same hole; a glide along the top; through the bottom (12 mm of
    # wood, not 15); a cut; down the hole that it has made.
    assert out.depth.tolist() == [2, 1, 0, 12, 9, 0]
    assert out.at[0, 2] == 10
    assert out.at[3, 2] == 0
    assert np.hypot(*(out.at[0, :2] - [5, 5])) <= 2


@pytest.mark.parametrize("turn", ["none", "about x", "about y"])
@pytest.mark.parametrize("sense", [1, -1])
def test_replay__side_of_an_upright_arc(turn, sense):
    """A dip along x at y = 20, wood on the low side of y alone: that is on the right on the way to +x."""
    frame = turned(turn, *SIZE)
    length, width, thick = SIZE
    level = thick - 4.0
    rows = [[[-9, width / 2 + 3 + k, level], [length + 9, width / 2 + 3 + k, level]] for k in range(0, 20, 4)]
    away = make_moves(kind=[LINE] * 5, start=[a for a, _ in rows], end=[b for _, b in rows], tool=[1] * 5)
    cutter = {1: Cutter(1, "flat", 6.0), 2: Cutter(2, "ball", 6.0)}
    field = replay(blank(), away, cutter, frame).field
    middle, top = length / 2, thick + 1.0
    ends = [[middle - 10 * sense, width / 2, top], [middle + 10 * sense, width / 2, top]]
    # About a place 20 over the ends: the lowest place is sqrt(500) below it.
    dip = {"kind": [ARC], "plane": [18], "centre": [[top + 20, middle]], "tool": [2]}
    sweep = -2 * sense * np.arctan2(10, 20)
    found = replay(field, make_moves(start=ends[:1], end=ends[1:], sweep=[sweep], **dip), cutter, frame)
    assert found.volume[0] > 10
    assert found.right[0] == pytest.approx(sense * found.volume[0], rel=1e-9)
    # The long way round bulges beyond its ends, and runs both ways.
    over = 2 * np.pi * np.sign(sweep) - sweep
    loop = make_moves(start=ends[:1], end=ends[1:], sweep=[-over], **dip)
    assert replay(field, loop, cutter, frame).right[0] == 0.0
