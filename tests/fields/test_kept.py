"""A field kept by one check and taken up by the next: the same bits, and the programs of then."""

import io
import json
import os
import zipfile
from dataclasses import fields, is_dataclass
from pathlib import Path

import numpy as np
import pytest

import simkit
from simkit import check
from simkit.cli import main
from simkit.cutters import Cutter
from simkit.errors import InputProblems
from simkit.fields.keep import keep_field
from simkit.fields.kept import Kept
from simkit.fields.stated import cutter_stated, first_other, lie_stated, reading_stated, step_stated
from simkit.job.model import Setup, Zero
from simkit.job.reader import read_job
from simkit.job.steps import Step
from simkit.moves.table import Moves
from simkit.program.job_programs import read_programs
from simkit.stock.field import UNCUT, Lattice
from tests.fields.kept_jobs import faced, write_plain, write_stepped

CELL = ["--cell", "0.5"]
LAST = 22  # a line of two.nc in its fifth row; 5 to 32 are its moves


def cut(job, reads, known=(), cell=0.5):
    return check._cut(job, reads, check.job_lattice(job, cell), check.Timings(), check.NoProgress(), known)


def keep(job_file, cell="0.5"):
    out = job_file.with_name("kept.npz")
    assert main(["check", str(job_file), "--cell", cell, "--quiet", "--keep-field", str(out)]) in (0, 1)
    return out


def resume(job_file, broken, *words):
    out = job_file.with_name("told.json")
    status = main(["resume", str(job_file), broken, "--json", str(out), *words])
    return status, json.loads(out.read_text("utf-8"))


def same(one, other):
    """Whether two pieces of evidence are the same to the bit."""
    if isinstance(one, np.ndarray):
        return one.dtype == other.dtype and one.shape == other.shape and one.tobytes() == other.tobytes()
    if isinstance(one, list | tuple):
        return len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, dict):
        return list(one) == list(other) and all(map(same, one.values(), other.values()))
    if is_dataclass(one):
        return all(same(getattr(one, f.name), getattr(other, f.name)) for f in fields(one))
    return one == other


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    """A job of which the first side was cut too deep, and its field."""
    job = write_plain(tmp_path_factory.mktemp("fields") / "plain")
    return job, keep(job)


@pytest.mark.parametrize("write", [write_plain, write_stepped])
def test_kept__is_what_was_cut_to_the_bit(write, tmp_path):
    job = read_job(write(tmp_path / "job"))
    reads = read_programs(job)
    anew = cut(job, reads)
    keep_field(tmp_path / "kept.npz", anew)
    kept = Kept(tmp_path / "kept.npz")
    for count in range(1, len(job.setups) + 1):
        taken = kept.take(job, count)
        again = cut(job, taken.reads + reads[count:], taken.known)
        for name in ("starts", "fields", "replays", "done", "field", "moves"):
            assert same(getattr(anew, name), getattr(again, name)), (count, name)
        window = Lattice((7.0, 8.0), 0.1, 90, 70)
        assert same(anew.recut(window), again.recut(window))
        places = np.random.default_rng(3).uniform((0, 0), (40, 30), (500, 2))
        assert same(anew.heights(places), again.heights(places))


def test_kept__the_steps_of_the_other_job_are_among_what_is_compared(tmp_path):
    """The job above leaves something for each of its steps to do."""
    job = read_job(write_stepped(tmp_path / "job"))
    evidence = cut(job, read_programs(job))
    poured, thicknessed = evidence.done[0]
    assert poured.volume > 100
    assert thicknessed.volume > 100
    assert evidence.done[1][0].volume > 100
    assert any(rub.max() > 0 for met in evidence.replays[:2] for rub in met.rub_depth.values())


def test_resume__with_unchanged_programs_tells_the_same_as_cut_anew(plain, capsys):
    job, kept = plain
    _, anew = resume(job, f"two.nc:{LAST}", *CELL)
    text = capsys.readouterr().out
    _, taken = resume(job, f"two.nc:{LAST}", "--field", str(kept))
    assert anew["field"] is None
    assert taken["field"]["setups"][0]["programs"][0]["state"] == "same"
    assert "cutting one" in anew["result"]["timings"]
    assert "cutting one" not in taken["result"]["timings"]
    for told in (anew, taken):
        del told["field"], told["result"]["timings"]
    assert anew == taken
    lines = capsys.readouterr().out.splitlines()
    where = lines.index(f"  not cut again but taken from {kept}, cells 0.5 mm:")
    assert lines[where + 1] == "    one: one.nc (unchanged since)"
    assert lines[:where] + lines[where + 2 :] == text.splitlines()


def test_resume__after_steps_and_with_two_programs_in_a_setup(tmp_path):
    job = write_stepped(tmp_path / "job")
    kept = keep(job)
    for broken in ("last.nc:13", "under.nc:14", "slot.nc:9"):
        _, anew = resume(job, broken, *CELL)
        _, taken = resume(job, broken, "--field", str(kept))
        assert taken["result"] is not None
        for told in (anew, taken):
            del told["field"], told["result"]["timings"]
        assert anew == taken, broken


def test_resume__a_first_side_mended_since_is_told_as_it_was_cut(plain, tmp_path, capsys):
    _, kept = plain
    mended = write_plain(tmp_path / "job", side1=faced(2))
    status, now = resume(mended, f"two.nc:{LAST}", *CELL)
    assert (status, now["result"]["findings"]) == (0, [])
    capsys.readouterr()
    status, told = resume(mended, f"two.nc:{LAST}", "--field", str(kept))
    assert status == 1
    (row,) = [row for row in told["result"]["findings"] if row["kind"] == "gouge"]
    assert row["value"] == pytest.approx(0.5, abs=1e-3)
    assert row["file"] == "one.nc (as kept)"
    lines = faced(2, 2.5).splitlines()
    assert lines[row["line"] - 2 : row["line"]] == ["G1 Z-2.5 F600", "X40"]
    (program,) = told["field"]["setups"][0]["programs"]
    assert (program["file"], program["state"]) == ("one.nc", "changed")
    (shown,) = told["result"]["setups"][0]["programs"]
    assert (shown["file"], shown["sha256"]) == ("one.nc (as kept)", program["sha256"])
    text = capsys.readouterr().out
    assert "one: one.nc (changed since, so findings in it name one.nc (as kept), line as then)" in text


def test_resume__programs_that_changed_places(tmp_path, capsys):
    job = write_stepped(tmp_path / "job")
    kept = keep(job)
    job.write_text(job.read_text("utf-8").replace('"arcs.nc", "slot.nc"', '"slot.nc", "arcs.nc"'), "utf-8")
    capsys.readouterr()
    _, told = resume(job, "last.nc:13", "--field", str(kept))
    programs = told["field"]["setups"][0]["programs"]
    assert [(one["file"], one["state"]) for one in programs] == [("arcs.nc", "moved"), ("slot.nc", "moved")]
    words = "arcs.nc (unchanged since, but the job now runs it in another place of that setup)"
    assert words in capsys.readouterr().out
    shown = told["result"]["setups"][0]["programs"]
    assert [one["file"] for one in shown] == ["arcs.nc", "slot.nc"]  # in the order in which they were run


def test_resume__a_program_that_the_job_no_longer_has(plain, tmp_path, capsys):
    _, kept = plain
    job = write_plain(tmp_path / "job")
    (job.parent / "one.nc").rename(job.parent / "uno.nc")
    job.write_text(job.read_text("utf-8").replace('"one.nc"', '"uno.nc"'), encoding="utf-8")
    _, told = resume(job, f"two.nc:{LAST}", "--field", str(kept))
    # The same bytes under another name are the same program.
    assert told["field"]["setups"][0]["programs"][0]["state"] == "same"
    (job.parent / "uno.nc").write_text(faced(2), encoding="utf-8")
    capsys.readouterr()
    _, told = resume(job, f"two.nc:{LAST}", "--field", str(kept))
    assert told["field"]["setups"][0]["programs"][0]["state"] == "gone"
    assert "one.nc (no longer in the job, so findings in it name one.nc (as kept)" in capsys.readouterr().out


def test_resume__another_run_up_to_the_break_is_asked_about(plain, tmp_path, capsys):
    _, kept = plain
    other = faced(1).replace("G0 X0 Y10\nG1 Z-1 F600", "G0 X0 Y10\nG1 Z-1 F500")
    job = write_plain(tmp_path / "job", side2=other)
    words = ["resume", str(job), f"two.nc:{LAST}", "--field", str(kept)]
    assert main(words) == 2
    told = capsys.readouterr().err
    assert "found another run of 'two' up to the break than the job's: two.nc from line 14 on" in told
    assert "add --ran-now if it is" in told
    assert main([*words, "--ran-now"]) == 1
    told = capsys.readouterr().out
    assert f"run as the job is now, where {kept} has another: two.nc from line 14 on" in told


@pytest.mark.parametrize(
    ("old", "new", "is_other"),
    [
        ("Y30\nG1 Z-1 F600", "Y30\nG1 Z-1 F500", False),  # behind the break
        ("Y10\nG1 Z-1 F600", "Y10 (a note)\n(another)\nG1 Z-1 F600", False),  # no other move
        ("Y10\nG1 Z-1 F600", "Y10\nG1 Z-1.01 F600", True),
        ("G0 X0 Y10\n", "", True),
    ],
)
def test_otherwise__asks_only_where_other_moves_were_run(plain, tmp_path, old, new, is_other):
    _, kept = plain
    assert old in faced(1)
    job = read_job(write_plain(tmp_path / "job", side2=faced(1).replace(old, new)))
    assert bool(Kept(kept).otherwise(job, read_programs(job), 1, 0, LAST)) == is_other


def test_otherwise__asks_about_all_of_an_earlier_program_of_the_setup(tmp_path):
    path = write_stepped(tmp_path / "job")
    kept = Kept(keep(path))
    arcs = path.parent / "arcs.nc"
    text = arcs.read_text("utf-8")
    told = []
    for changed in (text, text.replace("K2", "K2\nG17 G0 Z5\nX20"), text.replace("X26", "X26.0")):
        arcs.write_text(changed, encoding="utf-8")
        job = read_job(path)
        told.append(kept.otherwise(job, read_programs(job), 0, 1, 7))
    assert told == [[], ["arcs.nc from line 10 on"], []]


def test_otherwise__tells_zero_cutter_and_what_stands_for_words(plain, tmp_path):
    path = write_plain(tmp_path / "job")
    text = path.read_text("utf-8")
    second = text.index('name = "two"')
    text = text[:second] + text[second:].replace('face = "top"', 'face = "bottom"', 1)
    path.write_text(text.replace("diameter = 6", "diameter = 5"), encoding="utf-8")
    job = read_job(path)
    told = Kept(plain[1]).otherwise(job, read_programs(job), 1, 0, LAST)
    assert told == ["the turn or the zero of 'two'", "cutter 1"]


def test_resume__in_the_first_setup_takes_nothing(plain, capsys):
    job, kept = plain
    assert main(["resume", str(job), "one.nc:20", "--field", str(kept)]) == 1
    assert f"nothing is taken from {kept}: no setup comes before this one" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("old", "new", "found", "expected"),
    [
        ("thickness = 12", "thickness = 12.5", "a field of a blank 40 x 30 x 12 mm", "40 x 30 x 12.5 mm"),
        ("diameter = 6", "diameter = 5.8", "a cut with cutter 1, diameter 6.0", "diameter 5.8"),
        ('face = "top"', 'face = "bottom"', "'one' cut with zero.face 'top'", "'bottom', as the job has it"),
        (
            'face = "top" }',
            'face = "top", offset = [0, 1, 0] }',
            "'one' cut with zero.offset [0.0, 0.0",
            "[0.0, 1.0",
        ),
        (
            "[target]",
            STEP := '[[steps]]\nafter = "one"\ndo = "thickness"\nside = 1\nthickness = 11\n[target]',
            "",
            "",
        ),
        ("[blank]", 'block_delete = "skip"\n[blank]', "'one' cut with block_delete 'run'", "'skip'"),
    ],
)
def test_take__another_job_is_refused(plain, tmp_path, old, new, found, expected, capsys):
    """But for a step behind the last setup that is taken: the job's own is done."""
    path = write_plain(tmp_path / "job")
    path.write_text(path.read_text("utf-8").replace(old, new, 1), encoding="utf-8")
    status = main(["resume", str(path), f"two.nc:{LAST}", "--field", str(plain[1]), "--ran-now"])
    told = capsys.readouterr().err
    if new == STEP:
        assert status < 2, told
        return
    assert status == 2
    assert f"kept.npz [--field]: found {found}" in told
    assert f"expected {expected}" in told
    assert "leave --field out" in told


def test_take__a_step_between_the_setups_taken_is_refused(tmp_path, capsys):
    path = write_stepped(tmp_path / "job")
    kept = keep(path)
    path.write_text(path.read_text("utf-8").replace("below = 0.2", "below = 0.3"), encoding="utf-8")
    capsys.readouterr()
    assert main(["resume", str(path), "last.nc:13", "--field", str(kept)]) == 2
    assert "found other [[steps]] between its setups" in capsys.readouterr().err
    assert main(["resume", str(path), "under.nc:14", "--field", str(kept)]) < 2


def test_take__fewer_setups_than_were_run(tmp_path, plain, capsys):
    path = write_plain(tmp_path / "job")
    text = path.read_text("utf-8")
    part = text[text.index('[[setups]]\nname = "two"') : text.index("[target]")]
    (path.parent / "three.nc").write_text(faced(1), encoding="utf-8")
    for name in ("three", "four"):
        part += (
            part[: part.rindex("[[setups]]") or None]
            .replace('"two"', f'"{name}"')
            .replace("two.nc", f"{name}.nc")
        )
        (path.parent / f"{name}.nc").write_text(faced(1), encoding="utf-8")
    path.write_text(
        text[: text.index('[[setups]]\nname = "two"')] + part + text[text.index("[target]") :], "utf-8"
    )
    assert main(["resume", str(path), f"four.nc:{LAST}", "--field", str(plain[1])]) == 2
    assert (
        "found a field of 2 setups, expected one of the 3 that were run before 'four'"
        in capsys.readouterr().err
    )
    # A setup behind the last one that is kept takes all of them.
    assert main(["resume", str(path), f"three.nc:{LAST}", "--field", str(plain[1])]) < 2


def members(path):
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def write_members(path, held):
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in held.items():
            archive.writestr(name, data)


def about(**changes):
    def change(held):
        told = json.loads(held["about.json"])
        held["about.json"] = json.dumps(told | changes).encode()

    return change


def of_setup(**changes):
    def change(held):
        told = json.loads(held["about.json"])
        told["setups"][0] |= changes
        held["about.json"] = json.dumps(told).encode()

    return change


def array(name, made, **words):
    def change(held):
        file = io.BytesIO()
        np.save(file, made(np.load(io.BytesIO(held[name]))), **words)
        held[name] = file.getvalue()

    return change


class _Evil:
    def __reduce__(self):
        return os._exit, (77,)


def pickled(held):
    array("1/upper.npy", lambda was: np.full(was.shape, _Evil(), object), allow_pickle=True)(held)
    assert b"_exit" in held["1/upper.npy"]


@pytest.mark.parametrize(
    ("spoil", "holds"),
    [
        (lambda held: held.pop("about.json"), "no item named 'about.json'"),
        (lambda held: held.update({"about.json": b"{"}), "broken, or no kept field"),
        (lambda held: held.update({"about.json": b"\xff\xfe"}), "broken, or no kept field"),
        (lambda held: held.update({"about.json": b"[" * 100_000}), "broken, or no kept field"),
        (lambda held: held.update({"about.json": b"[1]"}), "about.json is of another form"),
        (about(form="other"), "about.json is of another form"),
        (about(version=2), "found a kept field of version '2', expected version 1"),
        (about(cell="0.5"), "(cell)"),
        (about(cell=float("nan")), "(cell)"),
        (about(cells=[1, 2]), "1 x 2 cells of 0.5 mm, expected 80 x 60"),
        (about(setups=[]), "(setups)"),
        (about(setups=[{}]), "broken, or no kept field (name)"),
        (about(cutters={"1": 3}), "(cutters)"),
        (of_setup(parts=["../x"]), "(parts)"),
        (of_setup(moves=3), "'one' has 3 moves, its programs 28"),
        (of_setup(sawn=[0.0, 0.0, 3.0, 3.0]), "what stood before a setup is not what the one before it left"),
        (of_setup(resin=True), "no item named '1/wood_lower.npy'"),
        (lambda held: held.update({"1/program 1.nc": b"M30\n"}), "1/program 1.nc is not the one it was"),
        (lambda held: held.pop("1/volume.npy"), "no item named '1/volume.npy'"),
        (lambda held: held.update({"1/upper.npy": b"nothing"}), "broken, or no kept field"),
        (lambda held: held.update({"1/upper.npy": held["1/upper.npy"][:-8]}), "1/upper ends too early"),
        (lambda held: held.update({"1/upper.npy": held["1/upper.npy"] + b"0"}), "longer than its head says"),
        (
            array("1/upper.npy", lambda was: was[1:]),
            "1/upper is not float32 in (60, 80)",
        ),
        (array("1/upper.npy", lambda was: was.astype(float)), "1/upper is not float32 in (60, 80)"),
        (array("1/upper.npy", lambda was: np.asfortranarray(was)), "1/upper is not float32 in (60, 80)"),
        (array("1/upper.npy", lambda was: was + np.float32(3)), "wood that grows"),
        (array("1/upper.npy", lambda was: was * np.float32("nan")), "wood that grows"),
        (array("1/lower.npy", lambda was: was + np.float32(1)), "what stood before a setup"),
        (array("1/upper_move.npy", lambda was: was + np.int32(1000)), "moves that are not its own"),
        (array("1/upper_move.npy", lambda was: was - np.int32(1000)), "moves that are not its own"),
        (array("1/upper_move.npy", lambda was: np.full_like(was, UNCUT)), "moves that are not its own"),
        (array("1/volume.npy", lambda was: was * np.nan), "(volume)"),
        (array("1/volume.npy", lambda was: was - np.inf), "(volume)"),
        (array("1/volume.npy", lambda was: was * 0 + 1e30), "(volume)"),
        (array("1/right.npy", lambda was: was + 1e5), "(right)"),
        (array("1/right.npy", lambda was: was * np.nan), "(right)"),
        (array("1/depth.npy", lambda was: was + np.float32("inf")), "(depth)"),
        (array("1/depth.npy", lambda was: was * 0), "(depth)"),
        (array("1/at.npy", lambda was: was * np.nan), "(at)"),
        (array("1/at.npy", lambda was: np.where(np.isnan(was), was, 1e300)), "(at)"),
        (array("1/top.npy", lambda was: np.where(np.isnan(was), 0.0, was)), "(top)"),
        (array("1/along.npy", lambda was: np.where(np.isnan(was), was, np.inf)), "(along)"),
        (array("1/under.npy", lambda was: was - 1), "(under)"),
        (of_setup(evaluations=-1), "(moves or evaluations)"),
        (pickled, "1/upper is not float32 in (60, 80)"),
    ],
)
def test_kept__a_file_that_is_not_what_it_should_be_is_one_clear_error(plain, tmp_path, spoil, holds, capsys):
    job, kept = plain
    held = members(kept)
    spoil(held)
    other = tmp_path / "other.npz"
    write_members(other, held)
    assert main(["resume", str(job), f"two.nc:{LAST}", "--field", str(other)]) == 2
    told = capsys.readouterr().err
    assert holds in told
    assert "other.npz [--field]: found " in told
    assert "Traceback" not in told


def test_kept__a_file_cut_short_anywhere_or_with_a_wrong_byte(plain, tmp_path):
    job, kept = plain
    data = kept.read_bytes()
    model = read_job(job)
    reads = read_programs(model)
    other = tmp_path / "other.npz"

    def taken(found):
        other.write_bytes(found)
        of = Kept(other).take(model, 1)
        return cut(model, of.reads + reads[1:], of.known)

    good = taken(data)
    for size in range(0, len(data), len(data) // 40):
        with pytest.raises(InputProblems):
            taken(data[:size])
    refused = 0
    for place in np.random.default_rng(8).integers(0, len(data), 120):
        spoilt = bytearray(data)
        spoilt[place] ^= 0x55
        try:
            found = taken(bytes(spoilt))
        except InputProblems:
            refused += 1
        else:  # a byte of another setup, or of a date
            assert same(good.fields[0], found.fields[0])
            assert same(good.replays[0], found.replays[0])
    assert refused > 30


@pytest.mark.parametrize(
    ("words", "holds"),
    [
        (["--field", "none.npz"], "none.npz [--field]: found 'No such file"),
        (["--field", "{folder}"], "[--field]: found "),
        (["--field", "{job}"], "broken, or no kept field (File is not a zip file)"),
        (
            ["--field", "{kept}", "--cell", "0.4"],
            "[--cell]: found cells of 0.4 mm, expected 0.5 mm, those of",
        ),
        (["--ran-now"], "[--ran-now]: found --ran-now alone"),
    ],
)
def test_resume__words_that_name_no_field(plain, words, holds, capsys):
    job, kept = plain
    words = [word.format(folder=job.parent, job=job, kept=kept) for word in words]
    assert main(["resume", str(job), f"two.nc:{LAST}", *words]) == 2
    assert holds in capsys.readouterr().err


def test_keep__writes_the_same_bytes_and_any_reader_of_arrays_opens_them(plain, tmp_path):
    job, kept = plain
    before = kept.read_bytes()
    assert keep(job).read_bytes() == before  # and cuts again, though nothing has changed
    evidence = cut(read_job(job), read_programs(read_job(job)))
    with np.load(kept) as held:
        assert same(held["1/upper"], evidence.fields[0].upper)
        assert same(held["2/lower_move"], evidence.fields[1].lower_move)
    assert members(kept)["1/program 1.nc"] == (job.parent / "one.nc").read_bytes()


def test_keep__is_written_whole_or_not_at_all(plain, tmp_path, monkeypatch, capsys):
    path = write_plain(tmp_path / "job")
    job = read_job(path)
    evidence = cut(job, read_programs(job))
    out = tmp_path / "out" / "kept.npz"
    out.parent.mkdir()
    out.write_bytes(b"of before")
    (path.parent / "one.nc").write_text(faced(2), encoding="utf-8")
    with pytest.raises(InputProblems, match="other moves than those that were checked"):
        keep_field(out, evidence)
    (path.parent / "one.nc").write_text(faced(2, 2.5), encoding="utf-8")

    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("numpy.lib.format.write_array", full)
    with pytest.raises(InputProblems, match=r"--keep-field.*No space left"):
        keep_field(out, evidence)
    assert [one.name for one in out.parent.iterdir()] == ["kept.npz"]
    assert out.read_bytes() == b"of before"


def test_keep__that_fails_in_the_end_leaves_the_verdict(tmp_path, monkeypatch, capsys):
    job, kept, told = write_plain(tmp_path / "job"), tmp_path / "kept.npz", tmp_path / "told.json"

    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("numpy.lib.format.write_array", full)
    words = ["check", str(job), *CELL, "--keep-field", str(kept), "--json", str(told)]
    assert main(words) == 2
    shown = capsys.readouterr()
    assert "No space left" in shown.err
    assert "--keep-field" in shown.err
    assert "gouge" in shown.out
    assert json.loads(told.read_text("utf-8"))["verdict"]["exit_status"] == 1
    assert not kept.exists()


def test_keep__is_refused_before_the_work(plain, tmp_path, capsys):
    job, _ = plain
    assert main(["check", str(job), *CELL, "--keep-field", str(tmp_path / "none" / "k.npz")]) == 2
    assert "[--keep-field]: found no folder" in capsys.readouterr().err
    assert main(["check", str(job), str(write_plain(tmp_path / "b")), "--keep-field", "k.npz"]) == 2
    assert "[--keep-field]: found --keep-field for several jobs" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["job.toml", "one.nc", "../{folder}/job.toml"])
@pytest.mark.parametrize("option", ["--keep-field", "--json"])
def test_check__does_not_write_over_what_it_reads(tmp_path, capsys, name, option):
    job = write_plain(tmp_path)
    path = tmp_path / name.format(folder=tmp_path.name)
    was = path.read_bytes()
    assert main(["check", str(job), *CELL, option, str(path)]) == 2
    assert (
        f"[{option}]: found '{path.name}', which the job reads, expected a file of" in capsys.readouterr().err
    )
    assert path.read_bytes() == was
    with pytest.raises(InputProblems, match="which the job reads"):
        simkit.load(job).check(cell=1, keep_field=path)


def test_check__does_not_write_two_things_into_one_file(plain, tmp_path, capsys):
    both = str(tmp_path / "both")
    assert main(["check", str(plain[0]), *CELL, "--json", both, "--keep-field", both]) == 2
    assert "[--keep-field]: found the file of --json, too" in capsys.readouterr().err
    assert not Path(both).exists()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with a name here")
def test_resume__does_not_wait_for_a_pipe(plain, tmp_path, capsys):
    os.mkfifo(tmp_path / "pipe")
    assert main(["resume", str(plain[0]), f"two.nc:{LAST}", "--field", str(tmp_path / "pipe")]) == 2
    assert "found something that is no ordinary file" in capsys.readouterr().err


def test_take__an_unchanged_program_bears_the_name_it_has_now(plain, tmp_path):
    job = write_plain(tmp_path)
    (tmp_path / "one.nc").rename(tmp_path / "uno.nc")
    job.write_text(job.read_text("utf-8").replace("one.nc", "uno.nc"), "utf-8")
    model = read_job(job)
    told = Kept(plain[1]).take(model, 1).told[0]["programs"]
    assert [(row["file"], row["named"], row["state"]) for row in told] == [("uno.nc", "uno.nc", "same")]


def test_api__keeps_a_field_and_takes_it_up(plain, tmp_path):
    loaded = simkit.load(plain[0])
    loaded.check(cell=1, keep_field=tmp_path / "k.npz")
    told = loaded.resume(f"two.nc:{LAST}", field=tmp_path / "k.npz")
    assert (told["field"]["cell"], told["result"]["cell"]) == (1.0, 1.0)
    with pytest.raises(InputProblems, match=r"cells of 0\.2 mm"):
        loaded.resume(f"two.nc:{LAST}", 0.2, field=tmp_path / "k.npz")


def names(form):
    return {one.name for one in fields(form)}


def test_stated__whatever_a_job_says_is_compared_or_known_to_change_no_cut(tmp_path):
    """A new key fails here until somebody has said which of the two it is."""
    job = read_job(write_stepped(tmp_path / "job"))
    setup = job.setups[0]
    assert names(Cutter) - set(cutter_stated(job.cutters[1])) == {
        "number", "flutes", "chip_load", "plunge_angle", "slot_depth"
    }  # fmt: skip
    assert names(Step) - set(step_stated(job.steps[0])) == {"density", "most_depth", "is_closed", "tool"}
    lie = set(lie_stated(setup))
    assert {f"zero.{name}" for name in names(Zero)} <= lie
    told = {
        "name",
        "programs",
        "before",
        "misplacement",
    }  # by its place, by their bytes, as steps, none in a check
    about = {
        "pins",
        "pin_height",
        "spoilboard",
        "machine_zero",
        "jig",
        "jig_at",
        "jig_play",
    }  # judged, not cut
    assert names(Setup) - {"zero"} - lie - set(reading_stated(job, setup)) == told | about


@pytest.mark.parametrize("name", sorted(names(Moves) - {"setup", "program", "programs", "line"}))
def test_first_other__sees_every_column(tmp_path, name):
    job = read_job(write_stepped(tmp_path / "job"))
    moves = read_programs(job)[0][0][1].moves
    assert first_other(moves, moves) is None
    other = moves[np.arange(len(moves))]
    column = getattr(other, name)
    column[3] = ~column[3] if column.dtype == bool else column[3] + 1 if name != "feed" else 77.0
    assert first_other(moves, other) == moves.line[3]
    assert first_other(moves[:4], moves) == moves.line[4]
    assert first_other(moves, moves[:4]) == moves.line[4]


@pytest.mark.parametrize(
    "reading",
    [
        {},
        {"cutter": [1], "program_units": "ell", "work_offsets": 3},
        *(
            {
                "cutter": number,
                "program_units": "mm",
                "work_offsets": {},
                "block_delete": False,
                "arc_tolerance": 0.01,
            }
            for number in (2**31, 10**30, float("inf"))
        ),
    ],
)
def test_otherwise__what_cannot_be_read_as_it_was_is_another_run(plain, tmp_path, reading):
    job, kept = plain
    held = members(kept)
    told = json.loads(held["about.json"])
    told["setups"][1] |= {"reading": reading, "name": "two\x1b[2J"}
    held["about.json"] = json.dumps(told).encode()
    write_members(tmp_path / "other.npz", held)
    model = read_job(job)
    other = Kept(tmp_path / "other.npz")
    assert other.otherwise(model, read_programs(model), 1, 0, LAST) == ["two.nc from line 5 on"]
    assert "\x1b" not in other.setups[1]["name"]
