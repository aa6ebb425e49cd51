"""Wall thickness against closed forms, a brute-force twin and a general geometry library."""

import math
from dataclasses import replace

import numba
import numpy as np
import pytest
import trimesh

from simkit.compare.thin_spots import look_closer, thin_spots, wall_there
from simkit.compare.wall_looks import hidden_depth
from simkit.compare.walls import LOWER_FACE, UPPER_FACE, surface_points, wall_thickness
from simkit.errors import ShapeError
from simkit.stock.field import Field, Lattice

CELL = 0.25
LATTICE = Lattice((3.0, -2.0), CELL, 120, 88)
X, Y = np.meshgrid(LATTICE.x() - 3.0, LATTICE.y() + 2.0)  # 0 to 30 by 0 to 22 mm
INNER = (slice(24, -24), slice(24, -24))


def walls_of(lower, upper, cap=6.0, **options):
    shape = LATTICE.shape
    return wall_thickness(
        LATTICE, np.broadcast_to(lower, shape), np.broadcast_to(upper, shape), cap, **options
    )


def assert_within_bound(walls, truth, where, slack=2e-5):
    """Every value of the chosen cells is there and lies within its own bound of the truth."""
    value, bound = walls.thickness[where], walls.bound[where]
    assert np.isfinite(value).all()
    assert (np.abs(value - truth) <= bound + slack).all(), np.abs(value - truth).max()


def test_slab__thickness_is_its_height():
    walls = walls_of(0.0, 3.0)
    assert walls.upper == pytest.approx(3.0)
    assert walls.lower == pytest.approx(3.0)
    assert np.isnan(walls.side).all()
    assert walls.bound.max() < 0.03
    assert walls.contact[40, 50] == pytest.approx([3.0 + 50.5 * CELL, -2.0 + 40.5 * CELL, 0.0], abs=1e-5)
    assert walls.near_face[40, 50] == UPPER_FACE
    assert walls.contact_face[40, 50] == LOWER_FACE


@pytest.mark.parametrize("degrees", [10, 30, 45, 60, 75])
def test_tilted_slab__thickness_is_height_times_cosine(degrees):
    tilt = math.tan(math.radians(degrees))
    upright = 2.5 / math.cos(math.radians(degrees))
    lower = tilt * (0.8 * X + 0.6 * Y)  # the steepest way is no axis of the lattice
    walls = walls_of(lower, lower + upright)
    assert_within_bound(walls, 2.5, INNER)
    assert walls.thickness[INNER].min() >= 2.5 - 1e-4  # sampled feet can only overstate
    assert walls.bound[INNER].max() < 0.08


@pytest.mark.parametrize("degrees", [10, 25, 40, 55])
def test_wedge__thickness_is_twice_distance_times_tangent_of_half_angle(degrees):
    # Edge along x = 2; level lower face, so d on it is x - 2 and the ball's diameter 2 d tan(a/2).
    lower = np.where(X > 2.0, 0.0, 1.0)
    upper = np.where(X > 2.0, (X - 2.0) * math.tan(math.radians(degrees)), 0.0)
    walls = walls_of(lower, upper, cap=9.0)
    truth = 2.0 * (X - 2.0) * math.tan(math.radians(degrees) / 2.0)
    where = (X > 3.0) & (truth < 6.0) & (X < 18.0) & (Y > 6.0) & (Y < 16.0)
    seen = walls.lower[where]
    assert np.isfinite(seen).all()
    assert (np.abs(seen - truth[where]) <= walls.bound[where] + 1e-4).all()


def test_wedge__wider_than_sixty_degrees_is_no_wall():
    lower = np.where(X > 2.0, 0.0, 1.0)
    upper = np.where(X > 2.0, (X - 2.0) * math.tan(math.radians(70)), 0.0)
    walls = walls_of(lower, upper, cap=6.0)
    assert np.isnan(walls.thickness[INNER]).all()


def test_hemispherical_shell__thickness_is_that_of_the_shell():
    r2 = (X - 15.0) ** 2 + (Y - 11.0) ** 2
    outer, inner = 10.0, 7.0
    upper = np.sqrt(np.maximum(outer**2 - r2, 0.0))
    lower = np.where(r2 < inner**2, np.sqrt(np.maximum(inner**2 - r2, 0.0)), 0.0)
    lower = np.where(r2 < outer**2, lower, 1.0)
    walls = walls_of(lower, upper)
    r = np.sqrt(r2)
    # Away from the rim: the foot of the ball stands above it. One-sided normals add little here.
    where = (r < 6.0) & (upper > 4.0)
    assert_within_bound(walls, outer - inner, where, slack=0.01)
    steep = (r > 6.0) & (r < 6.6)
    assert_within_bound(walls, outer - inner, steep, slack=0.01)


@pytest.mark.parametrize("degrees", [0, 17, 30, 45, 71, 90])
def test_rib__between_two_pockets_is_as_thick_as_it_is_wide(degrees):
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    across = c * (X - 15.03) + s * (Y - 11.04)
    upper = np.where(np.abs(across) < 1.1, 20.0, 8.0)
    walls = walls_of(0.0, upper)
    middle = np.hypot(X - 15, Y - 11) < 6  # at the edges of the lattice a turned rib ends in a wedge
    rib = (np.abs(across) < 1.1) & middle
    seen = walls.side[rib & np.isfinite(walls.side)]
    assert len(seen) > 50
    bound = walls.bound[rib & np.isfinite(walls.side)]
    assert (np.abs(seen - 2.2) <= bound).all(), (seen.min(), seen.max(), bound.max())
    assert bound.max() < 0.45
    # Both faces were cut from side 1, and the floor of 8 mm is no wall.
    assert (walls.near_face[rib & np.isfinite(walls.side)] == UPPER_FACE).all()
    assert np.isnan(walls.thickness[middle & (np.abs(across) > 2.0)]).all()


@pytest.mark.parametrize(("floor", "cuts"), [(10.5, {3, 5}), (7.0, {7, 5})])
def test_outside_wall__beside_a_pocket_is_found_and_names_both_cuts(floor, cuts):
    # The part's outside stands at x = 6; columns beyond it are empty, cut from side 1 down to 9 (row
    # 3) and from side 2 up to 11 (row 7), so either made the wall up to the middle, z = 10.  A
    # pocket from side 1 (row 5) begins at x = 8; the first thinnest place is just above its floor.
    outside = X < 6.0
    upper = np.where(outside, 9.0, np.where(X > 8.0, floor, 20.0))
    lower = np.where(outside, 11.0, 0.0)
    walls = walls_of(lower, upper)
    wall = (X > 6.0) & (X < 8.0) & (Y > 4.0) & (Y < 18.0)
    seen = wall & np.isfinite(walls.side)
    assert_within_bound(walls, 2.0, seen)
    field = Field(
        LATTICE,
        lower.astype(np.float32),
        upper.astype(np.float32),
        np.where(outside, 7, -1).astype(np.int32),
        np.where(outside, 3, np.where(X > 8.0, 5, -1)).astype(np.int32),
    )
    iy = LATTICE.ny // 2
    edge = int(np.flatnonzero(X[iy] > 6.0)[0])
    assert {int(row) for row in walls.rows(field, iy, edge)} == cuts


@pytest.mark.parametrize("seed", range(3))
def test_thick_block__edges_are_no_walls(seed):
    rng = np.random.default_rng(seed)
    turn = rng.uniform(0, np.pi / 2)
    u = np.cos(turn) * (X - 15) + np.sin(turn) * (Y - 11)
    v = -np.sin(turn) * (X - 15) + np.cos(turn) * (Y - 11)
    inside = (np.abs(u) < 7.0) & (np.abs(v) < 7.0)
    walls = walls_of(np.where(inside, 0.0, 1.0), np.where(inside, 12.0, 0.0))
    assert np.isnan(walls.thickness).all()


def test_small_cusps__on_one_face_do_not_shrink_the_ball():
    # Ridges of 2 mm stepover and a 6 mm ball: h = R - sqrt(R^2 - (s/2)^2).
    floor = 3.0 + 3.0 - np.sqrt(9.0 - (np.mod(X, 2.0) - 1.0) ** 2)
    walls = walls_of(0.0, floor)
    assert walls.thickness[INNER].min() == pytest.approx(3.0, abs=0.01)
    assert (walls.upper[INNER] <= floor[INNER] * 1.06 + 0.01).all()


def test_gap__a_face_beyond_air_does_not_count():
    # A rib with one upright face at x = 4 and a slope of 10 degrees from the level (normals 100
    # degrees apart); beyond a channel stands a second rib with upright faces.
    slope = 10.0 - (X - 4.0) * math.tan(math.radians(10))
    upper = np.where((X > 4.0) & (X < 9.0), slope, 1.0)
    upper = np.where((X > 11.0) & (X < 12.0), 10.0, upper)
    walls = walls_of(0.0, upper, cap=12.0)
    face = (X > 4.0) & (X < 4.0 + CELL) & (Y > 6) & (Y < 16)
    near = walls.contact[face][:, 0] - 3.0
    # From x = 4 the wood ends at x = 9 (its own upright end); nothing beyond may be named.
    assert (near[np.isfinite(near)] < 9.5).all()
    rib = (X > 11.0) & (X < 12.0) & (Y > 6) & (Y < 16)
    assert_within_bound(walls, 1.0, rib & np.isfinite(walls.side))


def brute_force(surface, cap, chosen):
    """Largest ball at the chosen points by halving the radius: no opposed point inside.  (n,) mm."""
    points, normals = surface.points.astype(np.float64), surface.normals.astype(np.float64)
    found = np.full(len(points), np.nan)
    for i in np.flatnonzero(chosen):
        # A ball narrower than the cap holds nothing that lies further away than the cap.
        is_near = (np.abs(points - points[i]) <= cap).all(axis=1)
        opposed = points[is_near & (normals @ normals[i] <= -0.5)]
        low, high = 0.0, cap / 2
        if not (np.linalg.norm(opposed - points[i] - high * normals[i], axis=1) < high - 1e-9).any():
            continue
        for _ in range(36):
            r = (low + high) / 2
            is_in = (np.linalg.norm(opposed - points[i] - r * normals[i], axis=1) < r).any()
            low, high = (low, r) if is_in else (r, high)
        found[i] = low + high
    return found


@pytest.mark.parametrize("seed", range(4))
def test_wall_thickness__agrees_with_brute_force_over_all_points(seed):
    rng = np.random.default_rng(seed)
    lattice = Lattice((0.0, 0.0), 0.3, 37, 23)
    x, y = np.meshgrid(lattice.x(), lattice.y())
    wave = rng.uniform(0.2, 0.9, 4)
    upper = 6.0 + 1.2 * np.sin(wave[0] * x + seed) * np.cos(wave[1] * y)
    lower = 1.0 + 1.2 * np.cos(wave[2] * x) * np.sin(wave[3] * y + seed)
    lower = np.where((x - 5) ** 2 + (y - 4) ** 2 < 4, lower + 2.0, lower)  # a pocket in the floor
    upper = np.where(x > 9.5, upper + 3.0, upper)  # and a step
    surface = surface_points(lattice, lower, upper)
    walls = wall_thickness(lattice, lower, upper, 6.0)
    chosen = surface.owner % 4 == seed  # every fourth cell, with all its points
    found = brute_force(surface, 6.0, chosen)
    slow = np.full(lattice.nx * lattice.ny, np.inf)
    np.fmin.at(slow, surface.owner, np.where(np.isnan(found), np.inf, found))
    fast = np.where(np.isnan(walls.thickness), np.inf, walls.thickness).ravel()
    fast[np.arange(len(fast)) % 4 != seed] = np.inf
    assert np.isfinite(slow).sum() > 120
    both = np.isfinite(slow) & np.isfinite(fast)
    # A value that touches the cap may fall on either side of it by rounding.
    assert (slow[np.isfinite(slow) & ~np.isfinite(fast)] > 5.9999).all()
    assert np.isfinite(slow[np.isfinite(fast)]).all()
    assert np.abs(slow[both] - fast[both]).max() < 2e-4


def test_lens__agrees_with_the_tangent_spheres_of_a_geometry_library():
    # trimesh.proximity.thickness, method max_sphere, on an ellipsoid of 26 x 18 x 5 mm.
    axes = np.array([13.0, 9.0, 2.5])
    mesh = trimesh.creation.icosphere(subdivisions=5)
    mesh.vertices *= axes
    inside = 1.0 - ((X - 15.0) / axes[0]) ** 2 - ((Y - 11.0) / axes[1]) ** 2
    half = axes[2] * np.sqrt(np.maximum(inside, 0.0))
    walls = walls_of(np.where(inside > 0, -half, 1.0), half)
    cells = [(iy, ix) for iy in range(24, 64, 7) for ix in range(30, 90, 7) if inside[iy, ix] > 0.3]
    iy, ix = np.array(cells).T
    high = np.column_stack([X[iy, ix] - 15.0, Y[iy, ix] - 11.0, np.full(len(iy), 50.0)])
    down = np.tile([0.0, 0.0, -1.0], (len(iy), 1))
    hits, rays, _ = mesh.ray.intersects_location(high, down, multiple_hits=False)
    places = np.empty_like(high)
    places[rays] = hits
    spheres = trimesh.proximity.thickness(mesh, places, exterior=False, method="max_sphere")
    agree = np.abs(walls.upper[iy, ix] - spheres) < 0.01
    assert len(agree) == 54
    # The library's iteration can stop at a facet beside the place, then its sphere is too small.
    assert agree.sum() >= 50
    assert (spheres[~agree] < walls.upper[iy, ix][~agree]).all()


def test_wall_thickness__does_not_depend_on_the_number_of_threads():
    upper = 5.0 + np.sin(X) + 4.0 * (np.abs(Y - 11) < 1)
    most = numba.get_num_threads()
    many = walls_of(0.3 * np.cos(Y), upper)
    try:
        numba.set_num_threads(1)
        one = walls_of(0.3 * np.cos(Y), upper)
    finally:
        numba.set_num_threads(most)
    for name in ("thickness", "upper", "lower", "side", "bound", "contact", "contact_cell"):
        assert np.array_equal(getattr(one, name), getattr(many, name), equal_nan=True), name


def test_wall_thickness__turned_over_gives_the_same_turned_over():
    upper = 5.0 + np.sin(X) + 4.0 * (np.abs(Y - 11) < 1)
    lower = 0.3 * np.cos(Y + 0.2)
    walls = walls_of(lower, upper)
    over = walls_of(-upper[::-1], -lower[::-1])
    assert over.thickness[::-1][INNER] == pytest.approx(walls.thickness[INNER], abs=2e-4)
    assert over.upper[::-1][INNER] == pytest.approx(walls.lower[INNER], abs=2e-4)


def test_stride__looks_from_fewer_cells_and_finds_the_same_there():
    lower = 0.1 * X
    every, third = walls_of(lower, lower + 2.0), walls_of(lower, lower + 2.0, stride=3)
    assert np.array_equal(third.thickness[::3, ::3], every.thickness[::3, ::3])
    assert 2 * third.looked.sum() < third.looked.size
    assert np.array_equal(np.isfinite(third.thickness), third.looked)
    assert third.stood_for(third.looked).all()


@pytest.mark.parametrize("first", range(6))
@pytest.mark.parametrize("stride", [2, 3, 4])
def test_stride__steps_over_no_rib_and_no_groove(first, stride):
    """Upright faces hold their points in one column of cells, a groove is as narrow as one cell."""
    row = np.zeros(LATTICE.nx, bool)
    row[40 + first : 47 + first] = True  # a rib 1.75 wide
    for upper in (np.where(row, 20.0, 5.0), np.where(row, 20.0, 5.0)[::-1]):
        upper = np.broadcast_to(upper, LATTICE.shape)
        every, some = walls_of(0.0, upper, cap=4.0), walls_of(0.0, upper, cap=4.0, stride=stride)
        is_thin = np.isfinite(every.side)
        assert is_thin.sum() > 100
        assert np.array_equal(some.side, every.side, equal_nan=True)
        (spot,) = thin_spots(some, None, 3.0, mask=np.isfinite(some.side))
        assert spot.cells == np.isfinite(every.side).sum()
    for depth in (3.0, 0.2):  # with walls, and too shallow for points on them
        upper = np.full(LATTICE.shape, 5.0)
        upper[:, 40 + first] -= depth
        some = walls_of(0.0, upper, cap=6.0, stride=stride)
        assert np.isfinite(some.thickness[:, 40 + first]).sum() * stride >= LATTICE.ny
        assert np.nanmin(some.thickness[:, 40 + first]) == pytest.approx(5.0 - depth, abs=1e-5)


@pytest.mark.parametrize("half", [30.0, 45.0, 60.0])
@pytest.mark.parametrize("turn", [0.0, 20.0, 45.0])
def test_vee_bottoms__face_to_face_lie_within_the_bound_wherever_they_fall(half, turn):
    """Tips 2 mm apart: between centres the surface goes on down as the faces of the vee do."""
    ux, uy = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    looked = np.abs(ux * (X - 15.0) + uy * (Y - 11.0)) < 0.6
    looked[:24] = looked[-24:] = False
    for off in np.linspace(0.0, CELL, 7):
        away = np.abs(ux * (X - 15.0 - off) + uy * (Y - 11.0)) / math.tan(math.radians(half))
        walls = walls_of(np.maximum(5.0 - away, 0.0), np.minimum(7.0 + away, 12.0), cap=4.0, looked=looked)
        least = np.nanargmin(walls.thickness)
        value, bound = walls.thickness.flat[least], walls.bound.flat[least]
        assert abs(value - 2.0) <= bound + 1e-5, (off, value, bound)
        assert bound < 0.7


def test_hidden_depth__of_a_vee_by_brute_force_and_nothing_at_the_foot_of_a_wall():
    """Closed form: a vee's tip lies its slope times its distance below the centre beside it."""
    n = np.arange(12.0)
    for slope in (0.3, 1.0, 1.7):
        for tip in np.linspace(5.5, 6.5, 11):
            z = np.tile(slope * np.abs(n - tip), (12, 1))
            deep = hidden_depth(z, np.ones((12, 12), bool), 1.0, np.array([6]), np.array([6]))
            assert deep == pytest.approx(slope * abs(6 - tip), abs=1e-6)
    solid = np.ones((12, 12), bool)
    for z in (
        np.where(n < 6, 20.0, 0.0),
        np.where(n < 6, 0.3 * (6 - n), 0.0),
        0.3 * n,
        np.minimum(0.0, n - 6),
    ):
        deep = hidden_depth(np.tile(z, (12, 1)), solid, 1.0, np.array([6]), np.array([6]))
        assert deep == pytest.approx(0.0, abs=1e-12)
    solid[:, 7] = False  # the material ends beside it
    assert hidden_depth(np.tile(n, (12, 1)), solid, 1.0, np.array([6]), np.array([6])) == 0.0


def test_looked__tells_the_same_there_and_nothing_elsewhere():
    lower, upper = np.zeros((40, 60)), np.full((40, 60), 8.0)
    upper[10:30, 10:28] = upper[10:30, 34:50] = 2.0
    looked = np.zeros((40, 60), bool)
    looked[5:25, 8:40] = True
    lattice = Lattice((0.0, 0.0), 0.25, 60, 40)
    whole = wall_thickness(lattice, lower, upper, 6.0)
    part = wall_thickness(lattice, lower, upper, 6.0, looked=looked)
    assert np.isfinite(whole.thickness[looked]).sum() > 100
    np.testing.assert_array_equal(part.thickness[looked], whole.thickness[looked])
    np.testing.assert_array_equal(part.bound[looked], whole.bound[looked])
    assert np.isnan(part.thickness[~looked]).all()


def test_edge_of_a_window__is_no_face():
    upper = np.where(X < 2.0, 20.0, 5.0)
    assert np.nanmin(walls_of(0.0, upper, cap=4.0).side) == pytest.approx(2.0, abs=CELL)
    assert np.isnan(walls_of(0.0, upper, cap=4.0, edge_is_face=False).thickness).all()


def planted(depth):
    """A floor of 4 mm with a dish of 6 mm in plan cut `depth` deeper."""
    return np.where((X - 15.0) ** 2 + (Y - 11.0) ** 2 < 9.0, 4.0 - depth, 4.0)


def test_thin_spots__planted_thinning_is_found_with_its_size_and_place():
    target = walls_of(0.0, 4.0, cap=5.0)
    spots = thin_spots(walls_of(0.0, planted(1.5), cap=5.0), target, 3.0)
    assert len(spots) == 1
    (spot,) = spots
    assert not spot.is_by_design
    assert spot.thickness == pytest.approx(2.5, abs=spot.bound)
    assert spot.target == pytest.approx(4.0)
    # Seen from below, balls that touch the rim of the dish count too: (s^2 + 2.5^2)/2.5 < 3.
    assert spot.area == pytest.approx(np.pi * (3.0 + math.sqrt(0.5 * 2.5)) ** 2, rel=0.05)
    assert math.hypot(spot.near[0] - 18.0, spot.near[1] - 9.0) < 3.0
    assert spot.near[2] - spot.contact[2] == pytest.approx(2.5, abs=1e-5)


def test_thin_spots__thin_by_design_is_told_from_thinner_than_the_target():
    target = walls_of(0.0, planted(1.5), cap=5.0)
    (same,) = thin_spots(walls_of(0.0, planted(1.5), cap=5.0), target, 3.0)
    assert same.is_by_design
    worse = thin_spots(walls_of(0.0, planted(2.0), cap=5.0), target, 3.0)
    assert [spot.is_by_design for spot in worse] == [False]
    assert worse[0].thickness == pytest.approx(2.0, abs=worse[0].bound)
    assert worse[0].target == pytest.approx(2.5, abs=1e-5)


def test_thin_spots__mask_leaves_out_what_is_no_part_and_two_spots_stay_two():
    upper = np.where(np.abs(np.abs(X - 15.0) - 8.0) < 2.0, 2.0, 4.0)
    cut = walls_of(0.0, upper, cap=5.0)
    assert len(thin_spots(cut, None, 3.0)) == 2
    assert len(thin_spots(cut, None, 3.0, mask=X < 15.0)) == 1
    assert len(thin_spots(walls_of(0.0, upper, cap=5.0, stride=2), None, 3.0)) == 2
    assert thin_spots(cut, None, 1.5) == []


def test_thin_spots__a_wall_that_straddles_the_limit_is_listed():
    upper = np.where(np.abs(X - 15.0) < 1.55, 20.0, 8.0)
    spots = thin_spots(walls_of(0.0, upper), None, 3.0)
    assert len(spots) == 1
    assert spots[0].thickness - spots[0].bound < 3.0 <= spots[0].thickness + spots[0].bound


def test_look_closer__finds_the_true_width_within_a_smaller_bound():
    def surfaces(lattice):
        x, y = np.meshgrid(lattice.x(), lattice.y())
        across = 0.8 * (x - 18.03) + 0.6 * (y - 9.04)
        return np.zeros(lattice.shape), np.where(np.abs(across) < 1.13, 20.0, 8.0), None

    lower, upper, _ = surfaces(LATTICE)
    inner = np.zeros(LATTICE.shape, bool)
    inner[INNER] = True
    (spot,) = thin_spots(wall_thickness(LATTICE, lower, upper, 4.0), None, 3.0, mask=inner)
    closer = look_closer(spot, LATTICE, surfaces, divide=5)
    assert abs(spot.thickness - 2.26) <= spot.bound
    assert abs(closer.thickness - 2.26) <= closer.bound
    assert closer.bound < 0.3 * spot.bound
    told = {"thickness": 0, "bound": 0, "near": (), "contact": (), "near_face": 0, "contact_face": 0}
    assert replace(closer, **told) == replace(spot, **told)


def half_cut(lattice, thin):
    """A floor 2 thick, `thin` less of it at its left half, where side 1 was not cut; and the field of it.

    Row 3 cut it from below, row 7 its right half from above.
    """
    x = np.broadcast_to(lattice.x() - 3.0, lattice.shape)
    lower, upper = np.zeros(lattice.shape), np.where(x < 15.0, 2.0 - thin, 2.0)
    below, above = np.full(lattice.shape, 3), np.where(x < 15.0, -1, 7)
    surfaces = [one.astype(np.float32) for one in (lower, upper)]
    return lower, upper, Field(lattice, *surfaces, below.astype(np.int32), above.astype(np.int32))


@pytest.mark.parametrize(("thin", "is_tie"), [(0.0, True), (0.004, True), (0.1, False)])
def test_thin_spots__of_places_as_thin_one_is_told_of_which_both_faces_were_cut(thin, is_tie):
    lower, upper, field = half_cut(LATTICE, thin)
    (spot,) = thin_spots(walls_of(lower, upper, cap=4.0), None, 3.0, field=field)
    assert spot.thickness == pytest.approx(2.0 - thin, abs=1e-5)
    assert set(spot.rows) == ({3, 7} if is_tie else {3, -1})
    assert (spot.near[0] - 3.0 > 15.0) == is_tie


@pytest.mark.parametrize(("thin", "is_tie"), [(0.001, True), (0.2, False)])
def test_look_closer__tells_the_faces_of_the_place_it_looked_at(thin, is_tie):
    """Beside the border of what was cut from above: the least is told, the place is one within the bound."""

    def surfaces(lattice):
        return half_cut(lattice, thin)

    (spot,) = thin_spots(walls_of(0.0, 2.0, cap=4.0), None, 3.0)
    assert spot.rows == (-1, -1)  # no field, no rows
    spot = replace(spot, iy=44, ix=59, near=(17.9, 9.1, 2.0))
    closer = look_closer(spot, LATTICE, surfaces)
    assert closer.thickness == pytest.approx(2.0 - thin, abs=1e-5)
    assert set(closer.rows) == ({3, 7} if is_tie else {3, -1})
    faces = dict(zip((closer.near_face, closer.contact_face), (closer.near, closer.contact), strict=True))
    assert faces[LOWER_FACE][2] == pytest.approx(0.0, abs=1e-6)
    assert faces[UPPER_FACE][2] == pytest.approx(2.0 if is_tie else 2.0 - thin, abs=1e-6)


@pytest.mark.parametrize(("width", "off"), [(2.26, 0.0), (3.4, 0.0), (3.4, 0.5), (4.4, 0.0)])
def test_wall_there__tells_the_wall_that_another_body_has_about_the_middle_of_a_spot(width, off):
    """A rib 2.26 wide in one body, in the other as wide or wider, its faces anywhere beside it."""

    def surfaces(lattice, wide=width, beside=off):
        x, y = np.meshgrid(lattice.x(), lattice.y())
        across = 0.8 * (x - 18.03) + 0.6 * (y - 9.04) - beside
        return np.zeros(lattice.shape), np.where(np.abs(across) < wide / 2, 20.0, 8.0), None

    lower, upper, _ = surfaces(LATTICE, 2.26, 0.0)
    inner = np.zeros(LATTICE.shape, bool)
    inner[INNER] = True
    (spot,) = thin_spots(wall_thickness(LATTICE, lower, upper, 4.0), None, 3.0, mask=inner)
    found = wall_there(spot, LATTICE, surfaces, 4.0, inner)
    if width > 4.0:
        assert found is None
    else:
        assert found[0] == pytest.approx(width, abs=found[1])
        assert found[1] < 0.1


def test_wall_thickness__nan_and_empty_columns_are_no_material():
    hole = np.hypot(X - 15, Y - 11) < 4
    walls = walls_of(np.where(hole, np.nan, 0.0), np.where(hole, np.nan, 3.0))
    assert np.isnan(walls.thickness[hole]).all()
    assert walls.thickness[~hole] == pytest.approx(3.0, abs=0.01)
    assert np.isnan(walls_of(1.0, 0.0).thickness).all()


@pytest.mark.parametrize(("cap", "stride"), [(0.0, 1), (-1.0, 1), (3.0, 0)])
def test_wall_thickness__refuses_a_cap_or_stride_that_means_nothing(cap, stride):
    with pytest.raises(ShapeError, match="must be above 0"):
        walls_of(0.0, 1.0, cap=cap, stride=stride)


def test_wall_thickness__refuses_surfaces_of_another_shape():
    with pytest.raises(ShapeError, match=r"surfaces of shape \(3, 3\)"):
        wall_thickness(LATTICE, np.zeros((3, 3)), np.ones((3, 3)), 2.0)
