"""seat: the piece does not drop into its jig, stands up in it, rocks, or has more play than it may."""

from __future__ import annotations

from typing import Any

from simkit.compare.jig import Laid
from simkit.compare.seat import REACH, SAME_HEIGHT, TURN, Seat
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.findings.shape import severity_of
from simkit.job.model import Setup

NOT_SEARCHED = (
    "Not checked: whether it tilts, or comes to rest in another way within its play, as over another slope;"
    " the rest nearest to the stated place is told"
)


def find(evidence: Evidence) -> list[Finding]:
    """Return findings for each setup with a jig."""
    findings = []
    for laid in evidence.seats:
        index, seat, name = laid.setup, laid.seat, laid.name
        setup = evidence.job.setups[index]
        subject = f"{setup.name}, {name}" if laid.number else setup.name
        common = {"setup": setup.name, **evidence.job_line(f"setups[{index}].jig")}
        is_tight = seat.room is not None and seat.room < seat.room_bound
        if is_tight:
            is_open = seat.room > -seat.room_bound
            findings.append(
                Finding(
                    kind="seat",
                    severity="undecided" if is_open else "beyond",
                    subject=f"{subject}, drops in",
                    message=(
                        f"it is open whether {name} drops into the jig of '{setup.name}'"
                        if is_open
                        else f"{name} does not drop into the jig of '{setup.name}': at the best place "
                        f"{-seat.room:.3f} mm is missing between upright walls, and it stands up by "
                        f"{seat.stands_up:.2f} mm"
                    ),
                    advice="Give the pocket more room there, or relieve its corners: "
                    f"the least relief is in the result ({_places(seat)}).",
                    value=-seat.room,
                    bound=seat.room_bound,
                    limit=0.0,
                    measure="overlap of upright walls in plan, at the place with the most room",
                    **common,
                )
            )
        elif severity := severity_of(-seat.stands_up, seat.stands_up_bound, evidence.job.limits.leftover):
            findings.append(
                Finding(
                    kind="seat",
                    severity=severity,
                    subject=f"{subject}, too low",
                    message=f"{name} lies {-seat.stands_up:.2f} mm too low in the jig of '{setup.name}'",
                    advice="Cut the jig less deep, or correct jig_at.",
                    value=-seat.stands_up,
                    bound=seat.stands_up_bound,
                    limit=evidence.job.limits.leftover,
                    measure="height below the stated place, where the piece rests untilted",
                    **common,
                )
            )
        elif severity := severity_of(seat.stands_up, seat.stands_up_bound, _limit(evidence)):
            x, y, z = seat.first
            findings.append(
                Finding(
                    kind="seat",
                    severity=severity,
                    subject=f"{subject}, stands up",
                    message=(
                        f"{name} stands up by {seat.stands_up:.2f} mm in the jig of '{setup.name}': it "
                        f"touches at x {x:.2f}, y {y:.2f}, z {z:.2f} mm of the jig "
                        f"(±{seat.first_bound:.2f} mm in plan)"
                    ),
                    advice=f"Cut the jig deeper there ({_places(seat)}), or correct jig_at.",
                    value=seat.stands_up,
                    bound=seat.stands_up_bound,
                    limit=_limit(evidence),
                    measure="height above the stated place, where the piece rests untilted",
                    **common,
                )
            )
        if seat.tips > 0:
            findings.append(
                Finding(
                    kind="seat",
                    severity="beyond",
                    subject=f"{subject}, rocks",
                    message=(
                        f"{name} rocks in the jig of '{setup.name}': its weight acts {seat.tips:.1f} mm "
                        "outside what it rests on"
                    ),
                    advice="Let the jig bear it on both sides of its weight.",
                    value=seat.tips,
                    bound=evidence.field.lattice.cell,
                    limit=0.0,
                    measure="distance in plan, centre of mass to the hull of the places it rests on",
                    **common,
                )
            )
        findings += _play(setup, laid, subject, common)
    return findings


def _play(setup: Setup, laid: Laid, subject: str, common: dict[str, Any]) -> list[Finding]:
    """Return the finding of a piece that can shift in its jig by more than `jig_play` of the setup."""
    most, seat = setup.jig_play, laid.seat
    if most is None or (seat.room is not None and seat.play_shift is None):
        return []
    advice = "Make the pocket closer to the piece, or hold the piece in plan by stops or dowels."
    subject, measure = (
        f"{subject}, play",
        "shift between upright walls, from one end of the play to the other",
    )
    if seat.room is None:
        message = f"no upright walls of the jig of '{setup.name}' hold {laid.name} in plan"
        free = Finding(
            "seat", "beyond", message, advice, limit=most, measure=measure, subject=subject, **common
        )
        return [free]
    left, right, front, back = seat.play_shift
    value, way = max((left + right, "left and right"), (front + back, "front and back"))
    # Each end of the play is known to the bound of the walls.
    bound = 2 * seat.room_bound
    severity = severity_of(value, bound, most)
    if not severity:
        return []
    least = "at least " if max(seat.play_shift) >= REACH else ""
    message = f"{laid.name} can shift {least}{value:.2f} mm {way} in the jig of '{setup.name}'"
    return [
        Finding(
            "seat",
            severity,
            message,
            advice,
            value=value,
            bound=bound,
            limit=most,
            measure=measure,
            subject=subject,
            **common,
        )
    ]


def _limit(evidence: Evidence) -> float:
    """Return how much too high a piece may lie: what the cuts from that side would then go too deep."""
    return evidence.job.limits.gouge


def _places(seat: Seat) -> str:
    """Return where the jig should be relieved, in words."""
    told = [
        f"{'all round' if holes else 'at'} x {x:.1f}, y {y:.1f} mm"
        for (x, y), holes in zip(
            (outline.mean(axis=0) for outline in seat.relief), seat.relief_holes, strict=True
        )
    ]
    words = "; ".join(told[:4])
    more = f" and {len(told) - 4} more" if len(told) > 4 else ""
    return f"{words}{more} of the jig" if told else "nothing to relieve"


def seat_remarks(evidence: Evidence) -> list[str]:
    """Return how each piece seats in its jig, in sentences."""
    words = [seat_words(laid, evidence.job.setups[laid.setup].name) for laid in evidence.seats]
    return [f"{text}. {NOT_SEARCHED}" for text in words]


def seat_words(laid: Laid, name: str) -> str:
    """Return how a piece seats in the jig of the setup of that name, without a full stop."""
    seat = laid.seat
    height = seat.stands_up
    lies = "at its stated height"
    if abs(height) > SAME_HEIGHT:
        lies = f"{abs(height):.2f} mm {'above' if height > 0 else 'below'} its stated height"
    drops = "drops in" if seat.drops_in else f"does not drop in ({-seat.room:.2f} mm is missing in plan)"
    text = f"jig of '{name}': {laid.name} {drops}, rests on the {seat.rests_on} {lies} "
    text += f"±{seat.stands_up_bound:.2f} mm"
    if seat.play_shift is not None:
        left, right, front, back = seat.play_shift
        text += (
            f"; play between upright walls ±{seat.room_bound:g} mm: left {left:.2f} mm, "
            f"right {right:.2f} mm, front {front:.2f} mm, back {back:.2f} mm, turn {_turn(seat.play_turn)}"
        )
    elif seat.room is None:
        text += "; no upright walls hold it in plan"
    return text


def _turn(turn: tuple[float, float]) -> str:
    left, right = turn
    if min(left, right) >= TURN:
        return f"{TURN:g} degrees and more"
    return f"{left:.2f} degrees to the left, {right:.2f} to the right"


def seat_rows(evidence: Evidence) -> list[dict[str, Any]]:
    """Return the rows of the result: one for each piece that is laid into the jig of a setup."""
    return [
        {
            "setup": evidence.job.setups[laid.setup].name,
            "piece": laid.name,
            "drops_in": seat.drops_in,
            "room": seat.room,
            "room_bound": seat.room_bound,
            "stands_up": seat.stands_up,
            "stands_up_bound": seat.stands_up_bound,
            "shift": [seat.pose.dx, seat.pose.dy],
            "turn_degrees": seat.pose.degrees,
            "first_contact": list(seat.first),
            "first_contact_bound": seat.first_bound,
            "rests_on": seat.rests_on,
            "mass_centre": list(seat.mass_centre),
            "tips": seat.tips,
            "play_shift": seat.play_shift and list(seat.play_shift),
            "play_turn": seat.play_turn and list(seat.play_turn),
            "relief": [outline.tolist() for outline in seat.relief],
            "relief_holes": [[hole.tolist() for hole in holes] for holes in seat.relief_holes],
        }
        for laid in evidence.seats
        for seat in (laid.seat,)
    ]
