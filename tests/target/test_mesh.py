"""The target file: what is refused, with which words, and where the part comes to lie."""

from pathlib import Path

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from simkit.errors import InputProblems, Place
from simkit.job.model import Blank, TargetSpec
from simkit.target import mesh as mesh_module
from simkit.target.mesh import load_target

BLANK = Blank(280.0, 90.0, 38.0)
PLACE = Place("job.toml", 12, key="target.mesh")


def written(tmp_path, mesh, name="part.stl") -> Path:
    path = tmp_path / name
    mesh.export(path)
    return path


def box(size=(100.0, 40.0, 20.0), at=(10.0, 10.0, 5.0)):
    made = trimesh.creation.box(extents=size)
    made.apply_translation(np.array(size) / 2 + at)
    return made


def messages(spec) -> list[str]:
    with pytest.raises(InputProblems) as caught:
        load_target(spec, BLANK, PLACE)
    return [str(problem) for problem in caught.value.problems]


@pytest.mark.parametrize("suffix", ["stl", "ply", "obj", "off"])
def test_load__every_format_gives_the_same_part(tmp_path, suffix):
    target = load_target(TargetSpec(written(tmp_path, box(), f"part.{suffix}")), BLANK, PLACE)
    assert target.vertices.shape == (8, 3)
    assert target.triangles.shape == (12, 3)
    assert target.volume == pytest.approx(100 * 40 * 20, rel=1e-12)
    assert np.array_equal(target.bounds, [[10, 10, 5], [110, 50, 25]])
    assert target.notes == ()


def test_load__ascii_text_too(tmp_path):
    path = tmp_path / "part.stl"
    path.write_text(trimesh.exchange.stl.export_stl_ascii(box()))
    assert load_target(TargetSpec(path), BLANK, PLACE).volume == pytest.approx(80000)


def test_binary_stl__is_what_another_reader_reads(tmp_path):
    path = written(tmp_path, trimesh.creation.icosphere(3, radius=7.3))
    raw = bytearray(path.read_bytes())
    raw[:6] = b"solid "  # a header may say so in a binary file too
    raw[84 + 48 : 84 + 50] = b"\xff\x7f"  # nor do the bytes of attributes count
    path.write_bytes(bytes(raw))
    other = trimesh.load_mesh(path, process=False)
    corners = mesh_module.binary_stl(path)
    assert np.array_equal(corners.reshape(-1, 3, 3), other.triangles)
    vertices, triangles = mesh_module.read_mesh(path, PLACE)
    assert np.array_equal(vertices[triangles], other.triangles)
    assert len(vertices) == 642  # of an icosphere halved three times: 10 * 4^3 + 2


@pytest.mark.parametrize(
    "change", [lambda raw: raw + b"\0", lambda raw: raw[:-1], lambda raw: raw[:84], lambda raw: b""]
)
def test_binary_stl__of_another_length_is_left_to_the_general_reader(tmp_path, change):
    path = written(tmp_path, box())
    path.write_bytes(change(path.read_bytes()))
    assert mesh_module.binary_stl(path) is None


@pytest.mark.parametrize("seed", range(5))
def test_pose__is_rotation_about_x_then_y_then_z(tmp_path, seed):
    # Outside: scipy's extrinsic Euler angles ("xyz", lower case) turn about fixed axes in that order.
    rng = np.random.default_rng(seed)
    angles = tuple(rng.uniform(-180, 180, 3))
    path = written(tmp_path, trimesh.creation.icosphere(1, radius=8), "part.ply")
    spec = TargetSpec(path, rotate=angles, at=(100.0, 40.0, 19.0))
    target = load_target(spec, BLANK, PLACE)
    turned = Rotation.from_euler("xyz", angles, degrees=True).apply(trimesh.load_mesh(path).vertices)
    expected = turned + np.array([100, 40, 19])
    assert np.allclose(np.sort(target.vertices, axis=0), np.sort(expected, axis=0), atol=1e-12)


def test_pose__anchors(tmp_path):
    path = written(tmp_path, box())
    low = load_target(TargetSpec(path, anchor="low corner", at=(1.0, 2.0, 3.0)), BLANK, PLACE)
    assert np.array_equal(low.bounds[0], [1, 2, 3])
    centre = load_target(TargetSpec(path, anchor="centre", at=(140.0, 45.0, 19.0)), BLANK, PLACE)
    assert np.array_equal(centre.bounds.mean(axis=0), [140, 45, 19])
    quarter = load_target(
        TargetSpec(path, rotate=(0.0, 0.0, 90.0), anchor="low corner", at=(0.0, -0.0, 0.0)),
        Blank(100.0, 100.0, 38.0),
        PLACE,
    )
    assert np.array_equal(quarter.bounds[1], [40, 100, 20])


def test_units__inches_are_25_4_mm(tmp_path):
    path = written(tmp_path, box((10.0, 3.0, 1.0), (0.0, 0.0, 0.0)))
    target = load_target(TargetSpec(path, units="in"), BLANK, PLACE)
    assert target.bounds[1] == pytest.approx([254, 76.2, 25.4], rel=1e-7)


def test_file__missing(tmp_path):
    path = tmp_path / "boat.stl"
    assert messages(TargetSpec(path)) == [
        f"job.toml:12 [target.mesh]: found no file '{path}', expected a mesh file; "
        "check the path; it counts from the job file's folder"
    ]


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("part.step", b"x", "found 'part.step', a format that is not read here, expected one of STL, PLY"),
        ("part.stl", b"", "found 'part.stl', which is empty, expected a mesh"),
        ("part.stl", b"solid a\nendsolid a\n", "found 'part.stl' without any triangle"),
        ("part.stl", bytes(50), "found 'part.stl'"),
        ("part.ply", b"hello", "found 'part.ply', which cannot be read (Not a ply file!)"),
        ("part.off", b"hello\n", "found 'part.off', which cannot be read"),
        ("part.obj", b"v 0 0 0\n", "found 'part.obj' without any triangle"),
    ],
)
def test_file__unusable(tmp_path, name, content, words):
    (tmp_path / name).write_bytes(content)
    (message,) = messages(TargetSpec(tmp_path / name))
    assert message.startswith("job.toml:12 [target.mesh]: " + words)


def test_file__a_folder(tmp_path):
    (message,) = messages(TargetSpec(tmp_path))
    assert "which is not a file" in message


def test_file__cut_short(tmp_path):
    path = written(tmp_path, trimesh.creation.icosphere(2, radius=10))
    path.write_bytes(path.read_bytes()[:5000])
    (message,) = messages(TargetSpec(path))
    assert message == (
        "job.toml:12 [target.mesh]: found 'part.stl' without any triangle, expected a mesh of triangles; "
        "the file may be cut short; export the part again"
    )


def test_file__too_large(tmp_path, monkeypatch):
    monkeypatch.setattr(mesh_module, "LARGEST_FILE", 500)
    (message,) = messages(TargetSpec(written(tmp_path, box())))
    assert (
        "found 'part.stl' with 0 MB, expected at most 0 MB; export the part with fewer triangles" in message
    )


def test_numbers__not_a_number_and_infinite(tmp_path):
    made = box()
    path = written(tmp_path, made)
    raw = bytearray(path.read_bytes())
    raw[84 + 12 : 84 + 24] = np.array([np.nan, np.inf, 0], np.float32).tobytes()
    path.write_bytes(bytes(raw))
    assert messages(TargetSpec(path)) == [
        "job.toml:12 [target.mesh]: found 1 corner in 'part.stl' that is not a number or infinite, expected "
        "finite coordinates; repair the mesh where it was made and export it again"
    ]


def test_surface__open(tmp_path):
    made = box()
    made.update_faces(np.arange(12) != 3)
    (message,) = messages(TargetSpec(written(tmp_path, made)))
    assert "found 3 open edges in 'part.stl', the first at (" in message
    assert "expected a watertight mesh, each edge shared by two triangles" in message


def test_surface__place_of_the_first_open_edge_is_in_the_blank(tmp_path):
    made = box((10.0, 10.0, 10.0), (0.0, 0.0, 0.0))
    top = np.flatnonzero(made.face_normals[:, 2] > 0.5)
    made.update_faces(~np.isin(np.arange(12), top))
    (message,) = messages(TargetSpec(written(tmp_path, made), at=(20.0, 30.0, 5.0)))
    assert "found 4 open edges" in message
    assert ", 15.000) mm in the blank" in message  # every open edge lies on the missing top


def test_surface__neighbours_face_opposite_ways(tmp_path):
    made = box()
    made.faces[0] = made.faces[0][::-1]
    path = tmp_path / "part.off"
    made.export(path)
    (message,) = messages(TargetSpec(path))
    assert "found 3 edges in 'part.off' where neighbouring triangles face opposite ways" in message


def test_surface__inside_out(tmp_path):
    made = box()
    made.faces = made.faces[:, ::-1]
    path = tmp_path / "part.off"
    made.export(path)
    assert messages(TargetSpec(path)) == [
        "job.toml:12 [target.mesh]: found 'part.off' inside out (its volume is -80,000.0 mm3), expected "
        "triangles that face outside; turn all normals round where the part was made and export it again"
    ]


def test_surface__no_volume(tmp_path):
    flat = trimesh.Trimesh(
        [[0, 0, 0], [9, 0, 0], [0, 9, 0]], [[0, 1, 2], [2, 1, 0]], process=False, validate=False
    )
    path = tmp_path / "part.off"
    flat.export(path)
    (message,) = messages(TargetSpec(path))
    assert "found no volume inside 'part.off'" in message


def test_surface__only_triangles_without_area(tmp_path):
    path = tmp_path / "part.off"
    path.write_text("OFF\n2 1 0\n0 0 0\n1 0 0\n3 0 1 1\n")
    (message,) = messages(TargetSpec(path))
    assert "found only triangles without area in 'part.off'" in message


def test_surface__harmless_triangles_are_dropped_and_told(tmp_path):
    made = box()
    faces = np.vstack([made.faces, [[0, 0, 1], [2, 3, 2]]])
    path = tmp_path / "part.off"
    lines = [f"OFF\n8 {len(faces)} 0"]
    lines += [" ".join(map(str, v)) for v in made.vertices]
    lines += ["3 " + " ".join(map(str, f)) for f in faces]
    path.write_text("\n".join(lines) + "\n")
    target = load_target(TargetSpec(path), BLANK, PLACE)
    assert len(target.triangles) == 12
    assert target.notes == (
        "2 triangles of part.off joined a vertex twice and had no area; left out, the surface stays the same",
    )


def test_fit__says_how_much_on_which_side(tmp_path):
    path = written(tmp_path, box())
    assert messages(TargetSpec(path, at=(200.0, -12.5, 0.0))) == [
        "job.toml:12 [target.mesh]: found 'part.stl' of 100.00 x 40.00 x 20.00 mm that stands out of the "
        "blank by 30.000 mm at the right, 2.500 mm at the front, expected a part inside the blank of "
        "280 x 90 x 38 mm; the part is small enough, so move it with 'at' and 'anchor' "
        "or turn it with 'rotate'"
    ]


@pytest.mark.parametrize(
    ("size", "stated", "other", "text"),
    [
        ((250.0, 80.0, 30.0), "in", "mm", "250.00 x 80.00 x 30.00"),
        ((10.0, 3.0, 1.2), "m", "in", "254.00 x 76.20 x 30.48"),
        ((250.0, 80.0, 30.0), "cm", "mm", "250.00 x 80.00 x 30.00"),
    ],
)
def test_fit__suggests_units(tmp_path, size, stated, other, text):
    path = written(tmp_path, box(size, (0.0, 0.0, 0.0)))
    (message,) = messages(TargetSpec(path, units=stated))
    assert f'units = "{other}" makes it {text} mm' in message
    assert message.endswith("and it would fit")


def test_fit__turned_another_way(tmp_path):
    (message,) = messages(TargetSpec(written(tmp_path, box((80.0, 200.0, 30.0), (0.0, 0.0, 0.0)))))
    assert "110.000 mm at the back" in message
    assert message.endswith("turned another way it is small enough, so check 'rotate'")


def test_problems__are_told_together(tmp_path):
    made = box((400.0, 40.0, 20.0))
    made.update_faces(np.arange(12) != 3)
    open_edges, fit = messages(TargetSpec(written(tmp_path, made)))
    assert "open edges" in open_edges
    assert "130.000 mm at the right" in fit


def test_notes__tiny_part_several_bodies_cavity(tmp_path):
    small = box((8.0, 3.0, 1.0), (5.0, 5.0, 5.0))
    target = load_target(TargetSpec(written(tmp_path, small)), BLANK, PLACE)
    assert target.notes[0].startswith(
        "part.stl is only 8.00 x 3.00 x 1.00 mm, under a fifth of the blank every way"
    )
    assert 'units = "in" it would be 203.20 x 76.20 x 25.40 mm' in target.notes[0]
    hollow = box((4.0, 4.0, 4.0), (20.0, 20.0, 10.0))
    hollow.invert()
    both = trimesh.util.concatenate([box(), hollow, box((9.0, 9.0, 9.0), (150.0, 20.0, 5.0))])
    target = load_target(TargetSpec(written(tmp_path, both)), BLANK, PLACE)
    assert target.notes == (
        "part.stl holds 2 bodies; where bodies overlap, hidden surface is not told",
        "part.stl holds a closed cavity that no cutter can reach",
    )
    assert target.volume == pytest.approx(80000 - 64 + 729)
