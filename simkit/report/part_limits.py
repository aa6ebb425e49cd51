"""The limits that hold for the part as a whole, beside those of its surfaces."""

from __future__ import annotations

from typing import Any


def part_limits(result: dict[str, Any]) -> list[tuple[str, float]]:
    """Return name and limit, mm, of each that was judged."""
    limits = result["limits"]
    told = [("thinnest wall", limits["thinnest_wall"])]
    if result["seam"] is not None:
        told.append(("step where the sides meet", limits["witness_step"]))
    if any(setup["turn"] != "none" for setup in result["setups"]):
        told.append(("dowel hole off its pin", limits["dowel_miss"]))
    if limits["cusp"] is not None:
        told.append(("ridge between passes", limits["cusp"]))
    return told
