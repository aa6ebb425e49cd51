"""Cutters and fixtures as surfaces, for 3-D pictures; NumPy only."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from simkit.cutters import Cutter
from simkit.job.model import Fixture
from simkit.report import colours
from simkit.report.scene_file import LIT, Key, Surface

EDGES, STEEL, HOLDER = "#4d4d4d", "#a3a39e", "#c8c8c2"
FIXTURE = "#80cdc1"  # ColorBrewer 2.0, BrBG, eleven classes
AROUND = 48  # faces round an axis
LENGTH = 30.0  # mm of a cutting part or shank whose length the job does not state


def cutter_surfaces(cutter: Cutter, tip) -> tuple[list[Surface], list[Key]]:
    """Return the surfaces of a cutter upright on its tip (x, y, z) mm, and their legend.

    Cutting part, neck and shank, holder: what the job does not state is left out; a cutting part without a
    length is drawn LENGTH mm long.
    """
    radii = np.linspace(0.0, cutter.radius, 40)
    heights = cutter.profile(radii)
    top = float(heights[-1])
    length = cutter.cutting_length or max(LENGTH, top + cutter.radius)
    outline = np.vstack(
        [np.column_stack([radii, heights]), [(cutter.radius, max(length, top)), (0.0, max(length, top))]]
    )
    surfaces = [_coloured(turned_round(outline, tip), EDGES)]
    keys = [Key("cutting part", EDGES)]
    for part, colour, words in (("shank", STEEL, "neck and shank"), ("holder", HOLDER, "holder")):
        faces = []
        for cone in cutter.stack:
            if (cone.part == "holder") == (part == "holder"):
                high = cone.high if np.isfinite(cone.high) else cone.low + LENGTH
                if high > cone.low:
                    ends = [
                        (0.0, cone.low),
                        (cone.low_radius, cone.low),
                        (cone.high_radius, high),
                        (0.0, high),
                    ]
                    faces.append(turned_round(np.array(ends), tip))
        if faces:
            surfaces.append(_coloured(np.concatenate(faces), colour))
            keys.append(Key(words, colour))
    return surfaces, keys


def fixture_surfaces(
    fixtures: Sequence[Fixture], meshes: Mapping[str, np.ndarray]
) -> tuple[list[Surface], list[Key]]:
    """Return the surfaces of fixtures in the table frame, and their legend.

    meshes: by the name of a fixture, its triangles (m, 3, 3) mm.
    """
    surfaces = []
    for fixture in fixtures:
        if fixture.name in meshes:
            surfaces.append(_coloured(np.asarray(meshes[fixture.name], np.float32), FIXTURE))
        elif fixture.box is None:
            r = fixture.diameter / 2
            outline = np.array([(0.0, 0.0), (r, 0.0), (r, fixture.height), (0.0, fixture.height)])
            surfaces.append(_coloured(turned_round(outline, (*fixture.at, 0.0)), FIXTURE))
        else:
            x0, x1, y0, y1 = fixture.box_in_plan
            surfaces.append(_coloured(box_faces((x0, y0, 0.0), (x1, y1, fixture.height)), FIXTURE))
    names = ", ".join(fixture.name for fixture in fixtures)
    return surfaces, [Key(f"clamps and stops: {names}", FIXTURE)] if surfaces else []


def turned_round(outline: np.ndarray, at) -> np.ndarray:
    """Return the faces (n, 4, 3) float32 mm of an outline (m, 2) of radii and heights turned round.

    at (x, y, z) mm: where radius 0 and height 0 lie.  Corners go counter-clockwise seen from outside where
    the outline goes up on its outer side.
    """
    angle = np.linspace(0.0, 2 * np.pi, AROUND + 1)
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    r, z = np.asarray(outline, float).T
    points = np.empty((len(r), AROUND + 1, 3))
    points[..., :2] = r[:, None, None] * ring
    points[..., 2] = z[:, None]
    points += np.asarray(at, float)
    corners = (points[:-1, :-1], points[:-1, 1:], points[1:, 1:], points[1:, :-1])
    return np.stack(corners, axis=2).reshape(-1, 4, 3).astype(np.float32)


def box_faces(low, high) -> np.ndarray:
    """Return the six faces (6, 4, 3) float32 mm of a box between two corners, seen from outside."""
    x, y, z = (np.array(pair, float) for pair in zip(low, high, strict=True))
    faces = []
    ring = ((0, 0), (1, 0), (1, 1), (0, 1))
    faces.append([(x[a], y[b], z[1]) for a, b in ring])
    faces.append([(x[a], y[b], z[0]) for a, b in reversed(ring)])
    for (a, b), (c, d) in zip(ring, (*ring[1:], ring[0]), strict=True):
        faces.append([(x[a], y[b], z[0]), (x[c], y[d], z[0]), (x[c], y[d], z[1]), (x[a], y[b], z[1])])
    return np.array(faces, np.float32)


def _coloured(faces: np.ndarray, colour: str) -> Surface:
    return Surface(faces, np.tile(np.array(colours.rgb(colour), np.uint8), (len(faces), 1)), LIT)
