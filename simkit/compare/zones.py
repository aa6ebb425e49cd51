"""Which zone of the job a place lies in, and what counts there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simkit.job.model import WHOLE_PART, Limits, Zone
from simkit.stock.field import Lattice, is_inside

__all__ = ["Rule", "Zones", "is_inside"]


@dataclass(frozen=True)
class Rule:
    """The limits of one zone, or of the whole part outside all zones, mm.

    name: of the zone, WHOLE_PART outside them.  is_judged: False where the shape does not matter.
    """

    name: str
    gouge: float
    leftover: float
    finish_allowance: float
    is_judged: bool = True


class Zones:
    """The zones of a job as a map; where zones overlap the later one of the job counts.

    limits: of the whole part.  zones: in the order of the job.
    rules: rules[0] of the whole part, rules[k] of zone k - 1; what a zone leaves out is the whole part's.
    """

    def __init__(self, limits: Limits, zones: tuple[Zone, ...] = ()):
        self.zones = zones
        self.rules = (
            Rule(WHOLE_PART, limits.gouge, limits.leftover, limits.finish_allowance),
            *(
                Rule(
                    zone.name,
                    limits.gouge if zone.gouge is None else zone.gouge,
                    limits.leftover if zone.leftover is None else zone.leftover,
                    limits.finish_allowance if zone.finish_allowance is None else zone.finish_allowance,
                    zone.judged,
                )
                for zone in zones
            ),
        )

    @property
    def has_allowance(self) -> bool:
        """Whether anything is left on purpose anywhere."""
        return any(rule.is_judged and rule.finish_allowance > 0 for rule in self.rules)

    def index(self, lattice: Lattice, side: int) -> np.ndarray:
        """Return the rule of each cell centre of a lattice, seen from side 1 or 2, int16 (ny, nx).

        A centre on the outline of a zone counts as in the zone or not, like a half-open interval.
        Exact to the rounding of float64.
        """
        found = np.zeros(lattice.shape, np.int16)
        for number, zone in enumerate(self.zones, 1):
            if zone.side in (None, side):
                found[is_inside(lattice.x(), lattice.y(), zone.outline)] = number
        return found

    def rule_at(self, at: tuple[float, float], side: int) -> Rule:
        """Return the rule of one place (x, y) mm seen from a side."""
        found = 0
        for number, zone in enumerate(self.zones, 1):
            if (
                zone.side in (None, side)
                and is_inside(np.array(at[:1]), np.array(at[1:2]), zone.outline).any()
            ):
                found = number
        return self.rules[found]

    def limits(self, lattice: Lattice, side: int) -> tuple[np.ndarray, np.ndarray]:
        """Return the limits gouge and leftover of each cell, mm (ny, nx) float64; +inf where not judged."""
        index = self.index(lattice, side)
        gouge = np.array([rule.gouge if rule.is_judged else np.inf for rule in self.rules])
        leftover = np.array([rule.leftover if rule.is_judged else np.inf for rule in self.rules])
        return gouge[index], leftover[index]

    def is_judged(self, lattice: Lattice, side: int) -> np.ndarray:
        """Return the cells whose shape matters, bool (ny, nx)."""
        return np.array([rule.is_judged for rule in self.rules])[self.index(lattice, side)]

    def allowance(self, lattice: Lattice, side: int) -> np.ndarray | None:
        """Return what is left on purpose about each cell, mm (2, ny, nx) float64; None for nothing at all.

        The least and the most within the largest allowance of the cell, along x and y: they differ near
        a border of zones, where the surface may belong to either.
        """
        if not self.has_allowance:
            return None
        from scipy import ndimage

        left = np.array([rule.finish_allowance if rule.is_judged else 0.0 for rule in self.rules])
        if len(set(left)) == 1:
            return np.full((2, *lattice.shape), left[0])
        room = int(np.ceil(left.max() / lattice.cell))
        x, y = lattice.origin
        wide = Lattice(
            (x - room * lattice.cell, y - room * lattice.cell),
            lattice.cell,
            lattice.nx + 2 * room,
            lattice.ny + 2 * room,
        )
        values = left[self.index(wide, side)]
        size = 2 * room + 1
        inner = (slice(room, room + lattice.ny), slice(room, room + lattice.nx))
        return np.stack(
            [ndimage.minimum_filter(values, size)[inner], ndimage.maximum_filter(values, size)[inner]]
        )
