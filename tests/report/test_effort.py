"""Time, bite and advice on the terminal, and the plot along a program."""

import json
from itertools import combinations

import numpy as np
import pytest
from PIL import Image

from simkit.cli import main
from simkit.report import colours, effort_views
from simkit.report.effort_views import CUTTER_COLOURS, CUTTER_MARKS, draw_along
from simkit.report.lengths import Lengths, measured
from tests.small_job import JOB

PLAIN = JOB.replace('[target]\nmesh = "part.stl"\nunits = "mm"\n', "spoilboard = 3\n").replace(
    "diameter = 6", "diameter = 6\nflutes = 2"
)
PROGRAM = "G21 G90 G17\nT1 M6\nS18000 M3\nG0 X8 Y8 Z100\nG1 Z9 F100\nX30 F2400\nG0 Z100\nM30\n"


def test_console__time_bite_and_what_could_be_faster(tmp_path, capsys):
    (tmp_path / "top.nc").write_text(PROGRAM, encoding="utf-8")
    (tmp_path / "job.toml").write_text(PLAIN, encoding="utf-8")
    assert main(["check", str(tmp_path / "job.toml"), "--json", str(tmp_path / "r.json")]) == 0
    out = " ".join(capsys.readouterr().out.split())
    result = json.loads((tmp_path / "r.json").read_text("utf-8"))
    (saved,) = [row["minutes"] for row in result["faster"]]
    assert "Could be faster (minutes saved, each alone, estimates):" in out
    assert f"{saved:.1f} min setup 'top': rapids at Z100; Z14 clears the wood by 2 mm" in out
    row = result["time"]["programs"][0]["cutters"][0]
    assert f"Time: about {result['time']['minutes']:.0f} min in all" in out
    # Of 91 mm down at 100 mm/min the last 3 are in wood.
    assert row["in_wood"] + row["air"] == pytest.approx(row["cutting"])
    assert row["air"] == pytest.approx(88 / 100, rel=0.02)
    assert (
        f"top.nc T1 {row['minutes']:.1f} {row['in_wood']:.1f} {row['air']:.1f} {row['rapids']:.1f} 1.1 0 %"
        f" (+{row['lost']:.1f} min)" in out
    )
    assert "assumed, common practice, no source: axes at most 8000, 8000, 4000 mm/min" in out
    bite = result["bite"]["rows"][0]
    assert f"top T1 6 mm flat 3.00 {bite['width']:.2f} ±" in out
    assert "0.067 0.048-0.150* " in out
    assert "* hard wood, common practice, no source; not judged unless chip_load states it" in out
    # The advice stands above the tables, these above the verdict.
    places = [out.rindex(words) for words in ("Could be faster", "Time: about", "Bite (mm", "Within limits")]
    assert places == sorted(places)


def test_console__what_to_put_right_stands_above_all_tables(tmp_path, capsys):
    (tmp_path / "top.nc").write_text(PROGRAM.replace("Z9", "Z-5"), encoding="utf-8")
    (tmp_path / "job.toml").write_text(PLAIN, encoding="utf-8")
    assert main(["check", str(tmp_path / "job.toml"), "--cell", "0.5"]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("Beyond limits: ")
    first = {
        words: next(n for n, line in enumerate(lines) if words in line)
        for words in (
            "table-contact",
            "Check Z and the zero",
            "blank 40 x 30",
            "Could be faster",
            "Time: about",
        )
    }
    assert list(first.values()) == sorted(first.values())
    assert first["table-contact"] < 5  # behind the verdict, an empty line and the heads of the columns
    assert [n for n, line in enumerate(lines) if line.startswith("Beyond limits: ")][-1] > first[
        "Time: about"
    ]


@pytest.mark.parametrize(
    ("value", "bound", "unit", "text"),
    [
        (18000.0, None, "rev/min", "18000 rev/min"),
        (2400 / 36000, None, "mm a tooth", "0.0667 mm a tooth"),
        (2.345, 0.011, "mm", "2.35 ±0.02 mm"),
        (2.345, None, "mm", "2.35 mm"),
        (0.61, 0.88, "mm", "0 to 1.49 mm"),
    ],
)
def test_measured__what_a_program_states_stands_as_it_is(value, bound, unit, text):
    assert measured({"value": value, "bound": bound, "unit": unit}, Lengths()) == text


@pytest.mark.parametrize(
    ("value", "limit", "text"),
    [
        (0.104, 0.1, "0.104 ±0.016 mm"),  # not "0.10", which the limit is
        (0.10004, 0.1, "0.1000 ±0.0151 mm"),
        (0.1, 0.1, "0.10 ±0.02 mm"),
        (0.116, 0.1, "0.12 ±0.02 mm"),
    ],
)
def test_measured__does_not_read_as_the_limit_that_it_passes(value, limit, text):
    assert measured({"value": value, "bound": 0.01504, "unit": "mm", "limit": limit}, Lengths()) == text


def along(count=200):
    minutes = np.linspace(0.1, 10, count)
    return {
        "program": "a.nc",
        "minutes": minutes.tolist(),
        "removal": (1e4 + 1e3 * np.sin(minutes)).tolist(),
        "per_tooth": [0.06] * count,
        "thickest_chip": [0.03] * (count - 1) + [None],
        "feed": [2400.0] * count,
        "cutter": [1] * (count // 2) + [2] * (count - count // 2),
        "line": list(range(count)),
    }


def test_plot__cutters_in_the_colours_of_the_palette(tmp_path):
    path = draw_along(tmp_path / "a.png", along(), "a", "b")
    pixels = np.asarray(Image.open(path).convert("RGB")).reshape(-1, 3)
    for colour in CUTTER_COLOURS[:2]:
        assert (pixels == colours.rgb(colour)).all(axis=1).sum() > 1000
    for colour in CUTTER_COLOURS[2:]:
        assert not (pixels == colours.rgb(colour)).all(axis=1).any()
    again = draw_along(tmp_path / "b.png", along(), "a", "b")
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()
    assert again == str(tmp_path / "b.png")


def test_plot__cutters_are_told_apart_in_grey_too(tmp_path):
    """By lightness (Rec. 709 luma), and by the marks of the strip over each stretch."""
    luma = [np.dot(colours.rgb(colour), (0.2126, 0.7152, 0.0722)) for colour in CUTTER_COLOURS]
    assert np.diff(sorted(luma)).min() > 20
    assert len(set(CUTTER_MARKS)) == len(CUTTER_MARKS) >= 2 * len(CUTTER_COLOURS)
    made = along() | {"cutter": [1] * 50 + [2] * 50 + [3] * 50 + [4] * 50}
    path = draw_along(tmp_path / "a.png", made, "a", "b")
    grey = np.asarray(Image.open(path).convert("L")).astype(float)
    high, wide = grey.shape
    top = 1 - (0.69 + 0.215)  # the strip stands over the first plot
    strip = grey[int((top - 0.215 * 0.06) * high) : int((top - 0.215 * 0.01) * high)]
    parts = [strip[:, int((0.18 + 0.79 * at) * wide) :][:, :180] for at in (0.03, 0.28, 0.53, 0.77)]
    assert parts[0].std() < 2
    assert min(one.std() for one in parts[1:]) > 15
    for one, other in combinations(parts, 2):
        assert np.abs(one - other).mean() > 15


def test_plot__numbers_of_cutters_run_neither_into_one_another_nor_into_the_title(tmp_path):
    """A drill for a moment, then two cutters: the numbers stand in one row, apart, below an empty one."""
    made = along() | {"cutter": [4] * 2 + [1] * 2 + [2] * 196}
    is_ink = np.asarray(Image.open(draw_along(tmp_path / "a.png", made, "a", "b")).convert("L")) < 128
    is_row = is_ink[: int((1 - 0.69 - 0.215) * len(is_ink)) - 25].any(axis=1)  # above the strip
    starts = np.flatnonzero(np.diff(is_row.astype(int), prepend=0) == 1)
    assert len(starts) == 2  # the title, and one row of numbers
    letters = is_ink[starts[1] : starts[1] + 20].any(axis=0)
    empty = np.diff(np.flatnonzero(letters))
    assert (empty > 9).sum() == 2  # between three numbers


def test_plot__cutters_have_no_colour_that_means_left_or_too_deep():
    assert not set(CUTTER_COLOURS) & {*colours.PUOR_11}


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_plot__words_at_the_axes_are_whole_and_clear_of_its_figures(tmp_path, unit):
    path = draw_along(tmp_path / "a.png", along(), "", "", Lengths(unit))
    is_ink = np.asarray(Image.open(path).convert("L")) < 128
    assert not is_ink[120:, :10].any()
    # Words, then more than 12 empty columns, then figures: beside the middle of each of the three plots.
    high, axis = len(is_ink), int(np.argmax(is_ink[120:].mean(axis=0) > 0.5))
    for row in range(3):
        middle = 1 - (0.69 - 0.265 * row) - 0.215 / 2
        part = is_ink[int((middle - 0.07) * high) : int((middle + 0.07) * high), : axis - 12]
        columns = np.flatnonzero(part.any(axis=0))
        assert np.diff(columns).max() > 12


@pytest.mark.parametrize("count", [0, 1])
def test_plot__next_to_nothing(tmp_path, count):
    made = {key: value[:count] for key, value in along().items()} | {"program": "a.nc"}
    draw_along(tmp_path / "a.png", made, "a", "")
    assert (tmp_path / "a.png").stat().st_size > 5000


def test_plot__says_why_there_are_no_chips(tmp_path):
    made = along()
    without = made | {"per_tooth": [None] * len(made["cutter"])}
    known, words = effort_views._known(without)
    assert (known, words.split(":")[0]) == (
        set(),
        ", ".join(f"T{one}" for one in sorted(set(made["cutter"]))),
    )
    assert "flutes" in words
    assert effort_views._known(made)[1] == ""
    draw_along(tmp_path / "a.png", made, "a", "b")
    draw_along(tmp_path / "b.png", without, "a", "b")
    # What is told stands in the middle of the row that would be empty.
    picture = np.asarray(Image.open(tmp_path / "b.png").convert("L"))
    high, wide = picture.shape
    empty = picture[int(0.38 * high) : int(0.55 * high), int(0.2 * wide) : int(0.95 * wide)]
    assert (empty < 90).sum() > 300


def test_along__tells_which_way_each_pass_cuts(tmp_path):
    # A slot towards +x, then beside it a pass with its wood on the left (+y) and one with it on the right:
    # the spindle turns clockwise from above, so the wood on the right is climbed.
    passes = [f"G0 X10 Y{y} Z20\nG1 Z10 F600\nX30 F1200\nG0 Z20\n" for y in (15, 17, 12)]
    text = "G21 G90 G17\nT1 M6\nS18000 M3\n" + "".join(passes) + "M30\n"
    (tmp_path / "top.nc").write_text(text, encoding="utf-8")
    (tmp_path / "job.toml").write_text(PLAIN, encoding="utf-8")
    main(["check", str(tmp_path / "job.toml"), "--quiet", "--json", str(tmp_path / "r.json")])
    told = json.loads((tmp_path / "r.json").read_text("utf-8"))["along"][0]
    of_line = {}
    for line, way in zip(told["line"], told["climb"], strict=True):
        of_line.setdefault(line, set()).add(way)
    assert [of_line[line] for line in (6, 10, 14)] == [{0}, {-1}, {1}]
