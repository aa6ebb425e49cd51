"""Jobs for shapes that open packages carry: elevation grids as relief slabs, closed meshes in the round.

    write(shape, folder) writes job.toml, the programs and the mesh of one shape.

A relief is cut on its face, the blank then turned about its length, brought to thickness and cut free;
or it is all cut from its face.  A closed mesh is cut half from each side and stands in its frame on tabs.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import carving
import numpy as np
import toolpaths

MARGIN = 24.0  # from the part to the edge of the blank: trench, frame, dowels


@dataclass
class Shape:
    """A closed mesh, mm, as it lies in its blank.

    vertices (n, 3), faces (m, 3); blank (length, width, thickness); skin (low, high) z of what both
    sides leave round the part.  way: "round" both sides carved, "relief" side 2 only a plane,
    "one side" nothing from below.
    """

    name: str
    source: str
    vertices: np.ndarray
    faces: np.ndarray
    blank: tuple[float, float, float]
    skin: tuple[float, float]
    way: str
    thinnest: float = 3.0
    step: float = 0.6
    rest: bool = True
    tabs: int = 4
    sections: dict = field(default_factory=dict)


def relief(name, source, heights, pitch, base, rise, way, **more):
    """Return the Shape of a slab under an elevation grid heights[j, i] (y, x), `pitch` mm apart.

    base mm: slab under the lowest place; rise mm: from there to the highest.
    """
    z = np.asarray(heights, dtype=float)
    z = base + rise * (z - z.min()) / (z.max() - z.min())
    ny, nx = z.shape
    bottom = 0.0 if way == "one side" else 2.0
    x, y = MARGIN + pitch * np.arange(nx), MARGIN + pitch * np.arange(ny)
    grid = np.stack([*np.meshgrid(x, y), z + bottom], axis=-1).reshape(-1, 3)
    low = grid * [1, 1, 0] + [0, 0, bottom]
    at = np.arange(nx * ny).reshape(ny, nx)
    a, b, c, d = (p.ravel() for p in (at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]))
    top = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    ring = np.concatenate([at[0], at[1:, -1], at[-1, -2::-1], at[-2:0:-1, 0]])
    after, n = np.roll(ring, -1), nx * ny
    sides = [np.column_stack([ring, ring + n, after]), np.column_stack([after, ring + n, after + n])]
    faces = np.concatenate([top, top[:, ::-1] + n, *sides])
    thickness = bottom + base + rise + 1.0
    blank = (x[-1] + MARGIN, y[-1] + MARGIN, float(np.ceil(thickness)))
    skin = (bottom, bottom + 2.5)
    return Shape(name, source, np.concatenate([grid, low]), faces, blank, skin, way, **more)


def in_the_round(name, source, vertices, faces, thickness, axes="xyz", **more):
    """Return the Shape of a closed mesh, scaled to a thickness; axes: which of its own become x, y, z."""
    order = ["xyz".index(axis) for axis in axes]
    v = np.asarray(vertices, dtype=float)[:, order]
    faces = np.asarray(faces)
    if np.linalg.det(np.eye(3)[order]) < 0:
        v = v * [1, -1, 1]
    low, high = v.min(axis=0), v.max(axis=0)
    v = (v - low) * (thickness / (high - low)[2]) + [MARGIN, MARGIN, 2.0]
    size = v.max(axis=0)
    blank = (float(np.ceil(size[0] + MARGIN)), float(np.ceil(size[1] + MARGIN)), float(np.ceil(size[2] + 2)))
    middle = blank[2] / 2
    return Shape(name, source, v, faces, blank, (middle - 1.25, middle + 1.25), "round", **more)


def dowels(shape):
    """Return the dowel places: name -> (x, y), on the line about which the blank is turned."""
    length, width, _ = shape.blank
    return {"left": (8.0, width / 2), "right": (length - 8.0, width / 2)}


def _program(shape, side):
    length, width, thickness = shape.blank
    blank = (length, width, thickness, "cherry")
    if side == 1:
        program = toolpaths.Program(
            lambda x, y, h: (x, y, h - thickness), False, thickness + carving.SAFE, thickness + carving.NEAR
        )
        zero = "left front corner, top of the blank"
    else:  # turned about its length: h = -z, and the zero is the face that was below
        program = toolpaths.Program(lambda x, y, h: (x, width - y, h), True, carving.SAFE, carving.NEAR)
        zero = "left front corner, top of the blank as it lies now"
    carving.header(program, f"{shape.name}, side {side}", blank, zero, ("T1 6 mm flat", "T2 6 mm ball"))
    corners = shape.vertices[shape.faces] * [1, 1, 1 if side == 1 else -1]
    top = thickness if side == 1 else 0.0
    floor = shape.skin[1] if side == 1 else -shape.skin[0]
    solid = carving.Solid(corners)
    skin = sorted(h if side == 1 else -h for h in shape.skin)
    tabs = carving.find_tabs(solid, skin, shape.tabs)
    return program, carving.Side(program, solid, top, floor, tabs, shape.way == "round")


def _finished(side, shape, ball_r):
    program = side.program
    program.change(2, "6 mm ball")
    side.finish(shape.step, ball_r)
    if shape.rest:
        program.change(3, "3 mm ball")
        side.rest()


def side1(shape, ball_r=carving.BALL_R):
    """Return the program of side 1.  ball_r: radius the finishing passes are made for."""
    program, side = _program(shape, 1)
    if shape.way != "one side":
        carving.dowel_holes(program, dowels(shape).values(), shape.blank[2])
    program.change(1, "6 mm flat")
    side.rough()
    _finished(side, shape, ball_r)
    program.change(1, "6 mm flat")
    side.contour()
    if shape.way == "one side":
        side.through(-0.3)
    program.finish()
    return program


def side2(shape, ball_r=carving.BALL_R):
    """Return the program of side 2, cut after turning the blank about its length."""
    program, side = _program(shape, 2)
    program.change(1, "6 mm flat")
    if shape.way == "relief":
        side.rough(allowance=0.0)
    else:
        side.rough()
        _finished(side, shape, ball_r)
        program.change(1, "6 mm flat")
        side.contour()
    side.through(-shape.skin[1] - 0.5)
    program.finish()
    return program


def without(program, start):
    """Return the text of a program with the lines of one section taken out, where it has that section."""
    lines = list(program.lines)
    for name, (first, last) in program.sections.items():
        if name.startswith(start):
            del lines[first - 1 : last]
            break
    return "\n".join(lines) + "\n"


def job_text(shape, turn="about x", offset="", cutters=carving.CUTTERS, name=""):
    """Return the job file's text."""
    setups = [("face", "none", "", "side1.nc")]
    if shape.way != "one side":
        setups.append(("turned", turn, offset, "side2.nc"))
    return carving.job_text(
        [name or shape.name, f"Shape: {shape.source}"],
        name or shape.name,
        shape.blank,
        setups,
        "part.stl",
        dowels(shape) if shape.way != "one side" else {},
        shape.thinnest,
        cutters,
    )


def write(shape, folder):
    """Write job, programs and mesh; return the programs."""
    folder.mkdir(parents=True, exist_ok=True)
    carving.write_stl(folder / "part.stl", shape.vertices, shape.faces, f"{shape.name}, mm")
    programs = [side1(shape)] if shape.way == "one side" else [side1(shape), side2(shape)]
    for i, program in enumerate(programs, 1):
        (folder / f"side{i}.nc").write_text(program.text())
    (folder / "job.toml").write_text(job_text(shape))
    return programs


def spoil(shape, programs, folder):
    """Write the same job with one mistake each; return name -> folder.

    zero: side 2 half a millimetre off in y.  no finish: the ball's passes left out.  fat ball: an
    8 mm ball in the holder where the program thinks of 6.  wrong turn: about y.
    """
    texts = [program.text() for program in programs]
    bare = [without(program, "part, passes") for program in programs]
    fat = re.sub(r'(shape = "ball"\ndiameter = )6', r"\g<1>8", carving.CUTTERS)
    jobs = {
        "no finish": (bare, {}),
        "fat ball": (texts, {"cutters": fat}),
    }
    if len(programs) == 2:
        jobs["zero"] = (texts, {"offset": ", offset = [0, 0.5, 0]"})
        jobs["wrong turn"] = (texts, {"turn": "about y"})
    made = {}
    for name, (lines, changes) in jobs.items():
        made[name] = folder / name.replace(" ", "_")
        made[name].mkdir(parents=True, exist_ok=True)
        carving.write_stl(made[name] / "part.stl", shape.vertices, shape.faces, f"{shape.name}, mm")
        for i, text in enumerate(lines, 1):
            (made[name] / f"side{i}.nc").write_text(text)
        (made[name] / "job.toml").write_text(job_text(shape, name=f"{shape.name}, {name}", **changes))
    return made
