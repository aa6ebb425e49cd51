"""Notes on glue lines, from job file to words: a floor cut aslant through a glue plane."""

import math
import re

from simkit.api import load
from tests.small_job import HEAD, JOB

LAYUP = '[layup]\njoined = "along z"\nboards = [7, 5]\n'
NOTE = re.compile(r"glue line at z = 7 mm: the surface meets it at ([\d.]+) ± ([\d.]+) degrees .* z 7\.0 mm")


def remarks(folder, fall):
    """A slot 6 mm wide that falls by `fall` mm over 20 mm, through z = 7 in its middle."""
    target, rest = JOB.index("[target]"), JOB.index("[limits]")
    (folder / "job.toml").write_text(JOB[:target] + LAYUP + JOB[rest:], encoding="utf-8")
    high, low = 7 + fall / 2, 7 - fall / 2
    program = f"{HEAD}G0 X10 Y15\nG1 Z{high} F300\nX30 Z{low} F900\nG0 Z20\nM30\n"
    (folder / "top.nc").write_text(program, encoding="utf-8")
    return load(folder / "job.toml").check(cell=0.25).remarks


def test_boards_along_y__a_wall_aslant_at_their_glue_line(tmp_path):
    """Boards that run along y, glued at x = 20, a slot whose wall crosses that at atan(2 / 20), 5.7°."""
    target, rest = JOB.index("[target]"), JOB.index("[limits]")
    layup = '[layup]\nrun = "along y"\nboards = [20, 20]\n'
    (tmp_path / "job.toml").write_text(JOB[:target] + layup + JOB[rest:], encoding="utf-8")
    program = f"{HEAD}G0 X16 Y5\nG1 Z4 F300\nX18 Y25 F900\nG0 Z20\nM30\n"
    (tmp_path / "top.nc").write_text(program, encoding="utf-8")
    job = load(tmp_path / "job.toml")
    assert (job.model.layup.run, job.model.layup.joined) == ("along y", "along x")
    words = [one for one in job.check(cell=0.25).remarks if "feather" in one]
    assert words
    assert all("glue line at x = 20 mm: the surface meets it at 5.7 " in one for one in words)
    x, y = map(float, re.search(r"at x ([\d.]+) y ([\d.]+) z", words[0]).groups())
    assert abs(x - 20) <= 0.5
    assert abs(y - 15) <= 8


def test_floor_aslant__its_angle_is_that_of_the_move(tmp_path):
    """A flat cutter leaves a floor as steep as its move: atan(2 / 20), 5.7 degrees; at 16.7 none is told."""
    (found,) = [match for words in remarks(tmp_path, 2) if (match := NOTE.search(words))]
    assert found.groups() == (f"{math.degrees(math.atan(0.1)):.1f}", "0.0")
    assert not [words for words in remarks(tmp_path, 6) if "feather" in words]
