"""How programs are meant, as the command line says it where no job file does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from simkit.errors import InputProblems, Place, Problem
from simkit.job.check import Checker
from simkit.job.files import shown_text
from simkit.job.schema import KEYS

_OFFSET_LIKE = "ZERO=RIGHT,BACK,UP, such as G55=100,0,0"
_KEYS = {key.path: key for key in KEYS}


@dataclass(frozen=True, slots=True)
class Meant:
    """What a job file would say of how programs are meant; fields as in model.Setup and model.Job."""

    program_units: str | None = None
    work_offsets: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    block_delete: str = "run"
    harmless_words: tuple[str, ...] = ()
    arc_tolerance: float | None = None
    spindle_by_hand: bool = False
    spoilboard: float | None = None


def meant_from_words(
    units: str | None = None,
    work_offsets: Sequence[str] = (),
    skip_deleted: bool = False,
    harmless: Sequence[str] = (),
    arc_tolerance: str | None = None,
    spindle_by_hand: bool = False,
    spoilboard: str | None = None,
) -> Meant:
    """Return what the options of the command line say.

    units: "mm", "in" or None.  work_offsets: each such as "G55=100,0,0".  arc_tolerance, spoilboard:
    such as "0.01".
    Lengths are mm unless they carry a unit.  Raises InputProblems with every problem.
    """
    problems: list[Problem] = []
    offsets: dict[str, Any] = {}
    for text in work_offsets:
        name, equals, rest = text.partition("=")
        name = name.strip().upper()
        parts = [number_or_text(part.strip()) for part in rest.split(",")]
        if not (name and equals) or len(parts) != 3:
            remedy = "write three lengths with commas between"
            problems.append(Problem(Place("--work-offset"), shown_text(text), _OFFSET_LIKE, remedy))
        elif name in offsets:
            found, remedy = f"{shown_text(text)}, {name} again", "say once where it lies"
            problems.append(Problem(Place("--work-offset"), found, "each work zero once", remedy))
        else:
            offsets[name] = parts
    checker = WordChecker("--work-offset", {}, "mm")
    checked = checker.value(offsets, _KEYS["setups[].work_offsets"], "")
    lengths = {}
    for path, text in (("arc_tolerance", arc_tolerance), ("setups[].spoilboard", spoilboard)):
        key = _KEYS[path]
        checker.file = f"--{key.name.replace('_', '-')}"
        lengths[key.name] = None if text is None else checker.value(number_or_text(text), key, "")
    problems += checker.problems
    if problems:
        raise InputProblems(problems)
    return Meant(
        program_units=units,
        work_offsets=checked,
        block_delete="skip" if skip_deleted else "run",
        harmless_words=tuple(harmless),
        spindle_by_hand=spindle_by_hand,
        **lengths,
    )


class WordChecker(Checker):
    """A checker of words on the command line, which have no line and column."""

    def place(self, path: str) -> Place:
        """Return the option, and the part of it that a path names."""
        return Place(self.file, key=path or None)

    def where(self, parent: str, path: str) -> str:
        """Return nothing: there is no table to name."""
        return ""


def number_or_text(text: str) -> Any:
    """Return what a job file would hold for a word of the command line."""
    for kind in (int, float):
        try:
            return kind(text)
        except ValueError:
            continue
    return text
