"""What is told as a whole side off its place: a zero that is wrong, and no line, cutter or point angle."""

import json
import math

import numpy as np
import pytest
import trimesh

from tests.small_job import HEAD, JOB, block, check

TOP = 'face = "bottom" }'
TWO = '[cutters.2]\nshape = "flat"\ndiameter = 6\n[[setups]]'


def job(offset="[0, 0, 0]", cutters="[[setups]]"):
    """The small job, its zero on top of the blank."""
    return JOB.replace(TOP, f'face = "top", offset = {offset} }}').replace("[[setups]]", cutters)


def pocket(x0, x1, y0, y1, depth, radius=3.0):
    """What a flat cutter takes away: a pocket with round corners."""
    points = [
        (
            x + radius * math.cos(math.radians(angle)),
            y + radius * math.sin(math.radians(angle)),
            z,
        )
        for z in (12 - depth, 13)
        for x in (x0 + radius, x1 - radius)
        for y in (y0 + radius, y1 - radius)
        for angle in np.arange(0, 360, 3.75)
    ]
    return trimesh.convex.convex_hull(np.array(points))


def cleared(x0, x1, y0, y1, depth, radius=3.0):
    """A pocket cleared row by row, then once along its walls."""
    x0, x1, y0, y1 = x0 + radius, x1 - radius, y0 + radius, y1 - radius
    lines = [f"G0 Z5\nG0 X{x0} Y{y0}\nG1 Z{-depth} F400"]
    rows = np.append(np.arange(y0, y1, 2.5), y1)
    for k, y in enumerate(rows):
        lines += [f"G1 Y{y:g} F1500", f"G1 X{x1 if k % 2 == 0 else x0}"]
    lines += [f"G1 X{x} Y{y}" for x, y in ((x1, y1), (x1, y0), (x0, y0), (x0, y1), (x1, y1))]
    return "\n".join(lines) + "\n"


def told(folder, part, program, cell, job):
    check(folder, part, HEAD + program + "G0 Z20\nM30\n", cell, job)
    result = json.loads((folder / "r.json").read_text("utf-8"))
    return [cause for cause in result["causes"] if "lies off" in cause["message"]], result["findings"]


FLOOR = (20.1, 34.3, 6.07, 20.9)


@pytest.mark.parametrize(("cell", "depth"), [("0.2", 0.12), ("0.5", 0.25)])
def test_line__too_deep_is_no_shift(tmp_path, cell, depth):
    part = block(0, 40, 0, 30, 0, 12).difference(pocket(*FLOOR, 4))
    line = f"G0 Z5\nG0 X26.4 Y10.2\nG1 Z{-4 - depth} F400\nG1 X27.2 Y16.1\n"
    causes, findings = told(tmp_path, part, cleared(*FLOOR, 4) + line, cell, job())
    assert causes == []
    (gouge,) = [one for one in findings if one["kind"] == "gouge"]
    assert gouge["value"] == pytest.approx(depth, abs=0.01)


@pytest.mark.parametrize("angle", [40, 90])
def test_vee__of_another_angle_is_no_shift(tmp_path, angle):
    """The groove of a vee of 60 degrees, 2 mm deep."""
    ends, reach = ((12.0, 11.0), (27.0, 18.0)), 3 * math.tan(math.radians(30))
    turns = np.radians(np.arange(0, 360, 7.5))
    tops = [(x + reach * math.cos(t), y + reach * math.sin(t), 13.0) for x, y in ends for t in turns]
    groove = trimesh.convex.convex_hull(np.array(tops + [(x, y, 10.0) for x, y in ends]))
    stated = job().replace('shape = "flat"\ndiameter = 6', f'shape = "vee"\ndiameter = 10\npoint = {angle}')
    program = "G0 Z5\nG0 X12 Y11\nG1 Z-2 F400\nG1 X27 Y18\n"
    causes, findings = told(tmp_path, block(0, 40, 0, 30, 0, 12).difference(groove), program, "0.2", stated)
    assert causes == []
    assert findings


SMALL, LARGE = (4.1, 11.3, 6.1, 23.9), (17.0, 36.0, 6.2, 23.9)


@pytest.mark.parametrize("second", [1, 2])
def test_pocket__beside_one_that_is_right_is_no_shift(tmp_path, second):
    """0.25 too deep: a length of a cutter, or a depth typed wrong, but no zero."""
    part = block(0, 40, 0, 30, 0, 12).difference(pocket(*SMALL, 4)).difference(pocket(*LARGE, 4))
    call = "G0 Z20\nT2 M6\nS18000 M3\n" if second == 2 else ""
    program = cleared(*SMALL, 4) + call + cleared(*LARGE, 4.25)
    causes, findings = told(tmp_path, part, program, "0.4", job(cutters=TWO))
    assert causes == []
    assert [one["value"] for one in findings if one["kind"] == "gouge"] == [pytest.approx(0.25, abs=0.01)]


@pytest.mark.parametrize(
    ("offset", "words"),
    [("[0, 0, -0.25]", "-0.25 ±0.01 mm in Z"), ("[1.2, 0, 0]", "in X"), ("[2.1, -1, -0.2]", "in Y, -0.20")],
)
def test_zero__that_is_wrong_is_told(tmp_path, offset, words):
    part = block(0, 40, 0, 30, 0, 12).difference(pocket(*SMALL, 4)).difference(pocket(*LARGE, 4))
    program = cleared(*SMALL, 4) + "G0 Z20\nT2 M6\nS18000 M3\n" + cleared(*LARGE, 4)
    causes, _ = told(tmp_path, part, program, "0.4", job(offset, TWO))
    (cause,) = causes
    assert "all that side 1 cut lies off the part by" in cause["message"]
    assert words in cause["message"]
