"""The committed sample: what its script writes, and what its closed forms promise."""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
import trimesh

SAMPLES = Path(__file__).parents[2] / "samples"
sys.path.insert(0, str(SAMPLES))

import make_olive_boat  # noqa: E402
import olive_boat_jig as jig  # noqa: E402
import olive_boat_programs as make  # noqa: E402
import olive_boat_shape as shape  # noqa: E402
import toolpaths  # noqa: E402

GOOD = SAMPLES / "olive_boat"
SPOILT = sorted(path.name for path in (SAMPLES / "spoilt").iterdir())


@pytest.fixture(scope="module")
def mesh():
    return trimesh.load(GOOD / "olive_boat.stl")


@pytest.fixture(scope="module")
def side1_lines():
    return (GOOD / "side1.nc").read_text().splitlines()


@pytest.fixture(scope="module")
def side2_lines():
    return (GOOD / "side2.nc").read_text().splitlines()


def body(lines, title, count=None):
    """Return the lines after the comment that starts with `title`, up to the next comment."""
    first = next(i for i, line in enumerate(lines) if line.startswith(f"({title}"))
    found = []
    for line in lines[first + 1 :]:
        if line.startswith("("):
            break
        found.append(line)
    return found[:count]


def test_mesh__closed_and_where_it_should_lie(mesh):
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert 50_000 < len(mesh.faces) < 120_000
    low, high = mesh.bounds
    assert low[2] == pytest.approx(shape.RIM, abs=1e-6)
    assert high[2] == pytest.approx(shape.FOOT_TOP, abs=1e-5)
    assert (low[:2] > 0).all()
    assert (high[:2] < (shape.LENGTH, shape.WIDTH)).all()


def test_mesh__facets_follow_the_closed_forms(mesh):
    rng = np.random.default_rng(1)
    weights = rng.dirichlet([1, 1, 1], len(mesh.faces))
    points = np.einsum("fk,fkc->fc", weights, mesh.triangles)
    for height, is_here in (
        (shape.top, mesh.face_normals[:, 2] > 0.01),
        (shape.bottom, mesh.face_normals[:, 2] < -0.01),
    ):
        assert is_here.sum() > 20_000
        assert shape._facet_error(height, points[is_here]).max() < 0.013


def test_mesh__volume_equals_the_integral_of_the_heights(mesh):
    # Gauss-Legendre quadrature of top - bottom over the outline, against the triangles' volume.
    ring = shape.outline_points()
    low, high = ring[:, 0].min(), ring[:, 0].max()
    x, weight = np.polynomial.legendre.leggauss(400)
    x, weight = (low + high) / 2 + (high - low) / 2 * x, weight * (high - low) / 2
    front, back = make.reach_of_offset(x, 0.0)
    y, w = np.polynomial.legendre.leggauss(200)
    across = front[:, None] + (back - front)[:, None] * (y + 1) / 2
    thick = shape.top(x[:, None], across) - shape.bottom(x[:, None], across)
    volume = float((thick @ w * (back - front) / 2) @ weight)
    assert mesh.volume == pytest.approx(volume, rel=2e-4)


def test_outline__tangents_continue_and_nothing_is_symmetric():
    for arc, following in zip(shape.OUTLINE, shape.OUTLINE[1:] + shape.OUTLINE[:1], strict=True):
        assert arc.point(1.0) == pytest.approx(following.point(0.0), abs=1e-9)
        turn = (arc.first + arc.sweep - following.first) % (2 * np.pi)
        assert min(turn, 2 * np.pi - turn) < 1e-9
    x, y = np.meshgrid(np.arange(30.0, 250.0), np.arange(12.0, 78.0), indexing="ij")
    about_x, about_y = shape.top(x, 90.0 - y), shape.top(280.0 - x, y)
    is_in = shape.outside(x, y) < 0
    assert np.abs(about_x - shape.top(x, y))[is_in].max() > 0.5
    assert np.abs(about_y - shape.top(x, y))[is_in].max() > 3.0


def test_ball_tip__equals_a_dense_search():
    rng = np.random.default_rng(2)
    x, y = rng.uniform(60, 170, 60), rng.uniform(30, 60, 60)
    for surface, radius in ((make.outside_surface, 3.0), (make.hollow_surface(shape.MAIN), 1.5)):
        r, turn = np.meshgrid(np.linspace(0, radius, 400), np.linspace(0, 2 * np.pi, 721))
        rise = radius - np.sqrt(radius**2 - r**2)
        tried = [
            (surface(a + r * np.cos(turn), b + r * np.sin(turn)) - rise).max()
            for a, b in zip(x, y, strict=True)
        ]
        tip = toolpaths.ball_tip(surface, x, y, radius)
        assert (tip >= np.array(tried) - 1e-4).all()
        assert (tip <= np.array(tried) + 5e-3).all()


def test_programs__the_script_writes_what_is_committed(side1_lines, side2_lines):
    one = toolpaths.Program(make.side1_program, False, 46.0, 39.0)
    make.dowel_holes(one)
    one.change(1, "6 mm flat")
    make.trench(one)
    one.change(1, "6 mm flat")
    make.contour_side1(one)
    two = toolpaths.Program(make.side2_program, True, 8.0, 1.0)
    two.change(1, "6 mm flat")
    make.skim_rim(two)
    two.change(2, "6 mm ball")
    make.finish_hollow(two, shape.SMALL)
    two.change(1, "6 mm flat")
    make.contour_side2(two)
    for made, committed, title, least in (
        (one, side1_lines, "dowel holes", 40),
        (one, side1_lines, "trench round", 90),
        (one, side1_lines, "contour of the rim band", 12),
        (two, side2_lines, "rim plane", 40),
        (two, side2_lines, "contour through the skin", 40),
    ):
        now, then = body(made.lines, title), body(committed, title)
        assert len(then) >= least
        count = len(now) - 2 if now[-1] == "G0 Z8." else len(now)
        assert now[:count] == then[:count]
    # The hollow's text must agree but for the first approach, which starts from elsewhere.
    assert body(two.lines, "stone hollow, passes")[3:500] == body(side2_lines, "stone hollow, passes")[4:501]


def test_spoilt__differ_from_the_good_job_where_they_say(side2_lines):
    assert SPOILT == [
        "hollow_too_deep",
        "low_rapid",
        "no_rest_pass",
        "no_tabs",
        "round_corners",
        "second_zero_off",
        "wrong_turn",
    ]
    low = (SAMPLES / "spoilt/low_rapid/side2.nc").read_text().splitlines()
    changed = [i for i, (a, b) in enumerate(zip(low, side2_lines, strict=True), 1) if a != b]
    expected = tomllib.loads((SAMPLES / "spoilt/low_rapid/expected.toml").read_text())
    assert [changed[0], changed[-1]] == expected["finding"][0]["line"]
    assert len(changed) == 1
    assert low[changed[0] - 1] == side2_lines[changed[0] - 1].replace("Z8.", "Z-8.")


@pytest.mark.parametrize("name", SPOILT)
def test_spoilt__expectation_points_into_its_files(name):
    folder = SAMPLES / "spoilt" / name
    job = tomllib.loads((folder / "job.toml").read_text())
    expected = tomllib.loads((folder / "expected.toml").read_text())
    assert expected["exit"] == 1
    assert expected["finding"]
    for setup in job["setups"]:
        assert all((folder / program).is_file() for program in setup["programs"])
    for finding in expected["finding"]:
        if "line" in finding:
            paths = [folder / finding["file"]]
            paths += [folder / p for s in job["setups"] for p in s["programs"] if p.endswith(finding["file"])]
            lines = next(path for path in paths if path.is_file()).read_text().splitlines()
            first, last = finding["line"]
            assert 1 <= first <= last <= len(lines)
            if finding["file"] == "job.toml":
                assert lines[first - 1] in ('turn = "about y"', 'jig = "jig/job.toml"')


def test_jig__the_script_writes_what_is_committed(tmp_path):
    note = "Side 2 is cut in a jig: everything within limits."
    make_olive_boat.write_in_jig(tmp_path, "../", "olive boat in a jig", note)
    for name in ("job.toml", "jig/job.toml", "jig/pocket.nc"):
        assert (tmp_path / name).read_text() == (SAMPLES / "olive_boat_jig" / name).read_text()
    round_ones = (SAMPLES / "spoilt/round_corners/jig/pocket.nc").read_text()
    assert round_ones == jig.pocket(has_relief=False).text()
    # What the relief takes, it takes beyond the corners; all else is the same.
    assert "relief" not in round_ones
    assert set(round_ones.splitlines()) < set(
        (SAMPLES / "olive_boat_jig/jig/pocket.nc").read_text().splitlines()
    )


def test_jig__its_island_bears_the_foot_and_stays_inside_it():
    # Island as it lies on the board, seen from side 1: each of its points is under the foot's plane.
    right, left = jig.island()
    for arc in (right, left):
        x, y = arc.point(np.linspace(0, 1, 50))[..., 0], arc.point(np.linspace(0, 1, 50))[..., 1]
        foot = shape.top(x - jig.AT[0], shape.WIDTH - (y - jig.AT[1]))
        assert shape.THICKNESS - foot + jig.AT[2] == pytest.approx(jig.ISLAND, abs=0.01)
