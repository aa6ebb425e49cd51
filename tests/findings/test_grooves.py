"""Jobs with grooves about as wide as their cutter: who is to blame for what is left, and what is advised."""

import numpy as np
import pytest
import trimesh

from tests.small_job import HEAD, JOB, block, check

TABLE = JOB.replace("leftover = 0.3", "leftover = 0.5")


def grooved(width, angle=0.0):
    """The blank of the small job with a groove right through, its floor at 6."""
    tool = block(-40, 40, -width / 2, width / 2, 6, 13)
    tool.apply_transform(trimesh.transformations.rotation_matrix(np.radians(angle), [0, 0, 1]))
    tool.apply_translation((20, 15, 0))
    return trimesh.boolean.difference([block(0, 40, 0, 30, 0, 12), tool])


def along(angle, *heights):
    """Passes along the middle of the groove, one at each height."""
    far = 34 * np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
    (x0, y0), (x1, y1) = np.array([20, 15]) - far, np.array([20, 15]) + far
    lines = []
    for z in heights:
        lines += [f"G0 X{x0:.4f} Y{y0:.4f}", f"G0 Z{z}", f"G1 X{x1:.4f} Y{y1:.4f} F1000", "G0 Z20"]
    return HEAD + "\n".join(lines) + "\nM30\n"


@pytest.mark.parametrize(("angle", "cell"), [(0.0, "0.2"), (0.0, "0.5"), (30.0, "0.2"), (30.0, "0.5")])
@pytest.mark.parametrize("width", [5.8, 5.95, 6.0, 6.05, 6.3])
def test_leftover__a_groove_cut_too_shallow(tmp_path, width, angle, cell):
    """What a cutter as wide as the groove left is the program's fault, for the wood shows that it gets in."""
    status, rows = check(tmp_path, grooved(width, angle), along(angle, 9, 7), cell, TABLE)
    assert status == 1
    left = [row for row in rows if row["kind"].startswith("leftover")]
    assert {row["severity"] for row in left} == {"beyond"}
    assert max(row["value"] for row in left) == pytest.approx(1.0, abs=0.06)
    kind = "leftover-cutter" if width < 6 else "leftover-program"
    assert {row["kind"] for row in left} == {kind}
    if width < 6:
        assert "cannot get in" in left[0]["message"]
        return
    assert all("cannot get in" not in row["message"] for row in left)
    assert all("common sizes" not in row["advice"] for row in left)
    if width == 6.0:
        # Truth, nothing, lies in what is told.
        assert "its best pass leaves 0.00 to" in left[0]["message"]
    if width == 6.3:
        assert "could get to within 0.05 mm of the part" in left[0]["message"]


@pytest.mark.parametrize("cell", ["0.2", "0.5"])
def test_leftover__a_groove_that_was_never_cut_is_told_as_open(tmp_path, cell):
    _, rows = check(tmp_path, grooved(6.0), HEAD + "G0 X0 Y0\nG1 X1 Y1 Z12 F500\nG0 Z20\nM30\n", cell)
    (row,) = [row for row in rows if row["kind"].startswith("leftover")]
    assert row["kind"] == "leftover-program"
    assert "its best pass leaves 0.00 to 6." in row["message"]
    assert "cells of 0.02 mm leave open whether it gets in" in row["message"]
    assert row["advice"].startswith("Where T1 6 mm flat fits: Extend the finishing pass over this place")
    assert "Of common sizes beyond the job's, a 4 mm flat would leave about 0.00 mm" in row["advice"]


@pytest.mark.parametrize("cell", ["0.2", "0.5"])
def test_leftover__half_of_a_dado_that_was_never_cut(tmp_path, cell):
    """Its square end is the cutter's, (sqrt 2 - 1) R = 1.24, within the limit of 1.3; the rest is not."""
    part = trimesh.boolean.difference([block(0, 40, 0, 30, 0, 12), block(7, 41, 12, 18, 6, 13)])
    program = HEAD + "G0 X10 Y15\nG1 Z9 F300\nX45 F1000\nG1 Z6 F300\nX25 F1000\nG0 Z20\nM30\n"
    _, rows = check(tmp_path, part, program, cell, JOB.replace("leftover = 0.3", "leftover = 1.3"))
    (row,) = [row for row in rows if row["kind"].startswith("leftover")]
    assert row["kind"] == "leftover-program"
    assert row["value"] == pytest.approx(np.hypot((np.sqrt(2) - 1) * 3, 3), abs=row["bound"] + 0.01)
    assert "T1 6 mm flat is about as wide as the room" in row["message"]
    assert "shows that it gets in" in row["message"]


@pytest.mark.parametrize("cell", ["0.2", "0.5"])
def test_leftover__a_round_pocket_and_corners_of_the_cutters_radius(tmp_path, cell):
    """A hole as wide as the bit and a pocket whose corners have its radius, both a millimetre too shallow."""
    hole = trimesh.creation.cylinder(radius=3, height=20, sections=180)
    hole.apply_translation((8, 15, 16))
    spine = [block(18, 32, 11, 19, 6, 13), block(15, 35, 14, 16, 6, 13)]
    for x in (18, 32):
        for y in (14, 16):
            round_ = trimesh.creation.cylinder(radius=3, height=20, sections=180)
            round_.apply_translation((x, y, 16))
            spine.append(round_)
    part = trimesh.boolean.difference([block(0, 40, 0, 30, 0, 12), hole, *spine])
    pocket = "\n".join(f"X{x} Y{y}" for x, y in [(32, 14), (32, 16), (18, 16), (18, 14)])
    program = HEAD + "G0 X8 Y15\nG1 Z7 F300\nG0 Z20\nG0 X18 Y14\nG1 Z7 F300\n" + pocket + "\nG0 Z20\nM30\n"
    _, rows = check(tmp_path, part, program, cell, TABLE)
    left = [row for row in rows if row["kind"].startswith("leftover")]
    assert {row["kind"] for row in left} == {"leftover-program"}
    assert min(abs(row["at"][0] - 8) for row in left) < 3.1  # the hole
    assert max(row["at"][0] for row in left) > 14  # the pocket


def test_leftover__a_cutter_wider_than_the_groove_by_less_than_a_cell_is_not_advised(tmp_path):
    """A 6.35 mm flat does not get into 6.2 mm, though between cells of 0.2 mm it seems to."""
    job = TABLE.replace("diameter = 6", "diameter = 8").replace(
        "[[setups]]", '[cutters.2]\nshape = "flat"\ndiameter = 6.35\n[[setups]]', 1
    )
    _, rows = check(tmp_path, grooved(6.21), along(0.0, 13), "0.2", job)
    left = [row for row in rows if row["kind"].startswith("leftover")]
    assert left
    assert all("T2" not in row["advice"] for row in left)
