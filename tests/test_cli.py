"""The command line: exit statuses, outputs, and input that cannot be used."""

import json
import math
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from simkit.__main__ import run
from simkit.cli import main

GOOD = """\
unit = "mm"
[blank]
length = 40
width = 30
thickness = 12
[cutters.1]
shape = "ball"
diameter = 6
[[setups]]
name = "top"
turn = "none"
zero = { corner = "left front", face = "top" }
programs = ["top.nc"]
[limits]
gouge = 0.1
"""
PROGRAM = """\
G21 G90 G17
T1 M6
S18000 M3
G0 X10 Y15 Z5
G1 Z-2 F300
X30 F1200
G0 Z5
M30
"""


@pytest.fixture
def job(tmp_path):
    (tmp_path / "job.toml").write_text(GOOD, encoding="utf-8")
    (tmp_path / "top.nc").write_text(PROGRAM, encoding="utf-8")
    return tmp_path / "job.toml"


def spoil(path, old, new):
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_check__no_target_is_not_judged(job, capsys):
    assert main(["check", str(job), "--quiet", "--cell", "0.5"]) == 0
    assert capsys.readouterr().out == (
        "Within limits: nothing to fix was found. The shape was not judged: the job names no target.\n"
    )


def test_check__tells_the_whole_story(job, capsys):
    assert main(["check", str(job), "--cell", "0.5"]) == 0
    told = capsys.readouterr().out
    for words in ("top.nc", "40 x 30 x 12 mm", "A simulation is no proof", "Not simulated", "Within limits"):
        assert words in told


def test_check__rapid_through_wood_fails_on_its_line(job, tmp_path):
    spoil(tmp_path / "top.nc", "G0 Z5\n", "G0 X5\n")
    assert main(["check", str(job), "--quiet", "--cell", "0.5", "--json", str(tmp_path / "r.json")]) == 1
    result = json.loads((tmp_path / "r.json").read_text("utf-8"))
    row, end = (row for row in result["findings"] if row["severity"] == "safety")
    assert (row["kind"], row["file"], row["line"]) == ("rapid-contact", "top.nc", 7)
    assert (end["kind"], end["subject"], end["line"]) == ("unsafe-height", "end", 7)  # nothing raises it now
    # The channel from x 10 is open; the ball ploughs on to the left of it, 2 mm deep on its line, which
    # runs between two rows of cell centres: R - sqrt(R^2 - q^2) less at q = 0.25 mm.
    assert row["value"] == pytest.approx(2.0 - (3 - (9 - 0.25**2) ** 0.5), abs=1e-4)
    assert row["value"] + row["bound"] >= 2.0


def test_check__one_program_without_a_job_file(job, tmp_path):
    json_file = tmp_path / "r.json"
    words = ["check", str(tmp_path / "top.nc"), "--blank", "40x30x12", "--cutter", "1=ball:6"]
    assert main([*words, "--quiet", "--cell", "0.25", "--json", str(json_file)]) == 0
    result = json.loads(json_file.read_text("utf-8"))
    # A ball groove 20 long, 2 deep, R 3: segment area times length and a cap of height 2.
    # Standard solid geometry: segment R^2 acos((R-h)/R) - (R-h) sqrt(2Rh - h^2), cap pi h^2 (3R - h)/3.
    removed = 40 * 30 * 12 - result["left"]["volume"]
    assert removed == pytest.approx(8.2502 * 20 + 29.3215, rel=2e-3)
    assert abs(removed - (8.2502 * 20 + 29.3215)) <= result["left"]["bound"] < 0.1 * removed


def test_check__one_program_says_how_it_is_meant(job, tmp_path):
    """What a job file says of programs, said by options: inches, a work zero, words and blocks left out."""
    lines = (
        "G90 G17",
        "T1 M6",
        "M106 S255",
        "G55 G0 X0 Y0 Z0.2",
        "G1 Z-0.08 F12",
        "/X9",
        "X0.8",
        "G0 Z0.2",
        "M30",
    )
    (tmp_path / "top.nc").write_text("\n".join(lines) + "\n", encoding="utf-8")
    words = ["check", str(tmp_path / "top.nc"), "--blank", "40x30x12", "--cutter", "1=ball:6", "--quiet"]
    words += ["--json", str(tmp_path / "r.json"), "--cell", "0.5"]
    assert main(words) == 2
    words += ["--units", "in", "--harmless", "M106", "--skip-deleted", "--work-offset", "G55=10,15,0"]
    assert main([*words, "--spindle-by-hand", "--arc-tolerance", "0.01"]) == 0
    result = json.loads((tmp_path / "r.json").read_text("utf-8"))
    said = [row["message"] for row in result["findings"]]
    assert said == ["blocks with / are passed over, whatever the switch at the machine says"]
    # What the words of the command asked for is no warning.
    assert any(note.endswith(": 'M106 S255' does nothing, as stated") for note in result["remarks"])
    # A ball groove 0.8 in long and 0.08 in deep: standard solid geometry as above.
    h, length, r = 0.08 * 25.4, 0.8 * 25.4, 3.0
    section = r * r * math.acos((r - h) / r) - (r - h) * math.sqrt(2 * r * h - h * h)
    expected = section * length + math.pi * h * h * (3 * r - h) / 3
    assert abs(40 * 30 * 12 - result["left"]["volume"] - expected) <= result["left"]["bound"]


def test_check__two_runs_write_the_same_result(job, tmp_path):
    written = []
    for name in ("a.json", "b.json"):
        assert main(["check", str(job), "--quiet", "--cell", "0.5", "--json", str(tmp_path / name)]) == 0
        result = json.loads((tmp_path / name).read_text("utf-8"))
        del result["timings"]
        written.append(result)
    assert written[0] == written[1]


def test_check__a_side_nobody_cuts_is_no_setup_fault(job, tmp_path):
    spoil(tmp_path / "top.nc", "G1 Z-2", "G1 Z2")
    assert main(["check", str(job), "--quiet", "--cell", "0.5", "--json", str(tmp_path / "r.json")]) == 1
    result = json.loads((tmp_path / "r.json").read_text("utf-8"))
    [row] = [row for row in result["findings"] if row["severity"] == "beyond"]
    assert row["kind"] == "setup"
    assert row["line"] == 12


BOX = """solid box
facet normal 0 0 1
outer loop
vertex 1 1 0
vertex 9 1 0
vertex 1 9 5
endloop
endfacet
endsolid box
"""

JOB = ["check", "job.toml"]
ALONE = ["check", "top.nc", "--blank", "40x30x12", "--cutter", "1=ball:6"]


def in_job(old, new):
    return lambda folder: spoil(folder / "job.toml", old, new)


def in_program(old, new):
    return lambda folder: spoil(folder / "top.nc", old, new)


def written(name, text):
    return lambda folder: (folder / name).write_bytes(text if isinstance(text, bytes) else text.encode())


# name -> (what is done to the folder of a good job, words of the command, what the message must hold)
UNUSABLE = {
    "no input at all": (None, ["check"], "the following arguments are required"),
    "unknown command": (
        None,
        ["chekc", "job.toml"],
        "sheet, resume, schema, template); did you mean check?",
    ),
    "misspelt option": (None, ["check", "job.toml", "--cel", "0.2"], "did you mean --cell?"),
    "missing job file": (None, ["check", "jobs.toml"], "jobs.toml"),
    "missing program": (None, ["check", "tpo.nc", "--blank", "9x9x9", "--cutter", "1=ball:6"], "tpo.nc"),
    "job is a folder": (lambda p: (p / "x.toml").mkdir(), ["check", "x.toml"], "x.toml"),
    "empty job": (written("job.toml", ""), JOB, "job.toml"),
    "job is no TOML": (written("job.toml", "[blank"), JOB, "job.toml:1"),
    "job is binary": (
        written("job.toml", b"\xff\xfe\0"),
        JOB,
        "job.toml",
    ),
    "misspelt key": (in_job("length", "lenght"), JOB, "length"),
    "wrong type": (in_job("40", "[40]"), JOB, "blank.length"),
    "negative size": (in_job("40", "-40"), JOB, "blank.length"),
    "unknown unit": (in_job("40", '"40 furlong"'), JOB, "furlong"),
    "unknown shape": (in_job('"ball"', '"bal"'), JOB, "ball"),
    "undercutting shape": (
        lambda p: spoil(p / "job.toml", '"ball"', '"dovetail"'),
        JOB,
        "dovetail",
    ),
    "program missing": (lambda p: (p / "top.nc").unlink(), JOB, "top.nc"),
    "program empty": (written("top.nc", ""), JOB, "top.nc"),
    "program binary": (
        written("top.nc", bytes(range(256))),
        JOB,
        "top.nc",
    ),
    "refused word": (in_program("G17", "G41"), JOB, "top.nc:1:9"),
    "letter O for zero": (in_program("X30", "X3O"), JOB, "top.nc:6"),
    "two decimal points": (in_program("X30", "X3.0.1"), JOB, "top.nc:6"),
    "arc without centre": (
        lambda p: spoil(p / "top.nc", "X30 F", "G2 X30 F"),
        JOB,
        "top.nc:6",
    ),
    "no feed": (in_program(" F300", ""), JOB, "top.nc:5"),
    "cutter not stated": (in_program("T1", "T7"), JOB, "cutter 7"),
    "no units": (in_program("G21 ", ""), JOB, "top.nc:4"),
    "target missing": (
        lambda p: spoil(p / "job.toml", "[limits]", '[target]\nmesh = "a.stl"\nunits = "mm"\n[limits]'),
        JOB,
        "a.stl",
    ),
    "target open": (
        written("a.stl", BOX),
        [*ALONE, "--target", "a.stl"],
        "watertight",
    ),
    "target no mesh": (
        written("a.stl", "nothing"),
        [*ALONE, "--target", "a.stl"],
        "a.stl",
    ),
    "no blank": (None, ["check", "top.nc", "--cutter", "1=ball:6"], "--blank"),
    "bad blank": (None, ["check", "top.nc", "--blank", "40x30", "--cutter", "1=ball:6"], "--blank"),
    "bad cutter": (None, ["check", "top.nc", "--blank", "40x30x12", "--cutter", "ball6"], "--cutter"),
    "bad zero": (
        None,
        ["check", "top.nc", "--blank", "4x3x1", "--cutter", "1=ball:1", "--zero", "lft"],
        "--zero",
    ),
    "blank beside a job": (None, ["check", "job.toml", "--blank", "40x30x12"], "--blank"),
    "units beside a job": (None, ["check", "job.toml", "--units", "in"], "--units beside a job file"),
    "work zero beside a job": (
        None,
        ["check", "job.toml", "--work-offset", "G55=1,2,3"],
        "--work-offset beside a job file",
    ),
    "bad work zero": (None, [*ALONE, "--work-offset", "G55=1,2"], "--work-offset"),
    "bad arc tolerance": (None, [*ALONE, "--arc-tolerance", "wide"], "--arc-tolerance"),
    "harmless word that is known": (None, [*ALONE, "--harmless", "M3"], "command line [--harmless]"),
    "program beside a job": (None, ["check", "job.toml", "top.nc"], "one job"),
    "program among jobs": (None, ["check", "job.toml", "job2.toml", "top.nc"], "'top.nc' among job files"),
    "folder without a job": (lambda p: (p / "no").mkdir(), ["check", "no"], "no job.toml in the folder 'no'"),
    "blank beside jobs": (None, ["check", "job.toml", "a.toml", "--blank", "4x3x1"], "--blank beside a job"),
    "junit into a folder": (None, ["check", "job.toml", "--junit", "."], "--junit"),
    "sarif in no folder": (None, ["check", "job.toml", "--sarif", "no/where.sarif"], "--sarif"),
    "half a job at once": (None, ["check", "job.toml", "--jobs", "1.5"], "a whole number from 1 to 256"),
    "no time at all": (None, ["check", "job.toml", "--most-seconds", "0"], "--most-seconds"),
    "memory no number": (None, ["check", "job.toml", "--most-memory", "much"], "--most-memory"),
    "stored result missing": (None, ["check", "job.toml", "--against", "no.json"], "no.json"),
    "stored result no JSON": (
        None,
        ["check", "job.toml", "--against", "top.nc"],
        "top.nc:1:1 [--against]: found no JSON",
    ),
    "stored result another form": (
        written("r.json", '{"form": "simkit sheet", "version": 1}'),
        ["check", "job.toml", "--against", "r.json"],
        "found 'simkit sheet', expected a stored result",
    ),
    "stored result of a later version": (
        written("r.json", '{"form": "simkit result", "version": 2}'),
        ["check", "job.toml", "--against", "r.json"],
        "found a result of version 2, expected a result of version 1 at most",
    ),
    "schema of nothing": (None, ["schema", "jobs"], "did you mean job?"),
    "cell no number": (None, ["check", "job.toml", "--cell", "fine"], "--cell"),
    "cell too fine": (None, ["check", "job.toml", "--cell", "0.0001"], "--cell"),
    "cell too coarse for the blank": (None, ["check", "job.toml", "--cell", "9"], "--cell"),
    "json into a folder": (None, ["check", "job.toml", "--json", "."], "--json"),
    "json to a dash": (None, ["check", "job.toml", "--json", "-"], "name a file"),
    "json into a pipe": (
        lambda p: os.mkfifo(p / "p"),
        ["check", "job.toml", "--json", "p"],
        "a pipe or a device",
    ),
    "json in no folder": (None, ["check", "job.toml", "--json", "no/where.json"], "--json"),
    "pictures on a file": (None, ["check", "job.toml", "--pictures", "top.nc"], "--pictures"),
}


@pytest.mark.parametrize("name", UNUSABLE)
def test_unusable_input__one_clear_message_and_status_2(name, job, tmp_path, monkeypatch, capsys):
    spoiling, words, holds = UNUSABLE[name]
    if spoiling is not None:
        spoiling(tmp_path)
    monkeypatch.chdir(tmp_path)
    assert main(words) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert holds in told.err
    assert "Traceback" not in told.err
    for line in told.err.strip().splitlines():
        assert ": found " in line or line.endswith("nothing was checked")
        assert ", expected " in line or line.endswith("nothing was checked")


def test_problems__are_told_together(job, tmp_path, capsys):
    spoil(tmp_path / "top.nc", "X30", "X3O")
    spoil(tmp_path / "top.nc", "M30", "M30\nG1 X1")
    spoil(tmp_path / "top.nc", "T1", "T7")
    assert main(["check", str(job)]) == 2
    told = capsys.readouterr().err
    assert told.splitlines()[-1].endswith("problems; nothing was checked")


def test_problems__more_than_the_limit_are_said_to_be_more(job, tmp_path, capsys):
    (tmp_path / "top.nc").write_text("G21 G41\n" * 80, encoding="utf-8")
    assert main(["check", str(job)]) == 2
    told = capsys.readouterr().err.splitlines()
    assert told[-2:] == [
        "50 problems; nothing was checked",
        "top.nc: there may be more, for reading stopped at 50 problems",
    ]


def test_own_fault__is_one_line_and_a_file(job, monkeypatch, capsys):
    def broken(*_):
        raise RuntimeError("made up")

    monkeypatch.setattr("simkit.program.job_programs.read_programs", broken)
    assert main(["check", str(job)]) == 3
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert "Traceback" not in told
    kept = Path(told.split("please send the file ")[1].strip())
    assert "RuntimeError: made up" in kept.read_text("utf-8")
    kept.unlink()


def test_interrupt__ends_with_130(job, monkeypatch, capsys):
    def stopped(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("simkit.program.job_programs.read_programs", stopped)
    assert main(["check", str(job)]) == 130
    assert capsys.readouterr().err == "stopped; nothing half-written is left\n"


def test_interrupt__while_modules_load_ends_with_130(monkeypatch, capsys):
    class Stopped:
        @staticmethod
        def find_spec(name, *_):
            if name == "simkit.cli":
                raise KeyboardInterrupt

    monkeypatch.delitem(sys.modules, "simkit.cli")
    monkeypatch.setattr(sys, "meta_path", [Stopped, *sys.meta_path])
    with pytest.raises(SystemExit) as ended:
        run()
    assert ended.value.code == 130
    assert capsys.readouterr().err == ""


def test_json__failing_to_write_leaves_nothing(job, tmp_path, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    assert main(["check", str(job), "--quiet", "--cell", "0.5", "--json", str(tmp_path / "r.json")]) == 2
    assert sorted(path.name for path in tmp_path.iterdir()) == ["job.toml", "top.nc"]


def test_check__an_unchanged_job_is_not_cut_again(job, tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("SIMKIT_KEEP", "yes")
    monkeypatch.setattr("simkit.runs.kept.cache_home", lambda: tmp_path / "cache")
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))  # for the words of the faults below
    words = ["check", str(job), "--cell", "0.5", "--json"]
    assert main([*words, str(tmp_path / "a.json")]) == 0
    capsys.readouterr()

    def cut_again(*_):
        raise AssertionError

    monkeypatch.setattr("simkit.check.check", cut_again)
    assert main([*words, str(tmp_path / "b.json")]) == 0
    assert capsys.readouterr().err == (
        f"wrote {tmp_path / 'b.json'}\nunchanged, so not cut again (--fresh cuts it again)\n"
    )
    first, again = (json.loads((tmp_path / name).read_text("utf-8")) for name in ("a.json", "b.json"))
    assert set(again.pop("timings")) == {"looking up the kept result", "total"}
    del first["timings"]
    assert again == first
    # Everything that matters cuts it again: a program, the job, the cells; and so does the wish to.
    for change in (["--fresh"], ["--cell", "0.6"]):
        assert main([*words, str(tmp_path / "b.json"), *change]) == 3
    spoil(tmp_path / "top.nc", "X30", "X31")
    assert main([*words, str(tmp_path / "b.json")]) == 3
    spoil(tmp_path / "top.nc", "X31", "X30")
    assert main([*words, str(tmp_path / "b.json")]) == 0
    spoil(job, "gouge = 0.1", "gouge = 0.2")
    assert main([*words, str(tmp_path / "b.json")]) == 3


def test_closed_pipe__is_no_fault(job):
    code = "import sys; from simkit.cli import main; sys.exit(main(sys.argv[1:]))"
    done = subprocess.run(
        f'"{sys.executable}" -c "{code}" check "{job}" --cell 0.5 | true; echo "${{PIPESTATUS[0]}}"',
        shell=True,
        executable="/bin/bash",
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.strip() == "0"
    assert "Traceback" not in done.stderr


def test_check__says_that_it_compiles_only_while_it_does(job, tmp_path, capsys, monkeypatch):
    called = []
    monkeypatch.setattr("simkit.warm.is_cold", lambda: not called)
    monkeypatch.setattr("simkit.warm.compile_all", lambda fraction: called.append(fraction))
    monkeypatch.setattr("simkit.warm.mark_warm", lambda: None)
    words = r"preparing kernels for this machine, once only"
    for expected in (rf"{words} \.\.\.\n({words}, \d+ of \d+\n){{0,4}}", ""):
        assert main(["check", str(job), "--cell", "0.5"]) == 0
        assert re.fullmatch(expected, capsys.readouterr().err)


def test_template__is_a_job_file_to_fill_in(capsys):
    assert main(["template"]) == 0
    assert "[blank]" in capsys.readouterr().out
