"""The field behind any move of a job whose blank is poured and planed between its setups."""

import io

import numpy as np
import pytest
from PIL import Image

from simkit import check
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from simkit.report import colours
from simkit.stock.field import blank_lattice
from simkit.view.film import film_of
from simkit.view.steps import Steps
from tests.findings.programs import dug
from tests.findings.test_steps import FLUSH, PLAIN, POCKET, POUR, stated
from tests.small_job import JOB

AGAIN = '[[setups]]\nname = "again"\nturn = "none"\nzero = { corner = "left front", face = "bottom" }\n'


@pytest.fixture
def job(tmp_path):
    text = stated(POUR, FLUSH, job=JOB.split("[target]")[0] + "[target]")
    text = text.replace("[[steps]]", AGAIN + 'programs = ["again.nc"]\n[[steps]]', 1).removesuffix("[target]")
    (tmp_path / "top.nc").write_text(dug(PLAIN, *POCKET), encoding="utf-8")
    (tmp_path / "again.nc").write_text(dug(PLAIN, (5, 15, 10.5, 30, 18)), encoding="utf-8")
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    return read_job(tmp_path / "job.toml")


def test_field_at__has_the_steps_between_the_setups_behind_it(job):
    reads, lattice = read_programs(job), blank_lattice(40, 30, 0.5)
    evidence = check._cut(job, reads, lattice, check.Timings(), check.NoProgress())
    steps = Steps(job, reads, lattice)
    first = evidence.rows[0].stop
    for done, field in ((len(steps.moves), evidence.fields[1]), (first, evidence.fields[0])):
        for name in ("lower", "upper", "upper_move"):
            assert np.array_equal(getattr(steps.field_at(done), name), getattr(field, name))
    # One move into the second setup the blank is planed, and the pocket full.
    begun = steps.field_at(first + 1)
    assert begun.upper.max() == 11.0
    assert begun.resin().max() == 3.0
    assert np.array_equal(evidence.starts[1].resin(), begun.resin())


def test_film__shows_resin_in_its_own_hue(job):
    film = Image.open(io.BytesIO(film_of(Steps(job, read_programs(job), blank_lattice(40, 30, 0.5)), 6)))
    seen = []
    for number in (0, film.n_frames - 1):
        film.seek(number)
        pixels = np.array(film.convert("RGB"))[100:600].reshape(-1, 3).astype(int)
        seen.append((np.abs(pixels - colours.rgb(colours.RESIN)).max(axis=1) < 24).sum())
    assert seen[0] == 0
    assert seen[1] > 2000
