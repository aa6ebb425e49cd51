"""The maps of walls, of the witness step, and of who cut where: what they show, and where."""

import numpy as np
import pytest
from PIL import Image

from simkit.compare.seam import Seam
from simkit.compare.walls import wall_thickness
from simkit.cutters import Cutter
from simkit.errors import ShapeError
from simkit.frames import TURNS
from simkit.job.model import Blank
from simkit.moves.table import join_moves
from simkit.program.reader import read_program
from simkit.report import canvas, colours, map_parts, seam_view, wall_views, who_cut_views
from simkit.report.class_map import Painted, Sign, draw_class_map
from simkit.report.map_parts import LEFT_ROOM, SIDE_ROOM, WIDTH
from simkit.report.seam_view import draw_seam
from simkit.report.wall_views import draw_walls
from simkit.report.who_cut_views import draw_who_cut, owners_of
from simkit.stock.field import Field, Lattice, blank_lattice

BLANK = Blank(80.0, 40.0, 20.0)
PITCH = 80.0 / (WIDTH - LEFT_ROOM - SIDE_ROOM)  # mm a pixel


def pixels(path):
    with Image.open(path) as file:
        return np.asarray(file.convert("RGB")).astype(int)


def is_colour(image, colour):
    return (image == colours.rgb(colour)).all(axis=-1)


def corner_of(image):
    """The pixel (x, y) of the map's upper left corner: where its dark frame begins."""
    dark = image.max(axis=-1) < 200  # its line lies between two pixels
    rows = np.flatnonzero(dark.sum(axis=1) > 1500)
    return LEFT_ROOM, rows[0] + 1


def at(image, x, y):
    """The colour at a place of the blank as it lies, mm from its left front corner."""
    left, top = corner_of(image)
    down = round(BLANK.width / PITCH)
    return tuple(image[round(top + down - y / PITCH), round(left + x / PITCH)])


@pytest.fixture(scope="module")
def slab():
    """A part of 60 x 30 mm, 10 mm thick, its left third 2.4 mm thick and a strip of it 1 mm."""
    lattice = blank_lattice(80, 40, 0.5)
    x, y = np.meshgrid(lattice.x(), lattice.y())
    is_part = (x > 10) & (x < 70) & (y > 5) & (y < 35)
    thick = np.where(x < 30, 2.4, 10.0)
    cut = np.where((x > 14) & (x < 20) & (y > 14) & (y < 20), 1.0, thick)
    return lattice, is_part, np.where(is_part, thick, 0.0), np.where(is_part, cut, 0.0)


def walls_of(lattice, upper):
    return wall_thickness(lattice, np.zeros(lattice.shape), upper, 4.5)


def draw(tmp_path, slab, findings=()):
    lattice, is_part, thick, cut = slab
    return pixels(
        draw_walls(
            tmp_path / "a.png", cut=walls_of(lattice, cut), target=walls_of(lattice, thick), limit=3.0,
            is_judged=is_part, is_part=is_part, side=1, turn="none", blank=BLANK, title="walls",
            findings=list(findings),
        )
    )  # fmt: skip


def test_walls__shade_by_thickness_and_hatch_where_the_part_is_thicker(tmp_path, slab):
    image = draw(tmp_path, slab)
    # 2.4 mm lies between three quarters of the limit and the limit; the part is as thin, so no hatch.
    assert at(image, 25, 10) == colours.rgb(wall_views.SHADES[2])
    assert at(image, 50, 20) == colours.rgb(wall_views.THICK)
    # The strip, 1 mm, is below half the limit: the darkest, hatched in pale where the part has 2.4 mm.
    left, top = corner_of(image)
    strip = image[
        round(top + 22 / PITCH) : round(top + 24 / PITCH), round(left + 16 / PITCH) : round(left + 18 / PITCH)
    ]
    assert set(map(tuple, strip.reshape(-1, 3))) == {
        colours.rgb(wall_views.SHADES[0]), colours.rgb(wall_views.PALE_LINE),
    }  # fmt: skip
    assert is_colour(strip, wall_views.PALE_LINE).mean() == pytest.approx(0.25, abs=0.05)


def test_walls__a_note_takes_the_hatch_away(tmp_path, slab):
    note = {
        "kind": "thin-wall",
        "severity": "note",
        "number": 1,
        "at": (17.0, 17.0, 1.0),
        "value": 1.0,
        "unit": "mm",
    }
    image = draw(tmp_path, slab, [note])
    assert not is_colour(image, wall_views.PALE_LINE).any()
    assert is_colour(image, wall_views.SHADES[0]).sum() > 1000


def test_walls__a_sliver_is_seen(tmp_path, slab):
    lattice, is_part, thick, _ = slab
    cut = thick.copy()
    cut[40, 100] = 1.0  # one cell of 0.5 mm, then seen in fine cells
    image = draw(tmp_path, (lattice, is_part, thick, cut))
    assert (
        sum(is_colour(image[: image.shape[0] * 2 // 3], shade).sum() for shade in wall_views.SHADES[:2]) >= 9
    )


def programs():
    """Two programs of one setup: a flat cutter on the left, then a ball, then the flat cutter again."""
    passes = "G0 X{0} Y5 Z30\nG1 Z15 F600\nY35\nG0 Z30\n"
    head, more = "G21 G90\nT1 M6\nS9000 M3\n", "T2 M6\nS9000 M3\n"
    first = head + passes.format(20) + more + passes.format(40) + "M30\n"
    second = head + passes.format(60) + "M30\n"
    return first, second


@pytest.fixture(scope="module")
def cut_field():
    """Bands of 10 mm by hand: nobody, side1/T1, side1/T2, side2/T1."""
    reads = [
        read_program(text.encode(), name) for text, name in zip(programs(), ("a.nc", "b.nc"), strict=True)
    ]
    moves = join_moves([read.moves for read in reads])
    lattice = blank_lattice(80, 40, 0.5)
    x = np.broadcast_to(lattice.x(), lattice.shape)
    rows = np.full(lattice.shape, -1, np.int32)
    keys = {}
    for row in range(len(moves)):
        if not moves.rapid[row]:
            keys[int(moves.program[row]), int(moves.tool[row])] = row
    for key, low in (((0, 1), 20), ((0, 2), 40), ((1, 1), 60)):
        rows[(x > low) & (x < low + 10)] = keys[key]
    upper = np.where(rows >= 0, 15.0, 20.0).astype(np.float32)
    upper[(x > 65) & (x < 70)] = 0.0
    none = np.full(lattice.shape, -1, np.int32)
    return Field(lattice, np.zeros(lattice.shape, np.float32), upper, none, rows), moves


CUTTERS = {1: Cutter(1, "flat", 6.0), 2: Cutter(2, "ball", 6.0)}


def test_owners__by_order_of_use(cut_field):
    field, moves = cut_field
    owners = owners_of(field.upper_move, moves, CUTTERS)
    assert owners.names == ("T1 6 mm flat, a.nc", "T2 6 mm ball, a.nc", "T1 6 mm flat, b.nc")
    assert [int(owners.index[40, column]) for column in (10, 50, 90, 130)] == [-1, 0, 1, 2]
    assert owners_of(field.lower_move, moves, CUTTERS).names == ()


@pytest.mark.parametrize("turn", TURNS)
def test_who_cut__colours_letters_and_what_is_gone(tmp_path, cut_field, turn):
    field, moves = cut_field
    owners = owners_of(field.upper_move, moves, CUTTERS)
    image = pixels(
        draw_who_cut(
            tmp_path / "a.png", field=field, owners=owners, is_part=None, side=1, turn=turn, blank=BLANK,
            title="who", findings=[],
        )
    )  # fmt: skip

    def seen(x):
        return at(image, 80 - x if turn == "about y" else x, 4)

    assert seen(10) == colours.rgb(who_cut_views.UNCUT)
    assert [seen(x) for x in (25, 45, 62.5)] == [colours.rgb(shade) for shade in who_cut_views.LIGHT[:3]]
    paler = [
        round(255 - who_cut_views.THROUGH * (255 - value)) for value in colours.rgb(who_cut_views.LIGHT[2])
    ]
    assert seen(67.5) == tuple(paler)


def test_who_cut__no_ring_and_no_number_lies_on_a_letter(tmp_path, cut_field, monkeypatch):
    field, moves = cut_field
    owners = owners_of(field.upper_move, moves, CUTTERS)
    letters, numbers, letter, number = [], [], who_cut_views._letter, canvas.Page.number

    def lettered(page, x, y, *words):
        letters.append((x, y))
        letter(page, x, y, *words)

    def numbered(page, x, y, *words):
        numbers.append((x, y))
        number(page, x, y, *words)

    monkeypatch.setattr(who_cut_views, "_letter", lettered)
    monkeypatch.setattr(canvas.Page, "number", numbered)

    def draw_with(findings):
        letters.clear()
        numbers.clear()
        draw_who_cut(
            tmp_path / "a.png", field=field, owners=owners, is_part=None, side=1, turn="none", blank=BLANK,
            title="who", findings=findings,
        )  # fmt: skip
        return {(round(x), round(y)) for x, y in letters}

    alone = draw_with([])
    assert len(alone) >= 3
    left, top = corner_of(pixels(tmp_path / "a.png"))
    findings = []
    for k, (x, y) in enumerate(sorted(alone), start=1):
        place = ((x - left) * PITCH, BLANK.width - (y - top) * PITCH, 15.0)
        findings.append(
            {
                "number": k,
                "kind": "gouge",
                "severity": "beyond",
                "at": place,
                "value": 1.0,
                "unit": "mm",
                "bound": 0.0,
            }
        )
    beside = draw_with(findings)
    assert len(beside) >= len(alone)
    top_then = corner_of(pixels(tmp_path / "a.png"))[1]
    rings = [(x, y + top_then - top) for x, y in alone]
    for x, y in beside:
        assert min(np.hypot(x - a, y - b) for a, b in rings) > map_parts.SPOT + 10
        assert min(np.hypot(x - a, y - b) for a, b in numbers) > map_parts.RADIUS + 7


def test_palette__letters_and_neighbours_can_be_told_apart():
    """Ink on every colour has the contrast that WCAG 2.2, success criterion 1.4.3, asks for: 4.5 to 1."""

    def luminance(colour):
        part = np.array(colours.rgb(colour)) / 255
        part = np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)
        return float(part @ (0.2126, 0.7152, 0.0722))

    ink = luminance(colours.INK)
    for shade in (*who_cut_views.LIGHT, who_cut_views.UNCUT):
        assert (luminance(shade) + 0.05) / (ink + 0.05) > 4.5
    assert len(set(who_cut_views.LIGHT)) == len(who_cut_views.LIGHT)


def ring(offset):
    """A seam round a circle of 15 mm in the middle of the blank, with an offset for each station."""
    angle = np.linspace(0, 2 * np.pi, len(offset), endpoint=False)
    normal = np.column_stack([np.cos(angle), np.sin(angle)])
    stations = normal * 15 + (40, 20)
    n = len(offset)
    none = np.zeros(n, np.int32)
    offset = np.asarray(offset, float)
    return Seam(stations, none, normal, offset, np.full(n, 0.01), np.full(n, 10.0), none, none, 3)


def draw_ring(tmp_path, seam):
    lattice = blank_lattice(80, 40, 0.5)
    x, y = np.meshgrid(lattice.x() - 40, lattice.y() - 20)
    return pixels(
        draw_seam(
            tmp_path / "a.png", seam=seam, limit=0.2, lattice=lattice, is_part=np.hypot(x, y) < 15, side=1,
            turn="none", blank=BLANK, title="seam", findings=[],
        )
    )  # fmt: skip


def test_seam__band_is_as_wide_as_the_step_enlarged(tmp_path):
    # The right half stands out by 0.5 mm on side 1, the left half by 0.3 mm on side 2.
    image = draw_ring(
        tmp_path, ring(np.where(np.cos(np.linspace(0, 2 * np.pi, 94, endpoint=False)) > 0, 0.5, -0.3))
    )
    left, top = corner_of(image)
    row = image[round(top + 20 / PITCH)]
    more = np.flatnonzero(is_colour(row, seam_view.FIRST_OUT[1])) - left
    some = np.flatnonzero(is_colour(row, seam_view.SECOND_OUT[0])) - left
    # 46 pixels are 2.395 mm of the map here, so 0.5 mm may be drawn twice as large and no more: 1, 2, 5, ...
    factor, unit = seam_view._scale(0.5, PITCH)
    assert (factor, unit) == (2.0, 0.5)
    assert more.min() * PITCH == pytest.approx(55, abs=0.15)  # outwards from the outline
    assert len(more) * PITCH == pytest.approx(0.5 * factor, abs=0.2)
    assert some.min() * PITCH == pytest.approx(25, abs=0.15)  # into the part from it
    assert len(some) * PITCH == pytest.approx(0.3 * factor, abs=0.2)


def test_seam__of_steps_too_small_to_be_seen_the_band_stays_outside(tmp_path):
    """Steps of 0.0002 mm to either side by turns: one band round the part, none into it."""
    image = draw_ring(tmp_path, ring(np.where(np.arange(94) % 3 == 1, -0.0002, 0.0002)))
    left, top = corner_of(image)
    y, x = np.nonzero(is_colour(image[top : top + 760, left : left + 1540], seam_view.WITHIN))
    away = np.hypot(x * PITCH - 40, BLANK.width - y * PITCH - 20)
    assert away.min() > 15 - 2 * PITCH
    assert len(np.unique(np.degrees(np.arctan2(y * PITCH - 20, x * PITCH - 40)).round())) > 350
    # A step that is drawn as large as it is keeps its side: 0.3 mm into the part.
    image = draw_ring(tmp_path, ring(np.where(np.arange(94) < 47, -0.3, 0.0002)))
    y, x = np.nonzero(is_colour(image[top : top + 760, left : left + 1540], seam_view.SECOND_OUT[0]))
    assert np.hypot(x * PITCH - 40, BLANK.width - y * PITCH - 20).max() < 15 + 2 * PITCH


def test_seam__no_band_over_a_gap(tmp_path):
    seam = ring(np.full(94, 0.01))
    kept = np.abs(seam.normal[:, 1]) > 0.5  # nothing is told at the left and the right
    part = Seam(*(getattr(seam, name)[kept] for name in list(seam.__dataclass_fields__)[:8]), seam.left_out)
    image = draw_ring(tmp_path, part)
    left, top = corner_of(image)
    assert not is_colour(image[round(top + 20 / PITCH), left : left + 1500], seam_view.WITHIN).any()
    column = image[top : top + 760, round(left + 40 / PITCH)]
    # Two bands; of each the outline's line covers a pixel, and an edge is no whole one.
    assert is_colour(column, seam_view.WITHIN).sum() >= 2 * (seam_view.FLOOR - 2)


def test_class_map__refuses_a_mask_of_another_shape(tmp_path):
    def paint(seen):
        picture = np.zeros((seen.down, seen.across, 3), np.uint8)
        return Painted(picture, picture[..., 0] > 0, [Sign("all")])

    lattice = Lattice((0.0, 0.0), 1.0, 80, 40)
    with pytest.raises(ShapeError, match=r"^is_part must have the shape \(40, 80\), not \(3, 3\)$"):
        draw_class_map(
            tmp_path / "a.png", paint, lattice=lattice, is_part=np.zeros((3, 3), bool), blank=BLANK, side=1,
            turn="none", title="t",
        )  # fmt: skip
