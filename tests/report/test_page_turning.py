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


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    folder = tmp_path_factory.mktemp("report")
    block(0, 40, 0, 30, 0, 10).export(folder / "part.stl")
    program = dug(faced(10), (5, 5, 9.5, 9, 5), (31, 24, 9.2, 35, 24))  # two slots, far apart
    (folder / "top.nc").write_text(program, encoding="utf-8")
    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    words = ["--quiet", "--cell", "0.5", "--report", str(folder / "r.html")]
    assert main(["check", str(folder / "job.toml"), *words]) == 1
    made = Browser(folder, 1000, 900)
    made.open((folder / "r.html").as_uri())
    until(lambda: made.run("return document.getElementById('solid').dataset.covered"))
    yield made
    made.end()


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
