"""Holes through the part that are cut too small: the ring that is left is a step, at any cells."""

import numpy as np
import pytest
import trimesh

from tests.small_job import HEAD, JOB, check

DRILL = (
    '[cutters.4]\nshape = "drill"\ndiameter = 4.2\npoint = 118\n[cutters.5]\nshape = "drill"\ndiameter = 9\n'
)
AT = (15.03, 12.01)  # no centre of a cell
CELLS = ("0.1", "0.2", "0.5")


def plate(hole):
    """The whole blank with a hole."""
    body = trimesh.creation.box((40, 30, 12))
    body.apply_translation((20, 15, 6))
    return trimesh.boolean.difference([body, hole], engine="manifold")


def round_hole(diameter):
    hole = trimesh.creation.cylinder(diameter / 2, 20, sections=180)
    hole.apply_translation((*AT, 6))
    return hole


def window(length, width):
    hole = trimesh.creation.box((length, width, 20))
    hole.apply_translation((*AT, 6))
    return hole


def around(length, width):
    """Once around inside, with the cutter of 6 mm, at full depth."""
    (x, y), dx, dy = AT, length / 2 - 3, width / 2 - 3
    corners = [(x - dx, y - dy), (x + dx, y - dy), (x + dx, y + dy), (x - dx, y + dy), (x - dx, y - dy)]
    first, *rest = (f"X{cx:.3f} Y{cy:.3f}" for cx, cy in corners)
    return (
        HEAD + f"G0 {first}\nG1 Z-0.5 F300\n" + "".join(f"G1 {one} F900\n" for one in rest) + "G0 Z20\nM30\n"
    )


def drilled(tool, depth):
    x, y = AT
    return f"G21 G90 G17\nT{tool} M6\nS9000 M3\nG0 Z20\nG0 X{x} Y{y}\nG1 Z{depth} F200\nG0 Z20\nM30\n"


def steps(found):
    return [one for one in found if "stands out from the outer wall" in one["message"]]


def job(spoilboard=6, more=DRILL):
    return JOB.replace("[[setups]]", more + "[[setups]]").replace(
        'programs = ["top.nc"]', f'programs = ["top.nc"]\nspoilboard = {spoilboard}'
    )


@pytest.mark.parametrize("cell", CELLS)
@pytest.mark.parametrize(("hole", "tool", "depth"), [(5.0, 4, -4.0), (10.0, 5, -4.0)])
def test_drilled_too_small__the_ring_is_as_wide_as_the_radii_differ(tmp_path, cell, hole, tool, depth):
    """Worked by hand: (5 - 4.2) / 2 and (10 - 9) / 2 mm."""
    status, found = check(tmp_path, plate(round_hole(hole)), drilled(tool, depth), cell, job())
    (one,) = steps(found)
    assert status == 1
    assert (one["severity"], one["line"]) == ("beyond", 6)
    assert one["value"] == pytest.approx({4: 0.4, 5: 0.5}[tool], abs=one["bound"])


@pytest.mark.parametrize("cell", CELLS)
def test_drilled_to_size__nothing_is_told(tmp_path, cell):
    status, found = check(tmp_path, plate(round_hole(9.0)), drilled(5, -4.0), cell, job())
    assert (status, steps(found)) == (0, [])


@pytest.mark.parametrize("cell", CELLS)
@pytest.mark.parametrize("less", [0.6, 1.2, 2.0])
def test_window_outlined_too_small__is_told(tmp_path, cell, less):
    """Its slug falls out; the wall stands proud by as much as the line lies inside, in its corners by more.

    There the round of radius 3 ends 3 (1 - 1/sqrt2) farther from either wall.
    """
    program = around(14 - 2 * less, 12 - 2 * less)
    status, found = check(tmp_path, plate(window(14, 12)), program, cell, job())
    told = [one for one in found if one["kind"] == "leftover-program" or "mm wide, not 6" in one["message"]]
    assert status == 1
    assert told
    for one in steps(found):
        assert less - one["bound"] <= one["value"] <= less + 3 * (1 - np.sqrt(0.5)) + one["bound"]


@pytest.mark.parametrize("cell", CELLS)
def test_window_with_square_corners__what_a_round_cutter_leaves_there_is_told(tmp_path, cell):
    """Its middle is 3 (1 - 1/sqrt2) = 0.879 mm from either wall."""
    _, found = check(tmp_path, plate(window(14, 12)), around(14, 12), cell, job())
    told = steps(found)
    assert len(told) == 4
    for one in told:
        assert one["value"] == pytest.approx(3 * (1 - np.sqrt(0.5)), abs=one["bound"])


def test_window_outlined_too_small__no_cutter_that_would_eat_the_part_is_suspected(tmp_path):
    """Only one wider by twice 0.8 would open it; one of 8 mm takes 0.2, one of 12 takes 2.2 of the part."""
    program = around(14 - 1.6, 12 - 1.6)
    _, found = check(tmp_path, plate(window(14, 12)), program, "0.2", job())
    words = " ".join(one["message"] for one in found)
    assert "12 mm" not in words
    assert "10 mm" not in words
