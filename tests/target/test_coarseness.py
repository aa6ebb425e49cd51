"""The sagitta of facets: circle geometry, R - sqrt(R^2 - c^2/4), about c^2 / (8 R)."""

import numpy as np
import pytest
import trimesh

from simkit.target.coarseness import coarseness
from simkit.target.mesh import make_target


def found(mesh):
    return coarseness(make_target(mesh.vertices, mesh.faces))


@pytest.mark.parametrize("sections", [20, 48, 200])
def test_cylinder__exact(sections):
    mesh = trimesh.creation.cylinder(radius=10.0, height=30.0, sections=sections)
    chord = 2 * 10 * np.sin(np.pi / sections)
    exact = 10 - np.sqrt(100 - chord**2 / 4)
    one = found(mesh)
    assert one.sagitta.max() == pytest.approx(exact, rel=1e-9)
    assert one.sagitta.max() == pytest.approx(chord**2 / 80, rel=0.02)
    is_cap = np.abs(mesh.face_normals[:, 2]) > 0.5
    assert one.sagitta[is_cap].max() == 0  # flat, and the rim is an edge of the part


@pytest.mark.parametrize("level", [2, 3, 4])
def test_sphere__close_to_what_the_facets_miss(level):
    mesh = trimesh.creation.icosphere(level, radius=10.0)
    # What the middle of each circle through a facet's corners lies below the sphere.
    missed = 10 - np.abs(np.einsum("ij,ij->i", mesh.face_normals, mesh.vertices[mesh.faces[:, 0]]))
    one = found(mesh)
    assert np.median(one.sagitta / missed) == pytest.approx(1.125, abs=0.1)
    assert 0.8 * missed.max() <= one.sagitta.max() <= 1.4 * missed.max()


def test_torus__close_to_its_tube():
    mesh = trimesh.creation.torus(20.0, 4.0, major_sections=400, minor_sections=24)
    exact = 4 * (1 - np.cos(np.pi / 24))
    # A strip is a little wider than deep on the outside of the ring, which adds the ring's own curve.
    assert found(mesh).sagitta.max() == pytest.approx(exact, rel=0.1)


def test_box__nothing_is_curved():
    assert found(trimesh.creation.box(extents=(10, 20, 30))).sagitta.max() == 0
