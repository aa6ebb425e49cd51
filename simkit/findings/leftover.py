"""leftover-cutter and leftover-program: material still standing outside the target.

The first where no cutter that the programs of that side use can get in, the second where one could
have and the program did not go there.
"""

from __future__ import annotations

from functools import partial

import numpy as np

from simkit.compare.outline import HOLDING, outline_step
from simkit.compare.reach import JUMP
from simkit.compare.reach_options import LEAST_OFF, common_cutters, common_words
from simkit.compare.spots import Spot, spots
from simkit.compare.why_left import HALF, WhyLeft, why_left, why_left_at
from simkit.compare.zones import Rule
from simkit.cutters import Cutter
from simkit.findings import made, shape
from simkit.findings.closed_holes import closed_holes
from simkit.findings.evidence import Evidence
from simkit.findings.finding import Finding
from simkit.findings.ridge import ridge_words
from simkit.target.envelope import envelopes
from simkit.units import area_words

DOUBT = 0.05  # mm: an undecided value known worse than this is told with the most that it may be
DIVIDE = 10  # cells of a step's closer look to a cell of the field
HELD = (
    "Keep off where a pass would cut into that tab, skin or frame, and dress the place by hand once the part "
    "is free; else extend the finishing pass over it."
)
FREE = 3.0  # radii of a cutter about a tab within which the part is cut free
MEASURE = "the larger of the distances cut to target and target to cut, to the surface seen from this side"
STEP_MEASURE = "how far wood stands out from the outer wall in plan, at cell centres"


def find(evidence: Evidence) -> list[Finding]:
    """Return one finding for each connected spot that stands prouder of the part than the limit."""
    findings = []
    for side in evidence.deviations:
        used = evidence.carving(side)
        told, lesser = shape.looked_spots(evidence, side, is_gouge=False)
        for nth, one in enumerate(told):
            why = _why(evidence, one, used) if used else None
            if why is not None and why.cause != "cutter" and one.look.value != 0:
                # Told as the cutter's but for the cells: those that are finer only say how sure that is.
                is_sampled = why.cause == "open" and why.best in why.least
                why = _why_closer(evidence, one, used, why.tolerance if is_sampled else None)
            more = shape.lesser_words(lesser) if nth == len(told) - 1 else ""
            findings.append(_finding(evidence, one, why, used, more))
    return findings + closed_holes(evidence) + _outer_steps(evidence)


def _why(evidence: Evidence, one: shape.Looked, cutters: list[Cutter], is_whole: bool = False) -> WhyLeft:
    """Return what each of the cutters must leave at a spot: at its worst cell, or at any of the whole."""
    lattice = evidence.field.lattice
    return why_left(
        one.spot,
        evidence.envelopes,
        evidence.target_grid,
        one.side,
        cutters,
        allowance=evidence.zones.allowance(lattice, one.side),
        is_whole=is_whole,
        limit=one.limit,
    )


def _why_closer(
    evidence: Evidence, one: shape.Looked, cutters: list[Cutter], tolerance: float | None = None
) -> WhyLeft:
    """Return what each of the cutters must leave where a spot stands highest, asked on fine cells.

    tolerance mm: as for `why_left`; that of the fine cells when not given.
    """
    return why_left_at(
        abs(one.look.value),
        one.look.at,
        evidence.field.lattice,
        evidence.target_grid,
        one.side,
        cutters,
        allowance=partial(evidence.zones.allowance, side=one.side),
        limit=one.limit,
        tolerance=tolerance,
    )


def _finding(
    evidence: Evidence, one: shape.Looked, why: WhyLeft | None, used: list[Cutter], more: str
) -> Finding:
    by_step = made.leftover_words(evidence, one)
    if by_step is not None:
        message, advice = by_step
        fields = shape.common_fields(evidence, one, MEASURE)
        return Finding(kind="leftover-program", message=message + more, advice=advice, **fields)
    most = abs(one.look.value) + one.look.bound
    doubt = f", perhaps {most:.2f} mm," if one.severity == "undecided" and one.look.bound > DOUBT else ""
    left = f"{abs(one.look.value):.2f} mm{doubt} left standing over {area_words(one.spot.area)}"
    if why is None:
        return Finding(
            kind="leftover-program",
            message=f"{left}: no program of this side carves{more}",
            advice="Add a pass with a cutter that carves; this side is only drilled, or only moved over.",
            **shape.common_fields(evidence, one, MEASURE),
        )
    best = evidence.job.cutters[why.best]
    others = [
        cutter for cutter in evidence.job.cutters.values() if cutter.shape != "drill" and cutter not in used
    ]
    if why.cause == "cutter":
        rest, most = _range(one, why, best)
        return Finding(
            kind="leftover-cutter",
            message=(
                f"{left}: {best} cannot get in, even its best pass leaves {_range_words(rest, most)}{more}"
            ),
            advice=_smaller(evidence, one, others),
            **shape.common_fields(evidence, one, MEASURE),
        )
    # The cutter that cut nearest is the one a person would send there again, if it can get in.
    here = evidence.cutter_of(one.row) if one.row >= 0 else best
    its_own = why.must_leave.get(here.number, np.inf)
    # Wood lower than it would stand if this cutter did not get in.
    if_out = max(why.must_leave.get(here.number, 0.0), why.most.get(here.number, 0.0))
    is_shown = one.row >= 0 and abs(one.look.value) + JUMP * why.cell < if_out
    able = here if its_own <= one.limit or (why.cause == "open" and is_shown) else best
    rest = why.must_leave[able.number]
    is_enough = rest <= one.limit
    # What its round leaves in a corner is no ridge: closer passes would not take it.
    is_clear = its_own <= min(one.limit, HALF * abs(one.look.value))
    ridge = ridge_words(evidence, one) if is_clear else None
    if ridge is not None:
        return Finding(
            kind="leftover-program",
            message=f"{left} {ridge[0]}{more}",
            advice=ridge[1],
            **shape.common_fields(evidence, one, MEASURE),
        )
    away = _to_holding(evidence, one, able.radius)
    if away is not None:
        return Finding(
            kind="leftover-program",
            message=f"{left}: {able} could get in, but wood that holds the part is {away:.1f} mm away{more}",
            advice=HELD,
            **shape.common_fields(evidence, one, MEASURE),
        )
    advice = "Extend the finishing pass over this place, or check the zero of this setup"
    advice += "; the line named is the move that cut nearest to it." if one.row >= 0 else "."
    if why.cause == "open":
        sure = "what it has cut there shows that it gets in"
        unsure = f"cells of {why.cell:.2g} mm leave open whether it gets in"
        return Finding(
            kind="leftover-program",
            message=(
                f"{left}: the programs of this side did not go there; {able} is about as wide as the room: "
                f"its best pass leaves {_range_words(*_range(one, why, able))}, and "
                f"{sure if is_shown else unsure}{more}"
            ),
            advice=advice
            if is_shown
            else f"Where {able} fits: {advice} Else: {_smaller(evidence, one, others)}",
            **shape.common_fields(evidence, one, MEASURE),
        )
    return Finding(
        kind="leftover-program",
        message=(
            f"{left}: the programs of this side did not go there, though {able} could get "
            f"{_rest_words(rest)}{'' if is_enough else ', still over the limit'}{more}"
        ),
        advice=advice if is_enough else f"{advice} {_smaller(evidence, one, others)}",
        **shape.common_fields(evidence, one, MEASURE),
    )


def _to_holding(evidence: Evidence, one: shape.Looked, within: float) -> float | None:
    """Return how far in plan from a spot wood stands that holds the part, higher than the part is there, mm.

    within mm: farther off it does not matter, and the answer is None.  To half a cell's diagonal.
    """
    if evidence.outside is None:
        return None
    lattice, sign = evidence.field.lattice, 1.0 if one.side == 1 else -1.0
    (x, y), room = one.look.at[:2], int(FREE * within / lattice.cell) + 2
    iy, ix = (int(k) for k in lattice.cell_at(x, y))
    box = (slice(max(iy - room, 0), iy + room + 1), slice(max(ix - room, 0), ix + room + 1))
    part = sign * float(evidence.envelopes.side(one.side)[one.spot.cell])
    wood = evidence.field.upper if one.side == 1 else -evidence.field.lower
    is_higher = evidence.outside.is_reached[box] & (wood[box] > part + one.limit)
    away = np.hypot(lattice.y()[box[0]][:, None] - y, lattice.x()[box[1]] - x)
    if not is_higher.any() or evidence.field.is_solid[box].all():
        return None  # nothing is cut free about here: it is no tab, the program kept off wood and part alike
    nearest = float(np.where(is_higher, away, np.inf).min(initial=np.inf))
    return nearest if nearest <= within else None


def _range(one: shape.Looked, why: WhyLeft, cutter: Cutter) -> tuple[float, float]:
    """Return what a cutter must leave at a spot at least, and what its best pass may leave, mm.

    Reach is off by up to a cell in plan at a step: what the cut shows to be possible counts.
    """
    sampled = why.must_leave[cutter.number]
    least = why.least.get(cutter.number, sampled)
    most = max(why.most.get(cutter.number, 0.0), sampled) + LEAST_OFF * why.cell
    if sampled - least <= JUMP * why.cell:
        least = sampled
    stands = abs(one.look.value)
    return min(least, stands), min(most, stands + one.look.bound)


def _range_words(least: float, most: float) -> str:
    """Return what a cutter must leave at least, and could leave at most, in words."""
    one, other = f"{least:.2f}", f"{most:.2f}"
    return f"{one} mm" if one == other else f"{one} to {other} mm"


def _rest_words(rest: float) -> str:
    """Return what a cutter must leave, in words."""
    return "to within 0.05 mm of the part" if rest < 0.05 else f"as near as {rest:.2f} mm to the part"


def _smaller(evidence: Evidence, one: shape.Looked, others: list[Cutter]) -> str:
    """Return advice on which cutter of the job, or which common size, would get in, and what would remain."""
    left = abs(one.look.value)
    kept, rest, doubt = _best_of(evidence, one, others)
    words = []
    if kept is not None and rest < left:
        words.append(f"Add a pass with {kept}: it can get {_rest_words(rest)}, {_enough(rest, doubt, one)}.")
        if rest <= one.limit:
            return words[0]
    common = common_cutters(list(evidence.job.cutters.values()))
    bought, its_rest, doubt = _best_of(evidence, one, common)
    if bought is not None and its_rest < min(left, rest):
        words.append(
            f"Of common sizes beyond the job's, a {common_words(bought)} would leave about "
            f"{its_rest:.2f} mm, {_enough(its_rest, doubt, one)}."
        )
    return " ".join(words) or (
        "Add a pass with a smaller cutter (half the radius, half the corner), or round the corner."
    )


def _enough(rest: float, doubt: float, one: shape.Looked) -> str:
    """Return in words whether what remains, mm and perhaps `doubt` more, is within the limit of a spot."""
    if rest > one.limit:
        return "still over the limit"
    return (
        "within the limit"
        if rest + doubt <= one.limit
        else f"known to {doubt:.2f} mm, perhaps over the limit"
    )


def _best_of(
    evidence: Evidence, one: shape.Looked, cutters: list[Cutter]
) -> tuple[Cutter | None, float, float]:
    """Return the largest cutter that leaves a spot within the limit, else the one that leaves least.

    With what it leaves, mm, and how much more that may be.  Where the cells leave it open whether that is
    within the limit, it is asked on fine cells at the place where the spot stands highest, too.  One that may
    be too wide to get in is only taken when no other will do.
    """
    if not cutters:
        return None, np.inf, 0.0
    why = _why(evidence, one, cutters, is_whole=True)
    rest = dict(why.must_leave)
    doubt = {number: _doubt(why, number) for number in rest}

    def ask_closer(cutter: Cutter) -> None:
        number = cutter.number
        if one.look.value != 0 and rest[number] + doubt[number] > one.limit:
            closer = _why_closer(evidence, one, [cutter])
            rest[number] = max(rest[number], closer.must_leave[number])
            doubt[number] = _doubt(closer, number)

    narrow = None
    for cutter in sorted(cutters, key=lambda cutter: (-cutter.diameter, cutter.number)):
        if rest[cutter.number] <= one.limit:
            ask_closer(cutter)
            told = (cutter, rest[cutter.number], doubt[cutter.number])
            if told[1] <= one.limit:
                if told[2] <= LEAST_OFF * evidence.field.lattice.cell:
                    return told
                narrow = narrow or told
    if narrow is not None:
        return narrow
    best = min(cutters, key=lambda cutter: (rest[cutter.number], cutter.number))
    ask_closer(best)
    return best, rest[best.number], doubt[best.number]


def _doubt(why: WhyLeft, number: int) -> float:
    """Return how much more than it must a cutter may leave, mm."""
    more = why.most.get(number, 0.0) - why.must_leave[number]
    return max(more, LEAST_OFF * why.cell)


def _outer_steps(evidence: Evidence) -> list[Finding]:
    """Return findings for wood that stands proud of the outer wall without holding the part."""
    outside, field, zones = evidence.outside, evidence.field, evidence.zones
    if outside is None or not outside.is_step.any():
        return []
    # A step belongs to the side that cut it last on its way through; in a job of one side to that.
    is_upper = (field.upper_move > field.lower_move) | (2 not in evidence.deviations)
    index = np.where(is_upper, *(zones.index(field.lattice, side) for side in (1, 2)))
    findings = []
    for number, rule in enumerate(zones.rules):
        limit = rule.leftover + rule.finish_allowance
        run = np.where(outside.is_step & (index == number), outside.run, 0.0)
        is_beyond = run > limit - field.lattice.cell / 2
        if rule.is_judged and is_beyond.any():
            findings += _steps(evidence, spots(run, is_beyond, field.lattice, shape.GAP), is_upper, rule)
    return findings


def _steps(evidence: Evidence, found: list[Spot], is_upper: np.ndarray, rule: Rule) -> list[Finding]:
    """Return findings for the steps of one zone."""
    field = evidence.field
    findings = []
    for nth, spot in enumerate(found[: shape.MOST]):
        value, bound = _closer_step(evidence, spot)
        value = max(value - rule.finish_allowance, 0.0)
        severity = shape.severity_of(value, bound, rule.leftover)
        if not severity:
            continue
        side = 1 if is_upper[spot.cell] else 2
        row = shape.owner_at(evidence, side, spot.cell, spot.at)
        z = float(field.upper[spot.cell] if side == 1 else field.lower[spot.cell])
        lesser = found[shape.MOST :] if nth == shape.MOST - 1 else []
        findings.append(
            Finding(
                kind="leftover-program",
                severity=severity,
                message=(
                    f"a step of {value:.2f} mm stands out from the outer wall over "
                    + area_words(spot.area)
                    + shape.lesser_words(lesser)
                ),
                advice="Check that the outline is cut from both sides on the same line, and the second zero.",
                value=value,
                bound=bound,
                limit=rule.leftover,
                measure=STEP_MEASURE,
                zone=rule.name,
                **shape.cut_fields(evidence, spot, (*spot.at, z), side, row),
            )
        )
    return findings


def _closer_step(evidence: Evidence, spot: Spot) -> tuple[float, float]:
    """Return the size of a step and its bound, mm, measured again on finer cells; 0 where there is none."""
    lattice = evidence.field.lattice
    room = round((spot.value + 2 * HOLDING) / lattice.cell) + 2
    iy, ix = spot.cell
    window = lattice.window(iy - room, iy + room + 1, ix - room, ix + room + 1, DIVIDE)
    # In a window nothing tells what hangs together outside it, so the step is known to be one already.
    holding = max(HOLDING, spot.value + 1.0)
    fine = outline_step(
        evidence.recut(window),
        envelopes(evidence.target_grid, window),
        holding,
        hangs=bool(evidence.outside.is_hanging[spot.cell]),
    )
    y, x = window.y()[:, None], window.x()
    is_here = fine.is_step & (np.hypot(x - spot.at[0], y - spot.at[1]) <= 2 * lattice.cell)
    if not is_here.any():
        return 0.0, fine.bound
    return float(fine.run[is_here].max()), fine.bound
