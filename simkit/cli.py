"""The command line: words in, one verdict and an exit status out.

Nothing heavy is imported before it is known that there is something to check: help, version and
unusable input answer at once.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Sequence

import simkit
from simkit.commands.check import add_check, run_check
from simkit.commands.film import add_film, run_film
from simkit.commands.page import add_page, run_page
from simkit.commands.parser import Parser
from simkit.commands.read import add_read, run_read
from simkit.commands.resume import add_resume, run_resume
from simkit.commands.sheet import add_sheet, run_sheet
from simkit.commands.view import add_view, run_view
from simkit.commands.whatif import add_whatif, run_whatif
from simkit.commands.words import EPILOG, cell_of, print_text
from simkit.draft.command import add_draft, run_draft
from simkit.errors import InputProblems, Interrupted
from simkit.runs.outputs import schema_text
from simkit.runs.watch import add_watch, run_watch

WITHIN, UNUSABLE, OUR_FAULT, STOPPED = 0, 2, 3, 130


def _parser() -> Parser:
    parser = Parser(
        prog="simkit",
        description="Cuts a two-sided wood blank in memory as its programs would, and says what to fix.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"simkit {simkit.__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", parser_class=Parser)
    add_check(commands)
    add_read(commands)
    add_whatif(commands)
    add_draft(commands)
    add_watch(commands)
    add_film(commands)
    add_view(commands)
    add_page(commands)
    add_sheet(commands)
    add_resume(commands)
    schema = commands.add_parser(
        "schema",
        help="print the JSON Schema of job files or of results",
        description="Print the JSON Schema (2020-12) of job files, or of what check --json writes.",
        allow_abbrev=False,
    )
    schema.add_argument("of", choices=("job", "result"), metavar="job | result", help="of what")
    commands.add_parser(
        "template",
        help="print a commented job file to fill in",
        description="Print a commented job file to fill in.",
        allow_abbrev=False,
    )
    return parser


def main(argv: Sequence[str]) -> int:
    """Run one command and return its exit status; argv without the program's name."""
    outcome = "nothing was checked"
    try:
        options = _parser().parse_args(argv)
        if options.command == "read":
            outcome = "mend them and read the program again"
        return _run(options)
    except SystemExit as leaving:  # argparse after --help and --version
        return int(leaving.code or 0)
    except InputProblems as problems:
        print(_problem_text(problems, outcome), file=sys.stderr)
        return problems.status
    except (KeyboardInterrupt, Interrupted):
        print("stopped; nothing half-written is left", file=sys.stderr)
        return STOPPED
    except Exception:
        return _own_fault()


def _problem_text(problems: InputProblems, outcome: str) -> str:
    lines, count = problems.lines(), len(problems.problems)
    if len(lines) > 1:
        more = len(problems.warnings)
        warned = f" and {more} warning{'' if more == 1 else 's'}" if more else ""
        lines.append(f"{count} problem{'s' if count > 1 else ''}{warned}; {outcome}")
        from simkit.program.state import PROBLEM_LIMIT

        counts = Counter(problem.place.file for problem in problems.problems)
        full = [file for file, count in counts.items() if count >= PROBLEM_LIMIT]
        lines += [
            f"{file}: there may be more, for reading stopped at {PROBLEM_LIMIT} problems" for file in full
        ]
    return "\n".join(lines)


def _own_fault() -> int:
    """Keep the traceback in a file to send, and say so in one line."""
    from simkit.runs.unchecked import keep_traceback

    print(f"a fault of simkit itself, not of your input; {keep_traceback()}", file=sys.stderr)
    return OUR_FAULT


def _run(options: argparse.Namespace) -> int:
    if options.command == "template":
        from simkit.job.schema import template_text

        print_text(template_text())
        return WITHIN
    if options.command == "schema":
        print_text(schema_text(options.of))
        return WITHIN
    if options.command == "read":
        return run_read(options)
    if options.command == "check":
        return run_check(options)
    if options.command == "whatif":
        return run_whatif(options)
    if options.command == "sheet":
        return run_sheet(options)
    if options.command == "film":
        return run_film(options)
    if options.command == "view":
        return run_view(options)
    if options.command == "resume":
        return run_resume(options)
    if options.command == "draft":
        print_text(run_draft(options))
        return WITHIN
    if options.command == "page":
        return run_page(options)
    if options.command == "watch":
        return run_watch(options, cell_of(options.cell))
    _parser().print_help()
    return UNUSABLE
