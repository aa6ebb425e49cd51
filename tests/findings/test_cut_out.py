"""A side that only cuts the part out, turned over the wrong way: the way is named, and no shift along Z."""

import json

import numpy as np
import pytest
import trimesh

from simkit.cli import main
from tests.outlined_parts import beside, tabbed

LENGTH, WIDTH, THICK, FACE = 80.0, 60.0, 14.0, 12.0
OUTLINE = np.array([[12, 14], [60, 10], [66, 30], [30, 48], [14, 40]], float)
HEAD = "G21 G90 G17\nT1 M6\nS18000 M3\nG0 Z20\n"
JOB = f"""\
[blank]
length = {LENGTH}
width = {WIDTH}
thickness = {THICK}
[cutters.1]
shape = "flat"
diameter = 6
[[setups]]
name = "top"
turn = "none"
zero = {{ corner = "left front", face = "top" }}
programs = ["top.nc"]
[[setups]]
name = "out"
turn = "TURN"
zero = {{ corner = "left front", face = "bottom" }}
programs = ["out.nc"]
[target]
mesh = "part.stl"
units = "mm"
anchor = "origin"
at = [0, 0, 0]
"""


def check(folder, turn, tabs, face="bottom"):
    hull = np.vstack([np.column_stack([OUTLINE, np.full(len(OUTLINE), z)]) for z in (0.0, FACE)])
    trimesh.convex.convex_hull(hull).export(folder / "part.stl")
    lines = [f"G0 X-4 Y0\nG1 Z{FACE - THICK} F900"]
    for k, y in enumerate(np.arange(0.0, WIDTH + 4, 4.0)):
        lines += [f"G1 Y{y:g}", f"X{LENGTH + 4 if k % 2 == 0 else -4:g}"]
    (folder / "top.nc").write_text(HEAD + "\n".join(lines) + "\nG0 Z20\nM5\nM30\n", encoding="utf-8")
    path = beside(OUTLINE, 3.0)
    places = tabbed(path, 1.5, 5.0, tabs)  # the faced surface lies 2 mm over the table
    places[:, 1] = WIDTH - places[:, 1]  # made for the blank turned about x
    x, y, z = places[0]
    lines = [f"G0 X{x:.4f} Y{y:.4f}\nG1 Z{z} F900", *(f"X{x:.4f} Y{y:.4f} Z{z}" for x, y, z in places[1:])]
    (folder / "out.nc").write_text(HEAD + "\n".join(lines) + "\nG0 Z20\nM5\nM30\n", encoding="utf-8")
    (folder / "job.toml").write_text(JOB.replace("TURN", turn).replace("bottom", face), encoding="utf-8")
    out = folder / "r.json"
    main(["check", str(folder / "job.toml"), "--quiet", "--cell", "0.5", "--json", str(out)])
    return json.loads(out.read_text("utf-8"))


@pytest.mark.parametrize("tabs", [0, 3])
def test_cut_out__wrong_turn_is_named_and_no_shift(tmp_path, tabs):
    result = check(tmp_path, "about y", tabs)
    (row,) = [one for one in result["findings"] if one["kind"] == "wrong-turn"]
    assert "edge over edge (about x: front edge to the back), not end over end" in row["message"]
    assert "they then cut round the part, as stated into the part" in row["message"]
    assert not [one["message"] for one in result["causes"] if "mm in Z" in one["message"]]
    # Thin walls beside the trench, between faces of side 1, and steps in the outer wall follow from it.
    (cause,) = [one for one in result["causes"] if one["severity"] not in ("warning", "note")]
    told = [one["kind"] for one in result["findings"] if one["cause"] == cause["number"]]
    assert {"wrong-turn", "break-through", "thin-wall", "leftover-program"} <= set(told)


@pytest.mark.parametrize("tabs", [0, 3])
def test_cut_out__right_turn_is_confirmed(tmp_path, tabs):
    result = check(tmp_path, "about x", tabs)
    assert not [one for one in result["findings"] if one["kind"] == "wrong-turn"]
    (said,) = [one for one in result["remarks"] if one.startswith("'out', turned over about x")]
    assert "confirmed" in said


def test_cut_out__zero_on_the_wrong_face_comes_first_and_no_deeper_spoilboard_is_advised(tmp_path):
    # Zero on the face that is up then, for a program made for the face on the table: all of it too high or,
    # where that is stated the other way round, into the table.
    result = check(tmp_path, "about x", 0, face="top")
    assert "wrong-turn" in [one["kind"] for one in result["findings"]]
    assert result["causes"][0]["kind"] == "wrong-turn"
    assert result["findings"][0]["kind"] == "wrong-turn"
    assert not [one for one in result["causes"] if "spoilboard" in (one["advice"] or "")]


@pytest.mark.parametrize("shift", [(9.0, 0.0), (5.0, 5.0), (-4.0, 6.0)])
@pytest.mark.parametrize("floor", [1.5, 2.0])
def test_cut_out__beside_its_place_and_through_the_part_no_shift_along_z(tmp_path, shift, floor):
    """A trench in the wrong place leaves a skin under the part: as deep as that is no zero along Z off."""
    hull = np.vstack([np.column_stack([OUTLINE, np.full(len(OUTLINE), z)]) for z in (2.0, THICK)])
    trimesh.convex.convex_hull(hull).export(tmp_path / "part.stl")
    path = beside(OUTLINE, 3.0) + shift
    (x, y), rest = path[0], [*path[1:], path[0]]
    lines = [f"G0 X{x:.4f} Y{y:.4f}\nG1 Z{floor} F900", *(f"X{x:.4f} Y{y:.4f}" for x, y in rest)]
    (tmp_path / "top.nc").write_text(HEAD + "\n".join(lines) + "\nG0 Z20\nM5\nM30\n", encoding="utf-8")
    first, second = JOB.index("[[setups]]"), JOB.rindex("[[setups]]")
    setup = JOB[first:second].replace('face = "top"', 'face = "bottom"')
    text = JOB[:first] + setup + JOB[JOB.index("[target]") :]
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    out = tmp_path / "r.json"
    main(["check", str(tmp_path / "job.toml"), "--quiet", "--cell", "0.5", "--json", str(out)])
    result = json.loads(out.read_text("utf-8"))
    assert [one for one in result["findings"] if one["kind"] == "break-through"]
    assert not [one["message"] for one in result["causes"] if " in Z" in one["message"]]
