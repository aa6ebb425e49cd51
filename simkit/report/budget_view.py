"""Picture of the region of shifts within which every limit holds, with what breaks on each side of it."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.patches import Polygon

from simkit.report import canvas, colours
from simkit.report.budget_words import OVER, chance_lines, far_text
from simkit.report.canvas import MARGIN, SMALL, TITLE, Page
from simkit.report.lengths import MM, Lengths
from simkit.units import MM_PER_INCH

WIDTH, PLOT, ROW = 1240.0, 720.0, 40  # pixels; ROW: between rows of the legend
HOLDS = "every limit holds"
# ColorBrewer 2.0, Cynthia A. Brewer, colorbrewer2.org: orange and purple of PuOr, brown and teal of BrBG,
# eleven classes; listed there as safe for the colour-blind.  Dashes tell them apart in a grey print.
LINES = {
    "gouge": ("#b35806", None, "cut too deep"),
    "leftover": ("#542788", (7, 3), "left standing"),
    "thin-wall": ("#543005", (2, 2), "wall too thin"),
    "witness-step": ("#35978f", (9, 2, 2, 2), "step where the sides meet"),
    None: (colours.QUIET_INK, (1, 3), "no limit breaks so near"),
}
QUARTER, MOST_SECTOR = 12, 18  # corners of the region: one number stands for at most 135 degrees
ROOM = 1.25  # the plot reaches so much farther than the region


def draw_budget(path, budget: dict[str, Any], title: str, lengths: Lengths = MM) -> str:
    """Draw the region of shifts as a PNG at `path` and return the path.  budget: of a result, with a plan.

    Right and back are as the operator sees the blank lying when the second side is cut.
    lengths: how they are written.
    """
    places = np.array([row["shift"] for row in budget["plan"]])
    sectors = sectors_of(budget)
    inner = WIDTH - 2 * MARGIN
    key = []
    for number, (_, _, least) in enumerate(sectors, 1):
        far = float(np.hypot(*places[least]))
        binds = budget["plan"][least]["binds"]
        words = LINES[None][2] if binds is None else budget["binds"][binds]["words"]
        reach = lengths.text(OVER) if binds is None else far_text(far, "mm", lengths)
        key.append(f"{number}: {reach}, {lengths.text(words)}")
    lines = [line for text in key for line in canvas.wrapped(text, SMALL, inner, most=2)]
    told = [
        line
        for text in chance_lines(budget)[:2]
        for line in canvas.wrapped(lengths.text(text), SMALL, inner, most=3)
    ]
    head = canvas.wrapped(title, TITLE, inner, True, 2)
    step = canvas.line_height(SMALL)
    top = 40 + canvas.line_height(TITLE) * len(head) + step + 24
    legend, foot = _legend(budget), top + PLOT + 96  # the middle of the legend's first row
    end = foot + ROW * legend[-1][2] + 14
    page = Page(WIDTH, end + step * (len(lines) + len(told)) + 40, lengths=lengths)
    y = 40.0
    for line in head:
        page.text(MARGIN, y, line, TITLE, bold=True, up="top")
        y += canvas.line_height(TITLE)
    where = (
        f"Side {budget['side']} against side {3 - budget['side']}, not turned, as you see it lying in "
        f"'{budget['setup']}'"
    )
    page.text(MARGIN, y + 4, canvas.shortened(where, SMALL, inner), SMALL, colours.QUIET_INK, up="top")
    _plot(page, places, budget, sectors, (WIDTH / 2, top + PLOT / 2))
    _draw_legend(page, legend, foot)
    y = end
    for line in (*lines, *told):
        y += step
        page.text(MARGIN, y, line, SMALL)
    return page.save(path)


def sectors_of(budget: dict[str, Any]) -> list[tuple[int, int, int]]:
    """Return (first corner, how many, corner of the least reach) of stretches that one limit bounds."""
    plan = budget["plan"]
    kinds = [None if row["binds"] is None else budget["binds"][row["binds"]]["kind"] for row in plan]
    n = len(plan)
    starts = [k for k in range(n) if kinds[k] != kinds[k - 1]]
    # All round of one kind: quarters, about right, back, left and front.
    starts = starts or [n - n // 8]
    found = []
    for k, start in enumerate(starts):
        count = (starts[(k + 1) % len(starts)] - start) % n or n
        parts = 1 if count <= MOST_SECTOR else -(-count // QUARTER)
        for part in range(parts):
            first = start + part * count // parts
            size = start + (part + 1) * count // parts - first
            corners = [(first + nth) % n for nth in range(size)]
            least = min(corners, key=lambda corner: np.hypot(*plan[corner]["shift"]))
            found.append((first % n, size, least))
    return found


def _plot(page: Page, places: np.ndarray, budget, sectors, middle) -> None:
    """Draw axes, the region, its borders and numbers."""
    unit = MM_PER_INCH if page.lengths.is_inch else 1.0
    places = places / unit
    reach = max(float(np.abs(places).max()), 1e-3 / unit) * ROOM
    scale = PLOT / 2 / reach

    def pixel(shift):
        return middle[0] + scale * np.asarray(shift)[..., 0], middle[1] - scale * np.asarray(shift)[..., 1]

    left, top = middle[0] - PLOT / 2, middle[1] - PLOT / 2
    page.box(left, top, PLOT, PLOT, edge=colours.QUIET_INK)
    x, y = pixel(places)
    page.axes.add_patch(Polygon(np.column_stack([x, y]), facecolor="#e9e9e6", edgecolor="none", zorder=2))
    for at in _ticks(reach):
        px, py = pixel((at, at))
        page.line([px, px], [top, top + PLOT], "#d0d0cc", 0.8, zorder=2.2)
        page.line([left, left + PLOT], [py, py], "#d0d0cc", 0.8, zorder=2.2)
        page.text(px, top + PLOT + 24, _signed(at), SMALL, colours.QUIET_INK, across="center")
        page.text(left - 10, py, _signed(at), SMALL, colours.QUIET_INK, across="right", up="center")
    n = len(places)
    for number, (first, count, least) in enumerate(sectors, 1):
        binds = budget["plan"][first]["binds"]
        colour, dashes, _ = LINES[None if binds is None else budget["binds"][binds]["kind"]]
        corners = [(first + nth) % n for nth in range(count + 1)]
        page.line(x[corners], y[corners], colour, 5.0, zorder=4, dashes=dashes)
        way = places[least] / max(float(np.hypot(*places[least])), 1e-9)
        px, py = pixel(places[least])
        page.number(px + 26 * way[0], py - 26 * way[1], number, False, 16)
    zero = pixel((0.0, 0.0))
    page.line([zero[0] - 9, zero[0] + 9], [zero[1]] * 2, colours.INK, 2.0, zorder=5)
    page.line([zero[0]] * 2, [zero[1] - 9, zero[1] + 9], colours.INK, 2.0, zorder=5)
    word = page.lengths.word
    across = f"it lands so far to the left (−) or right (+), {word}"
    page.text(middle[0], top + PLOT + 48, across, SMALL, across="center")
    page.text(left - 96, middle[1], f"to the front (−) or back (+), {word}", SMALL, across="center", turn=90)


def _signed(value: float) -> str:
    return f"{value:g}".replace("-", "−")


def _ticks(reach: float) -> np.ndarray:
    """Return round values within a reach either way, some seven of them."""
    step = 10.0 ** np.floor(np.log10(reach / 2))
    step *= next(fold for fold in (1, 2, 5, 10) if reach / (step * fold) < 4.5)
    count = int(reach / step)
    return np.round(step * np.arange(-count, count + 1), 9)


def _legend(budget: dict[str, Any]) -> list[tuple[str | None, float, int]]:
    """Return (kind, x, row) of the lines to be told of, behind the area where every limit holds."""
    kinds = {
        None if row["binds"] is None else budget["binds"][row["binds"]]["kind"] for row in budget["plan"]
    }
    x, row, found = MARGIN + 74 + canvas.text_width(HOLDS, SMALL), 0, []
    for kind, (_, _, words) in LINES.items():
        if kind in kinds:
            wide = 84 + canvas.text_width(words, SMALL)
            if x + wide > WIDTH - MARGIN:
                x, row = MARGIN, row + 1
            found.append((kind, x, row))
            x += wide + 20
    return found


def _draw_legend(page: Page, legend: list[tuple[str | None, float, int]], y: float) -> None:
    """Draw what the lines are; y: the middle of its first row."""
    page.box(MARGIN, y - 13, 44, 26, "#e9e9e6")
    page.text(MARGIN + 54, y, HOLDS, SMALL, up="center")
    for kind, x, row in legend:
        colour, dashes, words = LINES[kind]
        page.line([x, x + 74], [y + ROW * row] * 2, colour, 5.0, dashes=dashes)
        page.text(x + 84, y + ROW * row, words, SMALL, up="center")
