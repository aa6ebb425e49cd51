"""A drafted job file: blanks that the reader refuses, guesses with evidence, and the sample's own job."""

import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from simkit.cli import main
from simkit.draft.draft import draft
from simkit.draft.seen import seen_in
from simkit.draft.tables import blank, table
from simkit.errors import InputProblems
from simkit.job.reader import read_job
from simkit.job.schema import KEYS, children
from tests.small_job import HEAD, block

SAMPLE = Path(__file__).parents[2] / "samples" / "olive_boat"
END = "M5\nM30\n"


@pytest.fixture(scope="module")
def sample(tmp_path_factory):
    """A fresh folder with the programs and the mesh of the sample, and the job file drafted for them."""
    folder = tmp_path_factory.mktemp("boat")
    for name in ("side1.nc", "side2.nc", "olive_boat.stl"):
        shutil.copy(SAMPLE / name, folder)
    assert main(["draft", str(folder)]) == 0
    return folder


def drafted(folder):
    """Return a drafted job as text and as the values of its keys."""
    text = draft(folder, seen_in(folder))
    return text, tomllib.loads(text)


def problems_of(path):
    with pytest.raises(InputProblems) as found:
        read_job(path)
    return found.value.problems


def without_end(folder, name, words):
    (folder / name).write_text(HEAD + words + END, encoding="utf-8")


def test_draft__of_the_sample_is_within_limits_once_its_blanks_are_filled_in(sample, tmp_path):
    truth = tomllib.loads((SAMPLE / "job.toml").read_text("utf-8"))
    for name in ("side1.nc", "side2.nc", "olive_boat.stl"):
        shutil.copy(sample / name, tmp_path)
    text = (sample / "job.toml").read_text("utf-8")
    lines = text.splitlines()
    for problem in problems_of(sample / "job.toml"):
        assert problem.found == "'?', still to be filled in"
        value = truth
        for part in re.findall(r"\w+", problem.place.key):
            value = value[int(part)] if isinstance(value, list) else value[part]
        row = lines[problem.place.line - 1]
        assert row.endswith('= "?"')
        lines[problem.place.line - 1] = row.replace(
            '"?"', f'"{value}"' if isinstance(value, str) else str(value)
        )
    job = tmp_path / "job.toml"
    job.write_text("\n".join(lines), encoding="utf-8")
    told = read_job(job)
    meant = read_job(SAMPLE / "job.toml")
    assert [setup.zero for setup in told.setups] == [setup.zero for setup in meant.setups]
    assert [dowel.at for dowel in told.dowels] == [dowel.at for dowel in meant.dowels]
    assert (told.target.units, told.target.anchor, told.target.at) == ("mm", "origin", (0.0, 0.0, 0.0))
    assert [[path.name for path in setup.programs] for setup in told.setups] == [["side1.nc"], ["side2.nc"]]
    assert main(["check", str(job), "--quiet", "--cell", "1"]) == 0


def test_draft__asks_for_what_only_a_person_knows(sample):
    keys = {problem.place.key for problem in problems_of(sample / "job.toml")}
    assert keys == {
        *(f"blank.{name}" for name in ("length", "width", "thickness")),
        *(f"cutters.{tool}.{name}" for tool in (1, 2, 3, 4) for name in ("shape", "diameter")),
        "setups[0].spoilboard",
        "setups[1].spoilboard",
        "setups[1].turn",
        "dowels[0].diameter",
        "dowels[1].diameter",
    }


def test_draft__quotes_comments_and_uses_none(sample, tmp_path):
    text = (sample / "job.toml").read_text("utf-8")
    assert "# side1.nc:2 says (blank 280 x 90 x 38 mm, cherry)\n" in text
    assert "# side2.nc:6 says (T3 3 mm ball)\n" in text
    # Deepest place and mesh as samples/olive_boat_programs.py states them: 3 mm below 38 mm, 36 mm tall.
    assert "#   Side 1: lowest cut Z-41 in side1.nc:35.\n" in text
    assert "#   olive_boat.stl is 36 of its unit, z 1 to 37.\n" in text
    # Other comments change nothing but what is quoted.
    for name in ("side1.nc", "side2.nc"):
        words = (sample / name).read_text("utf-8").replace("6 mm", "9 mm").replace("280 x 90", "11 x 12")
        (tmp_path / name).write_text(words, encoding="utf-8")
    shutil.copy(sample / "olive_boat.stl", tmp_path)
    _, values = drafted(tmp_path)
    assert {**values, "name": ""} == {**tomllib.loads(text), "name": ""}


def test_draft__does_not_write_over_a_job_file(sample, capsys):
    path = sample / "job.toml"
    before = path.read_bytes()
    path.write_bytes(b"mine")
    assert main(["draft", str(sample)]) == 2
    assert capsys.readouterr().err == (
        f"command line: found '{path}', already there, expected no job.toml yet; "
        "take it out of the way, or add --replace to write over it\n"
    )
    assert path.read_bytes() == b"mine"
    assert main(["draft", str(sample), "--replace"]) == 0
    assert path.read_bytes() == before
    assert sorted(one.name for one in sample.iterdir()) == [
        "job.toml",
        "olive_boat.stl",
        "side1.nc",
        "side2.nc",
    ]
    out = capsys.readouterr().out.splitlines()
    assert out[0] == f"wrote {path}: 16 blanks to fill in, 9 guesses to look at"
    rows = before.decode().splitlines()
    for line in out[1:-1]:
        number, key = re.fullmatch(r"  line (\d+): (?:[^,]+, )?(\w+)", line).groups()
        assert rows[int(number) - 1] == f'{key} = "?"'


def test_draft__tells_of_bad_files_and_goes_on(tmp_path, capsys):
    without_end(tmp_path, "good side 1.nc", "G0 X5 Y5\nG1 Z-2 F300\nX20\nG0 Z5\n")
    without_end(tmp_path, "bad side 2.nc", "G0 X5 Y5\nG1 Z-2 F300\nX1O.5\n")
    (tmp_path / "part.stl").write_bytes(b"no mesh at all")
    (tmp_path / "empty.tap").write_bytes(b"")
    (tmp_path / "letter.txt").write_text("Dear all,\nthe boat is to be done by Monday.\n", encoding="utf-8")
    (tmp_path / "post.txt").write_text(HEAD + END, encoding="utf-8")
    assert main(["draft", str(tmp_path)]) == 0
    err = capsys.readouterr().err
    assert "bad side 2.nc:7:1: found 'X1O.5' (a letter O)" in err
    assert "part.stl: found " in err
    assert "empty.tap: found an empty file" in err
    text = (tmp_path / "job.toml").read_text("utf-8")
    assert "letter" not in text
    assert "# Not read, and told when this was written: bad side 2.nc, empty.tap, part.stl\n" in text
    # What cannot be read stays a program of the job, for the check to refuse.
    assert "post.txt" in text
    assert 'Of this side: "bad side 2.nc"' in text.replace("\n#  ", "").replace("'", '"')


def test_draft__zero_in_the_middle_on_the_table_and_a_mesh_in_inches(tmp_path):
    # Cut from Z0 (the table) to Z12, 100 x 60 about the middle; the mesh is 3.5 x 2 x 0.4 in.
    without_end(tmp_path, "top.nc", "G0 X-50 Y-30\nG1 Z0 F300\nX50\nZ12\nY30\nG0 Z20\n")
    block(-1.75, 1.75, -1, 1, 0, 0.4).export(tmp_path / "part.stl")
    text, values = drafted(tmp_path)
    assert values["setups"][0]["zero"] == {"corner": "centre", "face": "bottom"}
    assert "#   lowest cut Z0 in top.nc:6: none goes below Z0\n" in text
    assert "spoilboard" not in values["setups"][0]
    assert values["target"]["units"] == "in"
    assert "# It is 88.9 x 50.8 x 10.16 mm then." in text.replace("#   ", "# ")
    assert (values["target"]["anchor"], values["target"]["at"]) == ("?", "?")


def test_draft__leaves_blank_what_may_be_either(tmp_path):
    # 1 mm deep with moves at Z5: over the top, or through the blank into the table.
    without_end(tmp_path, "a.nc", "G0 X-50 Y0\nG1 Z5 F300\nX50\nZ-1\nX-50 Y20\nG0 Z5\n")
    _, values = drafted(tmp_path)
    assert values["setups"][0]["zero"] == {"corner": "?", "face": "?"}
    assert values["setups"][0]["programs"] == ["a.nc"]
    for name in ("b.nc", "c.nc"):
        without_end(tmp_path, name, "G0 X5 Y5\nG1 Z-2 F300\nX20\nG0 Z5\n")
    text, values = drafted(tmp_path)
    assert values["setups"][0]["programs"] == "?"
    assert 'Nothing tells which side these are: "a.nc", "b.nc", "c.nc"' in text


def test_draft__the_program_that_drills_in_a_row_comes_first(tmp_path):
    without_end(tmp_path, "a.nc", "G0 X5 Y5\nG1 Z-2 F300\nX20\nG0 Z5\n")
    without_end(tmp_path, "b.nc", "G0 X0 Y0\nG99 G81 X8 Y20 Z-13 R2 F200\nX92\nG80\n")
    _, values = drafted(tmp_path)
    assert [setup["programs"] for setup in values["setups"]] == [["b.nc"], ["a.nc"]]
    assert [dowel["at"] for dowel in values["dowels"]] == [[8, 20], [92, 20]]
    # Holes that lie in no row are no dowel holes.
    without_end(tmp_path, "b.nc", "G0 X0 Y0\nG99 G81 X8 Y20 Z-13 R2 F200\nX92 Y30\nG80\n")
    text, values = drafted(tmp_path)
    assert "dowels" not in values
    assert "Nothing tells which side" in text


def test_draft__units_zeros_and_cutters_that_programs_do_not_state(tmp_path):
    (tmp_path / "a.nc").write_text("G90\nS9000 M3\nG55\nG0 X1 Y1 Z1\nG1 Z-1 F30\nX2\nG0 Z1\nM30\n", "utf-8")
    text, values = drafted(tmp_path)
    (setup,) = values["setups"]
    assert setup["program_units"] == setup["work_offsets"] == "?"
    assert setup["cutter"] == 1
    assert "#   a.nc:3 calls G55\n" in text
    assert list(values["cutters"]) == ["1"]
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    for problem in problems_of(tmp_path / "job.toml"):
        assert problem.found == "'?', still to be filled in"


def test_draft__of_a_mesh_alone_has_every_required_key(tmp_path):
    block(0, 40, 0, 30, 0, 8).export(tmp_path / "part.stl")
    text, values = drafted(tmp_path)
    for parent in ("blank", "cutters.N", "setups[]", "target", "limits"):
        inner = {"cutters.N": values["cutters"]["1"], "setups[]": values["setups"][0]}.get(parent)
        inner = values[parent] if inner is None else inner
        assert {key.name for key in children(parent) if key.required} <= set(inner), parent
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    for problem in problems_of(tmp_path / "job.toml"):
        assert problem.found == "'?', still to be filled in"


def test_draft__refuses_a_folder_without_anything(tmp_path, capsys):
    assert main(["draft", str(tmp_path)]) == 2
    assert f"{tmp_path}: found neither program nor mesh, expected programs (.nc, " in capsys.readouterr().err
    assert main(["draft", str(tmp_path / "nowhere")]) == 2
    assert "name the folder they lie in" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_blank__is_refused_at_every_key_that_holds_no_text(tmp_path):
    """A "?" is told as a blank whatever the key holds."""
    path = tmp_path / "job.toml"
    plain = [key for key in KEYS if "." not in key.path and key.kind != "text"]
    assert plain
    for key in plain:
        path.write_text(f'{key.name} = "?"\n', encoding="utf-8")
        found = {problem.place.key: problem.found for problem in problems_of(path)}
        assert found[key.name] == "'?', still to be filled in", key.name


def test_table__refuses_keys_that_job_files_do_not_have():
    with pytest.raises(KeyError, match="blank has no lenght"):
        table("[blank]", "blank", {"lenght": blank()})


@pytest.mark.skipif(os.name == "nt", reason="such names cannot be made there")
def test_draft__names_and_comments_of_any_kind_stay_within_their_line(tmp_path):
    without_end(tmp_path, 'a "b"\x01\n[x]\nside 1.nc', "(T1 \x02\t)\nG0 X5 Y5\nG1 Z-2 F300\nX20\nG0 Z5\n")
    os.symlink("nowhere.nc", tmp_path / "side 2.nc")
    text, values = drafted(tmp_path)
    assert values["setups"][0]["programs"] == ['a "b"\x01\n[x]\nside 1.nc']
    assert values["setups"][1]["programs"] == ["side 2.nc"]
    assert '# a "b"\\x01\\x0a[x]\\x0aside 1.nc:5 says (T1 \\x02)\n' in text
    assert "# Not read, and told when this was written: side 2.nc\n" in text


def test_draft__does_not_mind_a_reader_that_goes_away(tmp_path):
    without_end(tmp_path, "a.nc", "G0 X5 Y5\nG1 Z-2 F300\nX20\nG0 Z5\n")
    words = [sys.executable, "-m", "simkit", "draft", str(tmp_path)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:
        running.stdout.close()
        assert running.stderr.read() == ""
    assert running.returncode == 0
    assert (tmp_path / "job.toml").exists()


INCHES = "G20 G90 G17\nT2 M6\nM3 S9000\nG0 X0.5 Y1 Z0.2\nG1 Z-0.75 F20\nG0 Z0.2\nX4.5\nG1 Z-0.75\nG0 Z0.2\n"
INCHES += "T1 M6\nG0 X1 Y0.5\nG1 Z-0.25 F20\nX4 F60\nY1.5\nG0 Z0.2\n"


def test_draft__of_programs_in_inches_is_a_job_in_inches(tmp_path):
    (tmp_path / "side1.nc").write_text(INCHES + END, encoding="utf-8")
    text, job = drafted(tmp_path)
    assert job["unit"] == "in"
    assert [hole["at"] for hole in job["dowels"]] == [[0.5, 1], [4.5, 1]]
    assert "to Z-0.75 (side1.nc:5); X0.5 Y1 in the program" in text
    assert "The cuts of side 1 go from X0.5 to 4.5" in text
    assert "lowest cut Z-0.25 (line 12)" in text
    # One program in mm beside it, and plain numbers are mm: each is quoted as it stands in its program.
    without_end(tmp_path, "side2.nc", "T1 M6\nM3 S9000\nG0 X10 Y10 Z5\nG1 Z-2 F300\nX40\nG0 Z5\n")
    text, job = drafted(tmp_path)
    assert job["unit"] == "mm"
    assert [hole["at"] for hole in job["dowels"]] == [[12.7, 25.4], [114.3, 25.4]]
    assert "to Z-0.75 (side1.nc:5); X0.5 Y1 in the program" in text


def two_programs(folder, first, second):
    """A job of two programs that no comment, number or drilling tells apart."""
    without_end(folder, first, "G0 X5 Y5\nG1 Z-2 F300\nX20\nG0 Z5\n")
    without_end(folder, second, "G0 X8 Y8\nT2 M6\nS9000 M3\nG0 Z5\nG1 Z-4 F300\nX30\nG0 Z5\n")
    text, values = drafted(folder)
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return text, values


def test_draft__two_programs_of_any_names_leave_room_for_the_second_setup(tmp_path):
    text, values = two_programs(tmp_path, "a.nc", "b.nc")
    assert [setup["programs"] for setup in values["setups"]] == ["?", "?"]
    assert values["setups"][1]["turn"] == "?"
    # Both are named where they are to be written, with what each of them cuts, and what to do with one side.
    assert text.count('Nothing tells which side these are: "a.nc", "b.nc"') == 2
    assert text.count("#   a.nc: T1, cuts go from X5 to 20, Y5 to 5, Z-2 to") == 2
    assert "#   b.nc: T1, T2, cuts" not in text  # T1 only moves to where the cutter is changed
    assert text.count("#   b.nc: T2, cuts go from X8 to 30") == 2
    flat = text.replace("\n# ", " ")
    assert (
        'The blank turned over. If "a.nc", "b.nc" run as it lies first, list them above, and delete' in flat
    )
    for problem in problems_of(tmp_path / "job.toml"):
        assert problem.found == "'?', still to be filled in"


@pytest.mark.parametrize(
    ("first", "second"), [("top.nc", "under.nc"), ("main.nc", "under.nc"), ("upper.nc", "lower.nc")]
)
def test_draft__names_in_words_tell_the_sides(tmp_path, first, second):
    text, values = two_programs(tmp_path, first, second)
    assert [setup["programs"] for setup in values["setups"]] == [[first], [second]]
    assert [setup["turn"] for setup in values["setups"]] == ["none", "?"]
    assert f"{second} is for side 2, by its name" in text
    if first == "main.nc":
        assert "#   main.nc is the other one of two\n" in text


def test_draft__one_of_two_for_side_1_tells_nothing_of_the_other(tmp_path):
    text, values = two_programs(tmp_path, "top.nc", "finish.nc")
    assert [setup["programs"] for setup in values["setups"]] == ["?", "?"]
    assert 'Of this side: "top.nc"' in text
