import subprocess
import sys
import warnings

import matplotlib
import numpy as np
import pytest
from PIL import Image

from simkit.errors import ShapeError
from simkit.frames import TURNS, turned
from simkit.job.model import Blank
from simkit.kinds import KINDS
from simkit.report import canvas, colours, labels, map_parts, plan_views
from simkit.report.seen_plan import SeenPlan
from simkit.stock.field import Lattice, blank_lattice

LIMITS = (0.1, 0.3)


def scene(cell=0.5, length=280.0, width=90.0):
    """A part with an elliptic outline in a frame, tabs, one gouge, leftover at both ends."""
    lattice = blank_lattice(length, width, cell)
    x, y = np.meshgrid(lattice.x() / length, lattice.y() / width)
    is_part = ((x - 0.5) / 0.45) ** 2 + ((y - 0.5) / 0.4) ** 2 < 1
    deviation = np.where(is_part, 0.02, np.nan)
    deviation[is_part & (x < 0.1)] = 1.0
    deviation[is_part & (x > 0.92)] = 0.5
    deviation[is_part & (np.hypot((x - 0.5) * 3, y - 0.4) < 0.1)] = -0.5
    frame = ((x < 0.03) | (x > 0.97) | (y < 0.06) | (y > 0.94)) & ~is_part
    ends = [(0.07 + 0.006 * i, 0.47 + 0.012 * (i % 4)) for i in range(6)]
    ends += [(0.935 - 0.006 * i, 0.47 + 0.012 * (i % 4)) for i in range(6)]
    findings = [
        {"number": i + 1, "kind": "leftover-cutter", "severity": ("beyond", "note")[i % 2], "value": 1.0}
        | {"at": (u * length, v * width, 10.0)}
        for i, (u, v) in enumerate(ends)
    ]
    return {
        "lattice": lattice,
        "deviation": deviation,
        "is_solid": is_part | frame,
        "holding": frame,
        "side": 1,
        "turn": "none",
        "blank": Blank(length, width, 38.0),
        "limits": LIMITS,
        "findings": findings,
        "title": "Dish",
        "subtitle": "Beyond the limits: 1.00 mm left standing at the left end.",
        "cell": cell,
    }


def pixels(path):
    return np.asarray(Image.open(path).convert("RGB"))


def is_colour(image, colour):
    return (image == np.array(colours.rgb(colour))).all(-1)


def test_colours__are_the_published_scheme():
    # Outside: matplotlib's own copy of ColorBrewer 2.0 PuOr, 11 classes; its table of 256 steps is
    # interpolated, hence two of 255.
    published = matplotlib.colormaps["PuOr"](np.linspace(0, 1, 11))[:, :3] * 255
    assert np.abs(published - [colours.rgb(colour) for colour in colours.PUOR_11]).max() <= 2


def test_class_index__by_hand():
    deviation = np.array(
        [-np.inf, -0.81, -0.8, -0.41, -0.21, -0.11, -0.1, 0, 0.3, 0.31, 0.61, 1.21, 2.4, 2.41, np.inf, np.nan]
    )
    expected = [0, 0, 1, 1, 2, 3, 4, 4, 4, 5, 6, 7, 7, 8, 8, -1]
    assert colours.class_index(deviation, LIMITS).tolist() == expected
    assert colours.class_index(np.array([-1e-9, 0, 1e-9]), (0.0, 0.0)).tolist() == [3, 4, 5]


def test_worse__takes_the_further_and_of_equals_the_deeper():
    first = np.array([-1, 4, 5, 3, 5, 8], np.int8)
    second = np.array([4, 5, 3, 5, 6, -1], np.int8)
    assert colours.worse(first, second).tolist() == [4, 5, 3, 3, 6, 8]


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize(("cell", "pitch"), [(0.7, 1.0), (1.0, 0.37), (0.9, 3.1)])
def test_highest__every_cell_a_pixel_touches(turn, cell, pitch):
    rng = np.random.default_rng(1)
    lattice = Lattice((1.3, -2.2), cell, 19, 13)
    blank = Blank(16.0, 9.0, 5.0)
    across, down = round(16 / pitch), round(9 / pitch)
    values = (rng.integers(0, 5, lattice.shape) * (rng.random(lattice.shape) < 0.2)).astype(np.int8)
    got = SeenPlan(lattice, blank, turn, pitch, across, down).highest(values)

    to_seen = turned(turn, blank.length, blank.width, blank.thickness).inverse()
    expected = np.zeros((down, across), np.int8)
    for iy, ix in np.argwhere(values > 0):
        corners = np.array(
            [[lattice.origin[0] + (ix + i) * cell, lattice.origin[1] + (iy + i) * cell, 0] for i in (0, 1)]
        )
        (x0, y0), (x1, y1) = np.sort(to_seen.apply(corners)[:, :2], 0)
        for row in range(down):
            for column in range(across):
                low_x, low_y = column * pitch, (down - 1 - row) * pitch
                overlaps = min(x1, low_x + pitch) - max(x0, low_x) > 1e-6
                if overlaps and min(y1, low_y + pitch) - max(y0, low_y) > 1e-6:
                    expected[row, column] = max(expected[row, column], values[iy, ix])
    assert np.array_equal(got, expected)


@pytest.mark.parametrize("turn", TURNS)
def test_pixel__as_the_operator_sees_it(turn):
    blank = Blank(280.0, 90.0, 38.0)
    seen = SeenPlan(blank_lattice(280, 90, 1), blank, turn, 0.5, 560, 180)
    table = turned(turn, 280.0, 90.0, 38.0).inverse().apply(np.array([30.0, 20.0, 38.0]))
    assert seen.pixel(30.0, 20.0) == pytest.approx((table[0] / 0.5, 180 - table[1] / 0.5))


def test_widened__thin_becomes_three_pixels_wide_and_broad_stays():
    fold = np.zeros((20, 20), np.int8)
    fold[3, 3] = 2
    fold[10:15, 10:15] = 3
    wide = map_parts.widened(fold)
    assert (wide == 2).sum() == 9
    assert np.array_equal(wide == 3, fold == 3)


def test_draw__turned_over_blank_is_mirrored(tmp_path):
    centroid = {}
    for turn in TURNS:
        drawn = scene(cell=1.0) | {"turn": turn, "findings": [], "holding": None}
        drawn["deviation"] = np.full(drawn["lattice"].shape, 0.0)
        drawn["deviation"][10:16, 30:40] = 9.0
        drawn["is_solid"] = np.ones(drawn["lattice"].shape, bool)
        image = pixels(plan_views.draw_plan_view(tmp_path / "a.png", **drawn))
        spot = is_colour(image[: image.shape[0] * 3 // 4], colours.CLASSES[8])
        centroid[turn] = np.argwhere(spot).mean(0)
    per_mm = (plan_views.WIDTH - plan_views.LEFT_ROOM - plan_views.SIDE_ROOM) / 280
    row, column = centroid["none"]
    # the spot's centre is (35, 13) mm, so mirrored it moves by 280 - 70 and by 90 - 26 mm
    assert centroid["about y"] == pytest.approx((row, column + 210 * per_mm), abs=1.0)
    assert centroid["about x"] == pytest.approx((row - 64 * per_mm, column), abs=1.0)


def test_draw__one_small_cell_of_leftover_is_seen(tmp_path):
    drawn = scene(cell=0.1) | {"findings": []}
    drawn["deviation"] = np.where(np.isnan(drawn["deviation"]), np.nan, 0.0)
    drawn["deviation"][450, 1400] = 5.0
    image = pixels(plan_views.draw_plan_view(tmp_path / "a.png", **drawn))
    assert is_colour(image[: image.shape[0] * 3 // 4], colours.CLASSES[8]).sum() >= 9


def test_draw__what_is_too_deep_is_hatched_and_what_stands_is_not(tmp_path):
    image = pixels(plan_views.draw_plan_view(tmp_path / "a.png", **scene() | {"findings": []}))
    part = image[: image.shape[0] * 3 // 4]
    line = is_colour(part, colours.STRIPES[1]).sum()
    area = line + is_colour(part, colours.CLASSES[1]).sum()
    assert 0.2 < line / area < 0.3  # two pixels of eight
    assert is_colour(part, colours.CLASSES[6]).sum() > 1000


def test_hatch__shows_in_a_grey_print_on_every_class():
    """Luma of ITU-R BT.601, from memory: what a print in grey makes of a colour."""

    def luma(names):
        return np.array([np.dot((0.299, 0.587, 0.114), colours.rgb(name)) for name in names])

    classes, stripes = luma(colours.CLASSES[: colours.WITHIN]), luma(colours.STRIPES)
    assert (np.abs(stripes - classes) > 35).all()
    # Lines cover two pixels of eight: seen from farther off the deeper is the darker.
    assert (np.diff(0.75 * classes + 0.25 * stripes) > 15).all()


def test_draw__size_bytes_and_metadata(tmp_path):
    paths = [plan_views.draw_plan_view(tmp_path / name, **scene(0.2)) for name in ("a.png", "b.png")]
    first, second = ((tmp_path / name).read_bytes() for name in ("a.png", "b.png"))
    assert paths[0] == str(tmp_path / "a.png")
    assert first == second
    assert len(first) < 600_000
    with Image.open(paths[0]) as image:
        assert image.width == 1800
        assert set(image.info) <= {"dpi"}


@pytest.mark.parametrize(("length", "width"), [(280, 90), (1000, 50), (90, 280)])
def test_draw__texts_lie_on_the_page_and_apart(length, width, tmp_path, monkeypatch):
    pages = []
    save = canvas.Page.save
    monkeypatch.setattr(canvas.Page, "save", lambda page, path: (pages.append(page), save(page, path))[1])
    drawn = scene(max(length, width) / 150, length, width) | {
        "title": "A long title " * 20,
        "subtitle": "A verdict, " * 50,
    }
    plan_views.draw_plan_view(tmp_path / "a.png", **drawn)
    page = pages[0]
    renderer = page.figure.canvas.get_renderer()
    texts = {text: text.get_window_extent(renderer) for text in page.axes.texts}
    words = [text.get_text() for text in texts]
    for word in ("left", "right", "front", "back", "cut too deep", "within limits", "left standing", "mm"):
        assert words.count(word) == 1
    extents = list(texts.items())
    for i, (text, box) in enumerate(extents):
        assert box.x0 >= 0, text
        assert box.y0 >= 0, text
        assert box.x1 <= page.width, text
        assert box.y1 <= page.height, text
        for other, its in extents[i + 1 :]:
            across = min(box.x1, its.x1) - max(box.x0, its.x0)
            # The boxes of two lines of one paragraph may touch; letters do not.
            assert across <= 0 or min(box.y1, its.y1) - max(box.y0, its.y0) <= 3, (text, other)


@pytest.mark.parametrize("seed", range(6))
def test_place_labels__apart_and_leaders_uncrossed(seed):
    rng = np.random.default_rng(seed)
    points = np.concatenate([rng.normal((100, 250), 14, (6, 2)), rng.normal((1500, 250), 14, (6, 2))])
    centres = labels.place_labels(points, (0, 0, 1600, 500), 17.0)
    assert np.array_equal(centres, labels.place_labels(points, (0, 0, 1600, 500), 17.0))
    assert ((centres >= 17) & (centres <= (1583, 483))).all()
    for i in range(12):
        assert np.hypot(*(points - centres[i]).T).min() >= 17 + labels.MARK
        for j in range(i):
            assert np.hypot(*(centres[i] - centres[j])) >= 2 * 17 + 5
            # two leaders cross where both straight lines, solved for, meet inside both
            sides = np.stack([centres[i] - points[i], points[j] - centres[j]], 1)
            if abs(np.linalg.det(sides)) > 1e-6:
                share = np.linalg.solve(sides, points[j] - points[i])
                assert not ((share > 0) & (share < 1)).all(), (i, j)


def test_place_labels__keep_off_other_places():
    points = np.array([[400.0, 250.0]])
    (plain,) = labels.place_labels(points, (0, 0, 800, 500), 17.0)
    (moved,) = labels.place_labels(points, (0, 0, 800, 500), 17.0, kept=[plain])
    assert np.hypot(*(moved - plain)) >= 17 + labels.MARK


def test_draw__odd_titles_and_findings_without_a_place(tmp_path):
    odd = {"number": 1, "kind": "program", "severity": "note", "at": None, "value": None}
    drawn = scene(2.0) | {"title": "$x^2 \U0001fab5\n\\frac", "subtitle": "", "findings": [odd]}
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        plan_views.draw_plan_view(tmp_path / "a.png", **drawn)
    assert (tmp_path / "a.png").stat().st_size > 10_000


def test_draw__wrong_shape_and_turn(tmp_path):
    with pytest.raises(ShapeError, match=r"^holding must have the shape \(45, 140\), not \(3, 3\)$"):
        plan_views.draw_plan_view(tmp_path / "a.png", **scene(2.0) | {"holding": np.zeros((3, 3), bool)})
    with pytest.raises(ValueError, match="turn must be one of"):
        plan_views.draw_plan_view(tmp_path / "a.png", **scene(2.0) | {"turn": "about z"})
    assert not (tmp_path / "a.png").exists()


def test_import__leaves_nothing_global():
    code = "import sys, simkit.report.plan_views; print('matplotlib.pyplot' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"


def test_draw__only_listed_findings_carry_a_number(tmp_path, monkeypatch):
    made = scene()
    one = made["findings"][0]
    made["findings"] = [one | {"number": i, "at": (20.0 + 10 * i, 40.0, 10.0)} for i in range(1, 25)]
    drawn = []
    monkeypatch.setattr(canvas.Page, "number", lambda self, x, y, number, *_: drawn.append(number))
    plan_views.draw_plan_view(tmp_path / "plan.png", **made)
    numbers = sorted(number for number in drawn if number is not None)  # None: a sign in the key
    assert numbers == sorted([*range(1, plan_views.MOST_LISTED + 1)] * 2)  # on the map, in the list


def test_words__a_ratio_has_no_unit():
    words = map_parts.finding_words({"kind": "fragile", "value": 17.04, "unit": "", "at": (1, 2, 3)})
    assert words == "17.0 times as tall as thick: fragile"
    assert map_parts.finding_words({"kind": "gouge", "value": 0.5, "at": (1, 2, 3)}) == "0.50 mm cut too deep"
    row = {"kind": "gouge", "value": 0.09, "bound": 0.05, "at": (1, 2, 3), "severity": "undecided"}
    assert map_parts.finding_words(row) == "0.09 ±0.05 mm cut too deep, undecided"
    row |= {"kind": "leftover-program", "value": 0.1, "bound": 0.2}
    assert map_parts.finding_words(row) == "0 to 0.30 mm left standing, undecided"


def test_words__fit_their_column():
    room = (plan_views.WIDTH - 2 * plan_views.MARGIN) / 3 - 66
    assert set(map_parts.KIND_WORDS) == set(KINDS)
    for kind in KINDS:
        unit = "" if kind == "fragile" else "mm"
        words = map_parts.finding_words({"kind": kind, "value": 12.23, "unit": unit, "at": (1, 2, 3)})
        assert canvas.shortened(words, plan_views.SMALL, room) == words


@pytest.mark.parametrize("inner", [980.0, 1450.0, 1712.0])
@pytest.mark.parametrize("count", [1, 5, 30])
def test_list__no_words_are_cut_off(inner, count, monkeypatch):
    """The longest words there are: what is undecided stands with its bound."""
    row = {"kind": "unsafe-height", "value": 12.23, "bound": 0.05, "severity": "undecided", "unit": "mm"}
    rows = [row | {"number": k, "at": (1, 2, 3)} for k in range(count)]
    columns = map_parts.columns_of(rows, inner)
    assert columns == (2 if inner > 1400 else 1)
    shortest = [{"kind": "setup", "number": 1, "at": (1, 2, 3)}]
    assert map_parts.columns_of(shortest, inner) == (3 if inner > 1500 else 2)
    told = []
    monkeypatch.setattr(canvas.Page, "text", lambda page, x, y, words, *_, **__: told.append(words))
    map_parts.draw_list(canvas.Page(inner + 88, 2000), rows, 20, columns, inner)
    assert len(told) == min(count, map_parts.MOST_LISTED) + (count > map_parts.MOST_LISTED)
    assert not [words for words in told if words.endswith("…") or words.endswith("...")]
    assert told[0] == map_parts.finding_words(rows[0])


@pytest.mark.parametrize(("turn", "gaps"), [("none", (15, 45)), ("about x", (45, 15))])
def test_plan__glue_lines_are_dotted_where_they_run(tmp_path, turn, gaps):
    """At y = 15, 30 and 75 mm: gaps of 15 and 45 mm from the front, the other way round turned about x."""
    plain = scene() | {"turn": turn, "findings": []}
    without, drawn = (
        pixels(plan_views.draw_plan_view(tmp_path / f"{len(glue)}.png", **plain, glue=glue))
        for glue in ([], [np.array([[0, y], [280, y]]) for y in (15.0, 30.0, 75.0)])
    )
    height = min(len(without), len(drawn))
    differs = (without[:height] != drawn[:height]).any(-1)
    wide = plan_views.WIDTH - plan_views.LEFT_ROOM - plan_views.SIDE_ROOM  # pixels for 280 mm
    rows = np.flatnonzero(differs.sum(axis=1) > 0.1 * wide)
    middles = [group.mean() for group in np.split(rows, np.flatnonzero(np.diff(rows) > 4) + 1)]
    assert len(middles) == 3
    assert -np.diff(middles[::-1]) == pytest.approx(np.array(gaps) * wide / 280, abs=1.5)
    assert differs[rows].any(axis=0).sum() < 0.7 * wide  # dots, no whole line
    assert differs[rows.max() + 40 :].any()  # and in the legend
