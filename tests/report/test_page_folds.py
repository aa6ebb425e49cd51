"""Findings that are alike are folded under the worst of them; colours keep their contrast in any scheme."""

import itertools
import re
from types import SimpleNamespace

import pytest

from simkit.report.lengths import Lengths
from simkit.report.page.findings import MOST_OPEN, MOST_OPEN_OF_KIND, findings_part
from simkit.report.page.html import Html, el
from simkit.report.page.page import asset, document
from tests.page.webdriver import CHROMIUM, DRIVER, Browser
from tests.report.test_page import Tags

ROW = {
    "severity": "beyond", "value": 0.5, "bound": 0.01, "unit": "mm", "limit": 0.3, "measure": "", "zone": "",
    "cutter": "", "reason": "", "returned": "", "faces": [], "moments": [], "message": "too much",
    "advice": "", "at": None, "program_at": None, "side": None, "setup": None, "file": "", "line": None,
}  # fmt: skip


def part(*causes):
    """The column of causes, each a kind and how many findings it has."""
    findings, rows = [], []
    for kind, count in causes:
        numbers = list(range(len(findings) + 1, len(findings) + count + 1))
        findings += [ROW | {"number": number, "kind": kind, "value": 9 - number / 100} for number in numbers]
        rows.append({"kind": kind, "findings": numbers})
    told = {"findings": findings, "causes": rows}
    return findings_part(told, SimpleNamespace(), SimpleNamespace(), lambda row: None, Lengths("mm"))


def shown(text):
    """Numbers of the findings that stand open, and the words of each fold on the outermost level."""
    depth, numbers, folds = 0, [], []
    for found in re.finditer(r'<details|</details>|<article id="f(\d+)"|<summary>(.*?)</summary>', text):
        depth += {"<details": 1, "</details>": -1}.get(found[0], 0)
        if found[1] and depth == 0:
            numbers.append(int(found[1]))
        if found[2] and depth == 1:
            folds.append(found[2])
    return numbers, folds


def test_findings__of_one_cause_only_the_worst_stands_open():
    text = part(("gouge", 7), ("cusp", 1))
    numbers, folds = shown(text)
    assert numbers == [1, 8]
    assert folds == ["6 more of this cause, 2 to 7: 8.98 ±0.01 mm the first"]
    ids = [attributes["id"] for _, attributes in Tags(text).tags if attributes.get("id", "").startswith("f")]
    assert sorted(set(ids) - {"findings"}) == [f"f{number}" for number in range(1, 9)]  # none is lost


def test_findings__of_many_causes_each_kind_shows_its_worst_and_folds_the_rest():
    numbers, folds = shown(part(*[("gouge", 1)] * 8, *[("cusp", 1)] * 30, *[("bite", 1)] * 30, ("travel", 2)))
    assert len(numbers) <= MOST_OPEN + 1
    kinds = {1: "gouge", 9: "cusp", 39: "bite", 69: "travel"}
    assert set(kinds) <= set(numbers)  # the first of each kind, however late it comes
    assert numbers[:MOST_OPEN_OF_KIND] == [1, 2, 3]
    assert folds[0].startswith("1 more of this cause: 8.30")  # 9 less a hundredth for each before it
    assert folds[1].startswith("5 more of gouge, of 5 causes, 4 to 8")


@pytest.mark.skipif(
    CHROMIUM is None or DRIVER is None, reason="Debian's chromium and chromium-driver are not installed"
)
def test_print__shows_what_is_folded_and_nothing_to_click(tmp_path):
    larger = el("input", type="checkbox", id="a", class_="larger") + el(
        "label", "Larger", for_="a", class_="screen-only"
    )
    text = document("folds", el("main", part(("gouge", 7)), Html(larger)))
    (tmp_path / "folds.html").write_text(text, encoding="utf-8")
    tall = (
        "const seen = (one) => one.checkVisibility({ contentVisibilityAuto: true });"
        "return [...document.querySelectorAll(arguments[0])]"
        ".map((one) => seen(one) ? one.getBoundingClientRect().height : 0)"
    )
    browser = Browser(tmp_path, 800, 900)
    try:
        browser.open((tmp_path / "folds.html").as_uri())
        assert [high > 0 for high in browser.run(tall, ".finding")] == [True, False, False, False]
        assert browser.run(tall, "label")[0] > 0
        browser.be_print()
        assert all(high > 0 for high in browser.run(tall, ".finding, .fold tbody tr"))
        assert browser.run(tall, "label") == [0]
    finally:
        browser.end()


def luminance(colour):
    """WCAG 2.2, "relative luminance"."""
    digits = colour * 2 if len(colour) == 3 else colour
    values = [int(digits[k : k + 2], 16) / 255 for k in (0, 2, 4)]
    linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in values]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    """WCAG 2.2, "contrast ratio"."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def schemes():
    blocks = re.findall(r":root \{(.*?)\}", asset("style.css"), re.DOTALL)
    return [dict(re.findall(r"--([\w-]+): #([0-9a-f]+);", block)) for block in blocks]


def test_contrast__of_known_pairs():
    assert contrast("000", "ffffff") == pytest.approx(21)  # WCAG 2.2: contrast goes from 1 to 21
    assert contrast("777777", "fff") < 4.5 < contrast("767676", "fff")  # the greys on either side of AA


@pytest.mark.parametrize("scheme", range(3), ids=["light", "dark", "print"])
def test_colours__keep_the_contrast_that_wcag_asks(scheme):
    """4.5 to 1 for words (1.4.3), 3 to 1 for lines and areas that mean something (1.4.11)."""
    found = schemes()
    assert len(found) == 3
    colours = found[0] | found[scheme]
    for word, ground in itertools.product(("ink", "quiet"), ("paper", "soft")):
        assert contrast(colours[word], colours[ground]) >= 4.5, (word, ground)
    for ground in ("line", "wood"):  # the line of the program; words on the sketches
        assert contrast(colours["ink"], colours[ground]) >= 4.5
    for mark in ("ink", "quiet", "deep-line", "proud", "part", "target", "wood-line"):
        assert contrast(colours[mark], colours["paper"]) >= 3, mark
    assert contrast(colours["part"], colours["wood"]) >= 3
