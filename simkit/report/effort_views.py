"""Plot along a program: wood taken, chip, feed, against the minutes it has run."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from simkit.report import colours
from simkit.report.canvas import (
    BASE_DPI,
    BODY,
    SMALL,
    TITLE,
    font,
    line_height,
    png_of,
    shortened,
    text_width,
    tidy,
    wrapped,
)
from simkit.report.lengths import MM, Lengths
from simkit.report.whole_file import put_whole
from simkit.units import MM_PER_INCH

# Of ColorBrewer's BrBG, eleven classes, each of another lightness; the purple and the orange of PuOr mean
# left standing and cut too deep in every picture.  Each stretch also bears the number of its cutter and a
# strip with the cutter's own marks, which tell it in a grey print.
CUTTER_COLOURS = ("#35978f", "#dfc27d", "#8c510a", "#003c30")
CUTTER_MARKS = ("", "////", "....", "||||", "xxxx", "----", "++++", "oooo")
SIZE = (10.6, 7.0)  # inches
STRIP = 0.07  # of a plot's height: what a strip over it takes
WIDE = 0.79  # of the figure: what a plot takes
POINTS = 72.0  # an inch
GAP = 5.0  # points between two numbers of cutters


def plots(lengths: Lengths) -> tuple[tuple[str, str, float], ...]:
    """Return key, words and factor of each plot."""
    unit = 1 / MM_PER_INCH if lengths.is_inch else 1.0
    volume = unit**3 if lengths.is_inch else 1e-3
    return (
        ("removal", f"wood taken\n{lengths.volume_name} a minute", volume),
        ("per_tooth", f"thickest chip;\ndots over it:\nfeed a tooth;\n{lengths.word}", unit),
        ("feed", f"feed reached\n{lengths.word} a minute", unit),
    )


def draw_along(path: Path, along: dict[str, Any], title: str, note: str, lengths: Lengths = MM) -> str:
    """Draw one program of the result's `along` as a PNG at `path` and return the path.

    along: minutes and what goes with them, as report.effort_tables gives them.  title; note: told below.
    lengths: how they are written.
    Accuracy: of some 2000 stretches at most the one that takes most a minute in its time.
    """
    figure = Figure(figsize=SIZE, dpi=BASE_DPI, facecolor="white")
    FigureCanvasAgg(figure)
    wide = 0.94 * SIZE[0] * BASE_DPI / 1.1  # bold is wider
    title = tidy(title)
    size = TITLE if shortened(title, TITLE, wide) == title else BODY  # or its end would be lost
    words = shortened(title, size, wide)
    figure.text(0.03, 0.955, words, fontproperties=font(size, True), color=colours.INK)
    known, unknown = _known(along)
    if unknown and known:
        note = f"{note}; {unknown}"
    lines = wrapped(tidy(lengths.text(note)), SMALL, 0.94 * SIZE[0] * BASE_DPI)
    for up, line in enumerate(reversed(lines)):
        y = 0.015 + up * line_height(SMALL) / (SIZE[1] * BASE_DPI)
        figure.text(0.03, y, line, fontproperties=font(SMALL), color=colours.QUIET_INK)
    minutes, cutters = along["minutes"], along["cutter"]
    runs = _runs(cutters)
    numbers = sorted(set(cutters))
    rows = plots(lengths)
    for row, (key, words, scale) in enumerate(rows):
        sharp = {"linewidth": 0.8, "antialiased": False}
        axes = figure.add_axes((0.18, 0.69 - 0.265 * row, WIDE, 0.215))
        until_label = 0.0  # points from the left end of the plot
        points = WIDE * SIZE[0] * POINTS / (max(minutes, default=0.0) * 1.01 or 1.0)  # a minute's
        for first, last in runs:
            number = numbers.index(cutters[first])
            colour = CUTTER_COLOURS[number % len(CUTTER_COLOURS)]
            values = [_scaled(value, scale) for value in along[key][first:last]]
            if key == "per_tooth":
                at, dots = minutes[first:last], [value or np.nan for value in values]
                axes.scatter(at, dots, s=1.5, color=colours.INK, zorder=3)
                values = [_scaled(value, scale) for value in along["thickest_chip"][first:last]]
            axes.vlines(minutes[first:last], 0, values, color=colour, **sharp)
            until = minutes[last] if last < len(minutes) else minutes[-1]
            _strip(axes, minutes[first], until, colour, CUTTER_MARKS[number % len(CUTTER_MARKS)])
            if first > 0:
                axes.axvline(minutes[first], color=colours.QUIET_INK, linewidth=0.6, linestyle=":")
            if row == 0:
                # Side by side where stretches are short: one above the other would run into the title.
                label = f"T{cutters[first]}"
                left = max(minutes[first] * points + 2, until_label)
                until_label = left + text_width(label, SMALL) * POINTS / BASE_DPI + GAP
                axes.annotate(
                    label,
                    (0.0, 1.0),
                    xycoords="axes fraction",
                    xytext=(left, 10),
                    textcoords="offset points",
                    fontproperties=font(SMALL),
                    color=colours.INK,
                )
        if key == "per_tooth" and unknown and not known:
            at = {"transform": axes.transAxes, "ha": "center", "va": "center"}
            axes.text(0.5, 0.5, unknown, fontproperties=font(SMALL), color=colours.INK, **at)
        axes.set_xlim(0, max(minutes, default=0.0) * 1.01 or 1.0)
        axes.set_ylim(bottom=0)
        # Clear of the figures of the axis.
        axes.set_ylabel(words, fontproperties=font(SMALL), rotation=0, ha="right", va="center", labelpad=10)
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        for label in (*axes.get_xticklabels(), *axes.get_yticklabels()):
            label.set_fontproperties(font(SMALL))
        if row == len(rows) - 1:
            axes.set_xlabel("minutes of moves", fontproperties=font(BODY))
    put_whole(path, png_of(figure, BASE_DPI))
    return str(path)


def _strip(axes, first: float, last: float, colour: str, marks: str) -> None:
    """Draw what a stretch of minutes is cut with as a strip over a plot, in a colour and with marks on it."""
    is_dark = sum(colours.rgb(colour)) < 330
    strip = Rectangle(
        (first, 1.0), max(last - first, 0.0), STRIP, transform=axes.get_xaxis_transform(), clip_on=False,
        facecolor=colour, edgecolor="white" if is_dark else colours.INK, hatch=marks, linewidth=0.0,
    )  # fmt: skip
    axes.add_patch(strip)


def _known(along: dict[str, Any]) -> tuple[set[int], str]:
    """Return the cutters whose chips are known, and of which none is, and why; "" for none."""
    cutters, chips = along["cutter"], along["per_tooth"]
    known = {cutter for cutter, chip in zip(cutters, chips, strict=True) if chip is not None and chip == chip}
    names = ", ".join(f"T{cutter}" for cutter in sorted(set(cutters) - known))
    words = "no chip is told, for flutes or a spindle speed are not stated (flutes; S with M3)"
    return known, f"{names}: {words}" if names else ""


def _scaled(value: float | None, scale: float) -> float:
    return 0.0 if value is None or value != value else value * scale


def _runs(cutters: list[int]) -> list[tuple[int, int]]:
    """Return the spans [first, last) of one cutter after the other."""
    starts = [k for k in range(len(cutters)) if k == 0 or cutters[k] != cutters[k - 1]]
    return [(first, last) for first, last in pairwise([*starts, len(cutters)])]
