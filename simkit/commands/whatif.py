"""`simkit whatif`: a job as stated and with what is supposed to differ."""

from __future__ import annotations

import argparse
from pathlib import Path

from simkit.commands.words import EPILOG, cell_of, print_text, print_wrapped
from simkit.report.shown import wrote
from simkit.runs.outputs import check_json


def add_whatif(commands) -> None:
    """Add the command to the parsers of a command line."""
    whatif = commands.add_parser(
        "whatif",
        help="check a job as stated and with a change, side by side",
        description=(
            "Check a job file as it is stated and once more with what is supposed to differ: "
            "where the cuts of a setup land, how thick the blank is, how thick a step leaves it, how wide a "
            "cutter measures."
        ),
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    whatif.add_argument("job", metavar="JOB.toml", type=Path, help="the job file")
    again = {"action": "append", "default": []}
    whatif.add_argument(
        "--shift",
        metavar="SETUP=RIGHT,BACK[,UP]",
        help='by how much the cuts of a setup land off their place, such as "side 2=0.3,-0.2"',
        **again,
    )
    whatif.add_argument(
        "--turn",
        metavar="SETUP=DEGREES",
        help="by how much they are turned about the middle of the blank, counter-clockwise from above",
        **again,
    )
    whatif.add_argument(
        "--thickness",
        metavar="LENGTH",
        help="by how much the blank is thicker than stated, such as -0.5 or -1/64in",
    )
    whatif.add_argument(
        "--planed",
        metavar="STEP=LENGTH",
        help="by how much a step to a thickness leaves the blank thicker than stated, such as 2=0.1",
        **again,
    )
    whatif.add_argument(
        "--measured", metavar="N=DIAMETER", help="a cutter as it measures, such as 3=5.87", **again
    )
    whatif.add_argument("--cell", type=str, metavar="MM", help="edge of a field cell (default 0.2 mm)")
    whatif.add_argument("--json", type=Path, metavar="FILE", help="write both results as JSON")
    whatif.add_argument("--quiet", action="store_true", help="print the two verdicts only")


def run_whatif(options: argparse.Namespace) -> int:
    """Check a job and a changed one; the exit status is that of the changed one."""
    cell = cell_of(options.cell)
    if options.json:
        check_json(options.json)
    from simkit.job.change import change_from_words
    from simkit.job.reader import read_job
    from simkit.program.job_programs import read_programs
    from simkit.report.console import Console

    job = read_job(options.job)
    change = change_from_words(
        job, options.shift, options.turn, options.thickness, options.measured, options.planed
    )
    with Console(quiet=options.quiet).progress() as progress:
        progress.stage("reading the programs")
        reads = read_programs(job)
        from simkit.check import check_both
        from simkit.report.result import result_of, write_json
        from simkit.report.whatif import whatif_result, whatif_text
        from simkit.warm import warm_up

        warm_up(progress)
        stated, changed = (result_of(*one) for one in check_both(job, change, reads, cell, progress))
        result = whatif_result(change.words(job), stated, changed)
        if options.json:
            write_json(options.json, result)
    if options.json and not options.quiet:
        wrote(options.json)
    text = whatif_text(result)
    if options.quiet:
        print_text("\n".join(text.splitlines()[-2:]))
    else:
        print_wrapped(text)
    return changed["verdict"]["exit_status"]
