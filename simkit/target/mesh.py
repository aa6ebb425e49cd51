"""The wanted part: a triangle mesh read from a file, checked, and placed in the blank."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from simkit.errors import InputProblems, Place, Problem
from simkit.job.model import Blank, TargetSpec
from simkit.units import MM_PER_UNIT

FORMATS = (".stl", ".ply", ".obj", ".off")
LARGEST_FILE = 500 * 1024 * 1024  # bytes; a mesh of about 10 million triangles
FIT_SLACK = 1e-3  # mm: float32 coordinates of a large part are rounded by less than this
FLAT_VOLUME = 1e-9  # of the cube of the bounding box's diagonal: below it a solid has no volume
CUT_SHORT = "the file may be cut short; export the part again"
AXES = (("left", "right"), ("front", "back"), ("bottom", "top"))


@dataclass(frozen=True)
class Target:
    """The wanted part in the blank frame: a closed surface, seen counter-clockwise from outside.

    vertices (n, 3) float64 mm.  triangles (m, 3) int64, rows of `vertices`.  volume mm3, > 0.
    bounds (2, 3) mm: low and high corner.  notes: what a person should know about the mesh.
    """

    vertices: np.ndarray
    triangles: np.ndarray
    volume: float
    bounds: np.ndarray
    notes: tuple[str, ...] = ()


def make_target(vertices: np.ndarray, triangles: np.ndarray, notes: tuple[str, ...] = ()) -> Target:
    """Return a target from arrays that are known to be a closed surface (no checks but the volume's).

    vertices (n, 3) mm, blank frame; triangles (m, 3) rows of vertices; notes: kept as they are.
    """
    vertices = np.ascontiguousarray(vertices, dtype=np.float64)
    triangles = np.ascontiguousarray(triangles, dtype=np.int64)
    volume = float(_signed_volumes(vertices, triangles).sum())
    bounds = np.array([vertices.min(axis=0), vertices.max(axis=0)])
    return Target(vertices, triangles, volume, bounds, notes)


def load_target(spec: TargetSpec, blank: Blank, place: Place) -> Target:
    """Return the target that a job names, in the blank frame.

    spec: the file, its units and pose.  blank: what the part must fit in.  place: where the job names
    the mesh, for messages.
    Coordinates are those of the file to float64 rounding (a file with float32 numbers carries its own
    rounding, under 2e-5 mm at 280 mm).  Vertices with equal coordinates become one vertex.
    Raises InputProblems with everything that is wrong: file, numbers, open or inside-out surface,
    no volume, does not fit.
    """
    vertices, triangles = read_mesh(spec.mesh, place)
    placed = _placed(vertices, spec)
    problems = []
    triangles, dropped = _without_points_and_lines(triangles)
    notes = []
    if dropped:
        notes.append(
            f"{_count(dropped, 'triangle')} of {spec.mesh.name} joined a vertex twice and had no area; "
            "left out, the surface stays the same"
        )
    if not len(triangles):
        problems.append(
            Problem(
                place,
                f"only triangles without area in '{spec.mesh.name}'",
                "a closed surface",
                "export the part again",
            )
        )
        raise InputProblems(problems)
    problems += surface_problems(placed, triangles, spec.mesh.name, place)
    is_closed = not problems
    volumes = _signed_volumes(placed, triangles)
    if is_closed:
        problems += _volume_problems(float(volumes.sum()), placed, spec.mesh.name, place)
    size = placed.max(axis=0) - placed.min(axis=0)
    problems += _fit_problems(placed, size, spec, blank, place)
    if problems:
        raise InputProblems(problems)
    notes += _body_notes(triangles, volumes, len(placed), spec.mesh.name)
    notes += _size_notes(size, spec, blank)
    return make_target(placed, triangles, tuple(notes))


def mesh_bounds(path: Path, place: Place) -> np.ndarray:
    """Return the low and the high corner (2, 3) of a mesh in the unit of its file, none of it judged.

    place: for messages.  Raises InputProblems for a file that cannot be read as a mesh.
    """
    vertices, _ = read_mesh(path, place)
    return np.array([vertices.min(axis=0), vertices.max(axis=0)])


def _count(n: int, what: str) -> str:
    return f"{n:,} {what}" + ("" if n == 1 else "s")


def read_mesh(path: Path, place: Place) -> tuple[np.ndarray, np.ndarray]:
    """Return merged vertices (file units) and triangles of a mesh file, or raise what is wrong with it."""
    known = ", ".join(suffix[1:].upper() for suffix in FORMATS)

    def _refuse(found: str, expected: str, remedy: str):
        raise InputProblems(Problem(place, found, expected, remedy))

    path = Path(path)
    if not path.exists():
        _refuse(f"no file '{path}'", "a mesh file", "check the path; it counts from the job file's folder")
    if not path.is_file():
        _refuse(f"'{path}', which is not a file", "a mesh file", "name the mesh file itself")
    if path.suffix.lower() not in FORMATS:
        _refuse(
            f"'{path.name}', a format that is not read here",
            f"one of {known}",
            "export the part in one of these formats",
        )
    size = path.stat().st_size
    if size == 0:
        _refuse(f"'{path.name}', which is empty", "a mesh", "export the part again")
    if size > LARGEST_FILE:
        _refuse(
            f"'{path.name}' with {size / 2**20:,.0f} MB",
            f"at most {LARGEST_FILE // 2**20} MB",
            "export the part with fewer triangles; 0.01 mm of chord error is plenty for wood",
        )
    try:
        corners = binary_stl(path) if path.suffix.lower() == ".stl" else None
    except (OSError, MemoryError):  # told below
        corners = None
    if corners is not None and np.isfinite(corners).all():
        return _merged(corners, np.arange(len(corners)).reshape(-1, 3))
    import trimesh

    options = {"skip_materials": True} if path.suffix.lower() == ".obj" else {}
    try:
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("ignore")  # of the reader; what matters is checked below
            mesh = trimesh.load_mesh(str(path), process=False, **options)
        vertices = np.array(getattr(mesh, "vertices", np.zeros((0, 3))), dtype=np.float64)
        triangles = np.array(getattr(mesh, "faces", np.zeros((0, 3))), dtype=np.int64)
    except MemoryError:
        _refuse(
            f"'{path.name}', too large for this machine's memory", "a mesh that fits", "use fewer triangles"
        )
    except Exception as error:  # the reader raises whatever its parsing meets
        reason = " ".join(str(error).split())[:120]
        _refuse(f"'{path.name}', which cannot be read ({reason})", f"a sound {known} file", "export it again")
    if triangles.ndim != 2 or triangles.shape[-1] != 3 or not len(triangles) or not len(vertices):
        _refuse(f"'{path.name}' without any triangle", "a mesh of triangles", CUT_SHORT)
    if triangles.min() < 0 or triangles.max() >= len(vertices):
        _refuse(f"'{path.name}' with triangles that name no vertex", "a sound mesh", "export the part again")
    bad = np.count_nonzero(~np.isfinite(vertices).all(axis=1))
    if bad:
        verb = "is" if bad == 1 else "are"
        _refuse(
            f"{_count(bad, 'corner')} in '{path.name}' that {verb} not a number or infinite",
            "finite coordinates",
            "repair the mesh where it was made and export it again",
        )
    return _merged(vertices, triangles)


_STL_FACE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_STL_HEAD = 84  # bytes: 80 of anything, then the number of triangles


def binary_stl(path: Path) -> np.ndarray | None:
    """Return the corners (3 n, 3) of the n triangles of a binary STL file, None for any other file.

    A file is one when it is just as long as the count in it says.  The reader of all other meshes gives the
    same corners, and takes ten times as long, with a quarter of a second to be loaded itself.
    """
    data = path.read_bytes()
    count = int.from_bytes(data[80:_STL_HEAD], "little")
    if not count or len(data) != _STL_HEAD + count * _STL_FACE.itemsize:
        return None
    return np.frombuffer(data, _STL_FACE, offset=_STL_HEAD)["corners"].reshape(-1, 3).astype(np.float64)


def _merged(vertices: np.ndarray, triangles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the mesh with vertices of equal coordinates made one, unused ones dropped."""
    vertices = vertices + 0.0  # -0.0 and 0.0 are the same place
    order = np.lexsort(vertices.T)
    ordered = vertices[order]
    is_new = np.ones(len(vertices), dtype=bool)
    is_new[1:] = (ordered[1:] != ordered[:-1]).any(axis=1)
    row = np.empty(len(vertices), dtype=np.int64)
    row[order] = np.cumsum(is_new) - 1
    triangles = row[triangles]
    used, compact = np.unique(triangles, return_inverse=True)
    return ordered[is_new][used], compact.reshape(triangles.shape).astype(np.int64)


def _rotation(degrees: tuple[float, float, float]) -> np.ndarray:
    """Return the (3, 3) rotation about x, then y, then z; quarter turns are exact."""
    matrix = np.eye(3)
    for axis, angle in enumerate(degrees):
        quarter = angle % 360.0
        exact = {0.0: (1.0, 0.0), 90.0: (0.0, 1.0), 180.0: (-1.0, 0.0), 270.0: (0.0, -1.0)}
        c, s = exact.get(quarter, (np.cos(np.radians(angle)), np.sin(np.radians(angle))))
        one = np.eye(3)
        i, j = (axis + 1) % 3, (axis + 2) % 3
        one[i, i], one[i, j], one[j, i], one[j, j] = c, -s, s, c
        matrix = one @ matrix
    return matrix


def _placed(vertices: np.ndarray, spec: TargetSpec) -> np.ndarray:
    """Return vertices (n, 3) mm in the blank frame, from file units and the pose of `spec`."""
    turned = vertices * MM_PER_UNIT[spec.units] @ _rotation(spec.rotate).T
    low, high = turned.min(axis=0), turned.max(axis=0)
    anchor = {"origin": np.zeros(3), "low corner": low, "centre": (low + high) / 2}[spec.anchor]
    return turned - anchor + np.asarray(spec.at, dtype=np.float64)


def _without_points_and_lines(triangles: np.ndarray) -> tuple[np.ndarray, int]:
    """Return the triangles that join three different vertices, and how many did not.

    Leaving out a triangle with a repeated vertex takes an edge away once in each direction, so the
    surface stays as closed as it was.  A triangle of three different vertices in one line is kept: it
    may close the gap beside a vertex that lies on a neighbour's edge.
    """
    a, b, c = triangles.T
    is_proper = (a != b) & (b != c) & (c != a)
    return triangles[is_proper], int(np.count_nonzero(~is_proper))


def _signed_volumes(vertices: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """Return per triangle the signed volume to the middle of the part, mm3 (m,) (divergence theorem)."""
    middle = (vertices.min(axis=0) + vertices.max(axis=0)) / 2
    a, b, c = (vertices[triangles[:, corner]] - middle for corner in range(3))
    return np.einsum("ij,ij->i", a, np.cross(b, c)) / 6.0


def surface_problems(vertices: np.ndarray, triangles: np.ndarray, name: str, place: Place) -> list[Problem]:
    """Return what keeps the surface from being closed with one outside."""
    start = triangles.ravel()
    end = np.roll(triangles, -1, axis=1).ravel()
    low, high = np.minimum(start, end), np.maximum(start, end)
    key = low * len(vertices) + high
    order = np.argsort(key, kind="stable")
    key = key[order]
    first = np.flatnonzero(np.r_[True, key[1:] != key[:-1]])
    balance = np.add.reduceat(np.where(start < end, 1, -1)[order], first)
    uses = np.diff(np.r_[first, len(key)])
    is_open = uses % 2 == 1
    is_turned = ~is_open & (balance != 0)
    problems = []

    def _where(mask) -> str:
        edge = order[first[np.flatnonzero(mask)[0]]]
        x, y, z = (vertices[start[edge]] + vertices[end[edge]]) / 2
        return f"the first at ({x:.3f}, {y:.3f}, {z:.3f}) mm in the blank"

    if is_open.any():
        problems.append(
            Problem(
                place,
                f"{_count(int(is_open.sum()), 'open edge')} in '{name}', {_where(is_open)}",
                "a watertight mesh, each edge shared by two triangles",
                "close the holes where the part was made and export it again",
            )
        )
    if is_turned.any():
        problems.append(
            Problem(
                place,
                f"{_count(int(is_turned.sum()), 'edge')} in '{name}' where neighbouring triangles face "
                f"opposite ways, {_where(is_turned)}",
                "triangles that all face outside",
                "make the normals consistent where the part was made and export it again",
            )
        )
    return problems


def _volume_problems(volume: float, vertices: np.ndarray, name: str, place: Place) -> list[Problem]:
    diagonal = float(np.linalg.norm(vertices.max(axis=0) - vertices.min(axis=0)))
    if abs(volume) <= FLAT_VOLUME * diagonal**3:
        return [
            Problem(
                place,
                f"no volume inside '{name}'",
                "a solid part",
                "give the part thickness, export it again",
            )
        ]
    if volume < 0:
        return [
            Problem(
                place,
                f"'{name}' inside out (its volume is {volume:,.1f} mm3)",
                "triangles that face outside",
                "turn all normals round where the part was made and export it again",
            )
        ]
    return []


def _fit_problems(
    vertices: np.ndarray, size: np.ndarray, spec: TargetSpec, blank: Blank, place: Place
) -> list[Problem]:
    room = np.array([blank.length, blank.width, blank.thickness])
    below = -vertices.min(axis=0)
    above = vertices.max(axis=0) - room
    may = np.array([0.0, 0.0, spec.lacking]) + FIT_SLACK
    out = [
        f"{over:.3f} mm at the {AXES[axis][side]}"
        for axis in range(3)
        for side, over in enumerate((below[axis], above[axis]))
        if over > may[axis]
    ]
    if not out:
        return []
    measure = " x ".join(f"{length:.2f}" for length in size)
    if (size <= room + 2 * FIT_SLACK).all():
        remedy = "the part is small enough, so move it with 'at' and 'anchor' or turn it with 'rotate'"
    else:
        others = _units_that_fit(size, spec.units, room)
        if others:
            remedy = " or ".join(f'units = "{unit}" makes it {text}' for unit, text in others)
            remedy = f"check 'units': {remedy} and it would fit"
        elif (np.sort(size) <= np.sort(room) + 2 * FIT_SLACK).all():
            remedy = "turned another way it is small enough, so check 'rotate'"
        else:
            remedy = "use a larger blank, or check 'units' and 'rotate'"
    return [
        Problem(
            place,
            f"'{spec.mesh.name}' of {measure} mm that stands out of the blank by {', '.join(out)}",
            f"a part inside the blank of {blank.length:g} x {blank.width:g} x {blank.thickness:g} mm",
            remedy,
        )
    ]


def _units_that_fit(size: np.ndarray, units: str, room: np.ndarray) -> list[tuple[str, str]]:
    """Return other units in which the part would fit and still fill a fifth of the blank one way."""
    found = []
    for unit, scale in MM_PER_UNIT.items():
        other = size * (scale / MM_PER_UNIT[units])
        if unit != units and (other <= room + FIT_SLACK).all() and (other >= 0.2 * room).any():
            found.append((unit, " x ".join(f"{length:.2f}" for length in other) + " mm"))
    return found


def _size_notes(size: np.ndarray, spec: TargetSpec, blank: Blank) -> list[str]:
    """Tell when the part is so small in its blank that the units may be wrong."""
    room = np.array([blank.length, blank.width, blank.thickness])
    if (size >= 0.2 * room).any():
        return []
    others = _units_that_fit(size, spec.units, room)
    text = " x ".join(f"{length:.2f}" for length in size)
    hint = "".join(f'; with units = "{unit}" it would be {other}' for unit, other in others)
    return [f"{spec.mesh.name} is only {text} mm, under a fifth of the blank every way{hint}"]


def _body_notes(triangles: np.ndarray, volumes: np.ndarray, n: int, name: str) -> list[str]:
    """Tell of several bodies and of closed cavities."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    start = triangles.ravel()
    end = np.roll(triangles, -1, axis=1).ravel()
    graph = coo_array((np.ones(len(start), dtype=np.int8), (start, end)), shape=(n, n))
    bodies, label = connected_components(graph, directed=False)
    if bodies == 1:
        return []
    volume = np.bincount(label[triangles[:, 0]], weights=volumes, minlength=bodies)
    cavities = int(np.count_nonzero(volume < 0))
    notes = []
    if bodies - cavities > 1:
        notes.append(
            f"{name} holds {bodies - cavities} bodies; where bodies overlap, hidden surface is not told"
        )
    if cavities:
        word = "a closed cavity" if cavities == 1 else f"{cavities} closed cavities"
        notes.append(f"{name} holds {word} that no cutter can reach")
    return notes
