"""The report's 3-D view turns to a finding that is chosen, in a real browser, from the file alone."""

import pytest

from simkit.cli import main
from tests.findings.programs import dug, faced
from tests.page.webdriver import CHROMIUM, DRIVER, Browser, until
from tests.small_job import JOB, block

pytestmark = pytest.mark.skipif(
    CHROMIUM is None or DRIVER is None, reason="Debian's chromium and chromium-driver are not installed"
)
# Where the number of the chosen finding stands on the canvas, as shares of its width and height.
PLACE = """const spot = document.querySelector(".stage .chosen"), canvas = document.querySelector("canvas");
const a = spot.getBoundingClientRect(), b = canvas.getBoundingClientRect();
const middle = (one) => [one.left + one.width / 2, one.top + one.height / 2], [x, y] = middle(a);
return [spot.textContent, (x - b.left) / b.width, (y - b.top) / b.height];"""


# Middle, width and height of each label in sight, as it stands, and the place it belongs to: at the end
# of its line, which is its ::before.
LABELS = """return [...document.querySelectorAll(".stage span")].filter((one) => !one.hidden).map((one) => {
  const box = one.getBoundingClientRect(), line = getComputedStyle(one, "::before");
  const way = new DOMMatrix(line.transform), far = line.content === "none" ? 0 : parseFloat(line.width);
  const [x, y] = [box.left + box.width / 2, box.top + box.height / 2];
  return [one.textContent, x, y, box.width, box.height, x + way.a * far, y + way.b * far];
});"""


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    made = opened(tmp_path_factory, (5, 5, 9.5, 9, 5), (31, 24, 9.2, 35, 24))  # two slots, far apart
    yield made
    made.end()


@pytest.fixture(scope="module")
def behind_each_other(tmp_path_factory):
    rows = [(18, y, 9.5 - y / 200, 22, y) for y in (6, 15, 24)]
    made = opened(tmp_path_factory, *rows)
    yield made
    made.end()


def opened(tmp_path_factory, *slots):
    folder = tmp_path_factory.mktemp("report")
    block(0, 40, 0, 30, 0, 10).export(folder / "part.stl")
    program = dug(faced(10), *slots)
    (folder / "top.nc").write_text(program, encoding="utf-8")
    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    words = ["--quiet", "--cell", "0.5", "--report", str(folder / "r.html")]
    assert main(["check", str(folder / "job.toml"), *words]) == 1
    made = Browser(folder, 1000, 900)
    made.open((folder / "r.html").as_uri())
    until(lambda: made.run("return document.getElementById('solid').dataset.covered"))
    return made


def is_there(browser, number):
    """Whether this finding is chosen and stands in the middle of the view, which frames follow."""
    if not browser.run("return document.querySelector('.stage .chosen')"):
        return False
    told, x, y = browser.run(PLACE)
    return told == number and abs(x - 0.5) < 0.02 and abs(y - 0.5) < 0.02


def test_view__turns_to_the_finding_that_is_chosen(browser):
    browser.run(
        """const select = document.querySelector("[name=finding]");
        select.value = "2";
        select.dispatchEvent(new Event("input", { bubbles: true }));"""
    )
    until(lambda: is_there(browser, "2"))


def test_findings__lead_to_their_place_in_the_view(browser):
    browser.click("#f1 a[data-turn]")
    until(lambda: is_there(browser, "1"))
    assert browser.run("return document.querySelector('[name=finding]').value") == "1"
    assert browser.run("return location.hash") == "#solid"
    assert browser.complaints() == []


def test_numbers_of_findings__stand_beside_each_other(behind_each_other):
    """Three slots of one x, seen from the front: their places are one above the other within some pixels."""
    browser = behind_each_other
    browser.click("[data-act=front]")

    def labels():
        rows = browser.run(LABELS)
        meant = [row[5:] for row in rows if row[0].isdigit()]
        is_there = len(rows) == 7 and len(meant) == 3
        near = 20  # pixels: numbers that far from each other hide each other
        return (
            rows
            if is_there and max(abs(a[k] - b[k]) for a in meant for b in meant for k in (0, 1)) < near
            else None
        )

    rows = until(labels)
    left, top, right, bottom = browser.run(
        """const a = document.querySelector("canvas").getBoundingClientRect();
        return [a.left, a.top, a.right, a.bottom];"""
    )
    for i, (words, x, y, wide, high, *_) in enumerate(rows):
        for other, x2, y2, wide2, high2, *_ in rows[:i]:
            apart = abs(x - x2) >= (wide + wide2) / 2 or abs(y - y2) >= (high + high2) / 2
            assert apart, (words, other)
        is_whole = (
            left <= x - wide / 2 < x + wide / 2 <= right and top <= y - high / 2 < y + high / 2 <= bottom
        )
        assert is_whole, words
    assert browser.complaints() == []
