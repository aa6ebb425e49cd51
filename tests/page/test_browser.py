"""The page in a real browser: drop, verdict, finding, form, a changed program, download, narrow and dark."""

import itertools
import json
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from simkit.cli import main
from simkit.page.server import PageServer
from tests import budget_job
from tests.findings.programs import DRILLED, dug, faced
from tests.page.webdriver import CHROMIUM, DRIVER, Browser, until
from tests.small_job import JOB, block

pytestmark = pytest.mark.skipif(
    CHROMIUM is None or DRIVER is None, reason="Debian's chromium and chromium-driver are not installed"
)
LINKS = "['get-report', 'get-result', 'get-job'].map((id) => document.getElementById(id).href)"
SLOT = dug(faced(10), (12, 15, 9.5, 22, 15))


@pytest.fixture(scope="module")
def server():
    made = PageServer(0, 0.5, 50_000_000)
    thread = threading.Thread(target=made.serve_forever, kwargs={"poll_interval": 0.05})
    thread.start()
    yield made
    made.shutdown()
    made.close()
    thread.join()


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    made = Browser(tmp_path_factory.mktemp("browser"), 1200, 900)
    yield made
    made.end()


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("job")
    block(0, 40, 0, 30, 0, 10).export(made / "part.stl")
    (made / "top.nc").write_text(SLOT, encoding="utf-8")
    (made / "job.toml").write_text(JOB, encoding="utf-8")
    return made


def opened(browser, server):
    browser.complaints()  # a file that the page refused, on purpose, in another test
    browser.open(server.address)
    until(lambda: browser.run("return document.body.dataset.ready"))


def test_page__drop_verdict_finding_change_download(browser, server, folder):
    opened(browser, server)
    browser.drop([folder / name for name in ("job.toml", "top.nc", "part.stl")])
    until(lambda: browser.run("return document.querySelector('#f1')"))
    assert browser.text("#verdict").startswith("Beyond limits")
    top = "return document.querySelector('%s').getBoundingClientRect().top + scrollY"
    assert browser.run(top % "#verdict") < browser.run(top % "#f1") < browser.run(top % "#files")
    assert browser.run("return document.getElementById('verdict').getBoundingClientRect().top >= 0")
    until(lambda: browser.run("return document.getElementById('solid').dataset.covered"))
    assert (
        float(browser.run("return document.getElementById('solid').dataset.covered")) > 0.02
    )  # something is drawn
    assert browser.run("return document.getElementById('form').hidden")  # the job file says it all

    line = SLOT.splitlines().index("G1 X22 Y15") + 1
    until(lambda: browser.run("return document.querySelectorAll('.finding h3 button').length"))
    browser.click(".finding h3 button")
    until(lambda: browser.run("return document.querySelector('#text .here')"))
    shown = browser.text("#text .here")
    number = int(shown.split()[1])
    assert shown.split(maxsplit=2)[2] == SLOT.splitlines()[number - 1]
    assert abs(number - line) <= 1  # the way down or the slot itself
    assert browser.run(
        "const a = document.querySelector('#text').getBoundingClientRect(), "
        "b = document.querySelector('#text .here').getBoundingClientRect();"
        " return b.top >= a.top && b.bottom <= a.bottom"
    )
    assert browser.text(".spot.chosen") == "1"

    until(lambda: browser.text("#drawn").startswith("The report and its "))
    browser.click("#get-report")
    until(lambda: (browser.downloads / "report.html").exists())
    assert "<h2>In 3-D</h2>" in (browser.downloads / "report.html").read_text("utf-8")

    (folder / "good").mkdir()
    (folder / "good" / "top.nc").write_text(faced(10), encoding="utf-8")
    browser.click("#get-result")
    until(lambda: (browser.downloads / "result.json").exists())
    assert json.loads((browser.downloads / "result.json").read_text("utf-8"))["verdict"]["exit_status"] == 1
    browser.run(
        "const it = document.getElementById('verdict'); window.marked = [];"
        f"const links = () => {LINKS};"
        " new MutationObserver(() => window.marked.push([it.classList.contains('is-old'), it.textContent,"
        " links(), document.getElementById('drawn').textContent]))"
        ".observe(it, { attributes: true })"
    )
    browser.drop([folder / "good" / "top.nc"])
    until(lambda: browser.text("#verdict").startswith("Within limits"))
    (is_old, words, links, told), *_, (is_old_now, *_) = browser.run("return window.marked")
    assert is_old  # it is marked while the new check runs
    assert links == ["", "", ""]  # and nothing of the check before can be taken home unawares
    assert told == "A check runs: downloads come after it."
    until(lambda: browser.text("#drawn").startswith("The report and its "))
    assert all(browser.run(f"return {LINKS}"))
    assert words.startswith("Beyond limits")
    assert not is_old_now
    assert "Before: beyond limits. Now: within limits." in browser.text("#changes")
    assert "Gone: " in browser.text("#changes")
    assert browser.complaints() == []


# What is seen when, by the page itself: each time something appears, and where what stands there already is.
WATCHED = """
window.seen = [];
const known = new Set(), at = (s) => document.querySelector(s);
const top = (s) => at(s).getBoundingClientRect().top + scrollY;
const fixed = ["#f1", "#f1 figure figcaption", ".stage", "#rest-part", "#pictures-part"];
const isSeen = (s) => at(s) !== null && at(s).checkVisibility({ visibilityProperty: true });
const look = () => {
  const now = {
    verdict: isSeen("#verdict") && at("#verdict").textContent !== "",
    findings: isSeen("#f1 .kind"),
    view: isSeen("#solid canvas") && !!at("#solid").dataset.covered,
    closeup: isSeen("#f1 svg image"),
    picture: at("#pictures img") !== null,
    report: isSeen("#get-report") && at("#get-report").href !== "",
  };
  for (const [name, is] of Object.entries(now)) {
    if (!is || known.has(name)) continue;
    known.add(name);
    const places = now.findings ? fixed.map(top) : null;
    window.seen.push([name, at("#drawn").innerText, places]);
  }
  if (known.size < 6) requestAnimationFrame(look);
};
look();
"""


@pytest.mark.parametrize("width", [360, 1200])
def test_page__the_verdict_comes_before_the_pictures_and_nothing_moves(browser, server, folder, width):
    browser.be_small(width, 900)
    opened(browser, server)
    browser.run(WATCHED)
    browser.drop([folder / name for name in ("job.toml", "top.nc", "part.stl")])
    until(lambda: len(browser.run("return window.seen")) == 6)
    seen = browser.run("return window.seen")
    order = [name for name, _, _ in seen]
    assert order[:2] == ["verdict", "findings"]
    assert order.index("picture") > max(order.index("view"), order.index("closeup"))
    assert order[-1] == "report"
    drawing = {name: words for name, words, _ in seen}
    assert drawing["view"].startswith("Pictures are being drawn")
    places = [row[2] for row in seen if row[2]]
    for now in places[1:]:
        assert now == pytest.approx(places[0], abs=0.6)  # pixels
    until(lambda: browser.text("#drawn").startswith("The report and its "))
    browser.run("document.getElementById('pictures-part').open = true")
    until(
        lambda: browser.run(
            "return [...document.querySelectorAll('#pictures img')].every((o) => o.naturalWidth)"
        )
    )
    count = browser.run("return document.querySelectorAll('#pictures img').length")
    assert browser.text("#drawn") == f"The report and its {count} pictures are ready."
    assert browser.complaints() == []


def test_page__a_program_changed_while_pictures_are_drawn_is_checked(browser, server, folder, tmp_path):
    (tmp_path / "top.nc").write_text(faced(10), encoding="utf-8")
    opened(browser, server)
    browser.drop([folder / name for name in ("job.toml", "top.nc", "part.stl")])
    until(lambda: browser.run("return document.querySelector('#f1')"))
    browser.drop([tmp_path / "top.nc"])
    until(lambda: browser.text("#verdict").startswith("Within limits"))
    until(lambda: browser.text("#drawn").startswith("The report and its "))
    assert browser.text("#problems") == browser.text("#file-problems") == ""
    assert "Before: beyond limits. Now: within limits." in browser.text("#changes")
    assert browser.complaints() == []


def test_page__folders_and_files_from_elsewhere_can_be_dropped(browser, server, folder, tmp_path):
    (tmp_path / "jobs" / "one").mkdir(parents=True)
    (tmp_path / "boat").mkdir()
    named = JOB.replace('"top.nc', '"../../boat/top.nc').replace('"part.stl', '"../../boat/part.stl')
    (tmp_path / "jobs" / "one" / "job.toml").write_text(named, encoding="utf-8")
    (tmp_path / "jobs" / "one" / "photo.jpg").write_bytes(b"no program")
    (tmp_path / "jobs" / "settings.toml").write_text("[tool]\nblank_lines = 2\n", encoding="utf-8")
    for name in ("top.nc", "part.stl"):
        (tmp_path / "boat" / name).write_bytes((folder / name).read_bytes())
    opened(browser, server)
    browser.drop_paths([tmp_path / "jobs", tmp_path / "boat"])
    until(lambda: browser.run("return document.querySelector('#f1')"))
    names = browser.run("return [...document.querySelectorAll('#files bdi')].map((one) => one.textContent)")
    assert sorted(names) == ["boat/part.stl", "boat/top.nc", "jobs/one/job.toml"]
    assert browser.text("#aside") == "2 other files in the folder left aside."
    assert browser.text("#taken") == ""  # the folders fit together as they were dropped
    until(lambda: browser.run("return document.querySelector('#text .here')"))

    opened(browser, server)
    browser.drop([tmp_path / "jobs" / "one" / "job.toml", *(tmp_path / "boat").iterdir()])
    until(lambda: browser.run("return document.querySelector('#f1')"))
    assert "'../../boat/top.nc': taken to be 'top.nc', dropped here." in browser.text("#taken")
    assert browser.complaints() == []


def test_page__a_bad_program_is_told_with_its_line(browser, server, folder):
    (folder / "bad").mkdir()
    (folder / "bad" / "top.nc").write_text("G21 G90\nG1 X1O F100\n", encoding="utf-8")
    opened(browser, server)
    browser.drop([folder / "job.toml", folder / "bad" / "top.nc", folder / "part.stl"])
    until(lambda: "top.nc:2:" in browser.text("#problems"))
    browser.drop([folder / "job.toml", Path(__file__)])
    until(lambda: "'.py'" in browser.text("#file-problems"))
    (folder / "bad" / "top.nc").write_text(SLOT, encoding="utf-8")
    browser.drop([folder / "bad" / "top.nc"])
    until(lambda: browser.run("return document.querySelector('#f1')"))
    browser.drop(
        [Path(__file__)]
    )  # with a verdict told what is wrong stands below it, not below the findings
    until(lambda: "'.py'" in browser.text("#file-problems"))
    top = "return document.querySelector('%s').getBoundingClientRect().top"
    assert 0 <= browser.run(top % "#file-problems") < browser.run(top % "#f1")
    assert "of the files before" not in browser.text("#file-problems")  # nothing was taken
    browser.drop([folder / "bad" / "top.nc", Path(__file__)])
    until(lambda: "The verdict is of the files before." in browser.text("#file-problems"))


def test_form__is_filled_in_with_a_drawing_that_follows(browser, server, folder):
    opened(browser, server)
    browser.type("#choose", f"{folder / 'top.nc'}\n{folder / 'part.stl'}")
    until(lambda: browser.run("return document.querySelectorAll('.cutter').length === 1"))
    for name, text in (("length", "40"), ("width", "30"), ("thickness", "12"), ("diameter", "6")):
        browser.type(f"[name={name}]", text)
    choose = (
        "for (const [selector, value] of arguments[0]) { const one = document.querySelector(selector);"
        " one.value = value; one.dispatchEvent(new Event('input', { bubbles: true }));"
        " one.dispatchEvent(new Event('change', { bubbles: true })); }"
    )
    wanted = [["[name=shape]", "flat"], ["[name=corner]", "right back"], ["[name=mesh_units]", "mm"]]
    browser.run(choose, wanted)
    ring = (
        "const r = document.querySelector('#drawing .zero-ring');"
        " return [r.cx.baseVal.value, r.cy.baseVal.value]"
    )
    box = (
        "const b = document.querySelector('#drawing .blank-wood'), v = (n) => b[n].baseVal.value;"
        " return [v('x'), v('y'), v('width'), v('height')]"
    )
    x, y, wide, tall = browser.run(box)
    assert browser.run(ring) == [x + wide, y]  # right and back, as the operator sees it
    assert wide / tall == pytest.approx(40 / 30)
    browser.run(choose, [["[name=corner]", "left front"], ["[name=face]", "bottom"]])
    assert browser.run(ring) == [x, y + tall]
    browser.click("#more-dowels")
    browser.click("#more-areas")
    for name, text in (("x", "2"), ("y", "15"), ("#dowels [name=diameter]", "2")):
        browser.type(name if name.startswith("#") else f"#dowels [name={name}]", text)
    places = (("left", "-10"), ("right", "2"), ("front", "0"), ("back", "10"), ("height", "30"))
    for name, text in places:
        browser.type(f"#areas [name={name}]", text)
    hole = (
        "const h = document.querySelector('#drawing .hole'); return [h.cx.baseVal.value, h.cy.baseVal.value]"
    )
    assert browser.run(hole) == pytest.approx([x + 2 / 40 * wide, y + tall / 2])
    clamp = (
        "const b = document.querySelector('#drawing .clamp'), v = (n) => b[n].baseVal.value;"
        " return [v('x'), v('y'), v('width'), v('height')]"
    )
    scale = wide / 40
    assert browser.run(clamp) == pytest.approx([x - 10 * scale, y + 20 * scale, 12 * scale, 10 * scale])
    browser.click("#check")
    until(lambda: browser.run("return document.querySelector('#f1')"))
    assert "clamp 1" in browser.text("#verdict")  # the program runs into it
    browser.click("#get-job")
    until(lambda: (browser.downloads / "job.toml").exists())
    made = (browser.downloads / "job.toml").read_text("utf-8")
    assert "length = 40.0" in made
    assert "box = [[-10.0, 0.0], [2.0, 10.0]]" in made
    assert "setups = " not in made  # the clamp stands on both sides until one is chosen


def test_form__takes_dowels_and_sizes_from_the_files_and_presets_no_turn(browser, server, tmp_path):
    (tmp_path / "side1.nc").write_text(DRILLED, encoding="utf-8")
    (tmp_path / "side2.nc").write_text(SLOT, encoding="utf-8")
    opened(browser, server)
    browser.type("#choose", f"{tmp_path / 'side1.nc'}\n{tmp_path / 'side2.nc'}")
    until(lambda: browser.run("return document.querySelectorAll('#dowels .extra').length === 2"))
    read = (
        "return [...document.querySelectorAll('#dowels .extra')]"
        ".map((row) => [...row.querySelectorAll('input')].map((one) => one.value))"
    )
    assert browser.run(read) == [["8", "20", ""], ["92", "20", ""]]
    assert "The cuts of side 1 go from X5 to 92" in browser.text("#told-length")
    assert "lowest cut Z-15 in side1.nc:12" in browser.text("#told-thickness")
    wide = (
        "const row = [...document.querySelectorAll('.cutter')]"
        ".find((one) => one.querySelector('[name=number]').value === '4');"
        " const one = row.querySelector('[name=diameter]'); one.value = '6';"
        " one.dispatchEvent(new Event('input', { bubbles: true }));"
    )
    browser.run(wide)
    assert browser.run(read) == [["8", "20", "6"], ["92", "20", "6"]]
    assert browser.run("return document.querySelector('[name=turn]').value") == ""
    assert "choose how it is turned over" in browser.text("#drawing")
    browser.click("#check")
    until(lambda: "side 2, turned over: found nothing, still to be filled in" in browser.text("#problems"))
    assert browser.complaints() == []


def test_page__fits_a_phone_and_can_be_reached_by_keys(browser, server, folder):
    browser.be_small(360, 740)
    browser.be_dark()
    opened(browser, server)
    browser.drop([folder / name for name in ("job.toml", "top.nc", "part.stl")])
    until(lambda: browser.run("return document.querySelector('.finding h3 button')"))
    assert browser.run("return document.documentElement.scrollWidth") <= 360
    ends = browser.run(
        "return [...document.querySelectorAll('.stage .end')]"
        ".map((one) => getComputedStyle(one).backgroundColor)"
    )
    assert len(ends) == 4
    assert all(colour.startswith("rgb(") for colour in ends)  # not clear: readable before dark wood, too
    dark = browser.run("return getComputedStyle(document.body).backgroundColor")
    assert sum(int(part) for part in dark[4:-1].split(",")) < 3 * 60
    unnamed = browser.run(
        "return [...document.querySelectorAll('button, input, select, a, canvas, progress, [tabindex]')]"
        ".filter((one) => !one.closest('[hidden]') && !(one.labels && one.labels.length) && "
        "!one.getAttribute('aria-label') && !one.textContent.trim()).map((one) => one.outerHTML)"
    )
    assert unnamed == []
    assert browser.run("document.querySelector('#text').focus(); return document.activeElement.id") == "text"


@pytest.mark.parametrize("width", [360, 1200])
def test_page__tab_goes_the_way_the_eye_does(browser, server, folder, width):
    """WCAG 2.2, 2.4.3 and 2.4.7: in a column each stop lies below the one before, and shows its focus."""
    browser.be_small(width, 800)
    opened(browser, server)
    browser.drop([folder / name for name in ("job.toml", "top.nc", "part.stl")])
    until(lambda: browser.run("return document.querySelector('.finding h3 button')"))
    browser.run("const s = document.getElementById('get-job'); s.focus(); s.scrollIntoView()")
    stops = []
    for _ in range(60):
        browser.press("\ue004")
        stops.append(
            browser.run(
                "const e = document.activeElement, r = e.getBoundingClientRect(), s = getComputedStyle(e);"
                "const part = e.closest('#shown, #told, #files-part, #check-part, #rest-part'), "
                "seen = e.matches('.row input') || "
                "s.outlineStyle !== 'none' || e.type === 'radio' || e.type === 'checkbox';"
                "return [part ? part.id : 'top', r.top + scrollY, r.left, r.height, seen, e.outerHTML]"
            )
        )
        if stops[-1][0] == "rest-part":
            break
    else:
        pytest.fail("the end is not reached")
    columns = list(dict.fromkeys(one[0] for one in stops))
    assert columns == ["top", "told", "shown", "files-part", "check-part", "rest-part"]
    assert all(one[4] for one in stops), stops
    browser.be_small(1560 - width, 800)  # a tablet turned: the columns change, the line stays in sight
    display = "grid" if width < 900 else "flex"
    until(lambda: browser.run("return getComputedStyle(document.getElementById('sides')).display") == display)
    until(lambda: browser.run("return document.querySelector('#text .here')"))
    assert browser.run(
        "const a = document.querySelector('#text').getBoundingClientRect(), "
        "b = document.querySelector('#text .here').getBoundingClientRect();"
        " return b.top >= a.top && b.bottom <= a.bottom"
    )
    for before, after in itertools.pairwise(stops):
        if before[0] == after[0]:  # below, or in the same row
            assert after[1] + after[3] > before[1], (before, after)


# WCAG 2.2, "relative luminance" and "contrast ratio": of every word in sight against what lies behind it.
CONTRASTS = """
const light = (c) => {
  const [r, g, b] = c.map((v) => v / 255).map((v) => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
};
const parts = (text) => {
  const n = text.match(/[\\d.]+/g).map(Number);
  return { c: n.slice(0, 3), a: n.length > 3 ? n[3] : 1 };
};
const behind = (e) => {
  for (; e; e = e.parentElement) {
    const b = parts(getComputedStyle(e).backgroundColor);
    if (b.a > 0.99) return b.c;
  }
  return [255, 255, 255];
};
const rows = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
while (walk.nextNode()) {
  const e = walk.currentNode.parentElement, words = walk.currentNode.data.trim();
  const isOut = e.closest('svg, script, style, [hidden], button:disabled');
  if (!words || isOut || !e.getClientRects().length) continue;
  const a = light(parts(getComputedStyle(e).color).c), b = light(behind(e));
  rows.push([(Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05), words.slice(0, 40)]);
}
return rows;
"""


def all_opened(browser):
    """Open all that can be; return a row for each text in sight, once there are as many as a report has."""
    browser.run("for (const one of document.querySelectorAll('details')) one.open = true")
    rows = browser.run(CONTRASTS)
    return rows if len(rows) > 100 else None


@pytest.mark.parametrize("dark", [False, True])
def test_page__words_stand_out_as_wcag_asks(browser, server, folder, dark):
    """WCAG 2.2, 1.4.3 (AA): 4.5 to 1."""
    browser.be_small(360, 740)
    browser.be_dark(dark)
    opened(browser, server)
    browser.drop([folder / name for name in ("job.toml", "top.nc", "part.stl")])
    until(lambda: browser.run("return document.querySelector('.finding h3 button')"))
    rows = until(lambda: all_opened(browser))  # the job as understood and the tables come after the findings
    assert [row for row in rows if row[0] < 4.5] == []
    paper = browser.run("return getComputedStyle(document.body).backgroundColor")
    assert (sum(int(part) for part in paper[4:-1].split(",")) < 3 * 60) == dark
    low = browser.run(
        "const touched = 'button, select, summary, input:not([type=checkbox],[type=radio])';"
        "return [...document.querySelectorAll(touched)]"
        ".map((one) => [one.getBoundingClientRect().height, one.outerHTML.slice(0, 60)])"
        ".filter((row) => row[0] && row[0] < 24)"
    )
    assert low == []  # WCAG 2.2, 2.5.8 (AA): 24 pixels to touch


def test_form__fits_a_phone(browser, server, folder):
    browser.be_small(360, 740)
    opened(browser, server)
    browser.drop([folder / name for name in ("top.nc", "part.stl")])
    until(lambda: browser.run("return document.querySelectorAll('.cutter').length === 1"))
    assert browser.run("return document.documentElement.scrollWidth") <= 360
    assert browser.run(
        "return [...document.querySelectorAll('#form select, #form input')]"
        ".every((one) => one.getBoundingClientRect().right <= 360)"
    )


def coloured(browser, path):
    """Return how many pixels of the 3-D view are purple, and how many orange."""
    browser.run("document.querySelector('#solid .stage').scrollIntoView()")
    time.sleep(0.5)
    browser.picture(path)
    image = np.asarray(Image.open(path).convert("RGB")).astype(int)
    red, green, blue = np.moveaxis(image, -1, 0)
    return int((blue - green > 25).sum()), int((red - blue > 80).sum())


@pytest.mark.parametrize(("off", "subject"), [(-0.6, "cut"), (-0.6, "left"), (0.5, "cut")])
def test_report__what_is_off_on_one_row_of_cells_is_seen(browser, tmp_path, off, subject):
    job, report = budget_job.write(tmp_path, off=off), tmp_path / "r.html"
    assert main(["check", str(job), "--quiet", "--cell", "0.4", "--report", str(report)]) == 1
    browser.be_small(1200, 900)  # whatever another test left
    browser.complaints()  # likewise: a file that the page refused, on purpose
    browser.open(report.as_uri())
    until(lambda: browser.run("return document.getElementById('solid').dataset.covered"))
    browser.click(f"#solid input[value={subject}]")
    browser.click("#solid [data-act=below]")
    purple, orange = coloured(browser, tmp_path / "a.png")
    browser.click("#solid [data-act=corner]")
    more_purple, more_orange = coloured(browser, tmp_path / "b.png")
    if off < 0:
        assert min(purple, more_purple) > 300
        assert max(orange, more_orange) == 0
    else:
        assert min(orange, more_orange) > 300
        assert max(purple, more_purple) == 0
    assert browser.complaints() == []
