"""Meshes of fixtures: where they stand, what is refused, what depends on their files."""

import numpy as np
import pytest
import trimesh

from simkit.errors import InputProblems
from simkit.job.reader import read_job
from simkit.runs.kept import key_of
from simkit.runs.watched_files import files_of
from simkit.target.fixture_mesh import fixture_meshes
from tests.small_job import HEAD, JOB, block

FIXTURE = '[[fixtures]]\nname = "clamp"\nheight = {height}\nbox = [[50, 10], [70, 20]]\nmesh = "clamp.stl"\n'


def job_of(folder, made, height=30, more=""):
    made.export(folder / "clamp.stl")
    block(0, 40, 0, 30, 0, 12).export(folder / "part.stl")
    (folder / "top.nc").write_text(HEAD + "G1 Z5 F300\nM30\n", encoding="utf-8")
    (folder / "job.toml").write_text(JOB + FIXTURE.format(height=height) + more, encoding="utf-8")
    return read_job(folder / "job.toml")


def test_mesh__stands_on_the_table_in_the_middle_of_its_box(tmp_path):
    # 20 x 10 x 30, drawn anywhere.
    made = block(-7, 13, 100, 110, -5, 25)
    found = fixture_meshes(job_of(tmp_path, made))["clamp"]
    assert found.shape == (12, 3, 3)
    assert found.reshape(-1, 3).min(axis=0) == pytest.approx([50, 10, 0])
    assert found.reshape(-1, 3).max(axis=0) == pytest.approx([70, 20, 30])
    centimetres = made.copy()
    centimetres.apply_scale(0.1)
    same = fixture_meshes(job_of(tmp_path, centimetres, more='units = "cm"\n'))["clamp"]
    assert same == pytest.approx(found, abs=1e-5)


def test_mesh__a_little_lower_than_stated_counts_as_high(tmp_path):
    found = fixture_meshes(job_of(tmp_path, block(0, 20, 0, 10, 0, 29.7)))["clamp"]
    assert found[..., 2].max() == pytest.approx(30)
    with pytest.raises(
        InputProblems, match=r"20 x 10 x 29\.4 mm in mm, expected the size that box and height"
    ):
        fixture_meshes(job_of(tmp_path, block(0, 20, 0, 10, 0, 29.4)))


def test_mesh__an_open_one_and_one_that_is_no_mesh_are_refused(tmp_path):
    made = block(0, 20, 0, 10, 0, 30)
    made.update_faces(np.arange(12) > 0)
    with pytest.raises(InputProblems, match=r"job\.toml:\d+ \[fixtures #1, mesh\]"):
        fixture_meshes(job_of(tmp_path, made))
    job = job_of(tmp_path, block(0, 20, 0, 10, 0, 30))
    (tmp_path / "clamp.stl").write_text("no mesh", encoding="utf-8")
    with pytest.raises(InputProblems, match=r"\[fixtures #1, mesh\]"):
        fixture_meshes(job)


def test_mesh__a_change_of_its_file_is_a_change_of_the_job(tmp_path, monkeypatch):
    monkeypatch.delenv("SIMKIT_KEEP", raising=False)
    job = job_of(tmp_path, block(0, 20, 0, 10, 0, 30))
    before = key_of(job, 0.5)
    assert tmp_path / "clamp.stl" in files_of(tmp_path / "job.toml")
    trimesh.creation.cylinder(radius=5.0, height=30.0).export(tmp_path / "clamp.stl")
    assert key_of(job, 0.5) not in (before, None)
