"""The words of an arc block -> the arc to draw, or the problem that keeps them from being one."""

from __future__ import annotations

from simkit.program import arcs
from simkit.program.block import Block


def tolerance(block: Block, unit: str) -> float:
    """Return by how much (mm) the arc of this block may contradict itself.

    unit: "mm" or "in".  Source: arcs.tolerance, of the most decimals written in X, Y, I, J or R.
    """
    words = (block.words[block.at[letter]] for letter in "XYIJR" if letter in block.at)
    return arcs.tolerance(max(len(word.partition(".")[2]) for word in words), unit)


def drawn_arc(block, start, end, scale: float, unit: str, sense: int, is_doubtful: bool) -> arcs.Drawn | None:
    """Return the arc of a block in the XY plane, or None when its words make none.

    block: Block, sorted.  start, end (x, y) mm.  scale: mm per unit of the program.  unit: "mm" or "in".
    sense: +1 for G3, -1 for G2.  is_doubtful: the start is not certain, for a problem stands before it;
    then nothing is told that may be that problem's doing.
    Error and source: arcs.arc_about, arcs.arc_of_radius.
    """
    at, values = block.at, block.values
    has_centre, has_radius = "I" in at or "J" in at, "R" in at
    if has_centre and has_radius:
        expected = "one of them, for together they may say two different things"
        block.problem(at["R"], " in one block with I or J", expected, "delete R, or I and J")
        return None
    if not has_centre and not has_radius:
        first = min(at[letter] for letter in "XYZ" if letter in at)
        about = " in an arc with neither centre nor radius"
        remedy = "post again, or write G1 if a straight line is meant"
        block.problem(first, about, "I and J to the centre, or R", remedy)
        return None
    if has_radius:
        drawn, told = _of_radius(block, unit, start, end, values["R"] * scale, sense)
    else:
        centre = (start[0] + values.get("I", 0.0) * scale, start[1] + values.get("J", 0.0) * scale)
        drawn, told = _about_centre(block, unit, start, end, centre, sense)
    if told and not is_doubtful:
        block.problem(at["R"] if has_radius else min(at[letter] for letter in "IJ" if letter in at), *told)
    return drawn


def _of_radius(block, unit, start, end, radius, sense):
    if arcs.is_same_point(start, end):
        expected = "an end away from the start, for a radius does not say where a full circle lies"
        return None, (" in an arc that ends where it starts", expected, "give the centre by I and J")
    drawn = arcs.arc_of_radius(start, end, radius, sense)
    if drawn.mismatch <= arcs.LEAST_TOLERANCE or drawn.mismatch <= (allowed := tolerance(block, unit)):
        return drawn, None
    about = f", {drawn.mismatch:.4f} mm too short to reach from start to end"
    expected = f"at least half the distance of the ends, to {allowed:.4f} mm"
    return None, (about, expected, "correct R or the end point, or post the program again")


def _about_centre(block, unit, start, end, centre, sense):
    for which, point in (("start", start), ("end", end)):
        if arcs.is_same_point(centre, point):
            about = f", a centre that lies on the {which} of its arc"
            return None, (about, "a centre away from both ends", "post the program again")
    drawn = arcs.arc_about(start, end, centre, sense)
    if drawn.mismatch <= arcs.LEAST_TOLERANCE or drawn.mismatch <= (allowed := tolerance(block, unit)):
        return drawn, None
    about = f", a centre {drawn.mismatch:.4f} mm nearer to one end of its arc than to the other"
    expected = f"a difference of at most {allowed:.4f} mm, which is what rounding explains"
    return None, (about, expected, "post again with incremental arc centres (G91.1) and more decimals")
