"""What a check prints: the verdict first and last, findings right above it, files that were written named."""

import json

from simkit.cli import main
from simkit.report.shown import wrapped
from tests.findings.programs import faced
from tests.small_job import JOB, block


def test_wrapped__breaks_between_words_and_sets_in():
    text = "short\n  note: one two three four\nlongwordthatcannotbebroken"
    assert wrapped(text, 16) == "short\n  note: one two\n    three four\nlongwordthatcannotbebroken"
    assert wrapped(text, 80) == text


def test_check__verdict_first_and_last_and_files_named(tmp_path, capsys):
    block(0, 40, 0, 30, 0, 10).export(tmp_path / "part.stl")
    (tmp_path / "top.nc").write_text(faced(9.5), encoding="utf-8")
    job = JOB.replace("diameter = 6", "diameter = 6\nstick_out = 30")
    (tmp_path / "job.toml").write_text(job, encoding="utf-8")
    report, kept, data = (tmp_path / name for name in ("r.html", "field.npz", "r.json"))
    words = ["check", str(tmp_path / "job.toml"), "--cell", "0.5", "--report", str(report)]
    words += ["--keep-field", str(kept), "--json", str(data)]
    assert main(words) == 1
    told = capsys.readouterr()
    assert [line for line in told.err.splitlines() if line.startswith("wrote")] == [
        f"wrote {path}" for path in (report, kept, data)
    ]
    assert "wrote" not in told.out
    sentence = json.loads(data.read_text("utf-8"))["verdict"]["sentence"]
    flat = " ".join(told.out.split())
    assert flat.startswith(sentence)
    assert flat.endswith(sentence)
    last = " ".join(" ".join(told.out.splitlines()[-24:]).split())  # what a small terminal still shows
    assert "gouge" in last
    assert "Measure the blank first" in last
    assert max(map(len, told.out.splitlines())) <= 140
    # The stick-out of a cutter stands once in the list to tick off.
    ticks = report.read_text("utf-8").partition('class="ticks"')[2].partition("</ul>")[0]
    assert ticks.count("sticking out 30 mm as stated") == 1
    assert ticks.count("stick") == 1

    assert main([*words[:4], "--quiet", "--json", str(data)]) == 1
    told = capsys.readouterr()
    assert (told.out.strip(), told.err) == (sentence, "")
