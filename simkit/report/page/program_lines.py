"""The line of a program or job file among its neighbours."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from simkit.errors import InputProblems
from simkit.findings.evidence import Evidence
from simkit.program.job_programs import shown_name
from simkit.program.words import split_lines

AROUND = 3  # lines before and after
LONGEST = 240  # characters of a line that are shown


@dataclass
class ProgramLines:
    """The text of the files that findings name.

    Read again when first asked for: the check keeps no text.  A file that has changed or gone since is
    told by the caller as having no lines.
    """

    evidence: Evidence

    @cached_property
    def _paths(self) -> dict[str, Path]:
        job = self.evidence.job
        paths = {shown_name(path, job): path for setup in job.setups for path in setup.programs}
        if job.file:
            paths[Path(job.file).name] = Path(job.file)
        return paths

    @cached_property
    def _texts(self) -> dict[str, list[str]]:
        return {}

    def around(self, file: str, line: int | None) -> list[tuple[int, str]]:
        """Return (number, text) of a line and up to AROUND before and behind it; none when not to be had."""
        if line is None or file not in self._paths:
            return []
        if file not in self._texts:
            try:
                lines = list(split_lines(self._paths[file].read_bytes(), file))
                # What stands behind the end of the last line is no line to a person.
                self._texts[file] = lines[:-1] if lines and not lines[-1].strip() else lines
            except (OSError, InputProblems):  # gone or changed while the check ran: the report stands
                self._texts[file] = []
        lines = self._texts[file]
        first, last = max(line - AROUND, 1), min(line + AROUND, len(lines))
        if not 1 <= line <= len(lines):
            return []
        return [(number, _shortened(lines[number - 1])) for number in range(first, last + 1)]


def _shortened(text: str) -> str:
    text = text.rstrip("\r\n")
    return text if len(text) <= LONGEST else text[:LONGEST] + "…"
