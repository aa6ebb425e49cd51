"""The programs of the two sides exchanged: said so, and no other pose of the blank is advised."""

import json
import shutil
from pathlib import Path

from simkit.cli import main

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
