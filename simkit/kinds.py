"""The kinds of findings: the whole list, and which of them are about safety."""

from __future__ import annotations

KINDS = (
    "gouge",
    "break-through",
    "leftover-cutter",
    "leftover-program",
    "hidden",
    "thin-wall",
    "fragile",
    "cusp",
    "witness-step",
    "wrong-turn",
    "dowel-miss",
    "seat",
    "loose-piece",
    "weak-hold",
    "rapid-contact",
    "shank-contact",
    "holder-contact",
    "fixture-contact",
    "table-contact",
    "travel",
    "wrong-unit",
    "unsafe-height",
    "spindle-off",
    "chip-load",
    "bite",
    "spindle-speed",
    "program",
    "setup",
    "spill",
    "pour-depth",
    "inlay-lost",
    "old-thickness",
    "step",
)
# What can hurt somebody is never accepted away in a job file.
SAFETY_KINDS = frozenset(
    [
        "wrong-turn",
        "loose-piece",
        "travel",
        "unsafe-height",
        "spindle-off",
        *(kind for kind in KINDS if kind.endswith("-contact")),
    ]
)
LESS_IS_WORSE = ("thin-wall", "weak-hold")


def family(kind: str) -> str:
    """Return what a kind is known by: why something was left may be told otherwise on other cells."""
    return "leftover" if kind.startswith("leftover-") else kind
