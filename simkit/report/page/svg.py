"""Small drawings as SVG, in the classes of style.css; one unit is about one pixel of a phone."""

from __future__ import annotations

import numpy as np

from simkit.report.page.html import Html, el

WIDE = 340.0  # units across a drawing: it fills a phone, and is shown no larger than 1.9 times that


def drawing(width: float, height: float, words: str, *children, class_: str = "") -> Html:
    """Return a drawing of width x height units; words: what it shows, for those who cannot see it."""
    return el(
        "svg",
        el("title", words),
        *children,
        viewBox=f"0 0 {width:.0f} {height:.0f}",
        role="img",
        class_=class_ or None,
        xmlns="http://www.w3.org/2000/svg",
    )


def text(x: float, y: float, words: str, anchor: str = "start", class_: str = "t", **more) -> Html:
    """Return a line of text whose point `anchor` (start, middle, end) stands on (x, y)."""
    return el("text", words, x=f"{x:.1f}", y=f"{y:.1f}", text_anchor=anchor, class_=class_, **more)


def line(x0: float, y0: float, x1: float, y1: float, class_: str = "l") -> Html:
    """Return a straight line."""
    return el("line", x1=f"{x0:.1f}", y1=f"{y0:.1f}", x2=f"{x1:.1f}", y2=f"{y1:.1f}", class_=class_)


def box(x: float, y: float, width: float, height: float, class_: str) -> Html:
    """Return a rectangle from its upper left corner."""
    return el("rect", x=f"{x:.1f}", y=f"{y:.1f}", width=f"{width:.1f}", height=f"{height:.1f}", class_=class_)


def circle(x: float, y: float, radius: float, class_: str) -> Html:
    """Return a circle."""
    return el("circle", cx=f"{x:.1f}", cy=f"{y:.1f}", r=f"{radius:.1f}", class_=class_)


def path(points: np.ndarray, class_: str, is_closed: bool = False) -> Html:
    """Return a line through points (n, 2), to a twentieth of a unit, without those that lie on it anyhow."""
    if not len(points):
        return Html("")
    kept = points[on_line(points, 0.05)]
    steps = " ".join(f"{x:.2f} {y:.2f}" for x, y in kept)
    return el("path", d=f"M{steps}{'Z' if is_closed else ''}", class_=class_)


def on_line(points: np.ndarray, within: float) -> np.ndarray:
    """Return the indices of points (n, 2) to keep so that the line through them stays `within` of all.

    Source: D. H. Douglas and T. K. Peucker, The Canadian Cartographer 10, 1973.
    """
    keep = np.zeros(len(points), bool)
    keep[[0, -1]] = True
    stack = [(0, len(points) - 1)]
    while stack:
        first, last = stack.pop()
        if last - first < 2:
            continue
        way = points[last] - points[first]
        between = points[first + 1 : last] - points[first]
        length2 = float(way @ way)
        share = np.clip(between @ way / length2, 0, 1) if length2 else np.zeros(len(between))
        off = np.hypot(*(between - share[:, None] * way).T)
        worst = int(off.argmax())
        if off[worst] > within:
            middle = first + 1 + worst
            keep[middle] = True
            stack += [(first, middle), (middle, last)]
    return np.flatnonzero(keep)


def scale_bar(x: float, y: float, mm_per_unit: float, room: float, unit_mm: float, unit: str) -> Html:
    """Return a bar of a round length, at most `room` units, ending at x; unit_mm: mm of a `unit`."""
    most = room * mm_per_unit / unit_mm
    length = round_below(most)
    wide = length * unit_mm / mm_per_unit
    words = f"{length:g} {unit}"
    return el(
        "g",
        box(x - wide, y - 5, wide / 2, 5, "bar-full"),
        box(x - wide / 2, y - 5, wide / 2, 5, "bar-empty"),
        text(x, y + 12, words, "end", "t small"),
    )


def round_below(most: float) -> float:
    """Return the largest of 1, 2, 5, 10, 20, ... and their tenths that is not above `most` (> 0)."""
    power = 10.0 ** np.floor(np.log10(most))
    return float(next(power * m for m in (5, 2, 1) if power * m <= most * (1 + 1e-9)))
