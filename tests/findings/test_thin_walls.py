"""Thin walls beside engraving, and walls a little thinner than the part: the same verdict on any cells."""

from types import SimpleNamespace

import numpy as np
import pytest
import trimesh

from simkit.findings.walls_told import _cut_beside
from simkit.stock.field import UNCUT
from tests.small_job import HEAD, JOB, block, check

HALF = np.tan(np.radians(30.0))  # of the groove of a vee of 60 degrees, for each mm of depth
VEE = JOB.replace('"flat"\ndiameter = 6', '"vee"\ndiameter = 6\npoint = 60')
# An upright stroke, a slanted one and a bar between them, as letters have: start, end (x, y) mm.
STROKES = [((12.03, 9.07), (14.13, 14.67)), ((14.13, 14.67), (16.23, 9.07)), ((13.08, 11.31), (15.18, 11.31))]


def groove(start, end, deep):
    """What a pointed vee takes that goes straight from start to end, `deep` below a top at 12."""
    angle = np.linspace(0.0, 2.0 * np.pi, 96, endpoint=False)
    ring = (deep + 1.0) * HALF * np.column_stack([np.cos(angle), np.sin(angle)])
    high = [np.column_stack([ring + place, np.full(len(ring), 13.0)]) for place in (start, end)]
    low = [[*place, 12.0 - deep] for place in (start, end)]
    return trimesh.convex.convex_hull(np.vstack([*high, low]))


def engraved(depths):
    lines = [HEAD.rstrip()]
    for ((x0, y0), (x1, y1)), deep in zip(STROKES, depths, strict=True):
        lines += [f"G0 X{x0} Y{y0}", f"G1 Z{12 - deep:.4f} F300", f"X{x1} Y{y1} F900", "G0 Z20"]
    return "\n".join([*lines, "M30"]) + "\n"


@pytest.mark.parametrize("cell", ["0.2", "0.5"])
def test_letters__a_bar_a_hair_too_deep_makes_no_wall_too_thin(tmp_path, cell):
    """0.06 mm too deep moves the faces of a vee of 60 degrees by 0.06 sin 30 = 0.03 mm: no wall lost 0.1."""
    blank = block(0, 40, 0, 30, 0, 12)
    part = trimesh.boolean.difference([blank, *(groove(*one, 0.8) for one in STROKES)], engine="manifold")
    job = VEE.replace("thinnest_wall = 1", "thinnest_wall = 3")
    status, rows = check(tmp_path, part, engraved([0.8, 0.8, 0.86]), cell=cell, job=job)
    assert status == 0
    assert {row["severity"] for row in rows if row["kind"] == "thin-wall"} <= {"note"}


@pytest.mark.parametrize("cell", ["0.2", "0.5"])
def test_scratch__in_a_solid_top_is_no_thin_wall(tmp_path, cell):
    part = block(0, 40, 0, 30, 0, 12)
    job = JOB.replace("[[setups]]", '[cutters.2]\nshape = "flat"\ndiameter = 0.1\n[[setups]]', 1)
    job = job.replace("thinnest_wall = 1", "thinnest_wall = 3")
    scratch = HEAD.replace("T1", "T2") + "G0 X12.61 Y12.12\nG1 Z11.6 F300\nX13.3 Y12.33 F900\nG0 Z20\nM30\n"
    status, rows = check(tmp_path, part, scratch, cell=cell, job=job)
    assert status == 1
    assert "gouge" in {row["kind"] for row in rows}
    assert "thin-wall" not in {row["kind"] for row in rows}


@pytest.mark.parametrize("cell", ["0.2", "0.5"])
@pytest.mark.parametrize(("lost", "severity"), [(0.13, "beyond"), (0.07, "note")])
def test_rib__a_little_thinner_than_the_part_is_the_same_on_any_cells(tmp_path, cell, lost, severity):
    """By design is a wall within 0.1 mm of the part's; 2.8 is thinner than the limit of 3 in any case."""
    x, part = 20.13, 2.8
    solid = [block(0, 40, 0, 30, 0, 4), block(x - part / 2, x + part / 2, 0, 30, 3, 12)]
    lines = []
    for away in (16.0, 12.0, 8.0, 3.0 + part / 2):
        for at in (x - away, x + away - (lost if away < 8 else 0.0)):
            lines += [f"G0 X{at:.4f} Y-4 Z20", "G1 Z4 F600", "G1 Y34", "G0 Z20"]
    job = JOB.replace("thinnest_wall = 1", "thinnest_wall = 3").replace("gouge = 0.1", "gouge = 1")
    program = HEAD + "\n".join(lines) + "\nM30\n"
    _, rows = check(tmp_path, trimesh.boolean.union(solid), program, cell=cell, job=job)
    (row,) = [row for row in rows if row["kind"] == "thin-wall"]
    assert row["severity"] == severity
    assert row["value"] == pytest.approx(part - lost, abs=row["bound"])
    assert "not cut" not in row["message"]  # the top is uncut, both faces of the rib are cut


@pytest.mark.parametrize(("side", "at", "row"), [
    (1, (9.99, 5.0, 11.9), 7),  # on the wall, a hair in the column of the top that no move cut
    (1, (9.99, 5.0, 12.0), UNCUT),  # on that top itself, though the wall begins beside it
    (1, (9.0, 5.0, 11.9), UNCUT),  # farther in than a cell
    (2, (9.99, 5.0, 0.0), UNCUT),
])  # fmt: skip
def test_face__counts_to_the_move_that_made_the_air_beside_it(side, at, row):
    """Uncut to x = 10, from there on a wall that leans by 5 degrees, of row 7."""

    def heights(points):
        x = points[:, 0]
        upper = np.where(x < 10.0, 12.0, np.maximum(12.0 - (x - 10.0) / np.tan(np.radians(5.0)), 3.0))
        uncut = np.full(len(x), UNCUT)
        return np.zeros(len(x)), upper, uncut, np.where(x < 10.0, UNCUT, 7)

    evidence = SimpleNamespace(heights=heights, field=SimpleNamespace(lattice=SimpleNamespace(cell=0.2)))
    assert _cut_beside(evidence, side, at) == row
