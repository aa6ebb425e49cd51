"""The text of the window of `simkit view`, as an image with places to click: with Pillow, without OpenGL.

It reads like the report: the verdict first, below it the findings as a numbered column, beside that the
picture of the chosen one, and below the picture the program's own text with the line at hand marked.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simkit.report import colours
from simkit.report.lengths import MM, Lengths
from simkit.report.map_parts import finding_words
from simkit.view.letters import fit, font, wrapped
from simkit.view.look import NONE, SECTIONS, STEP, Look, must
from simkit.view.stage import legend_of

EDGE = 26  # pixels round everything, and between
COLUMN = 0.32  # of the window's width, for the findings
WIDEST = 520  # pixels of that column
BIG, PLAIN, SMALL = 22, 16, 14  # pixels of the font
BAR = 190  # pixels that the scale bar takes, with its words
ROW = 64  # pixels a finding takes: two lines of it
MOST_TOLD, TOLD = 9, 19  # lines on the chosen finding, and pixels each takes
LINE = 23  # pixels a line of a program takes
LINES, FEW, LOW = 7, 4, 800  # lines of the program that are seen, and in a window lower than so many pixels
PAPER, MARKED, RULE = "#ffffff", "#ece8de", "#d5d2ca"
KEYS = (
    "up, down: line    page up, page down: 25 lines    n, p: finding    1 to 4: what is shown    s: cut open"
)
MORE_KEYS = "left, right: move the cut    t: turn over    w: all of it    mouse: turn, move, zoom    q: leave"


@dataclass(frozen=True)
class Spot:
    """A place to click: box (left, top, right, bottom) pixels from the upper left, and what is then called.

    call: name of a method of Look; words: its arguments.
    """

    box: tuple[int, int, int, int]
    call: str
    words: tuple


@dataclass(frozen=True)
class Panel:
    """The text of the window (h, w, 3) uint8, the places to click, and where the picture stands in it.

    stage: (left, top, right, bottom) pixels from the upper left.  shown: how many findings fit.
    """

    image: np.ndarray
    spots: list[Spot]
    stage: tuple[int, int, int, int]
    shown: int

    def at(self, x: float, y: float) -> Spot | None:
        """Return what stands at a pixel, from the upper left."""
        for spot in self.spots:
            left, top, right, bottom = spot.box
            if left <= x < right and top <= y < bottom:
                return spot
        return None


def panel_of(look: Look, width: int, height: int, pitch: float | None = None) -> Panel:
    """Return the text of a window of width x height pixels.

    pitch: mm a pixel in the picture, for a scale bar; None: no bar.
    """
    from PIL import Image, ImageDraw

    image = Image.new("RGB", (width, height), PAPER)
    pen = ImageDraw.Draw(image)
    spots: list[Spot] = []
    top = _verdict(pen, look, width)
    column = min(round(COLUMN * width), WIDEST)
    shown = _findings(pen, spots, look, column, top, height)
    left = column + 2 * EDGE
    stage_top = _choices(pen, spots, look, left, top, width)
    foot = height - EDGE - 2 * (SMALL + 6)
    lines = FEW if height < LOW else LINES
    text_top = foot - lines * LINE - 34
    _program(pen, spots, look, (left, text_top), width, lines)
    legend_top = _legend(pen, look, left, text_top - 34, width - BAR - 2 * EDGE)
    if pitch is not None:
        _scale_bar(pen, width - EDGE, text_top - 34, pitch, look.lengths)
    for number, words in enumerate((KEYS, MORE_KEYS)):
        place = (left, foot + 10 + number * (SMALL + 6))
        pen.text(place, fit(words, SMALL, width - left - EDGE), colours.QUIET_INK, font(SMALL))
    stage = (left, stage_top, width - EDGE, max(legend_top - 14, stage_top + 40))
    return Panel(np.asarray(image), spots, stage, shown)


def _verdict(pen, look: Look, width: int) -> int:
    """Write name and verdict; return where they end."""
    y = EDGE - 6
    name = look.evidence.job.name or "part"
    pen.text((EDGE, y), fit(name, SMALL, width - 2 * EDGE), colours.QUIET_INK, font(SMALL))
    y += SMALL + 10
    for line in wrapped(look.lengths.text(look.verdict), BIG, width - 2 * EDGE, 3):
        pen.text((EDGE, y), line, colours.INK, font(BIG))
        y += BIG + 8
    y += 8
    pen.line((EDGE, y, width - EDGE, y), fill=RULE)
    return y + 16


def _findings(pen, spots, look: Look, column: int, top: int, height: int) -> int:
    """Write the findings as a numbered column; return how many fit."""
    x, y = EDGE, top
    lengths = look.lengths
    if not look.findings:
        pen.text((x, y), "Nothing was found.", colours.INK, font(PLAIN))
        return 0
    count = len(look.findings)
    title = "1 finding" if count == 1 else f"{count} findings, the worst first"
    pen.text((x, y), title, colours.INK, font(PLAIN))
    y += PLAIN + 16
    room = column - 46
    told: list[str] = []
    if look.finding is not None:
        words = lengths.text(f"{look.finding['message']}. {look.finding['advice']}")
        told = wrapped(f"{words[:1].upper()}{words[1:]}", SMALL, room, MOST_TOLD)
    more = len(told) * TOLD
    shown = max((height - EDGE - y - 26 - more) // ROW, 1)
    first = min(look.state.first_finding, max(count - shown, 0))
    for index in range(first, min(first + shown, count)):
        row = look.findings[index]
        if index == look.state.finding:
            pen.rectangle((x - 10, y - 8, x + column, y + ROW - 14 + more), fill=MARKED)
            for nth, line in enumerate(told):
                pen.text((x + 42, y + ROW - 19 + nth * TOLD), line, colours.INK, font(SMALL))
        fill, ink = (colours.INK, "white") if must(row) else ("white", colours.INK)
        pen.ellipse((x, y, x + 30, y + 30), fill=fill, outline=colours.INK, width=2)
        size = PLAIN if row["number"] < 100 else SMALL - 2
        pen.text((x + 15, y + 15), str(row["number"]), ink, font(size), anchor="mm")
        for nth, line in enumerate(wrapped(finding_words(row, lengths), PLAIN, room, 1)):
            pen.text((x + 42, y + nth * (PLAIN + 4)), line, colours.INK, font(PLAIN))
        pen.text(
            (x + 42, y + PLAIN + 8), fit(_where(row, lengths), SMALL, room), colours.QUIET_INK, font(SMALL)
        )
        spots.append(Spot((x - 10, y - 8, x + column, y + ROW - 14), "choose", (index,)))
        y += ROW + (more if index == look.state.finding else 0)
    rest = count - min(first + shown, count)
    for is_there, words, step, place in (
        (first > 0, f"{first} above", -1, x + 42),
        (rest > 0, f"{rest} more below", 1, x + 42 + (120 if first else 0)),
    ):
        if is_there:
            pen.text((place, y - 4), words, colours.INK, font(SMALL))
            pen.line(
                (place, y + SMALL, place + font(SMALL).getlength(words), y + SMALL), fill=colours.QUIET_INK
            )
            spots.append(Spot((place - 6, y - 8, place + 110, y + 24), "scroll", (step * shown, shown)))
    return shown


def _where(row, lengths: Lengths) -> str:
    """Where a finding is, in a few words."""
    words = [f"side {row['side']}"] if row["side"] is not None else []
    if row["at"] is not None:
        words.append("x {}, y {} {}".format(*map(lengths.place, row["at"][:2]), lengths.name))
    if row["line"] is not None:
        words.append(f"{row['file']}, line {row['line']}")
    return ", ".join(words)


def _choices(pen, spots, look: Look, left: int, top: int, width: int) -> int:
    """Write what is shown, and what else could be; return where the words end."""
    for line in wrapped(f"{look.words()}.", PLAIN, width - left - EDGE, 1):
        pen.text((left, top), line, colours.INK, font(PLAIN))
    state = look.state
    groups = [
        ("Show:", [(name, "show", (name,), name == state.subject) for name in look.subjects]),
        ("Cut:", [(name, "cut_open", (name,), name == state.section) for name in SECTIONS]),
    ]
    more = []
    if state.subject != STEP and len(look.sides) > 1:
        more.append(("turn over", "turn_over", (), False))
    if state.section != NONE:
        more += [("nearer", "move_section", (-5,), False), ("farther", "move_section", (5,), False)]
    y, x = top + PLAIN + 14, left
    for title, choices in (*groups, ("", more)):
        start = round(font(SMALL).getlength(title)) + 12 if title else 0
        length = start + sum(font(SMALL).getlength(words) + 26 for words, *_ in choices)
        if x > left and x + length - 26 > width - EDGE:
            x, y = left, y + SMALL + 18
        pen.text((x, y), title, colours.QUIET_INK, font(SMALL))
        x += start
        for words, call, arguments, is_chosen in choices:
            wide = round(font(SMALL).getlength(words))
            if is_chosen:
                box = (x - 7, y - 5, x + wide + 7, y + SMALL + 7)
                pen.rectangle(box, fill=MARKED, outline=colours.QUIET_INK)
            else:
                pen.line((x, y + SMALL + 4, x + wide, y + SMALL + 4), fill=colours.QUIET_INK)
            pen.text((x, y), words, colours.INK, font(SMALL))
            spots.append(Spot((x - 8, y - 8, x + wide + 8, y + SMALL + 10), call, arguments))
            x += wide + 26
        x += 14
    return y + SMALL + 20


def _legend(pen, look: Look, left: int, bottom: int, width: int) -> int:
    """Write what the colours are, the last row at `bottom`; return where the first begins."""
    x, row, places = left, 0, []
    for colour, words in legend_of(look):
        wide = 40 + round(font(SMALL).getlength(words))
        if x > left and x + wide > width - EDGE:
            x, row = left, row + 1
        places.append((x, row, colour, words))
        x += wide + 26
    top = bottom - row * (SMALL + 12)
    for x, nth, colour, words in places:
        y = top + nth * (SMALL + 12)
        pen.rectangle((x, y, x + 30, y + SMALL + 2), fill=colour, outline=colours.QUIET_INK)
        pen.text((x + 38, y), words, colours.INK, font(SMALL))
    return top


def _scale_bar(pen, right: int, y: int, pitch: float, lengths: Lengths = MM) -> None:
    """Draw a bar of a round length that ends at `right`, with its length before it, at most BAR pixels."""
    length = lengths.ruler(BAR * pitch / 2.5)
    while length / pitch > BAR - 60:
        length /= 2
    start = right - round(length / pitch)
    pen.line((start, y + SMALL - 2, right, y + SMALL - 2), fill=colours.INK, width=3)
    for x in (start, right):
        pen.line((x, y + SMALL - 6, x, y + SMALL + 2), fill=colours.INK)
    pen.text((start - 10, y), lengths.sizes(length), colours.INK, font(SMALL), anchor="ra")


def _program(pen, spots, look: Look, corner: tuple[int, int], width: int, count: int) -> None:
    """Write the lines of the program about the one at hand."""
    state, steps = look.state, look.steps
    left, top = corner
    x = left
    for run, (_, _, name) in enumerate(steps.runs):
        if x > width - EDGE - 120:
            break
        words = fit(name, PLAIN, 260)
        wide = round(font(PLAIN).getlength(words))
        if run == state.run:
            pen.rectangle(
                (x - 7, top - 5, x + wide + 7, top + PLAIN + 7), fill=MARKED, outline=colours.QUIET_INK
            )
        pen.text((x, top), words, colours.INK, font(PLAIN))
        spots.append(Spot((x - 8, top - 6, x + wide + 8, top + PLAIN + 8), "go_to", (run, 1)))
        x += wide + 28
    y = top + PLAIN + 18
    lines = look.lines_about(count)
    if not lines:
        pen.text((left, y), "The program's file has gone.", colours.QUIET_INK, font(PLAIN))
    gutter = round(font(SMALL).getlength(str(max(len(look.text), 1)))) + 14
    for number, text, is_at_hand in lines:
        box = (left - 7, y - 2, width - EDGE, y + LINE - 3)
        if is_at_hand:
            pen.rectangle(box, fill=MARKED)
        pen.text((left + gutter - 14, y), str(number), colours.QUIET_INK, font(SMALL), anchor="ra")
        words = fit(text, SMALL, width - EDGE - left - gutter)
        pen.text((left + gutter, y), words, colours.INK, font(SMALL))
        spots.append(Spot(box, "go_to", (state.run, number)))
        y += LINE
