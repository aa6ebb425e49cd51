"""Cross-sections drawn to scale: wood hatched, the part as a dashed line, too much and too little named."""

from __future__ import annotations

from itertools import groupby

import numpy as np

from simkit.job.layup import glue_lines
from simkit.job.model import Layup
from simkit.report.lengths import Lengths
from simkit.report.page import svg
from simkit.report.page.html import Html, el
from simkit.report.page.section import Section
from simkit.units import MM_PER_INCH

LEFT, RIGHT, TOP, BOTTOM = 6.0, 6.0, 22.0, 44.0  # units round the section
TALLEST = 260.0


def section_svg(
    cut: Section, lengths: Lengths, limits: tuple[float, float], is_close: bool, layup: Layup | None = None
) -> Html:
    """Return a section as SVG, both directions to one scale.

    limits (gouge, leftover) mm: what is coloured is more than that off, both along the cutter's axis and
    along the section.
    is_close: the window in height is as wide as the section and lies about the mark, else the whole blank.
    layup: its glue lines are dotted where they cross the section.
    """
    low, high = cut.along[0], cut.along[-1]
    half = (cut.along[1] - low) / 2
    low, high = low - half, high + half
    z_low, z_high = (0.0, cut.thickness)
    if is_close and cut.mark is not None:
        reach = (high - low) * 0.3
        z_low, z_high = max(cut.mark[1] - reach, -1.0), min(cut.mark[1] + reach, cut.thickness + 1.0)
    wide = svg.WIDE - LEFT - RIGHT
    pitch = max((high - low) / wide, (z_high - z_low) / TALLEST)  # mm a unit
    tall = (z_high - z_low) / pitch
    start = LEFT + (wide - (high - low) / pitch) / 2
    base = TOP + tall

    def seen(along, z):
        """Points in units, heights held within the window."""
        y = base - (np.clip(z, z_low, z_high) - z_low) / pitch
        return np.column_stack(
            [start + (np.asarray(along) - low) / pitch, np.broadcast_to(y, np.shape(along))]
        )

    shapes = [svg.box(start, TOP, (high - low) / pitch, tall, "air")]
    for run in _runs(cut.is_solid):
        shapes.append(_band(seen, cut.along[run], cut.lower[run], cut.upper[run], half, "wood"))
    for under, over in cut.resin():
        for run in _runs(cut.is_solid & (over > under)):
            shapes.append(_band(seen, cut.along[run], under[run], over[run], half, "resin"))
    gouge, leftover = limits
    is_part = ~np.isnan(cut.target_upper)
    for name, over, under in (
        ("too-deep", cut.target_upper, cut.upper),
        ("too-deep", cut.lower, cut.target_lower),
        ("proud", cut.upper, cut.target_upper),
        ("proud", cut.target_lower, cut.lower),
    ):
        over, under = np.where(cut.is_solid, over, np.nan), np.where(cut.is_solid, under, np.nan)
        limit = gouge if name == "too-deep" else leftover
        with np.errstate(invalid="ignore"):
            is_beyond = is_part & (over - under > limit)
        for run in _runs(is_beyond):
            if len(run) * 2 * half <= limit:  # beside a steep wall: nearer to it than the limit
                continue
            shapes.append(_band(seen, cut.along[run], under[run], over[run], half, name))
    for run in _runs(is_part & ~cut.is_solid):
        shapes.append(
            _band(seen, cut.along[run], cut.target_lower[run], cut.target_upper[run], half, "too-deep")
        )
    for run in _runs(is_part):
        for edge in (cut.target_upper, cut.target_lower):
            shapes.append(svg.path(seen(cut.along[run], edge[run]), "target"))
    for glue in glue_lines(layup) if layup is not None else ():
        if layup.joined == "along z":
            if z_low < glue < z_high:
                shapes.append(svg.path(seen([low, high], glue), "glue"))
        elif cut.axis == layup.axis and low < glue < high:
            shapes.append(svg.path(seen([glue, glue], [z_low, z_high]), "glue"))
    shapes.append(svg.box(start, TOP, (high - low) / pitch, tall, "stock"))
    if cut.mark is not None:
        (x, y), *_ = seen([cut.mark[0]], [cut.mark[1]])
        shapes.append(_mark(x, y, cut.number, TOP, base))
    ends = ("left", "right") if cut.axis == 0 else ("front", "back")
    other = "y" if cut.axis == 0 else "x"
    unit_mm = MM_PER_INCH if lengths.is_inch else 1.0
    shapes += [
        svg.text(start, TOP - 7, f"side 1 (up), {other} {lengths.place(cut.at)} {lengths.name}"),
        svg.text(start, base + 13, ends[0], "start", "t small"),
        svg.text(start + (high - low) / pitch, base + 13, ends[1], "end", "t small"),
        svg.text(svg.WIDE / 2, base + 13, "side 2 (down)", "middle"),
        svg.scale_bar(start + (high - low) / pitch, base + 29, pitch, 110, unit_mm, lengths.name),
    ]
    words = f"Section at {other} {lengths.place(cut.at)} {lengths.name}"
    return svg.drawing(svg.WIDE, base + BOTTOM, words, *shapes, class_="section")


# Once in a page, before all drawings that use them.
HATCHES = Html(
    '<svg class="defs" width="0" height="0" aria-hidden="true"><defs>'
    '<pattern id="h-wood" width="7" height="7" patternUnits="userSpaceOnUse">'
    '<path d="M0 7L7 0" class="hatch-wood"/></pattern>'
    '<pattern id="h-deep" width="4" height="4" patternUnits="userSpaceOnUse">'
    '<rect width="4" height="4" class="fill-deep"/>'
    '<path d="M-1 1L1 -1M0 4L4 0M3 5L5 3" class="hatch-deep"/></pattern>'
    '<pattern id="h-resin" width="6" height="6" patternUnits="userSpaceOnUse">'
    '<rect width="6" height="6" class="fill-resin"/><circle cx="1.5" cy="1.5" r="0.8" class="dot-resin"/>'
    '<circle cx="4.5" cy="4.5" r="0.8" class="dot-resin"/></pattern>'
    "</defs></svg>"
)


def section_key(has_glue: bool = False, has_resin: bool = False) -> Html:
    """Return the legend of all sections, in words."""
    rows = [
        ("k-wood", "wood that is left"),
        ("k-target", "the part that was wanted"),
        ("k-deep", "cut too deep, beyond the limit"),
        ("k-proud", "left standing, beyond the limit"),
    ]
    if has_resin:
        rows.insert(1, ("k-resin", "resin"))
    if has_glue:
        rows.append(("k-glue", "glue line of the blank"))
    return el(
        "ul", [el("li", el("span", class_=f"key {name}"), words) for name, words in rows], class_="keys"
    )


def _runs(is_true: np.ndarray) -> list[np.ndarray]:
    """Return the indices of each unbroken run."""
    return [
        np.array([index for index, _ in group])
        for flag, group in groupby(enumerate(is_true.tolist()), key=lambda item: item[1])
        if flag
    ]


def _band(seen, along, low, high, half, class_) -> Html:
    """The area between two lines, half a step wider at each end."""
    along = np.concatenate([[along[0] - half], along, [along[-1] + half]])
    low, high = (np.concatenate([[edge[0]], edge, [edge[-1]]]) for edge in (low, high))
    upper, lower = seen(along, high), seen(along, low)[::-1]
    kept = np.vstack([upper[svg.on_line(upper, 0.05)], lower[svg.on_line(lower, 0.05)]])
    steps = " ".join(f"{x:.2f} {y:.2f}" for x, y in kept)
    return el("path", d=f"M{steps}Z", class_=class_)


def _mark(x: float, y: float, number: int | None, top: float, base: float) -> Html:
    """A ring at the place and its number above or below it."""
    up = y - 24 if y - 24 > top - 2 else min(y + 24, base - 4)
    return el(
        "g",
        svg.line(x, y - 4 if up < y else y + 4, x, up + 8 if up < y else up - 8, "l"),
        svg.circle(x, y, 4, "ring"),
        svg.circle(x, up, 9, "number-disc"),
        svg.text(x, up + 4, "" if number is None else str(number), "middle", "number-text"),
    )
