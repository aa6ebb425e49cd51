"""Which cutter would leave how much: the job's cutters and common sizes, for the whole of one side."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from simkit.compare.cusps_formula import stepover_for
from simkit.compare.deviation import Deviation
from simkit.compare.reach import CUSP_SLACK, STEEPEST, reach_range
from simkit.compare.why_left import HALF
from simkit.cutters import Cutter
from simkit.moves.table import Moves
from simkit.stock.field import Field
from simkit.target.envelope import Envelopes
from simkit.target.grid import TargetGrid

# Diameters that shops keep, mm: common practice, no source.
COMMON_SIZES = (0.5, 0.8, 1.0, 1.5, 25.4 / 16, 2.0, 3.0, 25.4 / 8, 4.0, 5.0, 6.0, 25.4 / 4, 8.0, 10.0, 12.0)
COMMON_SHAPES = ("ball", "flat")
MOST_SIZES = 3  # sizes below the smallest cutter that are tried
SMALLER = 0.8  # each at most this part of the one before
WANTED_CUSP = 0.02  # mm, for the stepover where the job states no limit: common practice, no source
LEVEL = 1e-3  # rise per mm: what leans less is level

HALF_DIAGONAL = 0.5 * 2**0.5  # of a cell
# Cells by which what a cutter must leave may be too little beside a step: on the grid its tip may stand up
# to a cell nearer in x and in y, and an edge lies up to half a diagonal from a centre.
OFF = 3 * HALF_DIAGONAL
# The same of `why_left`, which tells the least: the surface may lie a whole diagonal nearer than it does.
LEAST_OFF = 4 * HALF_DIAGONAL

WITHIN, CUTTER, PROGRAM = 0, 1, 2  # causes of leftover


@dataclass(frozen=True)
class Standing:
    """What stands proud of one side: worst mm, how far that may be off mm, area mm2 (plan) over the limit.

    worst is what is certain on the cells; beside a step, and between the centres of cells where the target
    leans or bends, the true value may be higher, within the bound.
    """

    worst: float
    bound: float
    area: float


@dataclass(frozen=True)
class CutterOption:
    """What a cutter leaves on a side, and what it would add to the job.

    cutter: None for the job as it is.  used: "used" on this side, "of the job" but not used on this side,
    or a "common size" beyond the job's.
    alone: what it must leave at best wherever it goes, None where not asked.
    added: what stands after the present programs and this cutter's best pass.
    gain mm2: area over the limit now that it would lower.  stepover mm (plan), feed mm/min, minutes: of
    that pass, an estimate: area / (stepover x feed); None where nothing is gained or no feed is known.
    """

    side: int
    cutter: Cutter | None
    used: str
    alone: Standing | None
    added: Standing
    gain: float = 0.0
    stepover: float | None = None
    feed: float | None = None
    minutes: float | None = None


@dataclass(frozen=True)
class SideReach:
    """What the cutters used on one side could do there.

    side: 1 or 2.  least (ny, nx) float32 mm: what even the best of them must leave, normal, NaN outside the
    outline.  cause (ny, nx) int8: why a cell stands over the limit: WITHIN it does not, CUTTER no used
    cutter gets in, PROGRAM one could and the programs did not go there.
    is_corner (ny, nx) bool: cells in which they must leave more than a fine ridge.
    options: as programmed first, then the cutters of the job by number, then common sizes.
    """

    side: int
    least: np.ndarray
    cause: np.ndarray
    is_corner: np.ndarray
    options: tuple[CutterOption, ...]


def side_reach(
    deviation: Deviation,
    envelopes: Envelopes,
    grid: TargetGrid,
    cutters: Sequence[Cutter],
    used: Sequence[int],
    limit: float | np.ndarray,
    wanted_cusp: float | None,
    feeds: Mapping[int, float],
    allowance: np.ndarray | None = None,
) -> SideReach:
    """Return what each cutter of the job, and common sizes where they are needed, would leave on a side.

    deviation: of the cut on that side.  envelopes, grid: the target.  cutters: that carve, of the job.
    used: numbers of those that cut this side.  limit mm: of leftover, one or (ny, nx).  wanted_cusp mm:
    for the stepover of an added pass, None takes WANTED_CUSP.  feeds: mm/min by number, 0 for any other.
    allowance (2, ny, nx) mm: what is left on purpose, as for `deviation`.

    A cell's cause is the cutter when even the best used one must leave the value less a cell and
    CUSP_SLACK, and at least half of it (as `why_left` judges a whole spot); where it is open whether a cutter
    gets in it counts as getting in.
    Time: area / (stepover x feed), passes side by side over the area alone; links, entries and
    acceleration come on top, so it is a lower bound and an estimate.  Source: feed and width of cut
    as in ISO 3002-3 (from memory); own derivation.
    """
    side, lattice = deviation.side, deviation.lattice
    threshold = deviation.threshold
    now = np.nan_to_num(deviation.normal)
    beyond = now > limit
    alone = {
        cutter.number: reach_range(envelopes, grid, side, cutter, threshold, None, allowance)
        for cutter in cutters
    }
    slope = _slope(envelopes.side(side), lattice.cell)
    doubt = _doubt(envelopes.side(side), lattice.cell)
    least = np.full(lattice.shape, np.inf, np.float32)
    for number in used:
        least = np.fmin(least, alone[number][0].normal)
    least[~envelopes.is_part] = np.nan
    rest = now
    needed = np.maximum(now - (lattice.cell + CUSP_SLACK), HALF * now)
    is_cutters = (least >= needed) & bool(used)  # where no program carves, none did go there
    cause = np.where(beyond, np.where(is_cutters, CUTTER, PROGRAM), WITHIN).astype(np.int8)
    options = [
        CutterOption(
            side,
            None,
            "programmed",
            None,
            _standing(now, deviation, limit, HALF_DIAGONAL * lattice.cell, doubt, 0.0),
        )
    ]
    for cutter in sorted(cutters, key=lambda one: one.number):
        word = "used" if cutter.number in used else "of the job"
        one, most = alone[cutter.number]
        # Where it may not get in another size is worth asking.
        rest = np.minimum(rest, np.maximum(np.nan_to_num(one.normal), most))
        options.append(
            _option(
                side, cutter, word, one, most, now, deviation, limit, wanted_cusp, feeds, slope, doubt, True
            )
        )
    is_rest = rest > limit
    if is_rest.any():
        for cutter in common_cutters(cutters):
            one, most = reach_range(envelopes, grid, side, cutter, threshold, is_rest, allowance)
            # Where it is not asked, a better one of the job has answered.
            normal = np.where(is_rest, np.nan_to_num(one.normal), rest).astype(np.float32)
            one = Deviation(side, lattice, one.vertical, normal, np.maximum(one.most, normal), threshold)
            most = np.where(is_rest, most, 0.0)
            options.append(
                _option(
                    side,
                    cutter,
                    "common size",
                    one,
                    most,
                    now,
                    deviation,
                    limit,
                    wanted_cusp,
                    feeds,
                    slope,
                    doubt,
                    False,
                )
            )
    is_corner = np.nan_to_num(least, posinf=0.0) > CUSP_SLACK + lattice.cell**2 / max(
        min((cutter.radius for cutter in cutters), default=1.0), lattice.cell
    )
    return SideReach(side, least, cause, is_corner, tuple(options))


def common_cutters(cutters: Sequence[Cutter]) -> list[Cutter]:
    """Return a few common sizes smaller than the smallest of the cutters, numbered from -1 downwards."""
    if not cutters:
        return []
    last = min(cutter.diameter for cutter in cutters)
    sizes = []
    for size in sorted(COMMON_SIZES, reverse=True):
        if size <= SMALLER * last and len(sizes) < MOST_SIZES:
            sizes.append(size)
            last = size
    made = [(shape, size) for size in sizes for shape in COMMON_SHAPES]
    return [Cutter(-number, shape, size) for number, (shape, size) in enumerate(made, 1)]


def common_words(cutter: Cutter) -> str:
    """Return a common size in words, in inches where it is one: '1/8 in ball', '2 mm flat'."""
    sixteenths = cutter.diameter / 25.4 * 16
    if abs(sixteenths - round(sixteenths)) < 1e-9:
        fraction = Fraction(round(sixteenths), 16)
        return f"{fraction} in {cutter.shape}"
    return f"{cutter.diameter:g} mm {cutter.shape}"


def feeds_of(moves: Moves, cutters: Sequence[int]) -> dict[int, float]:
    """Return the feed that each cutter cuts longest at, mm/min, by number; 0: any cutter of these.

    moves: of the job.  cutters: numbers that count for 0.  Cutters that never cut are left out.
    """
    length = moves.length()
    is_cut = ~moves.rapid & (moves.feed > 0) & (length > 0)
    found = {}
    for number in (*np.unique(moves.tool[is_cut]), 0):
        rows = np.flatnonzero(
            is_cut & (np.isin(moves.tool, cutters) if number == 0 else moves.tool == number)
        )
        if len(rows):
            feeds, which = np.unique(moves.feed[rows], return_inverse=True)
            found[int(number)] = float(feeds[np.argmax(np.bincount(which, weights=length[rows]))])
    return found


def waiting(final: Field, side: int, last_row: int) -> np.ndarray:
    """Return the cells (ny, nx) bool that wait for a later pass after the move `last_row`.

    final: the field after the whole job.  A cell waits when the move that finally cut it from that side
    runs later, in this program, a later one or a later setup.  At the end of the job nothing waits.
    """
    return (final.upper_move if side == 1 else final.lower_move) > last_row


def _slope(heights: np.ndarray, cell: float) -> np.ndarray:
    """Return the slope of the target, rise per mm, between STEEPEST and nothing; STEEPEST at the outline."""
    gy, gx = np.gradient(heights, cell)
    return np.minimum(np.nan_to_num(np.hypot(gy, gx), nan=STEEPEST), STEEPEST)


@dataclass(frozen=True)
class _Doubt:
    """What cells tell of the places between their centres, for one side of the target.

    between (ny, nx) mm: how much farther from the cut the target may be in a cell than at its centre.
    is_step (ny, nx) bool: cells within reach of a step of the target.
    """

    between: np.ndarray
    is_step: np.ndarray


def _doubt(heights: np.ndarray, cell: float) -> _Doubt:
    """Return what is not known of heights (ny, nx) mm, NaN outside the outline, between the centres.

    No distance changes faster than its place, and from the centre to a corner that is half a diagonal
    along the steepest way to a neighbour: at the bottom of a vee both neighbours are as high, so not the
    mean slope.
    Level ground is as far off everywhere; what is steeper than STEEPEST is a step.
    """
    from scipy import ndimage

    square, is_step = np.zeros(heights.shape), np.zeros(heights.shape, bool)
    for axis in (0, 1):
        rise = np.nan_to_num(np.abs(np.diff(heights, axis=axis)) / cell)  # nothing is in the way outside
        two = [np.insert(rise, end, 0.0, axis) for end in (0, rise.shape[axis])]
        is_step |= np.maximum(*two) > STEEPEST
        square += np.maximum(*(np.where(one <= STEEPEST, one, 0.0) for one in two)) ** 2
    between = np.where(square > LEVEL**2, HALF_DIAGONAL * np.sqrt(1.0 + square) * cell, 0.0)
    return _Doubt(between, ndimage.maximum_filter(is_step, 2 * math.ceil(OFF) + 1))


def _standing(
    values: np.ndarray, deviation: Deviation, limit, slack: float, doubt: _Doubt, most: np.ndarray | float
) -> Standing:
    """Return the worst of values (ny, nx) mm, NaN-free, with its bound and the area over the limit.

    slack mm: how far values may be off where there is a step: an edge lies up to half a diagonal from a
    centre, and reach is off by a cell.  doubt: of the target, for what was measured.  most mm: what may stand
    where it is open whether a cutter gets in, 0 elsewhere.
    """
    if not values.size:
        return Standing(0.0, 0.0, 0.0)
    worst = max(float(values.max()), 0.0)
    highest = np.where(values > 0, np.nan_to_num(deviation.most), 0.0)
    off = np.maximum(doubt.between, slack * doubt.is_step)
    highest = np.where(values > deviation.threshold, np.maximum(highest, values) + off, highest)
    highest = np.maximum(highest, most)
    bound = max(float(highest.max()) - worst, 0.0)
    return Standing(worst, bound, float((values > limit).sum()) * deviation.lattice.cell**2)


def _option(
    side,
    cutter,
    word,
    one: Deviation,
    most: np.ndarray,
    now,
    deviation,
    limit,
    wanted_cusp,
    feeds,
    slope,
    doubt,
    is_asked_alone,
) -> CutterOption:
    """Return the option of one cutter; its best surface stands `one` off the target, or `most` where open."""
    must = np.nan_to_num(one.normal)
    after = np.minimum(now, must)
    most_after = np.minimum(most, np.maximum(np.nan_to_num(deviation.most), now))
    lower = Deviation(
        side,
        one.lattice,
        one.vertical,
        after,
        np.minimum(one.most, np.maximum(deviation.most, now)),
        one.threshold,
    )
    is_gained = (now > limit) & (must < now - CUSP_SLACK)
    gain = float(is_gained.sum()) * one.lattice.cell**2
    stepover = feed = minutes = None
    if gain:
        feed = feeds.get(cutter.number, feeds.get(0))
        steep = float(np.median(slope[is_gained]))
        stepover = min(stepover_for(cutter, wanted_cusp or WANTED_CUSP, steep), cutter.radius)
        minutes = gain / (stepover * feed) if feed else None
    return CutterOption(
        side,
        cutter,
        word,
        _standing(must, one, limit, OFF * one.lattice.cell, doubt, most) if is_asked_alone else None,
        _standing(after, lower, limit, OFF * one.lattice.cell, doubt, most_after),
        gain,
        stepover,
        feed,
        minutes,
    )
