"""Notes on how the two sides lie to each other say nothing where one of them lies the wrong way."""

from simkit.api import load
from tests import budget_job

STARTS = ("seam: ", "side 2 against side 1 ")


def told(folder):
    path = budget_job.write(folder)
    right = load(path).check(cell=0.5)
    second = folder / "side2.nc"
    second.write_text(budget_job.half_round(second.read_text("utf-8")), encoding="utf-8")
    return right, load(path).check(cell=0.5)


def test_notes__seam_and_shift_are_not_told_of_a_wrong_turn(tmp_path):
    right, wrong = told(tmp_path)
    assert "wrong-turn" not in [one.kind for one in right.findings]
    assert [sum(note.startswith(start) for note in right.remarks) for start in STARTS] == [1, 1]
    assert "wrong-turn" in [one.kind for one in wrong.findings]
    assert [note for note in wrong.remarks if note.startswith(STARTS)] == []
