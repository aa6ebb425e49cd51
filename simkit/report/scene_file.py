"""A 3-D picture as plain arrays: surfaces, lines, numbered places, ways to look; for another process.

NumPy only.  simkit.report.scene_child draws it; the window of simkit view draws such surfaces, too.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from pathlib import Path

import numpy as np

LIT, PALE = (0.42, 0.72), (0.74, 0.3)  # shares of light from everywhere and from the lamps
TRUE = (
    0.8,
    0.24,
)  # of faces whose colour has a meaning: in shade it must not look like that of the next class


@dataclass(frozen=True)
class Surface:
    """Flat faces (n, 3 or 4, 3) float32 mm, each with its colour (n, 3) uint8; light: LIT, PALE or TRUE.

    is_thing: what a picture is about, which numbers keep off.
    """

    faces: np.ndarray
    colours: np.ndarray
    light: tuple[float, float] = LIT
    is_thing: bool = False


@dataclass(frozen=True)
class Line:
    """A line (m, 3) mm, its colour "#rrggbb", its width in pixels; is_over: nothing hides it."""

    points: np.ndarray
    colour: str
    width: float
    is_over: bool = False


@dataclass(frozen=True)
class Mark:
    """A numbered place (x, y, z) mm, of a finding; is_must: it must be put right; is_over: hidden or not."""

    at: tuple[float, float, float]
    number: int
    is_must: bool
    is_over: bool = False


@dataclass(frozen=True)
class Look:
    """A way to look: from the part to the eye, which way is up, a caption, and what is numbered in it.

    about (x, y, z) mm and size (across, up) mm: what to show; None: all of the surfaces.
    surfaces, lines: which of the scene's to draw, by index; None: all.
    """

    caption: str
    eye: tuple[float, float, float]
    up: tuple[float, float, float] = (0.0, 0.0, 1.0)
    marks: tuple[Mark, ...] = ()
    about: tuple[float, float, float] | None = None
    size: tuple[float, float] | None = None
    surfaces: tuple[int, ...] | None = None
    lines: tuple[int, ...] | None = None


@dataclass(frozen=True)
class Key:
    """An entry of a legend: words and a colour; is_line: a line of it, else an area; hatch: its stripes."""

    words: str
    colour: str
    is_line: bool = False
    hatch: str = ""


@dataclass(frozen=True)
class Scene:
    """All of one picture: title, a sentence below it, what is in it, the ways to look, and the legend.

    findings: (number, is_must, words) of the list below.  note: small, at the foot.  unit: of lengths in the
    picture, as report.lengths takes it.
    """

    title: str
    subtitle: str
    surfaces: list[Surface]
    lines: list[Line]
    looks: list[Look]
    keys: list[Key]
    findings: list[tuple[int, bool, str]] = field(default_factory=list)
    note: str = "Seen from the front, from above."
    unit: str = "mm"


def write_scene(path: Path, scene: Scene) -> None:
    """Write a scene as an .npz file."""
    arrays = {}
    for number, one in enumerate(scene.surfaces):
        arrays[f"faces_{number}"] = np.asarray(one.faces, np.float32)
        arrays[f"colours_{number}"] = np.asarray(one.colours, np.uint8)
    for number, one in enumerate(scene.lines):
        arrays[f"line_{number}"] = np.asarray(one.points, np.float64)
    words = {
        "title": scene.title,
        "subtitle": scene.subtitle,
        "note": scene.note,
        "unit": scene.unit,
        "lights": [(one.light, one.is_thing) for one in scene.surfaces],
        "lines": [(one.colour, one.width, one.is_over) for one in scene.lines],
        "looks": [asdict(one) for one in scene.looks],
        "keys": [asdict(one) for one in scene.keys],
        "findings": scene.findings,
    }
    np.savez(path, words=np.array(json.dumps(words)), **arrays)


def read_scene(path: Path) -> Scene:
    """Return the scene that write_scene wrote."""
    with np.load(path) as data:
        words = json.loads(str(data["words"]))
        surfaces = [
            Surface(data[f"faces_{number}"], data[f"colours_{number}"], tuple(light), is_thing)
            for number, (light, is_thing) in enumerate(words["lights"])
        ]
        lines = [Line(data[f"line_{number}"], *look) for number, look in enumerate(words["lines"])]
    looks = []
    for one in words["looks"]:
        marks = tuple(Mark(**(mark | {"at": tuple(mark["at"])})) for mark in one.pop("marks"))
        parts = {name: tuple(value) if isinstance(value, list) else value for name, value in one.items()}
        looks.append(Look(**parts, marks=marks))
    findings = [tuple(one) for one in words["findings"]]
    keys = [Key(**one) for one in words["keys"]]
    return Scene(
        words["title"],
        words["subtitle"],
        surfaces,
        lines,
        looks,
        keys,
        findings,
        words["note"],
        words["unit"],
    )
