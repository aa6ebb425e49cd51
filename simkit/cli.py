"""The command line: words in, one verdict and an exit status out.

Nothing heavy is imported before it is known that there is something to check: help, version and
unusable input answer at once.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import simkit
from simkit.draft.command import add_draft, run_draft
from simkit.errors import InputProblems, Interrupted, Place, Problem, nearest_word
from simkit.runs.options import add_options
from simkit.runs.outputs import check_json, schema_text
from simkit.runs.watch import add_watch, run_watch

WITHIN, BEYOND, UNUSABLE, OUR_FAULT, STOPPED = 0, 1, 2, 3, 130

_EPILOG = """\
exit status: 0 within limits, 1 beyond limits or undecided, 2 the input cannot be used,
3 a fault of simkit itself, 130 interrupted.

A simulation is no proof.  Check clamps and tape, guard eyes, ears and lungs, keep hands clear, and
run the first pass in the air.  The machine's manual, local codes and licensed practice come first.
"""


class _Parser(argparse.ArgumentParser):
    """A parser that reports misuse like every other unusable input."""

    def error(self, message: str):
        """Raise what is wrong with the words as a problem with a remedy."""
        found, expected, remedy = message, "words simkit knows", f"see {self.prog} --help"
        if message.startswith("unrecognized arguments: "):
            raise InputProblems(self._left_over(message.split(": ", 1)[1].split()))
        if message.startswith("argument --") and "invalid choice: " in message:
            option = message.split()[1].rstrip(":")
            word = message.split("invalid choice: ", 1)[1].split("'")[1]
            choices = next(a.choices for a in self._actions if option in a.option_strings)
            found, expected = f"'{word}' behind {option}", f"one of {', '.join(choices)}"
            remedy = f"write {' or '.join(f'{option} {choice}' for choice in choices)}"
        elif "invalid choice: " in message:
            word = message.split("invalid choice: ", 1)[1].split("'")[1]
            known = self.commands() or next(a.choices for a in self._actions if a.choices)
            what = "a command" if self.commands() else "one of these"
            found, expected = f"'{word}'", f"{what} ({', '.join(known)})"
            near = nearest_word(word, known)
            remedy = f"did you mean {near}? {remedy}" if near else remedy
        raise InputProblems(Problem(Place("command line"), found, expected, remedy))

    def _left_over(self, words: list[str]) -> Problem:
        """Return what is wrong with words that no command took; called on the parser of all commands."""
        word = next((word for word in words if word.startswith("-")), words[0])
        name = word.split("=", 1)[0]
        place = Place("command line")
        if not word.startswith("-"):
            # `check` takes several, but not with options between them.
            expected = "one program behind simkit read, and those of simkit check side by side"
            remedy = (
                "run simkit read once for each program; for simkit check write the options behind them all"
            )
            return Problem(place, f"'{word}', one file too many here", expected, remedy)
        # Only `read` and `template` refuse an option that another command has.
        takers = [command for command in self.commands() if name in self._options_of(command)]
        if takers:
            command = takers[0]
            remedy = f"leave it out, or run simkit {command} (see simkit {command} --help)"
            return Problem(
                place, f"'{name}'", f"an option of this command; {name} is one of {command}", remedy
            )
        near = nearest_word(name, self.all_options())
        remedy = f"did you mean {near}? see {self.prog} --help" if near else f"see {self.prog} --help"
        return Problem(place, f"'{word}'", "an option simkit knows", remedy)

    def _options_of(self, command: str) -> list[str]:
        for action in self._actions:
            if isinstance(action, argparse._SubParsersAction):
                return action.choices[command].all_options()
        return []

    def commands(self) -> list[str]:
        """Return the names of this parser's commands."""
        return [
            name
            for action in self._actions
            if isinstance(action, argparse._SubParsersAction)
            for name in action.choices
        ]

    def all_options(self) -> list[str]:
        """Return the options of this parser and of its commands."""
        options = [option for action in self._actions for option in action.option_strings]
        for action in self._actions:
            if isinstance(action, argparse._SubParsersAction):
                for parser in action.choices.values():
                    options += parser.all_options()
        return options


def _parser() -> _Parser:
    parser = _Parser(
        prog="simkit",
        description="Cuts a two-sided wood blank in memory as its programs would, and says what to fix.",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"simkit {simkit.__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", parser_class=_Parser)
    check = commands.add_parser(
        "check",
        help="check a job file, or one program on a stated blank",
        description=("Check a job file (TOML), or one or more programs of a single setup on a stated blank."),
        epilog=_EPILOG,
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
    _add_meant(check.add_argument_group("without a job file, how the programs are meant"))
    _add_read(commands)
    _add_whatif(commands)
    add_draft(commands)
    add_watch(commands)
    sheet = commands.add_parser(
        "sheet",
        help="print the sheet for the shop: boards, zeros, pins, cutters, what to measure",
        description="Print the sheet for the shop: boards to cut, then each setup as the operator sees it.",
        allow_abbrev=False,
    )
    sheet.add_argument("job", metavar="JOB.toml", type=Path, help="the job file")
    sheet.add_argument("--json", type=Path, metavar="FILE", help="write the sheet as JSON, too")
    resume = commands.add_parser(
        "resume",
        help="say where to start again after a bit broke, and check what is run then",
        description=(
            "Say at which line a program that was broken off may be started again, what the control must "
            "have in force there, and check all lines up to the break and those from there on."
        ),
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    resume.add_argument("job", metavar="JOB.toml", type=Path, help="the job file")
    resume.add_argument("broken", metavar="PROGRAM:LINE", help="the line in which it broke off")
    resume.add_argument("--cell", type=str, metavar="MM", help="edge of a field cell (default 0.2 mm)")
    resume.add_argument("--json", type=Path, metavar="FILE", help="write all of it as JSON, too")
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


def _add_read(commands) -> None:
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
    _add_meant(read.add_argument_group("how the program is meant"))


def _add_whatif(commands) -> None:
    whatif = commands.add_parser(
        "whatif",
        help="check a job as stated and with a change, side by side",
        description=(
            "Check a job file as it is stated and once more with what is supposed to differ: "
            "where the cuts of a setup land, how thick the blank is, how wide a cutter measures."
        ),
        epilog=_EPILOG,
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
    whatif.add_argument("--thickness", metavar="MM", help="by how much the blank is thicker than stated")
    whatif.add_argument(
        "--measured", metavar="N=DIAMETER", help="a cutter as it measures, such as 3=5.87", **again
    )
    whatif.add_argument("--cell", type=str, metavar="MM", help="edge of a field cell (default 0.2 mm)")
    whatif.add_argument("--json", type=Path, metavar="FILE", help="write both results as JSON")
    whatif.add_argument("--quiet", action="store_true", help="print the two verdicts only")


# What a job file says of how programs are meant, and the options that say it without one.
_MEANT = ("units", "work_offset", "skip_deleted", "harmless", "arc_tolerance", "spindle_by_hand")


def _add_meant(group) -> None:
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


def _meant(options: argparse.Namespace, spoilboard: str | None = None):
    from simkit.job.meant import meant_from_words

    return meant_from_words(*(getattr(options, name) for name in _MEANT), spoilboard=spoilboard)


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
        warned = f" and {len(problems.warnings)} warnings" if problems.warnings else ""
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

        print(template_text())
        return WITHIN
    if options.command == "schema":
        _print(schema_text(options.of))
        return WITHIN
    if options.command == "read":
        return _read(options)
    if options.command == "check":
        return _check(options)
    if options.command == "whatif":
        return _whatif(options)
    if options.command == "sheet":
        return _sheet(options)
    if options.command == "resume":
        return _resume(options)
    if options.command == "draft":
        _print(run_draft(options))
        return WITHIN
    if options.command == "watch":
        return run_watch(options, _cell(options.cell))
    _parser().print_help()
    return UNUSABLE


def _check(options: argparse.Namespace) -> int:
    from simkit.runs import command, found

    cell, wish = _cell(options.cell), command.wish_of(options)
    paths = found.job_paths(options.input)
    if paths is not None:
        _refuse_beside_job_file(options)
        return command.check_many(paths, cell, wish)
    job = _job(options)
    return command.check_one(job, cell, wish)


def _whatif(options: argparse.Namespace) -> int:
    """Check a job and a changed one; the exit status is that of the changed one."""
    cell = _cell(options.cell)
    if options.json:
        check_json(options.json)
    from simkit.job.change import change_from_words
    from simkit.job.reader import read_job
    from simkit.program.job_programs import read_programs
    from simkit.report.console import Console

    job = read_job(options.job)
    change = change_from_words(job, options.shift, options.turn, options.thickness, options.measured)
    with Console(quiet=options.quiet).progress() as progress:
        progress.stage("reading the programs")
        reads = read_programs(job)
        from simkit.check import check
        from simkit.report.result import result_of, write_json
        from simkit.report.whatif import whatif_result, whatif_text
        from simkit.warm import warm_up

        warm_up(progress)
        stated, changed = (result_of(*check(one, reads, cell, progress)) for one in (job, change.of(job)))
        result = whatif_result(change.words(job), stated, changed)
        if options.json:
            write_json(options.json, result)
    text = whatif_text(result)
    _print("\n".join(text.splitlines()[-2:]) if options.quiet else text)
    return changed["verdict"]["exit_status"]


def _sheet(options: argparse.Namespace) -> int:
    """Print the sheet for the shop; 0 when the job and its programs can be read."""
    if options.json:
        check_json(options.json)
    from simkit.job.reader import read_job
    from simkit.program.job_programs import read_programs
    from simkit.report.sheet import sheet_of, sheet_text

    job = read_job(options.job)
    sheet = sheet_of(job, read_programs(job))
    if options.json:
        from simkit.report.result import write_json

        write_json(options.json, sheet)
    _print(sheet_text(sheet))
    return WITHIN


def _resume(options: argparse.Namespace) -> int:
    """Say where to start again; the exit status is that of the check of what is run then."""
    cell = _cell(options.cell)
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
        from simkit.resume import resume

        told = resume(job, reads, options.broken, cell, progress)
        if options.json:
            write_json(options.json, told)
    _print(resume_text(told))
    return BEYOND if told["result"] is None else told["result"]["verdict"]["exit_status"]


def _read(options: argparse.Namespace) -> int:
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
    meant, name = _meant(options), str(options.program)
    read = program_summary.read_alone(bytes_of(options.program, name), name, meant)
    placed = tuple(meant.work_offsets)
    summary = program_summary.summary_of(
        read, blank=blank, zero=zero, rapid=rapid, placed=placed, stated_units=meant.program_units
    )
    if options.json:
        from simkit.report.result import write_json

        write_json(options.json, summary)
    _print(summary_text(summary))
    return WITHIN


def _print(text: str) -> None:
    try:
        print(text)
        sys.stdout.flush()
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


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


def _cell(text: str | None) -> float:
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


_ALONE = ("blank", "cutter", "target", "zero", "spoilboard", *_MEANT)  # options without a job file


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
        meant=_meant(options, options.spoilboard),
    )
