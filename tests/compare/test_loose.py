"""Pieces that come free: shapes known on paper, and every line cut and labelled one after the other."""

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy import ndimage

from simkit.compare.loose import loose_pieces
from simkit.cutters import Cutter
from simkit.job.model import Blank, Fixture, Holding, Job, Limits, Setup, Zero
from simkit.moves.table import LINE, join_moves, make_moves
from simkit.stock.cut import cut
from simkit.stock.field import blank_field, blank_lattice

LENGTH, WIDTH, THICKNESS = 60.0, 50.0, 8.0
CELL = 0.5
MIDDLE = np.array([30.0, 25.0])
FLAT = {1: Cutter(1, "flat", 4.0)}


def path(places, setup=0, rapid=False):
    """Return straight moves of the cutter through places (n, 3), zero: left front bottom of the blank."""
    places = np.array(places, float)
    n = len(places) - 1
    return make_moves(
        programs=("p",),
        kind=[LINE] * n,
        rapid=[rapid] * n,
        start=places[:-1],
        end=places[1:],
        tool=[1] * n,
        setup=[setup] * n,
        line=np.arange(n) + 1,
    )


def round_places(radius, z, steps=48, turns=1.0, centre=MIDDLE):
    """Return places round a circle, counter-clockwise from its right."""
    turn = np.arange(round(steps * turns) + 1) * (2 * math.pi / steps)
    xy = centre + radius * np.column_stack([np.cos(turn), np.sin(turn)])
    return np.column_stack([xy, np.full(len(turn), float(z))])


def contour(radius, levels, setup=0, steps=48, centre=MIDDLE):
    """Return full circles at each level, and the lift at the end."""
    places = [round_places(radius, z, steps, centre=centre) for z in levels]
    places.append(places[-1][-1:] + np.array([0, 0, 30]))
    return path(np.concatenate(places), setup)


def run(tables, setups=None, is_part=None, cell=CELL, **job):
    """Return what comes free, the job, and what was cut."""
    setups = setups or (Setup("one", (), zero=Zero(face="bottom")),)
    made = Job("j", Blank(LENGTH, WIDTH, THICKNESS), FLAT, setups, **job)
    moves = join_moves(tables)
    edges = np.searchsorted(moves.setup, np.arange(len(setups) + 1))
    rows = [slice(int(a), int(b)) for a, b in pairwise(edges)]
    frames = [setup.frame(made.blank) for setup in setups]
    field = blank_field(blank_lattice(LENGTH, WIDTH, cell), LENGTH, WIDTH, THICKNESS)
    starts, fields = [], []
    for one, frame in zip(rows, frames, strict=True):
        starts.append(field)
        field = cut(field, moves[one], FLAT, frame, first_row=one.start).field
        fields.append(field)
    part = None
    if is_part is not None:
        x, y = np.meshgrid(field.lattice.x(), field.lattice.y())
        part = is_part(x, y)
    return loose_pieces(made, moves, rows, frames, starts, fields, [[]] * len(fields), part), moves, frames


def disc(radius, centre=MIDDLE):
    return lambda x, y: np.hypot(x - centre[0], y - centre[1]) < radius


def replayed(moves, frame, cell=CELL, is_held=None):
    """Cut line after line; return the first row after which 100 mm3 of wood are not held (scipy's pieces)."""
    field = blank_field(blank_lattice(LENGTH, WIDTH, cell), LENGTH, WIDTH, THICKNESS)
    for row in range(len(moves)):
        field = cut(field, moves[row : row + 1], FLAT, frame).field
        # Every column here is whole or gone, or level enough to touch its neighbours: pieces in plan.
        label, _ = ndimage.label(field.upper - field.lower > 0.001)
        held = np.unique(label[:, 0]) if is_held is None else np.unique(label[is_held])
        thick = np.where(np.isin(label, held) | (label == 0), 0.0, field.upper - field.lower)
        if np.bincount(label.ravel(), weights=thick.ravel())[1:].max(initial=0.0) * cell**2 >= 100.0:
            return row
    return None


def test_disc__comes_free_at_the_move_that_line_by_line_tells():
    table = contour(14.0, [5.0, 2.0, -0.5])
    loose, moves, frames = run([table], is_part=disc(12.0))
    (one,) = loose.found
    assert one.row == replayed(moves, frames[0])
    # The third turn is the one that goes through; it closes within the cutter's width of its end.
    assert 2 * 49 + 48 - 3 <= one.row <= 2 * 49 + 48
    assert loose.judged == [False]
    assert one.is_part
    assert not one.at_edge
    # A disc of radius 14 - 2; cells along its rim are taken whole or not at all.
    assert one.volume == pytest.approx(math.pi * 12**2 * 8, abs=one.bound)
    assert one.bound == pytest.approx(
        8 * 12 * 8 * CELL / 2, rel=0.05
    )  # the rim in steps: 8 radii round a disc
    np.testing.assert_allclose(one.size, (24, 24, 8), atol=2 * CELL)
    np.testing.assert_allclose(one.box, (18, 13, 42, 37), atol=CELL)
    assert math.dist(one.at[:2], MIDDLE) < 2 * CELL
    assert one.at[2] == 8
    assert one.touched == one.grazed == -1


@pytest.mark.parametrize("steps", [17, 160])
def test_disc__long_moves_and_short_ones(steps):
    loose, moves, frames = run([contour(14.0, [4.0, -0.5], steps=steps)])
    assert [one.row for one in loose.found] == [replayed(moves, frames[0])]


def test_disc__tabs_hold_it():
    places = round_places(14.0, -0.5)
    places[10:14, 2] = 3.0  # 5 mm of the way stay 3 mm thick
    loose, moves, frames = run([path(places)], is_part=disc(12.0))
    assert loose.found == []
    assert replayed(moves, frames[0]) is None


def test_disc__part_held_from_below_and_frame_not():
    under = Holding("tape", box=((24, 19), (36, 31)))
    loose, *_ = run([contour(14.0, [-0.5])], is_part=disc(12.0), holding=(under,))
    assert loose.judged == [True]
    (one,) = loose.found
    assert one.at_edge
    assert not one.is_part
    everything = Holding("vacuum", outline=((0, 0), (60, 0), (60, 50), (0, 50)))
    loose, *_ = run([contour(14.0, [-0.5])], is_part=disc(12.0), holding=(everything,))
    assert loose.judged == [True]
    assert loose.found == []


def test_disc__a_clamp_on_the_frame_holds_the_frame_alone():
    clamp = Fixture("clamp", 30.0, box=((-20, 20), (6, 30)))
    beside = Fixture("stop", 30.0, box=((-20, 20), (-1, 30)))
    loose, *_ = run([contour(14.0, [-0.5])], is_part=disc(12.0), fixtures=(clamp, beside))
    assert loose.judged == [True]
    assert [one.is_part for one in loose.found] == [True]
    loose, *_ = run([contour(14.0, [-0.5])], is_part=disc(12.0), fixtures=(beside,))
    assert loose.judged == [False]


def test_disc__tape_that_is_cut_away_holds_no_longer():
    # A strip of tape 3 mm wide under the disc, milled through from end to end: then nothing holds it.
    strip = Holding("tape", box=((22, 24), (38, 26)))
    frame = Holding("screw", at=(4, 4), diameter=5)
    slot = path([(20, 25, -0.5), (30, 25, -0.5), (41, 25, -0.5)])
    tables = [contour(14.0, [-0.5]), slot]
    loose, *_ = run(tables, is_part=disc(12.0), holding=(strip, frame))
    # The slot goes on from one rim of the disc to the other and leaves two halves:
    # the second move frees them.
    assert {one.row for one in loose.found} == {len(tables[0]) + 1}
    assert len(loose.found) == 2
    half = math.pi * 12**2 / 2 - 24 * 2
    for one in loose.found:
        assert one.volume / 8 == pytest.approx(half, abs=math.pi * 12 * CELL * 2)


def test_ring__the_core_first_then_the_ring():
    tables = [contour(6.0, [4.0, -0.5]), contour(16.0, [4.0, -0.5])]
    ring = lambda x, y: disc(14.0)(x, y) & ~disc(8.0)(x, y)  # noqa: E731
    loose, moves, frames = run(tables, is_part=ring)
    core, rest = loose.found
    assert core.row == replayed(moves, frames[0])
    assert core.row < len(tables[0]) <= rest.row
    assert (core.is_part, rest.is_part) == (False, True)
    assert core.volume == pytest.approx(math.pi * 4**2 * 8, abs=2 * math.pi * 4 * 8 * CELL)
    assert rest.volume == pytest.approx(math.pi * (14**2 - 8**2) * 8, abs=2 * math.pi * 22 * 8 * CELL)


def test_two_sides__the_second_frees_the_part_and_skins_are_told():
    setups = (
        Setup("one", (), zero=Zero(face="bottom")),
        Setup("two", (), turn="about x", zero=Zero(face="bottom")),
    )
    # 4 mm from above leave 4 mm; 3.7 mm from below then leave a skin of 0.3 mm, and half of it is cut too.
    first = contour(14.0, [4.0])
    skin = contour(14.0, [4.3], setup=1)
    through = contour(14.0, [3.9], setup=1)
    loose, moves, _ = run([first, skin, through], setups, disc(12.0))
    (one,) = loose.found
    assert one.setup == 1
    assert len(first) + len(skin) + 40 < one.row < len(moves)
    assert one.is_part
    assert not one.is_skin
    assert one.at[2] == 0  # the top as it lies there

    loose, moves, _ = run([first, skin], setups, disc(12.0))
    (one,) = loose.found
    assert one.is_skin
    assert one.setup == 1
    assert len(first) + 40 < one.row < len(moves)
    loose, *_ = run([first, skin], setups, disc(12.0), limits=Limits(skin=0.25))
    assert loose.found == []


def test_offcut__lifted_off_before_the_next_setup():
    setups = (Setup("one", (), zero=Zero(face="bottom")), Setup("two", (), zero=Zero(face="bottom")))
    hole = contour(8.0, [-0.5])
    again = path([(10, 25, 2), (50, 25, 2)], setup=1)  # over the place where it lay
    loose, *_ = run([hole, again], setups)
    (one,) = loose.found
    assert one.setup == 0
    assert one.touched == -1


def test_touched__the_first_later_move_that_takes_wood_off_it():
    ring = contour(14.0, [-0.5])
    more = path([(55, 25, 30), (55, 25, 5), (50, 25, 5), (30, 25, 5), (30, 25, 30)])
    loose, *_ = run([ring, more], is_part=disc(12.0))
    (one,) = loose.found
    assert one.touched == len(ring) + 2
    assert one.contact == "cutting part"
    assert one.depth == pytest.approx(3.0)
    assert one.touches == 1


def test_grazed__a_second_turn_deeper_and_not_the_lift():
    ring = contour(14.0, [-0.5, -0.6])
    loose, moves, frames = run([ring], is_part=disc(12.0))
    (one,) = loose.found
    assert one.row == replayed(moves, frames[0])
    assert one.touched == -1
    assert 48 < one.grazed < 54
    wider = contour(14.0, [-0.5])
    away = contour(14.0 + 2 * CELL, [-0.6])
    loose, *_ = run([wider, away], is_part=disc(12.0))
    assert [piece.grazed for piece in loose.found] == [-1]


def test_cut_up_afterwards__told_though_nothing_of_it_is_left():
    ring = contour(8.0, [-0.5])
    rows = [
        (22 + 16 * ((k + 1) // 2 % 2), y, -0.5) for k, y in enumerate(np.repeat(np.arange(18, 33, 3.0), 2))
    ]
    clear = path([(55, 10, 30), (22, 10, 30), *rows])
    loose, moves, frames = run([ring, clear])
    assert len(loose.found) == 1
    one = loose.found[0]
    assert one.row == replayed(moves, frames[0])
    assert one.touched > one.row
    assert one.volume == pytest.approx(math.pi * 6**2 * 8, abs=2 * math.pi * 6 * 8 * CELL)


def test_part_that_nothing_holds_from_the_start():
    setups = (Setup("one", (), zero=Zero(face="bottom")), Setup("two", (), zero=Zero(face="bottom")))
    screws = tuple(Holding("screw", at=at, diameter=5) for at in ((4, 4), (56, 46)))
    shave = path([(30, 25, 6), (33, 25, 6)], setup=1)
    loose, *_ = run([contour(14.0, [-0.5]), shave], setups, disc(12.0), holding=screws)
    assert [(one.setup, one.row >= 0, one.is_part) for one in loose.found] == [
        (0, True, True),
        (1, False, True),
    ]
    assert loose.found[1].touched == 49


def test_crumbs_and_blanks_that_are_never_cut_through__nothing():
    loose, *_ = run([contour(3.5, [-0.5])])  # leaves 1.5 mm x 8 mm: 57 mm3
    assert loose.found == []
    loose, *_ = run([contour(14.0, [4.0])])
    assert loose.found == []


@pytest.mark.parametrize("seed", [3, 8, 21, 34])
def test_random_contours_and_slots__as_line_by_line(seed):
    rng = np.random.default_rng(seed)
    tables = []
    for _ in range(4):
        radius, steps = rng.uniform(4, 12), int(rng.integers(5, 40))
        centre = rng.uniform(radius + 6, [LENGTH - radius - 6, WIDTH - radius - 6])
        tables.append(contour(radius, [4.0, -0.5], steps=steps, centre=centre))
    for _ in range(2):
        line = np.linspace(*rng.uniform(6, [54, 44], (2, 2)), 7)
        tables.append(path(np.column_stack([line, np.full(7, -0.5)])))
    loose, moves, frames = run(tables)
    # Nothing comes nearer than 4 mm to the blank's edge, so the frame is what all others come free of.
    field = blank_field(blank_lattice(LENGTH, WIDTH, CELL), LENGTH, WIDTH, THICKNESS)
    freed: dict[int, float] = {}
    known = np.zeros(field.lattice.shape, bool)
    for row in range(len(moves)):
        field = cut(field, moves[row : row + 1], FLAT, frames[0]).field
        label, count = ndimage.label(field.upper - field.lower > 0.001)
        for number in range(1, count + 1):
            mask = label == number
            volume = float((field.upper - field.lower)[mask].sum()) * CELL**2
            if number != label[0, 0] and volume >= 100 and not known[mask].any():
                freed[row] = volume
                known |= mask
    rows = {one.row for one in loose.found}
    assert rows <= set(freed)
    # A little of it is still taken by the cut that frees it, so one near the limit may be a chip.
    assert {row for row, volume in freed.items() if volume > 180} <= rows
    assert len(rows) >= 2
