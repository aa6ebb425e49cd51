"""Upright walls cut off their place by fractions of a cell are told, whatever the lattice."""

import numpy as np
import pytest
import trimesh

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
