"""Contacts of shank, holder, fixtures and table, travel and unsafe heights: planted, each on its line."""

import json

import numpy as np
import pytest
import trimesh

from simkit.cli import main
from tests.findings.programs import END, dug, faced
from tests.small_job import JOB, block

PLAIN = JOB.replace('[target]\nmesh = "part.stl"\nunits = "mm"\n', "spoilboard = 3\n")
GOOD = faced(10)
MACHINE = "[machine]\nlow = [0, 0, -100]\nhigh = [300, 200, 0]\n"


def found(folder, program, job=PLAIN, cell="0.25"):
    """Exit status and the rows of a check."""
    (folder / "top.nc").write_text(program, encoding="utf-8")
    (folder / "job.toml").write_text(job, encoding="utf-8")
    words = ["check", str(folder / "job.toml"), "--quiet", "--cell", cell, "--json", str(folder / "r.json")]
    return main(words), json.loads((folder / "r.json").read_text("utf-8"))["findings"]


def line_of(program, text, nth=0):
    return [n for n, line in enumerate(program.splitlines(), 1) if line == text][nth]


def test_good_program__nothing_is_told(tmp_path):
    job = PLAIN.replace(
        "diameter = 6",
        "diameter = 6\ncutting_length = 12\nshank = 6\nstick_out = 30\nholder = [[30, 30, 20]]",
    )
    job = job.replace("spoilboard = 3", "spoilboard = 3\nmachine_zero = [100, 80, -60]") + MACHINE
    job += '[[fixtures]]\nname = "clamp"\nheight = 20\nbox = [[-40, 5], [-20, 25]]\n'
    assert found(tmp_path, GOOD, job) == (0, [])


def test_shank__slot_deeper_than_the_edges(tmp_path):
    program = dug(GOOD, (10, 15, 2, 30, 15), (10, 15, 1, 30, 15))
    job = PLAIN.replace("diameter = 6", "diameter = 6\ncutting_length = 5\nshank = 6")
    status, rows = found(tmp_path, program, job)
    assert (status, len(rows)) == (1, 1)
    row = rows[0]
    assert (row["kind"], row["severity"]) == ("shank-contact", "safety")
    # From 10 down to 2, with edges of 5: 3 mm of wood stand above them; the second time the slot is open.
    assert row["value"] == pytest.approx(3.0, abs=1e-4)
    assert row["line"] == line_of(program, "G1 X30 Y15")
    assert row["program_at"][2] == pytest.approx(10.0)
    # Edges as long as all that may stand there: 5 and 3 mm and the bound, rounded up.
    assert 8.0 + row["bound"] == pytest.approx(8.19, abs=0.005)
    assert "at least 8.2 mm long" in row["advice"]


def test_shank__edges_as_long_as_advised_are_long_enough(tmp_path):
    """What coarse cells advise holds on fine ones."""
    program = dug(GOOD, (10, 15, 2, 30, 15.3))
    job = PLAIN.replace("diameter = 6", "diameter = 4\ncutting_length = 5\nshank = 6")
    advised = found(tmp_path, program, job, cell="0.5")[1][0]["advice"].split("at least ")[1].split(" mm")[0]
    longer = job.replace("cutting_length = 5", f"cutting_length = {advised}")
    kinds = [row["kind"] for row in found(tmp_path, program, longer, cell="0.1")[1]]
    assert "shank-contact" not in kinds


def test_holder__comes_down_on_the_wood_beside_a_hole(tmp_path):
    program = dug(GOOD, (20, 15, 1))
    cutter = "diameter = 6\ncutting_length = 8\nshank = 6\nstick_out = 8\nholder = [[20, 20, 30]]"
    status, rows = found(tmp_path, program, PLAIN.replace("diameter = 6", cutter))
    holder = [row for row in rows if row["kind"] == "holder-contact"]
    assert (status, len(holder)) == (1, 1)
    assert holder[0]["value"] == pytest.approx(10 - (1 + 8), abs=1e-4)
    assert holder[0]["line"] == line_of(program, "G1 Z1 F300")
    # 1 mm into the wood, and the 2 mm of machine.clearance, as on the sheet for the shop.
    assert "stick out 11.0 mm or more instead of 8 mm" in holder[0]["advice"]
    assert "keeps the holder 2 mm above the wood" in holder[0]["advice"]


def test_table__deeper_than_the_spoilboard(tmp_path):
    program = dug(GOOD, (20, 15, -3), (20, 15, -4.5))
    status, rows = found(tmp_path, program)
    assert (status, [row["kind"] for row in rows]) == (1, ["table-contact"])
    assert rows[0]["value"] == pytest.approx(1.5)
    assert rows[0]["line"] == line_of(program, "G1 Z-4.5 F300")
    status, rows = found(tmp_path, program, PLAIN.replace("spoilboard = 3\n", ""))
    # Line, depth and place are of one move, the deepest; where it begins is told beside them.
    assert rows[0]["line"] == line_of(program, "G1 Z-4.5 F300")
    assert (rows[0]["value"], rows[0]["program_at"][2]) == (pytest.approx(4.5), pytest.approx(-4.5))
    assert "the job states no spoilboard" in rows[0]["message"]
    assert f"the first in line {line_of(program, 'G1 Z-3 F300')}" in rows[0]["message"]
    assert found(tmp_path, program, PLAIN.replace("spoilboard = 3", "spoilboard = 5"))[0] == 0


@pytest.mark.parametrize(
    ("zero", "told"),
    [
        ("[5, 80, -60]", []),
        ("[4.5, 80, -60]", ["X goes 0.50 mm beyond the low end of travel"]),
        (
            "[256, 169, -60]",
            ["X goes 1.00 mm beyond the high end of travel", "Y goes 1.00 mm beyond the high"],
        ),
        ("[100, 80, -19]", ["Z goes 1.00 mm beyond the high end of travel"]),
    ],
)
def test_travel__every_axis_and_end(tmp_path, zero, told):
    # The program goes from -5 to 45 in X, 0 to 32 in Y, and up to 20.
    job = PLAIN.replace("spoilboard = 3", f"spoilboard = 3\nmachine_zero = {zero}") + MACHINE
    status, rows = found(tmp_path, GOOD, job)
    assert status == (1 if told else 0)
    assert len(rows) == len(told)
    for row, words in zip(rows, told, strict=True):
        assert row["kind"] == "travel"
        assert row["message"].startswith(words)


def test_arc__place_of_its_outermost_point(tmp_path):
    # Half a circle of radius 10 in XZ below X20 Z8: its lowest point is X20 Z-2, not its end. G2 is
    # clockwise as seen from +Y (NISTIR 6556), from where +X is to the left: down first.
    half = "G18 G3 X30 Z8 I10 K0"
    program = GOOD.removesuffix(END) + f"G0 Z20\nG0 X10 Y15\nG1 Z8 F300\n{half}\nG17\n" + END
    line = line_of(program, half)
    sunk = program.replace("G18 G3", "G18 G2")
    assert found(tmp_path, program, PLAIN.replace("spoilboard = 3\n", ""))[0] == 0
    status, (row,) = found(tmp_path, sunk, PLAIN.replace("spoilboard = 3\n", ""))
    assert (status, row["kind"], row["line"]) == (1, "table-contact", line)
    assert row["value"] == pytest.approx(2.0)
    assert row["at"] == pytest.approx([20, 15, -2], abs=1e-6)
    # A whole circle of radius 18 about X20 Y15: -3 to 33 in Y; the program else goes from 0 to 32.
    program = GOOD.removesuffix(END) + "G0 Z20\nG0 X2 Y15\nG1 Z9 F300\nG3 I18 J0\n" + END
    for zero, at in (("[10, 2, -60]", [20, -3, 9]), ("[10, 167.5, -60]", [20, 33, 9])):
        job = PLAIN.replace("spoilboard = 3", f"spoilboard = 3\nmachine_zero = {zero}") + MACHINE
        _, (row,) = found(tmp_path, program, job)
        assert (row["kind"], row["line"]) == ("travel", line_of(program, "G3 I18 J0"))
        assert row["at"] == pytest.approx(at, abs=1e-6)


@pytest.mark.parametrize(
    ("shape", "away"),
    [("box = [[40, 0], [60, 30]]", 40.0), ("at = [55, 16]\ndiameter = 20", 45.0)],
    ids=["box", "round"],
)
def test_fixture__first_move_that_comes_too_near(tmp_path, shape, away):
    fixture = f'[[fixtures]]\nname = "stop"\nheight = 13\n{shape}\n'
    status, rows = found(tmp_path, GOOD, PLAIN + fixture)
    assert (status, len(rows)) == (1, 1)
    row = rows[0]
    assert (row["kind"], row["severity"], row["subject"]) == ("fixture-contact", "safety", "stop")
    # Passes run at 10, out to X45, with the cutter 3 mm round that: 13 + 2 mm of clearance - 10.
    assert row["value"] == pytest.approx(5.0, abs=1e-4)
    first = "X45.0" if "box" in shape else None
    if first:
        assert row["line"] == line_of(GOOD, first)
    # Low enough, far enough, or in another setup it is no contact.
    assert found(tmp_path, GOOD, PLAIN + fixture.replace("13", "7.9"))[0] == 0
    for apart, status in ((50.5, 0), (50.0, 0), (49.995, 1), (49.9, 1)):
        far = fixture.replace("[[40, 0], [60, 30]]", f"[[{apart}, 0], [60, 30]]")
        far = far.replace("[55, 16]", f"[{apart + 10}, 16]")
        assert found(tmp_path, GOOD, PLAIN + far)[0] == status, apart
    # At the clearance above it is no contact either.
    assert found(tmp_path, GOOD, PLAIN + fixture.replace("13", "8"))[0] == 0
    assert found(tmp_path, GOOD, PLAIN + fixture.replace("13", "8.01"))[0] == 1


def test_fixture__a_rapid_through_a_clamp_and_a_shank_beside_one(tmp_path):
    clamp = '[[fixtures]]\nname = "clamp"\nheight = 18\nbox = [[-30, 10], [-15, 20]]\n'
    program = GOOD.replace("G0 X-5.0 Y0 Z20", "G0 X-40 Y15 Z20\nG0 Z16\nG0 X-8\nG0 Z20\nG0 X-5.0 Y0 Z20")
    status, rows = found(tmp_path, program, PLAIN + clamp)
    (row,) = [row for row in rows if row["kind"] == "fixture-contact"]
    assert status == 1
    assert row["line"] == line_of(program, "G0 X-8")
    assert row["message"].startswith("a rapid takes the cutting part")
    assert row["value"] == pytest.approx(18 + 2 - 16, abs=1e-4)
    # A holder 40 mm wide, 12 mm above the tip: over the pass at X-5 it hangs over the clamp at X-15.
    cutter = "diameter = 6\nstick_out = 9\nholder = [[40, 40, 20]]"
    status, rows = found(tmp_path, GOOD, PLAIN.replace("diameter = 6", cutter) + clamp)
    (row,) = [row for row in rows if row["kind"] == "fixture-contact"]
    assert "the holder of T1" in row["message"]
    assert row["value"] == pytest.approx(18 + 2 - (10 + 9), abs=1e-4)


def test_fixture__all_figures_are_of_the_move_that_goes_deepest(tmp_path):
    """A rapid of one cutter comes too near, then a feed move of another goes deeper at another place."""
    clamp = '[[fixtures]]\nname = "clamp"\nheight = 18\nbox = [[-30, 10], [-15, 20]]\n'
    rapid, feed = "G0 X-20 Z19", "G1 X-25 Z11 F500"
    ways = f"G0 Z30\nX-40 Y12\n{rapid}\nG0 Z30\nT2 M6\nM3 S9000\nG0 X-25 Y18\n{feed}\nG0 Z30\nM30\n"
    program = GOOD.removesuffix(END) + ways
    job = PLAIN.replace("[[setups]]", '[cutters.2]\nshape = "flat"\ndiameter = 4\n[[setups]]')
    _, rows = found(tmp_path, program, job + clamp)
    (row,) = [row for row in rows if row["kind"] == "fixture-contact"]
    assert (row["line"], row["cutter"].split()[0]) == (line_of(program, feed), "T2")
    assert row["message"].startswith("a feed move takes the cutting part of T2 ")
    assert row["value"] == pytest.approx(18 + 2 - 11, abs=1e-4)
    x, y, z = row["program_at"]
    assert np.hypot(x + 25, y - 18) <= 2 + 1e-6  # under that cutter, not where the rapid went
    assert z == pytest.approx(11)
    assert row["message"].endswith(f"such moves, the first in line {line_of(program, rapid)}")


def test_fixtures__as_deep_as_each_other_stand_in_the_order_of_the_work(tmp_path):
    # Passes run at 10 from Y0 to Y32; both stops are 13 high, the one that is met last is stated first.
    words = '[[fixtures]]\nname = "{}"\nheight = 13\nbox = [[45, {}], [60, {}]]\n'
    _, rows = found(tmp_path, GOOD, PLAIN + words.format("late", 24, 30) + words.format("early", -8, -2))
    assert [row["subject"] for row in rows] == ["early", "late"]
    assert rows[0]["value"] == pytest.approx(rows[1]["value"], abs=1e-4)
    assert rows[0]["line"] < rows[1]["line"]


def test_travel__line_and_place_are_of_the_farthest_move(tmp_path):
    program = GOOD.removesuffix(END) + "G0 Z20\nG0 X-12\nG0 X-15\nG0 X0\n" + END
    job = PLAIN.replace("spoilboard = 3", "spoilboard = 3\nmachine_zero = [10, 80, -60]") + MACHINE
    _, rows = found(tmp_path, program, job)
    (row,) = [row for row in rows if row["kind"] == "travel"]
    assert (row["line"], row["value"]) == (line_of(program, "G0 X-15"), pytest.approx(5))
    assert row["program_at"][0] == pytest.approx(-15)
    assert f"the worst of 3 such moves, the first in line {line_of(program, 'G0 X-12')}" in row["message"]


def gallows(folder, name="gallows.stl", scale=1.0):
    """A clamp of two bars, 20 x 10 x 30: an arm over what is under it, and a post at its left."""
    parts = [block(0, 20, 0, 10, 25, 30), block(0, 4, 0, 10, 0, 25)]
    made = trimesh.boolean.union(parts)
    made.apply_scale(scale)
    made.export(folder / name)


def test_fixture__a_mesh_is_as_high_as_its_form_and_solid_below(tmp_path):
    made = trimesh.boolean.union([block(0, 20, 0, 10, 0, 5), block(0, 4, 0, 10, 0, 30)])
    made.export(tmp_path / "step.stl")
    words = '[[fixtures]]\nname = "step"\nheight = 30\nbox = [[-25, 10], [-5, 20]]\n'
    # Passes run at 10 from X-5 on: over the low part of the step, at 5, past the high one at X-21.
    assert found(tmp_path, GOOD, PLAIN + words)[0] == 1
    assert found(tmp_path, GOOD, PLAIN + words + 'mesh = "step.stl"\n')[0] == 0
    gallows(tmp_path)
    status, rows = found(tmp_path, GOOD, PLAIN + words + 'mesh = "gallows.stl"\n')
    assert (status, [row["kind"] for row in rows]) == (1, ["fixture-contact"])
    assert rows[0]["value"] == pytest.approx(30 + 2 - 10, abs=1e-4)
    # The same in inches, as its unit says.
    gallows(tmp_path, "inches.stl", 1 / 25.4)
    same = found(tmp_path, GOOD, PLAIN + words + 'mesh = "inches.stl"\nunits = "in"\n')[1]
    assert same[0]["value"] == pytest.approx(rows[0]["value"], abs=1e-3)


def test_fixture__a_mesh_of_another_size_is_refused(tmp_path, capsys):
    gallows(tmp_path)
    fixture = '[[fixtures]]\nname = "clamp"\nheight = 30\nbox = [[-25, 10], [-5, 20]]\n'
    fixture += 'mesh = "gallows.stl"\nunits = "in"\n'
    (tmp_path / "top.nc").write_text(GOOD, encoding="utf-8")
    (tmp_path / "job.toml").write_text(PLAIN + fixture, encoding="utf-8")
    assert main(["check", str(tmp_path / "job.toml"), "--quiet"]) == 2
    told = capsys.readouterr().err
    assert "[fixtures #1, mesh]: found 'gallows.stl' of 508 x 254 x 762 mm in in" in told
    assert "expected the size that box and height say, 20 x 10 x 30 mm" in told
    made = trimesh.load_mesh(tmp_path / "gallows.stl")
    made.update_faces(np.arange(len(made.faces)) > 0)
    made.export(tmp_path / "gallows.stl")
    (tmp_path / "job.toml").write_text(PLAIN + fixture.replace('units = "in"', ""), encoding="utf-8")
    assert main(["check", str(tmp_path / "job.toml"), "--quiet"]) == 2
    assert "[fixtures #1, mesh]" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("old", "new", "what", "text", "depth"),
    [
        # At the end it is held against what is left, 10 high; before that against the blank, 12 high.
        (END, "G0 Z20\nG0 X20 Y15\nG1 Z8\nM30\n", "end", "G1 Z8", 2.0),
        ("G0 Z20\nG0 X-5.0 Y0 Z20", "G0 X10 Y10 Z8\nG0 Z20\nG0 X-5.0 Y0", "begin", "G0 X10 Y10 Z8", 4.0),
        (END, "G0 Z20\nG0 X20 Y15\nG1 Z9\nT2 M6\nG0 Z20\nM30\n", "change", "G1 Z9", 3.0),
    ],
    ids=["end", "begin", "change"],
)
def test_height__where_the_tip_stands_below_the_top(tmp_path, old, new, what, text, depth):
    program = GOOD.replace(old, new)
    job = PLAIN.replace("[[setups]]", '[cutters.2]\nshape = "ball"\ndiameter = 6\n[[setups]]')
    status, rows = found(tmp_path, program, job)
    (row,) = [row for row in rows if row["kind"] == "unsafe-height"]
    assert (status, row["subject"], row["line"]) == (1, what, line_of(program, text))
    assert row["value"] == pytest.approx(depth)


@pytest.mark.parametrize(
    ("begin", "is_told"),
    [
        ("G0 X-5 Y0 Z10.5", True),  # from anywhere, perhaps through the wood
        ("G0 Z10.5\nG0 X-5 Y0", True),
        ("G0 X-5 Y0\nG0 Z10.5", False),  # straight down beside the blank
        ("G0 X-5 Y0\nG0 X-5 Y0 Z10.5", False),
        ("G0 X-5 Y0 Z12.5\nG0 Z10.5", False),
        ("G0 X-5\nG0 Y0 Z10.5", True),
    ],
)
def test_height__first_place_low_beside_the_blank(tmp_path, begin, is_told):
    program = GOOD.replace("G0 Z20\nG0 X-5.0 Y0 Z20", begin)
    status, rows = found(tmp_path, program)
    assert status == is_told
    told = [(row["kind"], row["subject"], row["line"]) for row in rows]
    assert told == ([("unsafe-height", "begin", 3 + len(begin.splitlines()))] if is_told else [])
    if is_told:
        assert rows[0]["value"] == pytest.approx(1.5)  # the blank is 12 high
        assert "1.50 mm below the top of the wood, beside the blank, and how" in rows[0]["message"]


def test_safety__cannot_be_accepted_away(tmp_path):
    program = dug(GOOD, (20, 15, -4.5))
    _, rows = found(tmp_path, program)
    accepted = f'[[accepted]]\nid = "{rows[0]["id"]}"\nvalue = 9\nreason = "old board"\n'
    status, rows = found(tmp_path, program, PLAIN + accepted)
    assert (status, rows[0]["severity"]) == (1, "safety")
    assert "cannot be accepted" in rows[0]["returned"]


def test_spoilboard__without_a_job_file(tmp_path):
    (tmp_path / "top.nc").write_text(dug(GOOD, (20, 15, -2)), encoding="utf-8")
    words = ["check", str(tmp_path / "top.nc"), "--blank", "40x30x12", "--cutter", "1=flat:6", "--quiet"]
    words += ["--zero", "left front bottom", "--cell", "0.5"]
    assert main(words) == 1
    assert main([*words, "--spoilboard", "3"]) == 0


WIDE = "diameter = 6\ncutting_length = 4\nshank = 3\nstick_out = 40"
BRIDGE = '[[fixtures]]\nname = "bridge"\nheight = 30\nbottom = {}\nbox = [[-60, 10], [-30, 20]]\n'


def under(y):
    """A way in from far off, 2 mm over the table, along the edge of the bridge and back."""
    return GOOD.replace("M30", f"G0 Z60\nX-95 Y{y}\nG1 Z2 F900\nX-45\nX-95\nG0 Z60\nM30")


def test_fixture__edges_pass_under_a_bridge_and_their_shank_does_not(tmp_path):
    job = PLAIN.replace("diameter = 6", WIDE)
    # The edges stand from 2 to 6 mm, 0.6 mm beside it in plan, the shank 2.1 mm: 2 mm are to be kept.
    assert found(tmp_path, under(6.4), job + BRIDGE.format(12)) == (0, [])
    assert found(tmp_path, under(6.4), job + BRIDGE.format(8)) == (0, [])
    for solid in (0, 7.9):
        status, rows = found(tmp_path, under(6.4), job + BRIDGE.format(solid))
        assert (status, [row["kind"] for row in rows]) == (1, ["fixture-contact"])
        assert rows[0]["line"] == line_of(under(6.4), "X-45")
        assert "cutting part" in rows[0]["message"]
    # The shank comes to 1.9 mm.
    status, rows = found(tmp_path, under(6.6), job + BRIDGE.format(12))
    assert (status, [row["kind"] for row in rows]) == (1, ["fixture-contact"])
    assert rows[0]["line"] == line_of(under(6.6), "X-45")
    assert "shank" in rows[0]["message"]
    # Edges of unknown length may be as long as the bridge is high.
    assert found(tmp_path, under(6.4), PLAIN + BRIDGE.format(12))[0] == 1


PINS = '[[dowels]]\nname = "left"\nat = [6, 15]\ndiameter = 5\n'


def test_pins__that_stand_up_are_kept_clear_of(tmp_path):
    # The pin of 5 mm stands at X6 Y15; the wood is faced at Z10.
    at = PLAIN.replace("spoilboard = 3", "spoilboard = 3\npin_height = HIGH") + PINS
    drilled = dug(GOOD, (6, 15, -1))
    (row,) = [
        row for row in found(tmp_path, GOOD, at.replace("HIGH", "11"))[1] if row["kind"] == "fixture-contact"
    ]
    assert (row["severity"], row["subject"]) == ("safety", "dowel pin left")
    assert row["value"] == pytest.approx(11 + 2 - 10, abs=1e-4)
    assert "Take a shorter pin for 'left'" in row["advice"]
    kinds = [row["kind"] for row in found(tmp_path, GOOD, at.replace("HIGH", "8"))[1]]
    assert "fixture-contact" not in kinds
    assert "fixture-contact" in [row["kind"] for row in found(tmp_path, drilled, at.replace("HIGH", "8"))[1]]
    # Without a height nobody knows where a pin ends.
    assert "fixture-contact" not in [row["kind"] for row in found(tmp_path, drilled, PLAIN + PINS)[1]]
