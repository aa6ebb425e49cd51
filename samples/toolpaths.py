"""Toolpaths over height functions, and the G-code text they become.

Everything here works in plan coordinates of the blank (x, y) and a height h that grows towards the
spindle: h = z when side 1 faces up, h = -z after the turn.  A surface is a function h(x, y).  mm.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
from scipy.ndimage import map_coordinates, maximum_filter

FEED, PLUNGE, DRILL_FEED = 2400, 800, 300


def number(value):
    """Return a coordinate as text: three decimals, no idle zeros, never -0."""
    text = f"{value:.3f}".rstrip("0")
    return "0." if text == "-0." else text


class Program:
    """G-code text as it grows.  Positions come in as (x, y, h) and leave through `to_program`.

    to_program: (x, y, h) -> (X, Y, Z).  is_mirrored: plan is mirrored by it, so arcs change hands.
    safe: height h of rapid traverses; near: height to which rapids go down.
    sections: name -> [first line, last line].
    """

    def __init__(self, to_program, is_mirrored, safe, near):
        self.to_program, self.is_mirrored, self.safe, self.near = to_program, is_mirrored, safe, near
        self.lines, self.sections = [], {}
        self.at, self._words, self._section = None, {}, None

    def text(self):
        return "\n".join(self.lines) + "\n"

    def say(self, *lines):
        self.lines.extend(lines)

    def begin(self, name):
        """Start a section: a comment line, and a name under which its lines can be found."""
        self.end()
        self._section = (name, len(self.lines) + 1)
        self.say(f"({name})")

    def end(self):
        if self._section:
            name, first = self._section
            self.sections[name] = [first, len(self.lines)]
        self._section = None

    def change(self, tool, what, speed=18000):
        """Retract and call a cutter."""
        if self.at:
            self.retract()
        self.end()
        self.say(f"(T{tool} {what})", "M5", f"T{tool} M6", f"S{speed} M3")
        self._words, self.at = {}, None

    def finish(self):
        """Retract and end the program."""
        self.retract()
        self.end()
        self.say("M5", "M30")

    def _move(self, word, x, y, h, feed=None, centre=None, is_full=False):
        now = dict(zip("XYZ", map(number, self.to_program(x, y, h)), strict=True))
        keys = "XYZ" if is_full else [k for k in "XYZ" if now[k] != self._words.get(k)]
        if centre:
            keys = ["X", "Y", *(["Z"] if now["Z"] != self._words.get("Z") else [])]
        elif not keys:
            return
        words = [] if self._words.get("G") == word else [word]
        words += [k + now[k] for k in keys]
        if centre:
            cx, cy, _ = self.to_program(*centre, h)
            words += [f"I{number(cx - float(self._words['X']))}", f"J{number(cy - float(self._words['Y']))}"]
        if feed and self._words.get("F") != feed:
            words.append(f"F{feed}")
            self._words["F"] = feed
        self._words |= now | {"G": word}
        self.at = (x, y, h)
        self.lines.append(" ".join(words))

    def line(self, x, y, h, feed=FEED):
        self._move("G1", x, y, h, feed)

    def path(self, points, feed=FEED):
        for point in points:
            self._move("G1", *map(float, point), feed)

    def arc(self, arc, h, grow=0.0, backwards=False, feed=FEED):
        """Cut an Arc, `grow` outside it, from here to its end (its start if backwards), ending at h."""
        x, y = arc.point(0.0 if backwards else 1.0, grow)
        is_left = (not backwards) != self.is_mirrored
        self._move("G3" if is_left else "G2", float(x), float(y), h, feed, centre=arc.centre)

    def approach(self, x, y, h=None, feed=PLUNGE):
        """Retract, traverse at the safe height (all three words written), go down, plunge to h."""
        if self.at:
            self._move("G0", self.at[0], self.at[1], self.safe)
        self._move("G0", x, y, self.safe, is_full=True)
        self._move("G0", x, y, self.near)
        if h is not None:
            self._move("G1", x, y, h, feed)

    def rapid(self, x, y, h):
        self._move("G0", x, y, h)

    def retract(self):
        self._move("G0", self.at[0], self.at[1], self.safe)


def thinned(points, tolerance=0.005):
    """Return the points (n, 3) that are needed for chords within `tolerance` of all (ends stay)."""
    keep = np.zeros(len(points), dtype=bool)
    keep[[0, -1]] = True
    todo = [(0, len(points) - 1)]
    while todo:
        first, last = todo.pop()
        if last - first < 2:
            continue
        chord = points[last] - points[first]
        off = points[first + 1 : last] - points[first]
        length = np.linalg.norm(chord)
        along = np.clip(off @ chord / max(length**2, 1e-12), 0, 1)
        distance = np.linalg.norm(off - along[:, None] * chord, axis=1)
        worst = int(distance.argmax())
        if distance[worst] > tolerance:
            keep[first + 1 + worst] = True
            todo += [(first, first + 1 + worst), (first + 1 + worst, last)]
    return points[keep]


def ball_tip(surface, x, y, radius):
    """Return the lowest tip height (n,) of a ball cutter at x, y (n,) that stays out of `surface`.

    The dilation of the surface by the ball: the greatest of surface(p + q) - (R - sqrt(R^2 - q^2)).
    First tried at fixed contact directions, then refined by halving steps: within 1e-4 mm where the
    surface is smooth.
    """
    tilt = np.radians(np.arange(10.0, 81.0, 10.0))[:, None]
    turn = np.radians(np.arange(0.0, 360.0, 22.5))[None, :]
    tried_x = np.append((radius * np.sin(tilt) * np.cos(turn)).ravel(), 0.0)
    tried_y = np.append((radius * np.sin(tilt) * np.sin(turn)).ravel(), 0.0)

    def lift(px, py, qx, qy):
        r2 = qx * qx + qy * qy
        rise = radius - np.sqrt(np.maximum(radius**2 - r2, 0.0))
        return np.where(r2 <= (0.998 * radius) ** 2, surface(px + qx, py + qy) - rise, -np.inf)

    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    out = np.empty(len(x))
    for start in range(0, len(x), 3000):
        px, py = x[start : start + 3000, None], y[start : start + 3000, None]
        value = lift(px, py, tried_x, tried_y)
        best = value.argmax(axis=1)
        qx, qy, high = tried_x[best], tried_y[best], value.max(axis=1)
        step = radius / 8
        for _ in range(11):
            near_x = qx[:, None] + step * np.array([1, 1, 0, -1, -1, -1, 0, 1])
            near_y = qy[:, None] + step * np.array([0, 1, 1, 1, 0, -1, -1, -1])
            value = lift(px, py, near_x, near_y)
            best = value.argmax(axis=1)
            rows = np.arange(len(best))
            is_up = value[rows, best] > high
            qx = np.where(is_up, near_x[rows, best], qx)
            qy = np.where(is_up, near_y[rows, best], qy)
            high = np.maximum(high, value[rows, best])
            step /= 2
        out[start : start + 3000] = high
    return out


def zigzag(surface, radius, spans, step=0.2):
    """Return one thinned path (n, 3) of a ball along y, to and fro, over spans (x, y first, y last).

    The ball rests on the surface everywhere, also on the way from one pass to the next.
    """
    return follow(lambda x, y: ball_tip(surface, x, y, radius), spans, step)


def follow(tip, spans, step=0.2, longest=None):
    """Return one thinned path (n, 3) along y, to and fro, over spans (x, y first, y last), at tip(x, y).

    step: between places in plan where tip is asked.  longest: places farther apart than this in space
    (on a steep wall) are divided until they are not, or until they stand above one another.
    """
    ends = []
    for i, (x, low, high) in enumerate(spans):
        ends += [(x, low), (x, high)] if i % 2 == 0 else [(x, high), (x, low)]
    pieces = []
    for a, b in itertools.pairwise(ends):
        count = max(2, math.ceil(math.dist(a, b) / step) + 1)
        pieces.append(np.linspace(a, b, count))
    plan = np.concatenate(pieces)
    solid = np.column_stack([plan, tip(*plan.T)])
    rows = np.split(solid, np.cumsum([len(piece) for piece in pieces])[:-1])
    if longest:
        rows = _divided(tip, rows, longest)
    paths = [thinned(row) for row in rows]
    return np.concatenate([paths[0], *(path[1:] for path in paths[1:])])


def _divided(tip, rows, longest, nearest=0.004):
    """Return the rows with more places where neighbours are farther apart than `longest`."""
    owner = np.repeat(np.arange(len(rows)), [len(row) for row in rows])
    solid = np.concatenate(rows)
    while True:
        off = np.diff(solid, axis=0)
        is_far = np.linalg.norm(off, axis=1) > longest
        is_far &= (np.hypot(off[:, 0], off[:, 1]) > nearest) & (np.diff(owner) == 0)
        at = np.flatnonzero(is_far)
        if not len(at):
            return np.split(solid, np.flatnonzero(np.diff(owner)) + 1)
        plan = (solid[at, :2] + solid[at + 1, :2]) / 2
        solid = np.insert(solid, at + 1, np.column_stack([plan, tip(*plan.T)]), axis=0)
        owner = np.insert(owner, at + 1, owner[at])


class Lattice:
    """Where a flat cutter may go: dilation of a surface on a square lattice, on the safe side."""

    def __init__(self, surface, low, high, radius, allowance, cell=0.25):
        self.low, self.cell = np.asarray(low, dtype=float), cell
        self.x, self.y = (np.arange(a, b + cell / 2, cell) for a, b in zip(low, high, strict=True))
        reach = math.ceil(radius / cell)
        i, j = np.mgrid[-reach : reach + 1, -reach : reach + 1]
        disc = np.hypot(i, j) * cell <= radius + cell * math.sqrt(0.5)
        heights = surface(self.x[:, None], self.y[None, :])
        self.tip = maximum_filter(heights, footprint=disc, mode="nearest") + allowance

    def at(self, points):
        """Return the lowest tip height at points (n, 2), from the lattice."""
        cells = ((np.asarray(points, dtype=float) - self.low) / self.cell).T
        return map_coordinates(self.tip, cells, order=1, mode="nearest")

    def is_clear(self, a, b, level):
        """Tell whether the straight way a to b may be cut at this level."""
        count = max(2, math.ceil(math.dist(a[:2], b[:2]) / (self.cell / 2)))
        return bool((self.at(np.linspace(a[:2], b[:2], count)) <= level + 1e-9).all())

    def runs(self, level, spacing):
        """Return rows, each a list of (x first, x last, y), where the cutter may go at this level."""
        rows = []
        for j in range(0, len(self.y), round(spacing / self.cell)):
            is_free = np.concatenate([[False], self.tip[:, j] <= level + 1e-9, [False]])
            edges = np.flatnonzero(np.diff(is_free.astype(int)))
            spans = zip(self.x[edges[::2]], self.x[edges[1::2] - 1], strict=True)
            trim = 2 * self.cell  # so that the way from row to row stays clear of the edge
            row = [(float(a + trim), float(b - trim), float(self.y[j])) for a, b in spans if b - a >= 2.0]
            if row:
                rows.append(row)
        return rows

    def edge(self, level, centre, stretch, is_outside):
        """Return a closed path (n, 2) along the edge of the free region, star-shaped about `centre`.

        is_outside: the region lies outside that edge (around a hull), else inside it (in a hollow).
        None where some direction has no such edge.
        """
        angle = np.linspace(0, 2 * math.pi, 721)
        radius = np.arange(0, 60, self.cell / 2)
        rays = np.stack([stretch * np.cos(angle), np.sin(angle)], axis=-1)
        points = np.asarray(centre) + radius[None, :, None] * rays[:, None, :]
        tip = self.at(points.reshape(-1, 2)).reshape(points.shape[:2])
        is_beyond = tip <= level if is_outside else tip > level
        if is_beyond[:, 0].any() or not is_beyond.any(axis=1).all():
            return None
        rows, cross = np.arange(len(angle)), is_beyond.argmax(axis=1)
        before, after = tip[rows, cross - 1], tip[rows, cross]
        part = (level - before) / (after - before)
        edge = (radius[cross - 1] + part * (radius[cross] - radius[cross - 1]))[:, None]
        path = np.asarray(centre) + edge * rays
        return thinned(np.column_stack([path, np.zeros(len(path))]), 0.1)[:, :2]


def clear_level(program, lattice, level, spacing, edge_path, openness=None):
    """Clear one level with a flat cutter: rows along x, then once along the edge.

    openness(x, y): how far out a place is; where rows do not join, the cutter goes down at the outer
    end of the next row.  None: it stands in the wood at this level already and may only cut its way.
    """

    def start(run, is_flipped):
        return (run[1], run[2]) if is_flipped else (run[0], run[2])

    here = program.at if openness is None else None
    for row in lattice.runs(level, spacing):
        todo = list(row)
        while todo:
            choices = [(run, is_flipped) for run in todo for is_flipped in (False, True)]
            joined = [c for c in choices if here and lattice.is_clear(here, start(*c), level)]
            if joined:
                run, is_flipped = min(joined, key=lambda c: math.dist(here[:2], start(*c)))
                program.line(*start(run, is_flipped), level)
            elif openness:
                run, is_flipped = max(choices, key=lambda c: openness(*start(*c)))
                program.approach(*start(run, is_flipped), level)
            else:
                raise ValueError(f"no way to {row[0]} at level {level}")
            todo.remove(run)
            program.line(run[0] if is_flipped else run[1], run[2], level)
            here = program.at
    if edge_path is not None:
        x, y = map(float, edge_path[0])
        if lattice.is_clear(program.at, (x, y), level):
            program.line(x, y, level)
        else:
            program.approach(x, y, level)
        program.path(np.column_stack([edge_path, np.full(len(edge_path), level)]))
