"""The tables of the whole part: in the JSON, on the terminal, and as a map."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from simkit.cli import main
from simkit.compare.reach_options import CUTTER, PROGRAM
from simkit.job.model import Blank
from simkit.report import colours, surface_views, wall_views
from simkit.report.surface_views import draw_surface_view
from simkit.stock.field import blank_lattice
from tests.compare.test_cusps_zones import made
from tests.small_job import HEAD, JOB, block

NO_REST_PASS = Path(__file__).parents[2] / "samples" / "spoilt" / "no_rest_pass" / "job.toml"


@pytest.fixture(scope="module")
def no_rest_pass(tmp_path_factory):
    path = tmp_path_factory.mktemp("result") / "r.json"
    main(["check", str(NO_REST_PASS), "--quiet", "--cell", "0.4", "--json", str(path)])
    return json.loads(path.read_text("utf-8"))


def test_reach_table__the_rest_cutter_would_clean_what_is_left(no_rest_pass):
    (side,) = [side for side in no_rest_pass["reach"]["sides"] if side["side"] == 2]
    rows = {row["cutter"]: row for row in side["rows"]}
    now, ball, rest = rows["as programmed"], rows["T2 6 mm ball"], rows["T3 3 mm ball"]
    assert now["alone"] is None
    assert now["with_it"]["area"] == pytest.approx(83, rel=0.15)
    assert side["area_by_cause"]["cutter"] > 0.9 * now["with_it"]["area"]
    assert (ball["used"], rest["used"]) == ("used", "of the job")
    # The closing on cells of 0.4 mm stands up to cell^2 / R higher than the swept surface, hence the width.
    assert 0.8 < ball["alone"]["area"] / now["with_it"]["area"] < 1.5
    assert rest["with_it"]["area"] == 0
    assert rest["gain"] == pytest.approx(now["with_it"]["area"], rel=0.05)
    assert rest["minutes"] == pytest.approx(rest["gain"] / (rest["stepover"] * rest["feed"]), rel=0.01)


def test_cusp_table__the_passes_of_the_sample(no_rest_pass):
    rows = {(row["side"], row["cutter"]): row for row in no_rest_pass["cusps"]["rows"]}
    hull, hollow = rows[1, "T2 6 mm ball"], rows[2, "T2 6 mm ball"]
    # The generator's finishing passes: 0.6 mm apart outside, 0.5 mm in the hollows, along Y.
    assert (hull["stepover"], hollow["stepover"]) == (0.6, 0.5)
    assert hull["direction"] == pytest.approx(90, abs=1)
    # R - sqrt(R^2 - s^2 / 4): 0.0150 on a floor; the ridges of a rounded hull differ little.
    assert hull["typical"] == pytest.approx(0.0150, abs=0.002)
    assert hollow["typical"] == pytest.approx(0.0104, abs=0.002)
    assert hull["worst"] + hull["bound"] >= hull["typical"]
    assert hull["line"]


def test_tables__on_the_terminal(tmp_path, capsys):
    block(0, 40, 0, 30, 0, 10).export(tmp_path / "part.stl")
    job = JOB.replace('shape = "flat"', 'shape = "ball"') + "cusp = 0.2\n"
    (tmp_path / "job.toml").write_text(job, encoding="utf-8")
    lines = [f"G0 X-5 Y{y:g}\nG1 Z10 F900\nX45\nG0 Z20" for y in np.arange(-2, 32.1, 2.0)]
    (tmp_path / "top.nc").write_text(HEAD + "\n".join(lines) + "\nM30\n", encoding="utf-8")
    assert main(["check", str(tmp_path / "job.toml"), "--cell", "0.5"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "1 as programmed" in shown
    assert "T1 6 mm ball 0.00 - " in shown
    assert "1 whole part T1 6 mm ball 0.172 0.172 ±0.0" in shown
    assert "0 deg from X 2.00" in shown  # along X
    assert "rough estimate" in shown
    assert main(["check", str(tmp_path / "job.toml"), "--cell", "0.5", "--quiet"]) == 0
    assert "whole part" not in capsys.readouterr().out
    shutil.rmtree(tmp_path)


def test_waiting__after_each_program_of_a_side_but_its_last(tmp_path):
    block(0, 40, 0, 30, 0, 10).export(tmp_path / "part.stl")
    job = JOB.replace('["top.nc"]', '["rough.nc", "fine.nc"]')
    (tmp_path / "job.toml").write_text(job, encoding="utf-8")

    def faced(z, last):
        lines = [f"G0 X-5 Y{y:g}\nG1 Z{z} F900\nX{last}\nG0 Z20" for y in np.arange(-2, 32.1, 4.0)]
        return HEAD + "\n".join(lines) + "\nM30\n"

    (tmp_path / "rough.nc").write_text(faced(10, 45), encoding="utf-8")
    (tmp_path / "fine.nc").write_text(faced(9.99, 17), encoding="utf-8")  # to X 20 with its radius
    path = tmp_path / "r.json"
    main(["check", str(tmp_path / "job.toml"), "--quiet", "--cell", "0.5", "--json", str(path)])
    (side,) = json.loads(path.read_text("utf-8"))["reach"]["sides"]
    (row,) = side["waiting"]
    assert row["after"] == "rough.nc"
    assert row["area"] == pytest.approx(20 * 30, rel=0.1)  # round ends of the passes


def test_draw_surface_view__colours_by_height_and_cause(tmp_path):
    lattice = blank_lattice(60.0, 40.0, 0.5)
    x, y = np.meshgrid(lattice.x(), lattice.y())
    is_part = (np.abs(x - 30) < 25) & (np.abs(y - 20) < 15)
    cause = np.zeros(lattice.shape, np.int8)
    cause[is_part & (x < 10)] = CUTTER
    cause[is_part & (x > 50)] = PROGRAM
    cusps = made([0.01, 0.03, 0.07, 0.2], [0.0, 90.0, 45.0, 0.0], [1] * 4, [True] * 4)
    cusps.cell[:] = [[40, 40], [40, 50], [40, 60], [40, 70]]
    cusps.at[:, :2] = np.column_stack(lattice.centre_of(*cusps.cell.T))
    for turn in ("none", "about y"):
        path = draw_surface_view(
            tmp_path / "map.png",
            lattice=lattice,
            is_part=is_part,
            cusps=cusps,
            cause=cause,
            wanted=0.02,
            is_limit=False,
            side=1 if turn == "none" else 2,
            turn=turn,
            blank=Blank(60.0, 40.0, 20.0),
            title="Dish",
        )
        image = np.asarray(Image.open(path).convert("RGB")).astype(int)
        middle = {}
        for colour in (
            surface_views.LOW,
            surface_views.HIGH,
            surface_views.HIGHER,
            surface_views.HIGHEST,
            surface_views.CANNOT,
            surface_views.DID_NOT,
        ):
            is_it = (image[:700] == np.array(colours.rgb(colour))).all(-1)
            assert is_it.sum() > 100, colour
            middle[colour] = np.nonzero(is_it)[1].mean()
        order = [middle[c] for c in (surface_views.CANNOT, surface_views.LOW, surface_views.HIGHEST)]
        order.append(middle[surface_views.DID_NOT])
        assert order == sorted(order, reverse=turn == "about y")


def test_draw_surface_view__numbers_findings_of_its_subject(tmp_path):
    lattice = blank_lattice(60.0, 40.0, 0.5)
    x, y = np.meshgrid(lattice.x(), lattice.y())
    is_part = (np.abs(x - 30) < 25) & (np.abs(y - 20) < 15)
    common = {
        "lattice": lattice, "is_part": is_part, "cusps": None, "cause": np.zeros(lattice.shape, np.int8),
        "wanted": 0.02, "is_limit": False, "side": 1, "turn": "none", "blank": Blank(60.0, 40.0, 20.0),
        "title": "Dish",
    }  # fmt: skip
    row = {
        "number": 3,
        "severity": "beyond",
        "at": (20.0, 20.0, 5.0),
        "value": 0.5,
        "unit": "mm",
        "bound": 0.1,
    }
    drawn = {}
    for kind in ("leftover-cutter", "gouge"):
        path = tmp_path / f"{kind}.png"
        draw_surface_view(path, findings=[row | {"kind": kind}], **common)
        drawn[kind] = np.asarray(Image.open(path).convert("L")).astype(int)
    assert drawn["leftover-cutter"].shape[0] > drawn["gouge"].shape[0]  # it has a list below it
    height = drawn["gouge"].shape[0] // 2
    dark = {kind: (image[100:height, 200:-100] < 60).sum() for kind, image in drawn.items()}
    assert dark["leftover-cutter"] > dark["gouge"] + 500  # and a circle on the map


def test_colours__of_maps_differ_in_grey():
    def grey(colour):
        return np.dot(colours.rgb(colour), (0.2126, 0.7152, 0.0722))  # ITU-R BT.709

    walls = [grey(colour) for colour in (*wall_views.SHADES, wall_views.THICK)]
    assert np.diff(walls).min() > 14  # the darker, the thinner
    lines = surface_views.LINES
    for cause in (surface_views.CANNOT, surface_views.DID_NOT):
        assert abs(grey(cause) - grey(lines[cause][0])) > 100  # its hatch is seen on it
    assert lines[surface_views.CANNOT][1] != lines[surface_views.DID_NOT][1]
    ridges = (surface_views.LOW, surface_views.HIGH, surface_views.HIGHER, surface_views.HIGHEST)
    assert np.diff([grey(colour) for colour in ridges]).max() < -14  # the darker, the higher


def test_colours__of_ridges_are_not_those_of_leftover():
    """Purple is wood left standing on every map: the causes of it, and never a ridge."""
    ridges = {surface_views.HIGH, surface_views.HIGHER, surface_views.HIGHEST}
    assert not ridges & {*colours.PUOR_11, *colours.CLASSES}
    assert {surface_views.CANNOT, surface_views.DID_NOT} <= set(colours.PUOR_11[6:])
