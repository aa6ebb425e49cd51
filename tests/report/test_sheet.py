"""The sheet for the shop: sizes worked out by hand, places of the second side by scipy's rotations."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from simkit.cli import main
from simkit.job.layup import glue_lines, pieces, sawn_from
from simkit.job.model import Blank, Fixture, Holding, Job, Layup, Setup, Zero
from simkit.job.reader import read_job
from simkit.job.steps import Step
from simkit.job.wood import density
from simkit.program.job_programs import read_programs
from simkit.report import sheet_steps
from simkit.report.lengths import Lengths
from simkit.report.sheet import sheet_of
from simkit.report.sheet_text import sheet_text

SAMPLE = Path(__file__).parents[2] / "samples" / "olive_boat" / "job.toml"


@pytest.fixture(scope="module")
def sample():
    job = read_job(SAMPLE)
    return job, read_programs(job)


def test_density__of_the_wood_handbook():
    """USDA Wood Handbook, FPL-GTR-282 (2021): 1000 G (1 + M/100) at 12 %, G of Table 5-3 (from memory)."""
    expected = {"black walnut": 616, "hard maple": 705.6, "white oak": 761.6, "Black  Cherry": 560}
    assert {name: density(name) for name in expected} == pytest.approx(expected)
    assert density("plywood") is None


def test_pieces__five_strips_side_by_side():
    layup = Layup("along y", (18.0,) * 5, "quarter", jointing=0.5, planing=1.5, saw=3.0, ends=10.0)
    inner, outer = sorted(pieces(layup, Blank(280, 90, 38)), key=lambda piece: piece.thickness)
    # Length 280 + 20; height 38 + 3; strips 18 + 2 x 0.5 between others, 18 + 0.5 + 1.5 at the outside.
    assert (inner.count, inner.length, inner.width, inner.thickness) == (3, 300, 41, 19)
    assert (outer.count, outer.length, outer.width, outer.thickness) == (2, 300, 41, 20)
    assert sawn_from(inner, 3.0) == 3 * 19 + 2 * 3
    assert glue_lines(layup) == [18, 36, 54, 72]


def test_pieces__one_board_and_boards_on_top_of_each_other():
    single = Layup("along y", (90.0,), planing=2.0, ends=0.0)
    (piece,) = pieces(single, Blank(280, 90, 38))
    # Wider than it is thick: 90 + 2 x 2 are its width, 38 + 2 x 2 its thickness.
    assert (piece.count, piece.length, piece.width, piece.thickness) == (1, 280, 94, 42)
    assert glue_lines(single) == []
    stack = Layup("along z", (18.0, 2.0, 18.0), jointing=1.0, planing=0.0, ends=0.0)
    made = {(one.count, one.width, one.thickness) for one in pieces(stack, Blank(280, 90, 38))}
    assert made == {(2, 90, 19), (1, 90, 4)}
    assert glue_lines(stack) == [18, 20]


def test_pieces__a_panel_glued_edge_to_edge():
    """Boards 80 mm wide for a panel 25 thick: sawn side by side, their widths add up."""
    layup = Layup("along y", (80.0,) * 3, jointing=0.5, planing=1.5, ends=10.0)
    inner, outer = sorted(pieces(layup, Blank(300, 240, 25)), key=lambda piece: piece.count)
    assert (inner.count, inner.length, inner.width, inner.thickness) == (1, 320, 81, 28)
    assert (outer.count, outer.length, outer.width, outer.thickness) == (2, 320, 82, 28)
    assert sawn_from(outer, 3.0) == 2 * 82 + 3


@pytest.mark.parametrize(
    ("joined", "boards", "sizes"),
    [
        # Strips 20 wide in a blank 38 thick, 90 long as they run; planks; boards on top of each other.
        ("along x", (20.0,) * 14, {(12, 110, 41, 21), (2, 110, 41, 22)}),
        ("along x", (140.0, 140.0), {(2, 110, 142, 41)}),
        ("along z", (18.0, 20.0), {(1, 110, 283, 20), (1, 110, 283, 22)}),
    ],
)
def test_pieces__boards_that_run_along_y(joined, boards, sizes):
    layup = Layup(joined, boards, run="along y")
    made = pieces(layup, Blank(280, 90, 38))
    assert {(one.count, one.length, one.width, one.thickness) for one in made} == sizes


def test_sheet__boards_that_run_along_y(sample):
    job, reads = sample
    text = sheet_text(sheet_of(replace(job, layup=Layup("along x", (140.0, 140.0), run="along y")), reads))
    assert "running along y, side by side from left to right:\n  2 of 110 x 142 x 41 mm" in text
    assert "glue lines at x = 140 mm" in text


def test_sheet__volume_and_mass(sample):
    blank = sheet_of(*sample)["blank"]
    assert blank["volume"] == pytest.approx(2.8 * 0.9 * 0.38)
    assert blank["mass"] == pytest.approx(0.9576 * 0.56)


@pytest.mark.parametrize("turn", ["none", "about x", "about y"])
@pytest.mark.parametrize("swing", ["none", "quarter left", "half", "quarter right"])
def test_sheet__where_mark_and_holes_come_to_lie(sample, turn, swing):
    """Turned over about an axis through the middle, then swung about z: by scipy, not by our frames."""
    job, reads = sample
    setup = replace(job.setups[1], turn=turn, swing=swing)
    got = sheet_of(replace(job, setups=(job.setups[0], setup)), reads)["setups"][1]
    size = np.array([280.0, 90.0, 38.0])
    over = {"none": [0, 0, 0], "about x": [180, 0, 0], "about y": [0, 180, 0]}[turn]
    round_z = {"none": 0, "quarter left": 90, "half": 180, "quarter right": -90}[swing]
    rotation = Rotation.from_euler("z", round_z, degrees=True) * Rotation.from_euler(
        "xyz", over, degrees=True
    )
    now = np.abs(rotation.apply(size))
    places = rotation.apply(np.array([[0, 0, 38.0], [8, 45, 38], [268, 45, 38]]) - size / 2) + now / 2
    assert got["size"] == pytest.approx(now.tolist())
    x, y, z = places[0]
    assert got["mark"] == {
        "corner": f"{'left' if x < 1 else 'right'} {'front' if y < 1 else 'back'}",
        "face": "up" if z > 1 else "down",
    }
    assert [pin["at"] for pin in got["pins"]] == [pytest.approx(place[:2].tolist()) for place in places[1:]]


def test_sheet__zero_cutters_and_stick_out(sample):
    job, reads = sample
    first, second = sheet_of(job, reads)["setups"]
    assert first["zero"]["at"] == [0, 0, 38]
    assert [cutter["number"] for cutter in first["cutters"]] == [4, 1, 2]
    drill = first["cutters"][0]
    assert (drill["lowest"], drill["deepest"], drill["stick_out_for_sure"]) == (-41, 41, 43)
    assert [pin["is_hole"] for pin in first["pins"] + second["pins"]] == [True, True, False, False]
    low = replace(job.cutters[4], stick_out=42.0, cutting_length=30.0)
    free = replace(job.cutters[1], stick_out=None)
    text = sheet_text(sheet_of(replace(job, cutters={**job.cutters, 4: low, 1: free}), reads))
    assert (
        "less than 43, so the holder comes below the upper face; the check says whether it meets wood" in text
    )
    assert "stick out 35.5 mm or more" in text


def test_sheet__stated_pins_clamps_and_zeros(sample):
    job, reads = sample
    setup = replace(
        job.setups[1],
        pins=((5.0, 6.0),),
        zero=Zero("centre", "bottom", (0.0, 0.0, 3.0)),
        work_offsets={"G55": (100.0, 0.0, 0.0)},
        machine_zero=(1.0, 2.0, 3.0),
    )
    clamp = Fixture("toe clamp", 20.0, at=(300.0, 10.0), diameter=12.0)
    text = sheet_text(sheet_of(replace(job, setups=(job.setups[0], setup), fixtures=(clamp,)), reads))
    assert "pins       pin 1 at 5, 6 mm from the left front corner (program X-135 Y-39)\n" in text
    assert "the middle of the blank, on the table, off by X0 Y0 Z3; that is X140 Y45 Z3" in text
    assert "G55: X100 Y0 Z0 from there" in text
    assert "machine X1 Y2 Z3" in text
    assert "clamps     toe clamp: x 294 to 306, y 4 to 16, 20 mm high" in text


def test_sheet__what_holds_in_each_setup(sample):
    job, reads = sample
    first = job.setups[0].name
    held = (
        Holding("tape", (first,), box=((30.0, 40.0), (10.0, 20.0))),
        Holding("vacuum", outline=((0.0, 0.0), (50.0, 0.0), (0.0, 25.0))),
        Holding("screw", (first,), at=(100.0, 45.0), diameter=4.0),
    )
    sheet = sheet_of(replace(job, holding=held), reads)
    assert [[one["kind"] for one in setup["holding"]] for setup in sheet["setups"]] == [
        ["tape", "vacuum", "screw"],
        ["vacuum"],
    ]
    text = sheet_text(sheet)
    assert "held by    tape: x 10 to 30, y 20 to 40\n" in text
    assert "           screw: x 98 to 102, y 43 to 47, round, 4 mm across\n" in text
    assert "held by    vacuum: x 0 to 50, y 0 to 25, an outline of 3 corners within that\n" in text


def test_command__prints_and_writes_the_same(tmp_path, capsys):
    assert main(["sheet", str(SAMPLE), "--json", str(tmp_path / "sheet.json")]) == 0
    out = capsys.readouterr().out
    assert out.rstrip("\n") == sheet_text(json.loads((tmp_path / "sheet.json").read_text("utf-8")))
    assert "the marked corner is now at the left back, face down" in out
    assert "simulation is no proof" in out
    assert max(map(len, out.splitlines())) < 180


def test_sheet__of_a_setup_that_cuts_nothing():
    job = Job("idle", Blank(40, 30, 12), {}, (Setup("one", ()),))
    assert "Setup 1 of 1: one" in sheet_text(sheet_of(job, [[]]))


@pytest.mark.parametrize(
    ("stated", "holds"),
    [
        (None, "cutters go 3 mm below the blank: INTO THE TABLE, for no spoilboard is stated"),
        (1.0, "cutters go 3 mm below the blank; stated are 1 mm of spoilboard: NOT ENOUGH"),
        (3.0, "cutters go 3 mm below the blank; stated are 3 mm of spoilboard\n"),
    ],
)
def test_sheet__how_deep_below_the_blank(sample, stated, holds):
    job, reads = sample
    setup = replace(job.setups[0], spoilboard=stated)
    text = sheet_text(sheet_of(replace(job, setups=(setup, job.setups[1])), reads))
    assert holds in text
    assert "below      spoilboard, not cut into" in text  # side 2
    assert "This sheet checks nothing: run simkit check first." in text


@pytest.mark.parametrize(
    ("deeper", "stated", "told", "asked"),
    [
        (False, 6.0, "below      the jig, not cut into\n", None),
        (
            True,
            None,
            "cutters go 3 mm below the blank, into the jig: no depth in it is stated\n",
            "go 3 mm into it",
        ),
        (True, 2.0, "into the jig; stated are 2 mm: NOT ENOUGH\n", "go 3 mm into it"),
    ],
)
def test_sheet__below_a_blank_in_a_jig_lies_the_jig(sample, deeper, stated, told, asked):
    """The setup that drills 3 mm through, and the one that does not, each in a jig."""
    job, reads = sample
    nth = 0 if deeper else 1
    setup = replace(job.setups[nth], spoilboard=stated, jig=SAMPLE.parent / "jig.toml")
    text = sheet_text(sheet_of(replace(job, setups=(setup,)), [reads[nth]]))
    assert told in text
    assert "spoilboard" not in text
    assert (asked is None) == ("no screws in the jig" not in text)
    assert asked is None or asked in text


def test_sheet__a_blank_in_a_jig_lies_in_it_and_not_on_the_table():
    job = read_job(SAMPLE.parents[1] / "olive_boat_jig" / "job.toml")
    sheet = sheet_of(job, read_programs(job))
    assert [setup["jig"] for setup in sheet["setups"]] == [None, {"file": "jig/job.toml", "at": [15, 15, 12]}]
    first, second = sheet_text(sheet).split("Setup 2 of 2")
    assert "280 x 90 mm on the table" in first
    assert "jig" not in first.split("Setup 1 of 2")[1]
    assert "280 x 90 mm in its jig" in second
    assert (
        "jig        of jig/job.toml, cut and checked first: the blank's left front lower corner 15 to"
        in second
    )
    assert "15 to the back and 12 mm above that of the jig's board" in second
    assert "on the table;" not in second
    assert "[ ] the jig fast on the table" in second


def test_sheet__marks_the_figures_that_the_job_does_not_state(sample):
    job, reads = sample
    boards = replace(job, layup=Layup("along z", (19.0, 19.0)), lines={**job.lines, "layup.saw": 7})
    text = sheet_text(sheet_of(boards, reads))
    assert "not stated, so common practice, no source: layup.jointing, layup.planing, layup.ends\n" in text
    stated = {f"layup.{name}": 7 for name in ("jointing", "planing", "saw", "ends")}
    text = sheet_text(sheet_of(replace(boards, lines={**job.lines, **stated}), reads))
    assert "common practice" not in text
    pour = Step("pour", 0, 1, below=1.0)
    poured = sheet_of(replace(job, steps=(pour,)), reads)
    assert "at 1100 kg/m3 (not stated, so common practice, no source)" in sheet_text(poured)
    lines = {**job.lines, "steps[0].density": 9}
    text = sheet_text(sheet_of(replace(job, steps=(pour,), lines=lines), reads))
    assert "at 1100 kg/m3\n" in text


@pytest.mark.parametrize(
    ("turn", "side", "lies", "corners"),
    [
        ("none", 1, "as it lies now", "X105 Y36, X150 Y36, X150 Y54, X105 Y54"),
        # Turned about its length, what was y is 90 - y from the edge that lies in front now.
        ("about x", 2, "as it lies now", "X105 Y54, X150 Y54, X150 Y36, X105 Y36"),
        ("about y", 2, "as it lies now", "X175 Y36, X130 Y36, X130 Y54, X175 Y54"),
        ("none", 2, "as it lies with side 1 up", "X105 Y36, X150 Y36, X150 Y54, X105 Y54"),
    ],
)
def test_outline__of_a_pour_has_its_corners_as_the_blank_lies(sample, turn, side, lies, corners):
    outline = ((105.0, 36.0), (150.0, 36.0), (150.0, 54.0), (105.0, 54.0))
    step = Step("pour", 0, side, below=0.0, outline=outline)
    setups = (replace(sample[0].setups[0], turn=turn), *sample[0].setups[1:])
    row = {
        "do": "pour", "volume": 1.0, "bound": 0.0, "mass": 1.1, "density": 1100.0, "deepest": 2.0,
        "most_depth": None, "spills": 0, "size": [280.0, 90.0, 38.0],
        "outline": sheet_steps._outline(replace(sample[0], setups=setups), 0, step),
    }  # fmt: skip
    first, second, *_ = sheet_steps.step_lines(row, Lengths())
    assert first == f"outline    fill what reaches into the corners {corners}"
    assert second == f"           right and back of the left front corner of the blank, {lies}"
    row["outline"] = sheet_steps._outline(sample[0], 0, replace(step, outline=None))
    assert sheet_steps.step_lines(row, Lengths())[0].startswith("resin ")
