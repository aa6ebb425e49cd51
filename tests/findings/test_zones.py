"""Zones with limits of their own, and the finish allowance, on small jobs."""

import json

import pytest

from simkit.cli import main
from tests.findings.programs import END, dug, faced
from tests.small_job import JOB, block, check

PART = block(0, 40, 0, 30, 0, 10)
LEFT_HALF = "[[0, 0], [20, 30]]"


def zone(name, **keys):
    return f'\n[[zones]]\nname = "{name}"\n' + "".join(f"{key} = {value}\n" for key, value in keys.items())


def rows_of(found):
    return [(row["kind"], row["zone"], row["limit"]) for row in found if row["severity"] == "beyond"]


def test_zone__its_own_limit_counts_there_and_nowhere_else(tmp_path):
    program = dug(faced(10), (10, 15, 9.8), (30, 15, 9.8))  # two plunges 0.2 deep
    status, found = check(tmp_path, PART, program, job=JOB + zone("seat", box=LEFT_HALF, gouge=0.3))
    assert status == 1
    assert rows_of(found) == [("gouge", "whole part", 0.1)]
    assert found[0]["at"][0] > 20
    status, found = check(tmp_path, PART, program, job=JOB + zone("face", box=LEFT_HALF, gouge=0.05))
    assert sorted(rows_of(found)) == [("gouge", "face", 0.05), ("gouge", "whole part", 0.1)]


def test_zone__a_spot_that_crosses_is_judged_by_each(tmp_path):
    program = dug(faced(10), (8, 15, 9.7, 32, 15))  # a slot 0.3 deep across the border
    job = JOB + zone("face", box=LEFT_HALF, gouge=0.05)
    _, found = check(tmp_path, PART, program, job=job)
    assert sorted(rows_of(found)) == [("gouge", "face", 0.05), ("gouge", "whole part", 0.1)]
    for row in found:
        assert row["value"] == pytest.approx(0.3, abs=row["bound"])
        assert (row["at"][0] < 20) == (row["zone"] == "face")
        assert (row["box"][2] <= 20) == (row["zone"] == "face")
    _, found = check(tmp_path, PART, program, job=JOB + zone("loose", box=LEFT_HALF, gouge=1))
    assert rows_of(found) == [("gouge", "whole part", 0.1)]
    assert found[0]["at"][0] >= 20


def test_zone__not_judged_means_anything_may_be(tmp_path):
    program = dug(faced(10), (10, 15, 5), (12, 20, -1))  # deep, and right through
    status, found = check(tmp_path, PART, program, job=JOB + zone("tabs", box=LEFT_HALF, judged="false"))
    assert (status, found) == (0, [])
    status, found = check(
        tmp_path, PART, program, job=JOB + zone("tabs", box=LEFT_HALF, side=1, judged="false")
    )
    assert [row["kind"] for row in found if row["severity"] == "beyond"] == ["break-through"]


def test_zone__of_the_other_side_says_nothing_here(tmp_path):
    program = dug(faced(10), (10, 15, 9.8))
    _, found = check(tmp_path, PART, program, job=JOB + zone("seat", box=LEFT_HALF, side=2, gouge=1))
    assert rows_of(found) == [("gouge", "whole part", 0.1)]


def test_zone__the_later_of_two_counts(tmp_path):
    program = dug(faced(10), (10, 15, 9.8))
    wide = zone("wide", box="[[0, 0], [40, 30]]", gouge=0.5)
    narrow = zone("narrow", outline="[[2, 5], [18, 5], [10, 28]]", gouge=0.15)
    _, found = check(tmp_path, PART, program, job=JOB + wide + narrow, cell="0.25")
    assert rows_of(found) == [("gouge", "narrow", 0.15)]
    status, _ = check(tmp_path, PART, program, job=JOB + narrow + wide, cell="0.25")
    assert status == 0


def test_zone__leftover_has_its_own_limit_too(tmp_path):
    status, found = check(
        tmp_path, PART, faced(10.2), job=JOB + zone("face", box="[[10, 10], [20, 20]]", leftover=0.1)
    )
    assert status == 1
    assert rows_of(found) == [("leftover-program", "face", 0.1)]
    assert found[0]["value"] == pytest.approx(0.2, abs=found[0]["bound"])
    assert found[0]["box"] == pytest.approx([10, 10, 20, 20])


def test_zone__the_limits_are_in_the_result(tmp_path, capsys):
    PART.export(tmp_path / "part.stl")
    (tmp_path / "top.nc").write_text(dug(faced(10), (10, 15, 9.8)), encoding="utf-8")
    job = (
        JOB
        + zone("face", box=LEFT_HALF, gouge=0.05, finish_allowance=0)
        + zone("rest", box="[[30, 0], [40, 30]]", judged="false")
    )
    (tmp_path / "job.toml").write_text(job, encoding="utf-8")
    main(["check", str(tmp_path / "job.toml"), "--cell", "0.5", "--json", str(tmp_path / "r.json")])
    zones = json.loads((tmp_path / "r.json").read_text("utf-8"))["zones"]
    assert [(row["name"], row["gouge"], row["leftover"], row["is_judged"]) for row in zones] == [
        ("whole part", 0.1, 0.3, True),
        ("face", 0.05, 0.3, True),
        ("rest", 0.1, 0.3, False),
    ]
    assert [row["area"]["1"] for row in zones] == [10 * 30, 20 * 30, 10 * 30]
    told = capsys.readouterr().out
    assert "[face]" in told
    words = "limits in mm: whole part gouge 0.1, leftover 0.3; face gouge 0.05, leftover 0.3; rest not judged"
    assert words in " ".join(told.split())
    assert "not judged: zone 'rest', 300 mm2 of side 1" in told


ALLOWANCE = JOB.replace("gouge = 0.1", "gouge = 0.1\nfinish_allowance = 0.4")


@pytest.mark.parametrize(
    ("z", "kind", "value"),
    [(10.4, None, 0), (10.35, None, 0), (10.0, "gouge", 0.4), (10.9, "leftover-program", 0.5)],
)
def test_allowance__shifts_the_zero_of_both(tmp_path, z, kind, value):
    status, found = check(tmp_path, PART, faced(z), job=ALLOWANCE)
    assert status == (kind is not None)
    rows = [row for row in found if row["severity"] == "beyond"]
    assert [row["kind"] for row in rows] == [kind] * (kind is not None)
    for row in rows:
        assert row["value"] == pytest.approx(value, abs=row["bound"] + 1e-6)


def test_allowance__of_a_zone_alone(tmp_path):
    job = JOB + zone("sanded", box=LEFT_HALF, finish_allowance=0.4)
    _, found = check(tmp_path, PART, faced(10), job=job)
    assert rows_of(found) == [("gouge", "sanded", 0.1)]
    assert found[0]["value"] == pytest.approx(0.4, abs=found[0]["bound"])
    assert found[0]["box"][2] <= 20


def around(off):
    """Passes round a part 30 x 20 in the middle of the blank, `off` mm out from its wall, right through."""
    x0, x1, y0, y1 = 5 - 3 - off, 35 + 3 + off, 5 - 3 - off, 25 + 3 + off
    return [f"G0 X{x0} Y{y0}", "G1 Z0 F300", f"X{x1} F600", f"Y{y1}", f"X{x0}", f"Y{y0}"]


@pytest.mark.parametrize(
    ("off", "kind", "value"),
    [(0.4, None, 0), (0.0, "gouge", 0.4), (0.2, "gouge", 0.2), (0.9, "leftover-program", 0.5)],
)
def test_allowance__of_the_outer_wall(tmp_path, off, kind, value):
    job = ALLOWANCE.replace("diameter = 6", "diameter = 6\ncutting_length = 20")
    top = faced(10.4)
    program = top.removesuffix(END) + "G0 Z20\n" + "\n".join(around(off)) + "\n" + END
    # The whole frame comes loose or is cut away; only the wall matters here.
    status, found = check(tmp_path, block(5, 35, 5, 25, 0, 10), program, job=job, cell="0.25")
    rows = [row for row in found if row["severity"] in ("beyond", "undecided")]
    assert status == (kind is not None)
    assert {row["kind"] for row in rows} == ({kind} if kind else set())
    for row in rows:
        assert row["value"] == pytest.approx(value, abs=row["bound"])
        assert row["bound"] < 0.05
        assert row["line"]
