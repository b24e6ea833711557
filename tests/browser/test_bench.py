"""The bench in Chromium: on a stream that the test writes, and with a real daemon on simulated cells."""

import subprocess
import sys

import numpy as np
import pytest

from daq.keep.store import Store, calibrations
from daq.live.bench.wanted import Wanted
from daq.live.telling.messages import loads_block
from daq.values import Loads


def idle(messages):
    """Nobody rides, so that the cells may be seen to."""
    return {**messages["snapshot"], "sweep": None, "steps": [], "onset": None}


@pytest.fixture
def bench(desk, messages):
    """The bench's screen with a reading of the saved example judged."""
    at = desk().open(idle(messages), "bench")
    at.send(messages["bench"])
    return at


def steps(desk):
    return [body for path, body in desk.asked if path == "bench/steps"]


def test_the_task_the_live_reading_and_what_is_wrong_stand_large_on_the_screen(bench):
    assert bench.text(".bench-task") == "Hands left: add weight to 10 kg (98.05 N)."
    assert bench.text(".bench-value") == "49.01 N"
    assert "the last weight is missing" in bench.text(".bench .warning ul")
    assert bench.text(".bench-progress") == "rising: reading 4 of 120, about 1 h 14 min left"
    assert bench.page.get_by_role("button", name="Skip this stage").is_disabled()


def test_the_picture_shows_the_weight_under_the_cell_it_is_for_and_there_is_one_way_out(bench, messages):
    picture = bench.page.locator(".hanging")
    asked, hook = picture.locator(".cell.asked"), picture.locator(".hook")
    assert picture.get_attribute("aria-label") == "The weight hangs over hands left"
    assert picture.locator("text").inner_html() == "10 kg"
    assert picture.locator(".cell").count() == 4
    middle = float(asked.get_attribute("x")) + float(asked.get_attribute("width")) / 2
    assert float(hook.get_attribute("d").split(",")[0][1:]) == pytest.approx(middle)
    out = [
        words
        for words in ("Leave; resume later", "End here", "Break off")
        if bench.page.get_by_role("button", name=words).is_visible()
    ]
    assert out == ["Leave; resume later"]

    shared = {**messages["bench"]["bench"]["task"], "over": ["saddle_nose", "saddle_rear"], "kg": 20.0}
    bench.send({"type": "bench", "bench": {**messages["bench"]["bench"], "task": shared}})
    cells = [float(one.get_attribute("x")) + 8 for one in picture.locator(".cell.asked").all()]
    assert float(hook.get_attribute("d").split(",")[0][1:]) == pytest.approx(sum(cells) / 2)
    empty = {**shared, "load_n": 0.0}
    bench.send({"type": "bench", "bench": {**messages["bench"]["bench"], "task": empty}})
    assert picture.locator(".hook").count() == 0


def test_a_long_reading_is_counted_in_minutes_and_a_short_one_in_seconds(bench, messages):
    for reading, said in (
        ({"seconds": 1079.0, "of_s": 1800.2}, "17 of 30 min"),
        ({"seconds": 3, "of_s": 5.2}, "3 of 5 s"),
    ):
        bench.send({"type": "bench", "bench": {**messages["bench"]["bench"], "reading": reading}})
        bench.wait(lambda said=said: said in bench.text(".bench-reading"))


def test_the_keyboard_reads_accepts_and_takes_again_what_fits_now_and_nothing_else(bench):
    for key in ("Space", "a", "s", "x", "r"):
        bench.page.keyboard.press(key)
    bench.wait(lambda: len(steps(bench)) == 3)

    assert [body["do"] for body in steps(bench)] == ["read", "accept", "redo"]


def test_a_key_pressed_while_the_page_waits_for_an_answer_is_judged_by_that_answer(bench, messages):
    now = messages["bench"]["bench"]
    bench.slow(200)
    bench.answers["bench/steps"] = {**now, "accepts": ["break-off"]}
    for key in ("Space", "a", "x"):
        bench.page.keyboard.press(key)
    bench.wait(lambda: len(steps(bench)) == 2)

    assert [body["do"] for body in steps(bench)] == ["read", "break-off"]


def test_a_bench_is_begun_with_what_was_typed(desk, messages):
    at = desk().open(idle(messages), "bench")
    at.page.get_by_label("Who calibrates").fill("R. Doe")
    form = at.page.get_by_role("form", name="New calibration")
    form.get_by_label("Masses on each cell").fill("2,5; 10; 20")
    form.get_by_label("Class of the weights").select_option("F2")
    form.get_by_label("Off-axis places").fill("left edge: saddle_nose, saddle_rear: 20")
    form.get_by_label("or latitude").fill("47.4")
    form.get_by_label("and its standard uncertainty").fill("0.0002")
    form.get_by_label("Fitted by").select_option("line")
    form.get_by_label("Counts per newton").fill("hands_left=8550 hands_right=8600.5")
    form.get_by_role("button", name="Begin").click()
    at.wait(lambda: any(path == "bench" for path, _ in at.asked))

    path, body = next(each for each in at.asked if each[0] == "bench")
    assert path == "bench"
    assert body["masses_kg"] == [2.5, 10, 20]
    assert body["loads_n"] == []
    assert body["expected_per_n"] == {"hands_left": 8550, "hands_right": 8600.5}
    assert body["gravity"] == {"latitude_deg": 47.4, "u_g_m_s2": 0.0002}
    assert body["order"] == 1
    assert body["reference"] == {"weights_class": "F2", "certificate": ""}
    assert body["places"] == [{"name": "left edge", "cells": ["saddle_nose", "saddle_rear"], "mass_kg": 20}]
    assert Wanted(**body)


def test_a_bench_by_a_reference_cell_asks_for_its_forces_and_certificate(desk, messages):
    at = desk().open(idle(messages), "bench")
    at.page.get_by_label("Who calibrates").fill("R. Doe")
    form = at.page.get_by_role("form", name="New calibration")
    form.get_by_label("or forces by a reference cell").fill("50 100 200 400")
    form.get_by_label("or certificate").fill("K-0815")
    form.get_by_label("and its expanded uncertainty").fill("0.05")
    form.get_by_role("button", name="Begin").click()
    at.wait(lambda: any(path == "bench" for path, _ in at.asked))

    body = next(body for path, body in at.asked if path == "bench")
    assert (body["masses_kg"], body["loads_n"]) == ([], [50, 100, 200, 400])
    assert body["reference"] == {"certificate": "K-0815", "expanded_relative": 0.0005}
    assert Wanted(**body)


def test_the_daily_check_asks_for_zero_and_weight_and_says_how_it_went(desk, messages):
    at = desk().open(idle(messages), "bench")
    at.answers["zero"] = {"moved_n": {"hands_left": 0.24, "saddle_nose": -1.0}}
    at.answers["bench/checks"] = {"passed": False, "sentence": "hands shows 190.0 N, expected within 0.5 N of 196.2 N"}
    at.page.get_by_role("button", name="Take the zero").click()
    at.page.get_by_text("hands left +0.2\u00a0N, saddle nose \u22121.0\u00a0N").wait_for()
    form = at.page.get_by_role("form", name="Daily check")
    form.get_by_label("The weight is on").select_option("saddle_nose")
    form.get_by_label("It is").fill("20")
    form.get_by_label("Its class").select_option("M1")
    form.get_by_label("Local gravity").fill("9.81")
    form.get_by_role("button", name="Check it").click()
    form.get_by_text("Failed: hands shows 190.0 N").wait_for()

    (body,) = [body for path, body in at.asked if path == "bench/checks"]
    assert body == {
        "on": "saddle_nose",
        "mass_kg": 20,
        "reference": {"weights_class": "M1", "certificate": ""},
        "gravity": {"g_m_s2": 9.81},
    }


def test_a_power_sensor_that_can_be_asked_finds_its_zero_by_a_button_and_without_one_there_is_none(desk, messages):
    at = desk().open(idle(messages), "checks")
    at.answers["power-zero"] = {"said": "zero set, offset 10 N m"}
    at.page.get_by_text("Zero again, and of the power sensor").click()
    at.page.get_by_role("button", name="Zero of the power sensor").click()
    at.page.get_by_text("Power sensor: zero set, offset 10 N m").wait_for()

    rig = {**messages["snapshot"]["rig"], "power_zero": False}
    at.send({**messages["snapshot"], "rig": rig})
    at.page.get_by_role("button", name="Zero of the power sensor").wait_for(state="hidden")


def test_calibrations_kept_are_listed_with_certificate_and_one_can_be_taken_into_use(desk, messages):
    kept = [
        {"id": "2026-11-25-bench1", "simulated": False, "cells": ["a"], "certificate": True, "sentence": "valid"},
        {"id": "none", "simulated": False, "cells": [], "certificate": False, "sentence": "no cell"},
    ]
    at = desk()
    at.answers["calibrations"] = kept
    at.open(idle(messages), "bench")
    listed = at.page.get_by_role("region", name="Calibrations kept")
    listed.get_by_role("button", name="Use 2026-11-25-bench1").click()
    at.wait(lambda: any(path == "calibrations/use" for path, _ in at.asked))

    link = listed.get_by_role("link", name="Certificate")
    assert link.get_attribute("href") == "/api/v1/calibrations/2026-11-25-bench1/certificate"
    assert "none" not in listed.inner_text()


def test_any_reading_and_a_whole_series_can_be_taken_again(bench):
    which = bench.page.get_by_label("A reading or series taken before")
    assert which.locator("option").all_inner_texts() == [
        "hands left, series 1, rising 49.02 N",
        "hands left, series 1, zero",
        "warm up",
        "hands left, series 1: all of it",
    ]
    for taken, chosen in enumerate(("hands left, series 1, zero", "hands left, series 1: all of it"), 1):
        which.select_option(label=chosen)
        bench.page.get_by_role("button", name="Take this one again").click()
        bench.wait(lambda taken=taken: len(steps(bench)) == taken)

    assert steps(bench) == [
        {"do": "redo", "task": "hands_left/1/zero"},
        {"do": "redo-series", "cell": "hands_left", "series": 1},
    ]


def test_a_mass_that_is_no_number_is_named_and_nothing_is_sent(desk, messages):
    at = desk().open(idle(messages), "bench")
    at.page.get_by_label("Who calibrates").fill("R. Doe")
    at.page.get_by_label("Masses on each cell").fill("5, 1O, 20")
    at.page.get_by_role("form", name="New calibration").get_by_role("button", name="Begin").click()

    said = at.page.get_by_role("status").filter(has_text='"1O" is not a number')
    said.wait_for()
    # seen where the button was pressed, far below the top of the page
    assert at.page.evaluate("scrollY") > 0
    assert 0 <= said.bounding_box()["y"] < at.page.viewport_size["height"]
    assert not any(path == "bench" for path, _ in at.asked)


def test_a_finished_bench_shows_its_certificate(bench, messages):
    done = {**messages["bench"]["bench"], "task": None, "instruction": "", "findings": [], "accepts": ["redo"]}
    bench.send({"type": "bench", "bench": {**done, "stage": "done", "calibration": "2026-11-25-bench3"}})

    link = bench.page.get_by_role("link", name="Certificate")
    assert link.get_attribute("href") == "/api/v1/calibrations/2026-11-25-bench3/certificate"


def test_doubtful_loads_and_a_calibration_out_of_date_are_said_at_once(desk, messages):
    stale = {**messages["snapshot"]["calibration"], "stale": True, "sentence": "older than 12 months"}
    doubt = {"kind": "below-zero", "channel": "hands_left", "on": "hands", "sentence": "hands_left: pulled up by 9.0 N"}
    at = desk().open({**messages["snapshot"], "calibration": stale})
    at.send({**messages["sources"], "doubts": [doubt]}, messages["stroke"])

    assert at.text(".loads .doubt") == "Hands left: pulled up by 9.0 N."
    assert at.page.locator(".support.hands").get_attribute("data-doubt") is not None
    assert at.page.locator(".support.saddle").get_attribute("data-doubt") is None
    assert at.text(".support.hands .plus-minus") == "± 0.80"
    assert "no verdict" in at.text(".head")


def test_loads_off_the_pedals_show_their_uncertainty_too(desk, messages):
    at = desk().open(messages["snapshot"])
    at.send({**messages["sources"], "expanded_n": {"hands": 0.52, "saddle": None}})
    t_s = np.arange(50) / 100.0 + 310.0
    still = np.full(50, 20.0)
    at.send(loads_block(Loads(t_s, still, still, still * 0.0, np.tile(still[:, None], (1, 4)), np.zeros(50, np.uint8))))

    at.wait(lambda: at.text(".support.hands .plus-minus") == "± 0.52")
    assert at.text(".support.saddle .plus-minus") == ""
    assert "means of the last second, ± uncertainty" in at.text(".loads .basis")


@pytest.fixture
def daemon(tmp_path):
    """A daemon on simulated cells, much faster than life; the bench's address and its store's path."""
    path = tmp_path / "bench.sqlite"
    words = ("calibrate", "bench", "--simulated", "--page", "--port", "0", "--pace", "100", "--store", str(path))
    with subprocess.Popen([sys.executable, "-m", "daq.cli", *words], stderr=subprocess.PIPE, text=True) as process:
        yield next(line.split()[1] for line in process.stderr if line.startswith("dashboard: ")), path
        process.terminate()
        process.communicate(timeout=60)


def test_a_cell_is_calibrated_from_the_page_to_the_certificate(chromium, daemon):
    url, path = daemon
    page = chromium.new_page()
    page.goto(url)
    page.get_by_label("Who calibrates").fill("R. Doe")
    page.get_by_label("Class of the weights").select_option("M1")
    for label, value in (("Warm-up", "1"), ("A reading takes", "2"), ("Creep test", "0"), ("Cross-talk", "0")):
        page.get_by_label(label).fill(value)
    page.get_by_label("Times up and down").fill("2")
    page.get_by_label("Only these cells").fill("hands_left")
    page.get_by_role("button", name="Begin").click()
    page.get_by_text("power everything, leave the jig empty").wait_for()
    page.evaluate("document.activeElement.blur()")
    read = page.get_by_role("button", name="Read")
    while not page.get_by_role("link", name="Certificate").is_visible():
        if read.is_enabled():
            page.keyboard.press("Space")
        page.wait_for_timeout(40)
    page.goto(url.removesuffix("/#bench") + page.get_by_role("link", name="Certificate").get_attribute("href"))

    assert "not an accredited calibration" in page.inner_text("body")
    assert page.locator("svg circle").count() == 2 * 11
    page.close()
    with Store.open(path, write=False) as store:
        assert [one.bench_id for one in calibrations.calibrations(store)] == [None, 1]
