"""A finish allowance shifts the zero of the judgement along the normal: planes, spheres, corners."""

import numpy as np
import pytest
import trimesh

from simkit.compare.allowance import shifted, surface_under
from simkit.compare.closer import closer_look
from simkit.compare.deviation import deviation
from simkit.cutters import Cutter
from simkit.frames import IDENTITY
from simkit.moves.table import make_moves
from simkit.stock.cut import cut
from simkit.stock.field import Lattice, blank_field, blank_lattice
from simkit.target.envelope import envelopes
from tests.compare.parts import TRAY, TRAY_LATTICE, box, exact_field, field_of, grid_of, plan, prism

LEFT = 0.4  # mm left on purpose


def allowance(lattice, value=LEFT):
    return np.full((2, *lattice.shape), value)


def cut_everywhere(field):
    """Say that some move cut every cell: an uncut face is no gouge."""
    field.upper_move[:] = 0
    field.lower_move[:] = 0
    return field


@pytest.mark.parametrize("off", [0.25, 0.0, -0.15, -0.9])
@pytest.mark.parametrize("degrees", [30.0, 55.0, 75.0])
def test_plane__counts_from_the_shifted_plane(off, degrees):
    # A plane sloped by t, cut `off` above the shifted plane: vertically (left + off) / cos t.
    slope = np.radians(degrees)
    run = 12 / np.tan(slope)
    part = prism([(4, 0), (14 + run, 0), (14, 12), (4, 12)], 2, 28)
    grid, lattice = grid_of(part), Lattice((0.0, 0.0), 0.1, 400, 300)
    field, around = exact_field(grid, lattice)
    x, y = plan(lattice)
    is_flat = around.is_part & (x < 14)
    field.upper[around.is_part] += np.float32((LEFT + off) / np.cos(slope))
    field.upper[is_flat] = 12 + LEFT + off
    found = deviation(cut_everywhere(field), around, grid, 1, allowance=allowance(lattice))
    sloped = (x > 15 + 0.1 * run) & (x < 13 + 0.9 * run) & (np.abs(y - 15) < 10)
    flat = (x > 6) & (x < 12) & (np.abs(y - 15) < 10)
    assert sloped.any()
    assert found.normal[sloped] == pytest.approx(off, abs=2e-4)
    for values in (found.normal, found.most):
        assert values[flat] == pytest.approx(off, abs=2e-4)


@pytest.mark.parametrize("off", [0.2, 0.0, -0.3, -0.7])
def test_sphere__counts_from_the_larger_sphere(off):
    # The surface at one distance from a sphere is a sphere; facets of the mesh lie up to a sagitta inside.
    radius = 10.0
    mesh = trimesh.creation.icosphere(6, radius=radius)
    mesh.apply_translation([15, 15, 15])
    sagitta = radius - np.sqrt(radius**2 - mesh.edges_unique_length.max() ** 2 / 3)
    assert sagitta < 0.002
    grid, lattice = grid_of(mesh), Lattice((0.0, 0.0), 0.2, 150, 150)
    around = envelopes(grid, lattice)
    x, y = plan(lattice)
    r = np.hypot(x - 15, y - 15)
    height = np.sqrt(np.maximum((radius + LEFT + off) ** 2 - r**2, 0))
    field = cut_everywhere(field_of(lattice, 15 - height, 15 + height))
    for side in (1, 2):
        found = deviation(field, around, grid, side, allowance=allowance(lattice))
        is_seen = around.is_part & (r < 9.2)  # nearer to the equator air comes from the outer wall's cells
        assert np.nanmax(np.abs(found.normal[is_seen] - off)) <= sagitta + 2e-4


def test_inside_edges__a_perfect_offset_reads_zero():
    # Floor and walls of the tray each 0.4 proud: the edge between them stands sqrt 2 as far, and is right.
    # The rim's outside edge is round in the shifted surface.
    grid = grid_of(TRAY)
    field, around = exact_field(grid, TRAY_LATTICE)
    x, y = plan(TRAY_LATTICE)
    in_pocket = (np.abs(x - 20) < 12 - LEFT) & (np.abs(y - 15) < 7 - LEFT)
    off_wall = np.maximum(np.minimum(12 - np.abs(x - 20), 7 - np.abs(y - 15)), 0)
    edge = 10 + np.sqrt(np.maximum(LEFT**2 - off_wall**2, 0))
    field.upper[:] = np.where(around.is_part, np.where(in_pocket, 3 + LEFT, edge), 0)
    found = deviation(cut_everywhere(field), around, grid, 1, allowance=allowance(TRAY_LATTICE))
    inner = (np.abs(x - 20) < 17) & (np.abs(y - 15) < 12)
    cell = TRAY_LATTICE.cell
    assert np.nanmin(found.normal[inner]) > -1e-4  # off the wall by less than nothing is nowhere
    assert np.nanmax(found.normal[inner]) <= 1e-4
    assert np.nanmax(found.most[inner]) <= np.sqrt(2) * cell + 1e-4  # a wall may stand anywhere in a cell


def test_inside_corner__counts_from_the_shifted_corner():
    # A cutter R along the shifted walls leaves (sqrt 2 - 1) R from the shifted corner.
    radius, cell = 3.0, 0.1
    lattice = Lattice((0.0, 0.0), cell, 400, 300)
    grid = grid_of(TRAY)
    field, around = exact_field(grid, lattice)
    x, y = plan(lattice)
    qx, qy = np.abs(x - 20) - (12 - LEFT - radius), np.abs(y - 15) - (7 - LEFT - radius)
    in_pocket = np.maximum(qx, qy) < radius
    is_cut = in_pocket & (np.hypot(np.maximum(qx, 0), np.maximum(qy, 0)) < radius)
    field.upper[:] = np.where(around.is_part, np.where(is_cut, 3 + LEFT, 10 + LEFT), 0)
    found = deviation(cut_everywhere(field), around, grid, 1, allowance=allowance(lattice))
    exact = (np.sqrt(2) - 1) * radius
    inner = (np.abs(x - 20) < 17) & (np.abs(y - 15) < 12)
    assert exact - 3 * np.sqrt(2) * cell <= np.nanmax(found.normal[inner]) <= exact + np.sqrt(2) * cell
    assert np.nanmax(found.most[inner]) >= exact - np.sqrt(2) * cell


def test_uncut_face__what_it_lacks_is_no_gouge():
    grid = grid_of(box((2, 2, 0), (38, 28, 10)))
    lattice = blank_lattice(40, 30, 0.5)
    field = blank_field(lattice, 40, 30, 10)
    around = envelopes(grid, lattice)
    assert np.nanmin(deviation(field, around, grid, 1, allowance=allowance(lattice)).normal) == 0
    cut_everywhere(field)
    assert np.nanmax(deviation(field, around, grid, 1, allowance=allowance(lattice)).normal) == pytest.approx(
        -LEFT
    )


def test_closer_look__bound_holds_from_the_shifted_plane():
    # A groove of a ball R 1 whose bottom lies 0.25 below the shifted face.
    grid = grid_of(box((0, 0, 0), (40, 30, 10 - LEFT)))
    moves = make_moves(start=[[5.0, 10.07, 9.75]], end=[[35.0, 10.07, 9.75]], tool=[1])

    def recut(lattice):
        return cut(blank_field(lattice, 40.0, 30.0, 10.0), moves, {1: Cutter(1, "ball", 2.0)}, IDENTITY).field

    lattice = blank_lattice(40, 30, 0.2)
    field = recut(lattice)
    found = deviation(field, envelopes(grid, lattice), grid, 1, allowance=allowance(lattice))
    cell = np.unravel_index(np.nanargmin(found.normal), lattice.shape)
    look = closer_look(recut, field, grid, 1, cell, True, allowance=allowance)
    assert abs(look.value + 0.25) <= look.bound
    assert look.bound <= 0.012
    assert np.nanmax(found.normal) <= 1e-6


def test_surface_under__sphere_closed_form():
    mesh = trimesh.creation.icosphere(6, radius=10.0)
    x = np.linspace(-8, 8, 41)
    points = np.column_stack([x, np.zeros_like(x), np.full_like(x, 20.0)])
    for side in (1, 2):
        points[:, 2] = 20.0 if side == 1 else -20.0
        found = surface_under(points, np.full(len(x), 0.5), grid_of(mesh), side)
        assert found == pytest.approx(np.sqrt(10.5**2 - x**2), abs=0.003)


def test_shifted__between_two_allowances_all_is_right():
    both = np.array([[0.0] * 4, [0.5] * 4])
    assert shifted(np.array([-0.2, 0.2, 0.5, 0.8]), both).tolist() == pytest.approx([-0.2, 0, 0, 0.3])
