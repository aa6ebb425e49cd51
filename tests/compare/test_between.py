"""Between the samples: scratches narrower than a cell are found, and what is proved holds at any point."""

import numpy as np
import pytest
import trimesh
from scipy.spatial import Delaunay

from simkit.compare.between import unproved_gouges, unproved_leftover
from simkit.compare.sweeps import Sweeps
from simkit.cutters import Cutter
from simkit.frames import IDENTITY, Frame
from simkit.moves.table import ARC, LINE, make_moves
from simkit.stock.field import Lattice
from tests.compare.parts import grid_of, prism, turned_over

CUTTERS = {
    1: Cutter(1, "ball", 6.0),
    2: Cutter(2, "vee", 6.0, point=20.0),
    3: Cutter(3, "flat", 0.1),
    4: Cutter(4, "bull-nose", 6.0, corner=1.0),
}


def slope_part(angle):
    """A wedge: its upper face rises along x by `angle` degrees from z = 10 at x = 0."""
    rise = 40 * np.tan(np.radians(angle))
    return prism([(0, 0), (40, 0), (40, 10 + rise), (0, 10)], 0, 30)


def ball_passes(angle, above=0.02, step=0.5):
    """Passes of the ball along y that leave the slope by `above` at their lowest."""
    x = np.arange(-4, 44, step)
    tip = 10 + x * np.tan(np.radians(angle)) + (3 + above) / np.cos(np.radians(angle)) - 3
    start = np.column_stack([x, np.full(len(x), -4.0), tip])
    return start, start + np.array([0, 38.0, 0])


def job(angle, extra, tool):
    start, end = ball_passes(angle)
    n, m = len(start), len(extra)
    more = np.array(extra, float).reshape(m, 2, 3)
    return make_moves(
        kind=[LINE] * (n + m),
        rapid=[False] * (n + m),
        start=np.vstack([start, more[:, 0]]),
        end=np.vstack([end, more[:, 1]]),
        tool=[1] * n + [tool] * m,
    )


def unproved(moves, part, lattice, deepest, frame=IDENTITY, side=1):
    sweeps = Sweeps([(moves, frame, 0)], CUTTERS, lattice, side)
    asked = np.ones(lattice.shape, bool)
    asked[:, :6] = asked[:, -6:] = asked[:6] = asked[-6:] = False
    found = unproved_gouges(sweeps, grid_of(part), lattice, np.full(lattice.shape, deepest), asked).is_found
    assert not (found & ~asked).any()
    return found, sweeps


@pytest.mark.parametrize("angle", [0, 10, 30, 50, 65])
@pytest.mark.parametrize("cell", [0.4, 1.0])
def test_clean_slopes_are_proved(angle, cell):
    lattice = Lattice((0.0, 0.0), cell, int(40 / cell), int(30 / cell))
    found, _ = unproved(job(angle, [], 1), slope_part(angle), lattice, 0.1)
    assert not found.any()


@pytest.mark.parametrize("angle", [0, 10, 30, 50])
@pytest.mark.parametrize("tool", [2, 3])
def test_a_scratch_narrower_than_a_cell_is_found_where_it_is(angle, tool):
    # 0.25 deep along the normal, along x and up the slope, between the rows of centres; 0.1 wide or less.
    lattice = Lattice((0.0, 0.0), 0.4, 100, 75)
    lean = np.radians(angle)
    x, y = np.array([8.0, 20.0]), 15.2 + 1e-3
    z = 10 + x * np.tan(lean) - 0.25 / np.cos(lean)
    scratch = [[[x[0], y, z[0]], [x[1], y, z[1]]]]
    found, sweeps = unproved(job(angle, scratch, tool), slope_part(angle), lattice, 0.2)
    centres = sweeps.heights(np.column_stack([a.ravel() for a in np.meshgrid(lattice.x(), lattice.y())]))
    face = (10 + lattice.x() * np.tan(lean))[None]
    assert (centres.reshape(lattice.shape) > face - 1e-6).all()  # no sample shows it
    rows, _ = np.nonzero(found)
    assert set(lattice.y()[rows].round(6)) <= {15.0, 15.4}
    under = (lattice.x() > 8.4) & (lattice.x() < 19.6)
    assert found[:, under].any(axis=0).all()
    deepest = 0.25 + 0.05 * np.sin(lean) + 0.03  # the flat one's lower rim, and what FLOOR leaves open
    none, _ = unproved(job(angle, scratch, tool), slope_part(angle), lattice, deepest)
    assert not none.any()


def test_scratch_of_the_second_side_is_found():
    lattice = Lattice((0.0, 0.0), 0.4, 100, 75)
    part = slope_part(10)
    height = 40.0
    turned = turned_over(part, 40, height)
    frame = Frame(np.diag([-1.0, 1.0, -1.0]), np.array([40.0, 0.0, height]))
    scratch = [
        [[8, 15.2, 10 + 8 * np.tan(np.radians(10)) - 0.3], [12, 15.2, 10 + 12 * np.tan(np.radians(10)) - 0.3]]
    ]
    found, _ = unproved(job(10, scratch, 2), turned, lattice, 0.2, frame, 2)
    straight, _ = unproved(job(10, scratch, 2), part, lattice, 0.2)
    assert found.any()
    assert np.array_equal(found[:, ::-1], straight)


@pytest.mark.parametrize("seed", range(8))
def test_what_is_proved_holds_at_random_points(seed):
    # Random lines and arcs of all cutters over a bumpy target, near the limit: no point of a proved cell
    # may be deeper than the limit, and no cell is returned whose points all keep well within it.
    rng = np.random.default_rng(seed)
    grid_x = np.linspace(0, 20, 21)
    x, y = np.meshgrid(grid_x, grid_x)
    z = 10 + 1.5 * np.sin(x / 3) * np.cos(y / 4) + rng.normal(0, 0.05, x.shape)
    points = np.column_stack([x.ravel(), y.ravel(), z.ravel()])
    base = points * np.array([1, 1, 0])
    faces = Delaunay(points[:, :2]).simplices
    n = len(points)
    edges = trimesh.Trimesh(points, faces, process=False)
    rim = edges.edges[trimesh.grouping.group_rows(edges.edges_sorted, require_count=1)]
    walls = np.vstack(
        [
            np.column_stack([rim[:, 1], rim[:, 0], rim[:, 0] + n]),
            np.column_stack([rim[:, 1], rim[:, 0] + n, rim[:, 1] + n]),
        ]
    )
    mesh = trimesh.Trimesh(
        np.vstack([points, base]), np.vstack([faces, faces[:, ::-1] + n, walls]), process=False
    )
    mesh.fix_normals()
    grid = grid_of(mesh)
    count = 60
    tool = rng.integers(1, 5, count)
    start = np.column_stack([rng.uniform(0, 20, (count, 2)), rng.uniform(9, 13, count)])
    end = start + np.column_stack([rng.normal(0, 3, (count, 2)), rng.normal(0, 0.5, count)])
    kind = np.where(np.arange(count) % 6 == 5, ARC, LINE)
    centre = start[:, :2] + 2.0
    end[kind == ARC, :2] = (2 * centre - start[:, :2])[kind == ARC]
    end[kind == ARC, 2] = start[kind == ARC, 2]
    sweep = np.where(kind == ARC, np.pi, 0.0)
    moves = make_moves(
        kind=kind, rapid=[False] * count, start=start, end=end, centre=centre, sweep=sweep, tool=tool
    )
    lattice = Lattice((0.0, 0.0), 0.5, 40, 40)
    sweeps = Sweeps([(moves, IDENTITY, 0)], CUTTERS, lattice, 1)
    limit = 0.3
    asked = np.ones(lattice.shape, bool)
    asked[:3] = asked[-3:] = asked[:, :3] = asked[:, -3:] = False
    found = unproved_gouges(sweeps, grid, lattice, np.full(lattice.shape, limit), asked).is_found
    spots = rng.uniform(1.5, 18.5, (40_000, 2))
    cut = sweeps.heights(spots)
    _, top = grid.heights(spots)
    at = np.column_stack([spots, np.minimum(cut, top)])
    depth = np.where(cut < top, grid.distance(at, 1), 0.0)
    iy, ix = lattice.cell_at(*spots.T)
    assert (depth > limit).sum() > 100
    assert found[iy, ix][depth > limit].all()
    # And what is returned is deep somewhere: 2.5 half edges of the last squares, and the looking itself.
    rows, columns = np.nonzero(found)
    for k in rng.choice(len(rows), 25, replace=False):
        x, y = (lattice.cell * (at + np.linspace(0, 1, 81)) for at in (columns[k], rows[k]))
        spots = np.column_stack([a.ravel() for a in np.meshgrid(x, y)])
        cut, top = sweeps.heights(spots), grid.heights(spots)[1]
        depth = np.where(cut < top, grid.distance(np.column_stack([spots, np.minimum(cut, top)]), 1), 0.0)
        assert depth.max() > limit - 0.025 - 0.02
    assert 0 < np.count_nonzero(found) < np.count_nonzero(asked)


@pytest.mark.parametrize("angle", [0, 10, 30, 50])
def test_a_ridge_narrower_than_a_cell_is_found_where_it_is(angle):
    # Two passes that leave a ridge between two rows of centres, or none.
    part, lattice, lean = slope_part(angle), Lattice((0.0, 0.0), 0.4, 100, 75), np.radians(angle)
    x = np.array([-4.0, 44.0])
    rest = []
    for low, high in ((-4.0, 15.15), (15.25, 34.0)):  # a flat cutter's edge along x leaves 0.1 between
        for y in [*np.arange(low + 3, high - 3, 1.0), high - 3]:
            z = 10 + x * np.tan(lean) + 3 * np.tan(lean)
            rest.append([[x[0], y, z[0]], [x[1], y, z[1]]])
    cutters = {1: Cutter(1, "flat", 6.0)}
    rest = np.array(rest)
    moves = make_moves(
        kind=[LINE] * len(rest),
        rapid=[False] * len(rest),
        start=rest[:, 0],
        end=rest[:, 1],
        tool=[1] * len(rest),
    )
    sweeps = Sweeps([(moves, IDENTITY, 0)], cutters, lattice, 1, start=70.0)
    _, owner = sweeps.cut(
        np.column_stack([a.ravel() for a in np.meshgrid(lattice.x(), lattice.y())]), 70.0, cutters
    )
    asked = np.zeros(lattice.shape, bool)
    asked[10:-10, 6:-6] = True
    most = np.full(lattice.shape, 0.3 + 3 * np.tan(lean))
    found = unproved_leftover(
        sweeps, grid_of(part), lattice, most, owner.reshape(lattice.shape), asked
    ).is_found
    rows, _ = np.nonzero(found)
    assert set(lattice.y()[rows].round(6)) <= {15.0, 15.4}
    assert found[:, 6:-6].any(axis=0).all()
