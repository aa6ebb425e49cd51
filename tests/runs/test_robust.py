"""Files that vanish, change, point elsewhere or cannot be written; interruption at any moment."""

import gzip
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from benchmarks.interruptions import fault_in, interrupt
from simkit.cli import main
from simkit.program import job_programs
from simkit.report import effort_views
from simkit.report.canvas import Page
from simkit.report.console import Stages
from simkit.report.lengths import MM
from simkit.report.whole_file import write_whole
from tests.runs.some_jobs import write_one_sided, write_two_sided

CELL = ["--cell", "1", "--quiet"]
OUTPUTS = ("json", "junit", "sarif")


@pytest.fixture
def job(tmp_path):
    return write_one_sided(tmp_path / "job")


def outputs(folder):
    return [word for kind in OUTPUTS for word in (f"--{kind}", str(folder / f"r.{kind}"))]


@pytest.mark.parametrize("name", ["top.nc", "part.stl"])
def test_file__that_vanishes_meanwhile_is_told(name, job, monkeypatch, capsys):
    read = job_programs.read_programs

    def read_and_lose(one):
        reads = read(one)
        (job.parent / name).unlink()
        return reads

    monkeypatch.setattr(job_programs, "read_programs", read_and_lose)
    assert main(["check", str(job), *CELL]) == 2
    told = capsys.readouterr().err
    assert name in told
    assert ": found " in told
    assert "Traceback" not in told


@pytest.mark.parametrize("kind", OUTPUTS)
def test_output__failing_to_write_leaves_nothing(kind, job, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(os, "replace", no_space)
    assert main(["check", str(job), *CELL, f"--{kind}", str(tmp_path / "r")]) == 2
    assert f"{tmp_path / 'r'} [--{kind}]: found 'No space left on device'" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["job"]


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="/proc takes no files")
def test_output__into_a_folder_that_takes_no_files(job, capsys):
    assert main(["check", str(job), *CELL, "--json", "/proc/r.json"]) == 2
    assert "/proc/r.json [--json]: found " in capsys.readouterr().err


@pytest.mark.skipif(os.name != "posix", reason="rights of files as POSIX has them, and links")
@pytest.mark.parametrize("mask", [0o022, 0o027])
def test_output__has_the_rights_of_any_new_file_and_a_link_stays(mask, tmp_path):
    path, link = tmp_path / "r.json", tmp_path / "link.json"
    link.symlink_to(path)
    before = os.umask(mask)
    try:
        write_whole(link, "1\n", "--json")
    finally:
        os.umask(before)
    assert link.is_symlink()
    assert path.read_text("utf-8") == "1\n"
    assert path.stat().st_mode & 0o777 == 0o666 & ~mask


def test_pictures__are_there_whole_or_not_at_all(tmp_path, monkeypatch):
    """A page, and the plot along the programs, which is drawn without one."""
    path = tmp_path / "picture.png"
    along = {"minutes": [0.0, 1.0], "cutter": [1, 1], "thickest_chip": [0.1, 0.1]}
    along |= {key: [0.0, 1.0] for key, *_ in effort_views.plots(MM)}
    draws = [
        lambda: Page(60, 40).save(path),
        lambda: effort_views.draw_along(path, along, "title", "note"),
    ]
    for draw in draws:
        draw()
        whole = path.read_bytes()
        assert whole.startswith(b"\x89PNG")
        assert whole[-8:-4] == b"IEND"  # the last chunk, before its checksum (PNG, ISO/IEC 15948)
        with monkeypatch.context() as full:
            full.setattr(os, "replace", no_space)
            with pytest.raises(OSError, match="No space left"):
                draw()
        assert path.read_bytes() == whole
        assert [one.name for one in tmp_path.iterdir()] == ["picture.png"]


def no_space(*_):
    raise OSError(28, "No space left on device")


def test_interruption__at_any_moment_leaves_no_half_written_file(tmp_path, monkeypatch, capsys):
    """At the beginning of each stage in turn, then while each file is renamed."""
    path = write_two_sided(tmp_path / "job")
    stage, replace = Stages.stage, os.replace
    moments = {"left": 0}

    def count(*_):
        moments["left"] -= 1
        if moments["left"] < 0:
            raise KeyboardInterrupt

    def counted_stage(self, name):
        count()
        stage(self, name)

    def counted_replace(*paths):
        count()
        replace(*paths)

    monkeypatch.setattr(Stages, "stage", counted_stage)
    monkeypatch.setattr(os, "replace", counted_replace)
    before = sorted(path.name for path in tmp_path.rglob("*"))
    for moment in range(100):
        moments["left"] = moment
        status = main(["check", str(path), *CELL, *outputs(tmp_path)])
        for kind in OUTPUTS:
            written = tmp_path / f"r.{kind}"
            if written.exists():
                text = written.read_text("utf-8")
                assert text.endswith("</testsuites>\n") if kind == "junit" else json.loads(text)
                written.unlink()
        assert sorted(path.name for path in tmp_path.rglob("*")) == before
        if status != 130:
            break
        assert capsys.readouterr().err == "stopped; nothing half-written is left\n"
    assert status == 1
    assert moment > 15  # stages and files


@pytest.mark.skipif(sys.platform == "win32", reason="links need a right there")
def test_links__are_followed(tmp_path):
    real = write_one_sided(tmp_path / "real")
    linked = tmp_path / "linked"
    linked.mkdir()
    for name in ("job.toml", "top.nc", "part.stl"):
        (linked / name).symlink_to(real.parent / name)
    (linked / "loop").symlink_to(linked, target_is_directory=True)
    out = tmp_path / "r.json"
    assert main(["check", str(linked), str(linked / "job.toml"), *CELL, "--json", str(out)]) == 1
    [result] = json.loads(out.read_text("utf-8"))
    assert result["job"]["file"] == str(linked / "job.toml")
    assert not any("outside the folder" in remark for remark in result["remarks"])


def test_job__that_points_outside_its_folder_is_said(job, tmp_path):
    text = job.read_text("utf-8").replace('"top.nc"', '"../top.nc"')
    (job.parent / "top.nc").rename(tmp_path / "top.nc")
    job.write_text(text, encoding="utf-8")
    assert main(["check", str(job), *CELL, "--json", str(tmp_path / "r.json")]) == 1
    result = json.loads((tmp_path / "r.json").read_text("utf-8"))
    assert "outside the folder of the job file: top.nc" in result["remarks"]


def test_line_ends_and_marks_of_other_systems__make_no_difference(job, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    told = []
    for end, mark in ((b"\n", b""), (b"\r\n", b"\xef\xbb\xbf"), (b"\r", b"")):
        program = job.parent / "top.nc"
        plain = (
            program.read_bytes().removeprefix(b"\xef\xbb\xbf").replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        )
        program.write_bytes(mark + plain.replace(b"\n", end))
        if end != b"\r":
            job.write_bytes(mark + job.read_text("utf-8-sig").encode("utf-8").replace(b"\n", end))
        assert main(["check", str(Path("job") / "job.toml"), *CELL, *outputs(tmp_path)]) == 1
        [row] = json.loads((tmp_path / "r.sarif").read_text("utf-8"))["runs"][0]["results"]
        told.append((row["locations"], row["partialFingerprints"]))
        assert b"\r" not in (tmp_path / "r.json").read_bytes()
    assert told[0] == told[1] == told[2]
    assert told[0][0][0]["physicalLocation"]["region"]["snippet"]["text"].startswith("X45")


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="names of files are text elsewhere")
@pytest.mark.parametrize("count", [1, 2])
def test_names__that_no_terminal_can_show(count, tmp_path):
    """One name in letters of another script, one in bytes that are no text at all."""
    names = ["木の舟", os.fsdecode(b"ol\xe9")][:count]
    for name in ("木の舟", os.fsdecode(b"ol\xe9")):
        write_one_sided(tmp_path / name)
    jobs = [str(tmp_path / name / "job.toml") for name in names[-1:] + names[:-1]]
    words = [sys.executable, "-m", "simkit", "check", *jobs, "--cell", "1", *outputs(tmp_path)]
    done = subprocess.run(words, capture_output=True, env=os.environ | {"PYTHONIOENCODING": "ascii"})
    assert done.returncode == 1, done.stderr
    assert done.stdout.isascii()
    told = json.loads((tmp_path / "r.json").read_text("utf-8"))
    assert len(told if isinstance(told, list) else [told]) == count
    log = json.loads((tmp_path / "r.sarif").read_text("utf-8"))
    uris = [row["location"]["uri"] for row in log["runs"][0]["artifacts"]]
    assert all(uri.isascii() and uri.endswith("top.nc") for uri in uris)
    assert len(uris) == count
    assert (tmp_path / "r.junit").read_text("utf-8").count("<testsuite ") == count


def test_program__over_two_gigabytes_is_refused_unread(job, capsys):
    with (job.parent / "top.nc").open("r+b") as file:
        file.truncate(2 * 1024**3 + 1)  # the rest is a hole, which takes no room on disk
    assert main(["check", str(job), *CELL, "--most-memory", "2 GB"]) == 2
    assert "top.nc: found a program over 2 GiB, expected a smaller one; split the program" in (
        capsys.readouterr().err
    )


def ply(form, rest=b"0 0 0\n"):
    head = f"ply\nformat {form} 1.0\nelement vertex 4000000000\n"
    head += "".join(f"property float {axis}\n" for axis in "xyz")
    return (
        head.encode() + b"element face 4000000000\nproperty list uint int vertex_indices\nend_header\n" + rest
    )


# Small files that ask for much: file, what it holds or what is added to it, words of the one problem.
LARGE_CLAIMS = {
    "brackets": ("job.toml", b"\nx = " + b"[" * 200_000 + b"]" * 200_000, "too deep to read"),
    "tables": ("job.toml", b"\nx = " + b"{a=" * 20_000 + b"1" + b"}" * 20_000, "too deep to read"),
    "dots": ("job.toml", b"\n" + b".".join([b"a"] * 50_000) + b" = 1", "a key of more than 40 parts"),
    "quoted dots": (
        "job.toml",
        b"\n" + b" . ".join([b'"a"'] * 50_000) + b" = 1",
        "a key of more than 40 parts",
    ),
    "digits": ("job.toml", b"\nx = " + b"1" * 500_000, "a number too long to read"),
    "words": ("top.nc", b"\n" + b"G1" * 500_000, "'G1', word number 101 of a block"),
    "number": ("top.nc", b"\nG1 X" + b"1" * 500_000, "a number up to 10000000"),
    "repeats": ("top.nc", b"\nG81 X1 Y1 Z-1 R1 L99999999", "a number up to 10000000"),
    "pecks": ("top.nc", b"\nG83 X1 Y1 Z-5 R1 Q0.0000001 F100", "steps down, expected at most 100000"),
    "vertices in text": ("part.ply", ply("ascii"), "without any triangle"),
    "vertices": ("part.ply", ply("binary_little_endian", b"\xff" * 100), "which cannot be read"),
    "vertices of an OFF": ("part.off", b"OFF\n4000000000 4000000000 0\n0 0 0\n", "which cannot be read"),
    "triangles": ("part.stl", b" " * 80 + b"\xff" * 4, "without any triangle"),
    "a vertex far off": (
        "part.obj",
        b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 99999999999999999999\n",
        "cannot be read",
    ),
    "a face": ("part.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf" + b" 1 2 3" * 100_000, "3 edges in 'part.obj'"),
    "packed": ("part.stl.gz", b"\x1f\x8b\x08", "a format that is not read here"),
}


@pytest.mark.parametrize("claim", LARGE_CLAIMS)
def test_small_file_that_claims_much__is_told_in_a_few_seconds_and_little_memory(claim, job):
    """Ended from outside after a minute; before the limits, one of these took that long and 15 GB."""
    name, text, told = LARGE_CLAIMS[claim]
    path = job.parent / name
    is_new = not path.exists() or path.suffix == ".stl"
    path.write_bytes(text if is_new else path.read_bytes().replace(b"M30", b"") + text + b"\n")
    job.write_text(
        job.read_text("utf-8").replace("part.stl", name if name.startswith("part") else "part.stl"), "utf-8"
    )
    words = [sys.executable, "-m", "simkit", "check", str(job), *CELL]
    done = subprocess.run(
        ["/bin/sh", "-c", 'ulimit -v 6000000; exec "$@"', "sh", *words] if os.name == "posix" else words,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 2, done.stderr
    assert told in done.stderr
    assert "Traceback" not in done.stderr
    assert "memory" not in done.stderr


@pytest.mark.skipif(os.name != "posix", reason="rights of files as POSIX has them")
@pytest.mark.parametrize("name", ["job.toml", "top.nc", "part.stl"])
def test_file__that_may_not_be_read_is_told(name, job):
    (job.parent / name).chmod(0)
    done = as_anybody("check", str(job), *CELL)
    assert done.returncode == 2
    assert f"'{job.parent / name}'" in done.stderr or name in done.stderr
    assert "may not be read" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.skipif(os.name != "posix", reason="rights of files as POSIX has them")
def test_folder__that_may_not_be_written_is_told_and_the_job_in_it_checked(job, tmp_path):
    job.parent.chmod(0o555)
    try:
        inside = as_anybody("check", str(job), *CELL, "--json", str(job.parent / "r.json"))
        outside = as_anybody("check", str(job), *CELL)
    finally:
        job.parent.chmod(0o755)
    assert inside.returncode == 2
    assert "Traceback" not in inside.stderr
    assert "r.json" in inside.stderr
    assert outside.returncode == 1, outside.stderr
    assert sorted(path.name for path in job.parent.iterdir()) == ["job.toml", "part.stl", "top.nc"]


@pytest.mark.skipif(os.name != "posix", reason="rights of files as POSIX has them")
def test_folder__below_that_may_not_be_read_is_told_and_the_others_checked(tmp_path):
    """Passed over in silence, its jobs would count as checked."""
    write_one_sided(tmp_path / "a", left=0.0)
    shut = write_one_sided(tmp_path / "b", left=0.0).parent
    shut.chmod(0)
    try:
        done = as_anybody("check", str(tmp_path), *CELL)
    finally:
        shut.chmod(0o755)
    assert done.returncode == 2
    assert done.stdout == "2 jobs: 1 within limits, 1 cannot be used.\n"
    assert str(shut / "job.toml") in done.stderr
    assert "Traceback" not in done.stderr


def as_anybody(*words):
    """Run the command without the rights of an administrator over other people's files."""
    start = []
    if os.geteuid() == 0:
        if not (setpriv := shutil.which("setpriv")):
            pytest.skip("run by an administrator, and no setpriv to give the rights up")
        start = [setpriv, "--bounding-set=-dac_override,-dac_read_search"]
    words = [*start, sys.executable, "-m", "simkit", *words]
    return subprocess.run(words, capture_output=True, text=True, check=False)


def test_mesh__of_a_million_triangles(tmp_path):
    """A slab whose upper face is a fine grid: read and checked like any other."""
    import numpy as np
    import trimesh

    path = write_one_sided(tmp_path)
    n = 500  # squares along each edge, two triangles each, above and below
    x, y = (axis.ravel() for axis in np.meshgrid(np.linspace(0, 40, n + 1), np.linspace(0, 30, n + 1)))
    upper, lower = (np.column_stack([x, y, np.full(len(x), z)]) for z in (8.0, 0.0))
    corner = (np.arange(n)[:, None] * (n + 1) + np.arange(n)).ravel()
    first = np.column_stack([corner, corner + 1, corner + n + 2])
    second = np.column_stack([corner, corner + n + 2, corner + n + 1])
    faces = np.vstack([first, second])
    rim = np.concatenate(
        [
            np.arange(n),
            np.arange(n) * (n + 1) + n,
            (n + 1) * n + n - np.arange(n),
            (n - np.arange(n)) * (n + 1),
        ]
    )
    after = np.roll(rim, -1)
    count = len(x)
    sides = np.vstack(
        [np.column_stack([rim + count, after + count, after]), np.column_stack([rim + count, after, rim])]
    )
    mesh = trimesh.Trimesh(
        np.vstack([upper, lower]), np.vstack([faces, faces[:, ::-1] + count, sides]), process=False
    )
    assert mesh.is_watertight
    mesh.export(path.parent / "part.stl")
    assert main(["check", str(path), *CELL, "--json", str(tmp_path / "r.json"), "--most-memory", "4 GB"]) == 1
    result = json.loads((tmp_path / "r.json").read_text("utf-8"))
    assert result["target"]["triangles"] == 4 * n * n + 8 * n
    assert [row["kind"] for row in result["findings"]] == ["leftover-program"]


@pytest.mark.skipif(os.name != "posix", reason="ends processes by the signals of POSIX")
def test_check__ended_at_random_moments_leaves_whole_files_only():
    told, faults = interrupt(3, 5, pictures=False)
    assert faults == []
    assert sum(count for what, count in told.items() if what.startswith("ended")) == 3


HALF = {"r.json": b'{"form": "sim', "r.xml": b"<testsuites", "r.sarif": b"", "p.png": b"\x89PNG\r\n"}
HALF |= {"r.html": b"<!doctype html><html>", "k.json.gz": gzip.compress(b"{}")[:-9]}


@pytest.mark.parametrize("name", HALF)
def test_half_a_file__is_seen_by_the_check_of_files(name, tmp_path):
    (tmp_path / name).write_bytes(HALF[name])
    assert fault_in(tmp_path / name)


@pytest.mark.skipif(sys.platform == "win32", reason="links need a right there")
@pytest.mark.parametrize("name", ["job.toml", "top.nc", "part.stl"])
def test_link__that_leads_to_itself_is_told(name, job, capsys):
    (job.parent / name).unlink()
    (job.parent / name).symlink_to(job.parent / name)
    assert main(["check", str(job), *CELL]) == 2
    assert "leads nowhere" in capsys.readouterr().err
