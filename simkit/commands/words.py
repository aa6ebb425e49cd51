"""Options that several commands share, and how their words are read."""

from __future__ import annotations

import argparse

from simkit.errors import InputProblems, Place, Problem
from simkit.report.shown import shown, width, wrapped

EPILOG = """\
exit status: 0 within limits, 1 beyond limits or undecided, 2 the input cannot be used,
3 a fault of simkit itself, 130 interrupted.

A simulation is no proof.  Check clamps and tape, guard eyes, ears and lungs, keep hands clear, and
run the first pass in the air.  The machine's manual, local codes and licensed practice come first.
"""

# What a job file says of how programs are meant, and the options that say it without one.
MEANT = ("units", "work_offset", "skip_deleted", "harmless", "arc_tolerance", "spindle_by_hand")


def add_meant(group) -> None:
    """Add the options that say how programs are meant to a group of an argparse parser."""
    group.add_argument("--units", choices=("mm", "in"), help="of programs that state neither G21 nor G20")
    group.add_argument(
        "--work-offset",
        action="append",
        default=[],
        metavar="ZERO=X,Y,Z",
        help="where a work zero lies, from X0 Y0 Z0, such as G55=100,0,0; may be given again",
    )
    group.add_argument("--skip-deleted", action="store_true", help="pass over blocks with / (block delete)")
    group.add_argument(
        "--harmless",
        action="append",
        default=[],
        metavar="WORD",
        help="a word that does nothing, such as M106 or MSG; may be given again",
    )
    group.add_argument(
        "--arc-tolerance", metavar="MM", help="by how much the radii of an arc may differ (default: rounding)"
    )
    group.add_argument(
        "--spindle-by-hand", action="store_true", help="the spindle is switched on by hand: no M3 is missed"
    )


def meant_of(options: argparse.Namespace, spoilboard: str | None = None):
    """Return the Meant that these options, and --spoilboard as text, say.  Raises InputProblems."""
    from simkit.job.meant import meant_from_words

    return meant_from_words(*(getattr(options, name) for name in MEANT), spoilboard=spoilboard)


def print_text(text: str) -> None:
    """Print a text on standard output; a reader that went away is no fault.  Raises InputProblems."""
    shown(lambda: print(text))


def print_wrapped(text: str) -> None:
    """Print a text with lines no longer than the terminal is wide.  Raises InputProblems."""
    print_text(wrapped(text, width()))


def cell_of(text: str | None) -> float:
    """Return the edge of a field cell, mm, from the text behind --cell.  Raises InputProblems."""
    if text is None:
        return 0.2
    from simkit.units import length_mm

    place = Place("command line", key="--cell")
    try:
        cell = length_mm(text, "mm")
    except ValueError as reason:
        raise InputProblems(
            Problem(place, str(reason), "a length such as 0.2", "write the cell's edge in mm")
        ) from None
    if not 0.005 <= cell <= 10:
        raise InputProblems(Problem(place, f"{cell:g} mm", "0.005 to 10 mm", "0.2 mm suits most parts"))
    return cell
