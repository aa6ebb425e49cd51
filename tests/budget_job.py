"""A small part cut from two sides whose walls, corners, slopes and floor all stand where they should.

A block of 24 x 18 x 11.5 in a blank of 44 x 34 x 12, faced from side 1 and cut round from both sides; side 2
(turned about x) has a pocket with corners as round as its cutter and a groove cut with a pointed cutter.
"""

import re

import numpy as np
import trimesh

LENGTH, WIDTH, THICK = 44.0, 34.0, 12.0
X0, X1, Y0, Y1, TOP = 10.0, 34.0, 8.0, 26.0, 11.5  # the block
POCKET = (13.0, 31.5, 13.5, 23.0, 3.0)  # x0, x1, y0, y1 in the blank frame, depth
GROOVE = (14.0, 30.0, 10.5, 1.5)  # x0, x1, y of its middle, depth; sides of 45 degrees
RADIUS = 3.0

JOB = """\
[blank]
length = 44
width = 34
thickness = 12
species = "cherry"
grain = "along x"
[cutters.1]
shape = "flat"
diameter = 6
[cutters.2]
shape = "vee"
diameter = 6
point = 90
[[setups]]
name = "first"
turn = "none"
zero = {{ corner = "left front", face = "{face1}" }}
spoilboard = 6
programs = ["side1.nc"]
[[setups]]
name = "second"
turn = "about x"
zero = {{ corner = "left front", face = "{face2}" }}
spoilboard = 6
programs = ["side2.nc"]
[target]
mesh = "part.stl"
units = "mm"
[limits]
gouge = {gouge}
leftover = {leftover}
thinnest_wall = {wall}
witness_step = {step}
{more}
"""
HEAD = "G21 G90 G17\nT{tool} M6\nS18000 M3\nG0 Z{safe:g}\n"


def around(x0, x1, y0, y1, z, zero, safe):
    """A walk round a rectangle, its own corners left sharp."""
    places = [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]
    rows = [f"G0 X{x0:g} Y{y0:g}", f"G1 Z{z - zero:g} F600"]
    return "\n".join(rows + [f"X{x:g} Y{y:g}" for x, y in places[1:]] + [f"G0 Z{safe:g}", ""])


def programs(is_top=True, off=0.0):
    """Return the programs of both sides; is_top: of both zeros on top of the blank, else on the table.

    off mm: so much too far in does side 2 cut the left wall of the block.
    """
    zero = THICK if is_top else 0.0
    safe = THICK + 8 - zero
    outside = (X0 - 3, X1 + 3, Y0 - 3, Y1 + 3)
    back = (X0 - 3 + off, X1 + 3, WIDTH - Y1 - 3, WIDTH - Y0 + 3)
    first = HEAD.format(tool=1, safe=safe)
    for y in np.arange(Y0 - 1, Y1 + 4, 4.0):
        first += f"G0 X{X0 - 6:g} Y{y:g}\nG1 Z{TOP - zero:g} F600\nX{X1 + 6:g}\nG0 Z{safe:g}\n"
    first += around(*outside, 4.0, zero, safe) + "M30\n"
    second = HEAD.format(tool=1, safe=safe) + around(*back, 5.0, zero, safe)
    px0, px1, py0, py1, depth = POCKET
    low, high = WIDTH - py1, WIDTH - py0
    ring = [px0 + 3, px1 - 3, low + 3, high - 3]
    level = THICK - depth
    for inset in (0.0, 1.5):
        second += around(
            ring[0] + inset, ring[1] - inset, ring[2] + inset, ring[3] - inset, level, zero, safe
        )
    gx0, gx1, gy, gd = GROOVE
    second += f"T2 M6\nS18000 M3\nG0 Z{safe:g}\nG0 X{gx0:g} Y{WIDTH - gy:g}\nG1 Z{THICK - gd - zero:g} F600\n"
    second += f"X{gx1:g}\nG0 Z{safe:g}\nM30\n"
    return first, second


def half_round(program):
    """Return a program of side 2 for the blank swung half round: x and y from the other corner."""
    return re.sub(
        r"([XY])([\d.]+)",
        lambda word: f"{word[1]}{(LENGTH if word[1] == 'X' else WIDTH) - float(word[2]):g}",
        program,
    )


def _box(x0, x1, y0, y1, z0, z1):
    box = trimesh.creation.box(extents=(x1 - x0, y1 - y0, z1 - z0))
    box.apply_translation(((x0 + x1) / 2, (y0 + y1) / 2, (z0 + z1) / 2))
    return box


def _hull(points):
    return trimesh.convex.convex_hull(np.asarray(points, float))


def part():
    """The wanted part, as a mesh."""
    px0, px1, py0, py1, depth = POCKET
    angle = np.linspace(0, 2 * np.pi, 97)[:-1]
    circle = RADIUS * np.column_stack([np.cos(angle), np.sin(angle)])
    corners = [(x, y) for x in (px0 + RADIUS, px1 - RADIUS) for y in (py0 + RADIUS, py1 - RADIUS)]
    plan = np.concatenate([circle + corner for corner in corners])
    pocket = _hull([(x, y, z) for z in (-1.0, depth) for x, y in plan])
    gx0, gx1, gy, gd = GROOVE
    ring = (gd + 0.5) * np.column_stack([np.cos(angle), np.sin(angle)])
    ends = [(x + dx, gy + dy, -0.5) for x in (gx0, gx1) for dx, dy in ring] + [
        (x, gy, gd) for x in (gx0, gx1)
    ]
    block = _box(X0, X1, Y0, Y1, 0, TOP)
    return trimesh.boolean.difference([block, pocket, _hull(ends)], engine="manifold")


def write(folder, is_top=True, gouge=0.1, leftover=0.3, wall=2.0, step=0.2, more="", off=0.0):
    """Write the job and return the path of its job file.  more: further lines of it.  off: see programs."""
    first, second = programs(is_top, off)
    (folder / "side1.nc").write_text(first, encoding="utf-8")
    (folder / "side2.nc").write_text(second, encoding="utf-8")
    part().export(folder / "part.stl")
    face = "top" if is_top else "bottom"
    text = JOB.format(face1=face, face2=face, gouge=gouge, leftover=leftover, wall=wall, step=step, more=more)
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return folder / "job.toml"
