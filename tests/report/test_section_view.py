"""Sections along any line: the words for it, what they cut through, and the picture."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from simkit.check import check
from simkit.cli import main
from simkit.errors import InputProblems
from simkit.job.model import Blank, Job
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from simkit.report import colours, section_view, solid_view
from simkit.report.canvas import Page
from simkit.report.line_section import cut_along
from simkit.report.section_line import SectionLine, section_lines
from simkit.report.section_view import draw_section
from tests.findings.programs import dug, faced
from tests.small_job import JOB, block

README = Path(__file__).parents[2] / "README.md"


def lines(*texts, unit="mm"):
    job = Job("boat", Blank(280.0, 90.0, 38.0), {}, (), unit=unit)
    return [(line.start, line.end) for line in section_lines(texts, job)]


@pytest.mark.parametrize(
    ("text", "unit", "ends"),
    [
        ("20,45 to 260,45", "mm", ((20, 45), (260, 45))),
        ("260, 45 TO 20, 45", "mm", ((260, 45), (20, 45))),
        ("1in,2in to 10in,2in", "mm", ((25.4, 50.8), (254, 50.8))),
        ("1,2 to 10,2in", "mm", ((25.4, 50.8), (254, 50.8))),  # a unit behind the last alone is for all
        ("1 1/2,1/4 to 10,2", "in", ((38.1, 6.35), (254, 50.8))),
        ("20mm,1 to 10,2", "in", ((20, 25.4), (254, 50.8))),
        ("-20,45 to 300,45", "mm", ((0, 45), (280, 45))),  # cut off at the edges of the blank
        ("140,-100 to 140,200", "mm", ((140, 0), (140, 90))),
        ("-90,-90 to 90,90", "mm", ((0, 0), (90, 90))),
    ],
)
def test_words__of_a_line(text, unit, ends):
    assert np.array(lines(text, unit=unit)[0]) == pytest.approx(np.array(ends, float))


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("20,45", "'20,45'"),
        ("20,45 to 260", "'20,45 to 260'"),
        ("20,45,1 to 260,45,1", "'20,45,1 to 260,45,1'"),
        ("20,x to 260,45", "'x' in '20,x to 260,45'"),
        ("20,45 ft to 260,45", "'45 ft' with the unknown unit 'ft' in '20,45 ft to 260,45'"),
        ("300,0 to 300,90", "'300,0 to 300,90', less than 1 mm of which lies over the blank"),
        ("20,45 to 20.5,45", "'20,45 to 20.5,45', less than 1 mm of which lies over the blank"),
        ("-50,10 to 10,-50", "'-50,10 to 10,-50', less than 1 mm of which lies over the blank"),
    ],
)
def test_words__that_are_no_line(text, found):
    with pytest.raises(InputProblems) as told:
        lines(text)
    assert str(told.value).startswith(f"command line [--section]: found {found}, expected ")


def test_words__all_problems_at_once():
    with pytest.raises(InputProblems) as told:
        lines("a", "20,45 to 260,45", "b")
    assert len(told.value.problems) == 2


@pytest.fixture(scope="module")
def evidence(tmp_path_factory):
    """A block faced to 10 where 9 is wanted at the left, with a slot 3 mm too deep: all heights on paper."""
    folder = tmp_path_factory.mktemp("section")
    low = block(2, 20, 2, 28, 0, 9)
    part = low.union(block(20, 38, 2, 28, 0, 10), engine="manifold")
    part.export(folder / "part.stl")
    program = dug(faced(10), (28, 5, 7, 28, 25))
    (folder / "top.nc").write_text(program, encoding="utf-8")
    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    job = read_job(folder / "job.toml")
    found, findings, _ = check(job, read_programs(job), 0.5)
    from simkit.report.result import result_of

    return found, result_of(found, findings, {})


@pytest.mark.parametrize(
    "ends", [((1.0, 15.0), (39.0, 15.0)), ((39.0, 15.0), (1.0, 15.0)), ((5.0, 6.0), (35.0, 24.0))]
)
def test_cut_along__heights_known_on_paper(evidence, ends):
    line = SectionLine(*ends)
    cut = cut_along(evidence[0], line, 977)
    part = cut.along / line.length
    x = ends[0][0] + part * (ends[1][0] - ends[0][0])
    y = ends[0][1] + part * (ends[1][1] - ends[0][1])
    in_slot = np.hypot(x - 28, np.maximum(np.abs(y - 15) - 10, 0)) < 3
    assert np.array_equal(cut.lower, np.zeros(977))
    np.testing.assert_allclose(cut.upper, np.where(in_slot, 7.0, 10.0), atol=1e-5)
    is_part = (x > 2) & (x < 38)
    assert np.array_equal(cut.is_part, is_part)
    np.testing.assert_allclose(cut.target_upper[is_part], np.where(x < 20, 9.0, 10.0)[is_part], atol=1e-9)
    # 1 mm stands over the left half, and the top is the nearest face, but beside the step.
    is_left = is_part & (x > 3) & (x < 19)
    np.testing.assert_allclose(cut.proud[0][is_left], 1.0, atol=1e-6)
    assert np.isnan(cut.deep[0][is_left]).all()
    # The floor of the slot is 3 mm below the top, away from every other face of the part.
    np.testing.assert_allclose(cut.deep[0][in_slot], 3.0, atol=1e-6)
    assert np.isnan(cut.proud[1]).all()


def pixels(path):
    with Image.open(path) as file:
        return np.asarray(file.convert("RGB")).astype(int)


def is_colour(image, colour):
    return (image == colours.rgb(colour)).all(axis=-1)


def test_draw__to_scale_in_both_directions(tmp_path, evidence):
    line = SectionLine((1.0, 15.0), (39.0, 15.0))
    found, result = evidence
    image = pixels(draw_section(tmp_path / "a.png", found, line, title="cut", findings=result["findings"]))
    pitch = max(38 / (section_view.WIDTH - section_view.LEFT - section_view.RIGHT), 12 / section_view.TALLEST)
    foot = image.shape[0] - 560  # the legend and all below it
    proud = np.argwhere(is_colour(image[:foot], section_view.PROUD))
    deep = np.argwhere(is_colour(image[:foot], section_view.DEEP))
    # Left standing: 1 mm high over the 18 mm from x 2 to 20.
    assert np.ptp(proud[:, 1]) * pitch == pytest.approx(18, abs=0.3)
    assert np.ptp(proud[:, 0]) * pitch == pytest.approx(1, abs=0.1)
    # Too deep: 3 mm over the 6 mm of the slot, hatched.
    assert np.ptp(deep[:, 1]) * pitch == pytest.approx(6, abs=0.2)
    assert np.ptp(deep[:, 0]) * pitch == pytest.approx(3, abs=0.2)
    box = image[deep[:, 0].min() : deep[:, 0].max(), deep[:, 1].min() : deep[:, 1].max()]
    assert is_colour(box, colours.STRIPES[2]).mean() > 0.15


def test_draw__a_thin_sliver_is_seen(tmp_path, evidence):
    """0.35 mm left standing over a blank of 280 mm is two pixels high: it is drawn with four."""
    found, _ = evidence
    cut = cut_along(found, SectionLine((1.0, 15.0), (39.0, 15.0)), 400)
    object.__setattr__(cut, "upper", np.where(cut.is_part, cut.target_upper + 0.35, cut.upper))
    proud = np.where(cut.is_part & (np.arange(400) == 100), 0.35, np.nan)
    object.__setattr__(cut, "proud", np.stack([proud, np.full(400, np.nan)]))
    object.__setattr__(cut, "deep", np.full((2, 400), np.nan))
    image, seen = section_view._Window(0.0, 0.0, 400, 120, 0.18).image(cut)
    assert seen["proud"]
    assert is_colour(image, section_view.PROUD).sum() >= section_view.LEAST


def test_frame__its_letter_keeps_off_the_places_of_findings():
    page, window = Page(1000, 400), section_view._Window(0.0, 0.0, 900, 200, 0.1)
    window.left, window.top = 50, 100

    def letter(*rings):
        rings = np.array(rings, float).reshape(-1, 2)
        return np.array(section_view._frame(page, window, "A", (40.0, 9.0), 4.0, rings))

    free = letter()
    assert free[0] == pytest.approx(50 + 400)  # over the middle of its box
    moved = letter(free - (0, 9))
    assert np.hypot(*(moved - free)) > 20
    assert letter((900.0, 280.0)) == pytest.approx(free)


def test_draw__resin_is_dotted(evidence):
    found, _ = evidence
    cut = cut_along(found, SectionLine((1.0, 15.0), (39.0, 15.0)), 400)
    ends = np.full(400, -np.inf), np.where(np.arange(400) < 100, 8.0, np.inf)
    cut = replace(cut, wood_lower=ends[0], wood_upper=ends[1])
    image, seen = section_view._Window(0.0, 0.0, 400, 120, 0.1).image(cut)
    assert seen["resin"]
    place = np.argwhere(is_colour(image, colours.RESIN) | is_colour(image, colours.RESIN_DOT))
    assert place[:, 1].max() < 100
    assert place[:, 0].min() == 20  # 10 mm of 12
    assert place[:, 0].max() == 39  # down to 8 mm


def test_command__writes_the_sections_and_wants_a_place_for_them(tmp_path, evidence, capsys, monkeypatch):
    monkeypatch.setattr(solid_view, "draw_solid_view", lambda *_, **__: "not in this test")
    job = evidence[0].job.file
    words = ["check", job, "--quiet", "--cell", "1", "--section", "1,15 to 39,15"]
    assert main(words) == 2
    assert "found --section alone, expected --pictures or --report" in capsys.readouterr().err
    assert main([*words, "--pictures", str(tmp_path), "--section", "20,1 to 20,29"]) == 1
    names = {path.name for path in tmp_path.iterdir()}
    assert {"section_1.png", "section_2.png"} <= names
    # README's table has a row for each picture that is made.
    rows = re.findall(r"^\| `([a-z_]+?)(?:_\d)?\.png`", README.read_text("utf-8"), re.MULTILINE)
    assert {re.sub(r"(_\d)?\.png$", "", name) for name in names} <= set(rows)
    assert main([*words, "--section", "0,99 to 40,99", "--pictures", str(tmp_path)]) == 2
    assert "lies over the blank" in capsys.readouterr().err
