"""A job without a target: its status comes from what concerns setups, pins and safety alone."""

import json

import pytest

from simkit.cli import main
from tests.findings.programs import dug, faced
from tests.small_job import JOB

PLAIN = JOB.replace('[target]\nmesh = "part.stl"\nunits = "mm"\n', "")
DOWEL = PLAIN + '\n[[dowels]]\nname = "pin"\nat = [20, 15]\ndiameter = 6\n'
GOOD = faced(10)
THROUGH = dug(GOOD, (20, 15, -1))


def run(folder, program, job):
    (folder / "top.nc").write_text(program, encoding="utf-8")
    (folder / "job.toml").write_text(job, encoding="utf-8")
    words = ["check", str(folder / "job.toml"), "--quiet", "--cell", "0.25", "--json", str(folder / "r.json")]
    return main(words), json.loads((folder / "r.json").read_text("utf-8"))


@pytest.mark.parametrize(
    ("program", "job", "kind", "severity"),
    [
        (GOOD, PLAIN, None, None),
        (dug(GOOD, (20, 15, 1)), PLAIN, None, None),  # deep, but nobody says what is wanted
        (THROUGH, DOWEL, None, None),
        (faced(13), PLAIN, "setup", "beyond"),  # a millimetre above the blank
        (dug(GOOD, (20.5, 15, -1)), DOWEL, "dowel-miss", "beyond"),
        (
            GOOD.replace("G0 X-5.0 Y0 Z20", "G0 X-5.0 Y15 Z20\nG0 Z8\nG0 X20\nG0 Z20"),
            PLAIN,
            "rapid-contact",
            "safety",
        ),
    ],
    ids=["good", "deep", "dowel", "setup", "dowel-miss", "rapid"],
)
def test_no_target__status(tmp_path, program, job, kind, severity):
    status, result = run(tmp_path, program, job)
    failing = [row for row in result["findings"] if row["severity"] in ("safety", "beyond", "undecided")]
    assert {(row["kind"], row["severity"]) for row in failing} == ({(kind, severity)} if kind else set())
    assert status == result["verdict"]["exit_status"] == (kind is not None)
    assert "The shape was not judged: the job names no target." in result["verdict"]["sentence"]
    assert result["target"] is None
    assert result["outside"] is None
