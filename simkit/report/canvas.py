"""A page laid out in pixels, with the wording and the keys that all pictures share (matplotlib).

Nothing here is global: a figure with its own Agg canvas, one named font, no pyplot.  Positions are in
pixels of a picture at 150 dots per inch, x right, y down; another dpi scales the whole page.
"""

from __future__ import annotations

import bisect
import functools
import io
import os
import warnings

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Rectangle
from PIL import Image

from simkit.report import colours
from simkit.report.lengths import MM, Lengths
from simkit.report.whole_file import put_whole

BASE_DPI = 150
MARGIN = 44.0
TITLE, BODY, SMALL = 15.0, 11.0, 9.5  # points
SQUEEZE = 6  # of a PNG: level 9 takes several times as long, for a twentieth less


@functools.cache
def font(size: float, is_bold: bool = False) -> FontProperties:
    """Return the one font of all pictures (it comes with matplotlib); size in points."""
    return FontProperties(family="DejaVu Sans", size=size, weight="bold" if is_bold else "normal")


@functools.cache
def _measure():
    return RendererAgg(8, 8, BASE_DPI)


@functools.lru_cache(4096)  # maps of one check share most of their words
def text_width(text: str, size: float, is_bold: bool = False) -> float:
    """Return how wide a line of text is, pixels; size in points."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a name may hold a letter the font lacks: a box is drawn
        return _measure().get_text_width_height_descent(text, font(size, is_bold), False)[0]


def line_height(size: float) -> float:
    """Return the distance between lines of text, pixels; size in points."""
    return size * BASE_DPI / 72 * 1.32


def tidy(text: str) -> str:
    """Return the text on one line, without characters that cannot be drawn."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def shortened(text: str, size: float, width: float) -> str:
    """Return the text, cut at the end with an ellipsis when it is wider than `width` pixels."""
    if text_width(text, size) <= width:
        return text
    # a longer beginning is never narrower, so the last that fits is found by halving
    fits = bisect.bisect_right(range(len(text)), width, key=lambda n: text_width(text[:n] + "…", size)) - 1
    return text[: max(fits, 0)].rstrip() + "…"


def wrapped(text: str, size: float, width: float, is_bold: bool = False, most: int = 4) -> list[str]:
    """Return the text in lines no wider than `width` pixels, at most `most` of them."""
    lines = [""]
    for word in tidy(text).split(" "):
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and text_width(longer, size, is_bold) > width:
            lines.append(word)
        else:
            lines[-1] = longer
    if len(lines) > most:
        lines = [*lines[: most - 1], " ".join(lines[most - 1 :])]
    # Bold letters are wider, hence the slack.
    return [shortened(line, size, width * (0.88 if is_bold else 1.0)) if line else "" for line in lines]


class Page:
    """A white page of width x height pixels to draw on.  lengths: how they are written on it."""

    def __init__(self, width: float, height: float, dpi: float = BASE_DPI, lengths: Lengths = MM):
        self.lengths = lengths
        self.width, self.height = round(width), round(height)
        self.dpi = dpi
        self.figure = Figure(figsize=(self.width / BASE_DPI, self.height / BASE_DPI), facecolor="white")
        FigureCanvasAgg(self.figure)
        self.axes = self.figure.add_axes((0, 0, 1, 1))
        self.axes.set(xlim=(0, self.width), ylim=(self.height, 0))
        self.axes.set_axis_off()

    def text(
        self, x, y, text, size=BODY, colour=colours.INK, bold=False, across="left", up="baseline", turn=0
    ):
        """Write a line of text; `across` and `up` say which point of it lies at (x, y)."""
        self.axes.text(
            x, y, text, fontproperties=font(size, bold), color=colour, ha=across, va=up, rotation=turn,
            rotation_mode="anchor" if turn else "default", parse_math=False, zorder=6,
        )  # fmt: skip

    def line(self, xs, ys, colour=colours.INK, width=1.0, zorder=4.0, dashes=None):
        """Draw a line through pixels; width in pixels."""
        line = Line2D(xs, ys, color=colour, linewidth=width * 72 / BASE_DPI, zorder=zorder)
        line.set_solid_capstyle("butt")
        if dashes:
            line.set_dashes(dashes)
        self.axes.add_artist(line)  # add_line would work out how far the page reaches, which is known

    def lines(self, ends, colour=colours.INK, width=1.0, zorder=4.0):
        """Draw many lines at once: ends (n, points, 2) pixels; width in pixels."""
        lines = LineCollection(
            list(ends), colors=colour, linewidths=width * 72 / BASE_DPI, capstyle="butt", zorder=zorder
        )
        self.axes.add_collection(lines, autolim=False)

    def areas(self, corners, fills, edge_width=1.0, zorder=3.0):
        """Draw many areas at once: corners (n, points, 2) pixels; fills: their colours, also of the edge."""
        areas = PolyCollection(
            list(corners), facecolors=fills, edgecolors=fills, linewidths=edge_width, zorder=zorder
        )
        self.axes.add_collection(areas, autolim=False)

    def box(self, x, y, width, height, fill="none", edge=colours.QUIET_INK, edge_width=1.0, zorder=3.0):
        """Draw a rectangle from its upper left corner."""
        patch = Rectangle((x, y), width, height, facecolor=fill, edgecolor=edge, zorder=zorder)
        patch.set_linewidth(edge_width * 72 / BASE_DPI)
        self.axes.add_artist(patch)

    def image(self, rgb: np.ndarray, x: float, y: float, zorder: float = 1.0):
        """Put an image (h, w, 3) uint8 with its upper left corner at (x, y), pixel on pixel."""
        height, width = rgb.shape[:2]
        self.axes.imshow(
            rgb, extent=(x, x + width, y + height, y), interpolation="nearest", aspect="auto", zorder=zorder
        )
        self.axes.set(xlim=(0, self.width), ylim=(self.height, 0))

    def number(self, x, y, number: int | None, is_strong: bool, radius: float, zorder=8.0):
        """Draw a finding's number (None: no number) in a circle: dark when it must be put right."""
        fill, ink = (colours.INK, "white") if is_strong else ("white", colours.INK)
        if is_strong:  # told from what is dark itself
            rim = Circle((x, y), radius + 2.5, facecolor="white", edgecolor="none", zorder=zorder - 0.1)
            self.axes.add_artist(rim)
        circle = Circle((x, y), radius, facecolor=fill, edgecolor=colours.INK, zorder=zorder)
        circle.set_linewidth(1.6 * 72 / BASE_DPI)
        self.axes.add_artist(circle)
        if number is None:
            return
        size = 10.0 if number < 100 else 8.0
        self.axes.text(
            x, y + 0.5, str(number), fontproperties=font(size, True), color=ink, ha="center",
            va="center_baseline", zorder=zorder + 0.1,
        )  # fmt: skip

    def save(self, path) -> str:
        """Write the page as a PNG and return the path; the same page gives the same bytes."""
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # see text_width
            drawn = png_of(self.figure, self.dpi)
        put_whole(path, drawn)
        return os.fspath(path)


def png_of(figure: Figure, dpi: float) -> bytes:
    """Return a figure without clear places as the bytes of a PNG; the same figure gives the same bytes."""
    figure.set_dpi(dpi)
    page = FigureCanvasAgg(figure)
    page.draw()
    opaque = np.ascontiguousarray(np.asarray(page.buffer_rgba())[..., :3])
    drawn = io.BytesIO()
    Image.fromarray(opaque).save(drawn, "PNG", compress_level=SQUEEZE, dpi=(dpi, dpi))
    return drawn.getvalue()


def hatch_too_deep(rgb: np.ndarray, index: np.ndarray) -> None:
    """Draw diagonal lines over everything cut too deep, in place, so that a grey print tells it.

    rgb (h, w, 3) uint8; index (h, w) classes.
    """
    iy, ix = np.indices(index.shape)
    is_line = (ix + iy) % 8 < 2
    for number, stripe in enumerate(colours.STRIPES):
        rgb[is_line & (index == number)] = colours.rgb(stripe)


def hatch_holding(rgb: np.ndarray, is_holding: np.ndarray) -> None:
    """Draw wide-spaced thin diagonals, the other way, over the wood that holds the part, in place."""
    iy, ix = np.indices(is_holding.shape)
    rgb[is_holding] = colours.rgb(colours.HOLDING)
    rgb[is_holding & ((ix - iy) % 14 < 1)] = colours.rgb(colours.HOLDING_LINE)


def dot_resin(rgb: np.ndarray, is_resin: np.ndarray) -> None:
    """Draw dots on pale teal over resin, in place."""
    iy, ix = np.indices(is_resin.shape)
    rgb[is_resin] = colours.rgb(colours.RESIN)
    rgb[is_resin & _dots(iy, ix)] = colours.rgb(colours.RESIN_DOT)


def dot_over(rgb: np.ndarray, is_resin: np.ndarray) -> None:
    """Draw the dots of resin over other colours, in place: pale on dark, dark on pale."""
    is_dot = is_resin & _dots(*np.indices(is_resin.shape))
    is_dark = rgb.mean(axis=2) < 140
    rgb[is_dot & is_dark] = colours.rgb(colours.RESIN)
    rgb[is_dot & ~is_dark] = colours.rgb(colours.INK)


def _dots(iy: np.ndarray, ix: np.ndarray) -> np.ndarray:
    return (iy % 6 < 2) & ((ix + (iy // 6) % 2 * 5) % 10 < 2)


def hatch_through(rgb: np.ndarray, is_through: np.ndarray) -> None:
    """Draw a dark lattice on white where the part is cut right through, in place."""
    iy, ix = np.indices(is_through.shape)
    rgb[is_through] = 255
    is_line = ((ix + iy) % 8 < 2) | ((ix - iy) % 8 < 2)
    rgb[is_through & is_line] = colours.rgb(colours.CLASSES[0])


KEY_HEIGHT = 118.0


def draw_key(page: Page, x: float, y: float, width: float, limits: tuple[float, float]) -> None:
    """Draw the colour key in words and lengths, KEY_HEIGHT pixels high, from (x, y).  limits: mm."""
    classes = len(colours.CLASSES)
    step = width / classes
    deep, proud = colours.steps(limits[0]), colours.steps(limits[1])
    top, height = y + 34, 34
    for i, colour in enumerate(colours.CLASSES):
        left = x + i * step
        # Drawn as pixels, so that the hatch is the one of the map.
        swatch = np.empty((height, round(left + step) - round(left), 3), np.uint8)
        swatch[:] = colours.rgb(colour)
        hatch_too_deep(swatch, np.full(swatch.shape[:2], i))
        page.image(swatch, round(left), round(top))
    page.box(round(x), round(top), round(width), height)
    words = ((colours.TOO_DEEP, 2), (colours.IN_LIMITS, 4.5), (colours.PROUD, 7))
    for word, at in words:
        page.text(
            x + at * step, top - 12, word, SMALL if word == colours.IN_LIMITS else BODY, across="center"
        )
    under = top + height + 30
    for i, border in enumerate((*(-b for b in reversed(deep)), *proud), start=1):
        page.line([x + i * step] * 2, [top + height, top + height + 7])
        sign = "−" if border < 0 else "+" if border > 0 else ""
        page.text(x + i * step, under, f"{sign}{page.lengths.figure(abs(border))}", SMALL, across="center")
    page.text(x + width, under, page.lengths.name, SMALL, colours.QUIET_INK, across="right")
    first = text_width(f"−{page.lengths.figure(deep[-1])}", SMALL) / 2
    if step - first > text_width("deeper", SMALL) + 8:
        page.text(x, under, "deeper", SMALL, colours.QUIET_INK)
