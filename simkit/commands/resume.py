"""`simkit resume`: where to start again after a break."""

from __future__ import annotations

import argparse
from pathlib import Path

from simkit.commands.words import EPILOG, cell_of, print_wrapped
from simkit.errors import InputProblems, Place, Problem
from simkit.report.shown import wrote
from simkit.runs.outputs import check_json


def add_resume(commands) -> None:
    """Add the command to the parsers of a command line."""
    resume = commands.add_parser(
        "resume",
        help="say where to start again after a bit broke, and check what is run then",
        description=(
            "Say at which line a program that was broken off may be started again, what the control must "
            "have in force there, and check all lines up to the break and those from there on."
        ),
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    resume.add_argument("job", metavar="JOB.toml", type=Path, help="the job file")
    resume.add_argument("broken", metavar="PROGRAM:LINE", help="the line in which it broke off")
    resume.add_argument(
        "--from",
        dest="start_from",
        type=int,
        metavar="LINE",
        help="start again at this line (default: the last safe one up to the break)",
    )
    resume.add_argument(
        "--field",
        type=Path,
        metavar="FILE",
        help="take what the setups before it left from a kept field, do not cut them again",
    )
    resume.add_argument(
        "--ran-now",
        action="store_true",
        help="with --field: in this setup the programs ran as they are now, not as they are kept",
    )
    resume.add_argument(
        "--cell", type=str, metavar="MM", help="edge of a field cell (default 0.2 mm, or that of --field)"
    )
    resume.add_argument("--json", type=Path, metavar="FILE", help="write all of it as JSON, too")


def run_resume(options: argparse.Namespace) -> int:
    """Say where to start again; the exit status is that of the check of what is run then."""
    cell = cell_of(options.cell)
    if options.ran_now and options.field is None:
        place = Place("command line", key="--ran-now")
        remedy = "leave it out: without --field all is cut by the programs as they are now"
        raise InputProblems(Problem(place, "--ran-now alone", "--field FILE beside it", remedy))
    if options.json:
        check_json(options.json)
    from simkit.job.reader import read_job
    from simkit.program.job_programs import read_programs
    from simkit.report.console import Console

    job = read_job(options.job)
    with Console().progress() as progress:
        progress.stage("reading the programs")
        reads = read_programs(job)
        from simkit.report.result import write_json
        from simkit.report.resume import resume_text
        from simkit.resume import kept_field, resume

        kept = None
        if options.field is not None:
            kept = kept_field(options.field, None if options.cell is None else cell)
            cell = kept.cell
        told = resume(job, reads, options.broken, cell, progress, options.start_from, kept, options.ran_now)
        if options.json:
            write_json(options.json, told)
    if options.json:
        wrote(options.json)
    print_wrapped(resume_text(told))
    return 1 if told["result"] is None else told["result"]["verdict"]["exit_status"]
