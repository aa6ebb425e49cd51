"""What a check leaves unjudged because the job does not say what it would be judged by."""

from __future__ import annotations

from collections.abc import Iterable

from simkit.cutters import Cutter
from simkit.findings.evidence import Evidence
from simkit.job.model import FROM_BELOW, Job
from simkit.job.steps import POUR


def not_judged(evidence: Evidence) -> list[str]:
    """Return what is not judged, each with the key of the job file that would have it judged.

    Only what concerns this job: cutters that its programs call, setups that it has.
    """
    job = evidence.job
    called = sorted({int(tool) for own in evidence.reads for _, read in own for tool in read.moves.tool})
    cutters = [job.cutters[number] for number in called]
    return [*_machine(job), *_cutters(cutters), *_holding(job), *_shape(job)]


def _machine(job: Job) -> Iterable[str]:
    machine = job.machine
    if machine.low is None or machine.high is None:
        yield "the ends of the machine's travel (machine.low, machine.high)"
    else:
        without = [setup.name for setup in job.setups if setup.machine_zero is None]
        if without:
            yield f"the ends of travel in {_names(without)} (setups[].machine_zero)"
    if machine.spindle is None:
        yield "speeds of the spindle (machine.spindle)"
    bare = [setup.name for setup in job.setups if not any(one.stands_in(setup) for one in job.fixtures)]
    if bare:
        yield f"clamps and stops in {_names(bare)}, none is stated ([[fixtures]])"
    first = job.setups[0]
    low = [one.name for one in job.setups if one.pin_height is None and one.stands_on_pins(first)]
    if job.dowels and low:
        yield f"whether a cutter meets a dowel pin in {_names(low)} (setups[].pin_height)"


def _cutters(cutters: list[Cutter]) -> Iterable[str]:
    for words, is_missing in (
        (
            "whether neck or shank rub: {} (cutting_length, shank)",
            lambda one: one.cutting_length is None or one.shank is None,
        ),
        (
            "whether the holder rubs: {} (stick_out, holder)",
            lambda one: one.stick_out is None or not one.holder,
        ),
        ("chips: {} (flutes)", lambda one: one.chip_load is not None and not one.flutes),
        ("chips: {} (chip_load)", lambda one: one.chip_load is None and one.flutes),
        ("chips: {} (flutes, chip_load)", lambda one: one.chip_load is None and not one.flutes),
        (
            "deep slots: {} (slot_depth)",
            lambda one: one.slot_depth is None and one.shape != "drill",
        ),
        (
            "steep plunges: {} (plunge_angle)",
            lambda one: one.plunge_angle is None and one.shape != "drill",
        ),
    ):
        missing = [f"T{one.number}" for one in cutters if is_missing(one)]
        if missing:
            yield words.format(", ".join(missing))


def _holding(job: Job) -> Iterable[str]:
    if any(one.kind in FROM_BELOW and one.grip is None for one in job.holding):
        yield "whether tape or vacuum hold against the cutting force (holding[].grip)"
    if any(setup.jig is not None and setup.jig_play is None for setup in job.setups):
        yield "how far the piece may shift in the jig (setups[].jig_play)"
    if any(step.do == POUR and step.most_depth is None for step in job.steps):
        yield "how deep the resin may be poured at once (steps[].most_depth)"


def _shape(job: Job) -> Iterable[str]:
    if job.target is not None and job.limits.cusp is None:
        yield "the height of ridges between passes (limits.cusp)"


def _names(names: list[str]) -> str:
    return ", ".join(f"'{name}'" for name in names)
