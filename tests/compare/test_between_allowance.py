"""Scratches between the samples of a surface that is to stand proud: judged from the shifted surface."""

import numpy as np
import pytest

from simkit.compare.between import unproved_gouges, unproved_leftover
from simkit.compare.sweeps import Sweeps
from simkit.compare.zones import Zones
from simkit.cutters import Cutter
from simkit.frames import IDENTITY
from simkit.job.model import Limits, Zone
from simkit.moves.table import LINE, make_moves
from simkit.stock.field import Lattice
from tests.compare.parts import grid_of
from tests.compare.test_between import ball_passes, slope_part
from tests.findings.programs import END, faced
from tests.small_job import JOB, block, check

CUTTERS = {1: Cutter(1, "ball", 6.0), 2: Cutter(2, "vee", 6.0, point=20.0)}
LATTICE = Lattice((0.0, 0.0), 0.4, 100, 75)
LIMIT = 0.1
Y = 15.2 + 1e-3  # mm: between two rows of centres


def zones_with(left, right):
    half = ((0.0, 0.0), (20.0, 0.0), (20.0, 30.0), (0.0, 30.0))
    limits = Limits(gouge=LIMIT, leftover=0.3, finish_allowance=right)
    return Zones(limits, (Zone("left", half, finish_allowance=left),))


def unproved(angle, above, zones, height):
    """Cells that may hold a gouge: passes `above` over a slope, a scratch with its tip `height` over it."""
    lean = np.radians(angle)
    start, end = ball_passes(angle, above)
    x = np.array([6.0, 34.0])
    tip = np.column_stack([x, [Y, Y], 10 + x * np.tan(lean) + height / np.cos(lean)])
    n = len(start) + 1
    moves = make_moves(
        kind=[LINE] * n,
        rapid=[False] * n,
        start=np.vstack([start, tip[:1]]),
        end=np.vstack([end, tip[1:]]),
        tool=[1] * (n - 1) + [2],
    )
    sweeps = Sweeps([(moves, IDENTITY, 0)], CUTTERS, LATTICE, 1)
    asked = np.zeros(LATTICE.shape, bool)
    asked[6:-6, 6:-6] = True
    gouge, _ = zones.limits(LATTICE, 1)
    deepest = gouge - zones.allowance(LATTICE, 1)[0]
    return unproved_gouges(sweeps, grid_of(slope_part(angle)), LATTICE, deepest, asked).is_found


# Cells of the left and of the right half that the whole of the scratch passes, clear of ends and border.
UNDER = (LATTICE.x() > 7) & (LATTICE.x() < 19), (LATTICE.x() > 21) & (LATTICE.x() < 33)


@pytest.mark.parametrize("angle", [0, 30])
@pytest.mark.parametrize(
    ("left", "right", "height", "is_found"),
    [
        (0.4, 0.4, 0.25, (True, True)),  # 0.15 under the shifted surface, still over the part
        (0.4, 0.4, 0.34, (False, False)),  # 0.06 under it
        (0.4, 0.0, 0.25, (True, False)),  # proud of the part where nothing is left on purpose
        (0.4, 0.0, -0.06, (True, False)),
        (0.4, 0.0, -0.15, (True, True)),
        (0.05, 0.2, -0.02, (False, True)),  # 0.07 and 0.22: less is left on purpose than the limit
        (0.05, 0.2, 0.14, (False, False)),
        (0.05, 0.2, -0.09, (True, True)),
    ],
)
def test_scratch__counts_from_the_shifted_surface_of_its_zone(angle, left, right, height, is_found):
    found = unproved(angle, max(left, right) + 0.01, zones_with(left, right), height)
    rows, _ = np.nonzero(found)
    assert set(LATTICE.y()[rows].round(6)) <= {15.0, 15.4}
    for under, is_here in zip(UNDER, is_found, strict=True):
        assert found[:, under].any(axis=0).all() == is_here
        assert found[:, under].any() == is_here


@pytest.mark.parametrize("angle", [0, 30])
@pytest.mark.parametrize(
    ("above", "left", "right", "is_found"),
    [(0.65, 0.4, 0.4, (False, False)), (0.65, 0.4, 0.2, (False, True)), (0.8, 0.4, 0.6, (True, False))],
)
def test_wood__left_counts_from_the_shifted_surface_of_its_zone(angle, above, left, right, is_found):
    # The limit is 0.3; the passes leave ridges of 0.01 over `above`.
    start, end = ball_passes(angle, above)
    n = len(start)
    moves = make_moves(kind=[LINE] * n, rapid=[False] * n, start=start, end=end, tool=[1] * n)
    sweeps = Sweeps([(moves, IDENTITY, 0)], CUTTERS, LATTICE, 1, 70.0)
    points = np.column_stack([part.ravel() for part in np.meshgrid(LATTICE.x(), LATTICE.y())])
    owner = sweeps.cut(points, 70.0, CUTTERS)[1].reshape(LATTICE.shape)
    zones = zones_with(left, right)
    asked = np.zeros(LATTICE.shape, bool)
    asked[30:40, 6:-6] = True
    most = zones.limits(LATTICE, 1)[1] + zones.allowance(LATTICE, 1)[1]
    found = unproved_leftover(sweeps, grid_of(slope_part(angle)), LATTICE, most, owner, asked).is_found
    for under, is_here in zip(UNDER, is_found, strict=True):
        assert found[30:40, under].all() == is_here
        assert found[30:40, under].any() == is_here


SCRATCHING = (
    JOB.replace("gouge = 0.1", "gouge = 0.1\nfinish_allowance = ALLOWANCE")
    + '[cutters.2]\nshape = "flat"\ndiameter = 0.1\n'
)


@pytest.mark.parametrize(
    ("allowance", "z", "depth"),
    [(0.4, 10.25, 0.15), (0.4, 10.34, None), (0.4, 9.8, 0.6), (0.05, 9.9, 0.15), (0.05, 9.98, None)],
)
def test_check__tells_a_scratch_by_its_depth_under_the_shifted_surface(tmp_path, allowance, z, depth):
    program = faced(10 + allowance).removesuffix(END)
    program += f"G0 Z20\nT2 M6\nS18000 M3\nG0 X10 Y15.2\nG1 Z{z} F300\nX30\n" + END
    job = SCRATCHING.replace("ALLOWANCE", str(allowance))
    status, found = check(tmp_path, block(0, 40, 0, 30, 0, 10), program, job=job, cell="0.4")
    gouges = [row for row in found if row["kind"] == "gouge"]
    assert status == (depth is not None)
    assert [row["severity"] for row in gouges] == ["beyond"] * (depth is not None)
    for row in gouges:
        assert row["value"] == pytest.approx(depth, abs=row["bound"])
        assert abs(row["at"][1] - 15.2) < 0.06
