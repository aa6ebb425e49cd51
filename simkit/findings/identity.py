"""Identities of findings: the same from run to run, whatever the cells and the numbers of lines.

A finding is known by its kind, side, zone and place.  The place is the middle of its cells, in a grid
of GRID mm, so it does not follow the worst cell about, nor the numbering of lines.  Any grid has
borders: what lies within JITTER mm of one is also known by the ids of the other side.
"""

from __future__ import annotations

import base64
import hashlib
from collections import Counter
from dataclasses import replace

from simkit.findings.finding import Finding
from simkit.kinds import family

GRID = 10.0  # mm: findings of one sort farther apart than this have ids of their own anyway
FINE = 2.5  # mm: the grid for those that share a cell of the first
JITTER = 1.0  # mm: how far the middle of a spot may move with the size of the cells
LENGTH = 6  # letters and digits of an id: one chance in a thousand million that two agree


def with_ids(findings: list[Finding]) -> list[Finding]:
    """Return the findings with their ids, each different from all others."""
    coarse = [_id(finding, GRID) for finding in findings]
    count = Counter(coarse)
    chosen = [
        first if count[first] == 1 else _id(finding, FINE)
        for finding, first in zip(findings, coarse, strict=True)
    ]
    seen: Counter = Counter()
    result = []
    for finding, one in zip(findings, chosen, strict=True):
        seen[one] += 1  # two alike at one place: only their order tells them apart
        result.append(replace(finding, id=one if seen[one] == 1 else f"{one}-{seen[one]}"))
    return result


def known_by(finding: Finding) -> set[str]:
    """Return all ids that mean this finding: its own, and those it would have a little to the side."""
    ids = {finding.id} if finding.id else set()
    for grid in (GRID, FINE):
        for dx in (-JITTER, 0.0, JITTER):
            for dy in (-JITTER, 0.0, JITTER):
                ids.add(_id(finding, grid, dx, dy))
    return ids


def _id(finding: Finding, grid: float, dx: float = 0.0, dy: float = 0.0) -> str:
    where: tuple = ()
    place = finding.centre or (finding.at and finding.at[:2])
    if finding.subject:
        where = (finding.subject,)
    elif place is not None:
        where = (grid, int((place[0] + dx) // grid), int((place[1] + dy) // grid))
    key = (family(finding.kind), finding.side or 0, finding.zone, *where)
    digest = hashlib.blake2s(repr(key).encode("utf-8"), digest_size=8).digest()
    return base64.b32encode(digest).decode("ascii").lower()[:LENGTH]
