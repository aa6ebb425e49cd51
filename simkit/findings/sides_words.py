"""What is known of how the two sides lie to each other, in sentences: poses, dowels, play, seam."""

from __future__ import annotations

import math
from typing import Any

from simkit.compare.dowel_play import play_of
from simkit.compare.seam_fit import fit_shift
from simkit.findings.pose_words import remark


def sides_remarks(evidence: Any, is_turned: bool = False) -> list[str]:
    """Return the remarks on poses, dowel holes, play and seam of an Evidence.

    is_turned: a setup was found to lie the wrong way, so what its cut and its pins show follows from that.
    """
    job = evidence.job
    is_settled = all(fit.better is None for fit in evidence.poses)
    words = [remark(job.setups[fit.setup].name, fit, is_settled) for fit in evidence.poses if fit.setup > 0]
    words += [_hole_words(evidence, hole) for hole in evidence.holes if hole.how == "drilled"]
    wrong = {fit.setup for fit in evidence.poses if fit.better is not None} if is_turned else set()
    for index in sorted({pin.setup for pin in evidence.pins} - wrong):
        words.append(_play_words(evidence, index))
    if evidence.seam is not None and evidence.seam.worst is not None and not is_turned:
        words += [evidence.seam.words, fit_shift(evidence.seam).words]
    return [one for one in words if one]


def _hole_words(evidence: Any, hole: Any) -> str:
    """Return who drilled a hole and how deep."""
    source = evidence.source_of(hole.row)
    tip, full = hole.depth(evidence.setup_of(hole.row).body(evidence.job.blank))
    return (
        f"dowel hole '{hole.dowel.name}': drilled by {source['file']}:{source['line']} from side "
        f"{hole.side}, {round(hole.diameter, 3):g} mm wide down to {full:.1f} mm, its tip {tip:.1f} mm deep"
        f"{' (through)' if hole.is_through else ''}"
    )


def _play_words(evidence: Any, index: int) -> str:
    """Return how far the pins of a setup let the blank lie off its place."""
    job, mine = evidence.job, [pin for pin in evidence.pins if pin.setup == index]
    name, farthest = job.setups[index].name, max(mine, key=lambda pin: pin.miss + pin.bound)
    within = f"{farthest.miss:.3f} \N{PLUS-MINUS SIGN} {farthest.bound:.3f} mm"
    text = f"dowels of '{name}': holes and pins meet within {within}"
    if job.setups[index].pins is None and farthest.miss + farthest.bound < 0.0005:
        text = (
            f"dowels of '{name}': the job states no `pins`, so they are taken to stand exactly where the "
            "first setup drilled the holes; measure where they stand"
        )
    play = play_of(evidence.pins, index)
    if play is None:
        return f"{text}; how much play they have is not known: state the measured `pin` in [[dowels]]"
    sizes = ", ".join(f"{value:.3f} mm" for value in play.clearances)
    where = "the blank"
    if farthest.miss - farthest.bound > max(play.clearances) / 2:
        # More than any play: pushed onto these pins the blank lies elsewhere, and has its play there.
        text = f"dowels of '{name}': as stated a hole lies {within} off its pin, more than they have play"
        where = "a blank pushed onto these pins lies off its place; about where it then lies it"
    if play.tight > 0:
        return f"{text}; play {sizes}: the blank does not go onto its pins, {play.tight:.3f} mm is missing"
    if math.isinf(play.turn_degrees):
        return f"{text}; play {sizes}: {where} can shift on its one dowel by {play.along:.3f} mm and turn"
    return (
        f"{text}; play {sizes}: {where} can shift by at most {play.along:.3f} mm along the line "
        f"of the pins, {play.across:.3f} mm across it, and turn by {play.turn_degrees:.4f} degrees, "
        "each way, not all at once"
    )
