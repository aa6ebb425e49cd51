"""What may be other than the job states: how the blank lies, how thick it is or is left, how wide cutters."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from simkit.errors import InputProblems, Place, Problem, nearest_word
from simkit.frames import misplaced
from simkit.job.files import shown_text
from simkit.job.model import Job, Setup
from simkit.job.steps import THICKNESS, Step
from simkit.units import length_mm

MOST_SHIFT, MOST_DEGREES, MOST_MISMEASURED = 50.0, 10.0, 0.25  # beyond it is a mistake: mm, degrees, share


@dataclass(frozen=True, slots=True)
class Change:
    """What is supposed to differ from a job.

    shifts: setup -> (right, back, up) mm by which its cuts land off their place, as the operator sees it.
    turns: setup -> degrees by which they are turned about the middle of the blank, counter-clockwise from
    above.  thickness mm: added to that of the blank.  measured: cutter -> its diameter, mm.  planed: step to
    a thickness (index in `job.steps`) -> mm that it leaves more than stated.
    """

    shifts: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    turns: dict[str, float] = field(default_factory=dict)
    thickness: float = 0.0
    measured: dict[int, float] = field(default_factory=dict)
    planed: dict[int, float] = field(default_factory=dict)

    def of(self, job: Job) -> Job:
        """Return the job with this change.

        What counts from the lower face of the blank (the target, a zero on the table) stays where it was when
        the thickness differs; what counts from the upper face goes with that.  Where a step takes the lower
        face to a thickness, the target keeps its place over that face.
        """
        blank = replace(job.blank, thickness=job.blank.thickness + self.thickness)
        steps = tuple(
            replace(step, thickness=step.thickness + self.planed[number]) if number in self.planed else step
            for number, step in enumerate(job.steps)
        )
        setups = tuple(self._setup(setup, job, steps) for setup in job.setups)
        cutters = {
            number: replace(cutter, diameter=self.measured[number]) if number in self.measured else cutter
            for number, cutter in job.cutters.items()
        }
        changed = replace(job, blank=blank, setups=setups, cutters=cutters, steps=steps)
        rise = changed.last_body.low[2] - job.last_body.low[2]
        if job.target is not None and (self.thickness or self.planed):
            x, y, z = job.target.at
            lacking = sum(max(-more, 0.0) for more in (self.thickness, *self.planed.values()))
            changed = replace(changed, target=replace(job.target, at=(x, y, z + rise), lacking=lacking))
        return changed

    def _setup(self, setup: Setup, job: Job, steps: tuple[Step, ...]) -> Setup:
        right, back, up = self.shifts.get(setup.name, (0.0, 0.0, 0.0))
        across, deep = setup.size_on_table(job.blank)
        degrees = self.turns.get(setup.name, 0.0)
        frame = misplaced(right, back, up, degrees, (across / 2, deep / 2))
        return replace(setup, misplacement=frame, before=steps[: len(setup.before)])

    def words(self, job: Job) -> str:
        """Return the change in words, such as "side 2 lands 0.3 mm right"."""
        parts = []
        for name in (setup.name for setup in job.setups):
            moved = moved_words(self.shifts.get(name, (0.0, 0.0, 0.0)))
            degrees = self.turns.get(name, 0.0)
            moved += turned_words(degrees)
            if moved:
                parts.append(f"the cuts of {name} land {', '.join(moved)}")
        if self.thickness:
            more = "thicker" if self.thickness > 0 else "thinner"
            parts.append(f"the blank is {abs(self.thickness):g} mm {more}")
        for number, by in self.planed.items():
            ways = "thicker" if by > 0 else "thinner"
            parts.append(f"step {number + 1} leaves the blank {abs(by):g} mm {ways}")
        parts += [
            f"cutter {number} is {diameter:g} mm wide, not {job.cutters[number].diameter:g} mm"
            for number, diameter in self.measured.items()
        ]
        return "; ".join(parts)


def moved_words(shift: tuple[float, float, float]) -> list[str]:
    """Return a shift (right, back, up) mm in words, such as "0.3 mm right"; what is nothing is left out."""
    ways = (("right", "left"), ("back", "forward"), ("high", "low"))
    return [f"{abs(by):g} mm {way[by < 0]}" for by, way in zip(shift, ways, strict=True) if by]


def turned_words(degrees: float) -> list[str]:
    """Return a turn, counter-clockwise from above, in words; nothing for none."""
    return [f"turned {abs(degrees):g} degrees {'left' if degrees > 0 else 'right'}"] if degrees else []


def change_from_words(
    job: Job,
    shifts: Sequence[str] = (),
    turns: Sequence[str] = (),
    thickness: str | None = None,
    measured: Sequence[str] = (),
    planed: Sequence[str] = (),
) -> Change:
    """Return what the options of the command line suppose.

    shifts: each such as "side 2=0.3,-0.2" or "side 2=0,0,0.1".  turns: such as "side 2=0.1".  thickness:
    such as "0.2" or "-1/64 in".  measured: such as "3=5.87".  planed: such as "2=0.2", the number of a step
    to a thickness from 1.  Lengths are mm unless they carry a unit.
    Raises InputProblems with every problem.
    """
    problems: list[Problem] = []
    setups = {setup.name: setup.name for setup in job.setups}
    cutters = {str(number): number for number in job.cutters}
    steps = {str(number + 1): number for number, step in enumerate(job.steps) if step.do == THICKNESS}
    if planed and not steps:
        found = f"{shown_text(planed[0])} in a job without one"
        expected = "a job with a step to a thickness"
        problems.append(Problem(Place("--planed"), found, expected, "leave it out, or use --thickness"))
        planed = ()
    made = Change(
        shifts=_pairs("--shift", shifts, setups, "setup", _shift, problems),
        turns=_pairs("--turn", turns, setups, "setup", _turn, problems),
        thickness=_thickness(job, thickness, problems),
        measured=_pairs("--measured", measured, cutters, "cutter", _diameter, problems),
        planed=_pairs("--planed", planed, steps, "step to a thickness", _length, problems),
    )
    problems += [p for number, more in made.planed.items() for p in _much(job, number, more)]
    for number, diameter in made.measured.items():
        problems += _misfit(job, number, diameter)
    if not (problems or any((made.shifts, made.turns, made.thickness, made.measured, made.planed))):
        problems.append(
            Problem(
                Place("command line"),
                "nothing that is supposed to differ",
                "--shift, --turn, --thickness, --planed or --measured",
                f'write it like --shift "{next(iter(setups))}=0.3,-0.2"',
            )
        )
    if problems:
        raise InputProblems(problems)
    return made


def _pairs(option: str, texts, known: dict, what: str, read: Callable, problems: list[Problem]) -> dict:
    """Return name -> value of options that are written NAME=VALUE."""
    made = {}
    for text in texts:
        name, equals, value = (part.strip() for part in text.rpartition("="))
        place = Place(option)
        names = ", ".join(known)
        if not equals or name not in known:
            found = f"the {what} {shown_text(name)}" if equals else shown_text(text)
            near = nearest_word(name, known) if equals else None
            like = f'"{next(iter(known))}={_LIKE[option]}"'
            remedy = f"did you mean {near}?" if near else f"write it like {option} {like}"
            problems.append(Problem(place, found, f"a {what} of the job ({names})", remedy))
            continue
        if known[name] in made:
            problems.append(Problem(place, f"{what} {name} again", "each one once", "delete one of them"))
            continue
        try:
            made[known[name]] = read(value)
        except ValueError as reason:
            expected, remedy = _WHAT[option], f'write it like {option} "{name}={_LIKE[option]}"'
            problems.append(Problem(place, _found(value, reason), expected, remedy))
    return made


_LIKE = {"--shift": "0.3,-0.2", "--turn": "0.1", "--measured": "5.87", "--planed": "0.2"}
_WHAT = {
    "--shift": f"two or three lengths up to {MOST_SHIFT:g} mm: right, back, up",
    "--turn": f"degrees up to {MOST_DEGREES:g}, counter-clockwise seen from above",
    "--measured": "the diameter of the cutter as measured",
    "--planed": "a length such as 0.2, added to what the step leaves",
}


def _found(text: str, reason: ValueError) -> str:
    """Return what was written, with why it is refused where that says more."""
    _, quoted, why = str(reason).partition(f"'{text.strip()}'")
    return shown_text(text) + why if quoted else f"{shown_text(text)} ({reason})"


def _length(text: str) -> float:
    """Return a length with a sign, mm."""
    sign = -1.0 if text.startswith("-") else 1.0
    size = text[1:] if text.startswith(("+", "-")) else text
    if size.strip().startswith(("+", "-")):
        raise ValueError("two signs")
    return sign * length_mm(size.strip(), "mm")


def _shift(text: str) -> tuple[float, float, float]:
    parts = [_length(part.strip()) for part in text.split(",")]
    numbers = [part.strip() for part in text.split(",")]
    if len(numbers) == 2 and parts[1] and all(part.lstrip("+-").isdigit() for part in numbers):
        two = ",".join(f"{part}.0" for part in numbers)
        raise ValueError(f"one length with a comma? then {'.'.join(numbers)},0; two lengths? then {two}")
    if len(parts) not in (2, 3):
        raise ValueError(f"{len(parts)} length{'s' if len(parts) > 1 else ''}")
    if max(map(abs, parts)) > MOST_SHIFT:
        raise ValueError("too far")
    return (*parts, 0.0)[:3]


def _turn(text: str) -> float:
    degrees = float(text)
    if not abs(degrees) <= MOST_DEGREES:
        raise ValueError("too far")
    return degrees


def _diameter(text: str) -> float:
    return length_mm(text, "mm")


def _thickness(job: Job, text: str | None, problems: list[Problem]) -> float:
    if text is None:
        return 0.0
    place = Place("--thickness")
    try:
        more = _length(text.strip())
    except ValueError as reason:
        expected = "a length such as 0.2, added to the blank's thickness"
        problems.append(Problem(place, _found(text, reason), expected, "write it in mm"))
        return 0.0
    if found := _too_much(place, more, job.blank.thickness):
        problems += found
        return 0.0
    return more


def _much(job: Job, number: int, more: float) -> list[Problem]:
    """Return what is wrong with what a step is supposed to leave more."""
    return _too_much(Place("--planed"), more, job.steps[number].thickness)


def _too_much(place: Place, more: float, stated: float) -> list[Problem]:
    if abs(more) <= stated / 2:
        return []
    found = f"{more:g} mm more than the stated {stated:g} mm"
    remedy = "write the difference, not the thickness"
    return [Problem(place, found, "an error of at most half the thickness", remedy)]


def _misfit(job: Job, number: int, diameter: float) -> list[Problem]:
    """Return what is wrong with a measured diameter."""
    place, stated = Place("--measured"), job.cutters[number].diameter
    if abs(diameter - stated) > MOST_MISMEASURED * stated:
        found = f"{diameter:g} mm for cutter {number}, which the job states with {stated:g} mm"
        expected = f"a measure within {MOST_MISMEASURED:.0%} of it"
        return [Problem(place, found, expected, "correct it, or change the cutter in the job file")]
    try:
        replace(job.cutters[number], diameter=diameter)
    except ValueError as reason:
        return [Problem(place, f"{diameter:g} mm ({reason})", "a cutter that can be", "measure it again")]
    return []
