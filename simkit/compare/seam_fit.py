"""Which shift and turn of one side against the other the steps along a seam show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from simkit.compare.seam import Seam

NEXT = 3.0  # mm: stations farther apart are no neighbours
LEAST_SINGULAR = 0.05  # of a unit-length direction; a direction seen less than this is not observable


@dataclass(frozen=True)
class ShiftFit:
    """How side 1's cut lies against side 2's, in the blank frame.

    dx, dy mm: shift at `about`.  turn_degrees: counter-clockwise seen from above side 1.  about (x, y)
    mm: middle of the stations.  is_observable (3,) bool: of dx, dy and turn; what is not observable is
    0.  rms mm: what the fit leaves unexplained (form of the walls, not of the fit).  bound (3,): of dx, dy
    (mm) and turn (degrees), see fit_shift; inf where not observable.
    """

    dx: float
    dy: float
    turn_degrees: float
    about: tuple[float, float]
    is_observable: np.ndarray
    rms: float
    bound: tuple[float, float, float]

    def offset_at(self, place: np.ndarray, normal: np.ndarray) -> float:
        """Return the offset (mm) that this shift alone makes at a place (2,) mm with outward normal (2,)."""
        rx, ry = place - np.array(self.about)
        turn = np.radians(self.turn_degrees)
        return float(normal[0] * (self.dx - turn * ry) + normal[1] * (self.dy + turn * rx))

    def explains(self, seam: Seam, station: int) -> bool:
        """Return whether the step at a station of the seam comes mostly from this shift.

        The shift alone must make three quarters of it, and the rest of the seam must agree: a step at a
        few stations of a seam that meets elsewhere is no shift.
        """
        value = float(seam.offset[station])
        alone = self.offset_at(seam.stations[station], seam.normal[station])
        return self.rms < abs(value) / 4 and abs(alone - value) < abs(value) / 4

    @property
    def words(self) -> str:
        """What the fit says, and what it cannot say."""
        names = ("shift in x", "shift in y", "turn")
        hidden = [name for name, seen in zip(names, self.is_observable, strict=True) if not seen]
        if len(hidden) == 3:
            return "the seam does not show how the sides lie against each other"
        within = " \N{PLUS-MINUS SIGN} "
        dx, dy, turn = self.bound
        # Told as findings and `whatif` tell it: how the second side lies, which is what a person can move.
        parts = [
            f"{-self.dx + 0.0:+.3f}{within}{dx:.3f} mm in x",
            f"{-self.dy + 0.0:+.3f}{within}{dy:.3f} mm in y",
            f"{-self.turn_degrees + 0.0:+.4f}{within}{turn:.4f} degrees",
        ]
        seen = [part for part, is_seen in zip(parts, self.is_observable, strict=True) if is_seen]
        text = f"side 2 against side 1 (blank frame): {', '.join(seen)}"
        return text + (f"; not observable: {', '.join(hidden)}" if hidden else "")


def fit_shift(seam: Seam) -> ShiftFit:
    """Return the shift and turn of side 1 against side 2 that explain the offsets best.

    seam: as found.  Least squares of offset = normal . (shift + turn x r), r from the middle of the
    stations; singular value decomposition tells the directions that the seam cannot show (a round
    part shows no turn, two straight walls no shift along them).  When setup 2 moved and setup 1 did
    not, the fit shows the opposite of that movement, in the blank frame.

    Error, `bound`.  The answer is linear in the offsets, answer = G offsets with G the pseudo-inverse, so
    offsets that are each off by at most e_i move it by at most the sum of |G_i| e_i.  Of each offset e_i is
    - the bound of its measurement (`find_seam`: bracket of the walls, how level they are, a turned normal);
    - what it is not linear in the turn t: |r_i| t^2 / 2, the next term of the rotation;
    - what it is not linear in the shift where the wall bends: a wall of curvature k that moves by s along
      itself stands k s^2 / 2 off its tangent.  k from the normals of the stations to both sides.
    This is rigorous but for k, which is measured.  Added to it is twice the standard error that the offsets
    the fit leaves over (rms) make if they are independent: ridges and facets of the walls, which differ from
    side to side and which no bound of a measurement knows.
    Source: infinitesimal rigid displacement, as in fitting by point-to-plane distances
    (Y. Chen, G. Medioni 1992, from memory); the bound: own derivation.
    """
    n = len(seam.offset)
    if n == 0:
        return ShiftFit(0.0, 0.0, 0.0, (0.0, 0.0), np.zeros(3, dtype=bool), 0.0, (np.inf, np.inf, np.inf))
    about = seam.stations.mean(axis=0)
    r = seam.stations - about
    size = max(float(np.sqrt((r**2).sum(axis=1).mean())), 1e-9)
    lever = (seam.normal[:, 1] * r[:, 0] - seam.normal[:, 0] * r[:, 1]) / size
    matrix = np.column_stack([seam.normal, lever])
    u, values, vt = np.linalg.svd(matrix, full_matrices=False)
    values = np.pad(values, (0, 3 - len(values)))
    is_seen = values / np.sqrt(n) > LEAST_SINGULAR
    seen = np.flatnonzero(is_seen)
    inverse = vt[seen].T @ (u[:, seen] / values[seen]).T
    solved = inverse @ seam.offset
    # A quantity is observable when hardly anything of it lies in the directions not seen.
    share = (vt[seen] ** 2).sum(axis=0)
    is_observable = share > 0.99
    rms = float(np.sqrt(np.mean((seam.offset - matrix @ solved) ** 2)))
    dx, dy, arc = np.where(is_observable, solved, 0.0)
    turn = float(np.degrees(arc / size))
    scatter = rms * np.sqrt(n / max(n - len(seen), 1) * (inverse**2).sum(axis=1))
    each = seam.bound + _second_order(seam, r, (dx, dy), arc / size)
    bound = np.where(is_observable, np.abs(inverse) @ each + 2 * scatter, np.inf)
    bound[2] = np.degrees(bound[2] / size)
    middle = (float(about[0]), float(about[1]))
    return ShiftFit(float(dx), float(dy), turn, middle, is_observable, rms, tuple(bound.tolist()))


def _second_order(seam: Seam, r: np.ndarray, shift: tuple[float, float], turn: float) -> np.ndarray:
    """Return how far offsets may be from linear in a shift (mm) and a turn (radians), mm (n,)."""
    moved = np.array(shift) + turn * np.column_stack([-r[:, 1], r[:, 0]])
    along = seam.normal[:, 0] * moved[:, 1] - seam.normal[:, 1] * moved[:, 0]
    bend = np.zeros(len(r))
    is_next = seam.contour[1:] == seam.contour[:-1]
    apart = np.hypot(*np.diff(seam.stations, axis=0).T)
    is_next &= (apart > 0) & (apart < NEXT)
    size = np.where(is_next, np.hypot(*np.diff(seam.normal, axis=0).T) / np.maximum(apart, 1e-9), 0.0)
    bend[:-1] = size
    bend[1:] = np.maximum(bend[1:], size)
    return np.hypot(*r.T) * turn**2 / 2 + bend * along**2 / 2
