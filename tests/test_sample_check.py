"""The main job on the sample: the good one passes, each spoilt one fails for its own reason, on its line."""

import json
import re
import shutil
import tomllib
from pathlib import Path

import numpy as np
import pytest

from simkit.cli import main

SAMPLES = Path(__file__).parents[1] / "samples"
SPOILT = sorted(path.parent.name for path in SAMPLES.glob("spoilt/*/expected.toml"))
NEAR = 10.0  # mm in plan: a spot is as long as the corner it lies in


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    """Check each job once; returns (exit status, result)."""
    folder = tmp_path_factory.mktemp("results")
    known = {}

    def result_of(name):
        if name not in known:
            job = SAMPLES / ("olive_boat" if name == "good" else f"spoilt/{name}") / "job.toml"
            status = main(["check", str(job), "--quiet", "--json", str(folder / f"{name}.json")])
            known[name] = status, json.loads((folder / f"{name}.json").read_text("utf-8"))
        return known[name]

    return result_of


def failing(result):
    return [row for row in result["findings"] if row["severity"] in ("safety", "beyond", "undecided")]


def test_good_job__is_within_limits(results):
    status, result = results("good")
    assert failing(result) == []
    assert status == 0
    assert result["verdict"]["status"] == "within limits"
    assert [setup["programs"][0]["file"] for setup in result["setups"]] == ["side1.nc", "side2.nc"]
    assert all(setup["programs"][0]["moves"] > 20_000 for setup in result["setups"])


@pytest.mark.parametrize("name", SPOILT)
def test_spoilt_job__fails_for_its_own_reason_on_its_line(results, name):
    expected = tomllib.loads((SAMPLES / "spoilt" / name / "expected.toml").read_text("utf-8"))
    status, result = results(name)
    assert status == expected["exit"] == 1
    rows = failing(result)
    for want in expected["finding"]:
        assert any(matches(row, want) for row in rows), (
            want,
            [(row["kind"], row["file"], row["line"], row["value"], row["at"]) for row in rows],
        )


def test_mesh_in_the_wrong_place__is_one_cause_for_both_sides(tmp_path):
    """The part of the good job stated 4 mm to the right and 3 mm to the back of where it was cut."""
    folder = tmp_path / "boat"
    shutil.copytree(SAMPLES / "olive_boat", folder)
    text = (folder / "job.toml").read_text("utf-8")
    assert text.count("at = [0, 0, 0]") == 1
    (folder / "job.toml").write_text(text.replace("at = [0, 0, 0]", "at = [4, 3, 0]"), "utf-8")
    told = tmp_path / "r.json"
    assert main(["check", str(folder / "job.toml"), "--quiet", "--cell", "0.7", "--json", str(told)]) == 1
    result = json.loads(told.read_text("utf-8"))
    [cause] = [one for one in result["causes"] if one["severity"] in ("safety", "beyond", "undecided")]
    told = re.match(
        r"both sides lie (\S+) mm to the left and (\S+) mm to the front of the part, known to 0\.7 mm: the "
        "mesh is placed wrong in the blank, or both zeros are; worst: ",
        cause["message"],
    )
    assert [float(word) for word in told.groups()] == pytest.approx([4.0, 3.0], abs=0.7)
    assert len(cause["findings"]) == len(failing(result)) > 5


def matches(row, want):
    if row["kind"] != want["kind"]:
        return False
    if "file" in want and Path(row["file"]).name != want["file"]:
        return False
    if "line" in want and not want["line"][0] <= (row["line"] or 0) <= want["line"][1]:
        return False
    if "value" in want and not want["value"][0] <= row["value"] <= want["value"][1]:
        return False
    return "at" not in want or np.hypot(row["at"][0] - want["at"][0], row["at"][1] - want["at"][1]) <= NEAR


@pytest.mark.parametrize("name", ["low_rapid", "no_rest_pass", "no_tabs", "round_corners"])
def test_spoilt_job__has_no_other_reason(results, name):
    expected = tomllib.loads((SAMPLES / "spoilt" / name / "expected.toml").read_text("utf-8"))
    kinds = {want["kind"] for want in expected["finding"]}
    assert {row["kind"] for row in failing(results(name)[1])} == kinds


def test_every_finding__says_where_how_much_and_what_to_do(results):
    for name in ["good", *SPOILT]:
        for row in results(name)[1]["findings"]:
            assert row["advice"].endswith((".", ")"))
            assert row["message"]
            if row["kind"] in ("gouge", "leftover-cutter", "leftover-program", "thin-wall", "witness-step"):
                assert row["bound"] is not None
                assert row["measure"]
                assert row["at"] is not None
                assert row["line"]


def test_ids__hold_on_other_cells(results, tmp_path):
    job = SAMPLES / "spoilt" / "no_rest_pass" / "job.toml"
    main(["check", str(job), "--quiet", "--cell", "0.29", "--json", str(tmp_path / "r.json")])
    coarse = json.loads((tmp_path / "r.json").read_text("utf-8"))
    known = {row["id"] for row in failing(results("no_rest_pass")[1])}
    assert len(known) == 4
    assert known <= {row["id"] for row in failing(coarse)}


@pytest.mark.parametrize(("name", "causes"), [("second_zero_off", 1), ("no_rest_pass", 1), ("wrong_turn", 1)])
def test_causes__a_person_reads_one_row_for_each(results, name, causes):
    result = results(name)[1]
    told = [cause for cause in result["causes"] if cause["severity"] in ("safety", "beyond", "undecided")]
    assert len(told) == causes < len(failing(result))
    numbers = [number for cause in result["causes"] for number in cause["findings"]]
    assert numbers == [row["number"] for row in result["findings"]]


def test_zero_off__is_said_with_its_size_and_where_and_what_to_write(results):
    # The job states an offset of 0.6 mm in y for the sample's second zero, which has none.
    result = results("second_zero_off")[1]
    cause = result["causes"][0]
    assert cause["message"].startswith("all that side 2 cut lies off the part by +0.60 ±0.01 mm in Y")
    lines = (SAMPLES / "spoilt" / "second_zero_off" / "job.toml").read_text("utf-8").splitlines()
    (line,) = [number for number, text in enumerate(lines, 1) if "offset" in text]
    column = lines[line - 1].index("offset") + 1
    assert (cause["file"], cause["line"], cause["column"]) == ("job.toml", line, column)
    where = f"job.toml:{line}:{column}"
    assert f"write offset = [0, 0, 0] in the zero of 'rim and hollows' ({where})" in cause["advice"]
    assert "known to ±0.01 mm" in cause["advice"]
    assert "thickness" not in cause["advice"]  # nothing is off in height
    assert f"the first in {where}: all that side 2" in result["verdict"]["sentence"]


def test_outside__the_frame_and_four_tabs(results):
    # Tabs 6 mm wide across a trench of 6.4 mm, 2 mm high at most (samples/olive_boat_programs.py).
    outside = results("good")[1]["outside"]
    assert outside["tabs"]["pieces"] == 4
    assert outside["tabs"]["area"] == pytest.approx(4 * 6 * 6.4, rel=0.2)
    assert outside["frame"]["area"] > 10_000
    assert outside["step"]["area"] < 5
    assert (outside["skin"]["area"], outside["offcut"]["area"]) == (0, 0)


def test_jig__good_one_takes_the_turned_boat(tmp_path):
    job, out = SAMPLES / "olive_boat_jig" / "job.toml", tmp_path / "r.json"
    assert main(["check", str(job), "--quiet", "--cell", "0.4", "--json", str(out)]) == 0
    [seat] = json.loads(out.read_text("utf-8"))["seats"]
    # A pocket 0.1 mm wider on each side (samples/olive_boat_jig.py): that is the play each way.
    assert seat["drops_in"]
    assert [seat["room"], *seat["play_shift"]] == pytest.approx([0.1] * 5, abs=0.02)
    assert seat["stands_up"] == pytest.approx(0.0, abs=0.02)
    assert seat["rests_on"] == "jig"
    assert seat["relief"] == []


def test_jig__round_corners_keep_the_boat_up_by_the_depth_of_the_pocket(results):
    [seat] = results("round_corners")[1]["seats"]
    assert not seat["drops_in"]
    assert seat["stands_up"] == pytest.approx(6.0, abs=0.02)
    middles = np.array([np.mean(outline, axis=0) for outline in seat["relief"]])
    corners = np.array([(15, 15), (15, 105), (295, 15), (295, 105)])  # of the blank on the jig's board
    assert len(middles) == 4
    for corner in corners:
        assert np.abs(middles - corner).max(axis=1).min() < 1.5


def test_tape_alone__is_too_little_for_the_spoilt_boat(tmp_path):
    """Poor tape in place of screws, and no tabs.  The foot ends 1 mm below the face that would lie on it.

    In the first setup wood stands on all of the tape, 4 N by its figures, which is too little; in the second
    no tape reaches the foot, so that the boat comes free.
    """
    folder = SAMPLES / "spoilt" / "no_tabs"
    text = (folder / "job.toml").read_text("utf-8")
    tape = '[[holding]]\nkind = "tape"\ngrip = 0.0005\nbox = [[60, 20], [215, 70]]\n'
    text = text[: text.index("[[holding]]")] + tape
    text = text.replace("../../olive_boat", (SAMPLES / "olive_boat").resolve().as_posix())
    text = text.replace('["side2.nc"]', f'["{(folder / "side2.nc").resolve().as_posix()}"]')
    text = text.replace('species = "cherry"', 'species = "cherry"\ncutting_force = 20')
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    words = ["check", str(tmp_path / "job.toml"), "--quiet", "--cell", "1.25"]
    assert main([*words, "--json", str(tmp_path / "r.json")]) == 1
    result = json.loads((tmp_path / "r.json").read_text("utf-8"))
    first, *later = result["held"]
    assert first["setup"] == "outside and foot"
    assert first["area"] == pytest.approx(155 * 50, rel=0.02)
    assert first["bears"] == pytest.approx(0.0005 * first["area"])
    assert not [row for row in later if row["piece"].startswith("the part")]
    (free,) = [row for row in result["findings"] if row["kind"] == "loose-piece"]
    assert (free["severity"], Path(free["file"]).name) == ("safety", "side2.nc")
    (weak,) = [row for row in result["findings"] if row["kind"] == "weak-hold" and row["side"] == 1]
    assert (weak["severity"], weak["unit"], weak["value"]) == ("warning", "N", first["bears"])
    assert weak["limit"] == pytest.approx(2 * first["force"], abs=1e-3)
    assert weak["value"] < weak["limit"]
