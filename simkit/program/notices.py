"""What a person should know about a program that can be read, collected while it is read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from simkit.errors import Place

MOST_OF_A_KIND = 10  # different texts; a program that says one thing a thousand times is told so in a line


@dataclass(frozen=True, slots=True)
class Notice:
    """Something a person should know about a program that can be read: where, and one sentence.

    is_stated: it only says what was done because the job states it, so it is no warning.
    """

    place: Place
    text: str
    is_stated: bool = False

    @property
    def line(self) -> int | None:
        """The line it stands in, from 1."""
        return self.place.line

    @property
    def column(self) -> int | None:
        """The column it stands in, from 1."""
        return self.place.column

    def __str__(self) -> str:
        return f"{self.place}: {self.text}"


class Notices:
    """Notices by kind: each place that says something new, up to MOST_OF_A_KIND; the rest are counted."""

    def __init__(self) -> None:
        self._by_kind: dict[str, dict[str, Place]] = {}
        self._more: dict[tuple[str, str], int] = {}  # (kind, text) -> places behind the first one
        self._stated: set[str] = set()

    def __contains__(self, kind: str) -> bool:
        return kind in self._by_kind

    def once(self, kind: str, place: Place, text: str) -> None:
        """Add what holds for the whole program from here on: only the first of its kind is told."""
        if kind not in self._by_kind:
            self._by_kind[kind] = {text: place}

    def add(self, kind: str, place: Place | Callable[[], Place], text: str, is_stated: bool = False) -> None:
        """Add what holds for one place; a function that finds it is called only if it is told.

        is_stated: all of this kind was done because the job states it.
        """
        if is_stated:
            self._stated.add(kind)
        known = self._by_kind.setdefault(kind, {})
        if text not in known and len(known) < MOST_OF_A_KIND:
            known[text] = place() if callable(place) else place
            return
        if text not in known:
            text = next(reversed(known))
        self._more[kind, text] = self._more.get((kind, text), 0) + 1

    def told(self) -> list[Notice]:
        """Return them sorted by line and column; what was only counted is said behind its like."""
        notices = []
        for kind, known in self._by_kind.items():
            for text, place in known.items():
                more = self._more.get((kind, text), 0)
                behind = f" (and {more} more like it behind this line)" if more else ""
                notices.append(Notice(place, text + behind, kind in self._stated))
        return sorted(notices, key=lambda notice: (notice.place.line, notice.place.column))
