"""Where the time of the coarse way of verdict_proof.py goes, stage by stage, by processor time."""

import functools
import importlib
import sys
import time
from collections import Counter

from simkit.compare.sweeps import Sweeps
from simkit.target.grid import TargetGrid

STAGES = {  # what a stage is called: the functions whose own time it is, those of other stages left out
    "the cut and its replay": ["simkit.check._cut"],
    "the envelope": ["simkit.target.envelope.envelopes"],
    "the deviation": ["simkit.compare.deviation.deviation"],
    "the proof, gouges": ["simkit.compare.between.unproved_gouges"],
    "the proof, leftover": ["simkit.compare.between.unproved_leftover"],
    "far faces": ["simkit.compare.far_faces.far_faces"],
    "second looks": ["simkit.compare.second_look.second_look"],
    "looks at peaks": ["simkit.compare.closer.closer_look"],
    "spots and peaks": ["simkit.findings.shape.looked_spots"],
    "the moves packed for the proof": ["simkit.check._sweeps"],
    "the rest of comparing": ["simkit.check._compare"],
}
WORK = {  # what is asked in many stages: counted, and told by the stage that asks
    "cut again": ["simkit.check.cut_all"],
    "heights of the cut": [(Sweeps, "cut")],
    "lowest over squares": [(Sweeps, "lowest")],
    "highest over squares": [(Sweeps, "highest")],
    "distance to the target": [(TargetGrid, "distance")],
    "distance to the cut": [("simkit.compare.deviation", "CutSurface.distance")],
}


class Stages:
    """Own time of nested stages: the time of a stage that another calls counts for the called one alone."""

    def __init__(self):
        self.own, self.calls = Counter(), Counter()
        self.open: list[list] = []
        self.places: list[tuple] = []

    def timed(self, name: str, call, is_work: bool):
        """Return a function timed as a stage, or as work of the stage that is open."""

        @functools.wraps(call)
        def run(*words, **more):
            started = time.process_time()
            self.open.append([name, 0.0, is_work])
            try:
                return call(*words, **more)
            finally:
                taken = time.process_time() - started
                _, within, _ = self.open.pop()
                asks = next((stage for stage, _, is_it in reversed(self.open) if not is_it), "else")
                key = (asks, name) if is_work else (name, "")
                self.own[key] += taken - within
                self.calls[key] += 1
                if self.open:
                    self.open[-1][1] += taken

        return run

    def __enter__(self):
        for names, is_work in ((STAGES, False), (WORK, True)):
            for name, functions in names.items():
                for one in functions:
                    self._replace(name, one, is_work)
        return self

    def __exit__(self, *_):
        for owner, name, call in reversed(self.places):
            setattr(owner, name, call)
        self.places.clear()

    def add(self, other: "Stages") -> None:
        """Add the times and calls of other stages to these."""
        self.own += other.own
        self.calls += other.calls

    def _replace(self, name: str, one, is_work: bool) -> None:
        """Put the timed function wherever the function is named."""
        if isinstance(one, tuple):
            owner, attribute = one
            if isinstance(owner, str):
                inner, attribute = attribute.split(".")
                owner = getattr(importlib.import_module(owner), inner)
            owners = [owner]
        else:
            module, attribute = one.rsplit(".", 1)
            call = getattr(importlib.import_module(module), attribute)
            owners = [
                module
                for key, module in list(sys.modules.items())
                if key.startswith(("simkit", "tests")) and getattr(module, attribute, None) is call
            ]
        call = getattr(owners[0], attribute)
        timed = self.timed(name, call, is_work)
        for owner in owners:
            self.places.append((owner, attribute, call))
            setattr(owner, attribute, timed)

    def table(self, whole: float, jobs: int) -> str:
        """Return the stages, the longest first, with the work each asks for.  whole s: of all jobs."""
        stages = Counter()
        for (stage, _), taken in self.own.items():
            stages[stage] += taken
        lines = []
        for stage, taken in stages.most_common():
            lines.append(self._line(stage, taken, whole, self.calls[stage, ""] / jobs))
            work = [(part, own) for (asks, part), own in self.own.items() if asks == stage and part]
            if work:
                lines.append(self._line("  itself", self.own[stage, ""], whole, None))
            for part, own in sorted(work, key=lambda one: -one[1]):
                lines.append(self._line(f"  {part}", own, whole, self.calls[stage, part] / jobs))
        return "\n".join(lines)

    @staticmethod
    def _line(what: str, taken: float, whole: float, calls: float | None) -> str:
        told = "" if calls is None else f"  {calls:.1f} calls a job"
        return f"  {taken:7.2f} s {100 * taken / whole:5.1f} %  {what}{told}"
