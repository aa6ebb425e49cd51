"""What the 3-D pictures hold, as solids of known volume and place, and the pictures themselves."""

import base64
import os
import signal
import sys
import zlib
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import trimesh
from PIL import Image

from simkit.check import check
from simkit.cutters import Cutter
from simkit.findings.leftover import STEP_MEASURE
from simkit.frames import IDENTITY
from simkit.job.model import Fixture
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from simkit.report import colours, finding_scenes, scene_child, scenes, solid_mesh, solid_view
from simkit.report.eyes import EYES, _turn, best_eyes
from simkit.report.lengths import Lengths
from simkit.report.outer_steps import outer_classes, step_classes, target_columns
from simkit.report.page.closeup import CloseUps
from simkit.report.page.scene import scene_of
from simkit.report.pictures import in_steps_of_zones
from simkit.report.result import result_of
from simkit.report.scene_file import Key, Line, Look, Mark, Scene, read_scene, write_scene
from simkit.report.solid_mesh import OVER_RESIN, RESIN
from simkit.report.standing_things import AROUND, cutter_surfaces, fixture_surfaces, turned_round
from simkit.stock.cut import cut
from simkit.stock.field import Field, blank_lattice
from tests import budget_job
from tests.findings.programs import faced
from tests.small_job import JOB, block

APT = "apt install libx11-6 libegl1 libgl1"
# A regular polygon of AROUND corners against its circle: AROUND/2 sin(2 pi/AROUND) / pi.
POLYGON = AROUND / 2 * np.sin(2 * np.pi / AROUND) / np.pi


def volume(faces):
    """Volume by a general geometry library, which sums signed tetrahedra."""
    corners = faces.shape[1]
    points = faces.reshape(-1, 3).astype(np.float64)
    rows = np.arange(len(points)).reshape(-1, corners)
    triangles = np.concatenate([rows[:, [0, k, k + 1]] for k in range(1, corners - 1)])
    return trimesh.Trimesh(points, triangles, process=False).volume


def test_turned_round__a_cylinder_and_a_cone():
    cylinder = turned_round(np.array([(0, 0), (5, 0), (5, 8), (0, 8)]), (10, 20, 3))
    assert volume(cylinder) == pytest.approx(np.pi * 25 * 8 * POLYGON)
    assert cylinder.reshape(-1, 3).min(axis=0) == pytest.approx((5, 15, 3))
    cone = turned_round(np.array([(0, 0), (5, 6), (0, 6)]), (0, 0, 0))
    assert volume(cone) == pytest.approx(np.pi * 25 * 6 / 3 * POLYGON)


def test_cutter__a_ball_with_shank_and_holder():
    cutter = Cutter(
        1, "ball", 6.0, cutting_length=20, shank=6, stick_out=40, holder=((20, 30, 10), (30, 30, 5))
    )  # fmt: skip
    surfaces, keys = cutter_surfaces(cutter, (1.0, 2.0, 3.0))
    assert [key.words for key in keys] == ["cutting part", "neck and shank", "holder"]
    edges, shank, holder = (volume(one.faces) for one in surfaces)
    # Half a ball and a cylinder; 40 steps of the profile lose little more than the polygon does.
    assert edges == pytest.approx((2 / 3 * np.pi * 27 + np.pi * 9 * 17) * POLYGON, rel=0.002)
    assert shank == pytest.approx(np.pi * 9 * 20 * POLYGON)
    cone = np.pi * 10 / 3 * (100 + 150 + 225)
    assert holder == pytest.approx((cone + np.pi * 225 * 5) * POLYGON)
    assert surfaces[2].faces[..., 2].min() == pytest.approx(43)


def test_cutter__what_is_not_stated_is_left_out():
    surfaces, keys = cutter_surfaces(Cutter(1, "flat", 6.0), (0, 0, 0))
    assert [key.words for key in keys] == ["cutting part"]
    assert surfaces[0].faces[..., 2].max() == pytest.approx(30)


def test_fixtures__box_round_and_mesh():
    mesh = np.array([[(0, 0, 0), (1, 0, 0), (0, 1, 0)]], float)
    fixtures = [
        Fixture("box", 10.0, box=((8.0, 9.0), (2.0, 4.0))),
        Fixture("pin", 12.0, at=(20.0, 20.0), diameter=6.0),
        Fixture("shape", 5.0, box=((0.0, 0.0), (1.0, 1.0))),
    ]
    (box, pin, shape), keys = fixture_surfaces(fixtures, {"shape": mesh})
    assert volume(box.faces) == pytest.approx(6 * 5 * 10)
    assert box.faces.reshape(-1, 3).max(axis=0).tolist() == [8, 9, 10]
    assert volume(pin.faces) == pytest.approx(np.pi * 9 * 12 * POLYGON)
    assert shape.faces.tolist() == mesh.tolist()
    assert [key.words for key in keys] == ["clamps and stops: box, pin, shape"]
    assert fixture_surfaces([], {}) == ([], [])


def small_scene():
    """A box with a mark before it and one behind it."""
    (box,), keys = fixture_surfaces([Fixture("box", 10.0, box=((0.0, 0.0), (40.0, 10.0)))], {})
    marks = (Mark((20.0, -0.5, 5.0), 1, True), Mark((20.0, 10.5, 5.0), 2, False))
    over = (Mark((20.0, 10.5, 5.0), 3, True, True),)
    front = (0.0, -1.0, 0.0)
    return Scene(
        "Box",
        "Two places, one of them hidden.",
        [box],
        [Line(np.array([(0, -0.2, 10.2), (40, -0.2, 10.2)]), "#01665e", 4.0)],
        [Look("front", front, marks=marks), Look("over", front, marks=over, about=(20, 5, 5), size=(40, 20))],
        [*keys, Key("a line", "#01665e", True)],
        [(1, True, "one"), (2, False, "two")],
    )


def test_scene_file__comes_back_as_it_went(tmp_path):
    scene = small_scene()
    write_scene(tmp_path / "a.npz", scene)
    back = read_scene(tmp_path / "a.npz")
    assert back.keys == scene.keys
    assert back.looks == scene.looks
    assert (back.title, back.subtitle, back.note) == (scene.title, scene.subtitle, scene.note)
    assert back.findings == scene.findings
    np.testing.assert_array_equal(back.surfaces[0].faces, scene.surfaces[0].faces)
    np.testing.assert_array_equal(back.lines[0].points, scene.lines[0].points)


def test_view__pixels_are_millimetres_of_the_picture():
    scene = small_scene()
    view = scene_child.View(scene, scene.looks[1], 400)
    assert (view.width, view.height, view.pitch) == (400, 200, 0.1)
    assert view.pixel((20.0, 5.0, 5.0)) == pytest.approx((200, 100))
    assert view.pixel((30.0, 0.0, 8.0)) == pytest.approx((300, 70))


def drawn(paths_and_scenes):
    """Draw, or skip where there is no OpenGL."""
    told = solid_view.draw_scenes(paths_and_scenes)
    if told is not None and APT in told:
        pytest.skip(told)
    assert told is None


def test_draw__for_real_and_what_is_hidden_has_no_number(tmp_path, monkeypatch):
    from simkit.report import scene_page

    seen = []
    number = scene_page.Page.number
    monkeypatch.setattr(
        scene_page.Page, "number", lambda page, x, y, n, *rest: (seen.append(n), number(page, x, y, n, *rest))
    )
    write_scene(tmp_path / "a.npz", small_scene())
    path = tmp_path / "a.png"
    drawn({path: small_scene()})  # the drawing process first: without OpenGL it ends, not this one
    with Image.open(path) as file:
        assert file.size[0] == 1800
        image = np.asarray(file.convert("RGB")).astype(int)
    assert ((image[..., 1] > image[..., 0] + 20) & (image.max(axis=-1) < 220)).sum() > 5000  # teal
    assert scene_child.main([str(tmp_path / "a.npz"), str(tmp_path / "b.png")]) == 0
    # The front shows 1 and not 2, which is behind the box; 3 is shown all the same; then the list.
    assert seen == [1, 3, 1, 2]


@pytest.mark.skipif(os.name != "posix", reason="ends itself by a POSIX signal")
def test_draw__without_opengl_says_so_and_touches_nothing(tmp_path, monkeypatch):
    body = "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)"
    monkeypatch.setattr(solid_view, "_scenes_command", lambda words: [sys.executable, "-c", body])
    told = solid_view.draw_scenes({tmp_path / "a.png": small_scene()})
    assert told.startswith(
        f"3-D pictures of leftover, seam and cutter were left out: drawing crashed ({signal.SIGSEGV.name})"
    )
    assert list(tmp_path.iterdir()) == []


def test_draw__nothing_to_draw():
    assert solid_view.draw_scenes({}) is None


@pytest.fixture(scope="module")
def left_over(tmp_path_factory):
    """A slab of 10 mm, faced to 11: a millimetre stands on all of its 36 x 26 mm."""
    folder = tmp_path_factory.mktemp("left")
    block(2, 38, 2, 28, 0, 10).export(folder / "part.stl")
    (folder / "top.nc").write_text(faced(11), encoding="utf-8")
    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    job = read_job(folder / "job.toml")
    evidence, findings, _ = check(job, read_programs(job), 0.5)
    return evidence, result_of(evidence, findings, {})


def shown_of(evidence):
    return {side: in_steps_of_zones(evidence, side) for side in evidence.deviations}


def test_leftover__a_solid_of_its_volume_on_the_part(left_over):
    evidence, result = left_over
    (solid,) = scenes.leftover_surfaces(evidence, shown_of(evidence))
    # It reaches 0.1 mm into the part, so that no gap shows between them.
    assert volume(solid.faces) == pytest.approx(36 * 26 * 1.1, rel=1e-4)
    assert solid.faces[..., 2].max() == pytest.approx(11)
    # 1 mm is between twice and four times the limit of 0.3: the second class.
    assert np.unique(solid.colours, axis=0).tolist() == [
        list(colours.rgb(colours.CLASSES[colours.WITHIN + 2]))
    ]
    scene = scenes.leftover_scene(evidence, shown_of(evidence), "about x", result)
    assert volume(scene.surfaces[0].faces) == pytest.approx(36 * 26 * 10, rel=1e-4)
    assert [mark.number for mark in scene.looks[0].marks] == [1]
    assert scene.looks[1].marks == ()
    kept = np.zeros(evidence.field.lattice.shape, bool)
    kept[:, 40:] = True
    (half,) = scenes.leftover_surfaces(evidence, shown_of(evidence), kept=kept)
    assert volume(half.faces) == pytest.approx(18 * 26 * 1.1, rel=1e-4)


def test_leftover__none_makes_no_picture(left_over):
    evidence, result = left_over
    nothing = {side: np.zeros_like(one) for side, one in shown_of(evidence).items()}
    assert scenes.leftover_scene(evidence, nothing, "about x", result) is None


@pytest.fixture(scope="module")
def skin(tmp_path_factory):
    """The part of two sides on whose left wall side 2 leaves 0.6 mm of what side 1 left, 4 mm high."""
    folder = tmp_path_factory.mktemp("skin")
    job = read_job(budget_job.write(folder, off=-0.6))
    evidence, findings, _ = check(job, read_programs(job), 0.2)
    return evidence, result_of(evidence, findings, {})


def test_leftover__wood_on_the_outer_wall_is_a_solid_beside_the_part(skin):
    evidence, result = skin
    nothing = {side: np.full_like(one, np.nan) for side, one in shown_of(evidence).items()}
    (solid,) = scenes.leftover_surfaces(evidence, nothing, result["findings"])
    low, high = solid.faces.reshape(-1, 3).min(axis=0), solid.faces.reshape(-1, 3).max(axis=0)
    assert (low[0], high[0]) == pytest.approx((budget_job.X0 - 0.6, budget_job.X0))
    assert (low[2], high[2]) == pytest.approx((0, 4))
    # Beside all of the wall, and round its two corners as far as the cutter's round goes.
    assert volume(solid.faces) == pytest.approx(0.6 * (budget_job.Y1 - budget_job.Y0) * 4, rel=0.05)
    # 0.6 mm is twice the limit of 0.3 and no more, as nearly as cells tell.
    assert evidence.job.limits.leftover == 0.3
    assert np.unique(solid.colours, axis=0).tolist() == [
        list(colours.rgb(colours.CLASSES[colours.WITHIN + 1]))
    ]
    scene = scenes.leftover_scene(evidence, nothing, "about x", result)
    assert len(scene.surfaces) == 2
    # Without a finding of it the cells may have seen too much.
    others = [row for row in result["findings"] if row["measure"] != STEP_MEASURE]
    assert len(others) < len(result["findings"])
    assert scenes.leftover_surfaces(evidence, nothing, others) == []


def test_leftover__wood_on_the_outer_wall_has_its_colour_on_maps(skin):
    evidence, result = skin
    classes = step_classes(evidence, result["findings"])
    iy, ix = np.nonzero(classes > colours.WITHIN)
    x, _ = evidence.field.lattice.centre_of(iy, ix)
    assert x.min() > budget_job.X0 - 0.6
    assert x.max() < budget_job.X0
    assert not evidence.envelopes.is_part[iy, ix].any()
    side = CloseUps(evidence, Lengths(), result["findings"])._index[2]
    assert (side[iy, ix] == classes[iy, ix]).all()


def test_part__its_outer_wall_has_the_colour_of_what_stands_on_it(skin):
    evidence, result = skin
    field, limits = evidence.field, (0.1, 0.3)
    rows = result["findings"]
    stands_out, target = outer_classes(evidence, rows), target_columns(evidence)
    index = [
        colours.worse(colours.class_index(shown_of(evidence)[side], limits), stands_out) for side in (2, 1)
    ]
    at = (field.lower, field.upper, *index, field.lattice.cell, field.lattice.origin)
    quads, classes = solid_mesh.surface(*at, target=target)
    area = np.linalg.norm(np.cross(quads[:, 2] - quads[:, 0], quads[:, 3] - quads[:, 1]), axis=1) / 2
    is_wall = (np.abs(quads[..., 0] - (budget_job.X0 - 0.6)) < 0.01).all(-1)
    one_more = colours.WITHIN + 1
    assert area[is_wall & (classes == one_more)].sum() == pytest.approx(
        4 * (budget_job.Y1 - budget_job.Y0), rel=0.05
    )
    # The part's other outer walls are within the limits.
    is_right = (np.abs(quads[..., 0] - budget_job.X1) < 0.01).all(-1)
    assert set(classes[is_right]) == {colours.WITHIN}
    # The report's view has the same classes for its walls.
    scene = scene_of(evidence, rows=rows)
    count = scene["nx"] * scene["ny"]
    data = np.frombuffer(zlib.decompress(base64.b64decode(scene["data"])), np.uint8)
    behind = len(scene["classes"]) - scene["classes"].index("class_wall")
    walls = data[len(data) - behind * count :][:count]
    walls = walls.reshape(scene["ny"], scene["nx"]).astype(int) - 1
    off = np.argwhere(walls > colours.WITHIN)
    assert set(walls[tuple(off.T)]) == {one_more}
    x, _ = evidence.field.lattice.centre_of(*off.T)
    assert x.min() > budget_job.X0 - 0.6
    assert x.max() < budget_job.X0


def test_leftover__a_cell_alone_is_three_cells_wide():
    height, index = np.zeros((9, 9)), np.full((9, 9), colours.NO_TARGET, np.int8)
    height[4, 4], index[4, 4] = 0.4, colours.WITHIN + 1
    wide, classes = scenes._widened(height, index)
    assert (wide > 0).sum() == 9
    assert (classes == colours.WITHIN + 1).sum() == 9


def test_resin__has_a_colour_of_its_own_where_nothing_is_beyond_a_limit():
    """A pocket of resin over the left half of side 1, of which one cell stands proud."""
    lattice = blank_lattice(8, 4, 1.0)
    whole, none = np.full(lattice.shape, 10.0, np.float32), np.full(lattice.shape, -1, np.int32)
    wood_upper = np.full(lattice.shape, np.inf, np.float32)
    wood_upper[:, :4] = 8.0
    field = Field(lattice, 0 * whole, whole, none, none, np.full_like(whole, -np.inf), wood_upper)
    upper, lower = (np.full(lattice.shape, colours.WITHIN, np.int8) for _ in range(2))
    upper[0, 0] = colours.WITHIN + 1
    scenes.with_resin(field, lower, upper, 1)
    assert (lower == colours.WITHIN).all()
    assert upper[0, 0] == OVER_RESIN + colours.WITHIN + 1  # its class, and that it is resin
    assert (upper == RESIN).sum() == 15
    made = scenes.wood_surface(field, scenes.WOOD)
    is_resin = (made.colours == colours.rgb(colours.RESIN)).all(axis=1)
    assert is_resin.sum() == 16
    assert made.faces[is_resin][..., 0].max() == 4
    assert (made.faces[is_resin][..., 2] == 10).all()


@pytest.fixture(scope="module")
def off(tmp_path_factory):
    """The part of two sides whose left wall side 2 cuts 0.6 mm too far in."""
    folder = tmp_path_factory.mktemp("off")
    job = read_job(budget_job.write(folder, off=0.6))
    evidence, findings, _ = check(job, read_programs(job), 0.5)
    return evidence, result_of(evidence, findings, {})


def test_seam__two_halves_of_the_part_and_lines_along_them(off):
    evidence, result = off
    scene = scenes.seam_scene(evidence, result)
    upper, lower = (surface.faces for surface in scene.surfaces[:2])
    seam = evidence.seam
    assert upper[..., 2].min() >= seam.level.min() - 1e-4
    assert lower[..., 2].max() <= seam.level.max() + 1e-4
    # Side 1 stands out at the left wall: the line there has the colour of more than twice the limit.
    left = [line for line in scene.lines if np.median(line.points[:, 0]) < budget_job.X0 + 0.5]
    assert {line.colour for line in left} == {scenes.FIRST_OUT[1]}
    assert scene.looks[2].about[0] == pytest.approx(budget_job.X0, abs=0.1)
    # The close-up is cut on finer cells: its upper wall stands where the part's does, the lower 0.6 mm in.
    close = [scene.surfaces[k].faces for k in scene.looks[2].surfaces]
    middle = [one[np.abs(one[..., 1].mean(axis=1) - scene.looks[2].about[1]) < 2] for one in close]
    walls = [float(one[..., 0].min()) for one in middle]
    assert walls[0] == pytest.approx(budget_job.X0, abs=0.07)
    assert walls[1] == pytest.approx(budget_job.X0 + 0.6, abs=0.07)


def test_finding__cutter_stands_on_its_line_in_the_wood_before_it(off):
    evidence, result = off
    row = next(row for row in result["findings"] if row["line"] is not None)
    move = finding_scenes.move_of(evidence, row)
    scene = finding_scenes.finding_scene(evidence, {"findings": [row | {"kind": "rapid-contact"}]})
    assert int(evidence.moves.line[move]) == row["line"]
    assert evidence.moves.programs[int(evidence.moves.program[move])] == row["file"]
    assert f"{row['file']}, line {row['line']}" in scene.subtitle
    setup = int(evidence.moves.setup[move])
    to_table = evidence.job.setups[setup].to_table(evidence.job.blank)
    ends = to_table.apply(np.stack([evidence.moves.start[move], evidence.moves.end[move]]))
    cutter = scene.surfaces[1].faces.reshape(-1, 3)
    tip = cutter[:, :2].mean(axis=0)
    low, high = ends.min(axis=0), ends.max(axis=0)
    assert (tip >= low[:2] - 0.1).all()
    assert (tip <= high[:2] + 0.1).all()
    # The wood as it lies on the table, before the move: not lower than the part after all moves.
    wood = scene.surfaces[0].faces
    assert wood.reshape(-1, 3).min(axis=0) == pytest.approx((0, 0, 0), abs=0.5)
    assert (
        volume(wood)
        > np.where(evidence.field.is_solid, evidence.field.upper - evidence.field.lower, 0).sum() * 0.25
    )


def test_finding__leftover_is_shown_as_the_part_ends_in_its_colour(left_over):
    evidence, result = left_over
    scene = finding_scenes.finding_scene(evidence, result)
    row = result["findings"][0]
    assert row["kind"].startswith("leftover")
    # No cutter: the part in its classes, twice: whole, and round the place. A mm is left on all of its top.
    second = np.array(colours.rgb(colours.CLASSES[colours.WITHIN + 2]))
    off = [one for one in scene.surfaces if one.is_thing]
    assert len(off) == 2
    top = off[0].faces[(np.abs(off[0].faces[..., 2] - 11) < 1e-3).all(axis=1)]
    area = np.linalg.norm(np.cross(top[:, 2] - top[:, 0], top[:, 3] - top[:, 1]), axis=1) / 2
    assert area.sum() == pytest.approx(36 * 26, rel=0.01)
    assert (off[0].colours == second).all()
    assert "1 to 2" not in [key.words for key in scene.keys]
    assert any(key.colour == colours.CLASSES[colours.WITHIN + 2] for key in scene.keys)
    assert scene.lines == []
    assert {mark.number for look in scene.looks for mark in look.marks} == {row["number"]}
    assert scene.looks[1].about == pytest.approx(row["at"])
    whole, close = (set(look.surfaces) for look in scene.looks[:2])
    assert not whole & close


def test_finding__wood_at_the_moment_is_cut_as_far_as_the_cutter_has_come(off):
    evidence, result = off
    row = next(row for row in result["findings"] if row["line"] is not None)
    move = finding_scenes.move_of(evidence, row)
    setup = int(evidence.moves.setup[move])
    fields = [finding_scenes._wood_at(evidence, setup, move, part) for part in (0.0, 0.5, 1.0)]
    for before, after in pairwise(fields):
        assert (after.upper <= before.upper).all()
        assert (after.lower >= before.lower).all()
    first = evidence.rows[setup].start
    whole = cut(
        evidence.starts[setup], evidence.moves[first : move + 1], evidence.job.cutters,
        evidence.frames[setup],
        first_row=first,
    ).field  # fmt: skip
    assert np.array_equal(fields[-1].upper, whole.upper)
    assert np.array_equal(fields[-1].lower, whole.lower)


def test_finding__the_wood_before_a_cutter_is_taken_away(off):
    evidence, _ = off
    lie = evidence.job.setups[1].lie(evidence.job.blank).inverse()
    field = evidence.starts[1]
    at = np.array((20.0, 15.1, 3.0))
    (opened,) = finding_scenes._cut_open(field, lie, at, 12.0)
    assert opened.faces[..., 1].min() == pytest.approx(15.0, abs=0.3)
    is_face = (opened.colours == colours.rgb(finding_scenes.CUT_OPEN)).all(axis=1)
    assert is_face.any()
    assert np.ptp(opened.faces[is_face][..., 1]) < 0.3
    assert opened.faces[~is_face].shape[0] > 0


def test_eyes__look_where_nothing_stands_before_the_place():
    """A slot from front to back, one from left to right, and a clamp before a place on the top."""
    lattice = blank_lattice(60, 60, 0.5)
    none = np.full(lattice.shape, -1, np.int32)
    x, y = np.meshgrid(lattice.x(), lattice.y())
    up = np.array((0.0, 0.0, 1.0))
    for away in (x, y):
        upper = np.where(np.abs(away - 30) < 4, 5.0, 30.0).astype(np.float32)
        field = Field(lattice, 0 * upper, upper, none, none)
        places = np.stack([[(30.0, 30.0, 5.0)], [up]])
        _, first, second = best_eyes(field, IDENTITY, places)
        # Along the slot: what is across it is hidden by its walls, 25 mm high.
        across, along = (0, 1) if away is x else (1, 0)
        assert abs(first[across]) < abs(first[along])
        assert _turn(first, second) >= 60
    flat = Field(
        lattice, np.zeros(lattice.shape, np.float32), np.full(lattice.shape, 10, np.float32), none, none
    )
    places = np.stack([[(30.0, 30.0, 10.0)], [up]])
    near, first, _ = best_eyes(flat, IDENTITY, places)
    assert near == first == EYES[0]
    clamp = ((10.0, 5.0, 10.0), (50.0, 25.0, 60.0))
    near, first, _ = best_eyes(flat, IDENTITY, places, [clamp], IDENTITY)
    assert near == first
    assert first[1] > -0.2


def test_eyes__the_first_sees_the_mark_itself():
    """A slot from left to right: most of the spot lies on its rims, the mark below the wall at the front."""
    lattice = blank_lattice(60, 60, 0.5)
    none = np.full(lattice.shape, -1, np.int32)
    _, y = np.meshgrid(lattice.x(), lattice.y())
    upper = np.where(np.abs(y - 30) < 4, 5.0, 30.0).astype(np.float32)
    field = Field(lattice, 0 * upper, upper, none, none)
    up = np.array((0.0, 0.0, 1.0))
    mark = np.stack([[(30.0, 27.0, 5.0)], [up]])
    rims = np.stack([[(x, 20.0, 30.0) for x in range(20, 40)], [up] * 20])
    places = np.concatenate([rims, mark], axis=1)
    near, *_ = best_eyes(field, IDENTITY, places)
    assert near == EYES[0]
    near, *_ = best_eyes(field, IDENTITY, places, mark=mark)
    assert near != EYES[0]
    # The wall at the front is 25 mm high and begins 1 mm before the mark: only along the slot it is seen.
    assert abs(near[0]) > abs(near[1]) or near[1] > 0


def test_draw__numbers_keep_off_the_things_of_a_picture(tmp_path):
    """Seen from the front, a box before another: the mask is that of what is seen of it."""
    scene = small_scene()
    drawn({tmp_path / "a.png": scene})
    front = Look("front", (0.0, -1.0, 0.0), about=(20.0, 5.0, 5.0), size=(60.0, 30.0))
    low = replace(scene.surfaces[0], faces=scene.surfaces[0].faces * (1, 1, 0.5) - (0, 20, 0))
    behind = replace(scene.surfaces[0], is_thing=True)
    _, view = scene_child.shoot(replace(scene, surfaces=[low, behind], lines=[], looks=[front]), front, 600)
    assert view.busy.sum() == pytest.approx(400 * 50, rel=0.02)
    _, view = scene_child.shoot(replace(scene, lines=[], looks=[front]), front, 600)
    assert view.busy is None
