"""What is published of woods, by the name a job gives them."""

from __future__ import annotations

from simkit.job.model import Blank, Layup

MOISTURE = 0.12  # of the oven-dry weight
# Specific gravity (oven-dry weight, volume at 12 % moisture) and shrinkage from green to oven-dry,
# radial and tangential: USDA Forest Products Laboratory, Wood Handbook, FPL-GTR-282 (2021), Tables 5-3, 4-3.
# Read in a reprint: the shrinkage of walnut, white oak and cherry; on a page of the species: hard maple.
# All else from memory.
WOODS = {
    "cherry": (0.50, 3.7, 7.1),
    "walnut": (0.55, 5.5, 7.8),
    "hard maple": (0.63, 4.8, 9.9),
    "red maple": (0.54, 4.0, 8.2),
    "white oak": (0.68, 5.6, 10.5),
    "red oak": (0.63, 4.0, 8.6),
    "white ash": (0.60, 4.9, 7.8),
    "beech": (0.64, 5.5, 11.9),
    "yellow birch": (0.62, 7.3, 9.5),
    "yellow poplar": (0.42, 4.6, 8.2),
    "white pine": (0.35, 2.1, 6.1),
}
OTHER_NAMES = {
    "black cherry": "cherry",
    "black walnut": "walnut",
    "sugar maple": "hard maple",
    "soft maple": "red maple",
    "northern red oak": "red oak",
    "ash": "white ash",
    "american beech": "beech",
    "birch": "yellow birch",
    "yellow-poplar": "yellow poplar",
    "eastern white pine": "white pine",
}


def figures_of(species: str) -> tuple[float, float, float] | None:
    """Return the specific gravity, radial and tangential shrinkage (%) of a wood, None where not known."""
    name = " ".join(species.lower().split())
    return WOODS.get(OTHER_NAMES.get(name, name))


def density(species: str) -> float | None:
    """Return the density of a wood at 12 % moisture, kg/m3; None when it is not in the table.

    1000 G (1 + M) with G of WOODS.  Single boards differ from it by a tenth and more.
    Source: Wood Handbook, chapter 4.
    """
    figures = figures_of(species)
    return None if figures is None else 1000.0 * figures[0] * (1.0 + MOISTURE)


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
    figures = figures_of(blank.species)
    if figures is None:
        unknown = f"blank.species names no wood whose shrinkage is known ({', '.join(WOODS)})"
        return None, unknown if blank.species else "blank.species"
    if not blank.grain:
        return None, "blank.grain is not stated"
    _, radial, tangential = figures
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
