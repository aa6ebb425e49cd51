"""Zones: which cells they hold, which of two counts, what a zone leaves out."""

import numpy as np
import pytest
from matplotlib.path import Path as Outline

from simkit.compare.zones import Zones, is_inside
from simkit.job.model import Limits, Zone
from simkit.stock.field import Lattice

LATTICE = Lattice((0.0, 0.0), 0.5, 80, 60)
BOX = ((5.0, 5.0), (20.0, 5.0), (20.0, 15.0), (5.0, 15.0))


@pytest.mark.parametrize("seed", range(5))
def test_is_inside__against_a_plotting_library(seed):
    # Outside: matplotlib's point-in-path on random star-shaped outlines.
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.uniform(0, 2 * np.pi, 12))
    radius = rng.uniform(3, 14, 12)
    outline = np.column_stack([20 + radius * np.cos(angle), 15 + radius * np.sin(angle)])
    found = is_inside(LATTICE.x(), LATTICE.y(), tuple(map(tuple, outline)))
    x, y = np.meshgrid(LATTICE.x(), LATTICE.y())
    expected = Outline(outline).contains_points(np.column_stack([x.ravel(), y.ravel()])).reshape(x.shape)
    assert 0 < found.sum() < found.size
    assert np.array_equal(found, expected)


def test_is_inside__a_box_has_its_area_and_neighbours_share_no_cell():
    right = tuple((x + 15, y) for x, y in BOX)
    one, two = (is_inside(LATTICE.x(), LATTICE.y(), outline) for outline in (BOX, right))
    assert one.sum() * LATTICE.cell**2 == 15 * 10
    assert not (one & two).any()
    on_edge = is_inside(np.array([5.0, 20.0]), np.array([5.0, 15.0]), BOX)
    assert on_edge.tolist() == [[True, False], [False, False]]  # half-open both ways


def test_zones__the_later_one_counts_and_sides_are_kept_apart():
    zones = Zones(
        Limits(gouge=0.1, leftover=0.3, finish_allowance=0.2),
        (
            Zone("face", BOX, gouge=0.05),
            Zone("corner", ((5, 5), (10, 5), (10, 10), (5, 10)), side=2, judged=False),
        ),
    )
    upper, lower = zones.index(LATTICE, 1), zones.index(LATTICE, 2)
    assert [int((upper == k).sum()) for k in range(3)] == [4800 - 600, 600, 0]
    assert [int((lower == k).sum()) for k in range(3)] == [4800 - 600, 500, 100]
    gouge, leftover = zones.limits(LATTICE, 2)
    assert set(np.unique(gouge)) == {0.05, 0.1, np.inf}
    assert leftover[lower == 1].tolist() == [0.3] * 500  # left out: that of the whole part
    assert np.isinf(leftover[lower == 2]).all()
    assert zones.rule_at((7.0, 7.0), 1).name == "face"
    assert zones.rule_at((7.0, 7.0), 2).name == "corner"
    assert zones.rule_at((30.0, 7.0), 2).name == "whole part"
    least, most = zones.allowance(LATTICE, 2)
    assert set(np.unique(least[lower == 2])) == {0.0}
    assert set(np.unique(most[lower != 2])) == {0.2}
    # They differ one cell (0.5 > 0.2 mm) on both sides of the border alone: 12 x 12 less 8 x 8 cells.
    assert (least != most).sum() == 12**2 - 8**2


def test_zones__without_allowance_there_is_no_map():
    assert Zones(Limits()).allowance(LATTICE, 1) is None
    assert Zones(Limits(), (Zone("face", BOX, finish_allowance=0.3),)).allowance(LATTICE, 1).max() == 0.3
