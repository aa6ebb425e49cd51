"""What is published of woods, by the name a job gives them."""

from __future__ import annotations

from simkit.job.model import Blank, Layup

MOISTURE = 0.12  # of the oven-dry weight
# Specific gravity (oven-dry weight, volume at 12 % moisture): USDA Forest Products Laboratory, Wood Handbook,
# FPL-GTR-282 (2021), Table 5-3; from memory but for hard maple.
SPECIFIC_GRAVITY = {
    "black cherry": 0.50,
    "cherry": 0.50,
    "black walnut": 0.55,
    "walnut": 0.55,
    "hard maple": 0.63,
    "sugar maple": 0.63,
    "white oak": 0.68,
}


def density(species: str) -> float | None:
    """Return the density of a wood at 12 % moisture, kg/m3; None when it is not in the table.

    1000 G (1 + M) with G of SPECIFIC_GRAVITY.  Single boards differ from it by a tenth and more.
    Source: Wood Handbook, chapter 4.
    """
    gravity = SPECIFIC_GRAVITY.get(" ".join(species.lower().split()))
    return None if gravity is None else 1000.0 * gravity * (1.0 + MOISTURE)


# Shrinkage from green to oven-dry in percent, radial and tangential: Wood Handbook, FPL-GTR-282 (2021), Table
# 4-3; from memory.
SHRINKAGE = {
    "black cherry": (3.7, 7.1),
    "cherry": (3.7, 7.1),
    "black walnut": (5.5, 7.8),
    "walnut": (5.5, 7.8),
    "hard maple": (4.8, 9.9),
    "sugar maple": (4.8, 9.9),
    "white oak": (5.6, 10.5),
}
ALONG = 0.2  # percent along the grain, the upper end of what chapter 4 gives for most woods; from memory
SATURATION = 30.0  # percent of moisture above which wood does not swell: the Handbook's usual figure


def movement(blank: Blank, layup: Layup | None) -> tuple[tuple[float, float, float] | None, str]:
    """Return by what part of its size wood swells for each percent of moisture, in x, y and z, and words.

    None, with what is missing in words, where the wood is not in the table or the grain is not stated.
    S / 30 of shrinkage S, as the Wood Handbook takes it (chapter 4): linear between 0 and SATURATION; it
    says that single boards differ from the table by about a fifth.
    layup: its rings say which of the two directions across the grain is radial; where they lie between, the
    mean of both counts, and where they are not stated the larger, tangential one.
    """
    figures = SHRINKAGE.get(" ".join(blank.species.lower().split()))
    if figures is None:
        unknown = f"blank.species names no wood whose shrinkage is known ({', '.join(SHRINKAGE)})"
        return None, unknown if blank.species else "blank.species"
    if not blank.grain:
        return None, "blank.grain is not stated"
    radial, tangential = figures
    rings = layup.rings if layup is not None else ""
    # Square to the boards' wide faces, and along them.
    square, beside = {
        "flat": (radial, tangential),
        "quarter": (tangential, radial),
        "rift": ((radial + tangential) / 2,) * 2,
    }.get(rings, (tangential, tangential))
    joined, other = square, beside
    if layup is not None:
        # Boards glued face to face are thinner than they are wide; glued edge to edge they are wider along
        # the direction they are joined in, and their faces are those of the blank.
        is_edge = [layup.is_edge_to_edge(board, blank) for board in layup.boards]
        if all(is_edge):
            joined, other = beside, square
        elif any(is_edge):
            joined = other = max(square, beside)
    plan, up = (joined, other) if layup is None or layup.joined != "along z" else (other, joined)
    shrinks = (ALONG, plan, up) if blank.grain == "along x" else (plan, ALONG, up)
    words = f"{blank.species}, rings {rings or 'not stated, taken as tangential'}, Wood Handbook, from memory"
    return tuple(one / 100 / SATURATION for one in shrinks), words
