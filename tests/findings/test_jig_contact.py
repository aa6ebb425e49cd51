"""Cutters against the jig that a setup names, both as programs cut them: planted, each on its line."""

import json

import pytest

from simkit.cli import main
from tests.findings.test_seat import CUTTER, HEAD, JIG, JOB, TOP, pocket

WAYS = "G0 X{x} Y5\nG1 Z{z} F500\nY15 F1500\nG0 Z20\nM5\nM30\n"


def told(folder, x, z, more="", cutter=CUTTER):
    """What is told of a pass of the back at one x, from Y5 to Y15; the lower face lies at Z0."""
    (folder / "jig").mkdir(exist_ok=True)
    (folder / "jig" / "pocket.nc").write_text(pocket(0.95), encoding="utf-8")
    (folder / "jig" / "job.toml").write_text('name = "nest"\n' + JIG, encoding="utf-8")
    (folder / "top.nc").write_text(TOP, encoding="utf-8")
    (folder / "back.nc").write_text(HEAD + WAYS.format(x=x, z=z), encoding="utf-8")
    front, back = JOB.split('name = "back"')
    back = back.replace("top.nc", "back.nc").replace('face = "top"', 'face = "bottom"')
    job = (front + 'name = "back"' + back).replace(CUTTER, cutter) + "jig_at = [15, 15, 4]\n" + more
    (folder / "job.toml").write_text(job, encoding="utf-8")
    words = ["check", str(folder / "job.toml"), "--quiet", "--cell", "0.2", "--json", str(folder / "r.json")]
    main(words)
    rows = json.loads((folder / "r.json").read_text("utf-8"))["findings"]
    return [row for row in rows if row["kind"] == "fixture-contact"]


def test_jig__a_pass_beside_its_wall(tmp_path):
    # The board is 10 thick, the blank lies 4 over its lower face: the rim stands 6 over that of the blank.
    (row,) = told(tmp_path, 2.05, 7)
    assert (row["severity"], row["subject"], row["file"]) == ("safety", "jig nest", "back.nc")
    assert row["line"] == HEAD.count("\n") + 2  # where it comes down beside the wall
    assert row["value"] == pytest.approx(6 + 2 - 7, abs=1e-4)
    assert "into 'jig nest', counting the 2 mm that must stay clear" in row["message"]
    assert "Make 'nest' lower or wider there" in row["advice"]
    assert row["program_at"][2] == pytest.approx(7.0, abs=1e-4)  # where the tip is
    assert told(tmp_path, 2.05, 8) == []
    # Its wall stands at X-0.95 (the pocket is 0.95 wider on each side): 5 to the axis leave the clearance.
    assert told(tmp_path, 4.06, 5) == []
    assert len(told(tmp_path, 3.6, 5)) == 1
    # With no distance to keep the edge may run along the wall, and not into it.
    assert told(tmp_path, 2.06, 5, "[machine]\nclearance = 0\n") == []
    (row,) = told(tmp_path, 1.5, 5, "[machine]\nclearance = 0\n")
    assert row["value"] == pytest.approx(6 - 5, abs=1e-4)
    assert "counting" not in row["message"]
