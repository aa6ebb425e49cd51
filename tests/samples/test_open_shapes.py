"""A real terrain, small and coarse: carved by programs written for it, then judged, then spoilt."""

from __future__ import annotations

import json
import re
import sys
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from simkit.cli import main

sys.path.insert(0, str(Path(__file__).parents[2] / "samples"))

import carving
import open_shapes

# Elevations that ship with matplotlib (sample data jacksboro_fault_dem.npz; matplotlib's licence).
TERRAIN = Path(find_spec("matplotlib").origin).parent / "mpl-data/sample_data/jacksboro_fault_dem.npz"
PITCH = 1.6


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The shape, its programs and the folder they are in: 37 x 29 mm of terrain, 4 mm high."""
    with np.load(TERRAIN) as file:
        heights = gaussian_filter(file["elevation"].astype(float), 14.0)[::18, ::17]
    shape = open_shapes.relief("terrain", "matplotlib", heights, PITCH, 5.0, 3.0, "relief", rest=False)
    shape.step = 0.8
    folder = tmp_path_factory.mktemp("terrain")
    return shape, open_shapes.write(shape, folder), folder


def checked(folder, cell="0.5"):
    """The exit status and the findings of one check."""
    status = main(
        ["check", str(folder / "job.toml"), "--quiet", "--cell", cell, "--json", str(folder / "r.json")]
    )
    return status, json.loads((folder / "r.json").read_text("utf-8"))["findings"]


def kinds(findings):
    return {one["kind"] for one in findings if one["severity"] in ("beyond", "undecided")}


def test_mesh__is_closed_and_stands_on_its_base(made):
    trimesh = pytest.importorskip("trimesh")
    _, _, folder = made
    mesh = trimesh.load(folder / "part.stl")
    assert mesh.is_watertight
    assert mesh.bounds[0] == pytest.approx((open_shapes.MARGIN, open_shapes.MARGIN, 2.0))
    assert mesh.bounds[1][2] == pytest.approx(10.0)
    assert mesh.volume > 0


def test_tip__touches_the_mesh_and_never_enters_it(made):
    """Outside: the closest point of trimesh; the ball's centre is its radius away from the mesh."""
    trimesh = pytest.importorskip("trimesh")
    shape, _, _ = made
    solid = carving.Solid(shape.vertices[shape.faces])
    mesh = trimesh.Trimesh(shape.vertices, shape.faces)
    low, high = shape.vertices[:, :2].min(axis=0), shape.vertices[:, :2].max(axis=0)
    rng = np.random.default_rng(5)
    for radius in (1.5, 3.0):
        x, y = rng.uniform(low - 1.4, high + 1.4, (60, 2)).T
        tip = solid.tip(x, y, radius)
        _, distance, _ = trimesh.proximity.closest_point(mesh, np.column_stack([x, y, tip + radius]))
        assert distance == pytest.approx(radius, abs=1e-9)


def test_beside__equals_the_distance_to_a_rectangle(made):
    shape, _, _ = made
    solid = carving.Solid(shape.vertices[shape.faces])
    low, high = shape.vertices[:, :2].min(axis=0), shape.vertices[:, :2].max(axis=0)
    points = np.random.default_rng(6).uniform(low - 4, high + 4, (300, 2))
    expected = np.hypot(*np.maximum(np.maximum(low - points, points - high), 0).T)
    assert solid.beside(*points.T, 9.0) == pytest.approx(expected, abs=1e-9)


def test_terrain__a_good_job_is_within_limits(made):
    status, findings = checked(made[2])
    assert kinds(findings) == set()
    assert status == 0


def test_terrain__each_mistake_is_told(made):
    shape, programs, folder = made
    spoilt = open_shapes.spoil(shape, programs, folder)
    status, findings = checked(spoilt["no finish"])
    assert (status, kinds(findings)) == (1, {"leftover-program"})
    status, findings = checked(spoilt["fat ball"])
    assert status == 1
    assert "gouge" in kinds(findings)
    assert {one["file"] for one in findings if one["kind"] == "gouge"} == {"side1.nc"}
    status, findings = checked(spoilt["zero"])
    (step,) = [one for one in findings if one["kind"] == "witness-step"]
    assert status == 1
    assert step["value"] == pytest.approx(0.5, abs=step["bound"] + 0.03)
    assert re.search(r"[+-]0\.50 ±0\.\d+ mm in y", step["message"])
