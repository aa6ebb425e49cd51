"""What the report says of the job it was given, so that the person can see whether it is theirs."""

from simkit.cli import main
from tests.runs.some_jobs import write_two_sided

SCREW = '[[holding]]\nkind = "screw"\nat = [4, 20]\ndiameter = 4\n'


def test_report__names_what_holds_the_work_and_all_limits(tmp_path, capsys):
    path = write_two_sided(tmp_path)
    text = path.read_text("utf-8").replace("thinnest_wall = 3", "thinnest_wall = 2.75")
    text = text.replace("cusp = 0.05", "cusp = 0.45")
    path.write_text(text + SCREW, encoding="utf-8")
    out = tmp_path / "r.html"
    main(["check", str(path), "--cell", "0.5", "--report", str(out)])
    page, shown = out.read_text("utf-8"), capsys.readouterr().out
    screw = "screw: x 2 to 6, y 18 to 22, round, 4 mm across"
    assert f"<dt>Held by</dt><dd>{screw}</dd>" in page
    assert f"<dt>Held by</dt><dd>clamp: x 0 to 60, y 0 to 40; {screw}</dd>" in page  # of its own besides
    assert page.count(f"> held by {screw}</label>") == 2  # to tick off before each setup
    for words in (page, shown):
        assert "thinnest wall 2.75" in words
        assert "step where the sides meet 0." in words
        assert "dowel hole off its pin 0." in words
        assert "ridge between passes 0.45" in words
