"""The page of a proof: begun, worked through, its result; on answers computed here, and once on a real daemon."""

import re
import subprocess
import sys

import pytest

from daq.keep.proofs import keep
from daq.live.bench.proof_page import proof_page
from daq.live.web.api_proof import NewProof
from daq.proof.certificate import certificate
from daq.proof.proved import proved
from daq.proof.tasks import CAUTION
from tests.browser.axe import faults
from tests.browser.desk import DASHBOARD
from tests.browser.proofs import NONE_YET, answer, cut, failed_sheet, whole
from tests.proof.simulated_sheet import SOUND, sheet_without

WIDTHS = (390, 1280)
UNDERSCORED = re.compile(r"\b[a-z]+_[a-z]+\b")


@pytest.fixture(scope="module")
def failed():
    """The finished sheet of a jig whose cells show 2 % too much."""
    return failed_sheet()


def idle(messages):
    return {**messages["snapshot"], "sweep": None, "taken_by": None}


def opened(desk, messages, said, **context):
    at = desk(**context)
    at.answers = {"proof": said, "proofs": []}
    return at.open(idle(messages), "prove")


@pytest.mark.parametrize("width", WIDTHS)
def test_the_parts_of_the_proof_and_the_one_under_way_stand_beside_the_task(desk, messages, failed, width):
    said = answer(cut(failed, "rise/2/climb/6"))
    at = opened(desk, messages, said, viewport={"width": width, "height": 844})
    at.page.get_by_role("form", name="Proof under way").wait_for()

    parts = at.page.get_by_role("region", name="Parts of the proof").get_by_role("listitem")
    told = [part.inner_text().replace("\n", " ") for part in parts.all()]
    assert told[:5] == ["Zero done", "Setback scale done", "Weights on the bar done", "Weights on the saddle done",
                        "Placement 1 of 3, level done"]  # fmt: skip
    assert told[7:9] == ["Placement 2 of 3, 4.5 % up 7 of 12", "Placement 3 of 3, level 13 to do"]
    assert told[-3:] == ["Gradual rise 12 to do", "Nothing pulls 11 to do", "Pulls throughout 11 to do"]
    now = at.page.locator(".proof-parts [aria-current=step]")
    assert now.inner_text().startswith("Placement 2 of 3, 4.5 % up")
    assert (
        at.text(".bench-task.long")
        == "Going back, set the saddle to 20 mm on its scale, tighten it, hands off the jig."
    )
    assert "placement 2 of 3, 4.5 % up: 80 of 145 done" in at.text(".bench-progress")
    assert at.page.evaluate("document.documentElement.scrollWidth") <= width


def test_what_is_asked_for_is_typed_and_sent_and_the_last_one_can_be_done_again(desk, messages, failed):
    at = opened(desk, messages, answer(cut(failed, "place/2")))
    at.answers["proof/steps"] = answer(cut(failed, "tilt/2/level"))
    form = at.page.get_by_role("form", name="Proof under way")
    form.get_by_label("By caliper").fill("70.12")
    form.get_by_label("Gap under the ball").fill("9.8")
    at.page.keyboard.press("Enter")
    form.get_by_label("Independent level").wait_for()
    for name in ("Last one again", "Leave; go on later"):
        form.get_by_role("button", name=name).click()
        at.wait(form.get_by_role("button", name=name).is_enabled)

    assert [body for path, body in at.asked if path == "proof/steps"] == [
        {"do": "done", "task": "place/2", "typed": {"caliper_mm": 70.12, "gap_mm": 9.8}},
        {"do": "again"},
        {"do": "leave"},
    ]


@pytest.mark.parametrize("before", ["place/2", "bar/3"])
def test_on_a_telephone_what_is_to_be_done_next_is_in_sight(desk, messages, failed, before):
    """The field or the button that has the focus is far below it."""
    at = opened(desk, messages, answer(cut(failed, before)), viewport={"width": 390, "height": 664})
    at.send({**messages["notice"], "level": "info", "text": "Zero taken; newtons away from the calibration's: " * 2})
    form = at.page.get_by_role("form", name="Proof under way")
    form.wait_for()
    at.page.evaluate("window.scrollTo(0, document.body.scrollHeight)")
    at.answers["proof/steps"] = answer(cut(failed, "place/3"))
    for asked in form.locator("input").all():
        asked.fill("9.8")
    form.get_by_role("button", name="Done").click()
    form.get_by_text("Placement 3 of 3: take the dummy off").wait_for()
    task = at.page.locator(".bench-task.long")

    box = task.bounding_box()
    seen = "([x, y]) => document.elementFromPoint(x, y)?.className"
    for y in (box["y"] + 4, box["y"] + box["height"] - 4):
        assert at.page.evaluate(seen, [box["x"] + 4, y]) == "bench-task long"


def test_a_proof_begins_with_the_dummy_that_was_typed(desk, messages):
    at = opened(desk, messages, NONE_YET)
    form = at.page.get_by_role("form", name="New proof")
    for label, value in (
        ("Who proves", "R. Doe"), ("Its name", "dummy A"), ("Rate of spring and rope", "1.94"),
        ("its standard uncertainty", "0.02"), ("Rate of each plate", "0,7 0,7; 0.6"), ("Each met further", "0 2O 40"),
    ):  # fmt: skip
        form.get_by_label(label).fill(value)
    begin = form.get_by_role("button", name="Begin the proof")
    begin.click()
    at.page.get_by_text("expected numbers with spaces between them, got 0 2O 40").wait_for()
    assert not any(body for path, body in at.asked if path == "proof")
    form.get_by_label("Each met further").fill("0 20 40")
    form.get_by_label("Plank and mass").fill("10")
    begin.click()
    at.page.get_by_text("The plank: expected its mass, how far ahead and how far above").wait_for()
    form.get_by_label("their centre ahead").fill("0.15")
    form.get_by_label("and above pin").fill("0.1")
    begin.click()
    at.wait(lambda: any(body for path, body in at.asked if path == "proof"))

    (body,) = [body for path, body in at.asked if path == "proof" and body]
    made = NewProof(**body)
    assert (made.made_by, made.placements, made.dummy.rate_n_per_mm) == ("R. Doe", 4, 1.94)
    assert made.dummy.gradual.rates_n_per_mm == (0.7, 0.7, 0.6)
    assert made.dummy.mass.mass_kg == 10.0


@pytest.mark.parametrize("width", WIDTHS)
def test_no_unit_is_broken_in_two(desk, messages, width):
    """N/mm that ends its line at N/m is another rate."""
    at = opened(desk, messages, NONE_YET, viewport={"width": width, "height": 844})
    at.page.get_by_role("form", name="New proof").wait_for()

    units = at.page.locator("form:visible .unit-name")
    assert "N/mm" in units.all_inner_texts()
    drawn = """(units) => units.map((unit) => {
      const range = document.createRange();
      range.selectNodeContents(unit);
      return range.getClientRects().length;
    })"""
    assert set(units.evaluate_all(drawn)) == {1}
    assert at.page.evaluate("document.documentElement.scrollWidth") <= width


def test_a_proof_begun_on_another_page_appears(desk, messages, failed):
    at = opened(desk, messages, NONE_YET)
    at.page.get_by_role("form", name="New proof").wait_for()
    at.answers["proof"] = answer(cut(failed, "bar/3"))
    at.send({**messages["sources"], "taken_by": "proof"})

    at.page.get_by_role("form", name="Proof under way").wait_for()
    assert "weights on the bar" in at.text(".bench-progress")


def test_a_failed_proof_names_the_likely_part_in_the_words_of_the_trade(desk, messages, failed):
    at = opened(desk, messages, answer(failed))
    result = at.page.get_by_role("region", name="Result of the proof")
    result.get_by_text("jig: not proved").wait_for()

    (named,) = result.locator(".warning li").all_inner_texts()
    shown = re.match(r"Gain of the cells at the hands: the hands' cells show \+(\d\.\d\d) ± (\d\.\d\d) % ", named)
    assert abs(float(shown[1]) - 2.0) <= float(shown[2]) < 0.5
    assert named.endswith("look for another gain of the board.")
    assert "Valid to" not in result.inner_text()
    result.get_by_text("All that was found").click()
    parts, sweeps = result.locator(".proof-found").all()
    assert (
        parts.locator("tr", has_text="yes")
        .all_inner_texts()[0]
        .startswith(f"Gain of the cells at the hands\t+{shown[1]}")
    )
    assert parts.locator("tr").count() == 1 + 11
    rows = [row.split("\t") for row in sweeps.locator("tbody tr").all_inner_texts()]
    assert [row[:2] for row in rows] == [[f"{p}", way] for p in (1, 2, 3) for way in ("level", "climbing")]
    assert {row[-1] for row in rows} == {"yes"}
    assert "not an accredited test" in result.inner_text()
    assert result.get_by_role("link", name="Certificate").get_attribute("href").endswith("proof-1/certificate")
    tables = result.locator(".rig-tables").inner_text()
    assert "passed = false" in tables
    assert not UNDERSCORED.findall(at.page.locator("body").inner_text().replace(tables, "").replace(CAUTION, ""))


def test_no_word_is_broken_in_the_tables_of_a_telephone(desk, messages, failed):
    at = opened(desk, messages, answer(failed), viewport={"width": 390, "height": 844})
    at.page.get_by_text("All that was found").click()

    heads = at.page.locator(".proof-found th")
    told = heads.evaluate_all(
        """(cells) => cells.map((cell) => {
          const range = document.createRange();
          const words = [...cell.firstChild.data.matchAll(/[^ ]+/g)];
          return words.filter(({ 0: word, index }) => {
            range.setStart(cell.firstChild, index);
            range.setEnd(cell.firstChild, index + word.length);
            return range.getClientRects().length > 1;
          }).map(([word]) => word);
        }).flat()"""
    )
    assert heads.count() == 3 + 6
    assert told == []
    assert at.page.evaluate("document.documentElement.scrollWidth") <= 390


def test_the_parts_of_the_proof_begin_as_high_as_the_task(desk, messages, failed):
    at = opened(desk, messages, answer(cut(failed, "bar/3")))
    at.page.get_by_role("form", name="Proof under way").wait_for()

    form, parts = at.page.locator(".bench-now > .plate").all()
    assert form.bounding_box()["y"] == parts.bounding_box()["y"]


def test_a_proof_that_holds_says_until_when(desk, messages):
    at = opened(desk, messages, answer(whole(SOUND)))
    result = at.page.get_by_role("region", name="Result of the proof")
    result.get_by_text("jig: proved").wait_for()

    assert "Valid to 4 Mar 2026, or until a part, its place, the calibration" in result.inner_text()
    assert not result.locator(".warning").is_visible()


@pytest.mark.parametrize("width", WIDTHS)
def test_the_certificate_is_readable_and_in_the_words_of_the_trade(chromium, failed, tmp_path, width):
    css = (DASHBOARD / "certificate.css").read_text()
    (tmp_path / "c.html").write_text(proof_page(certificate(proved(failed)), css=css), encoding="utf-8")
    page = chromium.new_page(viewport={"width": width, "height": 844})
    page.goto((tmp_path / "c.html").as_uri())
    told = page.locator("body").inner_text()

    assert faults(page) == {}
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert not UNDERSCORED.findall(told)
    assert "hands left (hands), hands right (hands)" in told
    assert "2025-03-04 10:00 UTC" in told
    assert not re.findall(r"[ (]-\d", told)
    page.close()


@pytest.fixture
def daemon(tmp_path):
    """A simulated jig 3 mm off its scale, and most of its proof done: the address of the page."""
    keep(sheet_without("scale/forward/6", "place/3", "tilt/3", "rise/3/level/1", "flat/1"), tmp_path / "p.json")
    words = ("prove", "run", str(tmp_path / "p.json"), "--simulated", "--fault", "offset", "--page", "--port", "0",
             "--pace", "60", "--store", str(tmp_path / "s.sqlite"))  # fmt: skip
    with subprocess.Popen([sys.executable, "-m", "daq.cli", *words], stderr=subprocess.PIPE, text=True) as process:
        try:
            yield next(line.split()[1] for line in process.stderr if line.startswith("proof: "))
        finally:
            process.terminate()
            process.communicate(timeout=60)


def test_a_proof_is_worked_through_on_the_page_to_its_certificate(page, daemon):
    page.goto(daemon)
    form, result = (
        page.get_by_role("form", name="Proof under way"),
        page.get_by_role("region", name="Result of the proof"),
    )
    form.wait_for()
    seen = []
    for _ in range(60):
        task = page.locator(".bench-task.long").inner_text()
        if result.is_visible():
            break
        seen.append(page.locator(".proof-parts [aria-current=step] span").first.inner_text())
        page.evaluate("document.activeElement.blur()")
        page.keyboard.press("Enter")
        page.wait_for_function(
            "(task) => document.querySelector('.bench-task.long').innerText !== task"
            " || document.querySelector('[aria-label=\"Result of the proof\"]').checkVisibility()",
            arg=task,
        )
    result.get_by_text("move the scale").wait_for()
    page.goto(daemon.removesuffix("/#prove") + result.get_by_role("link", name="Certificate").get_attribute("href"))

    stages = ["Setback scale", "Placement 3 of 3, level", "Placement 3 of 3, 4.5 % up", "Nothing pulls"]
    assert list(dict.fromkeys(seen)) == stages
    assert "not an accredited test" in page.inner_text("body")
    assert page.locator("h1").inner_text() == "jig: not proved"
