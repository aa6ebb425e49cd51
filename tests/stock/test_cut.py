"""The cut of whole fields: what must not change the bits, contacts of rapids, sides, windows, problems."""

import numba
import numpy as np
import pytest

from simkit.cutters import Cutter
from simkit.errors import ShapeError
from simkit.frames import IDENTITY, Frame, misplaced, shift, turned
from simkit.moves.table import ARC, LINE, join_moves, make_moves
from simkit.stock import bin_kernels, cut_kernels, pack_kernels, tile_kernels
from simkit.stock import cut as cut_module
from simkit.stock.cut import cut, cut_heights, warm_up
from simkit.stock.field import UNCUT, Field, Lattice, blank_field, blank_lattice
from tests.stock import naive

CUTTERS = {1: Cutter(1, "ball", 6.0), 2: Cutter(2, "flat", 4.0), 3: Cutter(3, "drill", 5.0)}
SIZE = (30.0, 20.0, 12.0)


def job(seed, n=60, grid=0.25):
    """n moves of every kind, some rapid, some alike, places on a coarse grid so that ties happen."""
    rng = np.random.default_rng(seed)

    def place():
        return np.round(np.append(rng.uniform([0, 0], SIZE[:2]), rng.uniform(4, 14)) / grid) * grid

    rows = []
    for _ in range(n):
        tool, rapid = int(rng.integers(1, 4)), bool(rng.random() < 0.3)
        start, end = place(), place()
        kind = rng.integers(0, 6)
        if kind == 0:
            end[:2] = start[:2]
        if kind in (1, 2, 3):
            end[2] = start[2]
        centre, sweep = (0.0, 0.0), 0.0
        if kind in (3, 4):
            centre = start[:2] + rng.choice([-4.0, -1.5, 2.0, 5.0], 2)
            quarter = int(rng.choice([-4, -3, -1, 1, 2, 4]))
            spoke = start[:2] - centre
            for _ in range(quarter % 4):
                spoke = np.array([-spoke[1], spoke[0]])
            end[:2], sweep = centre + spoke, quarter * np.pi / 2
        rows.append((ARC if sweep else LINE, rapid, start, end, centre, sweep, tool))
    rows[n // 2] = rows[3]
    names = ("kind", "rapid", "start", "end", "centre", "sweep", "tool")
    return make_moves(**dict(zip(names, map(list, zip(*rows, strict=True)), strict=True)))


def blank(cell=0.25):
    return blank_field(blank_lattice(*SIZE[:2], cell), *SIZE)


def assert_same(a, b):
    for name in ("lower", "upper", "lower_move", "upper_move"):
        assert np.array_equal(getattr(a, name), getattr(b, name)), name


def cell_heights(lattice, moves, frame, start):
    """Heights (ny, nx) and rows at all cell centres by the function for points."""
    x, y = np.meshgrid(lattice.x(), lattice.y())
    z, rows = cut_heights(np.stack([x.ravel(), y.ravel()], 1), moves, CUTTERS, frame, start)
    return z.reshape(lattice.shape), rows.reshape(lattice.shape)


@pytest.mark.parametrize("seed", range(3))
def test_cut__is_the_lowest_of_its_moves_and_the_first_on_ties(seed):
    moves, field = job(seed), blank()
    alone = np.stack([cell_heights(field.lattice, moves[[i]], IDENTITY, 1e6)[0] for i in range(len(moves))])
    alone = alone.astype(np.float32)
    for order in (np.arange(len(moves)), np.random.default_rng(seed).permutation(len(moves))):
        out = cut(field, moves[order], CUTTERS, IDENTITY, first_row=100).field
        lowest = alone[order].min(axis=0)
        is_cut = lowest < field.upper
        assert np.array_equal(out.upper, np.where(is_cut, lowest, field.upper))
        assert np.array_equal(out.upper_move, np.where(is_cut, alone[order].argmin(axis=0) + 100, UNCUT))
        assert np.array_equal(out.lower, field.lower)
        assert (out.lower_move == UNCUT).all()


def test_cut__agrees_with_a_sampled_walk():
    moves, field = job(7, n=25), blank(1.0)
    out = cut(field, moves, CUTTERS, IDENTITY).field
    x, y = np.meshgrid(field.lattice.x(), field.lattice.y())
    points = np.stack([x.ravel(), y.ravel()], 1)
    sampled = np.minimum(naive.sampled_floor(points, moves, CUTTERS, 1501), SIZE[2]).reshape(out.upper.shape)
    assert (out.upper <= sampled + 2e-6).all()
    # A sample is missed by half a step (under 0.011 mm): 0.02 mm or more in height only near a rim.
    assert np.mean(sampled - out.upper > 0.02) < 0.02


def test_cut__input_is_left_as_it_is():
    moves, field = job(1), blank()
    before = field.copy()
    cut(field, moves, CUTTERS, IDENTITY)
    assert_same(field, before)


@pytest.mark.parametrize("seed", [4, 5])
def test_cut__same_bits_for_any_tile_and_thread_count(seed):
    moves, field = job(seed), blank()
    one = cut(field, moves, CUTTERS, IDENTITY)
    before = numba.get_num_threads()
    try:
        for threads in range(1, numba.config.NUMBA_NUM_THREADS + 1):
            numba.set_num_threads(threads)
            for tile in (5, 16, 64, 300):
                other = cut(field, moves, CUTTERS, IDENTITY, tile=tile)
                assert_same(one.field, other.field)
    finally:
        numba.set_num_threads(before)


def test_cut__split_programs_give_the_same_field():
    moves, field = job(8), blank()
    whole = cut(field, moves, CUTTERS, IDENTITY)
    first = cut(field, moves[:23], CUTTERS, IDENTITY)
    second = cut(first.field, moves[23:], CUTTERS, IDENTITY, first_row=23)
    assert_same(whole.field, second.field)
    # Even the other way round: the lower row keeps a tie.
    second = cut(field, moves[23:], CUTTERS, IDENTITY, first_row=23)
    assert_same(whole.field, cut(second.field, moves[:23], CUTTERS, IDENTITY).field)


def halves(moves):
    """Each straight move as two, each arc as two."""
    parts = []
    for i in range(len(moves)):
        middle = naive.path(moves, i, 3)[1:2]
        for start, end in ((moves.start[i : i + 1], middle), (middle, moves.end[i : i + 1])):
            columns = {name: getattr(moves, name)[i : i + 1] for name in ("kind", "centre", "tool")}
            parts.append(make_moves(start=start, end=end, sweep=moves.sweep[i : i + 1] / 2, **columns))
    return join_moves(parts)


def test_cut__two_half_moves_equal_the_whole():
    moves, field = job(9), blank()
    whole = cut(field, moves, CUTTERS, IDENTITY).field
    split = cut(field, halves(moves), CUTTERS, IDENTITY).field
    # The ends of halves of arcs are rounded; a rim may then gain or lose a cell that it just touches.
    is_off = np.abs(whole.upper - split.upper) > 4e-6
    assert is_off.mean() < 0.002


@pytest.mark.parametrize("turn", ["about x", "about y"])
def test_cut__second_side_is_the_first_seen_in_a_mirror(turn):
    """On dyadic coordinates the two cuts agree to the bit."""
    moves, lying = job(10), blank()
    down = shift(0, 0, -SIZE[2])  # the top face at z = 0, so that a mirrored height is exactly -z
    sunk = Field(lying.lattice, lying.lower - 12, lying.upper - 12, lying.lower_move, lying.upper_move)
    above = cut(sunk, moves, CUTTERS, down).field
    under = cut(lying, moves, CUTTERS, turned(turn, SIZE[0], SIZE[1], 0.0).after(down)).field
    axis = 0 if turn == "about x" else 1
    assert (above.upper < 0).any()
    assert np.array_equal(np.flip(under.lower, axis), -above.upper)
    assert np.array_equal(np.flip(under.lower_move, axis), above.upper_move)
    assert np.array_equal(under.upper, lying.upper)


def test_cut__turned_frame_equals_turned_moves():
    moves, field = job(11), blank()
    frame = shift(3, -2, 0.5).after(misplaced(0.4, 0.3, 0.0, 33.0, (10.0, 8.0)))
    a = cut(field, moves, CUTTERS, frame).field
    b = cut(field, moves.in_frame(frame), CUTTERS, IDENTITY).field
    assert (np.abs(a.upper - b.upper) > 4e-6).mean() < 0.001
    flipped = turned("about x", *SIZE).after(frame)
    a = cut(field, moves, CUTTERS, flipped).field
    z, rows = cell_heights(field.lattice, moves, flipped, 0.0)
    assert np.array_equal(a.lower, z.astype(np.float32))
    assert np.array_equal(a.lower_move == UNCUT, rows == UNCUT)


def test_cut__a_window_has_the_bits_of_the_whole():
    moves = job(15, grid=0.013)
    for cell in (0.1, 0.3, 0.127):
        lattice = Lattice((-0.4, 0.7), cell, 170, 110)
        field = blank_field(lattice, *SIZE)
        whole = cut(field, moves, CUTTERS, IDENTITY).field
        window = lattice.window(13, 77, 31, 118)
        part = cut(blank_field(window, *SIZE), moves, CUTTERS, IDENTITY).field
        assert np.array_equal(part.upper, whole.upper[13:77, 31:118])
        assert np.array_equal(part.upper_move, whole.upper_move[13:77, 31:118])
        # Divided by an odd number, the middle of a cell is still a centre.
        fine = lattice.window(13, 25, 31, 50, divide=3)
        part = cut(blank_field(fine, *SIZE), moves, CUTTERS, IDENTITY).field
        assert np.array_equal(part.upper[1::3, 1::3], whole.upper[13:25, 31:50])


def test_cut__points_have_the_heights_of_the_cells():
    moves, field = job(16, n=200), blank()
    out = cut(field, moves, CUTTERS, IDENTITY).field
    z, rows = cell_heights(field.lattice, moves, IDENTITY, SIZE[2])
    assert np.array_equal(out.upper, z.astype(np.float32))
    assert np.array_equal(out.upper_move == UNCUT, rows == UNCUT)
    # A few points far apart, and a start of their own for each.
    rng = np.random.default_rng(0)
    pick = rng.integers(0, z.size, 7)
    points = np.stack([g.ravel()[pick] for g in np.meshgrid(field.lattice.x(), field.lattice.y())], 1)
    start = np.full(7, 12.0)
    start[3] = 1.0
    few, owners = cut_heights(points, moves, CUTTERS, IDENTITY, start)
    assert np.array_equal(few, np.where(np.arange(7) == 3, 1.0, z.ravel()[pick]))
    assert owners[3] == -1


def test_cut__points_in_crowds_have_the_heights_of_the_plain_sweep():
    """Crowds far apart, more points in each than are looked at together, in any order, with starts."""
    moves, rng = job(19, n=200), np.random.default_rng(3)
    windows = [Lattice((x, y), 0.01, 20, 20) for x, y in ((3.0, 2.0), (14.8, 9.1), (15.3, 9.4), (29.0, 19.0))]
    points, lowest = [], []
    for window in windows:
        x, y = np.meshgrid(window.x(), window.y())
        points.append(np.stack([x.ravel(), y.ravel()], 1))
        lowest.append(cut(blank_field(window, *SIZE), moves, CUTTERS, IDENTITY, is_plain=True).field)
    points = np.concatenate(points)
    plain = np.concatenate([field.upper.ravel() for field in lowest])
    is_cut = np.concatenate([field.upper_move.ravel() for field in lowest]) != UNCUT
    for order in (np.arange(len(points)), rng.permutation(len(points))):
        z, rows = cut_heights(points[order], moves, CUTTERS, IDENTITY, SIZE[2])
        assert np.array_equal(z.astype(np.float32), plain[order])
        assert np.array_equal(rows >= 0, is_cut[order])
        z, _ = cut_heights(points[order], moves, CUTTERS, IDENTITY, 1e6)
        start = z + rng.uniform(-0.5, 0.5, len(z)) * (rng.uniform(size=len(z)) < 0.5)
        again, rows = cut_heights(points[order], moves, CUTTERS, IDENTITY, start)
        assert np.array_equal(again, np.minimum(start, z))
        assert np.array_equal(rows >= 0, z < start)


def test_cut__nothing_to_do():
    field = blank()
    none = make_moves(start=np.zeros((0, 3)), end=np.zeros((0, 3)))
    out = cut(field, none, CUTTERS, IDENTITY)
    assert_same(out.field, field)
    z, rows = cut_heights(np.zeros((0, 2)), job(1), CUTTERS, IDENTITY, 1.0)
    assert z.shape == rows.shape == (0,)
    z, rows = cut_heights(np.ones((2, 2)), none, CUTTERS, IDENTITY, 1.0)
    assert z.tolist() == [1, 1]
    assert rows.tolist() == [-1, -1]
    empty = blank_field(Lattice((0.0, 0.0), 1.0, 0, 0), *SIZE)
    assert cut(empty, job(1), CUTTERS, IDENTITY).evaluations == 0


def test_cut__evaluations_count_the_cells_under_the_cutter():
    """One plunge of a 6 mm ball on 0.05 mm cells: pi R^2 / cell^2 cells, and the edge of the circle."""
    field = blank(0.05)
    plunge = make_moves(start=[[15, 10, 5]], end=[[15, 10, 5]], tool=[1])
    count = cut(field, plunge, CUTTERS, IDENTITY, is_plain=True).evaluations
    assert count == pytest.approx(np.pi * 9 / 0.05**2, rel=0.01)


def test_progress__grows_to_one_and_a_stop_passes_through(monkeypatch):
    monkeypatch.setattr(cut_module, "BATCH", 2000)
    moves, field = job(17), blank()
    seen = []
    out = cut(field, moves, CUTTERS, IDENTITY, progress=seen.append, tile=16)
    assert len(seen) > 5
    assert seen == sorted(seen)
    assert seen[-1] == 1.0
    assert_same(out.field, cut(field, moves, CUTTERS, IDENTITY).field)
    before = field.copy()

    def stop(fraction):
        if fraction > 0.5:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        cut(field, moves, CUTTERS, IDENTITY, progress=stop, tile=16)
    assert_same(field, before)


def test_cut__says_what_it_cannot_use():
    field = blank()
    moves = make_moves(start=[[1, 1, 1], [2, 2, 2]], end=[[1, 1, 1], [2, 2, 2]], tool=[1, 9])
    with pytest.raises(ValueError, match="move 1 calls cutter 9, which is not among the cutters"):
        cut(field, moves, CUTTERS, IDENTITY)
    moves = make_moves(start=[[1, 1, 1], [2, np.nan, 2]], end=[[1, 1, 1], [2, 2, 2]], tool=[1, 1])
    with pytest.raises(ValueError, match="move 1 has a coordinate that is not finite"):
        cut_heights(np.zeros((1, 2)), moves, CUTTERS, IDENTITY, 0.0)
    with pytest.raises(ShapeError, match=r"points are \(3,\), expected \(n, 2\)"):
        cut_heights(np.zeros(3), moves, CUTTERS, IDENTITY, 0.0)
    with pytest.raises(ShapeError, match="points are not all finite"):
        cut_heights(np.full((1, 2), np.inf), moves, CUTTERS, IDENTITY, 0.0)
    wrong = Field(field.lattice, field.lower, field.upper.astype(float), field.lower_move, field.upper_move)
    with pytest.raises(ShapeError, match=r"field.upper is float64 \(80, 120\), expected float32 \(80, 120\)"):
        cut(wrong, moves, CUTTERS, IDENTITY)


def test_warm_up__leaves_nothing_to_compile():
    warm_up()
    modules = (cut_kernels, pack_kernels, bin_kernels, tile_kernels)
    kernels = [getattr(module, name) for module in modules for name in dir(module)]
    kernels = [k for k in kernels if hasattr(k, "signatures")]
    before = [len(k.signatures) for k in kernels]
    field = blank(0.5)
    cut(field, job(18), CUTTERS, turned("about y", *SIZE), first_row=5, progress=lambda _: None)
    cut(field, job(18).in_frame(shift(1, 1)), CUTTERS, Frame(np.eye(3), np.zeros(3)))
    cut_heights(np.ones((3, 2)), job(18), CUTTERS, turned("about x", *SIZE), np.zeros(3))
    assert [len(k.signatures) for k in kernels] == before
