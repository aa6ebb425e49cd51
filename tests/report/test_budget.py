"""The budget as it is told: result, terminal, page and picture."""

import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from simkit.check import check
from simkit.cli import main
from simkit.job.reader import read_job
from simkit.program.job_programs import read_programs
from simkit.report.budget_view import draw_budget, sectors_of
from simkit.report.lengths import Lengths
from simkit.report.page.budget import budget_part
from simkit.report.result import result_of
from tests import budget_job

STATED = "[budget]\nzero_setting = 0.08\nscatter = 0.02\nmoisture_change = 0.5\n"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("told")
    job = read_job(budget_job.write(folder, more=STATED))
    return folder, result_of(*check(job, read_programs(job), 0.5))


def test_terminal__tells_region_errors_and_chance(made, capsys):
    folder, _ = made
    main(["check", str(folder / "job.toml"), "--cell", "0.5", "--json", str(folder / "r.json")])
    out = " ".join(capsys.readouterr().out.split())
    assert "How far side 2 may land off its place until a limit breaks" in out
    assert "to the left 0.09" in out
    assert "setting the zero, front and back up to 0.08 mm either way, all as likely" in out
    assert "within 0.039 mm in 95 of 100 cases" in out
    assert "at risk" in out
    assert "Work first on setting the zero: without that error it would be" in out
    assert "Left out, not stated in [budget] or [[dowels]]: setting the zero's height" in out
    budget = json.loads((folder / "r.json").read_text("utf-8"))["budget"]
    assert budget["chance"]["verdict"] == "at risk"
    assert 0.5 < budget["chance"]["holds"] < 0.95
    assert budget["chance"]["work_on"] == "setting the zero"
    alone = [part["holds_without"] for part in budget["contributions"]]
    assert budget["chance"]["holds"] - 0.01 < min(alone)
    assert max(alone) < budget["chance"]["holds_without"] <= 1
    assert sum(part["share"] for part in budget["contributions"]) == pytest.approx(1, abs=0.001)


def test_result__binds_are_named_as_the_operator_sees_them(made):
    budget = made[1]["budget"]
    right = next(axis for axis in budget["axes"] if axis["name"] == "right")
    bind = budget["binds"][right["high_binds"]]
    assert bind["kind"] == "gouge"
    x, y, _ = bind["at"]
    assert bind["words"] == (
        f"cut too deep on side 2, {x:.0f} mm from the left, {budget_job.WIDTH - y:.0f} mm from the front"
    )
    assert right["low"] < 0 < right["high"]


def test_picture__is_the_same_each_time_and_readable_in_grey(made, tmp_path):
    budget = made[1]["budget"]
    first, second = (draw_budget(tmp_path / name, budget, "a part") for name in ("a.png", "b.png"))
    assert Path(first).read_bytes() == Path(second).read_bytes()
    grey = np.asarray(Image.open(first).convert("L")).astype(int)
    # The region is light grey on white, its border much darker than both.
    values, counts = np.unique(grey, return_counts=True)
    assert counts[values == 233].sum() > 50_000
    assert ((grey > 60) & (grey < 130)).sum() > 3_000


def test_sectors__go_once_round(made):
    sectors = sectors_of(made[1]["budget"])
    covered = sorted((first + nth) % 48 for first, count, _ in sectors for nth in range(count))
    assert covered == list(range(48))
    assert all(count <= 18 for _, count, _ in sectors)


def test_sectors__one_for_each_limit():
    kinds = [0] * 20 + [1] * 8 + [0] * 20
    budget = {
        "plan": [
            {"shift": [np.cos(k * np.pi / 24) * (1 + k / 99), np.sin(k * np.pi / 24)], "binds": kind}
            for k, kind in enumerate(kinds)
        ],
        "binds": [{"kind": "gouge"}, {"kind": "leftover"}],
    }
    found = sectors_of(budget)
    assert (20, 8) in [(first, count) for first, count, _ in found]
    assert sum(count for _, count, _ in found) == 48


def test_page__has_the_tables_and_nothing_that_is_not_escaped(made):
    text = str(budget_part(made[1], Lengths("mm")))
    assert "How much error the second side bears" in text
    assert "Errors that the job states" in text
    told = json.loads(json.dumps(made[1]))
    told["budget"]["setup"] = "<b>"
    assert "<b>" not in str(budget_part(told, Lengths("in")))
    assert re.search(r"\d in\b", str(budget_part(told, Lengths("in"))))
    assert not re.search(r"\d in\b", text)


def test_page__of_a_job_beyond_its_limit_and_of_one_without(made):
    told = json.loads(json.dumps(made[1]))
    told["budget"].update(beyond=0, axes=[], plan=[])
    assert "A limit is broken already" in str(budget_part(told, Lengths("mm")))
    assert budget_part({"budget": None}, Lengths("mm")) is None


def test_wrong_turn_and_one_side__have_none(made, tmp_path):
    job = read_job(budget_job.write(tmp_path))
    turned = replace(job, setups=(job.setups[0], replace(job.setups[1], turn="about y")))
    result = result_of(*check(turned, read_programs(turned), 0.5))
    assert result["budget"] is None
    alone = replace(job, setups=job.setups[:1])
    assert result_of(*check(alone, read_programs(alone), 0.5))["budget"] is None
