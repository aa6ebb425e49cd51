"""How a blank lies and where its zero is, in the words of the shop."""

from __future__ import annotations

from typing import Any

from simkit.compare.poses import Pose

OVER = {"none": "side 1 up", "about x": "edge over edge", "about y": "end over end"}
HOW_OVER = {
    "about x": "edge over edge (about x: front edge to the back)",
    "about y": "end over end (about y: left end to the right)",
}
SWUNG = {
    "quarter left": "a quarter turn to the left",
    "half": "half round",
    "quarter right": "a quarter turn to the right",
}
MOST = 3  # poses named in one sentence: a part that is symmetric more than once fits many
SAME = 0.1  # mm: poses that miss by no more than this differ in nothing


def corner_words(pose: Pose) -> str:
    """Return the place of the zero in plan, such as "back left corner"."""
    if pose.corner == "centre":
        return "centre"
    across, deep = pose.corner.split()
    return f"{deep} {across} corner"


def offset_words(pose: Pose) -> str:
    """Return how far the zero lies off its corner, such as "x 3, y 0, z 0 mm"."""
    return ", ".join(f"{axis} {value:g}" for axis, value in zip("xyz", pose.offset, strict=True)) + " mm"


def lie_words(pose: Pose) -> str:
    """Return how the blank lies, such as "turned over about x and swung half round"."""
    over = "side 1 up" if pose.turn == "none" else f"turned over {pose.turn}"
    return f"{over} and swung {SWUNG[pose.swing]}" if pose.swing != "none" else over


def how_to(right: Pose, stated: Pose) -> str:
    """Return what to do for the blank to lie as the programs want it, and not as the job says."""
    parts = []
    if right.turn != stated.turn:
        if right.turn == "none":
            parts.append("leave it side 1 up")
        elif stated.turn == "none":
            parts.append(f"turn it over {HOW_OVER[right.turn]}")
        else:
            parts.append(f"turn it {HOW_OVER[right.turn]}, not {OVER[stated.turn]}")
    if right.swing != stated.swing:
        if right.swing == "none":
            parts.append("do not swing it round")
        else:
            instead = f", not {SWUNG[stated.swing]}" if stated.swing != "none" else ""
            parts.append(f"swing it {SWUNG[right.swing]}{instead}")
    is_elsewhere = right.corner != stated.corner
    zero = f"at the {corner_words(right)}"
    if not parts and is_elsewhere:
        zero = f"zero is {zero}, not at the {corner_words(stated)}"
    elif not parts and right.face == stated.face:
        zero = f"zero is {zero} with the offset {offset_words(right)}"
    else:
        zero = f"zero is then {zero}" if is_elsewhere else f"zero stays {zero}"
    if right.face != stated.face:
        top, bottom = "on top of the blank", "on the table"
        zero += f" {top}, not {bottom}" if right.face == "top" else f" {bottom}, not {top}"
    return f"{', then '.join(parts)}: {zero}" if parts else zero


def joined(ways: list[str], word: str) -> str:
    """Return ways of laying the blank joined by a word, the first few of many, and how many are left out."""
    more = len(ways) - MOST
    if more <= 1:  # one more is as short as its count
        return word.join(ways)
    return word.join(ways[:MOST]) + f"{word}{more} more ways"


def remark(name: str, fit: Any, is_settled: bool = True) -> str:
    """Return what is known of the way a setup's blank lies, in a sentence; "" when a finding says it.

    name: of the setup.  fit: its compare.pose_fit.PoseFit.  is_settled: no setup of the job lies another way
    than stated; what such a one cuts hides what would tell poses of the others apart.
    """
    stated = fit.stated
    lies = f"'{name}', {lie_words(stated.pose)}"
    if fit.better is not None:
        return ""
    if not stated.cut and not stated.is_freeing:
        return f"'{name}' cuts nothing of the part: which way the blank lies there cannot be told"
    if not stated.is_usable:
        return f"{lies}: its cut goes into the part, and no other way of putting the blank back fits better"
    if fit.alike and not is_settled:
        return f"{lies}: fits; whether another way does too can be told when the wrong turn is settled"
    if fit.alike:
        ways = joined([_against(one.pose, stated.pose) for one in fit.alike], " or ")
        differs = max(one.miss for one in fit.alike) - stated.miss
        what = "the part" if stated.is_carving else "its outline, all that is cut there,"
        same = "the same" if differs <= SAME else f"nearly the same (within {differs:.1f} mm)"
        return f"{lies}: fits, and so it does {ways}: {what} is {same} each way, so it cannot tell which"
    if fit.next_best is None:
        return f"{lies}: confirmed"
    other = _against(fit.next_best.pose, stated.pose)
    return f"{lies}: confirmed; the next best way to lay it ({other}) misses by {fit.next_best.miss:.1f} mm"


def _against(pose: Pose, stated: Pose) -> str:
    """Return a pose in words, what is as the job says left out."""
    is_other_way = (pose.turn, pose.swing) != (stated.turn, stated.swing)
    parts = [lie_words(pose)] if is_other_way else []
    if pose.corner != stated.corner or not parts:
        parts.append(f"zero at the {corner_words(pose)}")
    if pose.face != stated.face:
        parts.append("on top" if pose.face == "top" else "on the table")
    return ", ".join(parts)
