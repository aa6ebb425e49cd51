"""`simkit whatif`: two checks side by side against sizes known from geometry, and its words."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest

from simkit.cli import main
from simkit.errors import InputProblems
from simkit.findings.finding import Finding
from simkit.findings.supposed import Supposed
from simkit.job.change import Change, change_from_words
from simkit.job.reader import read_job
from simkit.report.lengths import MM
from simkit.report.whatif import limits_told, whatif_rows
from tests import budget_job
from tests.budget_planed_job import planed
from tests.small_job import HEAD, JOB, block

# A 20 x 10 tongue, 6 high, left standing by a 6 mm cutter that runs round it; its centre path is exact.
AROUND = (
    "G0 X7 Y7\nG1 Z6 F600\nX33\nY23\nX7\nY7\nX4 Y4\nX36\nY26\nX4\nY4\nX1 Y1\nX39\nY29\nX1\nY1\nG0 Z20\nM30\n"
)


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    folder = tmp_path_factory.mktemp("what if")
    part = block(0, 40, 0, 30, 0, 6).union(block(10, 30, 10, 20, 3, 12))
    part.export(folder / "part.stl")
    (folder / "top.nc").write_text(HEAD + AROUND, encoding="utf-8")
    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    return folder / "job.toml"


def whatif(job, *words):
    out = job.parent / "whatif.json"
    out.unlink(missing_ok=True)  # no answer must not pass for that of the last call
    status = main(["whatif", str(job), "--quiet", "--cell", "0.5", "--json", str(out), *words])
    return status, json.loads(out.read_text("utf-8"))


def worst(result, kind):
    return max((row["value"] for row in result["findings"] if row["kind"] == kind), default=0.0)


def test_shift__gouges_by_what_it_is(job):
    status, got = whatif(job, "--shift", "top=0.4,0")
    assert status == got["changed"]["verdict"]["exit_status"] == 1
    assert got["stated"]["verdict"]["exit_status"] == 0
    assert got["change"] == "the cuts of top land 0.4 mm right"
    # The left wall of the tongue is cut 0.4 mm deep, the right one keeps as much.
    assert worst(got["changed"], "gouge") == pytest.approx(0.4, abs=0.02)
    assert worst(got["changed"], "leftover-program") == pytest.approx(0.4, abs=0.02)
    row = next(row for row in got["rows"] if row["kind"] == "gouge")
    assert row["stated"] is None
    assert row["changed"]["value"] == worst(got["changed"], "gouge")


def test_turn__gouges_by_the_lever_of_the_corners(job):
    """Turned by 2 degrees about the middle, the tongue's corner wall is off by up to 10 sin 2 (mm)."""
    _, got = whatif(job, "--turn", "top=2")
    lever = 10 * np.sin(np.radians(2)) - 5 * (1 - np.cos(np.radians(2)))
    assert worst(got["changed"], "gouge") == pytest.approx(lever, abs=0.06)
    assert got["change"] == "the cuts of top land turned 2 degrees left"


def test_measured_cutter__leaves_half_of_what_it_lacks_on_each_wall(job):
    """0.5 mm on both walls of a corner, so sqrt(2) of it at the corner."""
    _, got = whatif(job, "--measured", "1=5.0")
    assert worst(got["changed"], "leftover-program") == pytest.approx(0.5 * 2**0.5, abs=0.02)
    assert got["change"] == "cutter 1 is 5 mm wide, not 6 mm"


def test_thickness__counts_from_the_table(job):
    """The zero lies on the table: the floor stays, the untouched top of the tongue is higher."""
    _, got = whatif(job, "--thickness", "1")
    assert worst(got["changed"], "leftover-program") == pytest.approx(1.0, abs=0.02)
    assert got["changed"]["blank"]["thickness"] == 13
    _, got = whatif(job, "--thickness", "-1")
    assert got["changed"]["verdict"]["exit_status"] == 1


@pytest.mark.parametrize(
    "words", [["--thickness", "-1/64in"], ["--thickness=-1/64in"], ["--thickness", "-.0156 in"]]
)
def test_thickness__less_than_stated_in_inches(job, words):
    _, got = whatif(job, *words)
    assert got["changed"]["blank"]["thickness"] == pytest.approx(12 - 25.4 / 64, abs=0.001)


def test_nothing_changed_in_effect__gives_the_same_result(job):
    status, got = whatif(job, "--shift", "top=0,0")
    assert status == 0
    for result in (got["stated"], got["changed"]):
        del result["timings"]
    assert got["stated"] == got["changed"]


def test_text__tells_both_verdicts(job, capsys):
    assert main(["whatif", str(job), "--cell", "0.5", "--shift", "top=0.4,0"]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "What if the cuts of top land 0.4 mm right?"
    assert lines[2].split() == ["finding", "side", "as", "stated", "then", "limit"]
    starts = [line.split(":")[0] for line in lines if not line.startswith(" ")]
    assert starts[-2:] == ["As stated", "Then"]  # broken lines are set in
    assert any(line.startswith("As stated: Within limits") for line in lines)
    assert any(line.startswith("Then: Beyond limits") for line in lines)
    assert max(map(len, lines)) <= 140
    assert any("simulation is no proof" in line for line in lines)


def row(kind, value, limit, **more):
    its = {"kind": kind, "side": 1, "zone": "", "value": value, "bound": 0.0, "limit": limit, "unit": "mm"}
    return its | {"severity": "beyond", "message": "", "id": f"{kind}{value}"} | more


def test_rows__of_what_is_worse_the_less_there_is_tell_the_least():
    found = {"findings": [row("thin-wall", value, 3.0) for value in (2.0, 1.0, 2.5)]}
    more = {"findings": [row("gouge", value, 0.1) for value in (0.2, 0.4, 0.3)]}
    assert [one["changed"]["value"] for one in whatif_rows(more, found)[:1]] == [1.0]
    assert whatif_rows(found, more)[0]["changed"]["value"] == 0.4


def test_text__tells_the_limit_of_each_where_the_change_moves_it():
    stated = {"findings": [row("weak-hold", 5.0, 6.75, unit="N")]}
    changed = {"findings": [row("weak-hold", 5.0, 9.0, unit="N")]}
    [told] = whatif_rows(stated, changed)
    assert (told["stated"]["limit"], told["changed"]["limit"]) == (6.75, 9.0)
    assert limits_told(told, MM) == "6.8, then 9.0"  # computed forces, told to 0.1 N as in all tables
    assert limits_told(told | {"stated": None}, MM) == "9.0"
    lengths = row("gouge", 0.2, 0.125), row("gouge", 0.2, 0.15)
    [told] = whatif_rows(*({"findings": [one]} for one in lengths))
    assert limits_told(told, MM) == "0.125, then 0.15"


def problems(job, **words):
    with pytest.raises(InputProblems) as raised:
        change_from_words(read_job(job), **words)
    return str(raised.value).splitlines()


@pytest.mark.parametrize("text", ["--0.3", "+-0.3", "- -0.3"])
def test_words__two_signs_are_not_taken_for_one(job, text):
    with pytest.raises(InputProblems) as caught:
        change_from_words(read_job(job), thickness=text)
    assert "two signs" in str(caught.value)


@pytest.mark.parametrize("text", ["0,3", "-1,5", "+0, 2"])
def test_words__a_decimal_comma_is_not_taken_for_two_lengths(job, text):
    told = problems(job, shifts=[f"top={text}"])
    assert "one length with a comma? then" in told[0]
    assert change_from_words(read_job(job), shifts=["top=0.0,3.0"]).shifts["top"] == (0.0, 3.0, 0.0)


def test_words__all_that_is_wrong_is_told_at_once(job):
    told = problems(
        job,
        shifts=["tap=0.1,0", "top=1", "top=a,b", "top"],
        turns=["top=30"],
        thickness="9",
        measured=["2=6", "1=9", "1=x"],
    )
    assert len(told) == 9
    assert told[0].endswith("expected a setup of the job (top); did you mean top?")
    assert told[1].startswith("--shift: found '1' (1 length), expected two or three lengths up to 50 mm")
    assert "write the difference, not the thickness" in told[5] + told[6] + told[4]


def test_words__nothing_supposed(job):
    (told,) = problems(job)
    assert told == (
        "command line: found nothing that is supposed to differ, expected --shift, --turn, --thickness, "
        '--planed or --measured; write it like --shift "top=0.3,-0.2"'
    )


def test_words__a_step_that_is_none(job):
    (told,) = problems(job, planed=["1=0.1"])
    assert told == (
        "--planed: found '1=0.1' in a job without one, expected a job with a step to a thickness; leave it "
        "out, or use --thickness"
    )


def test_words__what_a_step_leaves(tmp_path):
    job = planed(tmp_path, 2)
    made = change_from_words(read_job(job), planed=["1=-0.25"])
    assert made.planed == {0: -0.25}
    changed = made.of(read_job(job))
    assert (changed.steps[0].thickness, changed.setups[1].before) == (11.75, changed.steps)
    assert (changed.setups[0].before, changed.target.lacking) == ((), 0.25)
    # Side 2 is planed: its face, and the part over it, lie 0.25 mm higher.
    assert changed.target.at[2] == pytest.approx(read_job(job).target.at[2] + 0.25)
    assert made.words(read_job(job)) == "step 1 leaves the blank 0.25 mm thinner"
    assert "a step to a thickness of the job (1)" in problems(job, planed=["2=0.1"])[0]
    assert "write the difference, not the thickness" in problems(job, planed=["1=11.9"])[0]


def test_words__impossible_cutter(job):
    (told,) = problems(job, measured=["1=9"])
    assert "9 mm for cutter 1, which the job states with 6 mm" in told


def test_words__inches_signs_and_names_with_an_equals_sign(job):
    made = change_from_words(read_job(job), shifts=["top=-1/64 in, +0.5"], thickness="-0.25")
    assert made.shifts == {"top": pytest.approx((-25.4 / 64, 0.5, 0.0))}
    assert made.thickness == -0.25
    assert Change(thickness=-0.25).words(read_job(job)) == "the blank is 0.25 mm thinner"


def test_text__says_when_nothing_differs(job, capsys):
    assert main(["whatif", str(job), "--cell", "0.5", "--shift", "top=0,0"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert "With this change no finding differs from the job as stated." in lines


@pytest.mark.parametrize("swing", ["none", "half"])
def test_text__measures_the_shift_back_in_the_directions_it_was_given_in(tmp_path, swing):
    """Two maps of the table; the walls of a rectangle show the shift both ways and the turn."""
    path = budget_job.write(tmp_path)
    text = path.read_text("utf-8").replace('turn = "about x"', f'turn = "about x"\nswing = "{swing}"')
    if swing == "half":  # as if turned about y: the program is written for that pose
        second = (tmp_path / "side2.nc").read_text("utf-8")
        (tmp_path / "side2.nc").write_text(budget_job.half_round(second), encoding="utf-8")
    path.write_text(text, encoding="utf-8")
    out = tmp_path / "whatif.json"
    words = ["--shift", "second=0.15,-0.1", "--turn", "second=0.1"]
    main(["whatif", str(path), "--quiet", "--cell", "0.5", "--json", str(out), *words])
    told = json.loads(out.read_text("utf-8"))["measured_back"]
    found = re.fullmatch(
        r"measured back from the seam, side 2 as it lies in 'second': ([\d.]+) ± [\d.]+ mm right, "
        r"([\d.]+) ± [\d.]+ mm forward, turned ([\d.]+) ± [\d.]+ degrees left",
        told,
    )
    assert found, told
    right, forward, left = (float(one) for one in found.groups())
    assert (right, forward) == pytest.approx((0.15, 0.1), abs=0.02)
    assert left == pytest.approx(0.1, abs=0.005)


def test_cause__all_that_a_shift_brings_about_stands_under_it(tmp_path, capsys):
    """The change is their one cause, and says that the sides meet off by what was put in.

    The part comes free in either: that has its own.
    """
    path = budget_job.write(tmp_path)
    for words in (["--shift", "second=0.3,-0.2"], ["--shift", "first=-0.25,0.2", "--turn", "first=0.1"]):
        out = tmp_path / "whatif.json"
        main(["whatif", str(path), "--cell", "0.5", "--json", str(out), *words])
        result, text = json.loads(out.read_text("utf-8")), capsys.readouterr().out
        changed = result["changed"]
        free, *failing = [
            row for row in changed["findings"] if row["severity"] in ("safety", "beyond", "undecided")
        ]
        assert (free["kind"], free["cause"]) == ("loose-piece", 1)
        assert {row["kind"] for row in failing} >= {"witness-step", "gouge"}
        assert {row["cause"] for row in failing} == {result["follows"]["cause"]} == {2}
        assert result["follows"]["message"].startswith(
            f"{result['change']}: the two sides meet off by what was put in, side 2 as it lies in 'second': "
        )
        assert "fix: The two sides meet off by what was put in" in text
        assert sum(result["follows"]["kinds"].values()) == len(failing)
        assert f"{len(failing) + 1} findings of 2 causes" in changed["verdict"]["sentence"]


def test_cause__what_stood_before_the_change_has_its_own(tmp_path):
    """The top is cut 0.2 mm too deep as stated; 0.3 mm to the side goes on top of that."""
    path = budget_job.write(tmp_path, gouge=0.1)
    first = tmp_path / "side1.nc"
    text = first.read_text("utf-8")
    low, high = re.search(r"Z(-?[\d.]+) F600\nX", text)[1], None
    high = f"{float(low) - 0.2:g}"
    first.write_text(text.replace(f"Z{low} F600\nX", f"Z{high} F600\nX"), encoding="utf-8")
    out = tmp_path / "whatif.json"
    main(["whatif", str(path), "--quiet", "--cell", "0.5", "--json", str(out), "--shift", "second=0.3,0"])
    result = json.loads(out.read_text("utf-8"))
    deep = [row for row in result["changed"]["findings"] if row["kind"] == "gouge" and row["side"] == 1]
    step = next(row for row in result["changed"]["findings"] if row["kind"] == "witness-step")
    assert result["stated"]["verdict"]["exit_status"] == 1
    assert max(row["value"] for row in deep) == pytest.approx(0.2, abs=0.02)
    assert step["cause"] == result["follows"]["cause"]
    assert max(deep, key=lambda row: row["area"])["cause"] != step["cause"]


def test_cause__a_place_that_gets_worse_follows_and_one_that_stays_does_not():
    def one(value, box=(0.0, 0.0, 5.0, 5.0), severity="beyond", kind="gouge"):
        return Finding(kind, severity, "", "", value=value, bound=0.01, side=1, box=box, centre=(2.0, 2.0))

    supposed = Supposed("", (one(0.3),))
    assert not supposed.follows(one(0.31))
    assert not supposed.follows(one(0.2))
    assert supposed.follows(one(0.36))
    assert not supposed.follows(replace(one(0.3, (6.5, 0.0, 9.0, 5.0)), centre=(28.0, 2.0)))
    assert supposed.follows(replace(one(0.3, (28.0, 0.0, 31.0, 5.0)), centre=(29.0, 2.0)))
    assert supposed.follows(one(0.3, kind="break-through"))
    assert Supposed("", (one(0.3, severity="accepted"),)).follows(one(0.3))
    thin = Supposed("", (one(2.0, kind="thin-wall"),))
    assert thin.follows(one(1.8, kind="thin-wall"))
    assert not thin.follows(one(2.2, kind="thin-wall"))


def test_lie__is_told_with_its_bounds(tmp_path):
    path, out = budget_job.write(tmp_path), tmp_path / "whatif.json"
    words = ["--shift", "second=0.15,-0.1", "--turn", "second=0.1"]
    main(["whatif", str(path), "--quiet", "--cell", "0.5", "--json", str(out), *words])
    lie = json.loads(out.read_text("utf-8"))["side_2_lies"]
    assert lie["setup"] == "second"
    for name, bound, put in (
        ("right", "right_bound", 0.15), ("back", "back_bound", -0.1), ("turn_degrees", "turn_bound", 0.1)
    ):  # fmt: skip
        assert abs(lie[name] - put) <= lie[bound] + 1e-4
        assert lie[bound] < (0.08 if name == "turn_degrees" else 0.05)  # a seam of 20 x 14 mm
