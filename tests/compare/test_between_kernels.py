"""Squares proved free of gouges and leftover, against brute force over the points of each."""

import numpy as np
import pytest

from simkit.compare.far_faces import Quarters, _may_be_higher
from simkit.compare.sweeps import MANY, Sweeps
from simkit.cutters import Cutter
from simkit.frames import IDENTITY, Frame
from simkit.moves.table import make_moves
from simkit.stock.cut import cut_heights
from simkit.stock.field import Lattice
from tests.compare import plain_squares as plain
from tests.compare.parts import box, grid_of, turned_over
from tests.compare.test_overhang import MUSHROOM
from tests.stock import some_moves
from tests.verdict_jobs import solid

CUTTERS = {
    0: Cutter(0, "flat", 6.0),
    1: Cutter(1, "ball", 6.0),
    2: Cutter(2, "vee", 6.0, point=90.0),
    3: Cutter(3, "bull-nose", 6.0, corner=1.0),
    4: Cutter(4, "tapered ball", 6.0, tip=2.0, taper=10.0),
    5: Cutter(5, "vee", 6.0, point=20.0),
    6: Cutter(6, "flat", 0.2),
    7: Cutter(7, "ball", 4.0).shifted(0.3),
}
ROUNDING = 2e-5  # mm: of a height, twice
HIGH = 40.0  # mm: blank turned over for side 2, and where cuts start
LATTICE = Lattice((-2.0, -2.0), 0.5, 56, 48)
SIDE_2 = Frame(np.diag([-1.0, 1.0, -1.0]), np.array([24.0, 0.0, HIGH]))


def waves(rng, shape, size, rough):
    x, y = np.meshgrid(np.linspace(0, 24, shape[1]), np.linspace(0, 20, shape[0]))
    z = 12 + size * np.sin(x / 4 + rng.uniform(0, 6)) * np.cos(y / 5 + rng.uniform(0, 6))
    return solid(z + rng.normal(0, rough, shape))


def terraces(rng):
    z = np.full((11, 13), 10.0)
    for _ in range(5):
        y, x = rng.integers(0, 8, 2)
        z[y : y + 3, x : x + 4] = rng.uniform(6, 14)
    return solid(z)


def line_near(rng, heights, tool, slope):
    start = rng.uniform([0, 0], [24, 20])
    end = np.clip(start + rng.normal(0, 5, 2), [0, 0], [24, 20])
    z = heights(np.array([start, end])) + rng.normal(0.2, 0.3, 2)
    z[1] = z[0] + np.clip(z[1] - z[0], -1, 1) * slope
    if slope > 0 and rng.random() < 0.15:
        end = start  # a plunge
    return some_moves.line([*start, z[0]], [*end, z[1]], tool)


def arc_near(rng, heights, tool, climb, plane):
    radius, theta = rng.uniform(0.5, 5), rng.uniform(-3, 3)
    sweep = rng.choice([np.pi, 2 * np.pi, rng.uniform(0.3, 6)]) * rng.choice([-1, 1])
    centre = rng.uniform([2, 2], [22, 18])
    z = heights(centre[None])[0] + rng.normal(0.2, 0.3)
    if plane == 17:
        return some_moves.arc(centre, radius, theta, sweep, (z, z + climb), tool)
    # Upright: the circle's lowest place near the target.  G18 has z first, G19 y first.
    middle = (z + radius, centre[0]) if plane == 18 else (centre[1], z + radius)
    third = centre[1] if plane == 18 else centre[0]
    return some_moves.arc(middle, radius, theta, sweep, (third, third + climb), tool, plane)


class Case:
    """A random target and random moves about its surface.

    0: level lines and arcs over gentle waves; 1: sloped lines over them; 2: arcs of all kinds; 3: lines and
    arcs over terraces; 4: the second side of steep waves; 5: a plate with a cap on a stem.
    """

    def __init__(self, seed):
        self.rng = rng = np.random.default_rng(100 + seed)
        self.is_gentle = seed < 3
        self.frame, self.side = (SIDE_2, 2) if seed == 4 else (IDENTITY, 1)
        if seed == 3:
            mesh = terraces(rng)
        elif seed == 5:
            mesh = MUSHROOM
        else:
            mesh = waves(rng, (11, 13), 1.5 if seed == 4 else 0.5, 0.6 if seed == 4 else 0.02)
        upright = np.array(mesh.vertices[mesh.faces], float)  # as the setup sees it
        self.grid = grid_of(turned_over(mesh, 24, HIGH) if seed == 4 else mesh)

        def heights(points):
            return np.maximum(plain.top(points, upright), 4.0)

        moves = []
        for k in range(36):
            tool = int(rng.choice([0, 1, 2, 3] if seed == 0 else list(CUTTERS)))
            if seed == 2 or k % 3 == 2:
                plane = int(rng.choice([17, 18, 19])) if seed > 1 else 17
                moves.append(arc_near(rng, heights, tool, rng.normal(0, 0.5) * (seed > 1), plane))
            else:
                moves.append(line_near(rng, heights, tool, float(seed > 0)))
        names = ("kind", "plane", "start", "end", "centre", "sweep", "tool")
        columns = {name: np.concatenate([getattr(one, name) for one in moves]) for name in names}
        self.moves = make_moves(rapid=[False] * len(moves), **columns)
        self.sweeps = Sweeps([(self.moves, self.frame, 0)], CUTTERS, LATTICE, self.side, self.start)
        self.triangles = np.array(self.grid.target.vertices[self.grid.target.triangles], float)
        self.slope = plain.steepest(self.triangles)

    @property
    def start(self):
        return HIGH if self.side == 1 else 0.0

    @property
    def sign(self):
        return 1.0 if self.side == 1 else -1.0

    def top(self, points):
        """The target along the side's axis at points (..., 2), -inf beside it."""
        return plain.top(points.reshape(-1, 2), self.triangles, self.sign).reshape(points.shape[:-1])

    def cut(self, points, moves=None, start=None):
        """The cut along the side's axis at points (..., 2), from the blank's face or another start."""
        start = self.start if start is None else start
        moves = self.moves if moves is None else moves
        z, row = cut_heights(points.reshape(-1, 2), moves, CUTTERS, self.frame, start)
        return self.sign * z.reshape(points.shape[:-1]), row.reshape(points.shape[:-1])

    def in_setup(self, points):
        """Points (k, 2) as the program sees them, for twins that walk the paths."""
        return points if self.side == 1 else points * np.array([-1, 1]) + np.array([24, 0])

    def squares(self, count, most):
        """Squares x, y, half (count,), each inside one bucket of the sweeps."""
        rng, edge = self.rng, self.sweeps.bucket
        half = np.exp(rng.uniform(np.log(0.03), np.log(most), count))
        corner = np.array(LATTICE.origin) + edge * rng.integers(0, self.sweeps.shape[::-1], (count, 2))
        at = corner + half[:, None] + rng.uniform(0, 1, (count, 2)) * (edge - 2 * half[:, None])
        return *at.T, half


def has_to_settle(away, slope, half):
    """What planes of triangles over a square's own box, and a reference plane, may give away, mm.

    A reference plane differs from its middle by at most sqrt 2 half slope; a triangle's plane less it, over
    the part of its box in the square, by twice that for each of the two slopes.
    """
    return away + 7 * np.sqrt(2) * half * slope


@pytest.mark.parametrize("levels", [0, 3])
@pytest.mark.parametrize("seed", range(6))
def test_lower_squares__against_brute_force(seed, levels):
    case = Case(seed)
    n = 1 << levels
    x, y, half = case.squares(400 if levels == 0 else 20, 2.0 if levels else 0.5)
    below = case.rng.normal(0.3, 0.3, (len(x), n, n))
    below[case.rng.random(below.shape) < 0.1] = np.inf
    below[case.rng.random(below.shape) < 0.05] = -np.inf
    low, slopes = case.sweeps.lowest(x, y, half, below, levels, case.grid)
    px, py, e = (part.ravel() for part in plain.parts(x, y, half, n))
    low, below = low.ravel(), below.ravel()
    points = plain.over(px, py, e, 9)
    top = case.top(points)
    cut, row = case.cut(points, start=case.sign * 1e6)
    cut = np.where(row >= 0, cut, np.inf)
    is_asked = below < np.inf
    is_deep = (top > -np.inf) & (cut < np.inf) & (top - cut > below[:, None] + ROUNDING) & is_asked[:, None]
    # Nothing that is beyond anywhere is settled, and no such sweep lies below what is returned.
    assert not np.isnan(low[is_deep.any(axis=1)]).any()
    assert (low[:, None] <= cut + ROUNDING)[is_deep].all()
    slopes, away = slopes.reshape(-1, 2), points - np.column_stack([px, py])[:, None]
    plane = (low + e * np.abs(slopes).sum(axis=1))[:, None] + (away * slopes[:, None]).sum(axis=2)
    assert (plane <= cut + ROUNDING)[is_deep].all()
    assert np.isnan(low[~is_asked]).all()
    assert is_deep.any(axis=1).sum() > 30
    assert (np.isnan(low) & is_asked).sum() > 30
    if seed == 0:  # level moves: over a disc about a part the bound is exact
        away, middles = e * np.sqrt(2), np.column_stack([px, py])
        least = plain.lowest_within(middles, away, case.moves, CUTTERS)
        is_left = ~np.isnan(low)
        lean = np.sqrt(2) * e * case.slope
        assert (low >= least - 2 * lean - 2e-3)[is_left].all()
        inner = (px - e > 0.5) & (px + e < 23.5) & (py - e > 0.5) & (py + e < 19.5)
        inner &= np.isfinite(below)
        allowed = np.where(inner, below, 0.0) - has_to_settle(2e-3, case.slope, e)
        is_within = inner & (least + allowed > top.max(axis=1))
        assert is_within.sum() > 30
        assert np.isnan(low[is_within]).all()


@pytest.mark.parametrize("seed", range(6))
def test_lower_squares__of_one_tile_against_brute_force_and_each_by_itself(seed, monkeypatch):
    # Squares of 0.25 mm side by side: tiles down to 1 mm hold many of them, others few.
    case = Case(seed)
    column, row = np.divmod(case.rng.permutation(96 * 80), 80)
    is_asked = (case.rng.random(len(row)) < 0.15) | (column < 32) & (row < 32)
    x, y = (LATTICE.origin[axis] + 0.25 * (at[is_asked] + 8.5) for axis, at in enumerate((column, row)))
    half, below = np.full(len(x), 0.125), case.rng.normal(0.3, 0.3, (is_asked.sum(), 2, 2))
    below[case.rng.random(below.shape) < 0.1] = np.inf
    order, shared = case.sweeps._by_tiles(x, y, half)
    assert np.array_equal(np.sort(order), np.arange(len(x)))
    assert set(shared) == {1, 2, 3}  # a bucket is 8 mm wide
    for halving in (1, 2, 3):
        mine, edge = order[shared[order] >= halving], case.sweeps.bucket / (1 << halving)
        tile = np.floor((np.column_stack([x, y])[mine] - LATTICE.origin) / edge)
        changes = np.flatnonzero((np.diff(tile, axis=0) != 0).any(axis=1))
        count = np.diff(np.r_[-1, changes, len(mine) - 1])
        assert len(np.unique(tile, axis=0)) == len(count)  # those of a tile follow each other
        assert (count >= MANY).all()
    low, _ = case.sweeps.lowest(x, y, half, below, 1, case.grid)
    alone = np.arange(len(x)), np.zeros(len(x), np.int64)
    monkeypatch.setattr(case.sweeps, "_by_tiles", lambda *squares: alone)
    single, _ = case.sweeps.lowest(x, y, half, below, 1, case.grid)
    # A tile may settle what a square by itself does not, never the other way round.
    assert np.isnan(low[np.isnan(single)]).all()
    is_left = ~np.isnan(low)
    assert (low >= single - 1e-9)[is_left].all()
    assert is_left.sum() > 30
    px, py, e = (part.ravel() for part in plain.parts(x, y, half, 2))
    points = plain.over(px, py, e, 5)
    cut, row = case.cut(points, start=case.sign * 1e6)
    cut = np.where(row >= 0, cut, np.inf)
    top, below, low = case.top(points), below.ravel()[:, None], low.ravel()
    is_deep = (top > -np.inf) & (cut < np.inf) & (top - cut > below + ROUNDING) & (below < np.inf)
    assert not np.isnan(low[is_deep.any(axis=1)]).any()
    assert (low[:, None] <= cut + ROUNDING)[is_deep].all()


@pytest.mark.parametrize("seed", range(6))
def test_may_be_higher__against_brute_force(seed):
    case = Case(seed)
    x, y, _ = case.squares(400, 0.5)
    may = np.abs(case.rng.normal(0.4, 0.4, len(x)))
    at = np.full((len(x), 4), np.nan)
    keep = _may_be_higher(case.sweeps, case.grid, x, y, 0.2, may, at)
    points = plain.over(x, y, 0.2, 9)
    top, (cut, _) = case.top(points), case.cut(points)
    is_high = ((top > -np.inf) & (cut - top > may[:, None] + ROUNDING)).any(axis=1)
    assert keep[is_high].all()
    assert keep[np.isnan(at[:, 3])].all()  # large beside the square: not asked
    assert is_high.sum() > 30
    assert (~keep).sum() > 5
    middles = case.cut(np.column_stack([x, y]))[0]
    is_known = ~np.isnan(at[:, 3])
    assert np.array_equal(at[is_known, 3], middles[is_known])


@pytest.mark.parametrize(("tool", "gap"), [(0, 1e-3), (1, 5e-3), (2, 0.15), (3, 1.5e-2), (7, 8e-3)])
def test_lower_squares__of_one_sloped_line_are_close_to_its_lowest(tool, gap):
    # Over a level target: the tangent plane and convexity, each move by itself.  Gaps by e^2 / r of the
    # ball and twice that of the corner, on slopes; at the vee's edge by twice the rise over half a square.
    rng = np.random.default_rng(tool)
    grid = grid_of(box((-10, -10, -5), (40, 40, 0)))
    e = 0.05
    for _ in range(40):
        ends = rng.uniform([0, 0, 1], [24, 20, 4], (2, 3))
        ends[1, :2] = ends[0, :2] + 9 * np.array([np.cos(ends[1, 0]), np.sin(ends[1, 0])])
        moves = some_moves.line(*ends, tool)
        sweeps = Sweeps([(moves, IDENTITY, 0)], CUTTERS, Lattice((-12.0, -12.0), 0.5, 100, 100), 1)
        share, across = rng.uniform(0.4, 0.6), rng.uniform(-1.5, 1.5)
        along = (ends[1] - ends[0])[:2] / 9
        at = ends[0, :2] + 9 * share * along + across * np.array([-along[1], along[0]])
        x, y = (np.floor(at / 0.1) + 0.5)[:, None] * 0.1  # inside one bucket: its edges are whole numbers
        low = sweeps.lowest(x, y, np.array([e]), np.full((1, 1, 1), -np.inf), 0, grid)[0][0, 0, 0]
        points = plain.over(x, y, e, 11)[0]
        least = cut_heights(points, moves, CUTTERS, IDENTITY, HIGH)[0].min()
        assert least - gap <= low <= least + ROUNDING


@pytest.mark.parametrize("half", [0.05, 0.25, 0.8])
@pytest.mark.parametrize("seed", range(6))
def test_upper_squares__against_brute_force(seed, half):
    case = Case(seed)
    rng = case.rng
    x, y, _ = case.squares(300, 1.0)
    middles = np.column_stack([x, y])
    owner = case.cut(middles)[1].astype(np.int64)
    owner = np.where(rng.random(len(x)) < 0.15, rng.integers(-1, len(case.moves), len(x)), owner)
    above = rng.normal(0.5, 0.5, len(x))
    up, slopes = case.sweeps.highest(x, y, half, above, owner, case.grid)
    points = plain.over(x, y, half, 9)
    top, (cut, _) = case.top(points), case.cut(points)
    is_high = (top > -np.inf) & (cut - top > above[:, None] + ROUNDING)
    assert not np.isnan(up[is_high.any(axis=1)]).any()
    is_left = ~np.isnan(up)
    assert (cut <= up[:, None] + ROUNDING)[is_left].all()
    plane = (up - half * np.abs(slopes).sum(axis=1))[:, None] + (
        (points - middles[:, None]) * slopes[:, None]
    ).sum(axis=2)
    assert (cut <= plane + ROUNDING)[is_left].all()
    assert is_high.any(axis=1).sum() > 30
    if not case.is_gentle:
        return
    # How high at most: a line's own sweep over the corners, else what a cutter drawn in would leave.
    away = np.full(len(x), half * np.sqrt(2))
    bound = np.minimum(case.start, plain.drawn_in(middles, away, case.moves, CUTTERS))
    for k in np.flatnonzero((owner >= 0) & (case.moves.sweep[owner] == 0)):
        own, row = case.cut(points[k, [0, 8, 72, 80]], case.moves[owner[k] : owner[k] + 1], HIGH)
        bound[k] = own.max() if (row >= 0).all() else bound[k]
    lean = np.sqrt(2) * half * case.slope
    assert (up <= bound + 2 * lean + 1e-4)[is_left].all()
    inner = (x - half > 0.5) & (x + half < 23.5) & (y - half > 0.5) & (y + half < 19.5)
    is_within = bound + has_to_settle(1e-4, case.slope, half) < top.min(axis=1) + above
    if half < 0.5:
        assert (is_within & inner).sum() > 20
    assert np.isnan(up[is_within & inner]).all()


@pytest.mark.parametrize("seed", [1, 2, 4])
def test_sweeps_cut__is_that_of_the_moves_wherever_it_is_asked(seed):
    # Packed once, in buckets over the lattice: also few places close together, and some beside the lattice.
    case = Case(seed)
    wide = case.rng.uniform([-6, -6], [34, 28], (500, 2))
    for points in (wide, wide[:1] + case.rng.uniform(0, 0.3, (60, 2)), wide[:0]):
        z, row = cut_heights(points, case.moves, CUTTERS, case.frame, case.start)
        found, owner = case.sweeps.cut(points, case.sign * case.start)
        assert np.array_equal(found, case.sign * z)
        assert np.array_equal(owner, row)
    assert (case.sweeps.cut(wide, case.sign * case.start)[1] >= 0).sum() > 100


def test_quarters__are_asked_once_and_are_those_of_each_square(monkeypatch):
    case = Case(1)
    x, y, _ = case.squares(40, 1.0)
    below = case.rng.normal(0.3, 0.3, len(x))
    quarters = Quarters(case.sweeps, case.grid, x, y, 0.2, below)
    expected = case.sweeps.lowest(x, y, np.full(40, 0.2), below.repeat(4).reshape(-1, 2, 2), 1, case.grid)
    asked = []
    lowest = case.sweeps.lowest
    monkeypatch.setattr(case.sweeps, "lowest", lambda x, *rest: asked.append(len(x)) or lowest(x, *rest))
    for rows in (np.array([7, 3, 30]), np.arange(20), np.arange(40)[::-1]):
        for found, wanted in zip(quarters.lowest(rows), expected, strict=True):
            assert np.array_equal(found, wanted[rows], equal_nan=True)
    assert asked == [3, 18, 19]
    assert (~np.isnan(expected[0])).sum() > 10
