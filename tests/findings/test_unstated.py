"""What the job does not say is told, so that 'within limits' is not taken for more than it is."""

import json

from simkit.cli import main
from tests.runs.some_jobs import write_two_sided
from tests.small_job import HEAD, JOB, block


def told(folder, *more):
    main(["check", str(folder / "job.toml"), "--cell", "1", "--json", str(folder / "r.json"), *more])
    return json.loads((folder / "r.json").read_text("utf-8"))["not_judged"]


def written(folder, job, program="G0 X0 Y0\nZ15\nM30\n"):
    block(0, 40, 0, 30, 0, 12).export(folder / "part.stl")
    (folder / "top.nc").write_text(HEAD + program, encoding="utf-8")
    (folder / "job.toml").write_text(job, encoding="utf-8")
    return folder


def test_a_bare_job__each_key_that_is_missing_is_named(tmp_path, capsys):
    words = told(written(tmp_path, JOB))
    assert words == [
        "the ends of the machine's travel (machine.low, machine.high)",
        "speeds of the spindle (machine.spindle)",
        "clamps and stops in 'top', none is stated ([[fixtures]])",
        "whether neck or shank rub: T1 (cutting_length, shank)",
        "whether the holder rubs: T1 (stick_out, holder)",
        "chips: T1 (flutes, chip_load)",
        "deep slots: T1 (slot_depth)",
        "steep plunges: T1 (plunge_angle)",
        "the height of ridges between passes (limits.cusp)",
    ]
    shown = " ".join(capsys.readouterr().out.split())
    assert "Not judged, as the job does not say: the ends of the machine's travel (machine.low" in shown


def test_a_full_job__nothing_is_missing(tmp_path):
    stated = (
        "diameter = 6\nflutes = 2\ncutting_length = 20\nshank = 6\nstick_out = 35\nholder = [[30, 30, 40]]\n"
        "chip_load = [0.01, 0.2]\nslot_depth = 1\nplunge_angle = 90\n"
    )
    job = JOB.replace("diameter = 6\n", stated).replace("[limits]\n", "[limits]\ncusp = 0.1\n")
    job = job.replace('turn = "none"\n', 'turn = "none"\nmachine_zero = [100, 100, -100]\n')
    job += "[machine]\nlow = [0, 0, -200]\nhigh = [800, 600, 0]\nspindle = [1000, 20000]\n"
    job += '[[fixtures]]\nname = "stop"\nbox = [[-20, 0], [-10, 10]]\nheight = 8\n'
    job += '[[holding]]\nkind = "tape"\nbox = [[0, 0], [40, 30]]\n'
    assert told(written(tmp_path, job)) == [
        "whether tape or vacuum hold against the cutting force (holding[].grip)"
    ]
    full = job + "grip = 0.05\n"
    assert told(written(tmp_path, full)) == []
    # A work zero in machine coordinates is missing in one setup alone.
    assert told(written(tmp_path, full.replace("machine_zero = [100, 100, -100]\n", ""))) == [
        "the ends of travel in 'top' (setups[].machine_zero)"
    ]


def test_only_cutters_that_are_called_and_setups_that_lack_it_are_named(tmp_path):
    write_two_sided(tmp_path)
    job = (tmp_path / "job.toml").read_text("utf-8")
    job += '[[fixtures]]\nname = "stop"\nsetups = ["above"]\nbox = [[-20, 0], [-10, 10]]\nheight = 8\n'
    job = job.replace("[[setups]]", '[cutters.9]\nshape = "ball"\ndiameter = 3\n[[setups]]', 1)
    (tmp_path / "job.toml").write_text(job, encoding="utf-8")
    words = told(tmp_path, "--report", str(tmp_path / "r.html"))
    assert "clamps and stops in 'below', none is stated ([[fixtures]])" in words
    assert not [one for one in words if "T9" in one or "cusp" in one or "spindle" in one]
    assert [one for one in words if one.startswith("deep slots: T2 (")]
    page = (tmp_path / "r.html").read_text("utf-8")
    assert "Not judged, as the job does not say" in page
    assert "none is stated ([[fixtures]])" in page
    # Right below the verdict too, without the keys.
    assert "none is stated;" in page[: page.index("The job as it was understood")]


def test_pins__the_setups_that_lie_on_them_and_do_not_say_how_high_they_stand(tmp_path):
    write_two_sided(tmp_path)
    job = (tmp_path / "job.toml").read_text("utf-8")
    assert "[[dowels]]" in job
    assert [one for one in told(tmp_path) if "pin" in one.split("(")[0]] == [
        "whether a cutter meets a dowel pin in 'above' (setups[].pin_height)"
    ]  # the holes are drilled from below
    stated = job.replace('name = "above"\n', 'name = "above"\npin_height = 5\n')
    assert stated != job
    (tmp_path / "job.toml").write_text(stated, encoding="utf-8")
    assert not [one for one in told(tmp_path) if "dowel pin" in one]


def test_chips__only_the_key_that_is_missing_is_named(tmp_path):
    for stated, words in (
        ("flutes = 2\n", "chips: T1 (chip_load)"),
        ("chip_load = [0.01, 0.2]\n", "chips: T1 (flutes)"),
        ("chip_load = [0.01, 0.2]\nflutes = 2\n", None),
    ):
        job = JOB.replace("diameter = 6\n", "diameter = 6\n" + stated)
        found = [one for one in told(written(tmp_path, job)) if one.startswith("chips")]
        assert found == ([] if words is None else [words])


def test_jig__is_held_against_cutters_without_a_word_more(tmp_path):
    jig = JOB.split("[target]")[0].replace("length = 40\nwidth = 30", "length = 60\nwidth = 50")
    pocket = HEAD + "G0 X8 Y8\nG1 Z9 F600\nX52\nG0 Z20\nM30\n"
    (tmp_path / "jig.toml").write_text(jig.replace("top.nc", "jig.nc"), encoding="utf-8")
    (tmp_path / "jig.nc").write_text(pocket, encoding="utf-8")
    job = JOB.replace('turn = "none"\n', 'turn = "none"\njig = "jig.toml"\njig_at = [10, 10, 12]\n')
    assert not [one for one in told(written(tmp_path, job)) if "cutter meets" in one]
