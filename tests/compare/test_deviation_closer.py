"""A closer look: the peak of a spot with its bound, against closed forms and the real cut."""

import numpy as np
import pytest
import trimesh

from simkit.compare.closer import SAME_SHEET, TIE, _peak, closer_look
from simkit.compare.deviation import deviation
from simkit.compare.spots import spots
from simkit.cutters import Cutter
from simkit.frames import IDENTITY, turned
from simkit.moves.table import make_moves
from simkit.stock.cut import cut
from simkit.stock.field import Lattice, blank_field, blank_lattice
from simkit.target.envelope import envelopes
from tests.compare.parts import TRAY, box, field_of, grid_of, plan

SIZE = (40.0, 30.0, 10.0)
BALL = Cutter(1, "ball", 2.0)
BLANK = box((0.0, 0.0, 0.0), SIZE)


def line_job(start, end, frame=IDENTITY, cutter=BALL):
    moves = make_moves(start=[start], end=[end], tool=[1])

    def recut(lattice):
        return cut(blank_field(lattice, *SIZE), moves, {1: cutter}, frame).field

    return recut


def looked(recut, grid, side, lattice, is_gouge, least=0.05):
    field = recut(lattice)
    found = deviation(field, envelopes(grid, lattice), grid, side)
    mask = found.normal < -least if is_gouge else found.normal > least
    worst = spots(found.normal, mask, lattice)[0]
    return worst, closer_look(recut, field, grid, side, worst.cell, is_gouge)


@pytest.mark.parametrize("side", [1, 2])
@pytest.mark.parametrize("y", [10.0, 10.07, 10.1, 10.18])
def test_look__ball_groove_in_a_flat_face(side, y):
    # A ball R 1 runs 0.25 deep into the finished face: gouge 0.25, wherever the cells lie.
    frame = IDENTITY if side == 1 else turned("about x", *SIZE)
    recut = line_job([5.0, y, 9.75], [35.0, y, 9.75], frame)
    worst, look = looked(recut, grid_of(BLANK), side, blank_lattice(40, 30, 0.2), True)
    assert look.cell * np.sqrt(0.5) <= 0.01
    assert abs(look.value + 0.25) <= look.bound
    assert look.bound <= 0.012
    assert abs(look.value + 0.25) <= abs(worst.value + 0.25) + 1e-4
    assert look.at[1] == pytest.approx(y if side == 1 else 30 - y, abs=0.05)
    assert look.at[2] == pytest.approx(9.75 if side == 1 else 0.25, abs=0.002)


def test_look__finds_more_than_the_coarse_cells_did():
    # A groove 0.3 wide between coarse centres at 0.5: 0.1 from the nearest, where it is shallower.
    cutter = Cutter(1, "ball", 0.6)
    recut = line_job([5.0, 10.6, 9.8], [35.0, 10.6, 9.8], cutter=cutter)
    worst, look = looked(recut, grid_of(BLANK), 1, blank_lattice(40, 30, 0.2), True)
    shallow = 0.2 - (0.3 - np.sqrt(0.3**2 - 0.1**2))
    assert worst.value == pytest.approx(-shallow, abs=1e-5)
    assert look.value == pytest.approx(-0.2, abs=1e-3)
    assert abs(look.value + 0.2) <= look.bound


def test_look__inside_corner():
    # (sqrt 2 - 1) R from the corner edge to the cut of a round cutter.
    radius = 3.0

    def recut(lattice):
        x, y = plan(lattice)
        px, py = np.abs(x - 20) - 12, np.abs(y - 15) - 7
        is_pocket = np.maximum(px, py) < 0
        is_cut = np.hypot(np.maximum(px + radius, 0), np.maximum(py + radius, 0)) < radius
        is_part = (np.abs(x - 20) < 18) & (np.abs(y - 15) < 13)
        return field_of(lattice, 0, np.where(is_pocket & is_cut, 3, np.where(is_part, 10, 0)))

    worst, look = looked(recut, grid_of(TRAY), 1, Lattice((0.0, 0.0), 0.2, 200, 150), False)
    exact = (np.sqrt(2) - 1) * radius
    assert worst.value < exact - 0.1  # the least it can be on coarse cells
    assert abs(look.value - exact) <= look.bound
    assert look.bound <= 0.05


@pytest.mark.parametrize("radius", [1.5, 2.5, 5.0, 6.5])
@pytest.mark.parametrize("cell", [(39, 39), (40, 39), (39, 42)])
def test_look__inside_corner_from_a_cell_that_is_not_off_itself(radius, cell):
    # The corner of a pocket 7 deep lies at (8, 8), the cell in the rim beside it, where nothing is left over.
    # The nearest air is (sqrt 2 - 1) R from the edge.
    def recut(lattice):
        x, y = plan(lattice)
        px, py = np.abs(x - 20) - 12, np.abs(y - 15) - 7
        is_cut = np.hypot(np.maximum(px + radius, 0), np.maximum(py + radius, 0)) < radius
        is_part = (np.abs(x - 20) < 18) & (np.abs(y - 15) < 13)
        return field_of(lattice, 0, np.where((np.maximum(px, py) < 0) & is_cut, 3, np.where(is_part, 10, 0)))

    field = recut(Lattice((0.0, 0.0), 0.2, 200, 150))
    look = closer_look(recut, field, grid_of(TRAY), 1, cell, False)
    exact = (np.sqrt(2) - 1) * radius
    assert abs(look.value - exact) <= look.bound
    assert look.bound <= 0.05
    assert look.certain > exact - 0.05
    assert look.at[:2] == pytest.approx((8, 8), abs=0.05)


def test_look__gouge_far_wider_than_its_cell_tells():
    # A floor 1 high ends at x 10, and the rim beside it is gone up to x 16: its edge is 6 from wood.
    def recut(lattice):
        x, _ = plan(lattice)
        return field_of(lattice, 0, np.where(x < 16, 1, 10) + np.zeros(lattice.shape))

    part = box((0, 0, 0), (40, 30, 10)).difference(box((-1, -1, 1), (10, 31, 11)))
    grid, lattice = grid_of(part), Lattice((0.0, 0.0), 0.2, 200, 150)
    assert np.all(deviation(recut(lattice), envelopes(grid, lattice), grid, 1).normal[75, 40:50] == 0.0)
    look = closer_look(recut, recut(lattice), grid, 1, (75, 49), True)
    assert abs(look.value + 6.0) <= look.bound
    assert look.bound <= 0.05


def test_look__refutes_what_was_not_there():
    recut = line_job([5.0, 10.0, 9.75], [35.0, 10.0, 9.75])
    grid = grid_of(BLANK)
    lattice = blank_lattice(40, 30, 0.2)
    look = closer_look(recut, recut(lattice), grid, 1, (120, 100), True)
    assert look.value == 0.0
    assert look.bound <= 0.01


@pytest.mark.parametrize("seed", range(6))
def test_look__random_grooves_across_a_slope(seed):
    # A ball swept level along a plane tilted across the groove: the deepest point of the cut lies
    # R sin-wise off the axis; its distance to the plane is R + d, d the centre's depth under the plane.
    rng = np.random.default_rng(seed)
    slope = rng.uniform(0.1, 1.2)
    corners = [[x, y, z] for x in (0, 40) for y, z in ((0, 0), (30, 0), (30, 1 + 30 * np.tan(slope)), (0, 1))]
    mesh = trimesh.convex.convex_hull(np.array(corners, float))
    top = 1 + 30 * np.tan(slope)
    y, gouge = rng.uniform(12, 18), rng.uniform(0.1, 0.3)
    centre_z = 1 + y * np.tan(slope) + (1 - gouge) / np.cos(slope)  # normal distance R - gouge above it
    moves = make_moves(start=[[5, y, centre_z - 1]], end=[[35, y, centre_z - 1]], tool=[1])

    def recut(lattice):
        _, plan_y = plan(lattice)
        blank = blank_field(lattice, 40.0, 30.0, top)
        blank.upper[:] = np.where(blank.upper > 0, 1 + plan_y * np.tan(slope), 0)
        return cut(blank, moves, {1: BALL}, IDENTITY).field

    _, look = looked(recut, grid_of(mesh), 1, blank_lattice(40, 30, 0.2), True)
    assert abs(look.value + gouge) <= look.bound
    assert look.bound <= 0.03


@pytest.mark.parametrize("seed", range(8))
def test_peak__against_a_loop_over_its_cells(seed):
    rng = np.random.default_rng(seed)
    lattice = Lattice((2.0, 2.0), 0.1, 9, 7)
    field = field_of(lattice, 0.0, rng.choice([1.0, 1.3, 3.0], lattice.shape).astype(np.float32))
    around = envelopes(grid_of(box((0, 0, 0), (12, 12, 2))), lattice)
    size = rng.choice([0.0, 0.2, 0.5 - TIE / 2, 0.5], lattice.shape, p=[0.1, 0.2, 0.3, 0.4])
    is_near = rng.random(lattice.shape) < 0.8
    is_near.ravel()[np.argmax(size)] = True
    cut, target, best = field.upper.astype(float), around.upper, None
    for iy, ix in np.argwhere((size >= size.max() - TIE) & is_near):
        change = 0.0
        for y in range(max(iy - 1, 0), min(iy + 2, lattice.ny)):
            for x in range(max(ix - 1, 0), min(ix + 2, lattice.nx)):
                steps = abs(cut[y, x] - cut[iy, ix]), abs(target[y, x] - target[iy, ix])
                if is_near[y, x] and max(steps) <= SAME_SHEET * lattice.cell:
                    change = max(change, abs(size[y, x] - size[iy, ix]))
        if best is None or change < best[1]:
            best = (iy, ix), change
    assert _peak(size, is_near, field, around, 1) == best


def test_look__at_a_place_beyond_the_border_of_what_counts():
    # Cells count as far as y = 10.05; the place lies in the cell of the worst of these, beyond that.
    recut = line_job([5.0, 10.0, 9.75], [35.0, 10.0, 9.75])

    def counts(lattice):
        return np.broadcast_to((lattice.y() <= 10.05)[:, None], lattice.shape).copy()

    lattice = blank_lattice(40, 30, 0.2)
    cell = tuple(int(k) for k in lattice.cell_at(20.0, 10.0))
    look = closer_look(
        recut, recut(lattice), grid_of(BLANK), 1, cell, True, counts=counts, place=(20.0, 10.199)
    )
    assert abs(look.value + 0.25) <= look.bound
    assert look.at[1] <= 10.05


def test_look__in_a_strip_that_no_fine_cell_counts_in():
    recut = line_job([5.0, 10.0, 9.75], [35.0, 10.0, 9.75])
    lattice = blank_lattice(40, 30, 0.2)
    cell = tuple(int(k) for k in lattice.cell_at(20.0, 10.0))
    look = closer_look(
        recut, recut(lattice), grid_of(BLANK), 1, cell, True, counts=lambda some: np.zeros(some.shape, bool)
    )
    assert 0.24 < abs(look.value) <= 0.25 + 1e-6  # at the middle of that cell
