"""What could be faster: each thing once, with the minutes that it costs."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from simkit.cutters import Cutter
from simkit.effort.bite import Bites
from simkit.effort.chips import USUAL_SOURCE, usual_chips
from simkit.effort.motion import ARC_SHARE, MoveTimes
from simkit.effort.rows import ranges, rows_by
from simkit.effort.timing import timed
from simkit.frames import Frame
from simkit.job.model import Job, Machine
from simkit.machine.pins import standing_in
from simkit.moves.table import ARC, Moves
from simkit.stock.field import Field

LEAST = 0.5  # minutes: less is not worth a line
LEAST_PART = 0.02  # of the setup's moving time, likewise
FAR_UNDER = 0.5  # of the least chip load: feeds above are a matter of taste
ROUGHS = 0.6  # of what a setup takes: the cutter that takes more is its roughing cutter
WIDER = (1.5, 2.0)  # times the diameter: the wider cutters that are tried
COARSE = 60_000  # cells on which they are tried


@dataclass(frozen=True)
class Advice:
    """One thing that would save time.

    kind: "safe height", "air", "feed" or "roughing".  words: what and how much.  minutes: saved, an estimate:
    of the moves as they are with that one thing changed; for roughing see `_roughing`.
    """

    kind: str
    words: str
    minutes: float


def advise(
    job: Job,
    index: int,
    moves: Moves,
    frame: Frame,
    times: MoveTimes,
    own: Bites,
    before: Field,
    after: Field,
) -> list[Advice]:
    """Return what would save time in a setup.

    moves, times, own: of the setup, and what it bites off.  before, after: the wood.
    """
    least = max(LEAST, LEAST_PART * float(times.seconds.sum()) / 60.0)
    # Each asks what the same moves would take with one thing changed.
    some = [
        _safe_height(job, index, moves, times),
        _air(job, index, moves, times, own, least),
        *_feeds(job, index, moves, times, own, least),
        _roughing(job, index, own, frame, before, after, least),
    ]
    return [advice for advice in some if advice is not None and advice.minutes >= least]


def _name(job: Job, index: int) -> str:
    return f"setup '{job.setups[index].name}'"


def _saved(before: MoveTimes, after: MoveTimes) -> float:
    return float(before.seconds.sum() - after.seconds.sum()) / 60.0


def _safe_height(job: Job, index: int, moves: Moves, times: MoveTimes) -> Advice | None:
    """Ask what lower lifts would save: as near the wood and the fixtures as the clearance allows."""
    setup, blank = job.setups[index], job.blank
    standing = [fixture.height for fixture in standing_in(job, index)]
    zero = float(setup.to_table(blank).apply(np.zeros(3))[2])
    thick = setup.highest(blank)
    enough = max(thick, *standing, 0.0) + job.machine.clearance - zero
    rapids = moves.end[np.flatnonzero(moves.rapid), 2]
    over = rapids[rapids > enough + 1e-6]
    upright = np.flatnonzero((moves.kind == ARC) & (moves.plane != 17))
    upright_ends = (moves.start[upright, 2].max(initial=enough), moves.end[upright, 2].max(initial=enough))
    if not len(over) or max(upright_ends) > enough:
        return None
    is_over = (moves.start[:, 2] > enough) | (moves.end[:, 2] > enough)
    near, asked = _near(moves, np.flatnonzero(is_over), job.machine)
    some = moves[asked]
    start, end = some.start.copy(), some.end.copy()
    for places in (start, end):
        places[:, 2] = np.minimum(places[:, 2], enough)
    heights, counts = np.unique(over.round(3), return_counts=True)
    usual = heights[counts.argmax()]
    after = timed(replace(some, start=start, end=end), job.machine).seconds
    gained = (times.seconds[asked] - after)[np.searchsorted(asked, near)]
    minutes = float(gained.sum()) / 60.0
    above = "wood" if not standing or max(standing) <= thick else "clamps"
    unknown = "" if job.fixtures else "; the job states no clamps or stops: with any there, keep above them"
    return Advice(
        "safe height",
        f"{_name(job, index)}: rapids at Z{usual:g}; Z{enough:g} clears the {above} by"
        f" {job.machine.clearance:g} mm{unknown}",
        minutes,
    )


def _near(moves: Moves, changed: np.ndarray, machine: Machine) -> tuple[np.ndarray, np.ndarray]:
    """Return which moves may take another time when some are changed, and which have to be asked for it.

    changed (k,): rows of these, growing; so are the two returned.  The square of the speed at a corner is the
    least of all limits, each with what the way from there lets it grow (motion._reachable).  So a corner
    hears nothing of what lies farther than the way on which it grows from nothing to the greatest there is.
    To know the times of moves, whatever the speeds at the ends of what is asked, that much has to be asked
    on both sides of them.
    """
    fastest2 = sum((speed / 60.0) ** 2 for speed in machine.speed)
    reach = fastest2 / (2.0 * ARC_SHARE * min(machine.acceleration))
    end = np.cumsum(moves.length())
    start = end - moves.length()
    first, last, found = changed, changed, []
    for _ in range(2):
        # Of ranges that grow: where one begins behind the end of the last, there is a gap.
        first, stop = (
            np.searchsorted(end, start[first] - reach),
            np.searchsorted(start, end[last] + reach, "right"),
        )
        is_gap = first[1:] > stop[:-1]
        first, last = first[np.append(True, is_gap)], stop[np.append(is_gap, True)] - 1
        found.append(ranges(first, last + 1))
    return found[0], found[1]


def _air(job: Job, index: int, moves: Moves, times: MoveTimes, own: Bites, least: float) -> Advice | None:
    """Ask what feed moves that take nothing would take as rapids, where they take `least` minutes or more."""
    is_air = ~own.in_wood & own.is_whole
    # A way down ends at or near wood: it stays a feed.
    is_down = moves.end[:, 2] < moves.start[:, 2] - 1e-6
    mine = np.append(is_air, False)[own.of] & ~is_down
    spent = float(times.seconds[mine].sum()) / 60.0
    if spent < least:
        return None
    faster = timed(replace(moves, rapid=moves.rapid | mine), job.machine)
    spans = np.bincount(own.of[mine], weights=times.seconds[mine])
    row = int(np.flatnonzero(mine & (own.of == spans.argmax()))[0])
    return Advice(
        "air",
        f"{_name(job, index)}: {spent:.1f} min of feed moves take no wood, the longest stretch at"
        f" {moves.programs[int(moves.program[row])]}:{int(moves.line[row])}; as rapids they would take less"
        " (ways down are left out: the last of them stays a feed)",
        _saved(times, faster),
    )


def _feeds(job: Job, index: int, moves: Moves, times: MoveTimes, own: Bites, least: float) -> list[Advice]:
    """Ask what the least chip load would save where feeds are far under it, cutter by cutter.

    Of a cutter whose moves of that kind take less than `least` minutes nothing is asked.
    """
    feed, told = moves.feed.copy(), {}
    may_be = own.in_wood & own.is_pass & ~own.is_ramp
    for number, rows in sorted(rows_by(own.tool).items()):
        cutter = job.cutters[number]
        if cutter.shape == "drill" or not cutter.flutes:
            continue
        thinnest = (cutter.chip_load or usual_chips(cutter, job.blank.hardness))[0]
        low = np.zeros(len(own.tool), bool)
        low[rows] = may_be[rows] & (own.per_tooth[rows] < FAR_UNDER * thinnest)
        if float(own.seconds[low].sum()) / 60.0 < least or not low.any():
            continue
        factor = np.append(np.where(low, thinnest / np.where(low, own.per_tooth, 1.0), 1.0), 1.0)[own.of]
        feed *= factor
        worst = own.per_tooth[low].min()
        source = "" if cutter.chip_load else f" ({USUAL_SOURCE})"
        told[number] = (
            f"{_name(job, index)}: {cutter} takes {worst:.3f} mm a tooth where {thinnest:.3f} mm is the least"
            f"{source}; the feed may be {thinnest / worst:.1f} times as high, or the speed lower"
        )
    if not told:
        return []
    after = timed(replace(moves, feed=feed), job.machine)
    gained = times.seconds - after.seconds
    return [
        Advice("feed", words, float(gained[moves.tool == number].sum()) / 60.0)
        for number, words in told.items()
    ]


def _roughing(
    job: Job, index: int, own: Bites, frame: Frame, before: Field, after: Field, least: float
) -> Advice | None:
    """Ask whether a wider cutter would do most of the roughing.

    A rough estimate: where it gets in, the way is shorter by the ratio of the diameters, at the same feed
    and depth; one more change of cutter is taken off.  It gets
    in where the closing of what the setup leaves, by a disc of its diameter on coarse cells, leaves
    nothing more.  Asked only where that could save `least` minutes if it got in everywhere.
    """
    taken = _by_cutter(own, own.volume)
    if not taken:
        return None
    number = max(taken, key=taken.get)
    cutter: Cutter = job.cutters[number]
    if cutter.shape == "drill" or taken[number] < ROUGHS * sum(taken.values()):
        return None
    seconds = _by_cutter(own, np.where(own.in_wood & own.is_pass, own.seconds, 0.0))[number]
    best = None
    for wider in sorted(WIDER, reverse=True):
        most = (seconds * (1.0 - 1.0 / wider) - job.machine.cutter_change) / 60.0
        if most < least or (best is not None and most <= best[0]):
            continue  # if it got in everywhere
        part = _gets_at(before, after, frame, wider * cutter.diameter)
        saved = (seconds * part * (1.0 - 1.0 / wider) - job.machine.cutter_change) / 60.0
        if part >= 0.5 and (best is None or saved > best[0]):
            best = saved, wider, part
    if best is None:
        return None
    saved, wider, part = best
    return Advice(
        "roughing",
        f"{_name(job, index)}: {cutter} takes most of the wood; one of {wider * cutter.diameter:g} mm gets at"
        f" {100 * part:.0f} % of it (rough estimate, at the same feed and depth; wider cuts load the spindle"
        " and the work more)",
        saved,
    )


def _by_cutter(own: Bites, values: np.ndarray) -> Mapping[int, float]:
    return {number: float(values[rows].sum()) for number, rows in sorted(rows_by(own.tool).items())}


def _gets_at(before: Field, after: Field, frame: Frame, diameter: float) -> float:
    """Return which part of what a setup takes a disc of a diameter (mm) gets at, 0 to 1."""
    lattice = after.lattice
    step = max(1, int(np.ceil(np.sqrt(lattice.nx * lattice.ny / COARSE))))
    up = frame.up
    old, new = (
        np.float32(up) * (one.upper if up > 0 else one.lower)[::step, ::step] for one in (before, after)
    )
    if up > 0:
        ground = after.lower[::step, ::step]
    else:
        ground = -after.upper[::step, ::step]
    new, old = np.maximum(new, ground), np.maximum(old, ground)
    taken = float((old.astype(np.float64) - new).sum())
    if taken <= 0:
        return 0.0
    reach = max(1, int(diameter / 2 / (lattice.cell * step)))
    low = float(new.min())
    around = np.pad(new, 2 * reach, constant_values=low)  # beside the blank there is room
    closed = _over_disc(_over_disc(around, reach, np.maximum), reach, np.minimum)
    closed = closed[2 * reach : -2 * reach, 2 * reach : -2 * reach]
    return float((old.astype(np.float64) - np.minimum(closed, old)).sum()) / taken


def _over_disc(values: np.ndarray, reach: int, more) -> np.ndarray:
    """Return the most (or least) of values (ny, nx) over a disc of `reach` cells about each, row by row.

    more: tells it of two.  What lies beyond the edges does not count.
    """
    found, along, wide = None, values.copy(), 0  # along: over `wide` cells to both sides in a row
    for away in range(reach, -1, -1):
        half = math.isqrt(reach**2 - away**2)
        while wide < half:
            wide += 1
            if wide == 1:
                more(along[:, 1:], values[:, :-1], out=along[:, 1:])
                more(along[:, :-1], values[:, 1:], out=along[:, :-1])
                continue
            # Those over one cell less about the neighbours reach as far; at the edges about the cell itself.
            wider = np.empty_like(along)
            more(along[:, :-2], along[:, 2:], out=wider[:, 1:-1])
            more(along[:, :1], along[:, 1:2], out=wider[:, :1])
            more(along[:, -1:], along[:, -2:-1], out=wider[:, -1:])
            along = wider
        if found is None:
            found = along.copy()
        if away:
            more(found[away:], along[:-away], out=found[away:])
            more(found[:-away], along[away:], out=found[:-away])
        else:
            more(found, along, out=found)
    return found
