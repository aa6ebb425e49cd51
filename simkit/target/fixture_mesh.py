"""Meshes of fixtures: read, checked, and put where their box stands."""

from __future__ import annotations

import numpy as np

from simkit.errors import InputProblems, Place, Problem
from simkit.job.model import Job
from simkit.target.mesh import read_mesh, surface_problems
from simkit.units import MM_PER_UNIT

AGREES = 0.5  # mm: sizes that differ by less are the same, measured at the bench and drawn


def fixture_meshes(job: Job) -> dict[str, np.ndarray]:
    """Return the triangles (m, 3, 3) mm, table frame, of each fixture of a job that has a mesh, by its name.

    A mesh stands as it is in its file, Z up, its lowest place on the table, in the middle of the fixture's
    box; it counts as high as the job says, if that is more.
    Raises InputProblems for files that are no closed surface, and for sizes that are not those of the job.
    """
    made, problems = {}, []
    for index, fixture in enumerate(job.fixtures):
        if fixture.mesh is None:
            continue
        key = f"fixtures[{index}].mesh"
        place = Place(job.file or "command line", job.lines.get(key), key=key)
        try:
            vertices, triangles = read_mesh(fixture.mesh, place)
        except InputProblems as error:
            problems += error.problems
            continue
        vertices = vertices * MM_PER_UNIT[fixture.units]
        low, high = vertices.min(axis=0), vertices.max(axis=0)
        x0, x1, y0, y1 = fixture.box_in_plan
        wanted = np.array([x1 - x0, y1 - y0, fixture.height])
        faults = surface_problems(vertices, triangles, fixture.mesh.name, place)
        if (np.abs(high - low - wanted) > AGREES).any():
            sizes = [" x ".join(f"{size:g}" for size in each.round(2)) for each in (high - low, wanted)]
            faults.append(
                Problem(
                    place,
                    f"'{fixture.mesh.name}' of {sizes[0]} mm in {fixture.units}",
                    f"the size that box and height say, {sizes[1]} mm",
                    "correct box, height or units, or turn the mesh as it stands, Z up, and export it again",
                )
            )
        if faults:
            problems += faults
            continue
        moved = vertices - [*(low + high)[:2] / 2, low[2]] + [(x0 + x1) / 2, (y0 + y1) / 2, 0.0]
        short = max(fixture.height - (high - low)[2], 0.0)
        moved[:, 2] += np.where(moved[:, 2] > 0, short, 0.0)
        made[fixture.name] = moved[triangles]
    if problems:
        raise InputProblems(problems)
    return made
