"""A side off its place is told as well as the seam knows it, where its own cut shows it to cells alone."""

import json

import numpy as np
import pytest

from simkit.cli import main
from simkit.compare.offset import SideOffset
from simkit.compare.seam_fit import ShiftFit
from simkit.compare.seam_offset import with_seam
from tests.small_job import block

CELL = 0.5
JOB = """\
[blank]
length = 60
width = 50
thickness = 12
[cutters.1]
shape = "flat"
diameter = 6
[[setups]]
name = "top"
turn = "none"
zero = { corner = "left front", face = "top" }
programs = ["top.nc"]
[[setups]]
name = "under"
turn = "about x"
zero = { corner = "left front", face = "top", offset = [0, OFF, 0] }
programs = ["under.nc"]
[target]
mesh = "part.stl"
units = "mm"
[limits]
gouge = 0.1
leftover = 1.4
thinnest_wall = 0
"""


def side(depth):
    """Round the part of 40 x 30 in the middle of the blank, and a pocket of 20 x 12 to Z-3."""
    rows = ["G21 G90 G17", "T1 M6", "S18000 M3", "G0 Z10", "G0 X7 Y7"]
    for z in (depth / 2, depth):
        rows += [f"G1 Z{z:g} F300", "G1 X53 F1200", "Y43", "X7", "Y7"]
    rows += ["G0 Z10", "X23 Y22", "G1 Z-3 F300", "G1 X37 F1200"]
    rows += ["Y25", "X23", "Y28", "X37", "G1 Y22", "X23", "Y28", "G0 Z10", "M30"]
    return "\n".join(rows) + "\n"


def causes(folder, off):
    part = block(10, 50, 10, 40, 0, 12)
    for z0, z1 in ((9, 13), (-1, 3)):
        part = part.difference(block(20, 40, 19, 31, z0, z1))
    part.export(folder / "part.stl")
    (folder / "top.nc").write_text(side(-6.5), encoding="utf-8")
    (folder / "under.nc").write_text(side(-6.5), encoding="utf-8")
    (folder / "job.toml").write_text(JOB.replace("OFF", f"{off:g}"), encoding="utf-8")
    words = [str(folder / "job.toml"), "--quiet", "--cell", f"{CELL:g}", "--json", str(folder / "r.json")]
    main(["check", *words])
    return json.loads((folder / "r.json").read_text("utf-8"))


def test_headline__has_the_figure_of_the_seam(tmp_path):
    # Its own cut shows upright walls alone, and so the shift to no more than its cells.
    result = causes(tmp_path, 1)
    (cause,) = [one for one in result["causes"] if "lies off the part" in one["message"]]
    assert "lies off the part by +1.00 ±0.0" in cause["message"]
    assert "mm in Y (as its program counts; measured at the seam against side 1)" in cause["message"]
    assert "write offset = [0, 0, 0]" in cause["advice"]


def test_cutter__is_not_doubted_where_the_seam_shows_a_shift(tmp_path):
    result = causes(tmp_path, 0.7)
    assert any("side 2 lies off side 1 by -0.70" in one["message"] for one in result["findings"])
    assert not [one for one in result["causes"] if "looks as if" in one["message"]]


def fit(dx, dy, bound=0.02, turn=0.0, seen=(True, True, True)):
    bounds = tuple(bound if one else np.inf for one in seen)
    return ShiftFit(dx, dy, turn, (30.0, 25.0), np.array(seen), 0.0, (*bounds[:2], bounds[2] and 0.001))


ROUGH = SideOffset(2, (0.1, -0.6, 0.0), 0.3, 0.0, 0.6, (0.6, 0.6, 0.0))
RIGHT = SideOffset(1, (0.0, 0.01, 0.0), 0.0, 0.0, 0.0, (0.01, 0.01, 0.01))


def test_seam__tells_the_side_that_is_off():
    # What the fit tells is side 1 against side 2.
    first, second = with_seam([RIGHT, ROUGH], fit(0.0, 0.5))
    assert first is RIGHT
    assert second.shift == pytest.approx((0.0, -0.5, 0.0))
    assert (second.bound, second.rough, second.by_seam) == ((0.02, 0.02, 0.0), 0.0, (True, True))
    one = SideOffset(1, (0.1, 0.6, 0.0), 0.3, 0.0, 0.6, (0.6, 0.6, 0.0))
    assert with_seam([one], fit(0.0, 0.5))[0].shift == pytest.approx((0.0, 0.5, 0.0))


@pytest.mark.parametrize(
    ("offsets", "seam"),
    [
        ([RIGHT, ROUGH], fit(0.0, -0.5)),  # they do not agree
        ([RIGHT, ROUGH], fit(0.0, 0.5, bound=0.7)),  # no better
        ([RIGHT, ROUGH], fit(0.0, 0.5, turn=0.2)),  # turned: no one shift
        ([RIGHT], fit(0.0, 0.5)),  # nothing is off as a whole
        ([SideOffset(1, (0, 0.6, 0), 0.3, 0.0, 0.6, (0.6, 0.6, 0.0)), ROUGH], fit(0.0, 1.1)),  # both are
    ],
)
def test_seam__leaves_what_it_does_not_know_better(offsets, seam):
    assert with_seam(offsets, seam) == offsets


def test_seam__each_direction_by_itself():
    _, second = with_seam([RIGHT, ROUGH], fit(0.0, 0.5, seen=(False, True, True)))
    assert second.shift == pytest.approx((0.1, -0.5, 0.0))
    assert (second.bound, second.rough, second.by_seam) == ((0.6, 0.02, 0.0), 0.6, (False, True))
