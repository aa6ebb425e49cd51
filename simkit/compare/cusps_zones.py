"""Cusps of one side put together by zone and cutter: typical, worst, stepover for a wanted one, sanding."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from simkit.compare.cusps import Cusps
from simkit.compare.cusps_formula import stepover_for
from simkit.cutters import Cutter

FLAT = 1e-4  # mm: lower than this is no ridge
ONE_WAY = 0.7  # length of the mean of doubled directions above which passes run one way
# Sanding by hand: common practice, no source; a factor of three off either way.
SANDED = 100.0  # mm3 a minute, taking ridges off with 120 grit
SMOOTHED = 3000.0  # mm2 a minute, going over the surface with the finer grits after that


@dataclass(frozen=True)
class ZoneCusps:
    """Ridges of one cutter in one zone of one side.

    zone: name.  cutter: its number.  sites: how many traces say so; area mm2, in plan, they stand for.
    typical mm: median height.  worst, bound mm: the highest one found and how far it may be off; at
    (x, y, z): where; row: the move that cut there.  stepover mm: median, in plan.  direction: degrees, 0 to
    180, of the passes from x towards y, None where they run all ways.
    wanted mm: the cusp asked for.  wanted_stepover mm: the widest stepover in plan that gives it on the
    typical slope across the passes.
    volume mm3: of the ridges, estimate.  sanding: minutes by hand until it is smooth, a rough estimate.
    """

    side: int
    zone: str
    cutter: int
    sites: int
    area: float
    typical: float
    worst: float
    bound: float
    at: tuple[float, float, float]
    row: int
    stepover: float
    direction: float | None
    wanted: float
    wanted_stepover: float
    volume: float
    sanding: float


def zone_cusps(
    cusps: Cusps,
    cutters: Mapping[int, Cutter],
    wanted: float,
    zones: np.ndarray | None = None,
    names: Sequence[str] = ("whole part",),
) -> list[ZoneCusps]:
    """Return the ridges by zone and cutter, in the order of the names, then of cutter numbers.

    cusps: of one side.  cutters: by number.  wanted mm: the cusp that a stepover is asked for.
    zones (n,) int: in which of `names` each ridge lies, by the place of its top: a site beside the border of
    a zone may have been traced to a ridge in the next one.  None: all in the first.
    Typical values are medians over the even sites, each standing for as much of the plan.  Volume is the
    mean height of the traces times the sloped area; sanding time is volume over SANDED and
    sloped area over SMOOTHED.
    Places without a site (steep walls, edges, borders of patterns) are not in area and volume.
    """
    of = np.zeros(len(cusps.height), np.int64) if zones is None else zones
    found = []
    for zone, name in enumerate(names):
        for tool in np.unique(cusps.tool[of == zone]):
            mine = (of == zone) & (cusps.tool == tool)
            even = mine & cusps.is_even if (mine & cusps.is_even).any() else mine
            worst = int(np.flatnonzero(mine)[np.argmax(cusps.height[mine])])
            across = float(np.median(cusps.across[even]))
            sloped = np.hypot(1.0, cusps.slope[even])
            volume = float((cusps.mean[even] * sloped).sum()) * cusps.area
            found.append(
                ZoneCusps(
                    side=cusps.side,
                    zone=name,
                    cutter=int(tool),
                    sites=int(mine.sum()),
                    area=float(even.sum()) * cusps.area,
                    typical=float(np.median(cusps.height[even])),
                    worst=float(cusps.height[worst]),
                    bound=float(cusps.bound[worst]),
                    at=tuple(float(value) for value in cusps.at[worst]),
                    row=int(cusps.row[worst]),
                    stepover=float(np.median(cusps.stepover[even])),
                    direction=_direction(cusps.direction[even & (cusps.height > FLAT)]),
                    wanted=wanted,
                    wanted_stepover=stepover_for(cutters[int(tool)], wanted, across),
                    volume=volume,
                    sanding=volume / SANDED + float(sloped.sum()) * cusps.area / SMOOTHED,
                )
            )
    return found


def _direction(degrees: np.ndarray) -> float | None:
    """Return the mean direction of passes, which have no sense: 0 to 180 degrees, None for all ways."""
    if not len(degrees):
        return None
    mean = np.exp(2j * np.radians(degrees)).mean()
    return float(np.degrees(np.angle(mean)) / 2 % 180.0) if abs(mean) >= ONE_WAY else None
