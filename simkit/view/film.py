"""A film of the cutting: the blank from above at steps of the programs, as a GIF.  Needs no OpenGL."""

from __future__ import annotations

import io

import numpy as np

from simkit.job.model import Setup
from simkit.job.steps import POUR, Step
from simkit.report import colours
from simkit.report.lengths import Lengths
from simkit.report.map_parts import pose_words
from simkit.report.seen_plan import SeenPlan
from simkit.report.steps_table import step_words
from simkit.stock.field import Field
from simkit.view.letters import fit, font, in_sentences
from simkit.view.steps import Steps

WIDTH, TALLEST = 900, 560  # pixels of the map
EDGE, HEAD, FOOT = 24, 86, 78  # pixels around it
STEPS, LAST, EACH = 60, 3000, 140  # steps of a film; ms that the last and each other one stay
# ColorBrewer 2.0, Cynthia A. Brewer, colorbrewer2.org, the brown arm of BrBG, eleven classes; listed there
# as safe for the colour-blind.  Lightness falls with depth, so a grey print reads the same.
DEPTHS = ("#f5f5f5", "#f6e8c3", "#dfc27d", "#bf812d", "#8c510a", "#543005")
WALL = 1.8  # slope from which a place counts as a wall
TONES = 20  # steps of depth that are told apart: few colours make a small file
CUTTER = "#01665e"  # the dark teal of the same scale
FIXTURE = "#80cdc1"  # a pale one
AROUND = 30.0  # mm beyond the blank that clamps are shown, at most


def stops_of(steps: Steps, count: int) -> list[int]:
    """Return after how many moves the film stops to look: even parts of the way the tip goes.

    count: at least as many as there are setups.  The start, the end of each setup and the end are among
    them; each move ends at most one step behind its even part.
    """
    way = np.concatenate([[0.0], np.cumsum(steps.lengths())])
    even = np.searchsorted(way, np.linspace(0, way[-1], count + 1), side="left")
    ends = np.flatnonzero(np.diff(steps.moves.setup)) + 1
    return sorted({0, len(steps.moves), *(int(i) for i in even), *(int(i) for i in ends)})


def film_of(steps: Steps, count: int = STEPS, progress=None) -> bytes:
    """Return the film as the bytes of a GIF that plays over and over.

    count: steps, beside the start and the ends of setups.  progress(fraction).  Each picture shows the
    upper face of the blank as it lies in that setup, back at the top; depth below the top of the blank by
    colour.  Steps that follow the last setup are in a picture of their own, at the end.
    Accuracy: a picture, one exact height a pixel where cells are as fine, else interpolated.
    """
    from PIL import Image

    stops = stops_of(steps, count)
    last = [step for _, step in steps.job.steps_after(len(steps.job.setups) - 1)]
    drawing, shown = _Drawing(steps), len(stops) + bool(last)
    pictures = []
    for number, done in enumerate(stops):
        pictures.append(drawing.picture(steps.field_at(done), done, (number + 1, shown)))
        if progress is not None:
            progress((number + 1) / shown)
    if last:
        pictures.append(drawing.ended(steps.field_at_end(), last, shown))
    mixed = Image.fromarray(np.vstack([np.asarray(p)[::4, ::4] for p in pictures]))
    palette = mixed.quantize(200, Image.Quantize.MEDIANCUT)
    pictures = [p.quantize(palette=palette, dither=Image.Dither.NONE) for p in pictures]
    out = io.BytesIO()
    stay = [EACH] * (len(pictures) - 1) + [LAST]
    pictures[0].save(
        out, "GIF", save_all=True, append_images=pictures[1:], duration=stay, loop=0, optimize=False
    )
    return out.getvalue()


class _Drawing:
    """What is the same in all pictures of a film."""

    def __init__(self, steps: Steps):
        self.steps, blank = steps, steps.job.blank
        self.lengths = Lengths(steps.job.unit)
        self.scale = min(WIDTH / blank.length, TALLEST / blank.width)  # pixels a mm
        self.across, self.down = round(blank.length * self.scale), round(blank.width * self.scale)
        self.room = self._room()
        self.left, self.top = EDGE + self.room, HEAD + self.room  # of the blank
        self.width = max(self.across + 2 * self.room, 640) + 2 * EDGE
        self.height = HEAD + self.down + 2 * self.room + FOOT
        stops = np.linspace(0, 1, len(DEPTHS))
        at = (np.arange(TONES) + 0.5) / TONES
        scale = np.array([colours.rgb(colour) for colour in DEPTHS], float)
        self.tones = np.stack([np.interp(at, stops, scale[:, i]) for i in range(3)], 1)

    def picture(self, field: Field, done: int, counted: tuple[int, int]):
        steps = self.steps
        setup = steps.job.setups[steps.setup_at(done)]
        image, pen, plan = self._page(field, setup.turn, setup.name, self._words(done, counted), setup)
        if done:
            self._cutter(pen, plan, done)
        return image

    def ended(self, field: Field, last: list[Step], shown: int):
        """Return the picture behind the last steps, seen on the face that the last of them was done to."""
        setup, side = self.steps.job.setups[-1], last[-1].side
        turn = setup.turn if setup.side_up == side else "none" if side == 1 else "about x"
        done = "; ".join(self.lengths.text(step_words(step)) for step in last)
        image, _, _ = self._page(field, turn, f"after {setup.name}", f"step {shown} of {shown}   {done}")
        return image

    def _page(self, field: Field, turn: str, title: str, line: str, setup: Setup | None = None):
        """Return a picture without a cutter, the pen that draws on it, and its plan."""
        from PIL import Image, ImageDraw

        steps = self.steps
        side = 1 if turn == "none" else 2
        plan = SeenPlan(steps.lattice, steps.job.blank, turn, 1 / self.scale, self.across, self.down)
        page = np.full((self.height, self.width, 3), 255, np.uint8)
        page[self.top : self.top + self.down, self.left : self.left + self.across] = self._map(
            field, plan, side == 1
        )
        image = Image.fromarray(page)
        pen = ImageDraw.Draw(image)
        pen.rectangle(
            (self.left - 1, self.top - 1, self.left + self.across, self.top + self.down),
            outline=colours.rgb(colours.QUIET_INK),
        )
        if setup is not None:
            self._fixtures(image, plan, setup)
        name = steps.job.name or "part"
        pen.text((EDGE, 12), fit(f"{name}: {title}", 20, self.width - 2 * EDGE), colours.INK, font(20))
        pen.text((EDGE, 42), fit(line, 15, self.width - 2 * EDGE), colours.INK, font(15))
        sentences = pose_words(side, turn, steps.lattice.cell, self.lengths)
        # On a narrow film the cells, then how it is seen, are left out whole, not cut off.
        words = in_sentences(sentences, 13, self.width - 2 * EDGE)
        pen.text((EDGE, 63), words, colours.QUIET_INK, font(13))
        self._key(pen)
        return image, pen, plan

    def _map(self, field: Field, plan: SeenPlan, is_upper: bool) -> np.ndarray:
        """The heights as colours (down, across, 3): depth by tone, slopes by light from the back left."""
        thick = self.steps.job.blank.thickness
        surface = (field.upper if is_upper else thick - field.lower).astype(np.float64)
        height = plan.between(np.where(field.is_solid, surface, 0.0))
        is_wood = plan.nearest(field.is_solid, False)
        tone = np.clip(((thick - height) / thick * TONES).astype(int), 0, TONES - 1)
        up, right = np.gradient(height * self.scale)
        light = (1 + 0.5 * (up - right)) / np.sqrt(1.5 * (1 + up**2 + right**2))
        light = np.round(np.clip(light, 0.25, 1.2) * 12) / 12 / 0.8165
        # Weak, for lightness tells depth; strong at walls, which are thin lines from above.
        light = np.clip(light, np.where(np.hypot(up, right) > WALL, 0.45, 0.7), 1.0)
        rgb = np.clip(self.tones[tone] * light[..., None], 0, 255).astype(np.uint8)
        if field.wood_upper is not None:
            is_resin = plan.nearest(field.is_resin(1 if is_upper else 2), False) & is_wood
            rgb[is_resin] = np.clip(np.array(colours.rgb(colours.RESIN)) * light[is_resin][:, None], 0, 255)
            rows, columns = np.indices(is_resin.shape)
            is_dot = (rows % 4 == 0) & ((columns + rows // 4 % 2 * 3) % 6 == 0)
            rgb[is_resin & is_dot] = colours.rgb(colours.RESIN_DOT)
        rgb[~is_wood] = 255
        rows, columns = np.indices(is_wood.shape)
        rgb[~is_wood & ((rows + columns) % 9 == 0)] = colours.rgb(colours.HOLDING_LINE)
        return rgb

    def _words(self, done: int, counted: tuple[int, int]) -> str:
        step = f"step {counted[0]} of {counted[1]}"
        if not done:
            return f"{step}   before the first move"
        steps = self.steps
        _, _, program = steps.runs[steps.run_at(done)]
        cutter = steps.job.cutters[int(steps.moves.tool[done - 1])]
        return f"{step}   {program}, line {steps.line_at(done)}   {self.lengths.cutter(str(cutter))}"

    def _cutter(self, pen, plan: SeenPlan, done: int) -> None:
        steps = self.steps
        tip = steps.frames[steps.setup_at(done)].apply(steps.moves.end[done - 1])
        if not np.isfinite(tip).all():
            return
        x, y = plan.pixel(float(tip[0]), float(tip[1]))
        x, y = x + self.left, y + self.top
        radius = max(steps.job.cutters[int(steps.moves.tool[done - 1])].radius * self.scale, 4)
        is_near = -self.room <= x - self.left <= self.across + self.room
        is_near &= -self.room <= y - self.top <= self.down + self.room
        if is_near:
            pen.ellipse((x - radius, y - radius, x + radius, y + radius), outline="white", width=5)
            pen.ellipse((x - radius, y - radius, x + radius, y + radius), outline=CUTTER, width=3)

    def _room(self) -> int:
        """Pixels beside the blank for the clamps that stand there."""
        steps, reach = self.steps, 0.0
        for setup in steps.job.setups:
            across, deep = setup.size_on_table(steps.job.blank)
            for one in steps.job.fixtures:
                if one.stands_in(setup):
                    x0, x1, y0, y1 = one.box_in_plan
                    reach = max(reach, -x0, x1 - across, -y0, y1 - deep)
        return round(min(reach, AROUND) * self.scale)

    def _fixtures(self, image, plan: SeenPlan, setup) -> None:
        """Draw the clamps and stops of a setup, hatched, as far as there is room beside the blank."""
        from PIL import Image, ImageDraw

        standing = [one for one in self.steps.job.fixtures if one.stands_in(setup)]
        if not standing:
            return
        wide, tall = self.across + 2 * self.room, self.down + 2 * self.room
        corner = (self.left - self.room, self.top - self.room)
        layer = image.crop((*corner, corner[0] + wide, corner[1] + tall))
        mask = Image.new("L", layer.size, 0)
        pen, shape = ImageDraw.Draw(layer), ImageDraw.Draw(mask)
        lie = setup.lie(self.steps.job.blank)
        angles = np.linspace(0, 2 * np.pi, 49)[:-1]
        for one in standing:
            x0, x1, y0, y1 = one.box_in_plan
            corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
            if one.box is None:
                corners = np.array(one.at) + one.diameter / 2 * np.column_stack(
                    [np.cos(angles), np.sin(angles)]
                )
            seen = plan.pixel(*lie.apply(np.column_stack([corners, np.zeros(len(corners))]))[:, :2].T)
            outline = [(float(x) + self.room, float(y) + self.room) for x, y in zip(*seen, strict=True)]
            pen.polygon(outline, fill=FIXTURE, outline=CUTTER, width=2)
            shape.polygon(outline, fill=255)
        hatch = np.asarray(layer).copy()
        rows, columns = np.indices(hatch.shape[:2])
        hatch[(np.asarray(mask) > 0) & ((rows - columns) % 9 == 0)] = colours.rgb(CUTTER)
        image.paste(Image.fromarray(hatch), corner)

    def _key(self, pen) -> None:
        """The depths in tones and figures, through-cuts and clamps in words, and a bar of a round length."""
        top, wide = HEAD + self.down + 2 * self.room + 16, 11
        for i, tone in enumerate(self.tones):
            x = EDGE + i * wide
            pen.rectangle((x, top, x + wide - 1, top + 14), fill=tuple(int(v) for v in tone))
        pen.rectangle((EDGE - 1, top - 1, EDGE + wide * TONES, top + 15), outline=colours.QUIET_INK)
        thick = self.steps.job.blank.thickness
        pen.text((EDGE, top + 20), "0", colours.INK, font(13))
        right = EDGE + wide * TONES
        pen.text((right, top + 20), f"{self.lengths.sizes(thick)} deep", colours.INK, font(13), anchor="ma")
        x = right + 90
        pen.rectangle((x, top - 1, x + 30, top + 15), outline=colours.QUIET_INK)
        for k in range(3, 30 + 16, 9):
            pen.line(
                (x + max(k - 15, 0), top + min(k, 15), x + min(k, 30), top + max(k - 30, 0)),
                fill=colours.HOLDING_LINE,
            )
        pen.text((x + 38, top - 1), "cut through", colours.INK, font(13))
        if self.steps.job.fixtures:
            y = top + 22
            pen.rectangle((x, y - 1, x + 30, y + 15), fill=FIXTURE, outline=CUTTER)
            pen.text((x + 38, y - 1), "clamps and stops", colours.INK, font(13))
        if any(step.do == POUR for step in self.steps.job.steps):
            x += 130
            pen.rectangle((x, top - 1, x + 30, top + 15), fill=colours.RESIN, outline=colours.QUIET_INK)
            for k in range(3, 30, 6):
                for y in (top + 3, top + 10):
                    pen.point((x + k, y), fill=colours.RESIN_DOT)
            pen.text((x + 38, top - 1), "resin", colours.INK, font(13))
        most = 0.22 * self.across / self.scale
        length = self.lengths.ruler(most / 2.5)
        end = self.width - EDGE
        start = end - length * self.scale
        pen.line((start, top + 12, end, top + 12), fill=colours.INK, width=3)
        pen.text(
            ((start + end) / 2, top + 20), self.lengths.sizes(length), colours.INK, font(13), anchor="ma"
        )
