"""Values of rows with the second side moved: the sweeps of its moves evaluated anew at chosen places."""

from __future__ import annotations

import numpy as np

from simkit.budget.motion import Motion, SideHeights
from simkit.budget.rows import WALL, Rows
from simkit.budget.steps import crossing

ROOM = 0.3  # mm beside where a row says that the surface lies


class Anew:
    """Asks rows anew.

    rows: the whole table, so that corners find their faces.  heights: of the second side.
    """

    def __init__(self, rows: Rows, motion: Motion, heights: SideHeights):
        self.rows, self.motion, self.heights = rows, motion, heights
        self.columns = rows.columns(motion)
        self._now: dict[int, float] = {}

    def linear(self, which: np.ndarray, changes: np.ndarray) -> np.ndarray:
        """Return values (k,) mm of rows (k,) under changes (k, 5 + j) as the rows say."""
        found = self._plain(which, changes)
        mine = np.flatnonzero(self.rows.is_capped[which])
        if len(mine):
            faces = self.rows.faces[which[mine]]
            moved = np.sum(self.columns[faces] * changes[mine, None], axis=2)
            most = self.rows.caps(which[mine], self.rows.value[faces] + moved)
            found[mine] = np.minimum(found[mine], most)
        return found

    def _plain(self, which: np.ndarray, changes: np.ndarray) -> np.ndarray:
        """Return the same without any cap: linear."""
        return self.rows.value[which] + np.sum(self.columns[which] * changes, axis=1)

    def values(self, which: np.ndarray, changes: np.ndarray) -> np.ndarray:
        """Return values (k,) mm of rows (k,) under changes (k, 5 + j) of motion.names, by exact sweeps.

        The value now changes by as much as the cut has moved along the part's normal; both places are found
        to steps.FINEST.  Rows that cannot be asked so (thicknesses of walls, places that only the thickness
        moves, or where the cut goes out of sight) keep what their row says.
        """
        which = np.asarray(which)
        rows = self.rows
        found = self._plain(which, changes)
        is_corner = rows.faces[which, 0] >= 0
        corner, nth = np.nonzero(rows.faces[which] >= 0)
        faces = np.concatenate([which[~is_corner], rows.faces[which[corner], nth]])
        moved = np.concatenate([changes[~is_corner], changes[corner]])
        exact = self._faces(faces, moved)
        off = exact - self._plain(faces, moved)
        plain = np.count_nonzero(~is_corner)
        found[~is_corner] += off[:plain]
        # A corner is as far from what its row says as its faces are, which lie a little beside it.
        np.add.at(found, corner, rows.share[which[corner], nth] * off[plain:])
        of_faces = np.zeros((len(which), rows.faces.shape[1]))
        of_faces[corner, nth] = exact[plain:]
        return np.minimum(found, rows.caps(which, of_faces))

    def _faces(self, which: np.ndarray, changes: np.ndarray) -> np.ndarray:
        rows = self.rows
        value = self._plain(which, changes)
        is_moved = (rows.grow[which] != 0).any(axis=1)
        can = np.flatnonzero(is_moved & ~np.isnan(rows.outward[which, 0]) & (rows.kind[which] != WALL))
        if not len(can):
            return value
        one, change = which[can], changes[can]
        way = np.sign(np.sum(rows.grow[one] * rows.outward[one], axis=1))
        by = way * (value[can] - rows.value[one])  # how far the row says the cut moves along the normal
        new = np.unique(one[~np.isin(one, list(self._now))])
        if len(new):
            there, is_found = self._along(new, np.zeros((len(new), changes.shape[1])), np.zeros(len(new)))
            self._now.update(zip(new.tolist(), np.where(is_found, there, np.nan).tolist(), strict=True))
        now = np.array([self._now[k] for k in one.tolist()])
        then, is_found = self._along(one, change, np.nan_to_num(now) + by)
        is_found &= ~np.isnan(now)
        exact = rows.value[one] + way * (then - now)
        value[can] = np.where(is_found, exact, value[can])
        return value

    def _along(self, which, changes, about) -> tuple[np.ndarray, np.ndarray]:
        """Return where the moved cut lies along the normals of rows, mm (k,), and whether it was found."""
        at, outward, lift = self.rows.at[which], self.rows.outward[which], self.rows.lift[which]

        def is_wood(nth, along):
            points = at[nth] + along[:, None] * outward[nth]
            return self.heights.is_wood(self.motion.back_from(points, changes[nth], lift[nth]))

        return crossing(is_wood, about, ROOM)

    def worst(
        self, change: np.ndarray, asked: int = 12, is_asked: np.ndarray | None = None
    ) -> dict[int, tuple[float, int]]:
        """Return for each kind by how much it is beyond its limit, mm, under one change, and the row.

        change (5 + j,): of motion.names.  Negative within the limit.  The rows that say most are asked anew,
        `asked` of each kind.
        is_asked (n,) bool: the rows that count, None for all.
        """
        change = np.asarray(change, dtype=float)
        every = np.arange(len(self.rows))
        over = self.linear(every, np.broadcast_to(change, (len(every), len(change)))) - self.rows.limit
        found = {}
        for kind in np.unique(self.rows.kind):
            mine = np.flatnonzero((self.rows.kind == kind) & (True if is_asked is None else is_asked))
            if not len(mine):
                continue
            top = mine[np.argsort(-over[mine])[:asked]]
            exact = self.values(top, np.tile(change, (len(top), 1))) - self.rows.limit[top]
            k = int(np.argmax(exact))
            found[int(kind)] = (float(exact[k]), int(top[k]))
        return found
