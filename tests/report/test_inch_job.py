"""A job in inches is told in inches: pictures, report, terminal, window; no bare mm is left anywhere."""

import re

import pytest

from simkit.check import check
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from simkit.report import effort_views
from simkit.report.canvas import Page
from simkit.report.console import Console
from simkit.report.junit import junit_text
from simkit.report.page.page import page_text
from simkit.report.pictures import draw_plans, in_steps_of_zones, scenes_of, turns_of
from simkit.report.result import result_of
from simkit.report.section_line import SectionLine
from simkit.report.sheet import sheet_of
from simkit.report.sheet_text import sheet_text
from simkit.stock.field import blank_lattice
from simkit.view import panel
from simkit.view.film import film_of
from simkit.view.look import Look
from simkit.view.steps import Steps
from tests import budget_job

# Mm that may stand behind inches: places, speeds and cells; and figures of a note by its own words in mm.
TOLD = re.compile(r"(?:in \(X-?[\d.]+ Y[^)]* mm|in/(?:min|s2) \([^)]* mm/(?:min|s2)|in \([\d.]+ mm)\)")
IN_PROGRAM = re.compile(r"X-?[\d.]+ Y-?[\d.]+ Z-?[\d.]+ mm")
SANDING = re.compile(r"sanding: rough estimate.*?either way\)", re.DOTALL)
CLAMP = '[[fixtures]]\nname = "clamp"\nheight = 20\nbox = [[-20, 5], [-8, 25]]\nsetups = ["first"]\n'


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A part whose left wall side 2 cuts 0.6 mm too far in: its job and the program of side 1 in inches."""
    folder = tmp_path_factory.mktemp("inch")
    path = budget_job.write(folder, off=0.6, more=CLAMP)
    text = path.read_text("utf-8")
    number = re.compile(r"(?<![\w\".-])(-?\d+(?:\.\d+)?)(?![\w\"])")
    lines = []
    for line in text.splitlines():
        is_length = "=" in line and not re.match(r"(point|species|grain|name|turn|zero|setups)\b", line)
        lines.append(number.sub(r'"\1 mm"', line) if is_length else line)
    path.write_text('unit = "in"\n' + "\n".join(lines) + "\n", encoding="utf-8")
    program = (folder / "side1.nc").read_text("utf-8").replace("G21", "G20")
    word = re.compile(r"(?<![A-Z])([XYZIJF])(-?[\d.]+)")
    program = word.sub(lambda found: f"{found[1]}{float(found[2]) / 25.4:.6f}", program)
    (folder / "side1.nc").write_text(program, encoding="utf-8")
    job = read_job(path)
    reads = read_programs(job)
    evidence, findings, _ = check(job, reads, 0.5)
    evidence.lines = [SectionLine((1.0, 17.0), (43.0, 17.0))]
    return evidence, result_of(evidence, findings, {}), reads


def bare(texts):
    """Return the texts that speak of mm without inches beside."""
    kept = [SANDING.sub("", text) for text in texts]
    return [text for text in kept if re.search(r"\bmm\d?\b", TOLD.sub("", text))]


def test_pictures__have_no_bare_mm(made, tmp_path, monkeypatch):
    evidence, result, _ = made
    written = []
    plain = Page.text

    def noted(page, x, y, text, *more, **named):
        written.append(text)
        plain(page, x, y, text, *more, **named)

    monkeypatch.setattr(Page, "text", noted)
    monkeypatch.setattr(effort_views, "wrapped", lambda words, *_: written.append(words) or [])
    assert len(draw_plans(tmp_path, evidence, result)) >= 10
    assert "inches from the left front corner" in written
    assert "1 1/2" in written  # of a ruler: the blank is 44 mm, 1.73 in
    assert any(words.endswith(" in") for words in written)  # of a scale bar
    assert bare(written) == []
    assert [words for _, words, _ in effort_views.plots(effort_views.Lengths("in")) if "mm" in words] == []


def test_scenes__have_no_bare_mm(made, tmp_path):
    evidence, result, _ = made
    shown = {side: in_steps_of_zones(evidence, side) for side in evidence.deviations}
    scenes = scenes_of(tmp_path, evidence, shown, turns_of(evidence)[2], result)
    assert len(scenes) >= 3
    for scene in scenes.values():
        assert scene.unit == "in"
        words = [scene.subtitle, scene.note, *(key.words for key in scene.keys)]
        assert bare([*words, *(words for _, _, words in scene.findings)]) == []


def test_report__has_no_bare_mm(made):
    text = page_text(*made[:2])
    text = re.sub(
        r"<style>.*?</style>|<script.*?</script>|base64,[^\"]*|<pre>.*?</pre>", " ", text, flags=re.DOTALL
    )
    words = re.sub(r"<[^>]+>", "\n", text).splitlines()
    # A place in a program that counts in mm keeps them.
    assert bare([one for one in words if not IN_PROGRAM.fullmatch(one)]) == []


def test_places_in_a_program__are_in_its_own_unit(made):
    result = made[1]
    units = {program["file"]: program["unit"] for setup in result["setups"] for program in setup["programs"]}
    assert units == {"side1.nc": "in", "side2.nc": "mm"}
    rows = [row for row in result["findings"] if row["file"] == "side2.nc" and row["program_at"]]
    text = page_text(*made[:2])
    for row in rows[:2]:
        assert "X{:.1f} Y{:.1f} Z{:.1f} mm".format(*row["program_at"]) in text


def test_terminal__has_no_bare_mm(made, capsys):
    Console().show(made[1])
    words = capsys.readouterr().out
    words = re.sub(r"\s+", " ", SANDING.sub("", words))
    assert re.search(r"blank 1\.732 x 1\.339 x 0\.472 in", words)
    rest = TOLD.sub("", words)
    rest = IN_PROGRAM.sub("", rest)
    assert re.findall(r".{30}\bmm\d?\b.{10}", rest) == []


def test_junit__is_in_inches(made):
    result = made[1]
    text = junit_text([result])
    assert 'name="gouge at most 0.0039 in"' in text.replace(", whole part", "")  # 0.1 / 25.4, by hand
    [row] = [one for one in result["findings"] if one["kind"] == "witness-step"][:1]
    assert f"measured {row['value'] / 25.4:.4f} ±" in text
    kept = text.replace("at X", "\nat X")  # places in a program that counts in mm have no unit
    rest = TOLD.sub("", IN_PROGRAM.sub("", kept))
    assert re.findall(r".{30}\bmm\d?\b.{10}", rest) == []


def test_sheet__has_no_bare_mm(made):
    evidence, _, reads = made
    text = sheet_text(sheet_of(evidence.job, reads))
    assert "Lengths in inches." in text
    assert "Blank ready to cut: 1.732 x 1.339 x 0.472 in" in text
    # What is typed at a control that counts in mm is told in mm.
    rest = re.sub(r"\(Z-?[\d.]+ mm\)|\(program X[\d.]+ Y[\d.]+ mm\)", "", text)
    assert "mm" not in rest


def test_window_and_film__have_no_bare_mm(made, monkeypatch):
    evidence, result, reads = made
    steps = Steps(evidence.job, reads, blank_lattice(44, 34, 0.5))
    look = Look(evidence, result, steps)
    written = []

    class Pen:
        def __getattr__(self, name):
            return lambda *a, **k: written.append(a[1]) if name == "text" else None

    panel._findings(Pen(), [], look, 400, 0, 900)
    panel._scale_bar(Pen(), 380, 10, 0.1, look.lengths)
    panel._legend(Pen(), look, 0, 400, 900)
    assert written
    assert bare([" ".join(written)]) == []  # long words are written line by line
    assert len(film_of(steps, 3)) > 1000
