"""Chip loads, plunges, slots, spindle speeds: planted, each told once on its line; what could be faster."""

import json
import math

import pytest

from simkit.cli import main
from tests.small_job import JOB

PLAIN = JOB.replace('[target]\nmesh = "part.stl"\nunits = "mm"\n', "spoilboard = 3\n").replace(
    "diameter = 6", "diameter = 6\nflutes = 2"
)
HEAD = "G21 G90 G17\nT1 M6\nS18000 M3\nG0 X8 Y8 Z14\n"
# Down a ramp into a slot, back along its floor, out; the blank is 12 thick.
SLOT = HEAD + "G1 Z12 F1200\nX30 Z9 F1200\nX8 F2400\nX30 Y8\nG0 Z14\nM30\n"


def found(folder, program, job=PLAIN):
    """Exit status and the result of a check."""
    (folder / "top.nc").write_text(program, encoding="utf-8")
    (folder / "job.toml").write_text(job, encoding="utf-8")
    words = ["check", str(folder / "job.toml"), "--quiet", "--cell", "0.2", "--json", str(folder / "r.json")]
    return main(words), json.loads((folder / "r.json").read_text("utf-8"))


def rows_of(result):
    return [(row["kind"], row["severity"], row["line"]) for row in result["findings"]]


def with_cutter(words):
    return PLAIN.replace("flutes = 2", f"flutes = 2\n{words}")


def test_nothing_stated__nothing_judged(tmp_path):
    status, result = found(tmp_path, SLOT)
    assert (status, result["findings"]) == (0, [])


@pytest.mark.parametrize(
    ("words", "kind", "line", "value", "limit"),
    [
        # 2400 / (2 x 18000) = 0.0667; the way down runs at half of it, and that is on purpose.
        ("chip_load = [0.02, 0.05]", "chip-load", 7, 2400 / 36000, 0.05),
        ("chip_load = [0.08, 0.2]", "chip-load", 7, 2400 / 36000, 0.08),
        ("plunge_angle = 5", "bite", 6, 7.765, 5.0),  # 3 down over 22
        ("slot_depth = 0.3", "bite", 7, 3.0, 1.8),
    ],
)
def test_planted__is_told_once_on_its_line(tmp_path, words, kind, line, value, limit):
    program = SLOT
    if "slot_depth" in words:  # straight down, then the whole slot at once
        program = HEAD + "G1 Z12 F600\nZ9\nX30 F2400\nG0 Z14\nM30\n"
    elif kind == "chip-load":  # a second pass, level, takes wood from one side
        program = SLOT.replace("X8 F2400\nX30 Y8\n", "Y10 F2400\nX8\n")
        line = 8
    status, result = found(tmp_path, program, with_cutter(words))
    assert status == 0  # a warning does not fail a check
    assert rows_of(result) == [(kind, "warning", line)]
    row = result["findings"][0]
    assert row["value"] == pytest.approx(value, abs=1e-3)
    assert row["limit"] == pytest.approx(limit)
    assert row["cutter"] == "T1 6 mm flat"
    # A job that allows it has nothing told.
    ends = {"chip_load": "[0.01, 0.5]", "plunge_angle": "90", "slot_depth": "2"}
    key = words.split(" = ")[0]
    assert found(tmp_path, program, with_cutter(f"{key} = {ends[key]}"))[1]["findings"] == []


@pytest.mark.parametrize(("spindle", "limit"), [("[8000, 16000]", 16000), ("[20000, 24000]", 20000)])
def test_spindle__speed_out_of_its_range(tmp_path, spindle, limit):
    status, result = found(tmp_path, SLOT, PLAIN + f"[machine]\nspindle = {spindle}\n")
    assert (status, rows_of(result)) == (0, [("spindle-speed", "warning", 3)])
    row = result["findings"][0]
    assert row["column"] == 1  # the S word itself
    assert (row["value"], row["limit"], row["unit"]) == (18000, limit, "rev/min")
    assert found(tmp_path, SLOT, PLAIN + "[machine]\nspindle = [18000, 18001]\n")[1]["findings"] == []


@pytest.mark.parametrize(("z", "told"), [(11.0, True), (12.0, False)])
def test_plunge__mostly_through_air_counts_what_is_in_wood(tmp_path, z, told):
    # From 26 down to 11 at 45 degrees, the wood 12 high: the last millimetre is in wood.
    program = HEAD.replace("Z14", "Z26") + f"G1 X{8 + 26 - z:g} Z{z:g} F600\nG0 Z26\nM30\n"
    job = with_cutter("plunge_angle = 10")
    _, result = found(tmp_path, program, job)
    assert [row["kind"] for row in result["findings"]] == ["bite"] * told + ["setup"] * (not told)
    if told:
        assert result["findings"][0]["value"] == pytest.approx(45.0, abs=0.01)
        assert "1.0 mm in all" in result["findings"][0]["message"]


@pytest.mark.parametrize(("shape", "depth"), [("flat", 3.0), ("ball", 1.0), ('vee"\npoint = "90', 2.0)])
def test_plunge__of_every_shape_is_told(tmp_path, shape, depth):
    job = with_cutter("plunge_angle = 60").replace('"flat"', f'"{shape}"').replace('"90"', "90")
    program = HEAD + f"G1 Z{12 - depth:g} F600\nG0 Z14\nM30\n"
    (row,) = found(tmp_path, program, job)[1]["findings"]
    assert (row["kind"], row["line"], row["value"]) == ("bite", 5, 90.0)


def test_slot__a_short_deep_end_of_a_long_move_is_told(tmp_path):
    # A wide shelf to X16 leaves 1 mm there for the long move, and 4 mm behind it: limit 2.4.
    shelf = "G1 X5 Y-5 Z9 F2400\nY35\nX11\nY-5\nX13\nY35\nG0 Z14\nX5 Y15\nG1 Z8 F600\n"
    program = HEAD.replace("X8 Y8", "X5 Y-5") + shelf + "X30 F2400\nG0 Z14\nM30\n"
    _, result = found(tmp_path, program, with_cutter("slot_depth = 0.4"))
    told = [row for row in result["findings"] if row["line"] == 14]
    assert [(row["kind"], row["value"]) for row in told] == [("bite", pytest.approx(4.0, abs=1e-3))]
    assert found(tmp_path, program, with_cutter("slot_depth = 0.7"))[1]["findings"] == []


def test_chips__seconds_for_short_moves_and_cutters_without_a_speed(tmp_path):
    program = HEAD + "G1 Z9 F600\nX30 F2400\nG0 Z14\nM30\n"
    job = with_cutter("chip_load = [0.02, 0.05]")
    _, result = found(tmp_path, program, job)
    (row,) = result["findings"]
    # 22 mm at 2400 mm/min, and speeding up.
    assert row["message"].endswith("for 1 s")
    assert result["bite"]["not_judged"] == []
    _, result = found(tmp_path, program.replace("S18000 M3\n", ""), "spindle_by_hand = true\n" + job)
    assert result["findings"] == []
    (words,) = result["bite"]["not_judged"]
    assert words == "chips of T1 6 mm flat where no speed of the spindle is in force (S with M3)"


def test_drill__goes_straight_down(tmp_path):
    job = with_cutter("slot_depth = 0.3").replace('"flat"', '"drill"')
    program = HEAD + "G1 Z2 F600\nG0 Z14\nM30\n"
    assert found(tmp_path, program, job)[1]["findings"] == []


def test_result__time_and_bite(tmp_path):
    job = PLAIN.replace("thickness = 12", "thickness = 12\ncutting_force = 25")
    job += "[machine]\nspeed = [9000, 9000, 3000]\n"
    program = HEAD + "G1 Z9 F600\nX30 F2400\nG0 Z14\nM30\n"
    _, result = found(tmp_path, program, job)
    time, (bite,) = result["time"], result["bite"]["rows"]
    assert time["machine"]["speed"] == [9000, 9000, 3000]
    assert "mm/min" not in time["note"]
    row = time["programs"][0]["cutters"][0]
    # Down from 14 to 9 two of five millimetres are air: at 600 mm/min and 300 mm/s2 5 / 10 + 10 / 300 s.
    assert row["air"] == pytest.approx(2 / 5 * (5 / 10 + 10 / 300) / 60, abs=1e-4)
    assert row["in_wood"] + row["air"] == pytest.approx(row["cutting"])
    assert time["minutes"] == pytest.approx(row["cutting"] + row["rapids"] + 64 / 60, abs=1e-3)
    assert bite["depth"] == pytest.approx(3.0)
    assert bite["width"] == pytest.approx(6.0, abs=bite["width_bound"])
    # Where the widest cut is the cutter's: half a turn.
    assert bite["engagement"] == pytest.approx(180.0, abs=20.0)
    assert bite["per_tooth"] == [pytest.approx(2400 / 36000, abs=1e-4)] * 2
    assert bite["chip_range"] == [pytest.approx(0.048), pytest.approx(0.15)]
    assert not bite["chip_range_stated"]
    assert bite["power"] == pytest.approx(25 * bite["removal"] / 60000, abs=0.01)
    # Along the slot 3 x 6 x 22 mm3 in its time.
    assert bite["removal"] <= 3 * 6 * 2400 * 1.01
    assert bite["line"] == 6
    (along,) = result["along"]
    assert along["line"] == [5, 6]
    assert along["minutes"] == sorted(along["minutes"])


def test_faster__high_lifts_air_and_slow_feeds(tmp_path):
    lifts = "".join(
        f"G0 Z150\nX{8 + n % 5} Y{8 + n}\nG1 Z11 F600\nX30 F100\nX8 F3000\nX30\nX8\n" for n in range(15)
    )
    _, result = found(tmp_path, HEAD + lifts + "M30\n")
    told = {row["kind"]: row for row in result["faster"]}
    assert {"safe height", "feed"} <= set(told)
    # 15 lifts of 136 mm too much, up at 4000 mm/min, down at the feed of 600.
    assert told["safe height"]["minutes"] == pytest.approx(15 * (136 / 4000 + 136 / 600), rel=0.05)
    assert "Z150" in told["safe height"]["words"]
    assert "Z14 clears the wood by 2 mm" in told["safe height"]["words"]
    # At 100 mm/min 0.0028 mm a tooth; 0.048 would be 1728 mm/min over some 20 mm, 15 times.
    way = sum(30 - 8 - n % 5 for n in range(15))
    assert told["feed"]["minutes"] == pytest.approx(way * (1 / 100 - 1 / 1728), rel=0.1)
    assert [row["minutes"] for row in result["faster"]] == sorted(
        (row["minutes"] for row in result["faster"]), reverse=True
    )


def test_faster__feed_through_air(tmp_path):
    program = HEAD + "G1 Z13 F600\n" + "X30 F100\nX8\n" * 4 + "G0 Z14\nM30\n"
    _, result = found(tmp_path, program)
    (row,) = [row for row in result["faster"] if row["kind"] == "air"]
    assert row["minutes"] == pytest.approx(8 * 22 / 100, rel=0.05)
    assert "top.nc:" in row["words"]


def test_faster__clamps_keep_the_lifts_high(tmp_path):
    lifts = "".join(f"G0 Z42\nX{8 + n % 5} Y{8 + n % 12}\nG1 Z11 F600\nX30 F2400\n" for n in range(60))
    job = PLAIN + '[[fixtures]]\nname = "clamp"\nheight = 40\nbox = [[-40, 5], [-20, 25]]\n'
    kinds = [row["kind"] for row in found(tmp_path, HEAD + lifts + "M30\n", job)[1]["faster"]]
    assert "safe height" not in kinds
    kinds = [row["kind"] for row in found(tmp_path, HEAD + lifts + "M30\n")[1]["faster"]]
    assert "safe height" in kinds


def test_faster__a_wider_cutter_for_an_open_field(tmp_path):
    job = PLAIN.replace("diameter = 6", "diameter = 2").replace("length = 40", "length = 140")
    passes = "".join(f"X{131 if n % 2 else 9} Y{2 + n} F600\nX{9 if n % 2 else 131}\n" for n in range(26))
    program = HEAD + "G1 Z9 F600\n" + passes + "G0 Z14\nM30\n"
    (row,) = [row for row in found(tmp_path, program, job)[1]["faster"] if row["kind"] == "roughing"]
    assert "one of 4 mm gets at" in row["words"]
    assert "wider cuts load the spindle and the work more" in row["words"]
    # Some 26 passes of 122 mm at 600 mm/min: half of it, and a change of cutter.
    assert row["minutes"] == pytest.approx(26 * 122 / 600 / 2 - 1, rel=0.15)
    # In a slot of its own width no wider one gets in.
    slot = HEAD + "G1 Z9 F600\n" + "".join(f"X131 F100\nX8 Z{9 - n}\n" for n in range(1, 7)) + "G0 Z14\nM30\n"
    assert [row for row in found(tmp_path, slot, job)[1]["faster"] if row["kind"] == "roughing"] == []


def test_still_spindle__s0_as_the_only_speed_fails_the_check(tmp_path):
    program = HEAD.replace("S18000", "S0") + "G1 Z10 F300\nX30\nG0 Z14\nM30\n"
    status, result = found(tmp_path, program)
    assert status == 1
    assert [row["line"] for row in result["findings"] if row["kind"] == "spindle-off"] == [5]


def test_still_spindle__no_m3_in_one_of_two_programs(tmp_path):
    # The other program switches the spindle itself, so nobody does it by hand, unless the job says so.
    (tmp_path / "first.nc").write_text(HEAD + "G1 Z11 F300\nG0 Z14\nM5\nM30\n", encoding="utf-8")
    job = PLAIN.replace('["top.nc"]', '["first.nc", "top.nc"]')
    program = HEAD.replace("S18000 M3\n", "") + "G1 Z10 F300\nX30\nG0 Z14\nM30\n"
    status, result = found(tmp_path, program, job)
    told = [(row["file"], row["line"]) for row in result["findings"] if row["kind"] == "spindle-off"]
    assert (status, told) == (1, [("top.nc", 4)])
    status, result = found(tmp_path, program, "spindle_by_hand = true\n" + job)
    assert (status, [row for row in result["findings"] if row["kind"] == "spindle-off"]) == (0, [])
    # In no program one: only a warning.
    (tmp_path / "first.nc").write_text(program, encoding="utf-8")
    status, result = found(tmp_path, program, job)
    assert (status, {row["kind"] for row in result["findings"]}) == (0, {"program"})


def test_plunge__a_short_ramp_before_a_long_pass_at_its_feed(tmp_path):
    # 0.9 mm down over 3 mm: atan(0.3) = 16.70 degrees, and then 22 mm along its floor.
    program = HEAD + "G0 Z12\nG1 X11 Z11.1 F1200\nX33\nG0 Z14\nM30\n"
    status, result = found(tmp_path, program, with_cutter("plunge_angle = 10"))
    (row,) = result["findings"]
    assert (status, row["kind"], row["line"]) == (0, "bite", 6)
    assert row["value"] == pytest.approx(math.degrees(math.atan(0.3)), abs=1e-3)
    assert found(tmp_path, program, with_cutter("plunge_angle = 17"))[1]["findings"] == []


def test_verdict__within_limits_says_that_there_are_warnings(tmp_path):
    program = HEAD.replace("M3", "M4") + "G1 X30 Z11 F300\nG0 Z14\nM30\n"
    status, result = found(tmp_path, program)
    assert status == 0
    sentence = result["verdict"]["sentence"]
    assert sentence.startswith("Within limits: nothing to fix was found, but 1 warning to look at.")


def short_moves(feed):
    """A zigzag of moves of 2 mm along a slot, a fresh corner at each: the feed is never reached."""
    moves = "".join(f"X{8 + 2 * (n // 2 + n % 2)} Y{8 + 2 * (n // 2)}\n" for n in range(1, 9))
    return HEAD + f"G1 Z11 F600\nF{feed}\n{moves}G0 Z14\nM30\n"


def test_chip_load__that_is_never_reached_is_told_as_such(tmp_path):
    job = with_cutter("chip_load = [0.06, 0.2]") + "[machine]\nrounding = 0.0001\n"
    (row,) = [
        one for one in found(tmp_path, short_moves(3600), job)[1]["findings"] if one["kind"] == "chip-load"
    ]
    # 0.1 mm a tooth as written; from rest over 1 mm at 500 mm/s2 and to rest again: 1897 mm/min.
    assert row["value"] == pytest.approx(60 * math.sqrt(500 * 2) / 36000, rel=0.05)
    assert row["limit"] == 0.06
    assert "its feed is never reached there" in row["message"]
    assert row["measure"] == "highest feed reached for each tooth and turn"
    # A slow feed that is reached is told as it is written.
    (row,) = found(tmp_path, short_moves(1200), job)[1]["findings"]
    assert row["value"] == pytest.approx(1200 / 36000, abs=1e-4)
    assert "as programmed" in row["message"]


def test_chip_load__too_much_as_written_says_what_is_reached(tmp_path):
    job = with_cutter("chip_load = [0.01, 0.08]") + "[machine]\nrounding = 0.0001\n"
    (row,) = found(tmp_path, short_moves(3600), job)[1]["findings"]
    assert row["value"] == pytest.approx(0.1)
    reached = float(row["message"].split("what is reached, ")[1].split(" mm")[0])
    assert reached == pytest.approx(60 * math.sqrt(500 * 2) / 36000, rel=0.05)
    (row,) = found(tmp_path, HEAD + "G1 Z11 F600\nX30 F3600\nG0 Z14\nM30\n", job)[1]["findings"]
    assert "what is reached" not in row["message"]


def test_not_judged__drills_and_cutters_without_edges_stated(tmp_path):
    program = HEAD + "G1 Z9 F600\nG0 Z14\nM30\n"
    assert found(tmp_path, program)[1]["bite"]["not_judged"] == []
    job = PLAIN.replace("flutes = 2", "")
    told = found(tmp_path, program, job)[1]["bite"]["not_judged"]
    assert told == ["chips of T1 6 mm flat (the job does not state its flutes)"]
    (words,) = found(tmp_path, program, PLAIN.replace('"flat"', '"drill"'))[1]["bite"]["not_judged"]
    assert words.startswith("chips of T1 6 mm drill (no usual range for drills")


def test_time__axis_that_limits_and_dwells_are_told(tmp_path, capsys):
    # Along 3, 4 the Y axis runs at 4/5 of the feed: 3000 there allow 3750.
    job = PLAIN + "[machine]\nspeed = [8000, 3000, 4000]\nacceleration = [5000, 5000, 5000]\n"
    program = HEAD + "G1 Z11 F600\nX20 Y24 F6000\nG4 P90\nX30 F1200\nG0 Z14\nM30\n"
    _, result = found(tmp_path, program, job)
    (row,) = result["time"]["programs"][0]["cutters"]
    way = 3 + 20 + 10
    (held,) = row["held"]
    assert (held["by"], held["feed"]) == ("Y", 6000)
    assert held["reached"] == pytest.approx(3750)
    assert held["part"] == pytest.approx(20 / way, abs=1e-3)
    assert row["feed_not_reached"] == 0
    assert result["time"]["programs"][0]["dwell"] == pytest.approx(1.5)
    capsys.readouterr()
    assert main(["check", str(tmp_path / "job.toml"), "--cell", "0.5"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "dwells 1.5 - - - 1.5 -" in out
    why = "axis Y (machine.speed) allows 3750 mm/min at most there, 61"
    assert f"top.nc T1: the feed of 6000 mm/min is not reached, {why}" in out
    assert f"{100 * 20 / way:.0f} % (+" in out


def test_faster__says_that_no_clamps_are_stated_and_what_a_wider_cutter_costs(tmp_path):
    lifts = "".join(f"G0 Z150\nX{8 + n % 5} Y{8 + n}\nG1 Z11 F600\nX30 F2400\n" for n in range(15))
    words = {row["kind"]: row["words"] for row in found(tmp_path, HEAD + lifts + "M30\n")[1]["faster"]}
    assert words["safe height"].endswith("the job states no clamps or stops: with any there, keep above them")
    stop = '[[fixtures]]\nname = "stop"\nheight = 5\nbox = [[-40, 5], [-20, 25]]\n'
    (words,) = [row["words"] for row in found(tmp_path, HEAD + lifts + "M30\n", PLAIN + stop)[1]["faster"]]
    assert words.endswith("Z14 clears the wood by 2 mm")
