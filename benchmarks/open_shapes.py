"""Open meshes and elevation grids, carved and checked: what does the checker make of real shapes?

    python benchmarks/open_shapes.py DATA OUT [--cell MM] [--only NAME ...] [--spoil]

DATA holds the unpacked packages, one folder each, under the package's name (matplotlib's and pyvista's
files are taken from the installed packages instead).  Nothing is downloaded here and no data is kept in
the repository.  Missing files are skipped and named.  OUT gets a folder per shape: job, programs, mesh,
result.json and pictures.  Prints a table.

Where the shapes come from:
  hills      matplotlib (PyPI; PSF style licence): sample_data/jacksboro_fault_dem.npz
  sea floor  matplotlib: sample_data/topobathy.npz
  bunny      bunny (npm; public domain): index.js
  teapot     teapot (npm; public domain): teapot.js; an open mesh, so its half is cut as a relief
  nut        pyvista (PyPI; MIT): examples/nut.ply
  ant        pyvista: examples/ant.ply; fifteen bodies run into one another
  ball       pyvista: examples/sphere.ply
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "samples"))

import carving
import open_shapes

from simkit.cli import main as simkit
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs


def installed(package, *parts):
    """Return the path of a file of an installed package, without importing it."""
    return Path(importlib.util.find_spec(package).origin).parent.joinpath(*parts)


def from_script(path):
    """Return vertices and faces of a mesh kept as exports.positions and exports.cells."""
    text = path.read_text()

    def table(name):
        start = text.index("[", text.index(f"exports.{name}"))
        return np.array(json.loads(text[start : text.index("]]", start) + 2]))

    return table("positions"), table("cells")


def from_ply(path):
    """Return vertices and faces of a mesh file, merged."""
    import trimesh

    mesh = trimesh.load(path)
    return np.asarray(mesh.vertices), np.asarray(mesh.faces)


def hills(data):
    """Hill and valley terrain, smoothed over a node so that a 3 mm ball gets into its valleys."""
    from scipy.ndimage import gaussian_filter

    with np.load(installed("matplotlib", "mpl-data", "sample_data", "jacksboro_fault_dem.npz")) as file:
        heights = gaussian_filter(file["elevation"][::-1].astype(float), 2.0)[::2, ::2]
    return open_shapes.relief(
        "hills", "matplotlib, jacksboro_fault_dem.npz", heights, 0.8, 6.0, 10.0, "relief"
    )


def sea_floor(data):
    """Sea floor and coast, smoothed likewise, all cut from one side."""
    from scipy.ndimage import gaussian_filter

    with np.load(installed("matplotlib", "mpl-data", "sample_data", "topobathy.npz")) as file:
        heights = gaussian_filter(file["topo"].astype(float), 1.5)
    return open_shapes.relief("sea floor", "matplotlib, topobathy.npz", heights, 1.2, 5.0, 9.0, "one side")


def bunny(data):
    """An animal lying on its side, half from each."""
    vertices, faces = from_script(data / "bunny" / "index.js")
    return open_shapes.in_the_round("bunny", "bunny, index.js", vertices, faces, 48.0, "xyz", tabs=5)


def teapot(data):
    """The half of an open mesh as a relief: what is seen from one side, on a slab."""
    vertices, faces = from_script(data / "teapot" / "teapot.js")
    solid = carving.Solid(np.asarray(vertices)[faces])  # x along, y up, z towards the eye
    low, high = np.min(vertices, axis=0), np.max(vertices, axis=0)
    pitch = 0.12
    x, y = np.arange(low[0] - 1, high[0] + 1, pitch), np.arange(low[1] - 1, high[1] + 1, pitch)
    heights = np.maximum(solid.top(x[None, :], y[:, None]), 0.0)
    return open_shapes.relief(
        "teapot", "teapot, teapot.js", heights, pitch * 4.0, 4.0, heights.max() * 2.6, "relief"
    )


def nut(data):
    """A hexagon nut: a hole right through, and symmetric."""
    vertices, faces = from_ply(installed("pyvista", "examples", "nut.ply"))
    return open_shapes.in_the_round("nut", "pyvista, nut.ply", vertices, faces, 32.0, "xzy")


def ant(data):
    """Thin legs, bodies that run into one another."""
    vertices, faces = from_ply(installed("pyvista", "examples", "ant.ply"))
    return open_shapes.in_the_round("ant", "pyvista, ant.ply", vertices, faces, 44.0, "xzy", tabs=6)


def ball(data):
    """A faceted ball: symmetric to nearly everything."""
    vertices, faces = from_ply(installed("pyvista", "examples", "sphere.ply"))
    return open_shapes.in_the_round("ball", "pyvista, sphere.ply", vertices, faces, 40.0)


SHAPES = {
    "hills": hills,
    "sea floor": sea_floor,
    "bunny": bunny,
    "teapot": teapot,
    "nut": nut,
    "ant": ant,
    "ball": ball,
}


def run(job, cell, folder):
    """Check one job; return a row of figures."""
    started = time.perf_counter()
    result = folder / "result.json"
    status = simkit(
        [
            "check",
            str(job),
            "--quiet",
            "--cell",
            str(cell),
            "--json",
            str(result),
            "--pictures",
            str(folder / "pictures"),
        ]
    )
    seconds = time.perf_counter() - started
    row = {"status": status, "seconds": seconds, "findings": []}
    if result.is_file():
        row |= json.loads(result.read_text())
    return row


def counts(findings):
    """Return findings as text: how many of each kind."""
    kinds = [one["kind"] for one in findings]
    return ", ".join(f"{kinds.count(kind)} {kind}" for kind in dict.fromkeys(kinds)) or "none"


def main():
    """Make, check, print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("data", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--cell", type=float, default=0.2)
    parser.add_argument("--only", nargs="*", default=list(SHAPES))
    parser.add_argument("--spoil", action="store_true", help="check jobs with one mistake each, too")
    words = parser.parse_args()
    print(f"{'shape':24} {'moves':>8} {'cells':>9} {'status':>6} {'seconds':>7}  findings")
    for name in words.only:
        try:
            shape = SHAPES[name](words.data)
        except FileNotFoundError as error:
            print(f"{name:24} skipped: no {error.filename}")
            continue
        folder = words.out / name.replace(" ", "_")
        programs = open_shapes.write(shape, folder)
        jobs = {name: folder}
        if words.spoil:
            spoilt = open_shapes.spoil(shape, programs, folder)
            jobs |= {f"{name}, {mistake}": place for mistake, place in spoilt.items()}
        for title, place in jobs.items():
            row = run(place / "job.toml", words.cell, place)
            job = read_job(place / "job.toml")
            moves = sum(len(read.moves) for setup in read_programs(job) for _, read in setup)
            cells = round(shape.blank[0] / words.cell) * round(shape.blank[1] / words.cell)
            print(
                f"{title:24} {moves:8,} {cells:9,} {row['status']:6} {row['seconds']:7.1f}  "
                f"{counts(row['findings'])}",
                flush=True,
            )


if __name__ == "__main__":
    main()
