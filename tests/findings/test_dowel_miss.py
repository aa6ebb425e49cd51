"""Dowel holes that a cutter of another size goes down at: a cutter's diameter may be misstated."""

import json

import pytest

from simkit.cli import main
from tests.runs.some_jobs import write_two_sided


@pytest.mark.parametrize(("drill", "told"), [("4", 0), ("8", 2)])
def test_another_size__told_on_the_line_that_goes_down_there(tmp_path, drill, told):
    path = write_two_sided(tmp_path)
    text = path.read_text("utf-8")
    path.write_text(
        text.replace('shape = "drill"\ndiameter = 4', f'shape = "drill"\ndiameter = {drill}'),
        encoding="utf-8",
    )
    main(["check", str(path), "--quiet", "--cell", "1", "--json", str(tmp_path / "r.json")])
    findings = json.loads((tmp_path / "r.json").read_text("utf-8"))["findings"]
    rows = [row for row in findings if row["kind"] == "dowel-miss" and "goes down" in row["message"]]
    assert len(rows) == told
    for row in rows:
        assert (row["severity"], row["file"]) == ("warning", "below.nc")
        assert row["message"].startswith("a cutter of 8.00 mm goes down at the place of the dowel hole '")
        assert row["message"].endswith("which is 4.00 mm wide as the job says")
        line = (tmp_path / "below.nc").read_text("utf-8").splitlines()[row["line"] - 1]
        assert "Z-" in line
