"""What a wrong turn leaves is not told as if it meant something: notes of seam and shift, maps of ridges."""

from pathlib import Path

from simkit.check import check
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from simkit.report.pictures import draw_plans
from simkit.report.result import result_of
from tests import budget_job

STARTS = ("seam: ", "side 2 against side 1 ")


def told(path, folder):
    """Return kinds of findings, remarks and names of maps of a check."""
    job = read_job(path)
    evidence, findings, _ = check(job, read_programs(job), 0.5)
    result = result_of(evidence, findings, {})
    folder.mkdir()
    maps = [Path(one).stem for one in draw_plans(folder, evidence, result)]
    return [one.kind for one in findings], result["remarks"], maps


def test_wrong_turn__seam_shift_and_ridges_are_not_told(tmp_path):
    path = budget_job.write(tmp_path)
    kinds, remarks, maps = told(path, tmp_path / "right")
    assert "wrong-turn" not in kinds
    assert [sum(note.startswith(start) for note in remarks) for start in STARTS] == [1, 1]
    assert {"surface_side_1", "surface_side_2", "witness_step"} <= set(maps)
    second = tmp_path / "side2.nc"
    second.write_text(budget_job.half_round(second.read_text("utf-8")), encoding="utf-8")
    kinds, remarks, maps = told(path, tmp_path / "wrong")
    assert "wrong-turn" in kinds
    assert [note for note in remarks if note.startswith(STARTS)] == []
    assert {"surface_side_1", "surface_side_2", "witness_step"}.isdisjoint(maps)
    assert "leftover_side_2" in maps
