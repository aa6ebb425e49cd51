"""Jobs whose field is kept: a plain one with a target, and one with steps, arcs and three setups."""

from tests.small_job import block

HEAD = "G21 G90 G17\nT1 M6\nS18000 M3\nG0 Z5\n"
BLANK = "[blank]\nlength = 40\nwidth = 30\nthickness = 12\n"
CUTTER = '[cutters.1]\nshape = "flat"\ndiameter = 6\n'
SETUP = (
    '[[setups]]\nname = "{}"\nturn = "{}"\n'
    'zero = {{ corner = "left front", face = "top" }}\nprograms = [{}]\n'
)
TARGET = '[target]\nmesh = "part.stl"\nunits = "mm"\n[limits]\nthinnest_wall = 1\n'
STEPS = """\
[[steps]]
after = "one"
do = "pour"
side = 1
below = 0.2
[[steps]]
after = "one"
do = "thickness"
side = 1
thickness = 11.5
[[steps]]
after = "two"
do = "saw"
side = 1
box = [[1, 2], [38, 29]]
"""
ROWS = range(0, 31, 5)


def faced(depth, deeper=None):
    """Return a program that faces the blank; the row at y = 15 is as deep as `deeper`."""
    rows = [f"G0 X0 Y{y}\nG1 Z-{deeper if deeper and y == 15 else depth:g} F600\nX40\nG0 Z5\n" for y in ROWS]
    return HEAD + "".join(rows) + "M30\n"


def write_plain(folder, side1=None, side2=None):
    """Write a job that faces both sides; of side 1 the row at y = 15 is 0.5 mm too deep, unless stated."""
    folder.mkdir(exist_ok=True)
    block(0, 40, 0, 30, 1, 10).export(folder / "part.stl")
    (folder / "one.nc").write_text(side1 or faced(2, 2.5), encoding="utf-8")
    (folder / "two.nc").write_text(side2 or faced(1), encoding="utf-8")
    text = (
        BLANK + CUTTER + SETUP.format("one", "none", '"one.nc"') + SETUP.format("two", "about x", '"two.nc"')
    )
    (folder / "job.toml").write_text(text + TARGET, encoding="utf-8")
    return folder / "job.toml"


def write_stepped(folder):
    """Write a job of three setups with arcs, two programs in the first, and three steps."""
    folder.mkdir(exist_ok=True)
    arcs = "G0 X14 Y15\nG1 Z-3 F600\nG2 X14 Y15 I6 J0\nG18 G3 X26 Z-3 I6 K2\nG17 G0 Z5\n"
    slot = "G0 X4 Y5\nX5\nG1 Z-1 F600\nY25\nG0 Z5\n"
    under = "G0 X8 Y8\nG1 Z-2 F600\nX32\nG0 Z5\nG0 X10 Y20\nG1 Z-9.5\nX20\nG0 Z5\nX30\nG1 Z-1\nG0 Z5\n"
    for name, moves in (("arcs", arcs), ("slot", slot), ("under", under), ("last", slot + arcs)):
        (folder / f"{name}.nc").write_text(HEAD + moves + "M30\n", encoding="utf-8")
    setups = SETUP.format("one", "none", '"arcs.nc", "slot.nc"') + SETUP.format(
        "two", "about x", '"under.nc"'
    )
    cutter = CUTTER + "cutting_length = 1.5\n"
    text = BLANK + cutter + setups + SETUP.format("three", "none", '"last.nc"') + STEPS
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return folder / "job.toml"
