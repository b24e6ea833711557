"""The whole page in Chromium, on a stream that the test writes and with the daemon's answers given by the test."""

import re
import struct

import pytest

from daq.sweep.run import State
from tests.browser.answers import sweep_in
from tests.browser.desk import LOST
from tests.browser.shots import sent

SIZES = [(768, 1024), (1280, 800), (1920, 1080)]


def test_the_page_shows_loads_shares_effort_and_answer(run, messages):
    run.send(messages["sources"], messages["stroke"], messages["onset"])

    assert run.text(".support.hands .load") == "80 N"
    assert run.text(".support.saddle .share") == "58.6 %"
    assert "not measured" in run.text(".support.feet")
    assert run.text(".gauge >> nth=0").split("\n")[1] == "91 rpm", "what is judged: 90.5 over the last strokes"
    assert "Onset so far 52.4 mm" in run.text("#answer-title")
    assert "48.1–56.9 mm" in run.text(".answer-value")
    assert run.text(".figure .value") == "40"
    assert run.text(".banner").startswith("SIMULATED")


def test_before_an_answer_the_page_says_what_the_minutes_left_cannot_find_and_what_would_help(run, messages):
    run.send(*sent(messages, "early"))

    assert "a rise below 0.60 N/mm would be found less than half the time in the 6 minutes left." in run.text(".answer")
    run.page.get_by_role("button", name="Why").click()
    assert run.text(".because") == "Dwells of 50 s, 4 min more, would bring it down to 0.50 N/mm."

    run.send(messages["onset"])
    assert "half the time" not in run.text(".answer"), "an onset is named"


def test_the_caution_of_an_onset_stands_beside_its_number_and_once(run, messages):
    caution = "a rise can also come from expectation: plan a sham step"
    run.send({**messages["onset"], "caution": caution, "reasons": [caution, "another reason"]})

    assert "A rise can also come from expectation: plan a sham step." in run.text(".answer-head")
    run.page.get_by_role("button", name="Why").click()
    assert "Another reason." in run.text(".because")
    assert "sham" not in run.text(".because")


def test_the_slope_in_the_table_and_in_words_is_the_one_the_reasons_tell(run, messages, js):
    """Not what is added to the slope behind the onset, which is another number."""
    told = {**messages["onset"], "slope_n_per_mm": 1.37, "rise_n_per_mm": 1.44}
    run.send(told)
    run.page.get_by_role("button", name="Table").click()
    run.send()

    assert "forward of it 1.44 N/mm" in run.text(".table-host caption")
    words = js("answer_words.js", "m.chartInWords(a)", {"onset": told, "steps": [{}], "sweep": messages["sweep"]})
    assert "rises by 1.44\u00a0N/mm" in words


def test_the_uncertainty_of_the_loads_is_shown_on_demand(run, messages):
    run.send(messages["sources"], messages["stroke"])
    plus_minus = run.page.locator(".support.hands .plus-minus")
    assert not plus_minus.is_visible()
    run.page.get_by_role("button", name="Uncertainty, at hands").press("Enter")
    run.send()
    assert plus_minus.is_visible()
    run.page.get_by_role("button", name="Uncertainty, at saddle").click()
    assert not plus_minus.is_visible()


def test_a_refusal_is_a_sentence_in_the_words_of_the_trade_with_the_way_to_what_it_speaks_of(run):
    run.refusal = {"title": "not accepted", "detail": "rear_mm: expected more than front_mm; hands_left: silent"}
    run.page.keyboard.press("Space")
    run.wait(lambda: run.text(".message.polite").startswith("Rear end"))
    assert run.text(".message.polite") == "Rear end: expected more than front end; hands left: silent."
    assert run.page.locator(".there").is_hidden()

    run.refusal = {"title": "not now", "detail": "checks still open: zero", "see": "checks"}
    run.page.keyboard.press("p")
    run.wait(lambda: run.text(".message.polite").startswith("Checks still open"))
    run.page.get_by_role("link", name="To Checks").click()
    run.wait(lambda: run.page.url.endswith("#checks"))


def test_a_notice_leads_to_the_place_it_names_and_to_none_by_its_words(run, messages):
    caution = {**messages["notice"], "text": "see the bench screen: calibrate"}
    run.send(caution)
    assert run.page.locator(".there").is_hidden()

    run.send({**caution, "see": "bench"})
    assert run.page.locator(".there").inner_text() == "To Bench"
    assert run.page.locator(".there").get_attribute("href") == "#bench"


def test_a_stop_that_is_not_confirmed_is_an_alarm(run):
    run.answers["sweep/events"] = LOST
    run.page.keyboard.press("Escape")
    run.wait(lambda: "stop the rider yourself" in run.text(".message.alert"))


def test_a_stop_before_the_page_has_heard_of_a_sweep_is_sent(desk, messages):
    at = desk().load()
    at.page.keyboard.press("Escape")
    at.wait(lambda: at.asked)
    assert at.asked == [("sweep/events", {"event": "stop"})]

    at.send({**messages["snapshot"], "sweep": None})
    at.wait(lambda: at.text(".message.polite") != "Connecting to the jig.")
    at.page.keyboard.press("Escape")
    at.page.keyboard.press("h")
    at.wait(lambda: len(at.asked) > 1)
    assert [path for path, _ in at.asked] == ["sweep/events", "marks"], "there is nothing to stop"


def test_a_stop_that_is_not_confirmed_comes_before_the_lost_stream_that_ate_it(run):
    run.answers["sweep/events"] = LOST
    run.cut()
    run.wait(lambda: "Connection to the jig lost" in run.text(".message.alert"))
    run.page.keyboard.press("Escape")
    run.wait(lambda: "stop the rider yourself" in run.text(".message.alert"))


def test_a_stop_without_an_answer_is_sent_until_there_is_one(run, messages):
    stops, told, stopped = [], [], sweep_in(messages, State.STOPPED)

    def answer(event):
        stops.append(event)
        return stopped if told and len(stops) > 2 else LOST

    run.answers["sweep/events"] = answer
    run.page.keyboard.press("Escape")
    run.wait(lambda: "stop the rider yourself" in run.text(".message.alert"))
    told.append(True)
    run.wait(lambda: run.text(".message.alert") == "")
    assert len(stops) > 2


def test_a_stop_that_acted_but_is_not_on_the_disk_is_not_called_unconfirmed(run):
    run.answers["sweep/events"] = (507, {"title": "stopped, not stored", "detail": "stopped; the disk is full"})
    run.page.keyboard.press("Escape")
    run.wait(lambda: "the disk is full" in run.text(".message.polite"))

    assert run.text(".message.alert") == ""


def test_an_alarm_stays_on_the_line_behind_neither_news_nor_refusal(run, messages):
    alarm = {**messages["notice"], "level": "alarm", "text": "chest pain: the ride is over today"}
    run.send(alarm, {**messages["notice"], "level": "info", "text": "power sensor: all well again"})
    assert "Chest pain" in run.text(".message.alert")

    run.refusal = {"title": "not accepted", "detail": "the rider is aboard"}
    run.page.keyboard.press("p")
    run.wait(lambda: run.asked)
    run.send()
    assert "Chest pain" in run.text(".message.alert")

    run.page.get_by_role("button", name="Seen").click()
    run.wait(lambda: run.text(".message.alert") == "")
    assert "all well again" not in run.text(".messages"), "what was behind the alarm was dismissed with it"


def test_where_another_day_governs_the_answer_says_that_its_suggestion_is_todays(run, messages):
    run.send(messages["onset"])
    assert "suggested setback 57 mm" in run.text(".answer-value")

    run.send({**messages["sweep"], "chance_of": "another day"})
    assert "suggested by today’s chance 57 mm" in run.text(".answer-value")


def test_a_lost_stream_is_said_and_opened_again_with_a_fresh_snapshot(run, messages):
    run.cut()
    run.wait(lambda: "Connection to the jig lost" in run.text(".message.alert"))
    assert run.page.locator(".loads").get_attribute("data-stale") is not None

    run.wait(lambda: len(run.connections) > 1)
    run.send({**messages["snapshot"], "steps": messages["steps"]["steps"][2:]})
    assert run.page.locator(".message.alert").inner_text() == ""
    assert run.page.locator(".onset-chart .point").count() == 1


def test_a_daemon_that_ends_is_not_called_a_lost_connection_except_while_somebody_rides(run, messages):
    run.cut("over")
    run.wait(lambda: "Connection to the jig lost" in run.text(".message.alert"))

    run.wait(lambda: len(run.connections) > 1)
    run.send({**messages["snapshot"], "simulated": True, "sweep": sweep_in(messages, State.FINISHED)})
    run.cut("over")

    run.wait(lambda: "the terminal there tells how it went" in run.text(".message.polite"))
    assert run.text(".message.alert") == ""


def test_a_silent_board_greys_the_numbers_and_says_since_when(run, messages):
    silent = {**messages["sources"]["sources"][0], "damaged": 1, "state": "stale", "age_s": 3000.0}
    run.send(messages["stroke"], {"type": "sources", "sources": [silent, messages["sources"]["sources"][1]]})

    since = re.compile(r"no data 30\d\d s")
    """The page counts on while the test reads."""
    assert since.fullmatch(run.text(".basis"))
    assert since.search(run.text(".chips"))
    assert "damaged" not in run.text(".chips")
    assert "1 damaged" in run.page.locator(".chips .chip").first.get_attribute("title")


def test_no_onset_takes_the_place_of_an_onset(run, messages):
    none = {**messages["onset"], "verdict": "light-throughout", "onset_mm": None, "interval_95_mm": None}
    run.send(none, sweep_in(messages, State.FINISHED))

    assert run.text("#answer-title") == "No onset: hands light throughout"
    assert "mm" not in run.text(".now")


def test_the_table_holds_what_the_chart_shows(run, messages):
    run.send(messages["steps"])
    run.page.keyboard.press("t")
    run.send()

    rows = run.page.locator(".table-host tbody tr").all_inner_texts()
    assert rows[0].split("\t")[1:3] == ["80 ± 2", "0, \u22125"], "the setback with its error, reach and drop as set"
    assert [row.split("\t")[3] for row in rows] == ["78.2", "77.9", "78.8"]


def test_the_rider_sees_neither_loads_nor_setback(desk, messages):
    at = desk().open(messages["snapshot"], "rider")
    caution = {**messages["notice"], "text": "40 mm was asked, 45 mm is taken as set"}
    at.send(messages["sweep"], messages["stroke"], messages["onset"], caution)

    moving = at.text("body")
    at.send(sweep_in(messages, State.AVERAGING, dwell_left_s=16.0, setback_mm=40.0))
    ridden = at.text("body")
    assert "91 rpm" in ridden
    for seen in (moving, ridden):
        assert "SIMULATED" in seen
        assert not [word for word in ("mm", " N", "setback", "Onset", "Hands", "Step") if word in seen]


@pytest.mark.parametrize("state", [State.WAITING, State.MOVING, State.AVERAGING, State.FINISHED])
def test_the_run_fits_its_width_and_every_control_can_be_hit(run, messages, state):
    run.send(messages["onset"], sweep_in(messages, state))

    for width, height in SIZES:
        run.resize(width, height)
        assert run.page.evaluate("Math.max(document.documentElement.scrollWidth, document.body.scrollWidth)") <= width
        boxes = {button.inner_text(): button.bounding_box() for button in run.page.locator(".dock button").all()}
        assert min(min(box["width"], box["height"]) for box in boxes.values()) >= 44, (width, boxes)
        assert all(box["y"] + box["height"] <= height for box in boxes.values()), (height, boxes)
        area = {text: box["width"] * box["height"] for text, box in boxes.items()}
        assert max(area, key=area.get).startswith("Stop"), (width, area)


def test_the_run_on_a_phone_does_not_scroll_sideways_and_keeps_stop_in_sight(desk, messages):
    at = desk(viewport={"width": 390, "height": 844}).open(messages["snapshot"])
    at.send(messages["onset"], sweep_in(messages, State.AVERAGING))

    assert at.page.evaluate("document.documentElement.scrollWidth") <= 390
    stop = at.page.locator(".dock button", has_text="Stop").bounding_box()
    assert stop["y"] + stop["height"] <= 844


ON_TOP = """(button) => {
  const { left, top, width, height } = button.getBoundingClientRect();
  const at = (x, y) => button.contains(document.elementFromPoint(left + x * width, top + y * height));
  return [0.1, 0.5, 0.9].every((x) => [0.1, 0.5, 0.9].every((y) => at(x, y)));
}"""


def test_the_panel_of_keys_and_settings_never_lies_on_stop(run, messages):
    run.send(sweep_in(messages, State.AVERAGING))
    run.page.keyboard.press("?")
    run.wait(run.page.get_by_label("Spoken cues").is_visible)

    for width, height in (*SIZES, (390, 844)):
        run.resize(width, height)
        assert run.page.locator(".dock button.stop").evaluate(ON_TOP), (width, height)
        last = run.page.get_by_role("heading", name="Messages")
        last.evaluate("(heading) => heading.scrollIntoView({ block: 'end' })")
        assert last.evaluate(ON_TOP), "what stands last can be read above the dock"


LONGEST_WHY = "a little less effort: bring the power to 200 W at 90 rpm"


@pytest.mark.parametrize(
    ("state", "fields"),
    [
        (State.AVERAGING, {"in_band": False}),
        (State.SETTLING, {"settle_left_s": 6.0}),
        (State.FINISHED, {}),
        (State.MOVING, {"why_here": "just forward of where the onset may be, 44 to 56 mm", "order": "adaptive"}),
    ],
    ids=str,
)
def test_what_to_do_is_never_cut_off(run, messages, state, fields):
    run.send(sweep_in(messages, state, dwell_left_s=25.0, why_waiting=LONGEST_WHY, **fields), messages["onset"])

    for width, height in SIZES:
        run.resize(width, height)
        shown = run.page.locator(".now").evaluate("(now) => [now.scrollHeight, now.clientHeight]")
        assert shown[0] <= shown[1], width


LISTEN = """
  window.said = []; window.locks = [];
  Object.defineProperty(window, "speechSynthesis", { value: { cancel() {}, speak: (words) => said.push(words.text) } });
  Object.defineProperty(navigator, "wakeLock", { value: { request: async (kind) => {
    locks.push(kind);
    return { addEventListener() {}, release: async () => locks.push("released") };
  } } });
"""


def test_cues_are_spoken_when_asked_for_and_the_screen_stays_awake_while_a_sweep_runs(desk, messages):
    at = desk(kept=False)
    at.page.add_init_script(LISTEN)
    at.open({**messages["snapshot"], "sweep": None})
    at.page.keyboard.press("?")
    at.page.get_by_label("Spoken cues").check()
    at.page.get_by_role("button", name="Close").click()
    for state in (State.MOVING, State.SETTLING, State.AVERAGING, State.FINISHED):
        at.send(sweep_in(messages, state))

    assert at.page.evaluate("said") == ["Keep pedalling: recording", "Finished"]
    assert at.page.evaluate("locks") == ["screen", "released"]


def test_nothing_is_loaded_from_outside_and_nothing_stands_inline(desk, messages, address):
    at = desk(kept=False)
    asked: list[str] = []
    at.page.on("request", lambda request: asked.append(request.url))
    at.open(messages["snapshot"])
    served = at.page.context.request.get(address).text()

    assert [url for url in asked if not url.startswith(address)] == []
    assert not re.search(r"<style|<script(?![^>]*src=)| on\w+=| style=", served)


HOLD_FRAMES = """() => {
  const clear = CanvasRenderingContext2D.prototype.clearRect;
  window.draws = 0;
  window.held = [];
  CanvasRenderingContext2D.prototype.clearRect = function (...box) {
    window.draws += 1;
    return clear.apply(this, box);
  };
  window.requestAnimationFrame = (callback) => window.held.push(callback);
}"""
NEXT_FRAME = "() => { for (const callback of window.held.splice(0)) callback(performance.now()); return window.draws; }"


def test_the_strips_draw_on_frames_and_not_on_arrival(run):
    n, blocks, strips = 20, 200, 2
    run.page.evaluate(HOLD_FRAMES)
    run.wait(lambda: run.page.evaluate("window.held.length"))
    before = run.page.evaluate("window.draws")
    for k in range(blocks):
        times_s = [0.001 * i for i in range(n)]
        run.connections[-1].send(struct.pack(f"<BBHd{4 * n}f", 1, 3, n, 0.02 * k, *times_s, *[80.0] * 3 * n))
    run.page.wait_for_timeout(500)

    assert run.page.evaluate("window.draws") == before
    assert 0 < run.page.evaluate(NEXT_FRAME) - before <= strips
