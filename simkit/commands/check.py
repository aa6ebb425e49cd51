"""`simkit check`: a job file, many of them, or programs on a stated blank."""

from __future__ import annotations

import argparse
from pathlib import Path

from simkit.commands.words import EPILOG, MEANT, add_meant, cell_of, meant_of
from simkit.errors import InputProblems, Place, Problem
from simkit.runs.options import add_options

_ALONE = ("blank", "cutter", "target", "zero", "spoilboard", *MEANT)  # options without a job file


def add_check(commands) -> None:
    """Add the command to the parsers of a command line."""
    check = commands.add_parser(
        "check",
        help="check a job file, or one program on a stated blank",
        description=("Check a job file (TOML), or one or more programs of a single setup on a stated blank."),
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    check.add_argument(
        "input", nargs="+", metavar="JOB.toml | FOLDER | PROGRAM", help="what to check; jobs may be several"
    )
    check.add_argument("--cell", type=str, metavar="MM", help="edge of a field cell (default 0.2 mm)")
    check.add_argument("--json", type=Path, metavar="FILE", help="write the result as JSON")
    check.add_argument("--pictures", type=Path, metavar="DIR", help="write pictures there")
    check.add_argument(
        "--section",
        action="append",
        default=[],
        metavar='"X,Y to X,Y"',
        help="in pictures and report show it cut open along this line of the blank; may be given again",
    )
    check.add_argument(
        "--report", type=Path, metavar="FILE.html", help="write a report to keep, one file for any browser"
    )
    check.add_argument(
        "--keep-field",
        type=Path,
        metavar="FILE",
        help="write what stands after each setup, for simkit resume",
    )
    check.add_argument(
        "--quiet", action="store_true", help="print the verdict line only, no progress or tables"
    )
    check.add_argument(
        "--accept",
        action="store_true",
        help="print, after the report, the lines that accept each finding in the job file",
    )
    add_options(check.add_argument_group("in a build"))
    alone = check.add_argument_group("without a job file")
    alone.add_argument(
        "--blank", metavar="LxWxT", help='blank size, such as 280x90x38 or "11x3 1/2x1 1/2 in"'
    )
    alone.add_argument(
        "--cutter",
        action="append",
        default=[],
        metavar="N=SHAPE:DIAMETER",
        help="a cutter by tool number, such as 1=ball:6 or 2=flat:1/4in; may be given again",
    )
    alone.add_argument(
        "--target", type=Path, metavar="MESH", help="the wanted part, in blank coordinates, mm"
    )
    alone.add_argument(
        "--zero",
        metavar="WORDS",
        help='where X0 Y0 Z0 is, such as "left front top" (the default) or "centre bottom"',
    )
    alone.add_argument(
        "--spoilboard", metavar="MM", help="how deep cutters may go below the blank (default: not at all)"
    )
    add_meant(check.add_argument_group("without a job file, how the programs are meant"))


def run_check(options: argparse.Namespace) -> int:
    """Check what is named and return the exit status.  Raises InputProblems."""
    from simkit.runs import command, found

    cell, wish = cell_of(options.cell), command.wish_of(options)
    paths = found.job_paths(options.input)
    if paths is not None:
        _refuse_beside_job_file(options)
        return command.check_many(paths, cell, wish)
    job = _job(options)
    return command.check_one(job, cell, wish)


def _refuse_beside_job_file(options: argparse.Namespace) -> None:
    problems = [
        Problem(
            Place("command line", key=f"--{name}"),
            f"--{name} beside a job file",
            "it in the job file",
            "leave it out here: the job file states it",
        )
        for name in (word.replace("_", "-") for word in _ALONE if getattr(options, word))
    ]
    if problems:
        raise InputProblems(problems)


def _job(options: argparse.Namespace):
    """Return the job of a job file, or of the programs and options given instead of one."""
    from simkit.job import reader

    paths = [Path(name) for name in options.input]
    if any(path.suffix.lower() == ".toml" for path in paths):
        problems = []
        try:
            _refuse_beside_job_file(options)
        except InputProblems as found:
            problems += found.problems
        if len(paths) > 1:
            problems.append(
                Problem(
                    Place("command line"),
                    f"{len(paths)} inputs with a job file among them",
                    "one job file, or programs with --blank and --cutter",
                    "check one job at a time",
                )
            )
        if problems:
            raise InputProblems(problems)
        return reader.read_job(paths[0])
    if options.accept:
        raise InputProblems(
            Problem(
                Place("command line", key="--accept"),
                "--accept without a job file",
                "a job file, in which findings can be accepted",
                "leave it out, or write a job file (simkit template prints one)",
            )
        )
    return reader.job_from_words(
        programs=options.input,
        blank=options.blank,
        cutters=options.cutter,
        target=options.target,
        zero=options.zero,
        meant=meant_of(options, options.spoilboard),
    )
