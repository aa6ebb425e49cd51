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


@pytest.mark.parametrize(
    ("pin", "over", "severity"),
    [(3.97, None, None), (4.0, None, None), (4.06, 0.06, "warning"), (4.2, 0.2, "beyond")],
)
def test_pin__thicker_than_its_hole(tmp_path, pin, over, severity):
    path = write_two_sided(tmp_path)
    text = path.read_text("utf-8")
    path.write_text(text.replace("pin = 3.97", f"pin = {pin}"), encoding="utf-8")
    main(["check", str(path), "--quiet", "--cell", "1", "--json", str(tmp_path / "r.json")])
    findings = json.loads((tmp_path / "r.json").read_text("utf-8"))["findings"]
    rows = [row for row in findings if "thicker than its hole" in row["message"]]
    if over is None:
        assert rows == []
        return
    assert [row["value"] for row in rows] == pytest.approx([over] * 2)
    assert {row["severity"] for row in rows} == {severity}
    assert {path.read_text("utf-8").splitlines()[row["line"] - 1] for row in rows} == {f"pin = {pin}"}
