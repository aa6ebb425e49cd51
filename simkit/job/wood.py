"""What is published of woods, by the name a job gives them."""

from __future__ import annotations

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
