"""A job file without a mistake, and the files it names."""

from __future__ import annotations

from pathlib import Path

GOOD_JOB = """\
name = "olive boat"
unit = "mm"

[blank]
length = 280
width = 90
thickness = 38

[cutters.1]
shape = "flat"
diameter = 6
flutes = 2
cutting_length = 25
stick_out = 40

[cutters.3]
shape = "drill"
diameter = 6
point = 118

[[setups]]
name = "outside"
turn = "none"
zero = { corner = "left front", face = "top", offset = [0, 0, 0] }
programs = ["side1.nc"]
cutter = 1

[[setups]]
name = "hollows"
turn = "about x"
zero = { corner = "left front", face = "top" }
programs = ["side2.nc"]
pins = [[8, 45], [268, 45]]

[target]
mesh = "part.stl"
units = "mm"

[[dowels]]
name = "left"
at = [8, 45]
diameter = 6

[[dowels]]
name = "right"
at = [268, 45]
diameter = 6

[limits]
gouge = 0.1
"""
POINTER = "version https://files.example/spec/v1\noid sha256:4d7a214614ab2935\nsize 12345\n"


def write_files(folder: Path) -> None:
    """Put beside a job file everything that good and bad jobs name."""
    for name in ("side1.nc", "side2.nc", "part.stl"):
        (folder / name).write_text("G21\n", encoding="utf-8")
    (folder / "jig").mkdir()
    (folder / "jig" / "job.toml").write_text("[blank]\n", encoding="utf-8")
    (folder / "empty.nc").write_text(" \n", encoding="utf-8")
    (folder / "pointer.nc").write_text(POINTER, encoding="utf-8")
    (folder / "folder").mkdir()
    (folder / "dead.nc").symlink_to("nowhere")
