"""Resin is told from wood in every picture, and the steps in console and page."""

import base64
import re
import zlib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from simkit import check
from simkit.job.model import Blank
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from simkit.report import canvas, colours, finding_scenes, map_parts
from simkit.report.console import Console
from simkit.report.lengths import Lengths
from simkit.report.more_maps import draw_more_maps
from simkit.report.page.page import page_text
from simkit.report.page.scene import RESIN, scene_of, scene_part
from simkit.report.page.section import section
from simkit.report.pictures import draw_plans, turns_of
from simkit.report.pooled import pooled_wood
from simkit.report.result import result_of
from simkit.report.solid_mesh import RESIN as SOLID_RESIN
from simkit.report.solid_mesh import coloured, surface
from simkit.report.surface_views import draw_surface_view
from simkit.stock.field import blank_lattice
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


def test_maps_of_walls_and_of_who_cut__resin_is_dotted(checked, tmp_path):
    """The same dots as over colours that are off; where it lies, and nowhere else."""
    evidence, result = checked
    no_resin = replace(evidence, field=replace(evidence.field, wood_upper=None))
    wide = map_parts.WIDTH - map_parts.LEFT_ROOM - map_parts.SIDE_ROOM  # pixels for 40 mm
    drawn = []
    for name, one in (("with", evidence), ("without", no_resin)):
        (tmp_path / name).mkdir()
        paths = draw_more_maps(tmp_path / name, one, turns_of(one), result)
        drawn.append([np.asarray(Image.open(path).convert("RGB")).astype(int) for path in sorted(paths)])
    assert [Path(path).name for path in sorted(paths)] == ["walls_side_1.png", "who_cut_side_1.png"]
    for dotted, plain in zip(*drawn, strict=True):
        rows = round(150 + 30 / 40 * wide)  # those of the map, not of its legend
        y, x = np.nonzero((dotted[:rows] != plain[:rows]).any(axis=-1))
        assert np.ptp(x) * 40 / wide == pytest.approx(10, abs=0.5)
        assert np.ptp(y) * 40 / wide == pytest.approx(12, abs=0.5)


def test_map_of_ridges__resin_is_dotted(tmp_path):
    """A round of resin 8 mm across in a part of 30 x 20, of no ridges: as many dots as on the plain map."""
    lattice = blank_lattice(40, 30, 0.5)
    x, y = np.meshgrid(lattice.x(), lattice.y())
    common = {"lattice": lattice, "is_part": (abs(x - 20) < 15) & (abs(y - 15) < 10), "cusps": None}
    common |= {"cause": np.zeros(lattice.shape, np.int8), "wanted": 0.02, "is_limit": False, "side": 1}
    common |= {"turn": "none", "blank": Blank(40, 30, 12), "title": "ridges"}
    is_resin = np.hypot(x - 20, y - 15) < 4
    resins = {"with": is_resin, "without": None, "none": is_resin & (x < 0)}
    drawn = {
        name: np.asarray(Image.open(draw_surface_view(tmp_path / f"{name}.png", **common, resin=resin)))
        for name, resin in resins.items()
    }
    assert np.array_equal(drawn["without"], drawn["none"])
    rows = len(drawn["without"]) - 200  # the map, not its legend
    y, x = np.nonzero((drawn["with"][:rows] != drawn["without"][:rows]).any(axis=-1))
    wide = map_parts.WIDTH - map_parts.LEFT_ROOM - map_parts.SIDE_ROOM  # pixels for 40 mm
    assert (np.ptp(x) * 40 / wide, np.ptp(y) * 40 / wide) == pytest.approx((8, 8), abs=0.6)


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
    count = len(scene["classes"])
    lower, upper = (
        data[len(data) - (count - scene["classes"].index(name)) * cells :][:cells]
        for name in ("class_lower", "class_upper")
    )
    assert (upper == RESIN).sum() * scene["cell"] ** 2 == pytest.approx(AREA, rel=0.1)
    assert not (lower == RESIN).any()
    assert scene["palette"][RESIN] == list(colours.rgb("#80cdc1"))


def test_scene__tells_where_wood_ends_in_each_column(checked):
    """The pocket goes down to 8: wood up to there, resin over it up to 11; elsewhere wood up to the face."""
    evidence, result = checked
    scene = scene_of(evidence)
    assert scene["heights"] == ["lower", "upper", "wood_lower", "wood_upper", "target_lower", "target_upper"]
    lower, upper, wood_lower, wood_upper = (heights_of(scene, name) for name in scene["heights"][:4])
    resin = upper - wood_upper
    assert np.unique(np.round(resin, 1)).tolist() == [0.0, 3.0]
    assert (resin > 1).sum() * scene["cell"] ** 2 == pytest.approx(AREA, rel=0.1)
    assert np.array_equal(lower, wood_lower)
    assert scene["nx"] * scene["ny"] == evidence.field.upper.size  # a small blank is not pooled
    assert resin.sum() * scene["cell"] ** 2 == pytest.approx(
        evidence.field.resin().sum() * scene["cell"] ** 2, rel=1e-3
    )
    assert 'name="resin"' in scene_part(evidence, result, Lengths("mm"))


def heights_of(scene, name):
    """Heights of a scene by name, mm; all cells hold wood."""
    data = np.frombuffer(zlib.decompress(base64.b64decode(scene["data"])), np.uint8)
    count, k = scene["nx"] * scene["ny"], scene["heights"].index(name)
    low, high = data[2 * k * count :][:count], data[(2 * k + 1) * count :][:count]
    steps = (low.astype(np.uint16) + 256 * high.astype(np.uint16)).reshape(scene["ny"], scene["nx"])
    return scene["low"] + scene["step"] * np.cumsum(steps, axis=1, dtype=np.uint16)


@pytest.mark.parametrize("fold", [1, 3])
def test_pooled__wood_of_each_block(fold):
    """Resin over 4, under 2, alone, and a hole: the most wood of a block, and none more than there is."""
    lower, upper = np.zeros((6, 12)), np.full((6, 12), 10.0)
    wood_lower, wood_upper = np.full((6, 12), -np.inf), np.full((6, 12), np.inf)
    wood_upper[:, :3] = 4.0
    wood_lower[:, 3:6] = 2.0
    wood_upper[:, 6:9] = wood_lower[:, 6:9] = 0.0
    upper[:, 9:] = 0.0
    low, high = pooled_wood(lower, upper, wood_lower, wood_upper, fold)
    columns = slice(None, None, 3) if fold == 1 else slice(None)
    assert low[0, columns].tolist() == [0, 2, 0, 0]
    assert high[0, columns].tolist() == [4, 10, 0, 0]
    mixed = np.where(np.arange(12) % 3 == 1, 7.0, 4.0) + np.zeros((6, 1))
    _, high = pooled_wood(np.zeros((6, 12)), np.full((6, 12), 10.0), np.zeros((6, 12)), mixed, 3)
    assert high.tolist() == [[7.0] * 4] * 2


def test_solid__faces_of_resin_have_its_colour():
    flat, classes = np.ones((3, 3), np.float32), np.full((3, 3), colours.WITHIN, np.int8)
    classes[1, 1] = SOLID_RESIN
    quads, found = surface(np.zeros_like(flat), flat, np.full_like(classes, colours.WITHIN), classes, 1.0)
    assert (found == SOLID_RESIN).sum() == 1
    seen = coloured(quads, found, 3.0, 1.0)
    assert np.array_equal(seen[found == SOLID_RESIN], [colours.rgb(colours.RESIN)])


def test_console__has_a_row_for_each_step(checked, capsys):
    Console().show(checked[1])
    told = capsys.readouterr().out
    assert re.search(
        r"1 +top +resin into side 1, 1 mm over the face +0\.\d\d ±0\.\d\d +0\.\d g +5\.00 mm +12 mm", told
    )
    assert re.search(r"2 +top +side 1 taken to 11 mm by planer +-1\.\d\d ±0\.\d\d +2\.00 mm +11 mm", told)


def test_map__dots_tell_resin_on_every_colour():
    picture = np.repeat(colours.class_rgb()[None, :, :], 60, axis=0).repeat(60, axis=1)
    dotted = picture.copy()
    canvas.dot_over(dotted, np.ones(picture.shape[:2], bool))
    changed = np.abs(dotted.astype(int).mean(axis=2) - picture.astype(int).mean(axis=2))
    for k in range(len(colours.CLASSES)):
        dots = changed[:, k * 60 : k * 60 + 60]
        assert 0.03 < (dots > 60).mean() < 0.2, k  # told in a grey print, too, and the colour stays


def test_scene__begins_on_the_side_of_the_first_placed_finding(checked):
    evidence, result = checked
    told = {"kind": "gouge", "value": 0.5, "unit": "mm"}
    rows = [
        {"number": 1, "at": None, "side": 1, **told},
        {"number": 2, "at": [1.0, 2.0, 3.0], "side": 2, **told},
    ]
    text = scene_part(evidence, result | {"findings": rows}, Lengths("mm"))
    assert '"starts_on":2' in text
    assert '"starts_on":1' in scene_part(evidence, result | {"findings": []}, Lengths("mm"))


def test_page__tables_and_pictures_have_names_of_their_own(checked):
    text = page_text(*checked)
    names = re.findall(r'<table aria-label="([^"]+)"', text)
    assert len(names) == text.count("<table") == len(set(names))
    pictures = re.findall(r'<img src="[^"]{100,}" alt="([^"]+)"', text)
    assert len(pictures) == text.count("<img ") == len(set(pictures))


def test_scenes__one_for_each_cause_to_put_right_contacts_first(checked, monkeypatch):
    row = {"severity": "beyond", "kind": "gouge"}
    rows = [row | {"number": k, "cause": cause} for k, cause in enumerate((1, 1, 2, 3, 4, 5, 6), 1)]
    rows[4]["kind"] = "rapid-contact"
    rows[2]["severity"] = "note"
    monkeypatch.setattr(finding_scenes, "move_of", lambda evidence, row: 7)
    monkeypatch.setattr(finding_scenes, "_finding_scene", lambda _, __, row, move: (row["number"], move))
    made = finding_scenes.finding_scenes(checked[0], {"findings": rows})
    assert list(made) == [5, 1, 4, 6]
    assert made[5] == (5, 7)
