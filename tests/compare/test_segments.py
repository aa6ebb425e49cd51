"""What is proved between the samples of a poured blank, held against exact heights between the samples."""

import json

import numpy as np
import pytest

from simkit import check
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from simkit.target.grid import TargetGrid
from tests.findings.programs import END, dug
from tests.small_job import HEAD, JOB, block

CELL, FINE = 0.8, 9  # mm; places along the edge of a cell
FLOOR = 0.02  # mm: half edge of the last squares
LENGTH, WIDTH = 40.0, 30.0


def random_job(folder, seed):
    """Pockets and slots, a pour, a plane or none, and more cuts over it; the part is a slab."""
    rng = np.random.default_rng(seed)

    def cuts(count, low, high):
        places = rng.uniform([6, 6, 0, 6, 6], [34, 24, 1, 34, 24], (count, 5))
        places[:, 2] = rng.uniform(low, high, count)
        return [tuple(map(float, place)) for place in places.round(3)]

    steps = [{"do": "pour", "side": 1, "closed": True, **({"below": 0} if seed % 2 else {"over": 0.7})}]
    top = 12.0
    if seed % 3:
        top = 11.4
        steps.append({"do": "thickness", "side": 1, "thickness": top})
    tables = "".join(
        "\n".join(["[[steps]]", 'after = "top"', *(f"{k} = {json.dumps(v)}" for k, v in one.items()), ""])
        for one in steps
    )
    again = '[[setups]]\nname = "again"\nturn = "none"\nzero = { corner = "left front", face = "bottom" }\n'
    job = JOB.replace("[target]", tables + again + 'programs = ["again.nc"]\n[target]')
    job = job.replace("[[setups]]", '[cutters.2]\nshape = "ball"\ndiameter = 3\n[[setups]]', 1)
    first = dug(HEAD + END, *cuts(4, 6.0, 11.5))
    second = dug(HEAD.replace("T1", "T2") + END, *cuts(5, top - 0.6, top + 0.3))
    block(0, LENGTH, 0, WIDTH, 0, top - 0.2).export(folder / "part.stl")
    (folder / "top.nc").write_text(first, encoding="utf-8")
    (folder / "again.nc").write_text(second, encoding="utf-8")
    (folder / "job.toml").write_text(job, encoding="utf-8")
    return read_job(folder / "job.toml"), top - 0.2


@pytest.mark.parametrize("seed", range(12))
def test_proof__no_place_between_the_samples_breaks_what_is_proved(tmp_path, seed):
    job, face = random_job(tmp_path, seed)
    lattice = check.job_lattice(job, CELL)
    evidence = check._cut(job, read_programs(job), lattice, check.Timings(), check.NoProgress())
    evidence.target_grid = TargetGrid(check._target(job))
    x, y = lattice.x(), lattice.y()
    part = (np.arange(FINE) + 0.5) / FINE - 0.5
    xx = (x[:, None] + part * CELL).ravel()
    yy = (y[:, None] + part * CELL).ravel()
    places = np.array(np.meshgrid(xx, yy)).reshape(2, -1).T
    left = evidence.columns(places).upper.reshape(lattice.ny, FINE, lattice.nx, FINE)
    deep, proud = face - left.min(axis=(1, 3)), left.max(axis=(1, 3)) - face
    # Away from the rim of the part, where a place is nearest to a wall of it.
    asked = ((y > 2) & (y < WIDTH - 2))[:, None] & ((x > 2) & (x < LENGTH - 2))
    is_poured = evidence.is_poured
    assert 0.05 < is_poured.mean() < 0.8
    for most in (0.05, 0.25):
        allowed = np.full(lattice.shape, most)
        for is_gouge, size in ((True, deep), (False, proud)):
            found = evidence.may_exceed(1, is_gouge, allowed, asked, FLOOR)
            is_proved = asked & ~found.is_found
            assert size[is_proved].max(initial=0.0) <= most + 1e-6
            # It proves what there is to prove: most cells that hold, hold by the proof.
            holds = asked & (size <= most - 0.02) & evidence.field.is_solid
            if holds.sum() > 100:
                assert is_proved[holds].mean() > 0.8
