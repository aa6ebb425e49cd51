"""Small jobs of several sorts, whose results hold every part that a result can have."""

from pathlib import Path

from tests.small_job import HEAD, JOB, block

TWO_SIDED = """\
name = "tray, two sides"
[blank]
length = 60
width = 40
thickness = 12
species = "cherry"
cutting_force = 20
[cutters.1]
shape = "flat"
diameter = 6
flutes = 2
chip_load = [0.3, 0.4]
slot_depth = 0.5
plunge_angle = 20
[cutters.2]
shape = "ball"
diameter = 6
[cutters.4]
shape = "drill"
diameter = 4
[[setups]]
name = "below"
turn = "none"
zero = { corner = "left front", face = "top" }
programs = ["below.nc"]
spoilboard = 1
[[setups]]
name = "above"
turn = "about x"
zero = { corner = "left front", face = "top" }
programs = ["above.nc"]
spoilboard = 1
[target]
mesh = "part.stl"
units = "mm"
[[dowels]]
name = "left"
at = [6, 20]
diameter = 4
pin = 3.97
[[dowels]]
name = "right"
at = [54, 20]
diameter = 4
pin = 3.97
[limits]
gouge = 0.1
leftover = 0.3
thinnest_wall = 3
cusp = 0.05
[[zones]]
name = "corner"
box = [[10, 8], [14, 12]]
side = 1
leftover = 1
[[zones]]
name = "middle"
box = [[28, 18], [32, 22]]
judged = false
[machine]
spindle = [8000, 16000]
[[holding]]
kind = "clamp"
setups = ["above"]
box = [[0, 0], [60, 40]]
"""


def _around(depth):
    """A contour 2.9 mm off a part that reaches from (12, 10) to (48, 30), so 0.1 mm is cut from its walls."""
    low_x, high_x, low_y, high_y = 12 - 2.9, 48 + 2.9, 10 - 2.9, 30 + 2.9
    return (
        f"G0 X{low_x} Y{low_y} Z5\nG1 Z{-depth} F300\nX{high_x} F1200\nY{high_y}\nX{low_x}\nY{low_y}\nG0 Z5\n"
    )


def _face(depth, step):
    lines, y = [], 8.0
    while y <= 32:
        lines.append(f"G0 X8 Y{y}\nG1 Z{-depth} F600\nX52 F1500\nG0 Z5\n")
        y += step
    return "".join(lines)


def write_two_sided(folder: Path) -> Path:
    """A part of 36 x 20 x 8 mm cut from both sides, faced by a ball and by a flat cutter."""
    head = "G21 G90 G17\n"
    drill = "T4 M6\nS9000 M3\nG0 Z5\nG0 X6 Y20\nG1 Z-12.5 F200\nG0 Z5\nX54\nG1 Z-12.5\nG0 Z5\n"
    below = (
        head + drill + "T1 M6\nS18000 M3\nG0 Z5\n" + _around(6.5) + "T2 M6\nS12000 M3\nG0 Z5\n" + _face(2, 2)
    )
    above = head + "T1 M6\nS18000 M3\nG0 Z5\n" + _around(6.5) + _face(2, 4) + "M30\n"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "below.nc").write_text(below + "M30\n", encoding="utf-8", newline="\n")
    (folder / "above.nc").write_text(above, encoding="utf-8", newline="\n")
    block(12, 48, 10, 30, 2, 10).export(folder / "part.stl")
    (folder / "job.toml").write_text(TWO_SIDED, encoding="utf-8", newline="\n")
    return folder / "job.toml"


def write_one_sided(folder: Path, left: float = 0.5, job: str = JOB) -> Path:
    """A slab of 8 mm, faced `left` mm too high."""
    folder.mkdir(parents=True, exist_ok=True)
    lines = [HEAD]
    for k in range(9):
        lines.append(f"G0 X-5 Y{-1 + 4 * k}\nG1 Z{8 + left:.2f} F600\nX45 F1200\nG0 Z20\n")
    (folder / "top.nc").write_text("".join(lines) + "M30\n", encoding="utf-8", newline="\n")
    block(0, 40, 0, 30, 0, 8).export(folder / "part.stl")
    (folder / "job.toml").write_text(job, encoding="utf-8", newline="\n")
    return folder / "job.toml"


def write_without_target(folder: Path) -> Path:
    """The same without a target, and with a word that the reader warns of."""
    path = write_one_sided(folder, job=JOB[: JOB.index("[target]")])
    text = (folder / "top.nc").read_text("utf-8").replace("M30\n", "")
    (folder / "top.nc").write_text(text, encoding="utf-8", newline="\n")
    return path
