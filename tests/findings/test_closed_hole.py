"""A hole through the part that no program opens, or not quite; a step in the wall of a job of one side."""

import numpy as np
import pytest
import trimesh

from tests.findings.programs import END
from tests.small_job import HEAD, block, check

# The whole blank with a hole of 16 x 12 through it, its corners a little less round than the cutter.
ROUND = np.exp(1j * np.arange(0, 2 * np.pi, 0.05)) * 2.99
RIM = np.concatenate([ROUND + x + 1j * y for x in (15, 25) for y in (12, 18)])
HOLE = trimesh.convex.convex_hull([(p.real, p.imag, z) for p in RIM for z in (-1, 13)])
PART = trimesh.boolean.difference([block(0, 40, 0, 30, 0, 12), HOLE], engine="manifold")


def hole(z):
    """A program that clears the hole down to a height over the table, its corners left round."""
    lines = ["G0 X15 Y12", f"G1 Z{z} F300", *(f"G1 X25 Y{y}\nX15\nY{y + 3}" for y in (12, 15)), "X25", "X15"]
    return HEAD + "\n".join(lines) + "\nY12\nX25\nY18\n" + END


@pytest.mark.parametrize(("z", "thick"), [(9.0, 9.0), (0.5, 0.5)])
def test_hole__closed_is_left_standing_with_its_thickness(tmp_path, z, thick):
    status, findings = check(tmp_path, PART, hole(z))
    told = [one for one in findings if "in a hole through the part" in one["message"]]
    assert status == 1
    assert [one["kind"] for one in told] == ["leftover-program"]
    assert told[0]["value"] == pytest.approx(thick, abs=1e-3)
    assert told[0]["side"] == 1


@pytest.mark.parametrize("z", [0.2, -0.0])
def test_hole__open_or_closed_by_less_than_the_limit_is_not_told(tmp_path, z):
    _, findings = check(tmp_path, PART, hole(z))
    assert not [one for one in findings if "in a hole through the part" in one["message"]]


def test_step__of_the_outer_wall_in_a_job_of_one_side_is_told_of_that_side(tmp_path):
    # Cut out a millimetre too far off, all round.
    out = HEAD + "G0 X6 Y6\nG1 Z0 F300\nX34 F1200\nY24\nX6\nY6\n" + END
    _, findings = check(tmp_path, block(10, 30, 10, 20, 0, 12), out, cell="0.2")
    steps = [one for one in findings if "stands out from the outer wall" in one["message"]]
    assert steps
    assert {(one["side"], one["kind"]) for one in steps} == {(1, "leftover-program")}
    assert max(one["value"] for one in steps) == pytest.approx(1.0, abs=max(one["bound"] for one in steps))
