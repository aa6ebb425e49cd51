"""The plan round one finding, as the operator sees it: a small picture with its scale."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Sequence
from functools import cached_property
from typing import Any

import numpy as np
from PIL import Image

from simkit.findings.evidence import Evidence
from simkit.job.model import Blank
from simkit.report import colours
from simkit.report.lengths import Lengths
from simkit.report.outer_steps import step_classes
from simkit.report.page import svg
from simkit.report.page.html import Html, el
from simkit.report.page.words import setup_of
from simkit.report.pictures import holding_wood, in_steps_of_zones, turns_of
from simkit.report.plan_views import map_image
from simkit.report.seen_plan import SeenPlan
from simkit.stock.field import Lattice
from simkit.units import MM_PER_INCH

LEAST, MOST = 24.0, 120.0  # mm across a close-up
FINER = 2  # pixels a unit
SHAPE = 0.62  # height by width
ROOM = 15.0  # units round the map, for the words at its edges
ACROSS = svg.WIDE - 2 * ROOM


class CloseUps:
    """Draws close-ups of a check; what all of them share is worked out once."""

    def __init__(self, evidence: Evidence, lengths: Lengths, rows: Sequence[dict[str, Any]] = ()):
        job, field = evidence.job, evidence.field
        self._job, self._blank, self._lengths, self._field = job, job.blank, lengths, field
        self._evidence, self._rows = evidence, rows
        self._turns = turns_of(evidence)
        self._part = None if evidence.envelopes is None else evidence.envelopes.is_part

    @cached_property
    def _index(self) -> dict[int, np.ndarray]:
        """Classes of colour by side."""
        job, evidence = self._job, self._evidence
        limits = (job.limits.gouge, job.limits.leftover)
        index = {
            side: colours.class_index(in_steps_of_zones(evidence, side), limits)
            for side in evidence.deviations
        }
        stands_out = step_classes(evidence, self._rows)
        if stands_out is not None:
            index = {side: colours.worse(its, stands_out) for side, its in index.items()}
        return index

    @cached_property
    def _holding(self) -> np.ndarray | None:
        return holding_wood(self._evidence)

    @cached_property
    def _resin(self) -> dict[int, np.ndarray] | None:
        field = self._field
        return None if field.wood_upper is None else {k: field.is_resin(k) for k in (1, 2)}

    def room(self, row: dict[str, Any]) -> Html | None:
        """Return an empty drawing as large as the close-up of a finding, None where that has none."""
        place = self._place(row)
        if place is None:
            return None
        _, _, wide, deep = self._window(row, *place)
        words = f"The place of finding {row['number']} is being drawn"
        return svg.drawing(*_size(_pixels(wide, deep)), words, class_=f"closeup room-{row['number']}")

    def _place(self, row: dict[str, Any]) -> tuple[float, float] | None:
        """Return where a finding lies in plan, None when it has no place in the blank."""
        if row["at"] is None:
            return None
        x, y, _ = row["at"]
        return (x, y) if 0 <= x <= self._blank.length and 0 <= y <= self._blank.width else None

    def of(self, row: dict[str, Any]) -> Html | None:
        """Return the close-up of a finding (a row of the result), None when it has no place in the blank."""
        place = self._place(row)
        if place is None:
            return None
        x, y = place
        setup = setup_of(row, self._job)
        side = row["side"] or (1 if setup is None or setup.frame(self._blank).up > 0 else 2)
        x0, y0, wide, deep = self._window(row, x, y)
        part = self._slice(x0, y0, wide, deep)
        lattice = self._field.lattice.window(part[0].start, part[0].stop, part[1].start, part[1].stop)
        # The window as if it were a blank of its own, lying as the blank does.
        near = (lattice.origin[0] - x0, lattice.origin[1] - y0)
        lattice = Lattice(near, lattice.cell, lattice.nx, lattice.ny)
        pitch = wide / ACROSS
        size = _pixels(wide, deep)
        turn = self._turns[side]
        seen = SeenPlan(lattice, Blank(wide, deep, self._blank.thickness), turn, pitch / FINER, *size)
        is_solid = self._field.is_solid[part]
        index = self._index.get(side)
        if index is None:  # nothing to compare with: all wood alike, shaded
            index = np.where(is_solid, colours.WITHIN, colours.NO_TARGET)
        else:
            index = index[part]
        holding = None if self._holding is None else self._holding[part]
        relief = (self._field.upper if side == 1 else self._field.lower)[part]
        resin = None if self._resin is None else self._resin[side][part]
        picture, _, _ = map_image(seen, index, is_solid, holding, relief.astype(np.float64), side, resin)
        px, py = (value / FINER for value in seen.pixel(x - x0, y - y0))
        return self._drawing(picture, row, (px, py), size, pitch)

    def _window(self, row: dict[str, Any], x: float, y: float) -> tuple[float, float, float, float]:
        """Corner and size, mm, of what is shown: the spot with some room, within the blank."""
        wide = LEAST
        if row["box"] is not None:
            bx0, by0, bx1, by1 = row["box"]
            reach = max(bx1 - x, x - bx0, (by1 - y) / SHAPE, (y - by0) / SHAPE, 0.0)
            wide = float(np.clip(2.6 * reach, LEAST, MOST))
        wide = min(wide, self._blank.length)
        deep = min(wide * SHAPE, self._blank.width)
        x0 = float(np.clip(x - wide / 2, 0, self._blank.length - wide))
        y0 = float(np.clip(y - deep / 2, 0, self._blank.width - deep))
        return x0, y0, wide, deep

    def _slice(self, x0: float, y0: float, wide: float, deep: float) -> tuple[slice, slice]:
        lattice = self._field.lattice
        iy0, ix0 = (int(value) for value in lattice.cell_at(x0, y0))
        iy1, ix1 = (int(value) + 1 for value in lattice.cell_at(x0 + wide, y0 + deep))
        return slice(iy0, iy1), slice(ix0, ix1)

    def _drawing(self, picture, row, at, size, pitch) -> Html:
        wide, tall = size[0] / FINER, size[1] / FINER
        left, top = ROOM, ROOM
        x, y = left + at[0], top + at[1]
        # The number stands beside the place, on the side with more room.
        to = x + 34 if at[0] < wide / 2 else x - 34
        up = min(max(y - 22, top + 11), top + tall - 11)
        unit_mm = MM_PER_INCH if self._lengths.is_inch else 1.0
        middle = top + tall / 2
        return svg.drawing(
            *_size(size),
            f"Finding {row['number']} seen from above",
            el("image", href=png_uri(picture), x=left, y=top, width=f"{wide:.1f}", height=f"{tall:.1f}"),
            svg.box(left, top, wide, tall, "frame"),
            svg.circle(x, y, 4.5, "ring on-paper"),
            svg.line(x + (to - x) * 0.14, y + (up - y) * 0.14, to, up, "l on-paper"),
            svg.circle(to, up, 10, "number-disc"),
            svg.text(to, up + 4, str(row["number"]), "middle", "number-text"),
            svg.text(left + wide / 2, top - 4, "back", "middle", "t small"),
            svg.text(left, top + tall + 12, "front", "start", "t small"),
            svg.text(left - 4, middle, "left", "middle", "t small", transform=_upright(left - 4, middle)),
            svg.text(
                left + wide + 11,
                middle,
                "right",
                "middle",
                "t small",
                transform=_upright(left + wide + 11, middle),
            ),
            svg.scale_bar(left + wide, top + tall + 14, pitch, 120, unit_mm, self._lengths.name),
            class_="closeup",
        )


def room_of(number: str) -> re.Pattern[str]:
    """Return what finds the room of a finding's close-up in markup."""
    return re.compile(rf'<svg[^<>]* class="closeup room-{re.escape(number)}"[^<>]*>.*?</svg>')


def _pixels(wide: float, deep: float) -> tuple[int, int]:
    """Return the pixels of a map of wide x deep mm."""
    return round(ACROSS * FINER), round(deep / wide * ACROSS * FINER)


def _size(pixels: tuple[int, int]) -> tuple[float, float]:
    """Return the units of a drawing with a map of so many pixels."""
    return svg.WIDE, pixels[1] / FINER + 2 * ROOM + 18


def _upright(x: float, y: float) -> str:
    return f"rotate(-90 {x:.1f} {y:.1f})"


def png_uri(picture: np.ndarray) -> str:
    """Return an image (h, w, 3) uint8 as a data: URI."""
    sink = io.BytesIO()
    image = Image.fromarray(picture)
    if len(image.getcolors(257) or range(257)) <= 256:
        image = image.quantize(256)  # exact: there are no more colours than that
    image.save(sink, "PNG", optimize=True)
    return "data:image/png;base64," + base64.b64encode(sink.getvalue()).decode("ascii")
