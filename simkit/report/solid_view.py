"""One 3-D picture of the cut part, coloured by its deviation, drawn in a process of its own.

On a machine without OpenGL the first off-screen render ends its process with a segmentation fault, no
exception; so nothing is ever drawn in the process that holds the verdict.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from simkit.errors import ShapeError
from simkit.report import colours
from simkit.report.lengths import MM, Lengths
from simkit.report.pooled import pooled, pooled_share, pooled_target
from simkit.report.scene_file import Scene, write_scene
from simkit.report.solid_mesh import with_resin
from simkit.report.whole_file import put_whole
from simkit.stock.field import Lattice

LEFT_OUT = "the 3-D view was left out"
MORE_LEFT_OUT = "3-D pictures of leftover, seam and cutter were left out"
PACKAGES = "libx11-6 libegl1 libgl1"  # Debian's names; seen to be enough on a bare Debian 12
REMEDY = f"on Debian or Ubuntu the system packages {PACKAGES} bring it (apt install {PACKAGES})"
MOST_CELLS = 750_000  # about the pixels a part covers in the picture; more would only cost time

# Exit statuses of the child, beside 0 and those the system gives.
NO_MODULE, NO_DRAWING, NO_PICTURE = 21, 22, 23


def draw_solid_view(
    path,
    *,
    lattice: Lattice,
    lower: np.ndarray,
    upper: np.ndarray,
    deviation_upper: np.ndarray,
    deviation_lower: np.ndarray,
    limits: tuple[float, float],
    title: str,
    timeout: float = 120,
    turn: str = "about x",
    resin: dict[int, np.ndarray] | None = None,
    lengths: Lengths = MM,
    stands_out: np.ndarray | None = None,
    target: tuple[np.ndarray, np.ndarray] | None = None,
) -> str | None:
    """Draw both sides of the cut part as one PNG at `path`; return None, or why it was left out.

    lattice: of the arrays, blank frame.  lower, upper (ny, nx) mm: what is left of each column, none
    where upper <= lower.  deviation_upper, deviation_lower (ny, nx) mm, + left standing, - too deep,
    NaN where there is no target: such wood is drawn in the lighter tone of a holding frame.  limits
    (gouge, leftover) mm.  title: one line.  timeout s.  turn: how the part is turned over for the
    second picture, "about x" or "about y" ("none" is taken as "about x").  resin {1: ..., 2: ...}: where the
    surface of a side is resin, (ny, nx) bool; None without any.  lengths: how they are written.
    stands_out (ny, nx): classes of wood outside the target that stands on its outer wall, as
    outer_steps.outer_classes gives them.  target: (lower, upper) (ny, nx) mm, as outer_steps.target_columns
    gives them; walls then have colours, see solid_mesh.wall_pieces.

    Returns None when the picture is there, else one line for the person; then `path` is not touched.
    Never raises for anything that goes wrong while drawing; Ctrl-C ends the drawing process too.
    Accuracy: a picture, not a measurement; above MOST_CELLS cells are pooled, keeping the highest
    upper, the lowest lower surface and the worst colour.
    """
    arrays = {
        "lower": lower,
        "upper": upper,
        "deviation_upper": deviation_upper,
        "deviation_lower": deviation_lower,
    }
    if stands_out is not None:
        arrays["stands_out"] = stands_out
    if target is not None:
        arrays |= {"lower of the target": target[0], "upper of the target": target[1]}
    for name, array in arrays.items():
        if np.shape(array) != lattice.shape:
            raise ShapeError(f"{name} must have the shape {lattice.shape}, not {np.shape(array)}")
    if not np.any(np.asarray(upper) > np.asarray(lower)):
        return f"{LEFT_OUT}: nothing is left of the blank"

    inside = np.s_[:, :]
    if np.size(lower) > MOST_CELLS:  # a blank sawn to size is not pooled for the sake of what is gone
        is_told = (np.asarray(upper) > lower) | ~np.isnan(deviation_upper) | ~np.isnan(deviation_lower)
        if target is not None:
            is_told |= np.asarray(target[1]) > target[0]
        inside = _inside(is_told)
    lower, upper, deviation_upper, deviation_lower = (
        np.asarray(one)[inside] for one in (lower, upper, deviation_upper, deviation_lower)
    )
    stands_out = None if stands_out is None else stands_out[inside]
    target = None if target is None else tuple(np.asarray(end)[inside] for end in target)
    resin = None if resin is None else {side: one[inside] for side, one in resin.items()}
    origin = [
        first + (part.start or 0) * lattice.cell
        for first, part in zip(lattice.origin, reversed(inside), strict=True)
    ]
    classes = [colours.class_index(one, limits) for one in (deviation_lower, deviation_upper)]
    if stands_out is not None:
        classes = [colours.worse(one, stands_out) for one in classes]
    lower, upper, class_lower, class_upper, fold = pooled(
        np.asarray(lower, np.float32), np.asarray(upper, np.float32), *classes, most=MOST_CELLS, is_even=True
    )
    wanted = {}
    if target is not None:
        wanted["target_lower"], wanted["target_upper"] = pooled_target(target, stands_out, fold)
    if resin is not None:
        with_resin(
            class_lower, class_upper, {side: pooled_share(one, fold) > 0.5 for side, one in resin.items()}
        )
    with tempfile.TemporaryDirectory(prefix="simkit-") as folder:
        scene, picture = Path(folder, "scene.npz"), Path(folder, "picture.png")
        np.savez(
            scene,
            lower=lower,
            upper=upper,
            class_lower=class_lower,
            class_upper=class_upper,
            origin=np.array(origin, np.float64),
            cell=np.float64(lattice.cell * fold),
            limits=np.array(limits, np.float64),
            title=np.array(str(title)),
            unit=np.array(lengths.unit),
            turn=np.array("about y" if turn == "about y" else "about x"),
            **wanted,
        )
        trouble = run_child(_command(scene, picture), Path(folder), timeout)
        if trouble is None and not picture.exists():
            trouble = "drawing ended without a picture"
        if trouble is None:
            try:
                put_whole(path, picture.read_bytes())
            except OSError as error:
                trouble = f"{os.fspath(path)} could not be written ({error.strerror})"
        return None if trouble is None else f"{LEFT_OUT}: {trouble}"


def _inside(is_told: np.ndarray) -> tuple[slice, slice]:
    """Return the rows and columns with anything told (ny, nx) in them, and one more all round."""
    at = [np.flatnonzero(is_told.any(axis=axis)) for axis in (1, 0)]
    return tuple(slice(max(int(one[0]) - 1, 0), int(one[-1]) + 2) for one in at)


def draw_scenes(scenes: dict[Path, Scene], timeout: float = 240) -> str | None:
    """Draw scenes as PNGs at the paths they stand under; return None, or why they were left out.

    timeout s, for all of them.  As draw_solid_view: nothing is drawn in this process, nothing raised for what
    goes wrong while drawing, and a path is only touched when its picture is there.
    """
    with tempfile.TemporaryDirectory(prefix="simkit-") as folder:
        words = []
        for number, scene in enumerate(scenes.values()):
            file = Path(folder, f"scene_{number}.npz")
            write_scene(file, scene)
            words += [str(file), str(Path(folder, f"picture_{number}.png"))]
        trouble = run_child(_scenes_command(words), Path(folder), timeout) if words else None
        for path, drawn in zip(scenes, words[1::2], strict=True):
            if trouble is None and not os.path.exists(drawn):
                trouble = "drawing ended without a picture"
            if trouble is None:
                try:
                    put_whole(path, Path(drawn).read_bytes())
                except OSError as error:
                    trouble = f"{os.fspath(path)} could not be written ({error.strerror})"
    return None if trouble is None else f"{MORE_LEFT_OUT}: {trouble}"


def _scenes_command(words: list[str]) -> list[str]:
    return [sys.executable, "-P", "-m", "simkit.report.scene_child", *words]


def _command(scene: Path, picture: Path) -> list[str]:
    """The child: -P keeps modules that lie in the user's working folder out of it."""
    return [sys.executable, "-P", "-m", "simkit.report.solid_child", str(scene), str(picture)]


def _environment() -> dict[str, str]:
    """The child finds this very package even when it is not installed, only run from its folder."""
    environment = dict(os.environ)
    root = Path(__file__).resolve().parents[2]
    if root.name not in ("site-packages", "dist-packages"):
        given = environment.get("PYTHONPATH")
        environment["PYTHONPATH"] = os.pathsep.join([str(root), given] if given else [str(root)])
    return environment


def run_child(command, folder, timeout) -> str | None:
    """Run the child to its end and return what went wrong, None for nothing; it never outlives this."""
    said = folder / "said.txt"  # a file, for a pipe could fill up and stall the child
    try:
        with open(said, "wb") as sink:
            child = subprocess.Popen(
                command, stdin=subprocess.DEVNULL, stdout=sink, stderr=sink, env=_environment()
            )
    except OSError as error:
        return f"the drawing process did not start ({error.strerror})"
    try:
        status = child.wait(timeout)
    except subprocess.TimeoutExpired:
        # A machine that draws at all may only have been busy.
        return f"drawing took longer than {timeout:g} s and was stopped; check again when the machine is idle"
    finally:  # Ctrl-C too
        if child.poll() is None:
            child.kill()
            child.wait()
    return None if status == 0 else _trouble(status, _last_line(said))


def _last_line(said: Path) -> str:
    lines = [line.strip() for line in said.read_text("utf-8", "replace").splitlines() if line.strip()]
    return lines[-1][:200] if lines else "no message"


def _trouble(status: int, last: str) -> str:
    if status < 0 or status >= 0xC0000000:  # ended by a signal; on Windows by a fault such as 0xC0000005
        try:
            name = signal.Signals(-status).name
        except ValueError:
            name = f"status {status}"
        return f"drawing crashed ({name}), as it does without OpenGL; {REMEDY}"
    if status == NO_MODULE:
        return f"the drawing library did not load ({last}); {REMEDY}"
    if status == NO_PICTURE:
        return f"drawing gave an empty picture, as it may without OpenGL; {REMEDY}"
    return f"drawing failed ({last}); {REMEDY}"
