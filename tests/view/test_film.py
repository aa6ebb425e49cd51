import io
import os

import numpy as np
import pytest
from PIL import Image

from simkit.cli import main
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from simkit.stock.cut import cut
from simkit.stock.field import blank_lattice
from simkit.view.film import film_of, stops_of
from simkit.view.letters import font, in_sentences
from simkit.view.steps import Steps
from tests.small_job import HEAD, JOB, block

PROGRAM = HEAD + "G0 X10 Y15\nG1 Z6 F600\nX30\nG0 Z20\nX20 Y5\nG1 Z9\nY25\nG0 Z20\nM30\n"


@pytest.fixture
def steps(tmp_path):
    block(5, 35, 5, 25, 0, 12).export(tmp_path / "part.stl")
    (tmp_path / "top.nc").write_text(PROGRAM, encoding="utf-8")
    (tmp_path / "job.toml").write_text(JOB, encoding="utf-8")
    job = read_job(tmp_path / "job.toml")
    return Steps(job, read_programs(job), blank_lattice(40, 30, 0.5))


def test_field_at__a_line_has_what_was_cut_up_to_it(steps):
    """A 6 mm flat cutter along y = 15 at z 6, then along x = 20 at z 9: heights known on paper."""
    where = {"first": (29, 50), "second": (15, 39), "away": (5, 5)}  # rows iy, ix of 0.5 mm cells
    wanted = {5: (12, 12, 12), 6: (12, 12, 12), 7: (6, 12, 12), 11: (6, 9, 12), 12: (6, 9, 12)}
    for line in (*wanted, 7, 5, 11):  # backwards, too
        upper = steps.field_at(steps.done_by(0, line)).upper
        got = tuple(float(upper[place]) for place in where.values())
        assert got == pytest.approx(wanted[line], abs=1e-5), line


def test_field_at__forward_in_parts_is_the_same_as_at_once(steps):
    parts = [steps.field_at(done) for done in range(len(steps.moves) + 1)]
    fresh = cut(steps.field_at(0), steps.moves, steps.job.cutters, steps.frames[0]).field
    np.testing.assert_array_equal(parts[-1].upper, fresh.upper)
    np.testing.assert_array_equal(parts[-1].upper_move, fresh.upper_move)


def test_line_at__is_the_line_of_the_last_move_done(steps):
    for line in (7, 11):
        assert steps.line_at(steps.done_by(0, line)) == line


def test_film__has_a_picture_for_each_stop_and_the_wood_goes_dark(steps):
    stops = stops_of(steps, 8)
    assert stops[0] == 0
    assert stops[-1] == len(steps.moves)
    film = Image.open(io.BytesIO(film_of(steps, 8)))
    assert film.n_frames == len(stops)
    scale = 560 / 30  # pixels a mm: the blank is as high as the map may be
    at = round(24 + 15 * scale), round(86 + (30 - 15) * scale)
    tones = []
    for number in (0, film.n_frames - 1):
        film.seek(number)
        tones.append(int(film.convert("L").getpixel(at)))
    assert tones[1] < tones[0] - 40


def test_film__steps_after_the_last_setup_are_in_a_picture_at_the_end(tmp_path, steps):
    plain = Image.open(io.BytesIO(film_of(steps, 8)))
    more = '[[steps]]\nafter = "top"\ndo = "{}"\nside = {}\n{}\n'
    poured = more.format("pour", 1, "over = 1") + more.format("thickness", 1, "thickness = 12")
    for name, tables in (("inlay", poured), ("under", more.format("thickness", 2, "thickness = 5"))):
        path = tmp_path / f"{name}.toml"
        path.write_text(JOB.replace("[target]", tables + "[target]"), encoding="utf-8")
        job = read_job(path)
        with_steps = Steps(job, read_programs(job), blank_lattice(40, 30, 0.5))
        ended = with_steps.field_at_end()
        film = Image.open(io.BytesIO(film_of(with_steps, 8)))
        assert film.n_frames == plain.n_frames + 1
        film.seek(film.n_frames - 1)
        # The slot along y = 15 is full of resin; or its floor at z 6 is gone, with side 2 up to z 7.
        scale = 560 / 30
        red, _, blue = film.convert("RGB").getpixel((round(24 + 15 * scale) + 2, round(86 + 15 * scale) + 1))
        if name == "inlay":
            assert blue > red
            assert ended.is_resin(1)[29, 30]
            assert ended.upper.max() == 12
        else:
            assert ended.lower[5, 5] == 7
            assert not ended.is_solid[29, 30]


@pytest.fixture
def clamped(tmp_path, steps):
    """The same with a clamp over the front edge and a round stop at the left."""
    more = '[[fixtures]]\nname = "clamp"\nheight = 20\nbox = [[10, -20], [20, 4]]\n'
    more += '[[fixtures]]\nname = "stop"\nheight = 20\nat = [-5, 20]\ndiameter = 8\n'
    (tmp_path / "job.toml").write_text(JOB + more, encoding="utf-8")
    job = read_job(tmp_path / "job.toml")
    return Steps(job, read_programs(job), blank_lattice(40, 30, 0.5))


def test_film__clamps_stand_where_the_job_says(clamped):
    film = Image.open(io.BytesIO(film_of(clamped, 2)))
    film.seek(film.n_frames - 1)
    frame = np.asarray(film.convert("RGB")).astype(int)
    scale = 560 / 30
    room = round(20 * scale)  # the clamp reaches 20 mm in front of the blank

    def at(x, y):
        left, top = 24 + room + x * scale, 86 + room + (30 - y) * scale
        return frame[round(top) - 6 : round(top) + 7, round(left) - 6 : round(left) + 7].reshape(-1, 3)

    teal = np.array([128, 205, 193])  # ColorBrewer, BrBG: #80cdc1, hatched
    for place, is_clamp in (((15, -10), True), ((15, 2), True), ((15, 8), False), ((25, -10), False),
                            ((-5, 20), True), ((-5, 26), False)):  # fmt: skip
        share = (np.abs(at(*place) - teal).max(axis=1) < 25).mean()
        assert (share > 0.6) == is_clamp, (place, share)


def test_film__a_wall_is_darker_than_the_floors_beside_it(steps):
    """The slot along y = 15 from z 12 down to 6: at y = 18, x = 15 stands an upright wall."""
    film = Image.open(io.BytesIO(film_of(steps, 4)))
    film.seek(film.n_frames - 1)
    grey = np.asarray(film.convert("L")).astype(int)
    scale = 560 / 30
    column = round(24 + 15 * scale)

    def tone(y):
        row = round(86 + (30 - y) * scale)
        return grey[row - 5 : row + 6, column].min()

    assert tone(12) < 0.75 * min(tone(8), tone(15))


def test_command__writes_the_film_for_whom_the_umask_allows(tmp_path, steps):
    before = os.umask(0o022)
    try:
        status = main(["film", steps.job.file, str(tmp_path / "a.gif"), "--steps", "4", "--cell", "1"])
    finally:
        os.umask(before)
    assert status == 0
    assert (tmp_path / "a.gif").read_bytes()[:6] == b"GIF89a"
    if os.name == "posix":
        assert (tmp_path / "a.gif").stat().st_mode & 0o777 == 0o644


@pytest.mark.parametrize("steps_word", ["1", "x", "401", "-3"])
def test_command__refuses_steps_that_make_no_film(tmp_path, capsys, steps_word):
    assert main(["film", "no.toml", str(tmp_path / "a.gif"), f"--steps={steps_word}"]) == 2
    assert "a whole number from 2 to 400" in capsys.readouterr().err


def test_in_sentences__whole_ones_as_far_as_they_fit():
    text = "Side 2 up. Seen from above. Cells of 0.4 mm."
    wide = font(13).getlength
    assert in_sentences(text, 13, wide(text) + 1) == text
    assert in_sentences(text, 13, wide(text) - 1) == "Side 2 up. Seen from above."
    assert in_sentences(text, 13, wide("Side 2 up. Seen")) == "Side 2 up."
    assert in_sentences(text, 13, wide("Side 2")).endswith("…")
