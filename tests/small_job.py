"""A small job of one side that tests spoil: a blank 40 x 30 x 12, a 6 mm flat cutter, a target."""

import json

import trimesh

from simkit.cli import main

JOB = """\
[blank]
length = 40
width = 30
thickness = 12
[cutters.1]
shape = "flat"
diameter = 6
[[setups]]
name = "top"
turn = "none"
zero = { corner = "left front", face = "bottom" }
programs = ["top.nc"]
[target]
mesh = "part.stl"
units = "mm"
[limits]
gouge = 0.1
leftover = 0.3
thinnest_wall = 1
"""
HEAD = "G21 G90 G17\nT1 M6\nS18000 M3\nG0 Z20\n"


def check(folder, part, program, cell="0.5", job=JOB):
    part.export(folder / "part.stl")
    (folder / "top.nc").write_text(program, encoding="utf-8")
    (folder / "job.toml").write_text(job, encoding="utf-8")
    status = main(
        ["check", str(folder / "job.toml"), "--quiet", "--cell", cell, "--json", str(folder / "r.json")]
    )
    return status, json.loads((folder / "r.json").read_text("utf-8"))["findings"]


def block(x0, x1, y0, y1, z0, z1):
    box = trimesh.creation.box(extents=(x1 - x0, y1 - y0, z1 - z0))
    box.apply_translation(((x0 + x1) / 2, (y0 + y1) / 2, (z0 + z1) / 2))
    return box
