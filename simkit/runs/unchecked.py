"""What stands for a job that could not be checked: unusable input, a limit reached, a fault of simkit."""

from __future__ import annotations

import os
import sys
import tempfile
import traceback
from collections.abc import Sequence
from typing import Any

import simkit
from simkit.errors import InputProblems, Problem
from simkit.job.files import file_word
from simkit.report.forms import VERSION

UNUSABLE, STOPPED, FAULT = "cannot be used", "stopped", "fault"


def unusable(job_file: str, problems: InputProblems) -> dict[str, Any]:
    """Return the record of a job whose input cannot be used, as report.forms.Unchecked."""
    count = len(problems.problems)
    sentence = f"Not checked: {problems.problems[0] if count == 1 else f'{count} problems'}"
    return _record(job_file, UNUSABLE, 2, f"{sentence}.", problems.problems)


def stopped(job_file: str, why: str) -> dict[str, Any]:
    """Return the record of a job whose check reached a limit."""
    return _record(job_file, STOPPED, 2, f"Stopped: {why}; nothing is known of this job.")


def fault(job_file: str, where: str) -> dict[str, Any]:
    """Return the record of a job on which simkit itself failed.  where: words on what was kept of it."""
    return _record(job_file, FAULT, 3, f"A fault of simkit itself, not of your input; {where}.")


def _record(
    job_file: str, status: str, exit_status: int, sentence: str, problems: Sequence[Problem] = ()
) -> dict[str, Any]:
    rows = [
        {
            "file": one.place.file,
            "line": one.place.line,
            "column": one.place.column,
            "key": one.place.key,
            "found": one.found,
            "expected": one.expected,
            "remedy": one.remedy,
        }
        for one in problems
    ]
    return {
        "form": "simkit unchecked",
        "version": VERSION,
        "simkit": simkit.__version__,
        "job": {"name": "", "file": file_word(job_file)},
        "status": status,
        "exit_status": exit_status,
        "sentence": sentence,
        "problems": rows,
    }


def keep_traceback() -> str:
    """Keep the traceback of the present exception in a file to send; return words that say where."""
    text = f"simkit {simkit.__version__}, Python {sys.version}\n{traceback.format_exc()}"
    try:
        handle, name = tempfile.mkstemp(prefix="simkit-fault-", suffix=".txt")
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
        return f"please send the file {name}"
    except OSError:
        return f"it could not be stored; its last line: {text.strip().splitlines()[-1]}"
