"""Resin is told from wood in every picture, and the steps in console and page."""

import base64
import re
import zlib

import numpy as np
import pytest
from PIL import Image

from simkit import check
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from simkit.report import colours
from simkit.report.console import Console
from simkit.report.page.page import page_text
from simkit.report.page.scene import RESIN, scene_of
from simkit.report.page.section import section
from simkit.report.pictures import draw_plans
from simkit.report.result import result_of
from simkit.report.solid_mesh import RESIN as SOLID_RESIN
from simkit.report.solid_mesh import striped, surface
from tests.findings.programs import dug
from tests.findings.test_steps import FLUSH, PLAIN, POCKET, POUR, stated
from tests.small_job import block

AREA = 10 * 12 - (4 - np.pi) * 9  # of the pocket, mm2


@pytest.fixture(scope="module")
def checked(tmp_path_factory):
    folder = tmp_path_factory.mktemp("resin")
    block(0, 40, 0, 30, 0, 11).export(folder / "part.stl")
    (folder / "top.nc").write_text(dug(PLAIN, *POCKET), encoding="utf-8")
    (folder / "job.toml").write_text(stated(POUR, FLUSH), encoding="utf-8")
    job = read_job(folder / "job.toml")
    evidence, findings, timings = check.check(job, read_programs(job), 0.5)
    return evidence, result_of(evidence, findings, timings)


def share_of(picture, colour):
    """Which part of the pixels has a colour."""
    pixels = np.array(picture.convert("RGB")).reshape(-1, 3).astype(int)
    return float((np.abs(pixels - colours.rgb(colour)).max(axis=1) < 3).mean())


def test_plan_view__the_pocket_is_teal_and_dotted(checked, tmp_path):
    evidence, result = checked
    [path] = [one for one in draw_plans(tmp_path, evidence, result) if "leftover" in one]
    picture = Image.open(path)
    teal, dots, grey = (
        share_of(picture, one) for one in (colours.RESIN, colours.RESIN_DOT, colours.CLASSES[colours.WITHIN])
    )
    assert dots > 0.02 * teal
    assert (teal + dots) / (teal + dots + grey) == pytest.approx(AREA / (40 * 30), rel=0.1)


def test_section__resin_lies_over_the_wood_it_was_poured_on(checked):
    evidence, _ = checked
    cut = section(evidence, 1, 14.0, 0.0, 30.0, 300)
    (under, over_under), (wood, top) = cut.resin()
    is_pocket = (cut.along > 12.01) & (cut.along < 23.99)
    assert np.array_equal(under, over_under)
    assert np.allclose(wood[is_pocket], 8.0)
    assert np.allclose(top[is_pocket], 11.0)
    assert np.allclose(wood[~is_pocket], 11.0)


def test_page__tells_resin_and_steps(checked):
    text = page_text(*checked)
    assert 'class="resin"' in text
    assert "Steps between the setups" in text
    assert re.search(r"resin into side 1, 1 mm over the face</td><td[^>]*>0\.\d\d ±", text)


def test_scene__classes_say_where_resin_is(checked):
    scene = scene_of(checked[0])
    cells = scene["nx"] * scene["ny"]
    data = np.frombuffer(zlib.decompress(base64.b64decode(scene["data"])), np.uint8)
    lower, upper = (data[len(data) - k * cells :][:cells] for k in (2, 1))
    assert (upper == RESIN).sum() * scene["cell"] ** 2 == pytest.approx(AREA, rel=0.1)
    assert not (lower == RESIN).any()
    assert scene["palette"][RESIN] == list(colours.rgb("#80cdc1"))


def test_solid__faces_of_resin_have_its_colour():
    flat, classes = np.ones((3, 3), np.float32), np.full((3, 3), colours.WITHIN, np.int8)
    classes[1, 1] = SOLID_RESIN
    quads, found = surface(np.zeros_like(flat), flat, np.full_like(classes, colours.WITHIN), classes, 1.0)
    assert (found == SOLID_RESIN).sum() == 1
    seen = striped(quads, found, 3.0, 1.0)
    assert np.array_equal(seen[found == SOLID_RESIN], [colours.rgb(colours.RESIN)])


def test_console__has_a_row_for_each_step(checked, capsys):
    Console().show(checked[1])
    told = capsys.readouterr().out
    assert re.search(
        r"1 +top +resin into side 1, 1 mm over the face +0\.\d\d ±0\.\d\d +0\.\d g +5\.00 mm +12 mm", told
    )
    assert re.search(r"2 +top +side 1 taken to 11 mm by planer +-1\.\d\d ±0\.\d\d +2\.00 mm +11 mm", told)
