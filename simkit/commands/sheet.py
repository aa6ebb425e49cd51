"""`simkit sheet`: the sheet for the shop."""

from __future__ import annotations

import argparse
from pathlib import Path

from simkit.commands.words import print_text
from simkit.report.shown import wrote
from simkit.runs.outputs import check_json


def add_sheet(commands) -> None:
    """Add the command to the parsers of a command line."""
    sheet = commands.add_parser(
        "sheet",
        help="print the sheet for the shop: boards, zeros, pins, cutters, what to measure",
        description="Print the sheet for the shop: boards to cut, then each setup as the operator sees it.",
        allow_abbrev=False,
    )
    sheet.add_argument("job", metavar="JOB.toml", type=Path, help="the job file")
    sheet.add_argument("--json", type=Path, metavar="FILE", help="write the sheet as JSON, too")


def run_sheet(options: argparse.Namespace) -> int:
    """Print the sheet for the shop; 0 when the job and its programs can be read."""
    if options.json:
        check_json(options.json)
    from simkit.job.reader import read_job
    from simkit.program.job_programs import read_programs
    from simkit.report.sheet import sheet_of
    from simkit.report.sheet_text import sheet_text

    job = read_job(options.job)
    sheet = sheet_of(job, read_programs(job))
    if options.json:
        from simkit.report.result import write_json

        write_json(options.json, sheet)
    if options.json:
        wrote(options.json)
    print_text(sheet_text(sheet))
    return 0
