"""The programs of the two sides exchanged: said so, and no other pose of the blank is advised."""

import json
import shutil
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from simkit.cli import main
from simkit.compare.pose_fit import PoseFit, PoseScore
from simkit.compare.poses import Pose
from simkit.findings import wrong_turn

SAMPLE = Path(__file__).parents[2] / "samples" / "olive_boat"


def test_exchanged__is_named_on_the_line_of_the_programs(tmp_path):
    folder = tmp_path / "boat"
    shutil.copytree(SAMPLE, folder)
    text = (folder / "job.toml").read_text("utf-8")
    text = (
        text.replace("side1.nc", "side?.nc").replace("side2.nc", "side1.nc").replace("side?.nc", "side2.nc")
    )
    (folder / "job.toml").write_text(text, encoding="utf-8")
    out = tmp_path / "r.json"
    assert main(["check", str(folder / "job.toml"), "--quiet", "--cell", "1", "--json", str(out)]) == 1
    (row,) = [one for one in json.loads(out.read_text("utf-8"))["findings"] if one["kind"] == "wrong-turn"]
    assert "the programs of 'outside and foot' and 'rim and hollows' look exchanged" in row["message"]
    assert row["advice"].startswith("Exchange them in the job")
    assert (row["file"], row["severity"]) == ("job.toml", "safety")
    assert text.splitlines()[row["line"] - 1].startswith('programs = ["side1.nc"')


CARVES, OUTLINES = {"cut": 900}, {"cut": 20, "gouged": 12, "freed": 0.95, "around": 300}
INTO, PAST = {"cut": 300, "gouged": 200, "into": 150, "around": 90}, {"around": 40, "freed": 0.1}


def score(turn, **counted):
    pose = Pose(turn, "none", "left front", "top", (0.0, 0.0, 0.0))
    counted = {"cut": 0, "gouged": 0, **counted}
    return PoseScore(pose, 0.1, 0.1, worst=np.zeros(1, np.float32), is_exact=True, **counted)


@pytest.mark.parametrize(
    ("first", "second", "words"),
    [
        (INTO, CARVES, "those of 'b' fit side 1, and those of 'a' go into the part there"),
        (PAST, CARVES, "those of 'b' fit side 1, and those of 'a' cut past the part there"),
        (
            INTO,
            OUTLINES,
            "those of 'b' cut round the part from side 1, and those of 'a' go into the part there",
        ),
        # One that cuts the part out where it should is right: only the second lies wrong.
        (OUTLINES, CARVES, "the programs of 'b' do not fit the part as the job says the blank lies"),
    ],
)
def test_exchanged__in_words_of_what_each_program_does(monkeypatch, first, second, words):
    monkeypatch.setattr(wrong_turn.wrong_unit, "find", lambda evidence: [])
    fits = [
        PoseFit(0, score("none", **first), None, (), None),
        PoseFit(1, score("about x", **INTO), score("none", **second), (), None),
    ]
    setups = [SimpleNamespace(name="a", side_up=1), SimpleNamespace(name="b", side_up=2)]
    evidence = SimpleNamespace(
        poses=fits,
        job=SimpleNamespace(setups=setups, lines={}, unit="mm"),
        frames=[SimpleNamespace(up=1), SimpleNamespace(up=-1)],
        job_line=lambda key: {"file": "job.toml", "line": 1},
    )
    (found,) = wrong_turn.find(evidence)
    assert words in found.message
