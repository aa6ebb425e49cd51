"""Bounds of sweeps over blocks: never above, close below; and what is cut by them is the plain cut."""

import numba
import numpy as np
import pytest

from simkit.frames import IDENTITY, turned
from simkit.moves.table import ARC, join_moves, make_moves
from simkit.stock import bound_kernels, list_kernels
from simkit.stock import cut as cut_module
from simkit.stock.cut import cut
from simkit.stock.field import Lattice, blank_field, blank_lattice
from tests.stock import naive
from tests.stock.from_python import from_python
from tests.stock.some_moves import CUTTERS, SHAPES, heights, random_arc, random_line, random_upright

EVERYWHERE = np.array([-1e3, 1e3, -1e3, 1e3, 1e9])
add_move, close_list = from_python(list_kernels.add_move), from_python(list_kernels.close_list)
bounds = numba.njit(error_model="numpy")(bound_kernels.bounds)
SIZE = (40.0, 30.0, 12.0)


def bounds_of(moves, tool, middle, half, lean, margin, is_leaf):
    """(n, 7) of what bounds write of every piece of one move over a block about a place, and the best."""
    packed = cut_module.Packed(moves, {tool: CUTTERS[tool]}, IDENTITY, EVERYWHERE, 0, 0)
    lists = np.full(200 * list_kernels.GROUP, np.nan, np.float32)
    n = add_move(lists, 0, 0.0, 0.0, 0.0, 60.0, 0, 0, packed.codes[0], packed.records, 0.02)
    close_list(lists, 0, n)
    count = -(-n // list_kernels.LANES)
    groups = np.arange(count, dtype=np.int32)
    cutter = CUTTERS[tool]
    support = cut_module.support_of(cutter)
    best = bounds(
        lists, 0, n, groups, count, *middle, half, half, *lean, cutter.code, support, margin, is_leaf
    )
    table = lists.reshape(-1, list_kernels.GROUP // list_kernels.LANES, list_kernels.LANES).transpose(0, 2, 1)
    names = ("LOWEST", "SLOPE_X", "SLOPE_Y", "BEND_X", "BEND_Y", "BEND_AT", "LEVEL")
    columns = [getattr(list_kernels, name) // list_kernels.LANES for name in names]
    return table.reshape(-1, table.shape[2])[:n][:, columns].astype(float), best


def margin_of(moves, radius):
    """The margin of the head of bound_kernels for coordinates of one move, and 60 mm about it."""
    return 64 * 2.0**-24 * (np.abs([moves.start, moves.end]).max() + 60 + radius)


@pytest.mark.parametrize("is_leaf", [False, True])
@pytest.mark.parametrize("tool", CUTTERS)
@pytest.mark.parametrize("make", [random_line, random_arc, random_upright])
def test_bounds__are_planes_below_the_sweep(make, tool, is_leaf):
    rng = np.random.default_rng(tool)
    radius = CUTTERS[tool].radius
    gaps = []
    for _ in range(25):
        moves = make(rng, tool)
        middle = moves.start[0, :2] + rng.uniform(0, 1) * (moves.end[0] - moves.start[0])[:2]
        middle = middle + rng.uniform(-1.3, 1.3, 2) * radius
        extent = rng.choice([0.15, 0.75, 1.5])
        off = np.concatenate([[[0, 0]], rng.uniform(-extent, extent, (30, 2))])
        off[1:5] = extent * np.array([[1, 1], [1, -1], [-1, 1], [-1, -1]])
        g = heights(np.round(middle + off, 9), moves)
        off = np.round(middle + off, 9) - middle
        margin = margin_of(moves, radius)
        lean = rng.uniform(-1, 1, 2) * rng.choice([0.0, 0.5, 3.0])
        planes, best = bounds_of(moves, tool, middle, extent, lean, margin, is_leaf)
        under = planes[:, :1] + planes[:, 1:3] @ off.T
        if is_leaf:
            under += (planes[:, 3:5] @ off.T - planes[:, 5:6]) ** 2
            under = np.maximum(under, planes[:, 6:])
        below = np.where(planes[:, :1] > 1e29, np.inf, under).min(axis=0)
        assert (below <= g).all()
        if best >= 0:
            assert np.isfinite(g).all()
        if make is random_line and np.isfinite(g[0]) and is_leaf:
            # At the middle of a block without extent there is but one place to touch the sweep.
            planes, _ = bounds_of(moves, tool, middle, 0.0, lean, margin, is_leaf)
            below = max(planes[0, 0] + planes[0, 5] ** 2, planes[0, 6])
            gaps.append(g[0] - below - margin * (1 + np.abs(planes[0, 1:3]).sum()))
    if gaps:
        # The plane is as good as tangent, also at kinks; near a rim and on steep paths it is not.
        assert np.median(gaps) < 1e-4


def adversarial(rng, tool, kind):
    """Moves that nearly draw, are far longer than a tile, stand upright, or repeat each other."""
    n = 120
    x, y = rng.uniform(0, SIZE[0], n), rng.uniform(0, SIZE[1], n)
    length, turn = rng.uniform(0.2, 3.0, n), rng.uniform(0, 2 * np.pi, n)
    if kind == "floor":
        z0 = 6.0 + rng.integers(0, 3, n) * 1e-7
        z1, turn = z0.copy(), rng.integers(0, 4, n) * np.pi / 2
        x, y = np.round(x, 1), np.round(y, 1)
    elif kind == "long":
        length = rng.uniform(100, 3000, n)
        z0, z1 = rng.uniform(4, 14, (2, n))
        x, y = x - 0.5 * length * np.cos(turn), y - 0.5 * length * np.sin(turn)
    elif kind == "steep":
        z0 = rng.uniform(2, 12, n)
        z1 = z0 + rng.choice([-1, 1], n) * length * 10.0 ** rng.uniform(0, 9, n) * 1e-3
        z1 = np.clip(z1, -20, 40)
        length = length * 10.0 ** rng.uniform(-9, 0, n)
    else:
        z0 = z1 = np.round(rng.uniform(4, 11, n), 0)
        turn = np.where(rng.random(n) < 0.5, 0.0, np.pi / 2)
    start = np.stack([x, y, z0], 1)
    end = np.stack([x + length * np.cos(turn), y + length * np.sin(turn), z1], 1)
    start[n // 2 :: 7], end[n // 2 :: 7] = start[3], end[3]
    rapid = rng.random(n) < (0.1 if kind != "floor" else 0.0)
    return make_moves(rapid=rapid, start=start, end=end, tool=np.full(n, tool))


def assert_same(a, b):
    for name in ("lower", "upper", "lower_move", "upper_move"):
        assert np.array_equal(getattr(a.field, name), getattr(b.field, name)), name


@pytest.mark.parametrize("tool", SHAPES)
@pytest.mark.parametrize("kind", ["floor", "long", "steep", "level"])
def test_cut__dropping_moves_leaves_the_plain_cut(kind, tool):
    rng = np.random.default_rng(7 * tool)
    lattice = Lattice((-1.3, 0.4), 0.13, 290, 170)
    field = blank_field(lattice, *SIZE)
    for k in range(2):
        moves = adversarial(rng, tool, kind)
        frame = IDENTITY if k == 0 else turned("about x", *SIZE)
        plain = cut(field, moves, SHAPES, frame, is_plain=True, tile=100)
        for tile in (64, 23):
            fast = cut(field, moves, SHAPES, frame, tile=tile)
            assert_same(fast, plain)
        order = rng.permutation(len(moves))
        other = cut(field, moves[order], SHAPES, frame)
        assert np.array_equal(other.field.upper, plain.field.upper)
        assert np.array_equal(other.field.lower, plain.field.lower)
        # A second cut over what the first has left: nothing is pristine any more.
        again = adversarial(rng, (tool + 1) % len(SHAPES), kind)
        assert_same(
            cut(plain.field, again, SHAPES, frame, first_row=500),
            cut(plain.field, again, SHAPES, frame, first_row=500, is_plain=True, tile=40),
        )


@pytest.mark.parametrize("make", [random_arc, random_upright])
@pytest.mark.parametrize("tool", SHAPES)
def test_cut__curves_by_their_chords_leave_the_plain_cut(make, tool):
    rng = np.random.default_rng(31 * tool)
    field = blank_field(Lattice((-9.0, -8.0), 0.17, 110, 95), 40.0, 40.0, 2.0)
    field.upper[:] = 2.0
    moves = join_moves([make(rng, tool) for _ in range(60)])
    plain = cut(field, moves, CUTTERS, IDENTITY, is_plain=True)
    assert_same(cut(field, moves, CUTTERS, IDENTITY), plain)
    assert_same(cut(field, moves, CUTTERS, IDENTITY, tile=17), plain)


@pytest.mark.parametrize("plane", [17, 18, 19])
@pytest.mark.parametrize("tool", SHAPES)
def test_cut__arcs_of_hardly_any_turn_are_their_chords(plane, tool):
    """Sweeps down to what rounding leaves of none: the cut stands at the tip, or follows the third axis."""
    rng = np.random.default_rng(tool)
    for sweep in (1e-300, -1e-17, 3e-16, 1e-12, -0.9e-9, 1.1e-9):
        for rise in (0.0, 1.0):
            u, v = naive.AXES[plane]
            theta, r, tip = rng.uniform(-4, 4), rng.choice([1e-3, 1.0, 30.0]), np.array([9.3, 8.2, 2.0])
            centre = tip[[u, v]] - r * np.array([np.cos(theta), np.sin(theta)])
            end = tip.copy()
            end[3 - u - v] += rise
            moves = make_moves(
                kind=[ARC], plane=[plane], start=[tip], end=[end], centre=[centre], sweep=[sweep], tool=[tool]
            )
            field = blank_field(blank_lattice(20.0, 20.0, 0.5), 20.0, 20.0, 5.0)
            found = cut(field, moves, SHAPES, IDENTITY).field
            plain = cut(field, moves, SHAPES, IDENTITY, is_plain=True).field
            assert np.array_equal(found.upper, plain.upper)
            assert np.array_equal(found.upper_move, plain.upper_move)
            chord = make_moves(start=[tip], end=[end], tool=[tool])
            straight = cut(field, chord, SHAPES, IDENTITY).field
            assert (straight.upper_move == 0).sum() > 15
            assert np.abs(found.upper - straight.upper).max() <= 1e-5


def test_cut__low_rapids_among_thousands_of_passes():
    """A field and owners of the plain cut, on any number of threads."""
    rng = np.random.default_rng(5)
    x = np.arange(0, 40, 0.5)
    tips = np.concatenate(
        [
            np.stack([x if k % 2 else x[::-1], 0 * x + y, 6 + np.sin(x / 3 + y)], 1)
            for k, y in enumerate(np.arange(0, 30, 0.3))
        ]
    )
    start, end = tips[:-1], tips[1:]
    rapid = rng.random(len(start)) < 0.01
    start = np.where(rapid[:, None], start - [0, 0, 0.2], start)
    moves = make_moves(rapid=rapid, start=start, end=end, tool=np.ones(len(start)))
    field = blank_field(Lattice((0.0, 0.0), 0.2, 200, 150), *SIZE)
    plain = cut(field, moves, SHAPES, IDENTITY, is_plain=True)
    assert np.isin(plain.field.upper_move, np.flatnonzero(rapid)).sum() > 20
    before = numba.get_num_threads()
    try:
        for threads in (1, before):
            numba.set_num_threads(threads)
            assert_same(cut(field, moves, SHAPES, IDENTITY), plain)
    finally:
        numba.set_num_threads(before)
