"""The proof between the samples beside walls that lean over: which are bare, and what that changes."""

import numpy as np
import pytest

from simkit.compare.between import unproved_gouges
from simkit.compare.sweeps import Sweeps
from simkit.cutters import Cutter
from simkit.frames import IDENTITY, Frame
from simkit.moves.table import make_moves
from simkit.stock.field import Lattice
from tests.compare import plain_faces as plain
from tests.compare.parts import grid_of, prism, turned_over

WIDE, DEEP, HIGH, RIM = 40.0, 20.0, 12.0, 30.0  # mm: the blank in plan, the part's height, its rim's x
BALL = 2
LATTICE = Lattice((0.0, 0.0), 0.4, 100, 50)
CUTTERS = {1: Cutter(1, "flat", 6.0), 2: Cutter(2, "ball", 3.0), 3: Cutter(3, "flat", 0.4)}
TURNED = Frame(np.diag([-1.0, 1.0, -1.0]), np.array([WIDE, 0.0, HIGH]))


def along_y(x, z, tool, ends=(-4.0, 24.0)):
    """A move along y at a place and height."""
    return [[x, ends[0], z], [x, ends[1], z], tool]


def sweeps_of(rows, side):
    start, end, tool = zip(*rows, strict=True)
    moves = make_moves(start=np.array(start), end=np.array(end), tool=list(tool))
    return Sweeps(
        [(moves, IDENTITY if side == 1 else TURNED, 0)], CUTTERS, LATTICE, side, HIGH if side == 1 else 0.0
    )


def plain_cut(rows, place):
    """Height of the cut at a place in plan, for level moves in side 1's frame: an offset and a profile."""
    height = np.inf
    for start, end, tool in rows:
        a, b = np.array(start), np.array(end)
        along = (b - a)[:2]
        share = np.clip((place[:2] - a[:2]) @ along / (along @ along), 0, 1)
        away = np.linalg.norm(place[:2] - a[:2] - share * along)
        radius = CUTTERS[tool].diameter / 2
        if away < radius:
            rise = radius - np.sqrt(radius**2 - away**2) if tool == BALL else 0.0
            height = min(height, a[2] + rise)
    return height


def seen_from(side, places):
    """Places of side 1's frame in the blank's."""
    return places if side == 1 else places * np.array([-1, 1, -1]) + np.array([WIDE, 0, HIGH])


@pytest.mark.parametrize("side", [1, 2])
@pytest.mark.parametrize("seed", range(3))
def test_is_bare__level_moves_against_their_profiles(seed, side):
    rng = np.random.default_rng(seed)
    start = np.column_stack([rng.uniform(0, WIDE, 30), rng.uniform(0, DEEP, 30), rng.uniform(3, 11, 30)])
    end = start + np.column_stack([rng.normal(0, 5, (30, 2)), np.zeros(30)])
    rows = list(zip(start, end, rng.integers(1, 4, 30), strict=True))
    places = np.column_stack([rng.uniform(0, WIDE, 900), rng.uniform(0, DEEP, 900), rng.uniform(2, 13, 900)])
    cut = np.array([min(plain_cut(rows, place), HIGH) for place in places])
    places[:300, 2] = cut[:300] + 1e-4 * rng.choice([-1, 1], 300)  # close to the cut
    bare = sweeps_of(rows, side).is_bare(seen_from(side, places))
    assert np.array_equal(bare, cut <= places[:, 2])
    assert 200 < bare.sum() < 700
    assert sweeps_of(rows, side).is_bare(np.zeros((0, 3))).shape == (0,)


def plate(lean):
    """A plate whose right wall leans over by an angle, degrees, from its upper edge at RIM."""
    foot = RIM - HIGH * np.tan(np.radians(lean))
    return prism([(15, 0), (foot, 0), (RIM, HIGH), (15, HIGH)], 0, DEEP)


def unproved(rows, part, most, side):
    """What is not proved to keep within a depth: `between.Unproved`, in the blank's frame."""
    part = part if side == 1 else turned_over(part, WIDE, HIGH)
    asked = np.zeros(LATTICE.shape, bool)
    asked[6:-6, 6:-6] = True
    limit = np.full(LATTICE.shape, most)
    return unproved_gouges(sweeps_of(rows, side), grid_of(part), LATTICE, limit, asked)


def met(rows, part, most, side):
    """The cells that are not proved to keep within a depth, and the largest that was met in each, mm.

    As side 1 sees them.
    """
    found = unproved(rows, part, most, side)
    turned = slice(None, None, 1 if side == 1 else -1)
    return found.is_found[:, turned], found.largest()[:, turned]


@pytest.mark.parametrize("side", [1, 2])
@pytest.mark.parametrize("lean", [0.05, 10.0, 40.0])
def test_a_layer_off_a_leaning_wall_is_as_deep_as_it_is_thick(lean, side):
    # All of the rim within 0.5 of its upper edge is gone, down past the part's foot or into the wall: the
    # wood farthest from the top and the wall lies t from both, t (1 + sin) = 0.5 cos, from the two lines.
    rows = [along_y(RIM - 0.5 + 3.0, -1.0, 1)]
    angle = np.radians(lean)
    depth = 0.5 * np.cos(angle) / (1 + np.sin(angle))
    is_found, largest = met(rows, plate(lean), depth - 0.05, side)
    assert depth - 0.05 < largest.max() <= depth + 1e-6
    assert is_found[8:-8].any(axis=1).all()
    columns = np.flatnonzero(is_found.any(axis=0))
    assert np.all(np.abs(LATTICE.x()[columns] - (RIM - 0.5)) < 0.5 + LATTICE.cell)
    is_found, _ = met(rows, plate(lean), depth + 0.03, side)  # and what FLOOR leaves open
    assert not is_found.any()


@pytest.mark.parametrize("side", [1, 2])
@pytest.mark.parametrize("is_freed", [False, True])
@pytest.mark.parametrize(("within", "deep"), [(0.6, 8.0), (0.05, 1.0)])
def test_a_slit_behind_a_skin_is_as_deep_as_it_went_in(within, deep, is_freed, side):
    # 0.4 wide, from so far within the rim; the wall, 2 degrees over, is 0.3 or 0.015 from its foot.  No wood
    # is gone from the wall itself, nor where another cut frees it without touching it.  The second skin is
    # thinner than a cell: between samples beside the rim the cut would seem to have gone through it.
    rows = [along_y(RIM - within - 0.2, HIGH - deep, 3)]
    if is_freed:
        rows.append(along_y(RIM + 3.0 + 1e-3, -1.0, 1))
    is_found, largest = met(rows, plate(2.0), deep * 0.9, side)
    assert largest.max() == pytest.approx(deep, abs=0.02)
    inner = (LATTICE.y() > deep * 0.9 + 2.4) & (LATTICE.y() < DEEP - deep * 0.9 - 2.4)
    assert is_found[inner].any(axis=1).all()
    is_found, _ = met(rows, plate(2.0), deep + 0.03, side)
    assert not is_found.any()


@pytest.mark.parametrize("side", [1, 2])
@pytest.mark.parametrize("seed", range(4))
def test_cells_beside_a_leaning_wall_against_the_twin(seed, side):
    # Random level moves along and across a wall that leans over; every place asked of the plain twin.
    rng = np.random.default_rng(seed)
    lean, limit = [3.0, 15.0, 30.0, 40.0][seed], 0.4
    rows = [
        along_y(RIM + 3.0 - rng.uniform(0.05, 0.9), rng.uniform(1, 9), 1, (a, a + 6)) for a in (-4, 6, 15)
    ]
    for _ in range(12):
        x, y, z = rng.uniform(RIM - 3, RIM), rng.uniform(3, 17), rng.uniform(6, 11.7)
        rows.append([[x, y, z], [x + rng.normal(0, 1), y + rng.normal(0, 2), z], rng.integers(2, 4)])
    part = plate(lean)

    def is_bare(place):
        return plain_cut(rows, place) <= place[2] + 1e-6

    def depth(x, y):
        cut, underside = plain_cut(rows, np.array([x, y])), HIGH - (RIM - x) / np.tan(np.radians(lean))
        if cut >= HIGH:
            return 0.0, 0.0
        at = np.array([x, y, max(cut, underside, 0.0) + 1e-9])
        return plain.removed(at, part.triangles, 1, is_bare, 301)

    found = unproved(rows, part, limit, side)
    is_found, largest = met(rows, part, limit, side)
    spots = np.column_stack([rng.uniform(RIM - 3.5, RIM, 250), rng.uniform(3, 17, 250)])
    is_deep = np.array([depth(*spot)[0] for spot in spots]) > limit
    iy, ix = LATTICE.cell_at(*spots.T)
    assert is_deep.sum() > 60
    assert is_found[iy, ix][is_deep].all()
    # What was met is as deep as the twin says, at the place told.
    rows_met, columns = np.nonzero(found.largest() > 0)
    for k in rng.choice(len(rows_met), 40, replace=False):
        one = np.zeros(LATTICE.shape, bool)
        one[rows_met[k], columns[k]] = True
        (_, (x, y)) = found.place(one)
        expected, step = depth(x if side == 1 else WIDE - x, y)
        assert expected - 1e-5 <= found.largest()[one][0] <= expected + step + 1e-5
    assert np.count_nonzero(largest) > 0.8 * np.count_nonzero(is_found)
