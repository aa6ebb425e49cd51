"""The three planes of arcs: which letters and axes each has."""

from __future__ import annotations

from typing import NamedTuple


class Plane(NamedTuple):
    """The words of arcs in one plane.

    ends, offsets: letters of its two axes in the order that turns counter-clockwise.  other: the offset
    that has no meaning in it.  axes: numbers of the two, and of the third.  name: as people say it.
    Source: NISTIR 6556 (2000), section 3.5.3.
    """

    ends: str
    offsets: str
    other: str
    axes: tuple[int, int, int]
    name: str

    @property
    def centre(self) -> str:
        """The two words of the centre as a message names them."""
        return " and ".join(sorted(self.offsets))


PLANES = {
    17: Plane("XY", "IJ", "K", (0, 1, 2), "XY"),
    18: Plane("ZX", "KI", "J", (2, 0, 1), "XZ"),
    19: Plane("YZ", "JK", "I", (1, 2, 0), "YZ"),
}
