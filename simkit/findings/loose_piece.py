"""loose-piece: a piece comes free while the job runs, the part itself or an offcut that can be thrown."""

from __future__ import annotations

from typing import Any

from simkit.compare.loose import Loose
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.job.wood import density

MEASURE = "volume of the piece as it comes free, from columns at cell centres"


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each piece that comes free, at the move that frees it."""
    return [] if evidence.loose is None else [_finding(evidence, one) for one in evidence.loose.found]


def loose_remarks(evidence: Any) -> list[str]:
    """Return what a person should know of how the wood is held, in words."""
    loose = evidence.loose
    if loose is None:
        return []
    words = []
    pairs = zip(evidence.job.setups, loose.judged, strict=True)
    missing = [f"'{setup.name}'" for setup, known in pairs if not known]
    if missing:
        where = "" if len(missing) == len(loose.judged) else " in " + ", ".join(missing)
        words.append(
            f"holding not judged{where}: the job does not say what holds the wood there ([[holding]], or "
            "[[fixtures]] on the wood); what comes apart is told all the same"
        )
    if loose.more:
        words.append(f"{loose.more} more pieces come free, smaller ones, and were not followed")
    return words


def _finding(evidence: Evidence, one: Loose) -> Finding:
    is_known = evidence.loose.judged[one.setup]
    is_hurt = one.touched >= 0 or one.grazed >= 0
    is_safety = not one.is_skin and (is_hurt or (one.is_part and is_known))
    place = evidence.place_of(one.at, one.setup)
    setup = evidence.job.setups[one.setup]
    if one.row >= 0:
        source = evidence.source_of(one.row)
    else:
        source = {**evidence.job_line(f"setups[{one.setup}].name"), "setup": setup.name}
    return Finding(
        kind="loose-piece",
        severity="safety" if is_safety else "warning",
        message=f"{_what(evidence, one)} {_how(one)}{_then(evidence, one)}",
        advice=_advice(evidence, one, is_known),
        value=round(one.volume / 1000.0, 2),
        bound=one.bound / 1000.0,
        limit=None,
        unit="cm3",
        measure=MEASURE,
        side=1 if evidence.frames[one.setup].up > 0 else 2,
        box=one.box,
        centre=((one.box[0] + one.box[2]) / 2, (one.box[1] + one.box[3]) / 2),
        **place,
        **source,
    )


def _what(evidence: Evidence, one: Loose) -> str:
    name = "the part" if one.is_part else "a piece of the frame" if one.at_edge else "an offcut"
    size = " x ".join(f"{value:.0f}" for value in one.size)
    return f"{name} ({size} mm, {_mass_words(evidence, one.volume)})"


def _mass_words(evidence: Evidence, volume: float) -> str:
    """Return the mass of so many mm3 of the blank's wood; the volume where its density is not known."""
    heavy = density(evidence.job.blank.species)
    if heavy is None:
        return f"{volume / 1000:.1f} cm3"
    return f"about {volume * 1e-6 * heavy:.0f} g" if volume * 1e-6 * heavy >= 1 else "less than 1 g"


def _how(one: Loose) -> str:
    if one.is_skin:
        return "is held by no more than a skin from here on"
    if one.row < 0:
        return "is held by nothing in this setup"
    return "comes free here"


def _then(evidence: Evidence, one: Loose) -> str:
    moves = evidence.moves
    if one.touched >= 0:
        more = f", {one.touches} moves in all" if one.touches > 1 else ""
        what = "" if one.contact == "cutting part" else f" with its {one.contact}"
        return (
            f"; {evidence.cutter_of(one.touched)} runs into it{what} in {_line(moves, one.touched)}, "
            f"up to {one.depth:.1f} mm deep{more}"
        )
    if one.grazed >= 0:
        return f"; {evidence.cutter_of(one.grazed)} runs along it again from {_line(moves, one.grazed)} on"
    return "" if one.is_skin or one.row < 0 else "; nothing touches it afterwards"


def _line(moves, row: int) -> str:
    return f"{moves.programs[int(moves.program[row])]}:{int(moves.line[row])}"


def _advice(evidence: Evidence, one: Loose, is_known: bool) -> str:
    if one.is_skin:
        return (
            f"Wood thinner than {evidence.job.limits.skin:g} mm (limits.skin) may tear under the cutter: "
            "leave tabs, or hold the piece with tape or vacuum."
        )
    say = "" if is_known else "; if something does, say so under [[holding]]"
    if one.is_part:
        return f"Leave tabs, or hold the part from below with tape or vacuum{say}."
    if one.touched >= 0 or one.grazed >= 0:
        return f"Leave a tab on it or hold it, or cut it up before it comes free: it can be thrown{say}."
    return f"It may be caught and thrown as it comes free: leave a tab on it, or hold it{say}."
