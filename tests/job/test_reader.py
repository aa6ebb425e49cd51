"""Good jobs read as written; bad ones are told word for word."""

from __future__ import annotations

import math
import os
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from simkit.cutters import Cutter
from simkit.errors import InputProblems, Problem
from simkit.job.model import Blank, Dowel, Job, Limits, Machine, Setup, TargetSpec, Zero
from simkit.job.reader import read_job
from simkit.job.schema import KEYS, children, markdown_table, template_text
from tests.job.good_job import GOOD_JOB, POINTER, write_files

TABLE = Path(__file__).with_name("bad_jobs.txt")


def bad_jobs() -> list:
    """Return the cases of the table: (text replaced, text put there, lines told)."""
    cases = []
    for block in TABLE.read_text(encoding="utf-8").split("\n=== ")[1:]:
        name, rest = block.split("\n--- for\n")
        old, rest = rest.split("\n--- stands\n")
        new, told = rest.split("\n--- told\n")
        cases.append(pytest.param(old, new, told.strip("\n"), id=name.strip()))
    return cases


@pytest.fixture
def folder(tmp_path, monkeypatch) -> Path:
    write_files(tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def told(text: str | bytes, name: str = "job.toml") -> str:
    """Return the problems of a job file with this text in the current folder."""
    path = Path(name)
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    with pytest.raises(InputProblems) as caught:
        read_job(path)
    return str(caught.value)


def read(text: str) -> Job:
    Path("job.toml").write_text(text, encoding="utf-8")
    return read_job(Path("job.toml"))


# -- good jobs ----------------------------------------------------------------------------------


def test_read_job__as_written(folder):
    job = read(GOOD_JOB)
    lines = job.lines
    assert job == Job(
        name="olive boat",
        blank=Blank(280.0, 90.0, 38.0),
        cutters={
            1: Cutter(1, "flat", 6.0, flutes=2, cutting_length=25.0, stick_out=40.0),
            3: Cutter(3, "drill", 6.0, point=118.0),
        },
        setups=(
            Setup("outside", (Path("side1.nc"),), "none", Zero("left front", "top", (0.0, 0.0, 0.0)), 1),
            Setup("hollows", (Path("side2.nc"),), "about x", pins=((8.0, 45.0), (268.0, 45.0))),
        ),
        target=TargetSpec(Path("part.stl")),
        dowels=(Dowel("left", (8.0, 45.0), 6.0), Dowel("right", (268.0, 45.0), 6.0)),
        limits=Limits(),
        file="job.toml",
        unit="mm",
        lines=lines,
        columns=job.columns,
    )
    rows = GOOD_JOB.split("\n")
    assert rows[lines["setups[1].turn"] - 1] == 'turn = "about x"'
    assert rows[lines["cutters.3.point"] - 1] == "point = 118"
    assert rows[lines["dowels[1]"] - 1] == "[[dowels]]"
    assert lines["dowels[1]"] == 44
    row = rows[lines["setups[0].zero.face"] - 1]
    assert row[job.columns["setups[0].zero.face"] - 1 :].startswith("face = ")


def test_read_job__least_job_takes_the_defaults(folder):
    job = read(
        "[blank]\nlength = 10\nwidth = 10\nthickness = 10\n[cutters.1]\nshape = 'ball'\ndiameter = 3\n"
        "[[setups]]\nname = 'one'\nturn = 'none'\nzero = { corner = 'centre', face = 'bottom' }\n"
        "programs = ['side1.nc']\n"
    )
    assert job.name == "job"
    assert (job.unit, job.target, job.dowels, job.limits) == ("mm", None, (), Limits())
    assert job.setups[0] == Setup("one", (Path("side1.nc"),), zero=Zero("centre", "bottom"))
    assert job.cutters == {1: Cutter(1, "ball", 3.0)}
    assert job.blank.species == ""
    assert (job.harmless_words, job.block_delete) == ((), "run")
    assert (job.arc_tolerance, job.spindle_by_hand) == (None, False)


def test_read_job__how_programs_are_meant(folder):
    top = 'unit = "mm"\nharmless_words = ["M106", "MSG"]\nblock_delete = "skip"\n'
    top += 'arc_tolerance = "0.01 mm"\nspindle_by_hand = true'
    setup = 'programs = ["side2.nc"]\nwork_offsets = { G55 = ["1 in", 2, -3], "G59.1" = [0, 0, 0] }\n'
    text = GOOD_JOB.replace('programs = ["side2.nc"]', setup + 'program_units = "in"')
    text = text.replace('unit = "mm"', top, 1)
    job = read(text)
    assert (job.harmless_words, job.block_delete) == (("M106", "MSG"), "skip")
    assert (job.arc_tolerance, job.spindle_by_hand) == (pytest.approx(0.01), True)
    assert job.setups[0].work_offsets == {}
    assert job.setups[1].work_offsets == {"G55": (25.4, 2, -3), "G59.1": (0, 0, 0)}
    assert (job.setups[0].program_units, job.setups[1].program_units) == (None, "in")


def test_read_job__inches_and_fractions(folder):
    text = (
        GOOD_JOB.replace('unit = "mm"\n\n', 'unit = "in"\n\n')
        .replace("length = 280", "length = 11")
        .replace("width = 90", 'width = "3 1/2"')
        .replace("thickness = 38", 'thickness = "38 mm"')
        .replace("diameter = 6", 'diameter = "1/4 in"')
        .replace("cutting_length = 25", "cutting_length = 1")
        .replace("stick_out = 40", "stick_out = 1.5")
        .replace("[8, 45]", "[0.5, 1.75]")
        .replace("[268, 45]", '[10.5, "44.45 mm"]')
        .replace("gouge = 0.1", "gouge = 0.004")
    )
    job = read(text)
    assert job.blank == Blank(279.4, 88.9, 38.0)
    assert job.cutters[1].diameter == 6.35
    assert job.cutters[1].stick_out == 38.1
    assert job.dowels[1].at == (266.7, 44.45)
    assert job.setups[1].pins == ((12.7, 44.45), (266.7, 44.45))
    assert job.limits.gouge == pytest.approx(0.1016, rel=1e-15)
    assert job.limits.leftover == 0.3  # what is left out is in mm whatever the unit


@pytest.mark.parametrize(("unit", "scale"), [("mm", 1), ("cm", 10), ("m", 1000)])
def test_read_job__unit_of_plain_numbers(folder, unit, scale):
    text = GOOD_JOB.split("[[setups]]")[0].replace('"mm"', f'"{unit}"')
    for number in (280, 90, 38, 6, 25, 40):
        text = text.replace(f" = {number}\n", f" = {number / scale}\n")
    job = read(
        text + '[[setups]]\nname = "a"\nturn = "none"\nprograms = ["side1.nc"]\n'
        'zero = { corner = "centre", face = "top", offset = ["1 mm", "-2 mm", 0] }\n'
    )
    assert job.blank.length == pytest.approx(280, rel=1e-15)
    assert job.cutters[1].stick_out == pytest.approx(40, rel=1e-15)
    assert job.setups[0].zero.offset == (1.0, -2.0, 0.0)


def test_read_job__figures_of_the_machine_in_the_unit_of_the_job(folder):
    assert read(GOOD_JOB).machine == Machine()
    assert read(GOOD_JOB + "\n[machine]\nclearance = 2\n").machine == Machine()
    in_inches = GOOD_JOB.split("[[setups]]")[0].replace('"mm"', '"in"')
    for number, inches in ((280, 11), (90, 3), (38, 1), (25, 1), (40, 2), (6, 0.25)):
        in_inches = in_inches.replace(f" = {number}\n", f" = {inches}\n")
    in_inches = in_inches.replace("flutes = 2", "flutes = 2\nchip_load = [0.002, 0.006]")
    in_inches += '[[setups]]\nname = "a"\nturn = "none"\nprograms = ["side1.nc"]\n'
    in_inches += 'zero = { corner = "centre", face = "top" }\n'
    in_inches += '[machine]\nspeed = [300, 300, "2000 mm"]\nacceleration = [20, 20, 10]\nrounding = 0.001\n'
    job = read(in_inches + "spindle = [8000, 24000]\nspindle_start = 3\n")
    assert job.machine.speed == pytest.approx((7620.0, 7620.0, 2000.0))
    assert job.machine.acceleration == pytest.approx((508.0, 508.0, 254.0))
    assert job.machine.rounding == pytest.approx(0.0254)
    assert (job.machine.spindle, job.machine.spindle_start) == ((8000.0, 24000.0), 3.0)
    assert job.cutters[1].chip_load == pytest.approx((0.0508, 0.1524))
    assert job.blank.hardness == "hard"


def test_read_job__paths_are_seen_from_the_job_file(folder):
    (folder / "deep").mkdir()
    write_files(folder / "deep")
    (folder / "deep" / "job.toml").write_text(GOOD_JOB, encoding="utf-8")
    job = read_job(Path("deep/job.toml"))
    assert job.setups[0].programs == (Path("deep/side1.nc"),)
    assert job.target.mesh == Path("deep/part.stl")
    assert job.file == "deep/job.toml"
    (folder / "deep" / "side1.nc").unlink()
    with pytest.raises(InputProblems) as caught:
        read_job(folder / "deep" / "job.toml", shown="deep/job.toml")
    assert str(caught.value) == (
        "deep/job.toml:25:13 [setups #1, programs #1]: found no file at 'deep/side1.nc', expected a"
        " program; did you mean 'side2.nc'?"
    )


def test_read_job__byte_order_mark_and_line_ends_of_other_systems(folder):
    text = "\ufeff" + GOOD_JOB.replace("\n", "\r\n")
    Path("job.toml").write_bytes(text.encode("utf-8"))
    job = read_job(Path("job.toml"))
    assert job.blank.length == 280.0
    assert job.lines["blank.width"] == 6


def test_read_job__every_key_can_be_given(folder):
    rows = []
    for key in children(""):
        inner = children(key.inside)
        if not inner:
            rows.append(f"{key.name} = {key.examples[0]}")
        elif key.kind == "tables":
            rows.append(f"[[{key.name}]]")
        else:
            rows.append(f"[{key.name}.1]" if key.kind == "numbered tables" else f"[{key.name}]")
        for sub in inner:
            # A drill, so that a point angle is in place; other shapes have the other measures.
            if sub.name in ("corner", "tip", "taper"):
                continue
            if sub.path == "zones[].outline":
                rows += ["[[zones]]", 'name = "in place of a box"']
            if sub.path == "fixtures[].at":
                rows += ["[[fixtures]]", 'name = "in place of a box"', "height = 20"]
            if sub.path in ("holding[].outline", "holding[].at"):
                rows += ["[[holding]]", 'kind = "tape"']
            if sub.path in ("steps[].over", "steps[].thickness", "steps[].box"):
                do = {"over": "pour", "box": "saw"}.get(sub.name, sub.name)
                rows += ["[[steps]]", 'after = "outside and foot"', f'do = "{do}"', "side = 1"]
            value = sub.examples[-1] if sub.name in ("shape", "diameter") else sub.examples[0]
            rows.append(f"{sub.name} = {value}")
            if children(sub.path):
                parts = ", ".join(f"{part.name} = {part.examples[0]}" for part in children(sub.path))
                rows[-1] = f"{sub.name} = {{ {parts} }}"
    text = (
        "\n".join(rows)
        .replace("my_part.stl", "part.stl")
        .replace("clamp.stl", "part.stl")
        .replace("[[8, 45], [268, 45]]", "[[8, 45]]")
    )
    text += '\n[cutters.2]\nshape = "bull-nose"\ndiameter = 6\ncorner = 1'
    text += '\n[cutters.3]\nshape = "tapered ball"\ndiameter = 6\ntip = 2\ntaper = 5'
    lines = read(text).lines
    plain = [key.path.replace("[]", "[0]").replace(".N", ".1") for key in KEYS]
    second = ("outline", "side", "gouge", "leftover", "finish_allowance", "judged")
    plain = [path.replace("zones[0]", "zones[1]") if path.endswith(second) else path for path in plain]
    round_ones = ("fixtures[0].at", "fixtures[0].diameter")
    plain = [path.replace("fixtures[0]", "fixtures[1]") if path in round_ones else path for path in plain]
    others = {"holding[0].outline": "holding[1].outline"}
    others |= {f"holding[0].{name}": f"holding[2].{name}" for name in ("at", "diameter", "grip")}
    poured = ("over", "outline", "density", "most_depth", "closed")
    others |= {f"steps[0].{name}": f"steps[1].{name}" for name in poured}
    others |= {f"steps[0].{name}": f"steps[2].{name}" for name in ("thickness", "by")}
    others["steps[0].box"] = "steps[3].box"
    others |= {"cutters.1.corner": "cutters.2.corner", "cutters.1.tip": "cutters.3.tip"}
    others["cutters.1.taper"] = "cutters.3.taper"
    plain = [others.get(path, path) for path in plain]
    assert [path for path in plain if path not in lines and path.replace("[1]", "[0]") not in lines] == []


# -- the template and the table of keys -----------------------------------------------------------


def test_template_text__reads_back_as_a_job(folder):
    text = template_text()
    (folder / "my_part.stl").write_text("solid\n", encoding="utf-8")
    job = read(text)
    assert job.blank == Blank(280.0, 90.0, 38.0, "cherry")
    assert [setup.turn for setup in job.setups] == ["none", "about x"]
    assert sorted(job.cutters) == [1, 2]
    assert job.limits == Limits()
    assert max(len(row) for row in text.split("\n")) <= 100


def test_template_text__optional_keys_hold_when_the_mark_is_taken_away(folder):
    (folder / "my_part.stl").write_text("solid\n", encoding="utf-8")
    head, cutter, rest = re.split(r"(?<=\n)(?=\[cutters\.[12]\])", template_text())
    cutter = re.sub(r"^# (point|corner|tip|taper) = .*\n", "", cutter, flags=re.MULTILINE)  # it is flat
    text = head + cutter + rest
    rows = [re.sub(r"^# (?=([a-z_]+ = |\[\[))", "", row) for row in text.split("\n")]
    job = read("\n".join(rows))
    assert job.setups[0].cutter == 1
    assert job.setups[1].pins == ((8.0, 45.0), (268.0, 45.0))
    assert job.cutters[1].neck_length == 5.0
    assert job.cutters[1].holder == ((20.0, 30.0, 15.0), (40.0, 40.0, 30.0))
    assert job.cutters[2].point == 118.0
    assert "target.anchor" in job.lines
    assert [zone.name for zone in job.zones] == ["show face", "tabs"]
    assert job.zones[1].judged is False
    assert job.accepted[0].reason == "is sanded by hand"


def test_template_text__tells_every_key():
    text = template_text()
    assert [key.path for key in KEYS if key.name not in text] == []


def test_markdown_table__one_row_a_key():
    rows = markdown_table().splitlines()
    assert rows[0] == "| key | value | when left out | meaning |"
    assert len(rows) == len(KEYS) + 2
    assert rows[2 + [key.path for key in KEYS].index("limits.gouge")] == (
        '| `limits.gouge` | a length from 0 mm to 100 mm | `"0.1 mm"` | Deepest cut into the part. |'
    )
    assert all(row.count("|") == 5 for row in rows)


def test_keys__table_is_sound():
    paths = [key.path for key in KEYS]
    assert len(set(paths)) == len(paths)
    tables = {"", *(key.inside for key in KEYS if key.kind in ("table", "tables", "numbered tables"))}
    for key in KEYS:
        assert key.parent in tables, key.path
        assert key.help.endswith("."), key.path
        is_number = key.kind in ("length", "lengths", "points", "number", "numbers", "count", "named lengths")
        assert (key.low < key.high) == is_number, key.path
        for text in key.examples:
            tomllib.loads(f"value = {text}")


# -- bad jobs -----------------------------------------------------------------------------------


@pytest.mark.parametrize(("old", "new", "expected"), bad_jobs())
def test_read_job__one_mistake(folder, old, new, expected):
    if old == "(everything)":
        text = new + "\n"
    else:
        assert old in GOOD_JOB
        text = GOOD_JOB.replace(old, new, 1)
    assert told(text) == expected


@pytest.mark.parametrize(
    ("new", "expected"),
    [
        pytest.param(
            "width = 1" + "0" * 400,
            "job.toml:6:1 [blank.width]: found a number of many digits, expected a length from 1 mm to"
            ' 5000 mm; write a number, or text such as "6 mm" or "1/4 in"',
            id="many_digits",
        ),
        pytest.param(
            'width = "' + "9" * 5000 + '"',
            f"job.toml:6:1 [blank.width]: found '{'9' * 60}...', expected a length from 1 mm to 5000 mm;"
            ' write a number, or text such as "6 mm" or "1/4 in"',
            id="long_text",
        ),
        pytest.param(
            "width = " + "9" * 5000,
            "job.toml: found a number too long to read, expected a job file (TOML); write the number shorter",
            id="digits_beyond_reading",
        ),
        pytest.param(
            "width = " + "[" * 5000,
            "job.toml: found brackets inside brackets inside brackets, too deep to read, expected a job"
            " file (TOML); write it flat",
            id="brackets_beyond_reading",
        ),
        pytest.param(
            "width = 90 # \x07",
            r"job.toml:6:14: found '\x07', expected no control characters; take the character out",
            id="control_character",
        ),
    ],
)
def test_read_job__one_monstrous_value(folder, new, expected):
    assert told(GOOD_JOB.replace("width = 90", new)) == expected


def test_read_job__path_beyond_the_system(folder):
    message = told(GOOD_JOB.replace("side2.nc", "a" * 300))
    assert message == (
        f"job.toml:32:13 [setups #2, programs #1]: found the path '...{'a' * 200}', which cannot be used"
        f" ({os.strerror(36)}), expected a program; correct the path"
    )


def test_read_job__several_mistakes_are_told_together_in_the_order_of_the_file(folder):
    text = (
        GOOD_JOB.replace("gouge = 0.1", "gouge = -1")
        .replace("length = 280", "lenght = 280")
        .replace('"about x"', '"about z"')
        .replace('"part.stl"', '"prat.stl"')
        .replace('"side1.nc"', '"side3.nc", "side4.nc"')
        .replace('"flat"', '"keyhole"')
        .replace("at = [268, 45]", 'at = [268, "x"]')
        .replace("stick_out = 40", "stick_out = 4")
    )
    assert told(text).split("\n") == [
        "job.toml:5:1 [blank.lenght]: found the unknown key 'lenght', expected in [blank] one of length,"
        " width, thickness, species, grain, hardness, cutting_force; write 'length'",
        "job.toml:10:1 [cutters.1.shape]: found the shape 'keyhole', which cannot be simulated: it cuts"
        " wider below than above, and what it leaves under an overhang cannot be held here, expected one"
        " of 'flat', 'ball', 'bull-nose', 'tapered ball', 'vee', 'drill'; use another cutter, or leave out"
        " the programs that need this one",
        "job.toml:14:1 [cutters.1.stick_out]: found 4 mm from tip to holder, with cutting edges 25 mm"
        " long, expected the holder above the cutting edges; measure from the tip of the cutter to the"
        " holder",
        "job.toml:25:13 [setups #1, programs #1]: found no file at 'side3.nc', expected a program; did"
        " you mean 'side2.nc'?",
        "job.toml:25:25 [setups #1, programs #2]: found no file at 'side4.nc', expected a program; did"
        " you mean 'side2.nc'?",
        "job.toml:30:1 [setups #2, turn]: found 'about z', expected one of 'none', 'about x', 'about y';"
        " choose one",
        "job.toml:36:1 [target.mesh]: found no file at 'prat.stl', expected a mesh; did you mean 'part.stl'?",
        "job.toml:46:12 [dowels #2, at #2]: found 'x', expected a length from 0 mm to 5000 mm; write a"
        ' number, or text such as "6 mm" or "1/4 in"',
        "job.toml:50:1 [limits.gouge]: found -1 mm, expected a length from 0 mm to 100 mm; write zero or"
        " more",
    ]


def test_read_job__wrong_unit_is_told_at_every_length_it_spoils(folder):
    problems = told(GOOD_JOB.replace('unit = "mm"', 'unit = "in"', 1)).split("\n")
    assert problems[0] == (
        "job.toml:5:1 [blank.length]: found 280 in (7112 mm), expected a length from 1 mm to 5000 mm;"
        ' give the true size; if millimetres are meant, write "280 mm"'
    )
    assert all("if millimetres are meant" in problem for problem in problems)


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        pytest.param(
            b"",
            "job.toml: found an empty file at 'job.toml', expected a job file (TOML); write it again from"
            " where it came from",
            id="empty",
        ),
        pytest.param(
            GOOD_JOB.encode("utf-16"),
            "job.toml:1:1: found text in UTF-16, expected a job file (TOML) in UTF-8; save the file again"
            " with the encoding UTF-8",
            id="utf16",
        ),
        pytest.param(
            '[blank]\nspecies = "für"\n'.encode("latin-1"),
            "job.toml:2:13: found bytes that are no text in UTF-8, expected a job file (TOML) in UTF-8;"
            " save the file again with the encoding UTF-8",
            id="latin1",
        ),
        pytest.param(
            POINTER.encode(),
            "job.toml: found a version-control pointer to a large file, expected a job file (TOML); fetch"
            " the large files of the repository, then check again",
            id="pointer",
        ),
        pytest.param(
            b"# \n" * 500_000,
            "job.toml: found a file of 1.5 MB, expected a job file (TOML); name the job file of the part",
            id="large",
        ),
    ],
)
def test_read_job__file_that_is_no_job(folder, data, expected):
    assert told(data) == expected


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        (
            "jbo.toml",
            "jbo.toml: found no file at 'jbo.toml', expected a job file (TOML); did you mean 'job.toml'?",
        ),
        ("folder", "folder: found a folder at 'folder', expected a job file (TOML); name a file in it"),
        (
            "no/job.toml",
            "no/job.toml: found no file at 'no/job.toml', expected a job file (TOML); correct the folder,"
            " which is not there either",
        ),
    ],
)
def test_read_job__no_file(folder, name, expected):
    Path("job.toml").write_text(GOOD_JOB, encoding="utf-8")
    with pytest.raises(InputProblems) as caught:
        read_job(Path(name))
    assert str(caught.value) == expected


def test_read_job__file_without_the_right_to_read(folder, monkeypatch):
    Path("job.toml").write_text(GOOD_JOB, encoding="utf-8")

    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)  # a superuser may read everything, so it is played
    with pytest.raises(InputProblems) as caught:
        read_job(Path("job.toml"))
    assert str(caught.value) == (
        "job.toml: found a file at 'job.toml' that may not be read, expected a job file (TOML); give"
        " yourself the right to read it"
    )


# -- whatever the text ------------------------------------------------------------------------------

_PIECES = st.sampled_from(
    [*GOOD_JOB.split("\n"), *"[]{}=\"'#,.\\\n", "[[", "nan", "-1", '"1/0 in"', "= [", "\x00", "\r\n", "a.b"]
)


def job_or_problems() -> Job | tuple[Problem, ...]:
    try:
        return read_job(Path("job.toml"))
    except InputProblems as error:
        return error.problems


@st.composite
def spoilt_jobs(draw) -> str:
    """Good jobs with some stretches taken out, doubled or replaced."""
    text = GOOD_JOB
    for _ in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, len(text)))
        end = min(len(text), start + draw(st.sampled_from([0, 0, 1, 2, 5, 30])))
        text = text[:start] + draw(st.one_of(_PIECES, st.text(max_size=4))) + text[end:]
    return text


@settings(
    max_examples=400,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(spoilt_jobs())
@example("")
@example("setups = [[]]\ndowels = [[1]]\ntarget = []\nlimits = [{}]\ncutters = {1 = {}, 2 = []}")
@example("[blank]\nlength = {}\nwidth = []\nthickness = 12:00:00\n[[cutters.1]]\n[setups.zero]")
def test_read_job__any_text_gives_a_job_or_problems(folder, text):
    Path("job.toml").write_bytes(text.encode("utf-8", "surrogatepass"))
    result = job_or_problems()
    if isinstance(result, Job):
        sizes = (result.blank.length, result.blank.width, result.blank.thickness)
        assert all(math.isfinite(size) and 1 <= size <= 5000 for size in sizes)
        assert result.setups[0].turn == "none"
        return
    assert result
    rows = text.replace("\r\n", "\n").split("\n")
    for problem in result:
        assert str(problem).isprintable()
        line, column = problem.place.line, problem.place.column
        if line is not None:
            assert 1 <= line <= len(rows)
            assert 1 <= column <= len(rows[line - 1]) + 1


@settings(
    max_examples=200,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    st.sampled_from([key for key in KEYS if key.parent]),
    st.sampled_from(
        [
            "true",
            "0",
            "-1",
            "1e400",
            "-inf",
            "nan",
            "''",
            "'x'",
            "[]",
            "{}",
            "[[1]]",
            "[{}]",
            "1979-05-27",
            "'1 in'",
            "[0, 0]",
            "[nan, 0, 0]",
            "['', '']",
            "99999999999999999999",
            "12:00:00",
            "{ a = 1 }",
        ]
    ),
)
def test_read_job__any_value_at_any_key_gives_a_job_or_problems(folder, key, value):
    text = GOOD_JOB.replace("[limits]\n", "[limits]\nleftover = 1\n")
    lines, table = [], ""
    for row in text.split("\n"):
        if row.startswith("["):
            table = row.strip("[]").split(".")[0]
        is_it = row.startswith(f"{key.name} =") and table == key.path.split(".")[0].removesuffix("[]")
        lines.append(f"{key.name} = {value}" if is_it else row)
    Path("job.toml").write_text("\n".join(lines), encoding="utf-8")
    result = job_or_problems()
    assert isinstance(result, Job) or all(str(problem).isprintable() for problem in result)


def test_reader__needs_nothing_heavy():
    code = (
        "import sys, simkit.job.reader\n"
        "heavy = {'numba', 'scipy', 'trimesh', 'pyvista', 'matplotlib', 'rich'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"


def test_read_job__a_program_is_no_job_file(folder):
    with pytest.raises(InputProblems) as caught:
        read_job(Path("side1.nc"))
    assert str(caught.value) == (
        "side1.nc: found a program, expected a job file (TOML); name the job file that runs it; simkit draft"
        " FOLDER writes one"
    )
