"""Upright walls cut off their place by fractions of a cell are told, whatever the lattice."""

import numpy as np
import pytest
import trimesh

from simkit.compare.between import Unproved, unproved_gouges, unproved_leftover
from simkit.compare.deviation import deviation
from simkit.compare.second_look import second_look
from simkit.compare.sweeps import Sweeps
from simkit.cutters import Cutter
from simkit.frames import IDENTITY
from simkit.moves.table import make_moves
from simkit.stock.cut import cut
from simkit.stock.field import Lattice, blank_field
from simkit.target.envelope import envelopes
from tests.compare.parts import grid_of
from tests.small_job import JOB, block, check


def shelf(wall):
    """A block 12 high whose part right of x = wall is 8 high: one upright step, 4 high."""
    return trimesh.boolean.union([block(0, wall, 0, 30, 0, 12), block(wall, 40, 0, 30, 0, 8)])


def program(wall):
    """Lowers everything right of x = wall to z 8 in passes along y."""
    lines = ["G21 G90 G17", "T1 M6", "S18000 M3", f"G0 X{wall + 3:.3f} Y-5 Z20", "G1 Z8 F600"]
    for k, x in enumerate(np.arange(wall + 3, 43.5, 4.0)):
        a, b = (-5, 35) if k % 2 == 0 else (35, -5)
        lines += [f"G1 X{x:.3f} Y{a}", f"Y{b}"]
    return "\n".join([*lines, "G0 Z20", "M30"]) + "\n"


def verdict(folder, wall, off, cell):
    job = JOB.replace("thinnest_wall = 1", "thinnest_wall = 0")
    status, rows = check(folder, shelf(wall), program(wall + off), cell, job)
    return status, [row for row in rows if row["severity"] in ("beyond", "undecided")]


@pytest.mark.parametrize("cell", ["0.2", "0.3", "0.5"])
@pytest.mark.parametrize("wall", [20.0, 20.07, 20.1])
@pytest.mark.parametrize("off", [-0.2, -0.28, -0.6])
def test_second_look__a_wall_cut_too_far_is_a_gouge_of_that_size(tmp_path, wall, off, cell):
    status, rows = verdict(tmp_path, wall, off, cell)
    assert status == 1
    assert {row["kind"] for row in rows} == {"gouge"}
    assert rows[0]["value"] == pytest.approx(-off, abs=rows[0]["bound"] + 1e-3)


@pytest.mark.parametrize("cell", ["0.2", "0.5"])
@pytest.mark.parametrize("wall", [20.0, 20.07])
def test_second_look__a_wall_left_proud_is_leftover_of_that_size(tmp_path, wall, cell):
    status, rows = verdict(tmp_path, wall, 0.45, cell)
    assert status == 1
    assert {row["kind"] for row in rows} == {"leftover-program"}
    assert rows[0]["value"] == pytest.approx(0.45, abs=rows[0]["bound"] + 1e-3)


@pytest.mark.parametrize("cell", ["0.2", "0.3", "0.5"])
@pytest.mark.parametrize("wall", [20.0, 20.07])
@pytest.mark.parametrize("off", [-0.03, 0.0, 0.2])
def test_second_look__a_wall_within_its_limits_passes(tmp_path, wall, off, cell):
    assert verdict(tmp_path, wall, off, cell) == (0, [])


def looked(off, gouge, unclear):
    """A step at x = 20.07 cut by `off` too far right: the deviation, recuts, what is judged."""
    lattice = Lattice((0.0, 0.0), 0.5, 80, 60)
    y = np.arange(-2.0, 33.0, 2.0)
    x = 23.07 + off + np.arange(0.0, 22.0, 4.0)
    start = np.column_stack([np.repeat(x, len(y)), np.tile(y, len(x)), np.full(len(x) * len(y), 8.0)])
    moves = make_moves(start=start, end=start + np.array([0, 2.0, 0]), tool=np.ones(len(start), int))
    cutters, grid, counted = {1: Cutter(1, "flat", 6.0)}, grid_of(shelf(20.07)), []

    def recut(window):
        counted.append(window)
        return cut(blank_field(window, 40, 30, 12), moves, cutters, IDENTITY).field

    field = cut(blank_field(lattice, 40, 30, 12), moves, cutters, IDENTITY).field
    around, inside = envelopes(grid, lattice), np.zeros(lattice.shape, bool)
    inside[8:-8, 8:-8] = True
    limits = np.where(inside, gouge, np.inf), np.where(inside, 0.5, np.inf)
    sweeps = Sweeps([(moves, IDENTITY, 0)], cutters, lattice, 1, start=12.0)

    def unproved(is_gouge, asked):
        if is_gouge:
            return unproved_gouges(sweeps, grid, lattice, limits[0], asked, with_faces=True)
        return unproved_leftover(sweeps, grid, lattice, limits[1], field.upper_move, asked, with_faces=True)

    first = deviation(field, around, grid, 1, 0.05)
    is_unclear = np.full(lattice.shape, unclear)
    found = second_look(first, field, around.upper, grid, recut, *limits, None, None, unproved, is_unclear)
    return found, counted, inside


def test_second_look__what_is_proved_within_its_limits_is_not_cut_again():
    found, counted, inside = looked(-0.2, 0.3, unclear=False)
    assert not counted
    assert (found.most[inside] >= -0.3 - 1e-6).all()
    assert (found.most[inside] <= 0.5 + 1e-6).all()
    again, counted, _ = looked(-0.2, 0.3, unclear=True)
    assert counted
    assert -0.2 - 1e-6 <= again.normal[inside].min() <= -0.2 + 0.5 / 16  # of samples, one to a fine cell


def test_second_look__a_step_between_two_centres_is_told_beyond_its_limit():
    found, _, inside = looked(-0.2, 0.1, unclear=False)
    worst = found.normal[inside].min()
    assert -0.2 - 1e-4 <= worst < -0.1


def test_unproved__tells_the_largest_that_was_met_in_a_cell():
    found = Unproved(np.zeros((2, 3), bool))
    x = np.zeros(3)
    found.add(np.array([4, 4, 1]), x, x, np.array([0.2, 0.3, 0.1]))
    found.add(np.array([5, 4, 1]), x, x, np.array([0.9, 0.9, 0.9]), is_met=False)
    assert found.largest().tolist() == [[0.0, 0.1, 0.0], [0.0, 0.3, 0.0]]
