"""`simkit read`: what is in a program, without any job."""

from __future__ import annotations

import argparse
from pathlib import Path

from simkit.commands.words import add_meant, meant_of, print_text
from simkit.errors import InputProblems, Place, Problem
from simkit.report.shown import wrote
from simkit.runs.outputs import check_json


def add_read(commands) -> None:
    """Add the command to the parsers of a command line."""
    read = commands.add_parser(
        "read",
        help="tell what is in a program, without any job",
        description="Tell what is in a program: units, zero, cutters, depths, feeds, times, warnings.",
        allow_abbrev=False,
    )
    read.add_argument("program", metavar="PROGRAM", type=Path, help="the file that goes to the machine")
    read.add_argument("--json", type=Path, metavar="FILE", help="write the summary as JSON, too")
    read.add_argument("--blank", metavar="LxWxT", help="tell start and depth against this blank")
    read.add_argument(
        "--zero", metavar="WORDS", help='where X0 Y0 Z0 is on the blank (default "left front top")'
    )
    read.add_argument("--rapid", metavar="MM/MIN", help="speed of rapids, to tell their time")
    add_meant(read.add_argument_group("how the program is meant"))


def run_read(options: argparse.Namespace) -> int:
    """Print what is in a program; 0 when it can be read."""
    from simkit.job.direct import blank_from_text, zero_from_text
    from simkit.program.job_programs import bytes_of, words_not_harmless
    from simkit.report import program_summary
    from simkit.report.program_text import summary_text

    blank = blank_from_text(options.blank) if options.blank else None
    zero = zero_from_text(options.zero) if options.zero else None
    if zero and not blank:
        place = Place("command line", key="--zero")
        raise InputProblems(
            Problem(place, "--zero without --blank", "a blank it is on", "add --blank 280x90x38")
        )
    rapid = _rapid(options.rapid)
    if options.json:
        check_json(options.json)
    if problems := words_not_harmless(tuple(options.harmless), "command line", "--harmless"):
        raise InputProblems(problems)
    meant, name = meant_of(options), str(options.program)
    read = program_summary.read_alone(bytes_of(options.program, name), name, meant)
    placed = tuple(meant.work_offsets)
    summary = program_summary.summary_of(
        read, blank=blank, zero=zero, rapid=rapid, placed=placed, stated_units=meant.program_units
    )
    if options.json:
        from simkit.report.result import write_json

        write_json(options.json, summary)
    if options.json:
        wrote(options.json)
    print_text(summary_text(summary))
    return 0


def _rapid(text: str | None) -> float | None:
    if text is None:
        return None
    try:
        speed = float(text)
    except ValueError:
        speed = 0.0
    if not 1.0 <= speed <= 1e6:
        place = Place("command line", key="--rapid")
        raise InputProblems(
            Problem(place, f"'{text}'", "a speed from 1 to 1000000 mm/min", "write it like --rapid 5000")
        )
    return speed
