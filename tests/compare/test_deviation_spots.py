"""Connected spots, hidden surface, and what stands outside the outline."""

import numpy as np
import pytest
import trimesh

from simkit.compare.outline import outline_step
from simkit.compare.spots import hidden, spots
from simkit.errors import ShapeError
from simkit.stock.field import Lattice
from simkit.target.envelope import envelopes
from tests.compare.parts import box, exact_field, grid_of, minus, plan


def slow_spots(mask):
    """Sets of cells by flood fill, 8 neighbours."""
    left, found = set(map(tuple, np.argwhere(mask))), []
    while left:
        todo, spot = [left.pop()], set()
        while todo:
            iy, ix = todo.pop()
            spot.add((iy, ix))
            near = {(iy + a, ix + b) for a in (-1, 0, 1) for b in (-1, 0, 1)} & left
            left -= near
            todo += near
        found.append(spot)
    return found


def test_spots__by_hand():
    values = np.array(
        [
            [0.0, 0.5, 0.0, 0.0, -0.9],
            [0.0, 0.0, 0.7, 0.0, 0.0],
            [0.0, 0.0, 0.0, 0.0, 0.0],
            [0.9, 0.1, 0.0, 0.0, 0.3],
        ]
    )
    first, second, third, fourth = spots(values, values != 0, Lattice((10.0, 20.0), 2.0, 5, 4))
    assert first.value == -0.9
    assert first.cell == (0, 4)
    assert first.at == (19.0, 21.0)
    assert (second.value, second.cell, second.cells, second.area) == (0.9, (3, 0), 2, 8.0)
    assert second.centre == (12.0, 27.0)
    assert (third.value, third.cell, third.cells, third.box) == (0.7, (1, 2), 2, (0, 2, 1, 3))
    assert fourth.value == 0.3


@pytest.mark.parametrize("seed", range(8))
def test_spots__against_flood_fill(seed):
    rng = np.random.default_rng(seed)
    values = rng.integers(-5, 6, (30, 40)) / 4.0
    mask = (rng.random((30, 40)) < 0.3) & (values != 0)
    found = spots(values, mask, Lattice((0.0, 0.0), 0.5, 40, 30))
    expected = slow_spots(mask)
    assert len(found) == len(expected)
    by_cell = {cell: spot for spot in expected for cell in spot}
    for spot in found:
        cells = by_cell[spot.cell]
        worst = max(abs(values[c]) for c in cells)
        assert spot.cells == len(cells)
        assert abs(spot.value) == worst
        middle = np.mean(list(cells), axis=0)
        tied = [(((np.array(c) - middle) ** 2).sum().round(9), c) for c in cells if abs(values[c]) == worst]
        assert ((np.array(spot.cell) - middle) ** 2).sum() == pytest.approx(min(tied)[0], abs=1e-8)
        assert spot.centre[0] == pytest.approx((np.mean([c[1] for c in cells]) + 0.5) * 0.5)
    assert [abs(s.value) for s in found] == sorted((abs(s.value) for s in found), reverse=True)


def test_spots__none_and_wrong_shape():
    lattice = Lattice((0.0, 0.0), 1.0, 3, 2)
    assert spots(np.zeros((2, 3)), np.zeros((2, 3), bool), lattice) == []
    with pytest.raises(ShapeError, match=r"values \(3, 2\) and mask \(3, 2\) must be \(2, 3\)"):
        spots(np.zeros((3, 2)), np.zeros((3, 2), bool), lattice)


def test_hidden__cavity_and_tunnel_are_told_worst_first():
    part = minus(box((1, 1, 0), (29, 19, 12)), box((5, 5, 4), (10, 10, 9)), box((20, 0, 3), (23, 20, 5)))
    found = hidden(envelopes(grid_of(part), Lattice((0.0, 0.0), 0.5, 60, 40)))
    assert [round(spot.value, 9) for spot in found] == [5.0, 2.0]
    assert [spot.area for spot in found] == [25.0, 3.0 * 18]
    assert found[0].centre == (7.5, 7.5)


LATTICE = Lattice((0.0, 0.0), 0.1, 400, 300)


def block_with(standing):
    """A block 30 x 20, perfectly cut, with `standing(x, y)` left outside it."""
    grid = grid_of(box((5, 5, 0), (35, 25, 10)))
    field, around = exact_field(grid, LATTICE)
    x, y = plan(LATTICE)
    field.upper[standing(x, y) & ~around.is_part] = 10
    return outline_step(field, around)


def test_outline__clean_cut_has_neither_step_nor_holding():
    found = block_with(lambda x, y: np.zeros_like(x, bool))
    assert not found.is_step.any()
    assert not found.is_holding.any()
    assert found.holding_area == 0


@pytest.mark.parametrize("proud", [0.5, 1.0, 1.9])
def test_outline__step_reads_how_far_it_stands_proud(proud):
    found = block_with(lambda x, y: (x < 35 + proud) & (x > 30) & (y > 10) & (y < 20))
    assert np.nanmax(found.run) == pytest.approx(proud, abs=found.bound)
    middle = found.run[140:160]
    assert middle[~np.isnan(middle)] == pytest.approx(proud, abs=1e-6)  # cells end on the step
    assert found.is_step.sum() == pytest.approx(proud * 10 / 0.01, rel=1e-9)
    assert not found.is_holding.any()


def test_outline__round_wall_left_proud():
    # A disc R 8 cut at R 8.6: the run is 0.6 all round, to the stated bound.
    import trimesh

    mesh = trimesh.creation.cylinder(8.0, 10.0, sections=400)
    mesh.apply_translation([15, 15, 5])
    lattice = Lattice((0.0, 0.0), 0.1, 300, 300)
    field, around = exact_field(grid_of(mesh), lattice)
    x, y = plan(lattice)
    field.upper[np.hypot(x - 15, y - 15) < 8.6] = 10
    found = outline_step(field, around)
    runs = found.run[found.is_step]
    assert np.abs(runs - 0.6).max() <= found.bound
    assert not found.is_holding.any()


def test_outline__frame_tab_and_offcut_hold():
    # A groove 4 wide all round, then the frame; one tab 6 wide across it.
    def standing(x, y):
        is_frame = (x < 1) | (x > 39) | (y < 1) | (y > 29)
        return is_frame | ((np.abs(x - 20) < 3) & (y > 25))

    found = block_with(standing)
    assert not found.is_step[:, :170].any()
    assert found.is_step.sum() == 0
    frame = 40 * 30 - 38 * 28
    assert found.holding_area == pytest.approx(frame + 6 * 4, abs=0.5)


@pytest.mark.parametrize("lean", [0.3, 0.8])
def test_outline__flanks_of_a_leaning_tab_are_no_step(lean):
    # A step 1 mm proud far from the tab is told all the same.
    def standing(x, y):
        is_frame = (x < 1) | (x > 39) | (y < 1) | (y > 29)
        is_tab = (np.abs(x - 20 - lean * (y - 25)) < 3) & (y > 25)
        return is_frame | is_tab | ((x > 34) & (x < 36) & (y > 8) & (y < 14))

    found = block_with(standing)
    assert not found.is_step[:, :350].any()
    assert np.nanmax(found.run) == pytest.approx(1.0, abs=1e-6)
    assert found.is_step.sum() == 10 * 60


def test_outline__skin_holds_however_thin():
    grid = grid_of(box((5, 5, 0), (35, 25, 10)))
    field, around = exact_field(grid, LATTICE)
    field.upper[~around.is_part] = 0.4
    found = outline_step(field, around)
    assert not found.is_step.any()
    assert found.holding_area == pytest.approx(40 * 30 - 30 * 20, abs=1e-6)


def test_outline__no_part_at_all():
    field, around = exact_field(grid_of(box((50, 50, 0), (60, 60, 10))), LATTICE)
    field.upper[:] = 10
    assert outline_step(field, around).holding_area == pytest.approx(1200)


def test_spots__joined_cells_near_each_other_are_one():
    values = np.zeros((1, 40))
    values[0, [3, 6, 20]] = (1.0, 2.0, 0.5)
    lattice = Lattice((0.0, 0.0), 1.0, 40, 1)
    assert [one.cells for one in spots(values, values > 0, lattice)] == [1, 1, 1]
    near, alone = spots(values, values > 0, lattice, gap=4.0)
    assert (near.cells, near.value, near.cell) == (2, 2.0, (0, 6))
    assert near.area == 2.0
    assert (alone.cells, alone.value) == (1, 0.5)


def test_hidden__a_wall_that_leans_under_is_one_spot():
    """A hole whose wall leans 1 degree under: single cells along it are hidden, here and there."""
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    rings = [(8.0, 0.0), (8.3, 10.0), (8.0, 20.0)]  # narrowest at both faces
    ring = np.column_stack([np.cos(turn), np.sin(turn)])
    hole = np.concatenate([np.insert(20 + r * ring, 2, z, axis=1) for r, z in rings])
    lower, upper = (trimesh.convex.convex_hull(hole[a:b]) for a, b in ((0, 120), (60, 180)))
    part = minus(box((5, 5, 0), (35, 35, 20)), lower, upper)
    assert part.is_watertight
    lattice = Lattice((0.0, 0.0), 0.5, 80, 80)
    env = envelopes(grid_of(part), lattice)
    is_hidden = env.void > 0.05
    (one,) = hidden(env)
    assert one.cells == is_hidden.sum() > 20
    assert one.centre == pytest.approx((20, 20), abs=0.5)
    assert one.value == pytest.approx(env.void.max())
    assert 10 < one.value < 20
