"""The words of an arc block -> the arc to draw, or the problem that keeps them from being one."""

from __future__ import annotations

from simkit.program import arcs
from simkit.program.arc_planes import Plane
from simkit.program.block import Block

_LARGEST_TOLERANCE = 1.0  # mm; arc_tolerance of the job file takes no more


def tolerance(block: Block, plane: Plane, unit: str) -> float:
    """Return by how much (mm) the arc of this block may contradict itself.

    unit: "mm" or "in".  Source: arcs.tolerance, of the most decimals written in its ends, offsets or R.
    """
    return arcs.tolerance(_decimals(block, plane), unit)


def _decimals(block: Block, plane: Plane) -> int:
    """Return the most decimals written in the ends, offsets or R of an arc."""
    letters = plane.ends + plane.offsets + "R"
    words = (block.words[block.at[letter]] for letter in letters if letter in block.at)
    return max(len(word.partition(".")[2]) for word in words)


def drawn_arc(
    block,
    plane,
    start,
    end,
    zero,
    is_absolute: bool,
    scale: float,
    unit: str,
    sense: int,
    allowed,
    is_doubtful,
    is_incremental: bool = False,
) -> arcs.Drawn | None:
    """Return the arc of a block in its plane, or None when its words make none.

    block: Block, sorted.  plane: Plane.  start, end (2,) mm, in the order of plane.ends.  zero (2,) mm:
    where offsets count from when is_absolute (G90.1), else they count from the start.  scale: mm per unit of
    the program.  unit: "mm" or "in".  sense: +1 for G3, -1 for G2.  allowed: mm the radii may differ by;
    None: what the decimals explain.  is_doubtful: the start is not certain, for a problem stands before
    it; then nothing is told that may be that problem's doing.  is_incremental: G91 is in force, which is
    said where the arc does not fit, for one G91 too many is told by the first arc behind it.
    Error and source: arcs.arc_about, arcs.arc_of_radius.
    """
    at, values = block.at, block.values
    offsets = [letter for letter in plane.offsets if letter in at]
    has_radius = "R" in at
    if offsets and has_radius:
        expected = "one of them, for together they may say two different things"
        either = " or ".join(sorted(plane.offsets))
        remedy = f"delete R, or {plane.centre}"
        block.problem(at["R"], f" in one block with {either}", expected, remedy)
        return None
    if not offsets and not has_radius:
        first = min(at[letter] for letter in "XYZIJK" if letter in at)
        about = " in an arc with neither centre nor radius"
        remedy = "post again, or write G1 if a straight line is meant"
        block.problem(first, about, f"{plane.centre} to the centre, or R", remedy)
        return None
    if is_absolute and len(offsets) == 1:
        expected = f"{plane.centre} together, for in G90.1 one of them alone says no place"
        remedy = "write both, or G91.1 before it if it counts from the start of the arc"
        block.problem(at[offsets[0]], " alone for the centre of an arc", expected, remedy)
        return None
    why = ", as stated"
    if allowed is None:
        allowed, why = tolerance(block, plane, unit), ", which is what rounding explains"
        if _decimals(block, plane) < arcs.FEWEST_DECIMALS[unit]:
            why = f", the most that is put down to rounding ({arcs.FEWEST_DECIMALS[unit]} decimals)"
    if has_radius:
        drawn, told = _of_radius(allowed, plane, start, end, values["R"] * scale, sense)
    else:
        centres = [
            tuple(b + values.get(letter, 0.0) * scale for b, letter in zip(base, plane.offsets, strict=True))
            for base in (start, zero)
        ]
        is_way = None if is_absolute else is_incremental
        drawn, told = _about_centre(allowed, why, start, end, centres[is_absolute], sense, plane, is_way)
        if told and _fits(allowed, start, end, centres[not is_absolute]):
            word, base = ("G91.1", "start of the arc") if is_absolute else ("G90.1", "zero")
            told = (*told[:2], f"write {word} before it, for measured from the {base} it fits")
    if told and not is_doubtful:
        block.problem(at["R"] if has_radius else min(at[letter] for letter in offsets), *told)
    return drawn


def _fits(allowed, start, end, centre) -> bool:
    """Tell whether a centre lies as far from the start as from the end."""
    radii = [arcs.plan_length(point[0] - centre[0], point[1] - centre[1]) for point in (start, end)]
    return min(radii) > arcs.LARGEST_TOLERANCE and abs(radii[1] - radii[0]) <= allowed


def _of_radius(allowed, plane, start, end, radius, sense):
    if arcs.is_same_point(start, end):
        expected = "an end away from the start, for a radius does not say where a full circle lies"
        return None, (" in an arc that ends where it starts", expected, f"give the centre by {plane.centre}")
    drawn = arcs.arc_of_radius(start, end, radius, sense)
    if drawn.mismatch <= allowed:
        return drawn, None
    about = f", {drawn.mismatch:.4f} mm too short to reach from start to end"
    half = abs(radius) + drawn.mismatch
    expected = f"at least {half:.4f} mm, half the distance from start to end, to within {allowed:.4f} mm"
    return None, (about, expected, "correct R or the end point, or post again with more decimals")


def _about_centre(allowed, why, start, end, centre, sense, plane, is_incremental: bool | None):
    """Return arc and problem; is_incremental: whether G91 is in force, None for a centre in G90.1."""
    for which, point in (("start", start), ("end", end)):
        if arcs.is_same_point(centre, point):
            about = f", a centre that lies on the {which} of its arc"
            remedy = "post again with arc centres measured from the start (G91.1), or with R"
            return None, (about, "a centre away from both ends", remedy)
    drawn = arcs.arc_about(start, end, centre, sense)
    if drawn.mismatch <= allowed:
        return drawn, None
    about = f", a centre {drawn.mismatch:.4f} mm nearer to one end of its arc than to the other"
    expected = f"a difference of at most {allowed:.4f} mm{why}"
    if is_incremental is None:
        return None, (about, expected, "post again with incremental arc centres (G91.1) and more decimals")
    remedy = (
        f"correct {' or '.join(sorted(plane.offsets))} or the end point, or post again with more decimals"
    )
    if drawn.mismatch <= _LARGEST_TOLERANCE:
        remedy += "; if so much does not matter, raise the tolerance "
        remedy += "(--arc-tolerance, or arc_tolerance in the job file)"
    elif is_incremental:
        ends = " and ".join(plane.ends)
        remedy += f"; G91 is in force: write G90 where it should have ended, if {ends} are meant as places"
    return None, (about, expected, remedy)
