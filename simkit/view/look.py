"""What the window of `simkit view` shows, and what keys and clicks change of it; no window, no OpenGL."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from simkit.findings.evidence import Evidence
from simkit.report.lengths import Lengths
from simkit.report.map_parts import MUST
from simkit.view.steps import Steps

CUT, PART, LEFTOVER, STEP = "as cut", "as wanted", "left standing", "at the line"
NONE, ALONG, ACROSS = "closed", "along", "across"
SECTIONS = (NONE, ALONG, ACROSS)
MACHINE_KINDS = (
    "rapid-contact", "fixture-contact", "holder-contact", "shank-contact", "table-contact", "loose-piece",
    "travel", "wrong-unit", "unsafe-height", "spindle-off", "bite", "chip-load", "spindle-speed",
)  # fmt: skip
SECTION_STEP = 0.01  # of the blank's length, that the section plane moves at a key


@dataclass(frozen=True)
class State:
    """What is chosen.

    finding: index into the findings, None for none.  subject: CUT, PART, LEFTOVER or STEP.  side: 1 or 2,
    which lies up.  section: of SECTIONS; at: where the plane lies, as a share of the blank across it.
    run, line: the position in the programs, a run of `Steps` and a line of its text, from 1.
    first_finding: the first one in the list that is shown.
    """

    finding: int | None = None
    subject: str = CUT
    side: int = 1
    section: str = NONE
    at: float = 0.5
    run: int = 0
    line: int = 1
    first_finding: int = 0


class Look:
    """A checked job as the window shows it.  evidence, result: of one check; steps: of the same job."""

    def __init__(self, evidence: Evidence, result: dict[str, Any], steps: Steps):
        self.evidence, self.result, self.steps = evidence, result, steps
        self.findings: list[dict[str, Any]] = result["findings"]
        self.lengths = Lengths(evidence.job.unit)
        self.sides = sorted({1 if frame.up > 0 else 2 for frame in evidence.frames})
        self._texts: dict[int, list[str]] = {}
        self.state = State(side=self.sides[0], run=len(steps.runs) - 1)
        self.state = replace(self.state, line=max(len(self.text), 1))
        if self.findings:
            self.choose(0)

    @property
    def subjects(self) -> list[str]:
        """Return the subjects that this job has."""
        if self.evidence.envelopes is None:
            return [CUT, STEP]
        return [CUT, PART, LEFTOVER, STEP]

    @property
    def verdict(self) -> str:
        """Return the verdict in one sentence."""
        return self.result["verdict"]["sentence"]

    @property
    def finding(self) -> dict[str, Any] | None:
        """Return the chosen finding."""
        return None if self.state.finding is None else self.findings[self.state.finding]

    @property
    def text(self) -> list[str]:
        """Return the lines of the program at hand; none where its file has gone."""
        run = self.state.run
        if run not in self._texts:
            self._texts[run] = self.steps.text(run)
        return self._texts[run]

    @property
    def done(self) -> int:
        """Return how many moves are done when the line at hand is."""
        return self.steps.done_by(self.state.run, self.state.line)

    @property
    def lie(self):
        """Return the map from the table of the setup that is looked at to the blank frame."""
        job = self.evidence.job
        if self.state.subject == STEP:
            return job.setups[self.steps.runs[self.state.run][0]].lie(job.blank)
        up = 1 if self.state.side == 1 else -1
        frames = enumerate(self.evidence.frames)
        index = next((index for index, frame in frames if frame.up == up), 0)
        return job.setups[index].lie(job.blank)

    def choose(self, index: int) -> None:
        """Choose a finding: the side, the picture and the line of the program that belong to it."""
        if not 0 <= index < len(self.findings):
            return
        row = self.findings[index]
        state = replace(self.state, finding=index)
        side = row["side"] or self._side_of(row)
        if side in self.sides:
            state = replace(state, side=side)
        run = self._run_of(row)
        if run is not None:
            state = replace(state, run=run, line=row["line"])
        subject = CUT
        if row["kind"] in MACHINE_KINDS and run is not None:
            subject = STEP
        self.state = replace(state, subject=subject)

    def next(self, step: int) -> None:
        """Choose the finding `step` further down the list."""
        if self.findings:
            now = -1 if self.state.finding is None else self.state.finding
            self.choose(int(np.clip(now + step, 0, len(self.findings) - 1)))

    def show(self, subject: str) -> None:
        """Choose a subject."""
        if subject in self.subjects:
            self.state = replace(self.state, subject=subject)

    def turn_over(self) -> None:
        """Look at the other side, where a setup cuts it."""
        others = [side for side in self.sides if side != self.state.side]
        if others and self.state.subject != STEP:
            self.state = replace(self.state, side=others[0])

    def cut_open(self, section: str | None = None) -> None:
        """Choose a section, the next one when none is named."""
        if section is None:
            section = SECTIONS[(SECTIONS.index(self.state.section) + 1) % len(SECTIONS)]
        at = self.state.at
        row = self.finding
        if section != NONE and section != self.state.section and row is not None and row["at"] is not None:
            x, y = row["at"][:2]
            blank = self.evidence.job.blank
            at = y / blank.width if section == ALONG else x / blank.length
        self.state = replace(self.state, section=section, at=float(np.clip(at, 0.0, 1.0)))

    def move_section(self, steps: int) -> None:
        """Move the section plane."""
        if self.state.section != NONE:
            at = float(np.clip(self.state.at + steps * SECTION_STEP, 0.0, 1.0))
            self.state = replace(self.state, at=at)

    def move_line(self, step: int) -> None:
        """Go `step` lines on in the program's text, into the next or the last program at its ends."""
        state, lines = self.state, max(len(self.text), 1)
        line = state.line + step
        if line < 1 and state.run > 0:
            self.state = replace(state, run=state.run - 1)
            self.state = replace(self.state, line=max(len(self.text), 1), subject=STEP)
        elif line > lines and state.run + 1 < len(self.steps.runs):
            self.state = replace(state, run=state.run + 1, line=1, subject=STEP)
        else:
            self.state = replace(state, line=int(np.clip(line, 1, lines)), subject=STEP)

    def go_to(self, run: int, line: int) -> None:
        """Go to a line of a program."""
        if 0 <= run < len(self.steps.runs):
            self.state = replace(self.state, run=run)
            self.state = replace(self.state, line=int(np.clip(line, 1, max(len(self.text), 1))), subject=STEP)

    def scroll(self, steps: int, shown: int) -> None:
        """Move the list of findings, of which `shown` fit."""
        last = max(len(self.findings) - shown, 0)
        self.state = replace(
            self.state, first_finding=int(np.clip(self.state.first_finding + steps, 0, last))
        )

    def keep_in_view(self, shown: int) -> None:
        """Move the list so that the chosen finding, of `shown` that fit, is in it."""
        index, first = self.state.finding, self.state.first_finding
        if index is not None and not first <= index < first + shown:
            first = index if index < first else index - shown + 1
            self.state = replace(self.state, first_finding=max(first, 0))

    def lines_about(self, count: int) -> list[tuple[int, str, bool]]:
        """Return `count` lines of the program about the one at hand: number, text, whether it is that one."""
        text, line = self.text, self.state.line
        first = int(np.clip(line - count // 2, 1, max(len(text) - count + 1, 1)))
        rows = range(first, min(first + count, len(text) + 1))
        return [(number, text[number - 1], number == line) for number in rows]

    def words(self) -> str:
        """Return what the picture shows, in a sentence."""
        state, job = self.state, self.evidence.job
        if state.subject == STEP:
            setup, _, name = self.steps.runs[state.run]
            return f"The wood in '{job.setups[setup].name}' as it stands behind line {state.line} of {name}"
        told = {
            CUT: "The part as cut",
            PART: "The part as wanted",
            LEFTOVER: "What is left standing beyond the limit, on the faded part",
        }[state.subject]
        told += f", side {state.side} up"
        if state.section == NONE:
            return told
        size = job.blank.width if state.section == ALONG else job.blank.length
        axis = "y" if state.section == ALONG else "x"
        at = f"{self.lengths.place(state.at * size)} {self.lengths.name}"
        return f"{told}, cut open at {axis} {at} of the blank"

    def _side_of(self, row: dict[str, Any]) -> int | None:
        for setup, frame in zip(self.evidence.job.setups, self.evidence.frames, strict=True):
            if setup.name == row["setup"]:
                return 1 if frame.up > 0 else 2
        return None

    def _run_of(self, row: dict[str, Any]) -> int | None:
        """Return the run of the program that a finding names."""
        if row["line"] is None:
            return None
        names = [(self.evidence.job.setups[setup].name, name) for setup, _, name in self.steps.runs]
        for number, (setup, name) in enumerate(names):
            if name == row["file"] and row["setup"] in ("", setup):
                return number
        return None


def must(row: dict[str, Any]) -> bool:
    """Return whether a finding must be put right."""
    return row["severity"] in MUST
