import os
import signal
import subprocess
import sys
import time

import numpy as np
import pytest
import trimesh
from PIL import Image

from simkit.errors import ShapeError
from simkit.report import colours, solid_child, solid_mesh, solid_view
from simkit.report.pooled import pooled, pooled_target
from simkit.stock.field import Lattice, blank_lattice

APT = (
    "on Debian or Ubuntu the system packages libx11-6 libegl1 libgl1 bring it "
    "(apt install libx11-6 libegl1 libgl1)"
)


def scene(length=60.0, width=30.0, cell=0.5):
    """A dish in a frame: leftover at the left, a gouge at the right."""
    lattice = blank_lattice(length, width, cell)
    x, y = np.meshgrid(lattice.x() - length / 2, lattice.y() - width / 2)
    r = np.hypot(x / 24, y / 11)
    is_part, frame = r < 1, (np.abs(x) > length / 2 - 3) | (np.abs(y) > width / 2 - 2)
    deviation = np.where(is_part, 0.0, np.nan)
    deviation[is_part & (x < -8)], deviation[is_part & (x > 8)] = 5.0, -5.0
    upper = np.where(is_part, 6 + 6 * r**2, np.where(frame, 14.0, 0.0))
    lower = np.where(is_part, 3 * r**2, 0.0)
    return {
        "lattice": lattice,
        "lower": lower,
        "upper": upper,
        "deviation_upper": deviation,
        "deviation_lower": np.where(is_part, 0.0, np.nan),
        "limits": (0.1, 0.3),
        "title": "Dish",
    }


def volume(quads):
    """Volume by a general geometry library, which sums signed tetrahedra."""
    points = quads.reshape(-1, 3).astype(np.float64)
    corners = np.arange(len(points)).reshape(-1, 4)
    faces = np.concatenate([corners[:, :3], corners[:, [0, 2, 3]]])
    return trimesh.Trimesh(points, faces, process=False).volume


def within(shape):
    return np.full(shape, colours.WITHIN, np.int8)


def test_surface__box_is_closed_with_its_volume_and_area():
    shape = (4, 6)
    quads, classes = solid_mesh.surface(
        np.full(shape, 2.0), np.full(shape, 7.0), within(shape), within(shape), 0.5, (10.0, 20.0)
    )
    assert len(quads) == 2 * 24 + 2 * (4 + 6)
    corners = np.arange(4 * len(quads)).reshape(-1, 4)
    mesh = trimesh.Trimesh(quads.reshape(-1, 3), np.concatenate([corners[:, :3], corners[:, [0, 2, 3]]]))
    mesh.merge_vertices()
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume == pytest.approx(3 * 2 * 5)
    assert mesh.area == pytest.approx(2 * (3 * 2 + 3 * 5 + 2 * 5))
    assert mesh.bounds.tolist() == [[10, 20, 2], [13, 22, 7]]
    assert (classes == colours.WITHIN).all()


@pytest.mark.parametrize("seed", range(5))
def test_surface__rough_columns_enclose_their_sum(seed, monkeypatch):
    monkeypatch.setattr(solid_mesh, "STEEP", 0.0)  # every step a wall: the volume is then exact
    rng = np.random.default_rng(seed)
    lower, upper = rng.random((9, 11)) * 5, rng.random((9, 11)) * 5 + 2  # some empty, some not meeting
    quads, _ = solid_mesh.surface(lower, upper, within(lower.shape), within(lower.shape), 1.5)
    expected = np.maximum(upper - lower, 0).sum() * 1.5**2
    assert volume(quads) == pytest.approx(expected, rel=1e-6)
    sides = np.cross(quads[:, 2] - quads[:, 0], quads[:, 3] - quads[:, 1]).sum(0)
    assert np.abs(sides).max() < 1e-3  # the area vectors of a closed surface sum to nothing


def test_surface__slope_is_smooth_and_step_is_upright():
    upper = np.repeat([[1.0, 1.2, 1.4, 19.0, 19.0]], 4, 0)
    quads, _ = solid_mesh.surface(np.zeros_like(upper), upper, within((4, 5)), within((4, 5)), 1.0)
    inner = (quads[..., 1].min(1) > 0) & (quads[..., 1].max(1) < 4)
    normal = np.cross(quads[:, 2] - quads[:, 0], quads[:, 3] - quads[:, 1])
    upright = inner & (np.abs(normal[:, 2]) < 1e-9) & (np.ptp(quads[..., 0], axis=1) < 1e-9)
    at = np.unique(quads[upright][..., 0])
    assert at.tolist() == [0.0, 3.0, 5.0]  # the two ends and the step, none on the slope
    step = quads[upright & (quads[:, 0, 0] == 3.0)]
    assert step[..., 2].min() == pytest.approx(1.4, abs=0.11)
    assert step[..., 2].max() == 19.0


def test_surface__hole_through_the_part_has_walls_of_its_class():
    upper = np.full((5, 5), 3.0)
    upper[2, 2] = 0.0
    index = within((5, 5))
    index[2, 2] = 0
    quads, classes = solid_mesh.surface(np.zeros((5, 5)), upper, index, index, 1.0)
    assert (classes == 0).sum() == 4
    assert volume(quads) == pytest.approx(24 * 3.0)


def upright(quads, x):
    """The faces of quads (n, 4, 3) in the plane across x."""
    return (np.abs(quads[..., 0] - x) < 1e-6).all(-1)


def block_in_a_row(upper, index, target):
    """The surface of columns in a row along x, 1 mm wide, three alike across y; and its classes."""
    upper, index = np.repeat([upper], 3, 0), np.repeat([index], 3, 0).astype(np.int8)
    ends = np.zeros(upper.shape), np.repeat([target], 3, 0)
    return solid_mesh.surface(np.zeros(upper.shape), upper, index, index, 1.0, target=ends)


def test_surface__wood_left_on_the_outer_wall_has_its_class_all_round():
    proud, inside = colours.WITHIN + 2, colours.WITHIN
    # Part (20 high), 2 mm of wood that stands 9 high on its wall, nothing; on the left the part's own wall.
    quads, classes = block_in_a_row(
        [20.0, 20.0, 9.0, 9.0, 0.0],
        [inside, inside, proud, proud, colours.NO_TARGET],
        [20.0, 20.0, 0.0, 0.0, 0.0],
    )
    outer, step, own = upright(quads, 4.0), upright(quads, 2.0), upright(quads, 0.0)
    assert (quads[outer][..., 2].min(), quads[outer][..., 2].max()) == (0.0, 9.0)
    assert set(classes[outer]) == {proud}
    assert (
        set(classes[step]) == set(classes[own]) == {inside}
    )  # the part's own wall above it, and at its left
    assert quads[step][..., 2].min() == 9.0
    ends = (quads[..., 1] == 0).all(-1)  # in front
    assert set(classes[ends & (quads[..., 0].min(-1) >= 2)]) == {proud}
    # Without the target nothing is told of walls.
    quads, classes = solid_mesh.surface(
        np.zeros((1, 2)), np.array([[20.0, 9.0]]), *[np.array([[inside, proud]], np.int8)] * 2, 1.0
    )
    assert set(classes[upright(quads, 2.0)]) == {inside}


def test_surface__walls_are_parted_where_they_leave_the_target():
    proud, deep, inside = colours.WITHIN + 1, colours.WITHIN - 3, colours.WITHIN
    # A rim wanted 20 high and a floor wanted 5 high: a rib of wood before the wall, 20 high too.
    quads, classes = block_in_a_row([20.0, 20.0, 5.0], [inside, proud, inside], [20.0, 5.0, 5.0])
    wall = upright(quads, 2.0)
    assert (quads[wall][..., 2].min(), quads[wall][..., 2].max()) == (5.0, 20.0)
    assert set(classes[wall]) == {proud}
    # A floor left 2 mm too high before a deeper one: only these 2 mm of the wall between them are off.
    quads, classes = block_in_a_row([17.0, 5.0], [proud, inside], [15.0, 5.0])
    wall = upright(quads, 1.0)
    off = quads[wall & (classes == proud)]
    assert (off[..., 2].min(), off[..., 2].max()) == (15.0, 17.0)
    assert set(classes[wall]) == {proud, inside}
    # A wall cut into: what was wanted there, up to its height, is what is too deep.
    quads, classes = block_in_a_row([20.0, 5.0, 5.0], [inside, deep, inside], [20.0, 18.0, 5.0])
    wall = upright(quads, 1.0)
    off = quads[wall & (classes == deep)]
    assert (off[..., 2].min(), off[..., 2].max()) == (5.0, 18.0)
    assert set(classes[wall]) == {deep, inside}


@pytest.mark.parametrize("seed", range(4))
def test_surface__parted_walls_enclose_the_same(seed):
    rng = np.random.default_rng(seed)
    ends = [rng.random((9, 11)) * 20, rng.random((9, 11)) * 20 + 8]
    index = rng.integers(-1, 9, (2, 9, 11)).astype(np.int8)
    wanted = rng.random((9, 11)) * 20, rng.random((9, 11)) * 20 + 8
    plain, _ = solid_mesh.surface(*ends, *index, 1.5)
    parted, classes = solid_mesh.surface(*ends, *index, 1.5, target=wanted)
    assert len(parted) > len(plain)
    assert volume(parted) == pytest.approx(volume(plain), rel=1e-5)
    assert np.cross(parted[:, 2] - parted[:, 0], parted[:, 3] - parted[:, 1]).sum(0) == pytest.approx(
        0, abs=0.01
    )
    assert classes.min() >= -1


@pytest.mark.parametrize("seed", range(4))
def test_surface__walls_below_are_told_as_those_above(seed):
    rng = np.random.default_rng(seed)
    shape = 2, 9, 11
    ends, wanted = (rng.random(shape) * 20 + np.array([0, 22])[:, None, None] for _ in range(2))
    index = rng.integers(-1, 9, shape).astype(np.int8)
    there = solid_mesh.surface(*ends, *index, 1.5, target=wanted)
    over = solid_mesh.surface(-ends[1], -ends[0], index[1], index[0], 1.5, target=(-wanted[1], -wanted[0]))
    sums = []
    for quads, classes in (there, over):
        area = np.linalg.norm(np.cross(quads[:, 2] - quads[:, 0], quads[:, 3] - quads[:, 1]), axis=1)
        sums.append([float(area[classes == one].sum()) for one in range(9) if one != colours.WITHIN])
    assert min(sums[0]) > 0
    assert sums[0] == pytest.approx(sums[1], rel=1e-4)


def test_surface__a_hole_that_side_2_cut_has_walls_of_its_class():
    upper = np.full((5, 5), 3.0)
    upper[2, 2] = 0.0
    below, above = within((5, 5)), within((5, 5))
    below[2, 2] = 1
    target = np.zeros((5, 5)), np.full((5, 5), 3.0)
    for more in ({}, {"target": target}):
        _, classes = solid_mesh.surface(np.zeros((5, 5)), upper, below, above, 1.0, **more)
        assert (classes == 1).sum() == 4


def test_pooled_target__is_none_where_wood_stands_off_its_wall():
    target = np.zeros((4, 4)), np.full((4, 4), 7.0)
    stands_out = np.full((4, 4), colours.NO_TARGET, np.int8)
    stands_out[0, 3], stands_out[3, 0] = colours.WITHIN + 1, colours.WITHIN
    low, high = pooled_target(target, stands_out, 2)
    assert (high > low).tolist() == [[True, False], [True, True]]
    assert high[0, 0] == 7


def test_pooled__the_rim_of_a_frame_is_even_and_nothing_of_the_part_is_lost():
    """A wall askew, 45 degrees: the area of what is left is that of the cells, not that of blocks touched."""
    iy, ix = np.indices((120, 120))
    upper = np.where(iy + 0.7 * ix < 100.3, 9.0, 0.0)
    outside = np.full(upper.shape, colours.NO_TARGET, np.int8)
    areas = {}
    for is_even in (False, True):
        low, high, *_, fold = pooled(np.zeros(upper.shape), upper, outside, outside, 3600, is_even)
        assert fold == 2
        areas[is_even] = (high > low).sum() * fold**2
    assert areas[True] == pytest.approx((upper > 0).sum(), rel=0.005)
    assert areas[False] > 1.01 * areas[True]
    # One cell of the part, or one that stands where the part is cut through, stays.
    for index in (colours.WITHIN, colours.WITHIN + 1, 0):
        upper, mine = np.zeros((60, 60)), np.full((60, 60), colours.NO_TARGET, np.int8)
        upper[31, 31], mine[31, 31] = 4.0, index
        low, high, *_ = pooled(np.zeros(upper.shape), upper, outside[:60, :60], mine, 900, True)
        assert (high > low).sum() == 1


def test_pooled__keeps_highest_lowest_and_worst():
    rng = np.random.default_rng(7)
    lower, upper = (rng.random((7, 11)).astype(np.float32) + d for d in (np.float32(0), np.float32(0.4)))
    index = rng.integers(-1, 9, (7, 11)).astype(np.int8)
    low, high, worst, _, fold = pooled(lower, upper, index, index, most=20)
    assert fold == 2
    assert low.shape == high.shape == worst.shape == (4, 6)
    for iy in range(4):
        for ix in range(6):
            block = np.s_[2 * iy : 2 * iy + 2, 2 * ix : 2 * ix + 2]
            solid = upper[block] > lower[block]
            if solid.any():
                assert high[iy, ix] == upper[block][solid].max()
                assert low[iy, ix] == lower[block][solid].min()
            else:
                assert high[iy, ix] == low[iy, ix]
            ranks = [(-1, 0) if c < 0 else (abs(c - 4), c < 4) for c in index[block].ravel().tolist()]
            c = int(worst[iy, ix])
            assert ((-1, 0) if c < 0 else (abs(c - 4), c < 4)) == max(ranks)


@pytest.mark.parametrize(
    ("body", "timeout", "expected"),
    [
        (
            "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)",
            30,
            f"the 3-D view was left out: drawing crashed (SIGSEGV), as it does without OpenGL; {APT}",
        ),
        (
            "import time; time.sleep(60)",
            0.5,
            "the 3-D view was left out: drawing took longer than 0.5 s and was stopped; check again "
            "when the machine is idle",
        ),
        (
            "import sys; sys.stderr.write('first\\nImportError: libGL.so.1 is missing\\n'); sys.exit(21)",
            30,
            "the 3-D view was left out: the drawing library did not load "
            f"(ImportError: libGL.so.1 is missing); {APT}",
        ),
        (
            "raise ValueError('odd')",
            30,
            f"the 3-D view was left out: drawing failed (ValueError: odd); {APT}",
        ),
        (
            "import sys; sys.exit(23)",
            30,
            f"the 3-D view was left out: drawing gave an empty picture, as it may without OpenGL; {APT}",
        ),
        ("pass", 30, "the 3-D view was left out: drawing ended without a picture"),
    ],
)
def test_draw__says_why_in_one_line(body, timeout, expected, tmp_path, monkeypatch):
    monkeypatch.setattr(solid_view, "_command", lambda scene, picture: [sys.executable, "-c", body])
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr(solid_view.tempfile, "tempdir", None)
    assert solid_view.draw_solid_view(tmp_path / "a.png", **scene(), timeout=timeout) == expected
    assert list(tmp_path.iterdir()) == []  # no picture, no folder left behind


PARENT = """
import sys
from simkit.report import solid_view
from tests.report.test_solid_view import scene
solid_view._command = lambda *paths: [sys.executable, "-c", {body!r}]
print(solid_view.draw_solid_view({path!r}, **scene()))
print("verdict")
"""


def test_draw__crash_of_the_child_leaves_the_verdict_alone(tmp_path):
    body = "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)"
    code = PARENT.format(body=body, path=str(tmp_path / "a.png"))
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0
    assert done.stderr == ""
    assert done.stdout.splitlines()[0].startswith("the 3-D view was left out: drawing crashed (SIGSEGV)")
    assert done.stdout.splitlines()[1:] == ["verdict"]


@pytest.mark.skipif(os.name != "posix", reason="sends a POSIX signal")
def test_draw__interrupt_ends_the_child_too(tmp_path):
    note = tmp_path / "child.txt"
    body = f"import os, time; open({str(note)!r}, 'w').write(str(os.getpid()) + '.'); time.sleep(100)"
    folder = tmp_path / "scratch"
    folder.mkdir()
    parent = subprocess.Popen(
        [sys.executable, "-c", PARENT.format(body=body, path=str(tmp_path / "a.png"))],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=os.environ | {"TMPDIR": str(folder)},
    )
    try:
        for _ in range(600):
            if note.exists() and note.read_text().endswith("."):
                break
            time.sleep(0.1)
        child = int(note.read_text()[:-1])
        parent.send_signal(signal.SIGINT)
        said = parent.communicate(timeout=30)[1]
    finally:
        parent.kill()
        parent.wait()
    assert b"KeyboardInterrupt" in said
    with pytest.raises(ProcessLookupError):
        os.kill(child, 0)
    assert list(folder.iterdir()) == []


def test_child__without_its_library(tmp_path, monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "pyvista", None)
    assert solid_child.main(["scene.npz", "picture.png"]) == solid_view.NO_MODULE
    assert "pyvista" in capsys.readouterr().err


@pytest.mark.parametrize("number", [0, 3, 6, 8])
def test_coloured__resin_that_is_off_is_dotted_over_its_colour(number):
    at = np.stack(np.meshgrid(np.arange(60), np.arange(60)), -1).reshape(-1, 1, 2) + np.zeros((1, 4, 1))
    quads = np.concatenate([at, np.zeros((len(at), 4, 1))], -1)
    plain = solid_mesh.coloured(quads, np.full(len(at), number), 60.0, 1.0)
    resin = solid_mesh.coloured(quads, np.full(len(at), number + solid_mesh.OVER_RESIN), 60.0, 1.0)
    is_dot = (plain != resin).any(axis=1)
    assert 0.08 < is_dot.mean() < 0.2
    # Pale dots on dark, dark ones on pale: a grey print shows them.
    assert (np.abs(resin[is_dot].mean(axis=1) - plain[is_dot].mean(axis=1)) > 45).all()


def test_with_resin__tells_the_class_too_and_walls_stay_as_they_are():
    upper, lower = within((4, 4)), within((4, 4))
    upper[0, 0], upper[0, 1], lower[1, 1] = 2, 6, colours.NO_TARGET
    everywhere = np.ones((4, 4), bool)
    before = [one.copy() for one in (lower, upper)]
    solid_mesh.with_resin(lower, upper, {1: everywhere, 2: np.eye(4, dtype=bool)})
    assert upper[0, :3].tolist() == [solid_mesh.OVER_RESIN + 2, solid_mesh.OVER_RESIN + 6, solid_mesh.RESIN]
    assert lower[1, 1] == solid_mesh.RESIN
    assert lower[1, 2] == colours.WITHIN
    levels = np.arange(16.0).reshape(4, 4)
    made = [solid_mesh.surface(0 * levels, 20 + 9 * levels, *one, 1.0) for one in (before, (lower, upper))]
    is_wall = np.ptp(made[0][0][..., :2], axis=1).min(axis=1) == 0
    assert (made[0][1][is_wall] == made[1][1][is_wall]).all()


def test_draw__nothing_left_and_wrong_shape(tmp_path):
    empty = scene() | {"upper": scene()["lower"]}
    told = solid_view.draw_solid_view(tmp_path / "a.png", **empty)
    assert told == "the 3-D view was left out: nothing is left of the blank"
    with pytest.raises(ShapeError, match=r"^upper must have the shape \(60, 120\), not \(2,\)$"):
        solid_view.draw_solid_view(tmp_path / "a.png", **scene() | {"upper": np.zeros(2)})


def test_draw__what_was_sawn_off_takes_no_cells(tmp_path, monkeypatch):
    """Of 20 x 20 cells 6 x 8 are left, and one of the part where nothing is: too many, yet whole ones."""
    monkeypatch.setattr(solid_view, "MOST_CELLS", 150)
    seen = {}

    def looked_into(command, folder, timeout):
        with np.load(command[-2]) as file:
            seen.update({name: file[name] for name in ("lower", "upper", "origin", "cell", "class_upper")})
        return "no picture wanted"

    monkeypatch.setattr(solid_view, "run_child", looked_into)
    off = np.full((20, 20), np.nan)
    off[5:11, 9:17] = 0.0
    off[12, 10] = -3.0
    high = np.full((20, 20), 2.0)  # an empty column lies anywhere
    high[5:11, 9:17] = 7.0
    told = solid_view.draw_solid_view(
        tmp_path / "a.png", lattice=Lattice((-3.0, 4.0), 0.5, 20, 20), lower=np.full((20, 20), 2.0),
        upper=high, deviation_upper=off, deviation_lower=off, limits=(0.1, 0.3), title="sawn",
    )  # fmt: skip
    assert told.endswith("no picture wanted")
    assert seen["upper"].shape == (10, 10)
    assert np.array_equal(seen["upper"], high[4:14, 8:18])
    assert seen["class_upper"][8, 2] == 0
    assert seen["origin"].tolist() == [-3.0 + 8 * 0.5, 4.0 + 4 * 0.5]
    assert float(seen["cell"]) == 0.5


def test_import__draws_nothing_in_this_process():
    heavy = "{'pyvista', 'vtk', 'vtkmodules', 'matplotlib'}"
    code = f"import sys, simkit.report.solid_view; print({heavy} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "set()\n"


def test_draw__for_real(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "pyvista.py").write_text("raise SystemExit(99)")  # a file in the user's folder is not run
    told = solid_view.draw_solid_view(tmp_path / "a.png", **scene())
    if told is not None and APT in told:
        pytest.skip(told)
    assert told is None
    image = np.asarray(Image.open(tmp_path / "a.png").convert("RGB")).astype(int)
    assert image.shape[1] == 1800
    # Purple (blue well above green) left of orange (red well above blue) in the upper picture.
    view = image[110 : image.shape[0] // 2 - 100]
    purple = np.argwhere(view[..., 2] - view[..., 1] > 40)
    orange = np.argwhere(view[..., 0] - view[..., 2] > 80)
    assert len(purple) > 2000
    assert len(orange) > 2000
    assert purple[:, 1].max() < orange[:, 1].min()
    # A scale bar at the lower right: half of it dark, a row without a gap.
    corner = image[-260:, 1300:].max(axis=-1) < 60
    runs = [len(run) for row in corner for run in "".join(".#"[one] for one in row.astype(int)).split(".")]
    assert max(runs) > 80
    # The underside is within limits all over: no colour, but not white either.
    under = image[image.shape[0] // 2 : image.shape[0] - 260]
    assert (under.min(-1) < 250).mean() > 0.2
