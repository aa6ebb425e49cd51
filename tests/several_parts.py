"""Two blocks on one blank, cut round from both sides; one has a pocket in side 2."""

import trimesh

from tests.small_job import block

LENGTH, WIDTH, THICK = 70.0, 30.0, 10.0
PARTS = ((8, 28, 8, 22), (40, 62, 8, 22))  # x0, x1, y0, y1, blank frame
POCKET = (44, 52, 11, 18, 3)  # in the second one: x0, x1, y0, y1 of its plan, depth; corners of 3 mm
SAFE = 10.0

JOB = """\
[blank]
length = 70
width = 30
thickness = 10
species = "cherry"
grain = "along x"
cutting_force = 20
[cutters.1]
shape = "flat"
diameter = 6
flutes = 2
[[setups]]
name = "first"
turn = "none"
zero = { corner = "left front", face = "top" }
programs = ["side1.nc"]
[[setups]]
name = "second"
turn = "about x"
zero = { corner = "left front", face = "top" }
programs = ["side2.nc"]
[target]
mesh = "parts.stl"
units = "mm"
[limits]
thinnest_wall = 2
"""
HOLD = """\
[[holding]]
kind = "tape"
grip = {grip}
box = [[5, 5], [65, 25]]
[[holding]]
kind = "screw"
at = [2, 2]
diameter = 3
[[holding]]
kind = "screw"
at = [2, 28]
diameter = 3
"""
HEAD = "G21 G90 G17\nT1 M6\nS18000 M3\nG0 Z10\n"


def around(x0, x1, y0, y1, z):
    places = [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]
    rows = [f"G0 X{x0:g} Y{y0:g}", f"G1 Z{z:g} F600", *(f"X{x:g} Y{y:g}" for x, y in places[1:]), "G0 Z10"]
    return "\n".join(rows) + "\n"


def _outside(part, is_turned=False):
    x0, x1, y0, y1 = part
    if is_turned:
        y0, y1 = WIDTH - y1, WIDTH - y0
    return x0 - 3, x1 + 3, y0 - 3, y1 + 3


def mesh():
    x0, x1, y0, y1, depth = POCKET
    hull = []
    for x in (x0 + 3, x1 - 3):
        for y in (y0 + 3, y1 - 3):
            corner = trimesh.creation.cylinder(3.0, depth + 1, sections=96)
            corner.apply_translation((x, y, depth - (depth + 1) / 2))
            hull.append(corner)
    pocket = trimesh.convex.convex_hull(trimesh.util.concatenate(hull).vertices)
    first, second = (block(*part, 0, THICK) for part in PARTS)
    return trimesh.util.concatenate([first, second.difference(pocket)])


def write(folder, grip=0.1, more="", second=None):
    """Write the job, return the path of its job file.  second: programs of side 2, None: the right ones."""
    mesh().export(folder / "parts.stl")
    first = "".join(around(*_outside(part), -6) for part in PARTS)
    x0, x1, y0, y1, depth = POCKET
    pocket = around(x0 + 3, x1 - 3, WIDTH - y1 + 3, WIDTH - y0 - 3, -depth)
    back = pocket + "".join(around(*_outside(part, True), -5) for part in PARTS)
    (folder / "side1.nc").write_text(f"{HEAD}{first}M5\nM30\n", encoding="utf-8")
    (folder / "side2.nc").write_text(f"{HEAD}{second or back}M5\nM30\n", encoding="utf-8")
    (folder / "job.toml").write_text(JOB + HOLD.format(grip=grip) + more, encoding="utf-8")
    return folder / "job.toml"
