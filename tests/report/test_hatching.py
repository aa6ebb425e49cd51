"""What is cut too deep is hatched in one way: in maps, 3-D pictures, sections and the view of the report."""

import re
from importlib.resources import files

import numpy as np
import pytest

from simkit.report import canvas, colours, scene_child
from simkit.report.page.section_view import HATCHES
from simkit.report.scene_file import TRUE, Look, Scene, Surface
from tests.report.test_scenes import drawn, small_scene

WIDE, TALL = 160, 120  # pixels


@pytest.fixture(scope="module", autouse=True)
def _opengl(tmp_path_factory):
    drawn(
        {tmp_path_factory.mktemp("drawn") / "a.png": small_scene()}
    )  # without OpenGL that process ends, not this


def shot(across, up, eye, number):
    """A face of a class, seen from the eye and larger than the picture."""
    across, up = (np.array(one, float) for one in (across, up))
    face = np.array([[0 * up, across, across + up, up]], np.float32)
    surface = Surface(face, np.array([colours.rgb(colours.CLASSES[number])], np.uint8), TRUE)
    look = Look("", eye, about=tuple(face[0].mean(0).tolist()), size=(4.0, 3.0))
    return scene_child.shoot(Scene("", "", [surface], [], [look], []), look, WIDE)[0]


LEANS = {
    "level": ((20, 0, 0), (0, 20, 0), (0, -0.5, 1)),
    "upright along x": ((20, 0, 0), (0, 0, 20), (0, -1, 0.5)),
    "upright along y": ((0, 20, 0), (0, 0, 20), (1, 0, 0.5)),
    "upright and askew": ((14, 14, 0), (0, 0, 20), (1, -1, 0.5)),
    "the other way askew": ((14, -14, 0), (0, 0, 20), (-1, -1, 0.5)),
    "sloped": ((20, 0, 0), (0, 12, 15), (0, -1, 1)),
}


@pytest.mark.parametrize("number", [0, 1, 2, 3])
@pytest.mark.parametrize("lean", LEANS)
def test_too_deep__is_hatched_as_on_maps_whichever_way_a_face_leans(lean, number):
    picture = shot(*LEANS[lean], number)
    # The hatch of maps over as many pixels, drawn by what draws it there; where its lines begin is free.
    plain = np.tile(np.array(colours.rgb(colours.CLASSES[number]), np.uint8), (TALL, WIDE, 1))
    canvas.hatch_too_deep(plain, np.full((TALL, WIDE), number))
    is_line = (plain == colours.rgb(colours.STRIPES[number])).all(-1)
    light = picture.astype(float).mean(-1)
    is_pale = light > (light.min() + light.max()) / 2
    is_drawn = is_pale if number < 2 else ~is_pale  # pale lines on dark, dark ones on pale
    assert is_drawn.mean() == pytest.approx(0.25, abs=0.02)
    assert max((is_drawn == np.roll(is_line, step, 1)).mean() for step in range(8)) > 0.97


def test_left_standing__is_not_hatched():
    picture = shot(*LEANS["upright along x"], 6)
    assert np.ptp(picture.reshape(-1, 3), axis=0).max() <= 1


def test_too_deep__leans_the_same_way_in_sections_and_in_the_view_of_the_report():
    """Up to the right: SVG and CSS count down the page, WebGL up."""
    path = re.search(r'd="([^"]+)" class="hatch-deep"', HATCHES)[1]
    ends = [[float(one) for one in piece.replace("L", " ").split()] for piece in path.split("M")[1:]]
    assert len(ends) == 3
    assert all((x1 - x0) * (y1 - y0) < 0 for x0, y0, x1, y1 in ends)
    page = files("simkit.report.page")
    style, script = (page.joinpath(name).read_text("utf-8") for name in ("style.css", "scene.js"))
    # CSS Images 3: at 135 degrees colours change down to the right, so their lines run up to the right.
    assert re.search(r"\.k-deep \{ background: repeating-linear-gradient\(135deg", style)
    assert "bool is_line = mod(at.x - at.y," in script
