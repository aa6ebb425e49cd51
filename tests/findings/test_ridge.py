"""Leftover between two passes that both touch a steep face: told as a ridge, with how far apart they lie."""

import numpy as np
import pytest
import trimesh

from tests.compare.parts import prism
from tests.small_job import HEAD, JOB, check

RADIUS, STEEP = 3.0, np.radians(75.0)
BALL = JOB.replace('shape = "flat"', 'shape = "ball"')
FOOT, BACK = 20.0, 20.0 + 7.0 / np.tan(STEEP)  # a face along y, from an upright edge at 3 to the top at 10


def ramp():
    """No floor: a ball leaves wood at the foot of a face, and here it goes past it."""
    return prism([(FOOT, 0), (40, 0), (40, 10), (BACK, 10), (FOOT, 3)], 0, 30)


def stepped():
    """The same with a floor just under the face."""
    wall = prism([(0, 0), (40, 0), (40, 2.9), (0, 2.9)], 0, 30)
    return trimesh.boolean.union([ramp(), wall], engine="manifold")


def program(step, proud=0.0, floor=0.0):
    """Passes along y, `step` apart in plan, of a ball lowered on the part as if it were `proud` mm larger."""
    x = np.linspace(-10, 50, 60001)
    z = np.where(x < FOOT, floor, np.interp(x, [FOOT, BACK], [3.0, 10.0]))
    radius, lines = RADIUS + proud, []
    for k, at in enumerate(np.arange(-3.0, 43.0, step)):
        away = np.abs(x - at)
        middle = (z + np.sqrt(np.maximum(radius**2 - away**2, 0.0)))[away <= radius].max()
        first, last = (-4, 34) if k % 2 == 0 else (34, -4)
        lines += [
            f"G0 Z20\nG0 X{at:.4f} Y{first}",
            f"G1 Z{middle - RADIUS:.4f} F600",
            f"G1 Y{last}",
        ]
    return HEAD + "\n".join(lines) + "\nG0 Z20\nM30\n"


def told(folder, text, part=None):
    _, rows = check(folder, part or ramp(), text, cell="0.4", job=BALL)
    return [row for row in rows if row["kind"].startswith("leftover")]


def test_ridge__of_passes_too_far_apart_for_a_steep_face(tmp_path):
    """Plane geometry: the lower ball takes nothing beyond its own radius in plan, and there the ridge stands.

    It lies R - s from the middle of the higher ball in plan, on its surface; the plane keeps R from it.
    """
    step = 0.8
    away = RADIUS - step
    height = RADIUS - away * np.sin(STEEP) - np.sqrt(RADIUS**2 - away**2) * np.cos(STEEP)
    assert height > 0.3
    rows = [row for row in told(tmp_path, program(step)) if "between passes" in row["message"]]
    assert rows
    for row in rows:
        assert row["kind"] == "leftover-program"
        assert row["value"] == pytest.approx(height, abs=row["bound"] + 0.01)
        assert "between passes of T1 6 mm ball that lie 0.80 mm apart" in row["message"]
        assert "bring them closer together" in row["advice"]


def test_ridge__is_not_what_the_ball_leaves_at_a_foot(tmp_path):
    """Passes of 0.2 mm: what stands at the foot of the face is the round of the ball, not a ridge."""
    (row,) = told(tmp_path, program(0.2, floor=2.9), part=stepped())
    assert row["kind"] == "leftover-cutter"
    assert "between passes" not in row["message"]


def test_ridge__is_not_what_stands_where_passes_kept_off(tmp_path):
    rows = told(tmp_path, program(0.8, proud=0.5))
    assert rows
    assert not [row for row in rows if "between passes" in row["message"]]
    assert any("did not go there" in row["message"] for row in rows)
