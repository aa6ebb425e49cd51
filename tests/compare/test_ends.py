"""Walls of one side that an underside ends: how deep a cut past such a wall is, in closed form."""

import numpy as np
import pytest

from simkit.compare.deviation import deviation
from simkit.compare.overhang import removed_below
from simkit.stock.field import Lattice
from simkit.target.envelope import envelopes
from tests.compare.parts import exact_field, grid_of, prism, turned_field, turned_over
from tests.compare.test_undercut import both_ways

EDGE = 30.0  # mm, where the wall ends, DEEP below the face that the cutter comes from
TOP, DEEP = 12.0, 8.0
IN = 6.0  # mm: so far in the underside runs


def wedge(slope, lean):
    """A plate whose right wall leans over, degrees (negative: stands out), and whose underside falls inward.

    slope: of the underside, degrees.
    """
    high, low = EDGE + DEEP * np.tan(np.radians(lean)), DEEP + IN * np.tan(np.radians(slope))
    outline = [(0, TOP - low), (EDGE - IN, TOP - low), (EDGE, TOP - DEEP), (high, TOP), (0, TOP)]
    return prism(outline, 0, 40)


def past(slope, lean, off, share):
    """Places where a cut `off` too far in at the wall ends, shares of the way from the edge to the underside.

    At share 1 the cut's wall meets the underside, at 0 it is `off` straight in from the edge.
    """
    wall, under = np.radians([lean, slope])
    normal = np.array([-np.cos(wall), np.sin(wall)])  # into the wood, in x and z
    beyond = np.array([-np.sin(wall), -np.cos(wall)])  # on along the wall
    far = off * np.tan(under + wall)  # as wide as the angle over 90 degrees between both
    x, z = np.array([EDGE, TOP - DEEP]) + off * normal + share * far * beyond
    return np.array([[x, 20.0, z]])


def all_bare(places):
    return np.ones(len(places), bool)


@pytest.mark.parametrize("slope", [1.0, 20.0, 34.0])
@pytest.mark.parametrize("lean", [0.0, 0.005, 0.5, 10.0, -0.5, -10.0])
@pytest.mark.parametrize("off", [0.05, 0.4])
@pytest.mark.parametrize("past_it", [0.0, 3.0])
def test_wall__too_far_in_is_as_deep_up_to_the_underside_that_ends_it(slope, lean, off, past_it):
    # What was wall and what is wall now lie `off` apart; the place where the new one meets the underside is
    # off / cos(slope + lean) from the old one's edge, which is 1.2 off for 20 + 10 degrees.
    # Of a wall that leans over more is gone higher up: the place above that is t below the top and t from it.
    slope -= min(lean, 0.0)  # a blunt edge
    wall = np.sin(np.radians(max(lean, 0.0)))
    for side in (1, 2):
        part, flip = wedge(slope, lean), np.array([1.0, 1.0, 1.0])
        at = past(slope, lean, off, 1 - 1e-9)
        known = (off + (TOP - at[0, 2]) * wall) / (1 + wall) if lean > 0 else off
        at[0, 2] -= past_it  # on into the air
        if side == 2:
            part, flip = turned_over(part, 40, TOP), np.array([-1.0, 1.0, -1.0])
        at = at * flip + (np.array([40.0, 0, TOP]) if side == 2 else 0.0)
        grid = grid_of(part)
        found = removed_below(at, grid.distance(at, side), grid, side, all_bare)
        assert found[0] == pytest.approx(known, abs=2e-6)
        assert grid.distance(at, side)[0] >= off / np.cos(np.radians(slope + lean)) - 1e-6


@pytest.mark.parametrize("share", [0.0, 0.3, 0.9])
def test_wall__within_the_part_beyond_its_end_counts_likewise(share):
    grid = grid_of(wedge(20.0, 0.0))
    at = past(20.0, 0.0, 0.4, share)
    assert removed_below(at, grid.distance(at, 1), grid, 1, all_bare)[0] == pytest.approx(0.4, abs=1e-9)


def test_wall__beyond_the_ends_of_its_edge_counts_from_there():
    # The wall carried on is as long as its edge: 0.3 beside it that is hypot(0.4, 0.3).
    grid = grid_of(wedge(20.0, 0.0))
    at = np.array([[EDGE - 0.4, 40.3, TOP - DEEP - 0.1]])
    assert grid.beyond_ends(at, 1, np.array([9.0]))[0] == pytest.approx(0.5, abs=1e-9)


def test_wall__farther_beyond_its_end_than_in_counts_with_that():
    # A cap on a stem: far under the cap a cut into the stem is no cut at the cap's wall.
    grid = grid_of(wedge(1.0, 0.0))
    at = np.array([[EDGE - 0.4, 20.0, TOP - DEEP - 2.0]])
    assert grid.beyond_ends(at, 1, np.array([9.0]))[0] == pytest.approx(2.0, abs=1e-9)


def test_lip__with_a_sharp_rim_still_counts_with_its_thickness():
    # Top and underside meet at 40 degrees: through it, 3 in from the rim, as deep as from its top.
    part = prism(
        [(10, 0), (20, 0), (30, 10 * np.tan(np.radians(40))), (10, 10 * np.tan(np.radians(40)))], 0, 40
    )
    grid = grid_of(part)
    at = np.array([[27.0, 20.0, -5.0]])
    found = removed_below(at, grid.distance(at, 1), grid, 1, all_bare)
    assert found[0] == pytest.approx(3 * np.tan(np.radians(40)), abs=1e-9)
    blunt = grid_of(wedge(20.0, 0.0))
    at = np.array([[EDGE / 2, 20.0, -5.0]])  # and a hole far from its wall as deep as the plate
    thick = DEEP + IN * np.tan(np.radians(20.0))
    found = removed_below(at, blunt.distance(at, 1), blunt, 1, all_bare)
    assert found[0] == pytest.approx(thick, abs=1e-9)


@pytest.mark.parametrize("slope", [0.0, 5.0, 20.0, 44.0, 46.0, 65.0])
@pytest.mark.parametrize("side", [1, 2])
def test_field__of_a_wall_too_far_in_reads_what_old_and_new_surface_are_apart(slope, side):
    # Brute force in section: old wall and underside, the new wall, and what is left, farthest apart.
    off, cell, high = 0.4, 0.05, IN * np.tan(np.radians(slope))
    old = np.array([[(0, 5), (0, 0)], [(0, 0), (off, -off * np.tan(np.radians(slope)))]])
    new = np.array([[(off, 5), old[1][1]]])
    known = both_ways(old, new, np.array([*new, [(old[1][1]), (IN, -high)]]))
    assert known == pytest.approx(off, abs=1e-6)
    part = wedge(slope, 0.0)
    part.apply_translation([0.013, -18, high])
    lattice = Lattice((0.0, 0.0), cell, 800, 60)
    grid = grid_of(part)
    field, _ = exact_field(grid, lattice)
    field.upper[:, lattice.x() > EDGE + 0.013 - off] = -2.0  # right through
    if side == 2:
        grid = grid_of(turned_over(part, 40, TOP))
        field = turned_field(field, 40, TOP)
    found = -np.nanmin(deviation(field, envelopes(grid, lattice), grid, side).normal)
    assert off - cell - 1e-6 <= found <= off + 1e-6
