"""The report as one HTML file: it loads nothing, nothing in it can break it, its figures are the check's."""

import base64
import hashlib
import json
import re
import shutil
import subprocess
import sys
import zlib
from html.parser import HTMLParser

import numpy as np
import pytest

from simkit.check import check as run_check
from simkit.cli import main
from simkit.job.model import Layup
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from simkit.report.console_tables import below_folders
from simkit.report.lengths import Lengths
from simkit.report.page.html import el, markup, path, prose
from simkit.report.page.scene import NONE, scene_of
from simkit.report.page.section import section
from simkit.report.page.section_view import section_key, section_svg
from simkit.units import inch_words
from tests.findings.programs import END, dug, faced
from tests.small_job import JOB, block

EVIL = "<script>alert(1)</script>"
CHROMIUM = shutil.which("chromium")


def job_in(folder, job=JOB):
    """A slot 0.5 deep into a flat part, beside a line whose comment looks like markup."""
    block(0, 40, 0, 30, 0, 10).export(folder / "part.stl")
    program = dug(faced(10), (12, 15, 9.5, 22, 15)).replace(END, f";{EVIL}\n{END}")
    (folder / "top.nc").write_text(program, encoding="utf-8")
    (folder / "job.toml").write_text(job.replace('name = "top"', f'name = "{EVIL}"'), encoding="utf-8")
    return folder / "job.toml"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("page & <b>")
    job = job_in(folder)
    words = ["--quiet", "--cell", "0.5", "--json", str(folder / "r.json"), "--report", str(folder / "r.html")]
    status = main(["check", str(job), *words])
    return status, (folder / "r.html").read_text("utf-8"), json.loads((folder / "r.json").read_text("utf-8"))


class Tags(HTMLParser):
    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.tags, self.words, self.inside = [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self.inside.append(tag)

    def handle_endtag(self, tag):
        while self.inside and self.inside.pop() != tag:
            pass

    def handle_data(self, data):
        if not {"script", "style"} & set(self.inside):
            self.words.append(data)


def test_page__is_one_file_that_loads_nothing(made):
    _, text, _ = made
    page = Tags(text)
    assert len(text) < 10_000_000
    for _, attributes in page.tags:
        for name in ("src", "href", "srcset", "action", "data"):
            if name in attributes:
                assert attributes[name].startswith(("data:", "#"))
        assert not any(name.startswith("on") for name in attributes)  # no scripts in attributes
    assert "http://" not in text.replace("http://www.w3.org/2000/svg", "")
    assert "https://" not in text


def test_page__policy_allows_its_own_style_and_script_alone(made):
    _, text, _ = made
    policy = next(
        a["content"] for tag, a in Tags(text).tags if a.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy.startswith("default-src 'none'")
    for tag in ("style", "script"):
        bodies = re.findall(rf"<{tag}>(.*?)</{tag}>", text, re.DOTALL)
        assert len(bodies) == 1
        digest = base64.b64encode(hashlib.sha256(bodies[0].encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{digest}'" in policy


def test_page__what_comes_from_outside_stays_text(made):
    _, text, _ = made
    assert EVIL not in text
    assert "&lt;script&gt;alert(1)" in text
    page = Tags(text)
    scripts = [a for tag, a in page.tags if tag == "script"]
    assert [a.get("type") for a in scripts if a.get("type") != "application/json"] == [None]
    assert EVIL in "".join(page.words)


def test_page__says_what_the_result_says(made):
    status, text, result = made
    words = " ".join("".join(Tags(text).words).split())
    row = result["findings"][0]
    assert status == 1
    assert row["kind"] == "gouge"
    assert "Beyond limits" in words
    assert f"0.50 ±{row['bound']:.2f} mm against a limit of 0.1 mm" in words
    assert f"top.nc, line {row['line']}" in words
    assert row["advice"] in words
    for caution in ("A simulation is no proof", "eye and ear protection", "licensed practice come first"):
        assert caution in words


def test_markup__escapes_what_it_did_not_make():
    made_here = el("p", "<i>", el("b", 'a "quote" & more'), title='"><script>')
    assert made_here == (
        '<p title="&quot;&gt;&lt;script&gt;">&lt;i&gt;<b>a &quot;quote&quot; &amp; more</b></p>'
    )
    assert "\u202e" not in markup("nc.\u202eexe")  # what turns the direction of text


def test_prose__keys_are_code_and_the_rest_is_escaped():
    assert prose("Check `target.at` <b> first, `a<b>`.") == (
        "Check <code>target.at</code> &lt;b&gt; first, <code>a&lt;b&gt;</code>."
    )
    assert prose("a ` alone") == "a ` alone"


def test_path__breaks_behind_a_slash_alone():
    assert path("../../olive <boat>/side1.nc:122") == (
        '<span class="path">../<wbr>../<wbr>olive &lt;boat&gt;/<wbr>side1.nc:122</span>'
    )
    assert below_folders("../../olive_boat/side1.nc:122") == "../../olive_boat/\nside1.nc:122"
    assert [below_folders(one) for one in ("job.toml:55", "a/side1.nc:1", "")] == [
        "job.toml:55",
        "a/side1.nc:1",
        "",
    ]


@pytest.mark.parametrize(
    ("inches", "words"),
    [
        (0, "0"),
        (2.25, "2 1/4"),
        (-0.5, "-1/2"),
        (1 / 64, "1/64"),
        (3, "3"),
        (2.257, "2.257"),
        (0.0301, "0.030"),
    ],
)
def test_inch_words__are_fractions_to_a_64th_where_they_are_exact(inches, words):
    assert inch_words(25.4 * inches) == words


@pytest.fixture(scope="module")
def evidence(tmp_path_factory):
    job = read_job(job_in(tmp_path_factory.mktemp("evidence")))
    return run_check(job, read_programs(job), 0.5)[0]


def test_section__is_the_slot_of_a_flat_cutter(evidence):
    # 6 mm wide about y = 15, 9.5 high; 10 beside it; exact but for the step between two places.
    found = section(evidence, 1, 17.0, 0.0, 30.0, 3000)
    is_slot = np.abs(found.along - 15) < 3 - 0.011
    is_beside = np.abs(found.along - 15) > 3 + 0.011
    assert found.upper[is_slot] == pytest.approx(9.5, abs=1e-6)
    assert found.upper[is_beside] == pytest.approx(10.0, abs=1e-6)
    assert found.target_upper == pytest.approx(10.0, abs=1e-6)
    assert found.lower == pytest.approx(0.0, abs=1e-9)


def test_section__shows_the_glue_lines_it_crosses(evidence):
    across, along = section(evidence, 1, 17.0, 0.0, 30.0, 300), section(evidence, 0, 15.0, 0.0, 40.0, 300)
    lengths = Lengths("mm")
    upright, level = Layup("along y", (10.0, 10.0, 10.0)), Layup("along z", (5.0, 7.0))
    crosswise = Layup("along x", (10.0, 10.0, 10.0, 10.0), run="along y")
    for cut, layup, lines in (
        (across, upright, 2),
        (along, upright, 0),
        (across, level, 1),
        (along, level, 1),
        (across, crosswise, 0),
        (along, crosswise, 3),
    ):
        drawn = str(section_svg(cut, lengths, (0.1, 0.3), False, layup))
        assert drawn.count('class="glue"') == lines
    # 10 mm lies a third of the way from the front edge.
    drawn = str(section_svg(across, lengths, (0.1, 0.3), False, upright))
    x = [float(found) for found in re.findall(r'<path d="M([\d.]+) [^"]*" class="glue"', drawn)]
    low, wide = map(
        float, re.search(r'<rect x="([\d.]+)"[^>]*width="([\d.]+)"[^>]*class="stock"', drawn).groups()
    )
    assert x == pytest.approx([low + wide / 3, low + wide * 2 / 3], abs=0.2)
    assert "glue line" in str(section_key(True))
    assert "glue line" not in str(section_key())


def test_scene__holds_the_heights_to_half_a_step(evidence):
    scene = scene_of(evidence)
    data = np.frombuffer(zlib.decompress(base64.b64decode(scene["data"])), np.uint8)
    count, fields = scene["nx"] * scene["ny"], {}
    for k, name in enumerate(scene["heights"]):
        low, high = data[2 * k * count :][:count], data[(2 * k + 1) * count :][:count]
        differences = low.astype(np.uint16) + 256 * high.astype(np.uint16)
        fields[name] = np.cumsum(differences.reshape(scene["ny"], scene["nx"]), axis=1, dtype=np.uint16)
    upper = evidence.field.upper
    assert fields["upper"].shape == upper.shape  # a small blank is not pooled
    assert (fields["upper"] != NONE).all()
    assert scene["low"] + scene["step"] * fields["upper"] == pytest.approx(
        upper, abs=scene["step"] / 2 + 1e-6
    )
    classes = data[2 * len(scene["heights"]) * count :]
    shifts = ["shift_x", "shift_y", "target_shift_x", "target_shift_y"]
    assert scene["classes"] == ["class_lower", "class_upper", "class_wall", *shifts]
    assert len(classes) == 7 * count


def test_report__of_several_jobs_is_refused(tmp_path, capsys):
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        job_in(tmp_path / name)
    status = main(["check", str(tmp_path / "a"), str(tmp_path / "b"), "--report", str(tmp_path / "r.html")])
    assert status == 2
    assert "--report" in capsys.readouterr().err
    assert not (tmp_path / "r.html").exists()


def test_report__a_place_that_cannot_be_written_is_told(tmp_path, capsys):
    job = job_in(tmp_path)
    status = main(
        ["check", str(job), "--quiet", "--cell", "0.5", "--report", str(tmp_path / "no" / "r.html")]
    )
    told = capsys.readouterr().err
    assert status == 2
    assert "--report" in told
    assert "Traceback" not in told


def test_report__needs_no_drawing_in_three_dimensions(tmp_path):
    job, out = job_in(tmp_path), tmp_path / "r.html"
    code = (
        "import sys; sys.modules['pyvista'] = None; sys.modules['vtkmodules'] = None\n"
        "from simkit.cli import main\n"
        f"print(main(['check', {str(job)!r}, '--quiet', '--cell', '0.5', '--report', {str(out)!r}]))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "1"
    assert "In 3-D" in out.read_text("utf-8")


@pytest.mark.skipif(CHROMIUM is None, reason="Debian's chromium is not installed")
def test_page__in_a_browser_draws_its_view_and_complains_of_nothing(made, tmp_path):
    path = tmp_path / "r.html"
    path.write_text(made[1], encoding="utf-8")
    flags = (
        "--headless --no-sandbox --disable-quic --no-first-run --disable-background-networking "
        "--disable-sync --disable-component-update --enable-unsafe-swiftshader --enable-logging=stderr "
        "--dump-dom --virtual-time-budget=8000 --window-size=390,900"
    )
    words = [CHROMIUM, *flags.split(), f"--user-data-dir={tmp_path / 'profile'}", path.as_uri()]
    done = subprocess.run(words, capture_output=True, text=True, timeout=120, check=True)
    complaints = [row for row in done.stderr.splitlines() if "CONSOLE" in row and "GPU stall" not in row]
    assert complaints == []
    covered = re.search(r'data-covered="([0-9.]+)"', done.stdout)
    assert covered is not None
    assert float(covered[1]) > 0.02  # of the canvas: something was drawn
