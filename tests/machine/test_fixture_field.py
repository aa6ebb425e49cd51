"""Fixtures as columns: distances in closed form, meshes against their own points."""

import math

import numpy as np
import pytest
import trimesh

from simkit.cutters import Cutter
from simkit.frames import IDENTITY
from simkit.job.model import Fixture
from simkit.machine.fixture_field import WIDER, fixture_field, path_distance, plan_distance
from simkit.machine.fixtures import fixture_contacts
from simkit.moves.table import ARC, make_moves

BOX = Fixture("box", 20.0, box=((10.0, 5.0), (30.0, 25.0)))
ROUND = Fixture("pin", 20.0, at=(20.0, 15.0), diameter=10.0)
CUTTERS = {1: Cutter(1, "flat", 6.0), 2: Cutter(2, "flat", 1.0)}


@pytest.mark.parametrize(
    ("start", "end", "box", "pin"),
    [
        ((0, 0), (40, 0), 5.0, 10.0),  # along an edge
        ((0, 15), (40, 15), 0.0, -5.0),  # right through
        ((0, 0), (0, 40), 10.0, 15.0),
        ((40, 35), (45, 35), math.hypot(10, 10), math.hypot(20, 20) - 5),  # its near end, the corner
        ((0, 5), (10, -5), 10 / math.sqrt(2), 30 / math.sqrt(2) - 5),  # past the corner at 45 degrees
        ((12, 7), (13, 8), 0.0, math.hypot(7, 7) - 5),  # inside
        ((5, 15), (5, 15), 5.0, 10.0),  # no length
    ],
)
def test_path_distance__closed_forms(start, end, box, pin):
    start, end = np.array([start], float), np.array([end], float)
    for a, b in ((start, end), (end, start)):
        assert path_distance(BOX, a, b) == pytest.approx([box])
        assert path_distance(ROUND, a, b) == pytest.approx([pin])


def test_path_distance__is_the_least_of_its_points():
    rng = np.random.default_rng(0)
    start, end = rng.uniform(-5, 45, (200, 2)), rng.uniform(-5, 45, (200, 2))
    part = np.linspace(0, 1, 2001)[:, None, None]
    places = start + part * (end - start)
    for fixture in (BOX, ROUND):
        least = plan_distance(fixture, places[..., 0], places[..., 1]).min(axis=0)
        # Half a step of the samples along the way at most.
        assert path_distance(fixture, start, end) == pytest.approx(np.maximum(least, -5), abs=0.02)


def ways(y, tool=1, z=10.0):
    """Straight ways along x past both fixtures at several y, one move each."""
    start = np.column_stack([np.full(len(y), -10.0), y, np.full(len(y), z)])
    return make_moves(programs=("a.nc",), start=start, end=start + np.array([60, 0, 0]), tool=[tool] * len(y))


@pytest.mark.parametrize("cell", [0.2, 0.37, 1.0])
@pytest.mark.parametrize("tool", [1, 2])
@pytest.mark.parametrize(("fixture", "edge"), [(BOX, 5.0), (ROUND, 10.0)])
def test_clearance__equal_is_allowed_and_anything_less_is_told(fixture, edge, tool, cell):
    clear = edge - CUTTERS[tool].radius - 2.0
    for y, is_told in ((clear - 0.5, False), (clear, False), (clear + 0.002, True), (clear + 0.3, True)):
        found = fixture_contacts(ways([y], tool), slice(0, 1), IDENTITY, CUTTERS, [fixture], 2.0, cell)
        assert bool(found) == is_told, y
        if found:
            assert found[0].depth == pytest.approx(20 + 2 - 10, abs=1e-4)
    for z, is_told in ((22.0, False), (21.99, True)):
        found = fixture_contacts(ways([15.0], tool, z), slice(0, 1), IDENTITY, CUTTERS, [fixture], 2.0, cell)
        assert bool(found) == is_told, z


def test_clearance__an_arc_round_a_pin_keeps_it():
    for radius, is_told in ((10.0, False), (9.99, True)):
        turn = make_moves(
            programs=("a.nc",), kind=[ARC], start=[[20 + radius, 15, 5]], end=[[20 + radius, 15, 5]],
            centre=[[20, 15]], sweep=[2 * math.pi], tool=[1],
        )  # fmt: skip
        found = fixture_contacts(turn, slice(0, 1), IDENTITY, CUTTERS, [ROUND], 2.0, 0.2)
        assert bool(found) == is_told


def test_equal_moves_before__do_not_hide_one_that_comes_nearer():
    moves = ways([0.0, 0.0, 0.0, 0.05])
    (found,) = fixture_contacts(moves, slice(0, 4), IDENTITY, CUTTERS, [BOX], 2.0, 0.5)
    assert (found.row, found.rows.tolist()) == (3, [3])


def solid(seed):
    """Some closed meshes with steep sides and overhangs, their low corner at (0, 0) on the table."""
    if seed == 0:
        made = trimesh.creation.icosphere(2, radius=6.0)
    elif seed == 1:
        made = trimesh.creation.cone(radius=6.0, height=9.0, sections=17)
    elif seed == 2:  # a gallows: what is under its arm counts as solid
        arm, post = trimesh.creation.box(extents=(12, 3, 2)), trimesh.creation.box(extents=(2, 3, 9))
        arm.apply_translation((0, 0, 8))
        post.apply_translation((-5, 0, 4.5))
        made = trimesh.util.concatenate([arm, post])
    else:
        made = trimesh.creation.box(extents=(12.0, 0.05, 7.0))  # a fin thinner than any cell
        turn = trimesh.transformations.rotation_matrix(0.4, (0, 0, 1))
        made.apply_transform(turn)
    low, _ = made.bounds
    made.apply_translation((-low[0], -low[1], -low[2]))
    return made


@pytest.mark.parametrize("cell", [0.25, 0.7])
@pytest.mark.parametrize("seed", range(4))
def test_mesh__stands_nowhere_higher_than_its_columns(seed, cell):
    made, clearance = solid(seed), 1.0
    x1, y1, z1 = made.bounds[1]
    fixture = Fixture("mesh", z1, box=((0.0, 0.0), (x1, y1)), mesh="a.stl")
    field = fixture_field(fixture, clearance, cell, made.triangles)
    points, _ = trimesh.sample.sample_surface(made, 4000, seed=1)
    angle = np.random.default_rng(2).uniform(0, 2 * np.pi, len(points))
    lattice = field.lattice
    for far in (0.0, clearance / 2, clearance):
        beside = points[:, :2] + far * np.column_stack([np.cos(angle), np.sin(angle)])
        iy, ix = lattice.cell_at(*beside.T)
        assert (field.upper[iy, ix] >= points[:, 2] + clearance - 1e-4).all()
    # And not far from it: where nothing of it is within the clearance and three cells, no column stands.
    x, y = np.meshgrid(lattice.x(), lattice.y())
    standing = field.upper > 0
    dense, _ = trimesh.sample.sample_surface(made, 20000, seed=3)
    places = np.column_stack([x[standing], y[standing]])
    away = np.min(np.linalg.norm(places[:, None, :] - dense[None, ::4, :2], axis=2), axis=1)
    assert away.max() <= clearance + (WIDER + 1.5 * math.sqrt(2)) * cell + 0.5
    assert field.upper.max() == pytest.approx(z1 + clearance, abs=1e-4)


def test_mesh__a_path_past_its_slope_is_no_contact_where_its_box_would_be():
    made = trimesh.creation.cone(radius=10.0, height=20.0, sections=64)
    low, _ = made.bounds
    made.apply_translation((20, 15, -low[2]))
    box = tuple(map(tuple, np.array(made.bounds)[:, :2]))
    fixture = Fixture("cone", 20.0, box=box, mesh="a.stl")
    # It is 10 less half the height wide.  What stands above 9 reaches 10 with the clearance of 1, and 1
    # farther out: 5.5 + 1, and the cutter is 3 wide.  Three cells more at most.
    edge = 15 + 5.5 + 1 + 3
    for y, is_told in ((edge + 0.35, False), (edge - 0.02, True)):
        moves, meshes = ways([y]), {"cone": made.triangles}
        found = fixture_contacts(moves, slice(0, 1), IDENTITY, CUTTERS, [fixture], 1.0, 0.1, meshes)
        assert bool(found) == is_told
        assert fixture_contacts(moves, slice(0, 1), IDENTITY, CUTTERS, [fixture], 1.0, 0.1)
