"""`simkit draft`: writes a first job file beside the programs and meshes of a folder."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from simkit.errors import InputProblems, Place, Problem
from simkit.job.key import UNFILLED

JOB_FILE = "job.toml"


def add_draft(commands) -> None:
    """Add the command to the parsers of a command line."""
    draft = commands.add_parser(
        "draft",
        help="write a first job file from the programs and meshes of a folder",
        description=(
            f"Look at the programs and meshes of a folder and write a commented {JOB_FILE} there: what they "
            f'tell, guesses with their evidence, and "{UNFILLED}" where only you know.'
        ),
        allow_abbrev=False,
    )
    draft.add_argument("folder", metavar="FOLDER", type=Path, help="where the programs and the mesh lie")
    draft.add_argument("--replace", action="store_true", help=f"write over a {JOB_FILE} that is there")


def run_draft(options: argparse.Namespace) -> str:
    """Write the job file and return words on what is left to fill in.  Raises InputProblems."""
    path, text, problems = write_draft(options.folder, options.replace)
    for one in problems:
        for line in one.lines():
            print(line, file=sys.stderr)
    return summary(path, text)


def write_draft(folder: Path, replace: bool = False) -> tuple[Path, str, list[InputProblems]]:
    """Write the job file of a folder; return its path, its text, and what could not be read there.

    replace: write over one that is there.  Raises InputProblems.
    """
    path = folder / JOB_FILE
    place = Place("command line")
    if not folder.is_dir():
        found = f"'{folder}', which is a file" if folder.exists() else f"no folder '{folder}'"
        raise InputProblems(Problem(place, found, "a folder with programs", "name the folder they lie in"))
    if path.is_dir() or (path.exists() and not replace):
        remedy = "take it out of the way, or add --replace to write over it"
        remedy = "rename that folder" if path.is_dir() else remedy
        raise InputProblems(Problem(place, f"'{path}', already there", f"no {JOB_FILE} yet", remedy))
    from simkit.draft.draft import draft
    from simkit.draft.seen import PROGRAMS, seen_in
    from simkit.report.whole_file import write_whole

    try:
        seen = seen_in(folder)
    except OSError as reason:
        found = f"'{reason.strerror}'"
        raise InputProblems(
            Problem(Place(str(folder)), found, "a folder that can be read", "check it")
        ) from None
    if not seen.programs and not seen.meshes:
        expected = f"programs ({', '.join(PROGRAMS)}) or a mesh"
        remedy = "put them there; what lies in folders below is not looked at"
        raise InputProblems(Problem(Place(str(folder)), "neither program nor mesh", expected, remedy))
    text = draft(folder, seen)
    write_whole(path, text, "FOLDER")
    return path, text, seen.problems


def summary(path: Path, text: str) -> str:
    """Return what a person has to do with a drafted job file."""
    rows = text.splitlines()
    blanks, table, setups = [], "", 0
    for number, row in enumerate(rows, 1):
        if row.startswith("["):
            table = row.strip("[]")
            setups += table == "setups"
            table = f"side {setups}" if table == "setups" else table.replace("cutters.", "cutter T")
        elif f'"{UNFILLED}"' in row and not row.startswith("#"):
            blanks.append((number, f"{table}, {row.split('=')[0].strip()}".removeprefix(", ")))
    guesses = sum(row.startswith("# GUESS: ") and "told from what" not in row for row in rows)
    lines = [f"wrote {path}: {len(blanks)} blanks to fill in, {guesses} guesses to look at"]
    lines += [f"  line {number}: {key}" for number, key in blanks]
    return "\n".join([*lines, f"then: simkit check {path}"])
