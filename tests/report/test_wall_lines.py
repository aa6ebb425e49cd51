"""Walls as lines between columns: straight where the wall is, no farther off than half a column."""

import numpy as np
import pytest
from scipy import ndimage

from simkit.report import colours
from simkit.report.page.scene import SHIFTS, shifts_of
from simkit.report.solid_mesh import _shifts, surface
from simkit.report.wall_lines import MOST
from tests.report.test_scenes import volume

CELL = 0.5


def columns(is_solid, height=4.0):
    return np.zeros(is_solid.shape), np.where(is_solid, height, 0.0)


def corner_shifts(low, high, cell):
    """As drawn: of an empty column all round, which is left out again."""
    ends = [np.pad(np.asarray(end, float), 1) for end in (high, low)]
    return _shifts(ends, ends[0] > ends[1], cell)[1:-1, 1:-1]


def half_plane(slope, shape=(80, 80)):
    """Columns whose centres lie below y = 20.3 + slope x, in cells."""
    iy, ix = np.indices(shape) + 0.5
    return iy < 20.3 + slope * ix


@pytest.mark.parametrize("slope", [0.03, 0.1, 0.25, 0.5, 0.77, 1.0])
def test_shifts__a_wall_askew_is_one_straight_line(slope):
    shape = (100, 80)
    is_solid = half_plane(slope, shape)
    shifts = corner_shifts(*columns(is_solid), 1.0)
    assert np.abs(shifts).max() <= MOST
    y, x = np.nonzero((shifts != 0).any(axis=-1))
    inside = (x > 15) & (x < 65) & (y > 10)  # away from the edges of the blank, which hold the ends
    y, x = y[inside], x[inside]
    off = (y + shifts[y, x, 1] - 20.3 - slope * (x + shifts[y, x, 0])) / np.hypot(1, slope)
    teeth = (y - 20.3 - slope * x) / np.hypot(1, slope)
    # On the line that the columns were cut along, to less than half a tooth; the less askew, the longer.
    assert np.ptp(teeth) > 0.7
    assert np.ptp(off) < 0.3
    assert np.abs(off - off.mean()).mean() < 0.1


@pytest.mark.parametrize("is_gone", [True, False])
@pytest.mark.parametrize("slope", [0.03, 0.1, 0.25, 0.5, 0.77])
def test_middles__of_columns_along_a_wall_askew_come_near_its_line(slope, is_gone):
    """As the view of report and page has them; the wall goes right through, or down to lower wood."""
    is_high = half_plane(slope, (100, 80))
    lower, upper = columns(is_high) if is_gone else (np.zeros((100, 80)), np.where(is_high, 9.0, 2.0))
    along_x, along_y = (one.astype(float) - 128 for one in shifts_of(lower, upper, 1.0))
    y, x = np.nonzero(is_high & ~ndimage.binary_erosion(is_high, border_value=1))
    inside = (x > 15) & (x < 65) & (y > 10)
    y, x = y[inside], x[inside]

    def off(dx, dy):
        return (y + 0.5 + dy - 20.3 - slope * (x + 0.5 + dx)) / np.hypot(1, slope)

    moved, teeth = off(along_x[y, x] / SHIFTS, along_y[y, x] / SHIFTS), off(0, 0)
    assert np.ptp(teeth) > 0.4
    assert np.ptp(moved) < 0.55 * np.ptp(teeth)
    assert moved.std() < 0.55 * teeth.std()
    assert max(np.abs(along_x).max(), np.abs(along_y).max()) <= SHIFTS / 2
    # The wood before it goes along, or the wall would lean.
    assert np.abs(along_y[y + 1, x] - along_y[y, x]).mean() < 0.2 * SHIFTS


def test_middles__of_columns_without_walls_or_along_straight_ones_stay():
    box = np.zeros((30, 30), bool)
    box[5:20, 8:22] = True
    for one in shifts_of(*columns(box), 1.0):
        assert (one == 128).all()
    slope = np.indices((30, 30))[0] * 0.8
    for one in shifts_of(np.zeros((30, 30)), slope + 1, 1.0):
        assert (one == 128).all()


def test_shifts__walls_along_the_cells_slivers_and_single_columns_stay():
    is_solid = np.zeros((30, 30), bool)
    is_solid[15, 3:25] = True
    is_solid[5, 5] = True
    assert not corner_shifts(*columns(is_solid), 1.0)[:, 6:22].any()
    assert not corner_shifts(*columns(is_solid), 1.0)[3:8, 3:8].any()
    box = np.zeros((30, 30), bool)
    box[5:20, 8:22] = True
    assert not corner_shifts(*columns(box), 1.0).any()
    half = np.zeros((120, 30), bool)
    half[:, :12] = True
    assert np.abs(corner_shifts(*columns(half), 1.0)[55:65, 9:15]).max() < 1e-3


def test_shifts__a_step_within_the_wood_is_a_wall_and_a_slope_is_not():
    shape = (60, 60)
    high = np.where(half_plane(0.5, shape), 9.0, 4.0)
    low = np.zeros(shape)
    assert (np.abs(corner_shifts(low, high, 1.0)[25:35, 15:25]).max(axis=-1) > 0.2).any()
    iy, ix = np.indices(shape)
    assert not corner_shifts(low, 4.0 + 2.0 * ix + 3.0 * iy, 1.0)[5:-5, 5:-5].any()


def test_lined__the_surface_stays_closed_and_a_round_post_has_its_volume():
    iy, ix = np.indices((70, 70)) + 0.5
    is_solid = np.hypot(ix - 35, iy - 35) < 24
    low, high = columns(is_solid)
    index = np.full(is_solid.shape, colours.WITHIN, np.int8)
    quads, _ = surface(low, high, index, index, CELL, (3.0, 7.0))
    made, _ = surface(low, high, index, index, CELL, (3.0, 7.0), is_lined=True)
    assert np.abs(made - quads).max() <= MOST * CELL + 1e-5
    # Half a column all round would be 4 % of so thin a post.
    assert volume(made) == pytest.approx(np.pi * (24 * CELL) ** 2 * 4, rel=0.03)
    # Each edge is run both ways the same number of times: closed.
    ends = np.round(made.astype(np.float64), 4)
    edges = {}
    for quad in ends:
        for a, b in zip(quad, np.roll(quad, -1, axis=0), strict=True):
            a, b = tuple(a), tuple(b)
            edges[a, b] = edges.get((a, b), 0) + 1
    assert all(edges.get((b, a), 0) == count for (a, b), count in edges.items() if a != b)
    # Its wall keeps to the circle where the teeth stood in and out by most of a column.
    is_wall = np.ptp(quads[..., 2], axis=1) > 1
    away = [np.hypot(*(one[is_wall][..., :2] - (3 + 35 * CELL, 7 + 35 * CELL)).T) for one in (made, quads)]
    assert np.ptp(away[0]) < 0.6 * CELL
    assert np.ptp(away[1]) > 1.1 * CELL


@pytest.mark.parametrize("slope", [0.2, 0.6, 1.0])
def test_lined__the_rim_of_a_slope_is_a_line_too(slope):
    """A plane that rises along x and y, cut off along an upright wall askew: its rim lies in the plane."""
    iy, ix = np.indices((80, 80)) + 0.5
    is_solid = half_plane(slope, (80, 80)) & (iy > 4) & (iy < 33) & (ix > 4) & (ix < 76)
    high = np.where(is_solid, 60 + 0.9 * ix * CELL - 0.4 * iy * CELL, 0.0)
    index = np.full(high.shape, colours.WITHIN, np.int8)
    for is_lined, most in ((True, 1e-4), (False, None)):
        quads, _ = surface(np.zeros(high.shape), high, index, index, CELL, is_lined=is_lined)
        x, y, z = quads[quads[..., 2].min(axis=1) > 1].reshape(-1, 3).T
        off = np.abs(z - 60 - 0.9 * x + 0.4 * y)
        assert off.max() <= most if is_lined else off.max() > 0.1
