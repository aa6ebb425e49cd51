"""The picture of a piece in its jig: what it shows, and where."""

import re
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from simkit.check import check
from simkit.compare.seat import seat
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from simkit.report import colours
from simkit.report.canvas import Page
from simkit.report.page.page import parts_of
from simkit.report.result import result_of
from simkit.report.seat_view import JIG_LINE, SHADES, contacts_of, draw_seat
from simkit.stock.field import Lattice
from tests.findings import test_seat as jobs

FLOOR, TOP = 5.0, 10.0
CLOSE_UPS = 430  # pixels at the foot of the picture


def box(half, low=FLOOR):
    return lambda points: np.where(np.abs(points).max(axis=1) < half, low, np.inf)


def pocket(half, radius, floor=FLOOR):
    def top(points):
        q = np.abs(points)
        corner = np.hypot(*np.maximum(q - (half - radius), 0.0).T)
        return np.where((q.max(axis=1) < half) & (corner < radius), floor, TOP)

    return top


def lattice(half, cell=0.5):
    n = round(2 * half / cell)
    return Lattice((-half, -half), cell, n, n)


def seated(half, radius, jig=None):
    return seat(box(10.0), jig or pocket(half, radius), lattice(11), lattice(14), np.zeros(2))


@pytest.fixture(scope="module")
def kept_up():
    """A square piece on the round corners of its pocket."""
    return seated(10.1, 3.0)


def count(path, colour):
    """Pixels of the map and its legend."""
    with Image.open(path) as file:
        picture = np.asarray(file.convert("RGB"))[:-CLOSE_UPS]
    return int((picture == colours.rgb(colour)).all(axis=-1).sum())


def test_contacts__one_for_each_corner_that_keeps_it_up(kept_up):
    found = contacts_of(kept_up)
    assert len(found) == 4
    places = np.array([place for place, _ in found])
    assert np.sign(places[:, :2]).prod(axis=1).sum() == 0
    assert len(np.unique(np.sign(places[:, :2]), axis=0)) == 4
    assert places[:, 2] == pytest.approx(TOP)
    # The arc, of middle (7.1, 7.1), leaves the piece where 2.9 along one side is 0.7616 along the other.
    across = np.sqrt(2) * (2.9 - np.sqrt(9 - 2.9**2))
    assert [reach for _, reach in found] == pytest.approx([across] * 4, abs=0.05)


def test_contacts__a_floor_is_one_place():
    found = contacts_of(seated(10.5, 0.001))
    assert len(found) == 1
    assert found[0][1] == pytest.approx(20 * np.sqrt(2), abs=1.0)
    assert np.abs(found[0][0][:2]).max() < 0.6


def test_picture__shows_what_to_take_off_and_is_the_same_each_time(kept_up, tmp_path):
    one, two = (draw_seat(tmp_path / name, kept_up, "Does not drop in.", "a box") for name in ("a", "b"))
    assert Path(one).read_bytes() == Path(two).read_bytes()
    assert count(one, colours.PUOR_11[1]) > 1000  # the outlines to take off, hatched
    assert count(one, JIG_LINE) > 1000
    assert count(one, SHADES[4]) > 100_000  # over 2 mm: it stands 5 mm up


def test_picture__close_ups_have_the_numbers_of_the_list(kept_up, tmp_path, monkeypatch):
    numbers, texts = [], []
    plain = Page.number, Page.text
    monkeypatch.setattr(Page, "number", lambda page, *a, **k: (numbers.append(a), plain[0](page, *a, **k))[1])
    monkeypatch.setattr(Page, "text", lambda page, *a, **k: (texts.append(a), plain[1](page, *a, **k))[1])
    draw_seat(tmp_path / "a.png", kept_up, "Does not drop in.", "a box")
    [top] = [y for _, y, words, *_ in texts if words.startswith("Close to")]
    # Each corner that keeps it up is shown close to; its number stands there as in the map and the list.
    assert sorted(number for _, y, number, *_ in numbers if number and y > top) == [1, 2, 3, 4]
    assert sorted(number for _, y, number, *_ in numbers if number and y < top) == [1, 2, 3, 4]
    told = [words for _, _, words, *_ in texts if re.match(r"(?:\d: )?at x ", words)]
    assert len(told) == 8
    assert all(re.search(r"x -?[\d.]+, y -?[\d.]+ mm", words) for words in told)


def test_picture__shades_tell_the_room_below(tmp_path):
    # The floor bears the piece over 12 mm of its 20 and goes down in steps 2 mm wide, one for each shade.
    def jig(points):
        floor = FLOOR - np.array([0.0, 0.05, 0.3, 1.0, 3.0])[np.searchsorted([2, 4, 6, 8], points[:, 0])]
        return np.where(np.abs(points).max(axis=1) < 10.4, floor, TOP)

    found = seated(0, 0, jig)
    counts = [count(draw_seat(tmp_path / "a.png", found, "Drops in.", "a box"), shade) for shade in SHADES]
    assert found.relief == []
    assert np.array(counts) / sum(counts) == pytest.approx(np.array([12, 2, 2, 2, 2]) / 20, abs=0.01)


def test_shades__get_darker_as_the_room_gets_less():
    grey = [0.299 * r + 0.587 * g + 0.114 * b for r, g, b in map(colours.rgb, SHADES)]
    assert all(b - a > 8 for a, b in pairwise(grey))


def test_pictures_of_a_check__hold_the_jig(tmp_path):
    (tmp_path / "jig").mkdir()
    (tmp_path / "jig" / "pocket.nc").write_text(jobs.pocket(0.95), encoding="utf-8")
    (tmp_path / "jig" / "job.toml").write_text(jobs.JIG, encoding="utf-8")
    (tmp_path / "top.nc").write_text(jobs.TOP, encoding="utf-8")
    (tmp_path / "job.toml").write_text(jobs.JOB + "jig_at = [15, 15, 4]\n", encoding="utf-8")
    job = read_job(tmp_path / "job.toml")
    evidence, findings = check(job, read_programs(job), 0.5)[:2]
    result = result_of(evidence, findings, {})
    text = str(parts_of(evidence, result)["pictures"])
    assert text.count("<figcaption>The piece in its jig: the darker") == 1
    assert text.count('alt="Map of the piece in its jig"') == 1  # for those who cannot see it
