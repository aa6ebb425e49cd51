"""Jobs from the words of the command line."""

from __future__ import annotations

from pathlib import Path

import pytest

from simkit.cutters import Cutter
from simkit.errors import InputProblems
from simkit.job.direct import blank_from_text, cutter_from_text, make_job
from simkit.job.meant import meant_from_words
from simkit.job.model import Blank, Job, Limits, Setup, TargetSpec, Zero
from simkit.job.reader import job_from_words
from tests.job.good_job import write_files

BLANK_LIKE = 'expected LENGTHxWIDTHxTHICKNESS, such as 280x90x38 or "11x3 1/2x1 1/2 in"'
WRITE_SIGNS = "write = behind the number, : behind a shape (flat, ball, bull-nose, tapered ball, vee, drill)"
CUTTER_LIKE = "expected NUMBER=SHAPE:DIAMETER, such as 1=ball:6"
A_BLANK = Blank(280.0, 90.0, 38.0)
A_BALL = Cutter(1, "ball", 6.0)


@pytest.fixture
def folder(tmp_path, monkeypatch) -> Path:
    write_files(tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def told(function, *args, **more) -> list[str]:
    with pytest.raises(InputProblems) as caught:
        function(*args, **more)
    return str(caught.value).split("\n")


@pytest.mark.parametrize(
    ("text", "sizes"),
    [
        ("280x90x38", (280, 90, 38)),
        ("280 X 90 × 38.5", (280, 90, 38.5)),
        ("11x3.5x1.5 in", (279.4, 88.9, 38.1)),
        ("11x3 1/2x1 1/2 in", (279.4, 88.9, 38.1)),
        ('11"x3 1/2"x1 1/2"', (279.4, 88.9, 38.1)),
        ("28cm x 90mm x 1 1/2in", (280, 90, 38.1)),
    ],
)
def test_blank_from_text__sizes(text, sizes):
    assert blank_from_text(text) == Blank(*sizes)


@pytest.mark.parametrize(
    ("text", "problems"),
    [
        ("280x90", [f"--blank: found '280x90', {BLANK_LIKE}; write three sizes with x between"]),
        ("", [f"--blank: found '', {BLANK_LIKE}; write three sizes with x between"]),
        (
            "11 in x 3 x 2",
            [
                f"--blank: found '11 in x 3 x 2', some sizes with a unit and some without, {BLANK_LIKE};"
                " write the unit once behind the last size, or behind each"
            ],
        ),
        (
            "0xwidex38",
            [
                "--blank [length]: found 0 mm, expected a length from 1 mm to 5000 mm; give the true size",
                "--blank [width]: found 'wide', expected a length from 1 mm to 5000 mm; write a number, or"
                ' text such as "6 mm" or "1/4 in"',
            ],
        ),
        (
            "280x90x0.75",
            [
                "--blank [thickness]: found 0.75 mm, expected a length from 1 mm to 5000 mm; give the true"
                ' size; if inches are meant, write "0.75 in"'
            ],
        ),
        (
            "280x90xinf",
            [
                "--blank [thickness]: found inf, expected a length from 1 mm to 5000 mm; write a number, or"
                ' text such as "6 mm" or "1/4 in"'
            ],
        ),
    ],
)
def test_blank_from_text__told(text, problems):
    assert told(blank_from_text, text) == problems


@pytest.mark.parametrize(
    ("text", "cutter"),
    [
        ("1=ball:6", A_BALL),
        ("T1 = ball : 6 mm", A_BALL),
        ("1=ball:1/4 in", Cutter(1, "ball", 6.35)),
        ("2=flat:6,flutes=2,cutting_length=22", Cutter(2, "flat", 6.0, flutes=2, cutting_length=22.0)),
        (
            "12=drill:6.5, point=135, shank=1/4in, stick_out=50",
            Cutter(12, "drill", 6.5, shank=6.35, stick_out=50.0, point=135.0),
        ),
    ],
)
def test_cutter_from_text__forms(text, cutter):
    assert cutter_from_text(text) == cutter


@pytest.mark.parametrize(
    ("text", "problems"),
    [
        (
            "1:ball:6",
            [f"--cutter: found '1:ball:6', {CUTTER_LIKE}; {WRITE_SIGNS}"],
        ),
        (
            "1=ball:",
            [f"--cutter: found '1=ball:', {CUTTER_LIKE}; {WRITE_SIGNS}"],
        ),
        (
            "0=ball:6",
            [
                "--cutter: found the tool number '0', expected a number from 1 to 9999; write the number that"
                " T calls"
            ],
        ),
        (
            "1=bal:-6",
            [
                "--cutter [1.shape]: found 'bal', expected one of 'flat', 'ball', 'bull-nose',"
                " 'tapered ball', 'vee', 'drill'; write 'ball'",
                "--cutter [1.diameter]: found -6 mm, expected a length from 0.05 mm to 200 mm; give the true"
                " size",
            ],
        ),
        (
            "1=ball:6,5",
            [
                "--cutter: found '5', expected KEY=VALUE, each key once; write it like cutting_length=22, and"
                " a decimal point, not a comma"
            ],
        ),
        (
            "1=flat:6,flute=2,shape=ball",
            [
                "--cutter: found 'shape=ball' again, expected KEY=VALUE, each key once; write it like"
                " cutting_length=22, and a decimal point, not a comma",
                "--cutter [1.flute]: found the unknown key 'flute', expected one of shape, diameter, flutes,"
                " chip_load, plunge_angle, slot_depth, cutting_length, shank, stick_out, neck, neck_length,"
                " holder, point, corner, tip, taper;"
                " write 'flutes'",
            ],
        ),
        (
            "1=flat:6,flutes=two,point=90",
            [
                "--cutter [1.flutes]: found 'two', expected a whole number from 1 to 12; write a number",
                "--cutter [1.point]: found a point angle on the shape 'flat', expected one only on a drill"
                " or a vee; take it out",
            ],
        ),
    ],
)
def test_cutter_from_text__told(text, problems):
    assert told(cutter_from_text, text) == problems


def test_make_job__one_setup(folder):
    job = make_job([Path("side1.nc"), "side2.nc"], A_BLANK, [A_BALL], "part.stl", zero="centre bottom")
    assert job == Job(
        name="side1",
        blank=A_BLANK,
        cutters={1: A_BALL},
        setups=(
            Setup("side 1", (Path("side1.nc"), Path("side2.nc")), zero=Zero("centre", "bottom"), cutter=1),
        ),
        target=TargetSpec(Path("part.stl"), "mm", anchor="origin", at=(0.0, 0.0, 0.0)),
        limits=Limits(),
    )


def test_make_job__with_two_cutters_a_program_must_call_one(folder):
    job = make_job(["side1.nc"], A_BLANK, [A_BALL, Cutter(2, "flat", 6.0)])
    assert job.setups[0].cutter is None
    assert job.target is None


@pytest.mark.parametrize(
    ("words", "zero"),
    [
        ("left front top", Zero("left front", "top")),
        ("Top front right", Zero("right front", "top")),
        ("bottom centre", Zero("centre", "bottom")),
    ],
)
def test_make_job__zero_words_in_any_order(folder, words, zero):
    assert make_job(["side1.nc"], A_BLANK, [A_BALL], zero=words).setups[0].zero == zero


ZERO_LIKE = (
    "expected a corner (left front, right front, left back, right back, centre) and a face (top, bottom)"
)


@pytest.mark.parametrize(
    ("words", "problem"),
    [
        ("", f"--zero: found '', {ZERO_LIKE}; write it like 'left front top'"),
        ("back left", f"--zero: found 'back left', {ZERO_LIKE}; write it like 'left back top'"),
        ("center top", f"--zero: found 'center top', {ZERO_LIKE}; write 'centre top'"),
        ("top bottom", f"--zero: found 'top bottom', {ZERO_LIKE}; write it like 'left front top'"),
    ],
)
def test_make_job__zero_told(folder, words, problem):
    assert told(make_job, ["side1.nc"], A_BLANK, [A_BALL], zero=words) == [problem]


def test_make_job__all_problems_together(folder):
    wide = Cutter(1, "flat", 100.0)
    assert told(
        make_job,
        ["sied2.nc", "folder"],
        Blank(50.0, 40.0, 30.0),
        [A_BALL, wide],
        "pointer.nc",
        target_units="inch",
    ) == [
        "--cutter: found two cutters with the number 1, expected each tool number once; give one of them its"
        " own number",
        "--cutter [1.diameter]: found a cutter 100 mm wide, wider than the blank, which is 50 mm by 40 mm,"
        " expected a cutter that fits on the blank; correct the cutter's diameter or the size of the blank;"
        " if the blank is meant in inches, write its sizes so",
        "sied2.nc: found no file at 'sied2.nc', expected a program; did you mean 'side2.nc'?",
        "folder: found a folder at 'folder', expected a program; name a file in it",
        "--target: found a version-control pointer to a large file, expected a mesh; fetch the large files of"
        " the repository, then check again",
        "--target-units: found 'inch', expected one of mm, cm, m, in; choose one",
    ]


def test_job_from_words__reads_all(folder):
    job = job_from_words(["side1.nc"], "280x90x38", ["1=ball:6"], Path("part.stl"), None)
    assert job == make_job(["side1.nc"], A_BLANK, [A_BALL], "part.stl")


def test_job_from_words__how_the_programs_are_meant(folder):
    meant = meant_from_words("in", ["G55=4 in,0,-2", "g59.1=0,0,1"], True, ["M106", "MSG"], "0.02", True)
    job = job_from_words(["side1.nc"], "280x90x38", ["1=ball:6"], meant=meant)
    setup = job.setups[0]
    assert setup.program_units == "in"
    assert setup.work_offsets == {"G55": (101.6, 0.0, -2.0), "G59.1": (0.0, 0.0, 1.0)}
    assert (job.block_delete, job.harmless_words) == ("skip", ("M106", "MSG"))
    assert (job.arc_tolerance, job.spindle_by_hand) == (0.02, True)


def test_meant_from_words__all_problems_together():
    assert told(meant_from_words, work_offsets=["G55", "G54=a,0,0", "=1,2,3"], arc_tolerance="wide") == [
        "--work-offset: found 'G55', expected ZERO=RIGHT,BACK,UP, such as G55=100,0,0; write three lengths"
        " with commas between",
        "--work-offset: found '=1,2,3', expected ZERO=RIGHT,BACK,UP, such as G55=100,0,0; write three lengths"
        " with commas between",
        "--work-offset [G54 #1]: found 'a', expected a length from -5000 mm to 5000 mm; write a number, or"
        ' text such as "6 mm" or "1/4 in"',
        "--arc-tolerance: found 'wide', expected a length from 0.0001 mm to 1 mm; write a number, or text"
        ' such as "6 mm" or "1/4 in"',
    ]


def test_job_from_words__nothing_given(folder):
    assert told(job_from_words, ["side1.nc"], None, [], None, None) == [
        f"--blank: found nothing, {BLANK_LIKE}; add --blank 280x90x38",
        f"--cutter: found nothing, {CUTTER_LIKE}; add --cutter 1=ball:6",
    ]


def test_job_from_words__told_together(folder):
    assert told(job_from_words, ["sied2.nc"], "280x90", ["1=bal:6", "2=flat:6"], "part.obj", "front") == [
        f"--blank: found '280x90', {BLANK_LIKE}; write three sizes with x between",
        "--cutter [1.shape]: found 'bal', expected one of 'flat', 'ball', 'bull-nose', 'tapered ball', 'vee',"
        " 'drill'; write 'ball'",
        "sied2.nc: found no file at 'sied2.nc', expected a program; did you mean 'side2.nc'?",
        "--target: found no file at 'part.obj', expected a mesh; did you mean 'part.stl'?",
        f"--zero: found 'front', {ZERO_LIKE}; write it like 'left front top'",
    ]
