"""Notches in an upright wall, narrower than a cell: told when deeper than the limit, let pass when not."""

import numpy as np
import pytest
import trimesh

from tests.small_job import HEAD, JOB, check

LIMIT = 0.1  # mm, gouge
NEEDLE = 0.3  # mm, the cutter that makes the notch
JOB_OF_TWO = JOB.replace("[[setups]]", f'[cutters.2]\nshape = "flat"\ndiameter = {NEEDLE}\n[[setups]]', 1)


def shelf(wall, along):
    """The blank, 12 high on the left of a line in plan and 6 on its right: two solids that share no face."""
    across = np.array([along[1], -along[0]])  # to the right of the wall
    far = 200.0
    half = trimesh.creation.box(extents=(2 * far, far, 12.0))
    turn = np.eye(4)
    turn[:2, 0], turn[:2, 1] = along, -across
    turn[:3, 3] = *(wall - across * far / 2), 6.0
    half.apply_transform(turn)
    blank = trimesh.creation.box(bounds=[[0, 0, 0], [40, 30, 12]])
    lower = trimesh.creation.box(bounds=[[0, 0, 0], [40, 30, 6]])
    return trimesh.boolean.union([trimesh.boolean.intersection([blank, half], engine="manifold"), lower])


def program(wall, along, off, notch):
    """Clear the shelf with the 6 mm cutter, `off` short of the wall, and plunge the needle into the wall."""
    across = np.array([along[1], -along[0]])
    lines = [HEAD.rstrip()]
    for k in range(12):
        middle = wall + across * (3.0 + off + 4.0 * k)
        (x0, y0), (x1, y1) = middle - 60 * along, middle + 60 * along
        lines += [f"G0 X{x0:.6f} Y{y0:.6f}", "G1 Z6 F900", f"X{x1:.6f} Y{y1:.6f}", "G0 Z20"]
    x, y = wall + 1.3 * along + across * (NEEDLE / 2 - notch)
    lines += ["T2 M6", f"G0 X{x:.6f} Y{y:.6f}", "G1 Z6 F300", "G0 Z20", "M30"]
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("notch", [0.09, 0.115])
@pytest.mark.parametrize("degrees", [90.0, 73.0, 45.0])
def test_notch_in_a_wall__counts_by_its_depth(tmp_path, degrees, notch):
    along = np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
    wall = np.array([15.137, 14.911])
    status, findings = check(tmp_path, shelf(wall, along), program(wall, along, 0.0, notch), job=JOB_OF_TWO)
    gouges = [row for row in findings if row["kind"] == "gouge"]
    if notch < LIMIT:
        assert not gouges
        assert status == 0
    else:
        assert status == 1
        [one] = gouges
        # From the foot of the notch to the wall's face, and from the face to what is left of the wood.
        assert abs(one["value"]) <= notch + one["bound"] + 1e-6
        assert abs(one["value"]) > LIMIT
        assert one["at"][:2] == pytest.approx(wall + 1.3 * along, abs=0.3)
