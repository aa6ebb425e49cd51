"""What the job states of its errors, each as a direction in which the second side moves."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from simkit.budget.motion import Motion
from simkit.budget.rows import Rows
from simkit.budget.sawn import sawn_edges
from simkit.compare.dowel_play import play_of
from simkit.compare.pin_pair import PinPair
from simkit.job.model import Job
from simkit.job.wood import movement

UNIFORM, NORMAL, PINS = "uniform", "normal", "pins"
_TOGETHER = {  # what a person can work on, where one key of the job makes several errors
    "zero_setting": "setting the zero",
    "scatter": "how well the machine comes back to a place",
    "dowels": "the play of the dowels",
    "sawing": "sawing the edges that the zero is set at",
    "planing": "planing to an even thickness, the blank and all steps together",
}


def planing_words(job: Job, number: int) -> str:
    """Return what the error of a step to a thickness is, its number in `job.steps`."""
    step = job.steps[number]
    return f"planing side {step.side} to {step.thickness:g} mm, step {number + 1}"


@dataclass(frozen=True)
class Contribution:
    """One error, as likely one way as the other.

    key: of the job file.  words: what it is.  size: the most either way (uniform: every error up to it as
    likely), or one standard deviation (normal).  unit.  column (n,): by how much the values of the rows grow
    for an error of `size`.
    pins: what they happen together from (shape PINS), and nth: which of its three this is; not correlated
    with the other two, but with all of them no more than the pins permit.
    """

    key: str
    words: str
    size: float
    unit: str
    shape: str
    column: np.ndarray
    pins: PinPair | None = None
    nth: int = 0

    @property
    def standard(self) -> float:
        """Its standard uncertainty, in `unit`; even ones by GUM (JCGM 100:2008) 4.3.7, from memory."""
        if self.shape == PINS:
            return float(self.pins.standards[self.nth])
        return self.size / math.sqrt(3.0) if self.shape == UNIFORM else self.size

    @property
    def together(self) -> str:
        """What all errors of its key are, in words."""
        return _TOGETHER.get(self.key, self.words)


def contributions(evidence, motion: Motion, rows: Rows) -> tuple[list[Contribution], list[str]]:
    """Return what a job states of its errors, and what is left out, in words."""
    job, budget = evidence.job, evidence.job.budget
    columns = rows.columns(motion)
    found: list[Contribution] = []

    def add(key: str, words: str, size: float, unit: str, column: np.ndarray, shape: str = UNIFORM) -> None:
        found.append(Contribution(key, words, size, unit, shape, column * size))

    missing: list[str] = []

    def take(key: str, words: str) -> float | None:
        size = getattr(budget, key) if budget is not None else None
        if size is None:
            missing.append(words)
        return size or None

    if size := take("zero_setting", "setting the zero"):
        add("zero_setting", "setting the zero, left and right", size, "mm", columns[:, 0])
        add("zero_setting", "setting the zero, front and back", size, "mm", columns[:, 1])
    if size := take("height_setting", "setting the zero's height"):
        add("height_setting", "setting the zero's height", size, "mm", columns[:, 3])
    if size := take("squareness", "how square the blank lies"):
        add("squareness", "how square the blank lies", size, "degrees", columns[:, 2])
    if size := take("scatter", "how well the machine comes back to a place"):
        words = "how well the machine comes back to a place"
        add("scatter", f"{words}, left and right", size, "mm", columns[:, 0], NORMAL)
        add("scatter", f"{words}, front and back", size, "mm", columns[:, 1], NORMAL)
    if size := take("thickness_error", "measuring the blank's thickness"):
        add("thickness_error", "measuring the blank's thickness", size, "mm", columns[:, 4])
    if size := take("planing", _TOGETHER["planing"]):
        # The blank was planed before all else, and each step to a thickness is a planing more.
        before = ", before the steps" if motion.planed else ""
        add("planing", f"planing the blank to an even thickness{before}", size, "mm", columns[:, 4])
        for nth, number in enumerate(motion.planed, 5):
            add("planing", planing_words(job, number), size, "mm", columns[:, nth])
    edges = sawn_edges(job, motion)
    if budget is not None and budget.sawing and not edges:
        missing.append("sawing (no sawn edge moves the zero of the second side against the first)")
    elif edges and (size := take("sawing", "sawing the edges that the zero is set at")):
        for words, way in edges:
            add("sawing", words, size, "mm", rows.grow @ way)
    _play(evidence, motion, rows, found, missing)
    size = take("moisture_change", "moisture between the sides")
    if size:
        moves, words = movement(job.blank, job.layup)
        if moves is None:
            missing.append(f"moisture between the sides ({words})")
        else:
            grow = -(rows.at - _held_at(evidence, motion)) * np.array(moves)
            column = np.sum(grow * rows.grow, axis=1)
            add("moisture_change", f"moisture between the sides ({words})", size, "percent", column)
    return found, missing


def _play(evidence, motion: Motion, rows: Rows, found: list[Contribution], missing: list[str]) -> None:
    """Add what the play of the dowels permits."""
    play = play_of(evidence.pins, motion.setup)
    if play is None:
        missing.append("the play of the dowels")
        return
    if math.isinf(play.turn_degrees):
        missing.append("the turn that a single dowel permits")
    pair = play.pair
    if pair is None:
        return
    ways = _pin_ways(rows, motion, pair)
    for nth, (words, size) in enumerate(zip(_pin_words(pair), pair.sizes, strict=False)):
        if size > 0:
            column = np.sum(ways[nth] * rows.grow, axis=1) * size
            found.append(Contribution("dowels", words, float(size), "mm", PINS, column, pair, nth))


def _pin_words(pair: PinPair) -> list[str]:
    if not pair.has_two:
        return [f"play of dowel '{pair.names[0]}', {way}" for way in ("left and right", "front and back")]
    across = [f"play of dowel '{name}' across that line" for name in pair.names]
    return ["play of the dowels along their line", *across]


def _pin_ways(rows: Rows, motion: Motion, pair: PinPair) -> list[np.ndarray]:
    """Return how the places of the rows move for 1 mm of each of the pair's three, (n, 3) mm each.

    Linear in the turn, which is under a degree; see Motion.columns.
    """
    (u, v), (right, back, _) = pair.direction, motion.lie.matrix.T
    along, across = (
        np.broadcast_to(way, rows.at.shape) for way in (u * right + v * back, u * back - v * right)
    )
    if not pair.has_two:
        return [along, across]
    middle = tuple(np.mean(pair.at, axis=0))
    turn = motion.turn_about(rows.at, middle) / np.radians(pair.apart)  # of 1 mm over their distance
    return [along, across / 2 - turn, across / 2 + turn]


def _held_at(evidence, motion: Motion) -> np.ndarray:
    """Return the place of the wood that stays where it is when it swells, (3,) mm, blank frame.

    The middle of the dowels where there are some, else the zero of the second side.
    """
    setup, blank = evidence.job.setups[motion.setup], evidence.job.blank
    zero = setup.frame(blank).apply(np.zeros(3)) - motion.lie.matrix @ np.array(setup.zero.offset)
    mine = [pin.hole for pin in evidence.pins if pin.setup == motion.setup]
    if mine:
        plan = motion.lie.apply_plan(np.mean(mine, axis=0))
        zero = np.array([*plan, zero[2]])
    return zero
