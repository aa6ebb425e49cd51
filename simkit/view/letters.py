"""Lines of text for pictures that Pillow draws: the one font, and what fits."""

from __future__ import annotations

import functools
from pathlib import Path


@functools.cache
def font(size: int):
    """The font of all pictures, from matplotlib's own files; size in pixels."""
    import matplotlib
    from PIL import ImageFont

    return ImageFont.truetype(str(Path(matplotlib.get_data_path(), "fonts", "ttf", "DejaVuSans.ttf")), size)


def fit(text: str, size: int, width: float) -> str:
    """The text on one line, cut at its end where it is wider than `width` pixels."""
    text = " ".join("".join(c if c.isprintable() else " " for c in text).split(" ")).strip()
    if font(size).getlength(text) <= width:
        return text
    while text and font(size).getlength(text + "…") > width:
        text = text[:-1]
    return text.rstrip() + "…"


def wrapped(text: str, size: int, width: float, most: int) -> list[str]:
    """Return the text in at most `most` lines no wider than `width` pixels, the last cut at its end."""
    lines = [""]
    for word in fit(text, size, 1e9).split(" "):
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and font(size).getlength(longer) > width:
            lines.append(word)
        else:
            lines[-1] = longer
    if len(lines) > most:
        lines = [*lines[: most - 1], " ".join(lines[most - 1 :])]
    return [fit(line, size, width) for line in lines]


def in_sentences(text: str, size: int, width: float) -> str:
    """Return as many whole sentences of the text, from its start, as fit the width; the first one cut."""
    parts = text.split(". ")
    while len(parts) > 1 and font(size).getlength(". ".join(parts).rstrip(".") + ".") > width:
        parts.pop()
    return fit(". ".join(parts).rstrip(".") + ".", size, width)
