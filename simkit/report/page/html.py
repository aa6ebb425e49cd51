"""HTML that cannot be broken by what stands in it: everything is escaped unless it was made here."""

from __future__ import annotations

import html
import re
from typing import Any

_VOID = ("br", "hr", "img", "input", "link", "meta", "wbr")


class Html(str):
    """Text that is markup already."""

    __slots__ = ()


def markup(value: Any) -> Html:
    """Return a value as markup: what is Html stays, a list is joined, None is nothing, text is escaped."""
    if isinstance(value, Html):
        return value
    if value is None:
        return Html("")
    if isinstance(value, list | tuple):
        return Html("".join(markup(item) for item in value))
    return Html(html.escape(_drawable(str(value)), quote=True))


def el(tag: str, *children: Any, **attributes: Any) -> Html:
    """Return an element.  children: as markup takes them.

    attributes: escaped; True stands without a value, None and False are left out.  A trailing underscore is
    dropped ("class_"), others become dashes ("stroke_width"); "viewBox" and the like stay as they are.
    """
    words = []
    for name, value in attributes.items():
        if value is None or value is False:
            continue
        name = name.rstrip("_").replace("_", "-")
        words.append(f" {name}" if value is True else f' {name}="{markup(str(value))}"')
    opening = f"<{tag}{''.join(words)}>"
    return Html(opening if tag in _VOID else f"{opening}{markup(children)}</{tag}>")


def prose(text: str) -> Html:
    """Return a sentence as markup: what stands between backticks, keys of the job file, as code."""
    parts = re.split(r"`([^`\n]+)`", text)
    return markup([el("code", part) if i % 2 else part for i, part in enumerate(parts)])


def path(name: str) -> Html:
    """Return a file with its folders, and perhaps its line, that breaks behind a slash and nowhere else."""
    folders = name.split("/")
    parts = [[f"{folder}/", el("wbr")] for folder in folders[:-1]]
    return el("span", *parts, folders[-1], class_="path")


def _drawable(text: str) -> str:
    """Without characters that HTML does not allow or that turn the direction of what follows."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() or c in "\n\t" else "\ufffd" for c in text)
