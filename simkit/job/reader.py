"""Reads a job file (TOML) into a Job, or tells everything that is wrong with it at once."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

from simkit.cutters import Cutter
from simkit.errors import InputProblems, Place, Problem
from simkit.job.accepted import accepted_rules, made_accepted
from simkit.job.budget import BudgetSpec
from simkit.job.check import Checker, in_order, is_bad
from simkit.job.direct import job_from_words
from simkit.job.files import file_problem, shown_text
from simkit.job.holding import holding_rules
from simkit.job.key import UNFILLED
from simkit.job.layup import layup_rules, made_layup
from simkit.job.locate import Spot, locate
from simkit.job.lookalike import around, letters_remedy, mended
from simkit.job.machine import machine_rules
from simkit.job.model import (
    Blank,
    Dowel,
    Fixture,
    Holding,
    Job,
    Limits,
    Machine,
    Setup,
    TargetSpec,
    Zero,
)
from simkit.job.rules import cutter_rules, dowel_rules, setup_rules
from simkit.job.schema import UNITS, VERSION
from simkit.job.step_rules import made_step, step_rules
from simkit.job.zones import made_zone, zone_rules

__all__ = ["job_from_words", "raw_tables", "read_job"]

_POINT = re.compile(r"(\d*)\.(\d*)(?:\s*#.*)?")  # a number with nothing before its point, or behind it
_PROGRAMS = (".nc", ".ngc", ".tap", ".cnc", ".gcode", ".gc")
_MOST_PARTS = 40  # of a key with dots; a job file needs three
_DEEP_KEY = re.compile(
    r"""(?<![\w"'-])(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+)"""
    rf"{{{_MOST_PARTS}}}"
)
_MOST_BYTES = 1_000_000  # a job file has a few thousand; anything above is another kind of file
_PLAIN = re.compile(
    r"""[ \t]*[\w."-]+[ \t]*=[^\[\]{}"']*"""
)  # a key and a value in one line, no text or list
_ONCE = "each key once in a table"
_END, _ONE = "the end of the line", "a number, text in quotes, a list in [ ] or a table in { }"
_DATE = "a number, or text in quotes"
_VALUES = (_END, _ONE, _DATE)  # expected where the value of a key is wrong, and nothing else
_MOST_LINES = 50  # that are no TOML: more of them are another kind of file
_AT = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")


def read_job(path: Path, shown: str | None = None) -> Job:
    """Return the job of a TOML file, all lengths in mm, with the line of every key.

    path: the job file; programs and mesh are looked for from its folder, their paths in the job are
    that folder joined with the text in the file.  shown: the path as messages write it.
    Errors: lengths carry the rounding of one float64 product.
    Raises InputProblems with every problem found, in the order of the file.
    """
    path = Path(path)
    name = str(path) if shown is None else shown
    text = _text(path, name)
    values, spots, mistyped = _read_on(text, name)
    checker = Checker(name, spots, _unit(values))
    if not mistyped:
        _check_version(checker, values.get("version"))
    tables = checker.table(values, "", "")
    blank, cutters, setups, dowels = (tables[key] for key in ("blank", "cutters", "setups", "dowels"))
    if not is_bad(cutters):
        cutter_rules(checker, cutters, blank, "cutters")
        layup_rules(checker, tables["layup"], blank, values.get("layup"))
    if not is_bad(setups):
        setup_rules(checker, setups, cutters, dowels)
    if not is_bad(dowels):
        dowel_rules(checker, dowels, blank)
    step_rules(checker, tables["steps"], setups, blank)
    machine_rules(checker, tables["machine"], tables["fixtures"], setups)
    holding_rules(checker, tables["holding"], setups)
    if not is_bad(tables["zones"]):
        zone_rules(checker, tables["zones"], blank)
    if not is_bad(tables["accepted"]):
        accepted_rules(checker, tables["accepted"])
    _files(checker, tables, path, name)
    # What stands in such a line was put there to read on, and is told already.
    lines = {problem.place.line for problem in mistyped}
    problems = mistyped + [one for one in checker.problems if one.place.line not in lines]
    if problems:
        raise InputProblems(in_order(problems))
    return _job(tables, path, name, spots)


def raw_tables(path: Path, name: str) -> tuple[str, dict[str, Any]]:
    """Return the text of a job file and what stands in it, none of it judged.

    name: for messages.  Raises InputProblems when it cannot be read as TOML.
    """
    text = _text(path, name)
    return text, _parsed(text, name)[0]


def _text(path: Path, name: str) -> str:
    """Return the text of the job file."""
    place = Place(name)
    if problem := file_problem(path, name, place, "a job file (TOML)"):
        raise InputProblems(problem)
    if path.suffix.lower() in _PROGRAMS:
        remedy = "name the job file that runs it; simkit draft FOLDER writes one"
        raise InputProblems(Problem(place, "a program", "a job file (TOML)", remedy))
    size = path.stat().st_size
    if size > _MOST_BYTES:
        raise InputProblems(
            Problem(
                place, f"a file of {size / 1e6:.1f} MB", "a job file (TOML)", "name the job file of the part"
            )
        )
    data = path.read_bytes()
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8-sig", errors="replace")
        line = before.count("\n") + 1
        found = (
            "text in UTF-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "bytes that are no text in UTF-8"
        )
        raise InputProblems(
            Problem(
                Place(name, line, len(before) - before.rfind("\n")),
                found,
                "a job file (TOML) in UTF-8",
                "save the file again with the encoding UTF-8",
            )
        ) from None
    return text


def _read_on(text: str, name: str) -> tuple[dict[str, Any], dict[str, Spot], list[Problem]]:
    """Return the values of a TOML text, where its keys stand, and lines that are no TOML.

    A line whose value alone is wrong is told and read on behind, so that a person sees all mistakes at once:
    a letter typed for a digit is taken for that, any other value for a blank.
    Raises InputProblems where the text cannot be read on.
    """
    text, problems = text.replace("\r\n", "\n"), []
    written = text.split("\n")
    while True:
        try:
            return *_parsed(text, name), problems
        except InputProblems as found:
            (problem,) = found.problems
            place = problem.place
            if problem.expected == _ONCE and place.line:  # as it was written, not as it was read on
                problem = replace(problem, found=shown_text(written[place.line - 1].strip()))
            problems.append(problem)
            lines = text.split("\n")
            row = lines[place.line - 1] if place.line and place.line <= len(lines) else ""
            if place.column and (number := around(row, place.column - 1)):
                at, word = number
                lines[place.line - 1] = row[:at] + mended(word) + row[at + len(word) :]
            elif problem.expected == _ONCE and place.line:
                lines[place.line - 1] = ""
            elif problem.expected in _VALUES and _PLAIN.fullmatch(row) and UNFILLED not in row:
                lines[place.line - 1] = row[: row.index("=") + 1] + f' "{UNFILLED}"'
            else:
                raise InputProblems(problems) from None
            if len(problems) >= _MOST_LINES:
                raise InputProblems(problems) from None
            text = "\n".join(lines)


def _parsed(text: str, name: str) -> tuple[dict[str, Any], dict]:
    """Return the values of a TOML text and where its keys stand."""
    if deep := _DEEP_KEY.search(text):  # the standard reader takes time and memory by the square of it
        place = Place(name, text.count("\n", 0, deep.start()) + 1)
        found = f"a key of more than {_MOST_PARTS} parts with dots between them"
        raise InputProblems(Problem(place, found, "a job file (TOML)", "write it flat"))
    try:
        return tomllib.loads(text), locate(text)
    except tomllib.TOMLDecodeError as error:
        raise InputProblems(_syntax_problem(text, name, str(error))) from None
    except RecursionError:
        found, remedy = "brackets inside brackets inside brackets, too deep to read", "write it flat"
    except ValueError:  # a number of thousands of digits
        found, remedy = "a number too long to read", "write the number shorter"
    raise InputProblems(Problem(Place(name), found, "a job file (TOML)", remedy))


_OPEN_QUOTES = {'Expected "\'"': "'", "Expected \"'''\"": "'''", "Unterminated string": '"""'}
# What the standard reader says -> what was expected, what to do.
_SYNTAX = (
    ("Expected '=' after a key", "an = behind the key", "write it as key = value"),
    ("Invalid initial character for a key part", "a key", "write it as key = value"),
    ("Invalid statement", "a key, or a table in [ ]", "write key = value, [table], or # before a comment"),
    ("Expected newline or end of document after a statement", _END, 'quote text ("6 mm")'),
    ("Expected ']]'", "]] behind the name of the table", "write it as [[setups]]"),
    ("Expected ']'", "] behind the name of the table", "write it as [blank]"),
    ("Unclosed array", "a comma or the ] that ends the list", "add what is missing, here or just above"),
    (
        "Unclosed inline table",
        "a comma or the } that ends the table",
        "add what is missing, on the same line",
    ),
    ("Duplicate inline table key", "each key once", "take one of the two out"),
    (
        "Unescaped '\\'",
        "no \\ in text in double quotes",
        "write / between folders, or put the text in single quotes",
    ),
    (
        "Escaped character is not",
        "no \\ in text in double quotes",
        "write / between folders, or put the text in single quotes",
    ),
    ("Unterminated string", "the quote that ends the text", "add the quote at the end of the text"),
    ("Expected \"'''\"", "the quotes that end the text", "add the quotes at the end of the text"),
    ('Expected \'"""\'', "the quotes that end the text", "add the quotes at the end of the text"),
    ('Expected "\'"', "the quote that ends the text", "add the quote at the end of the text"),
    ("Invalid date or datetime", _DATE, "put text in quotes"),
    ("Invalid hex value", "no \\ in text in double quotes", "write / between folders"),
    (
        "Invalid value",
        _ONE,
        'put text in quotes ("6 mm")',
    ),
    ("Cannot overwrite a value", _ONCE, "take one of the two lines out"),
    ("Cannot mutate immutable", "a table written in one place", "put all its keys between the same { }"),
    ("Cannot redefine namespace", "a table written in one place", "put all its keys under one heading"),
)


def _syntax_problem(text: str, name: str, message: str) -> Problem:
    """Return a TOML syntax error in plain words."""
    text = text.replace("\r\n", "\n")
    lines = text.split("\n")
    match = _AT.search(message)
    what = message[: match.start()] if match else message
    if match and match[1]:
        line, column = int(match[1]), int(match[2])
    else:
        # Where only the end of the file stopped a quoted text, the last such quote opened it.
        at = text.rfind(_OPEN_QUOTES[what]) if what in _OPEN_QUOTES else -1
        at = len(text) if at < 0 else at
        line, column = text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at)
    place = Place(name, line, column)
    row = lines[line - 1] if line <= len(lines) else ""
    rest = row[column - 1 :].strip()
    if number := around(row, column - 1):
        at, word = number
        column = at + 1 + next(k for k, mark in enumerate(word) if mark.isalpha())
        return Problem(Place(name, line, column), shown_text(word), "a number", letters_remedy(word))
    # Where the mistake shows only behind the end of a line, the line itself says more.
    found = shown_text(rest or row.strip()) if rest or row.strip() else "the end of the file"
    if what.startswith("Cannot declare"):
        first = next((number for number, other in enumerate(lines, 1) if other.strip() == row.strip()), line)
        header = row.strip()
        again = f"{header} again, as in line {first}" if first < line else f"{header} again"
        expected, remedy = "each table once", "put the keys of both under one heading"
        if header.startswith("[cutters."):
            expected, remedy = "each tool number once", "give this cutter its own number"
        elif header in ("[setups]", "[dowels]"):
            remedy = f"write [{header}] with double brackets, each time"
        return Problem(place, again, expected, remedy)
    if what.startswith(("Illegal character", "Found invalid character")):
        is_line_end = what.endswith(r"'\n'")
        expected = "the quote that ends the text" if is_line_end else "no control characters"
        remedy = "add the quote at the end of the text" if is_line_end else "take the character out"
        return Problem(place, found, expected, remedy)
    for start, expected, remedy in _SYNTAX:
        if what.startswith(start):
            if start.startswith("Expected newline") and rest.startswith(","):
                remedy = "write a decimal point, not a comma"
            elif start.startswith("Expected newline") and _POINT.fullmatch(rest):
                remedy = "write a digit behind the point, such as 6.0"
            elif start == "Invalid value" and (number := _POINT.fullmatch(rest)):
                remedy = f"write {number[1] or 0}.{number[2] or 0}"
            elif start == "Invalid value" and not rest:
                remedy = "write the value behind the ="
            elif start == "Cannot overwrite a value" and row.startswith("[["):
                found, expected = row.strip(), "each table written in one way"
                remedy = f"write {found} with double brackets, each time"
            elif "\\" in row:  # the place given is behind the \, the whole line says more
                found = shown_text(row.strip())
            return Problem(place, found, expected, remedy)
    return Problem(place, f"{found} ({what})", "a job file (TOML)", "correct this line")


def _check_version(checker: Checker, version: Any) -> None:
    """Refuse a file of a later form at once: what else it says may mean something else."""
    is_number = isinstance(version, str | int) and str(version).isdecimal()
    if is_number and int(version) > int(VERSION):
        remedy = "use the simkit it was written for, or write it anew as `simkit template` shows"
        checker.problem("version", f"a job file of version {version}", f"version {VERSION}", remedy)
        raise InputProblems(checker.problems)


def _unit(values: dict[str, Any]) -> str | None:
    """Return the unit of plain numbers; None when what is written there cannot be used."""
    unit = values.get("unit", "mm")
    return unit if isinstance(unit, str) and unit in UNITS else None


def _files(checker: Checker, tables: dict[str, Any], path: Path, name: str) -> None:
    """Check that the programs and the meshes are there and can be read."""
    named: list[tuple[str, Any, str]] = []
    if not is_bad(tables["setups"]):
        for index, setup in enumerate(tables["setups"]):
            if not is_bad(setup) and isinstance(setup["programs"], tuple):
                named += [
                    (f"setups[{index}].programs[{part}]", text, "a program")
                    for part, text in enumerate(setup["programs"])
                ]
                named.append((f"setups[{index}].jig", setup["jig"], "a job file"))
    if isinstance(tables["target"], dict):
        named.append(("target.mesh", tables["target"]["mesh"], "a mesh"))
    if isinstance(tables["fixtures"], tuple | list):
        named += [
            (f"fixtures[{index}].mesh", fixture["mesh"], "a mesh")
            for index, fixture in enumerate(tables["fixtures"])
            if not is_bad(fixture)
        ]
    for key, text, noun in named:
        if isinstance(text, str):
            seen = str(Path(name).parent / text)
            if problem := file_problem(path.parent / text, seen, checker.place(key), noun):
                checker.problems.append(problem)


def _job(tables: dict[str, Any], path: Path, name: str, spots: dict[str, Spot]) -> Job:
    """Return the Job of checked values."""
    folder = path.parent
    target = tables["target"]
    names = [setup["name"] for setup in tables["setups"]]
    steps = tuple(made_step(step, names) for step in tables["steps"] or ())
    return Job(
        name=tables["name"] or path.stem,
        blank=Blank(**tables["blank"]),
        cutters={number: Cutter(number=number, **values) for number, values in tables["cutters"].items()},
        setups=tuple(
            Setup(
                **{
                    **setup,
                    "zero": Zero(**setup["zero"]),
                    "programs": tuple(folder / text for text in setup["programs"]),
                    "jig": folder / setup["jig"] if setup["jig"] else None,
                    "before": tuple(step for step in steps if step.after < index),
                }
            )
            for index, setup in enumerate(tables["setups"])
        ),
        target=TargetSpec(**{**target, "mesh": folder / target["mesh"]}) if target else None,
        dowels=tuple(Dowel(**dowel) for dowel in tables["dowels"] or ()),
        limits=Limits(**(tables["limits"] or {})),
        file=name,
        unit=tables["unit"],
        harmless_words=tables["harmless_words"],
        block_delete=tables["block_delete"],
        arc_tolerance=tables["arc_tolerance"],
        spindle_by_hand=tables["spindle_by_hand"],
        zones=tuple(made_zone(zone) for zone in tables["zones"] or ()),
        accepted=tuple(made_accepted(entry) for entry in tables["accepted"] or ()),
        machine=Machine(**(tables["machine"] or {})),
        fixtures=tuple(
            Fixture(**{**fixture, "mesh": folder / fixture["mesh"] if fixture["mesh"] else None})
            for fixture in tables["fixtures"] or ()
        ),
        holding=tuple(Holding(**holding) for holding in tables["holding"] or ()),
        layup=made_layup(tables["layup"], tables["blank"]),
        budget=BudgetSpec(**tables["budget"]) if tables["budget"] else None,
        lines={key: spot.line for key, spot in spots.items()},
        columns={key: spot.column for key, spot in spots.items()},
        steps=steps,
    )
