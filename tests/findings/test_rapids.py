"""Rapids past the centres of cells, and from where another program ended: planted, each on its line."""

import json

import pytest

from simkit.cli import main
from tests.small_job import HEAD, JOB

PLAIN = JOB.split("[target]")[0]


def told(folder, job=PLAIN, **programs):
    for name, text in programs.items():
        (folder / f"{name}.nc").write_text(text, encoding="utf-8")
    (folder / "job.toml").write_text(job, encoding="utf-8")
    words = ["check", str(folder / "job.toml"), "--quiet", "--cell", "0.2", "--json", str(folder / "r.json")]
    status = main(words)
    return status, json.loads((folder / "r.json").read_text("utf-8"))["findings"]


SLOT = HEAD + "G0 X-5 Y15\nG1 Z6 F600\nX45\n{}\nG0 Z20\nM30\n"


def test_a_rapid_back_through_its_slot_a_twentieth_beside_it(tmp_path):
    assert told(tmp_path, top=SLOT.format("G0 X-5")) == (0, [])
    status, (row,) = told(tmp_path, top=SLOT.format("G0 Y15.05\nX-5"))
    assert (status, row["kind"], row["severity"], row["line"]) == (1, "rapid-contact", "safety", 9)
    assert row["value"] == pytest.approx(6.0, abs=1e-4)  # the wall of the slot is 6 mm high
    assert row["program_at"][1] == pytest.approx(15.05 + 2.99, abs=1e-4)


def test_a_program_that_starts_low_where_another_ended(tmp_path):
    """The first ends beside the blank 4 mm below its top; what the second does first decides."""
    job = PLAIN.replace('programs = ["top.nc"]', 'programs = ["one.nc", "two.nc"]')
    one = HEAD + "G0 X-10 Y5\nG1 Z11 F600\nX50\nG0 Z8\nM30\n"
    two = "G21 G90 G17\nT1 M6\nS18000 M3\n{}G1 Z11 F600\nX-5\nG0 Z20\nM30\n"
    status, (row,) = told(tmp_path, job, one=one, two=two.format("G0 X45 Y25\nX20\nZ13\n"))
    assert (status, row["kind"], row["file"], row["line"]) == (1, "rapid-contact", "two.nc", 5)
    # Beside the blank to X45 Y25, then into it, 12 high there.
    assert row["value"] == pytest.approx(12 - 8)
    assert row["message"].startswith("'one.nc' ends low, and the first rapid from there ploughs 4.00 mm deep")
    # Up first, a way that stays beside the blank, a change of cutter, a machine place: nothing is told.
    for begin in ("G0 Z20\nX45 Y25\nX20\n", "G0 X60 Y25\nZ20\nX20\n", "G53 G0 Z0\nG0 X20 Y25\nZ13\n"):
        status, rows = told(tmp_path, job, two=two.format(begin))
        assert (status, {row["kind"] for row in rows} - {"program"}) == (0, set()), begin  # G53 is a warning
    # Up and across at once: over the edge of the blank it is not up yet.
    status, rows = told(tmp_path, job, two=two.format("G0 X20 Y25 Z13\n"))
    assert [(row["kind"], row["line"]) for row in rows] == [("rapid-contact", 4)]
