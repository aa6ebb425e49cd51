"""Steps that part a blank in pieces: bridges sawn off, a skin planed away, and what resin holds together."""

import pytest

from tests.findings.programs import dug
from tests.findings.test_steps import PLAIN, result, stated
from tests.small_job import JOB, block, check

ACROSS = (20, 6, -1, 20, 24)  # through, 6 mm wide, y 3 to 27: bridges of 3 mm at both ends
GROOVE = (20, -5, 1, 20, 35)  # all across, a skin of 1 mm left
OPEN = JOB.replace('["top.nc"]', '["top.nc"]\nspoilboard = 2')


def steps_found(folder, cut, *steps):
    check(folder, block(0, 1, 0, 1, 0, 12), dug(PLAIN, cut), job=stated(*steps, job=OPEN))
    return [row for row in result(folder)["findings"] if row["kind"] == "step"]


@pytest.mark.parametrize(("front", "is_parted"), [(6, True), (2, False)])
def test_saw__takes_the_bridges_off(tmp_path, front, is_parted):
    saw = {"do": "saw", "box": [[0, front], [40, 24]]}
    found = steps_found(tmp_path, ACROSS, saw)
    if not is_parted:  # one millimetre of the front bridge stays
        assert found == []
        return
    [row] = found
    assert (row["severity"], row["value"], row["file"]) == ("warning", None, "job.toml")
    assert row["message"] == (
        "the sawing after 'top' parts what held together into 2 pieces: "
        "17 x 18 x 12 mm at x 8, y 15, 17 x 18 x 12 mm at x 32, y 15"
    )
    text = (tmp_path / "job.toml").read_text("utf-8").split("\n")
    assert text[row["line"] - 1].startswith("box")


def test_planer__takes_the_skin_off_unless_resin_fills_the_groove(tmp_path):
    planed = {"do": "thickness", "side": 2, "thickness": 10.5}
    [row] = steps_found(tmp_path, GROOVE, planed)
    assert "the step to 10.5 mm after 'top' parts what held together into 2 pieces" in row["message"]
    assert steps_found(tmp_path, GROOVE, {**planed, "thickness": 11.5}) == []
    poured = {"do": "pour", "below": 0, "closed": True}
    assert steps_found(tmp_path, GROOVE, poured, planed) == []


def test_pieces__that_were_apart_before_are_no_news(tmp_path):
    """Cut all across and through: the planer takes off two pieces, and parts none."""
    found = steps_found(tmp_path, (20, -5, -1, 20, 35), {"do": "thickness", "thickness": 11})
    assert [row for row in found if "parts" in row["message"]] == []
