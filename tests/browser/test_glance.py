"""The state of the ride at a glance, the move card, and what a fault makes of both screens."""

import json
import re

import pytest

from daq.live.telling.blind import for_rider
from daq.sweep.run import State
from tests.browser.answers import sweep_in
from tests.browser.shots import STATES, sent

GLANCE = """(async () => {
  const s = await import('/state.js');
  const state = a.reduce((state, message) => s.reduce(state, message), s.initial);
  return m.glance(state, 1000);
})()"""
RECORDING = {"dwell_left_s": 16.0, "setback_mm": 50.0, "why_waiting": ""}


def quiet(messages, age_s, kind="board"):
    """The message of the sensors in which one says nothing any more."""
    sources = [
        {**one, "state": "stale", "age_s": age_s} if one["kind"] == kind else {**one, "state": "live"}
        for one in messages["sources"]["sources"]
    ]
    return {**messages["sources"], "sources": sources, "received_ms": 1000}


def seen(js, messages, *sent):
    """The ride at a glance after these messages on an open stream, all sensors live before them."""
    live = {**messages["sources"], "received_ms": 1000}
    opened = {"type": "page/link", "state": "open", "retry_ms": 0}
    return js("glance.js", GLANCE, [opened, messages["snapshot"], live, *sent])


@pytest.mark.parametrize(
    ("state", "fields", "kind"),
    [
        (State.WAITING, {}, "ready"),
        (State.MOVING, {}, "move"),
        (State.SETTLING, {"settle_left_s": 4.0}, "settle"),
        (State.SETTLING, {"settle_left_s": 0}, "waits"),
        (State.AVERAGING, RECORDING, "record"),
        (State.AVERAGING, {**RECORDING, "in_band": False}, "waits"),
        (State.PAUSED, {}, "rest"),
        (State.PAUSED, {"pain": True}, "fault"),
        (State.FINISHED, {}, "done"),
        (State.STOPPED, {}, "done"),
    ],
)
def test_every_state_has_one_kind(js, messages, state, fields, kind):
    assert seen(js, messages, sweep_in(messages, state, **fields))["kind"] == kind


def test_every_kind_has_a_shape_of_its_own(desk, messages):
    at, shapes = desk().open(messages["snapshot"]), {}
    for state, fields in (
        (State.WAITING, {}),
        (State.MOVING, {}),
        (State.SETTLING, {"settle_left_s": 4.0}),
        (State.AVERAGING, RECORDING),
        (State.AVERAGING, {**RECORDING, "in_band": False}),
        (State.PAUSED, {}),
        (State.PAUSED, {"pain": True}),
        (State.FINISHED, {}),
    ):
        at.send(messages["sources"], sweep_in(messages, state, **fields))
        band = at.page.locator(".band")
        shapes[band.locator("path").get_attribute("d")] = band.get_attribute("data-kind")

    assert len(shapes) == len(set(shapes.values())) == 8


def test_a_pulled_cable_takes_the_place_of_the_seconds_on_both_screens(desk, messages):
    fitter, rider = desk(), desk()
    for at, screen in ((fitter, "run"), (rider, "rider")):
        at.open(messages["snapshot"], screen)
        at.send(sweep_in(messages, State.AVERAGING, **RECORDING), quiet(messages, 4.0))

    now = fitter.page.locator(".now").inner_text()
    assert fitter.text(".band-word") == "FAULT"
    assert re.match("no data from the load cells for [0-9]+\\s", fitter.text(".band-said"))
    assert fitter.text(".lead") == "Plug the board in again. The rider may stop."
    assert "9 of 25 s are kept" in now
    assert "Keep pedalling" not in now
    assert "/dev" not in now
    assert fitter.text(".dock .main-words") == "Waiting"
    assert rider.text(".band-word") == "FAULT"
    assert rider.text(".rider-words") == "You may stop: a cable is being fixed"


def test_a_silent_power_sensor_is_a_fault_only_while_its_word_counts(js, messages):
    silent = quiet(messages, 5.0, kind="power")
    moving = seen(js, messages, sweep_in(messages, State.MOVING), silent)
    riding = seen(js, messages, sweep_in(messages, State.AVERAGING, **RECORDING), silent)

    assert (moving["kind"], riding["kind"]) == ("move", "fault")
    assert "turn the cranks" in riding["trouble"]["act"]


def test_while_a_clamp_is_open_the_rider_is_off_unless_the_slides_lock_by_themselves(desk, messages):
    for locking, said in ((False, "Off the jig"), (True, "Keep still")):
        at = desk()
        at.open({**messages["snapshot"], "rig": {**messages["snapshot"]["rig"], "self_locking": locking}}, "rider")
        at.send(messages["sources"], messages["sweep"])
        assert at.text(".rider-words").startswith(said)


def test_only_who_is_to_pedal_is_told_a_cadence(desk, messages):
    rider = desk().open(messages["snapshot"], "rider")
    gauges = rider.page.locator(".rider .gauge:visible")
    shown = {}
    for state in STATES:
        rider.send(*sent(messages, state))
        shown[state] = gauges.count()

    assert {state for state, count in shown.items() if count} == {"ready", "settle", "record", "early", "waits"}


def test_what_is_set_is_read_from_two_metres(desk, messages):
    """Figures of 90 px and more, words of 28 px and more at 1280 x 800."""
    at = desk().open(messages["snapshot"])
    at.send(messages["sources"], messages["sweep"])
    size = "(e) => parseFloat(getComputedStyle(e).fontSize)"
    cells = at.page.locator(".figure-cell")

    assert cells.locator(".figure-value").all_inner_texts() == ["40", "726", "590"]
    assert min(one.evaluate(size) for one in cells.locator(".figure-value").all()) >= 90
    assert min(one.evaluate(size) for one in cells.locator(".figure-change").all()) >= 28
    assert at.page.locator(".band-word").evaluate(size) >= 28
    assert at.page.locator(".picture svg").is_visible()


def test_what_was_set_otherwise_goes_with_the_confirmation(desk, messages):
    at = desk().open(messages["snapshot"])
    at.send(messages["sources"], messages["sweep"])
    at.page.get_by_text("Something else was set").click()
    at.page.get_by_label("Saddle height, mm").fill("724")
    at.page.get_by_label("Saddle height, mm").blur()
    at.send()
    assert at.page.locator(".figure-value").all_inner_texts()[1] == "724"
    at.page.keyboard.press("Space")
    at.wait(lambda: at.asked)

    body = {"event": "saddle_moved", "setback_mm": 40, "setting": {"saddle_height_mm": 724}}
    assert at.asked == [("sweep/events", body)]


def test_the_parts_of_a_move_can_be_confirmed_one_press_each(desk, messages):
    at = desk().open(messages["snapshot"])
    at.send(messages["sources"], messages["sweep"])
    at.page.keyboard.press("?")
    at.page.get_by_label("One press for each part of a move").check()
    at.page.get_by_role("button", name="Close").click()
    said = []
    for _ in range(3):
        at.send()
        said.append(at.text(".dock .main-words"))
        at.page.wait_for_timeout(650)  # a press sooner than 0.6 s is taken for a pedal that bounced
        at.page.keyboard.press("Space")
    at.wait(lambda: "sweep/events" in dict(at.asked))

    assert said == ["Setback is 40", "Height is 726", "Bar is 590: all set"]
    assert [path for path, _ in at.asked if path.startswith("sweep")] == ["sweep/events"]


def test_a_part_of_a_move_is_ticked_by_a_sign_and_no_longer_ticked_once_it_is_changed(desk, messages):
    at = desk().open(messages["snapshot"])
    at.send(messages["sources"], {**messages["sweep"], "set": None}, {"type": "steps", "steps": []})
    at.page.keyboard.press("?")
    at.page.get_by_label("One press for each part of a move").check()
    at.page.get_by_role("button", name="Close").click()
    at.page.keyboard.press("Space")
    changes = at.page.locator(".figure-change")
    at.wait(lambda: changes.first.inner_text() == "✓ set")
    assert at.text(".dock .main-words") == "Height is 726"
    at.page.keyboard.press("ArrowLeft")
    at.wait(lambda: changes.first.inner_text() == "")
    assert at.text(".dock .main-words") == "Setback is 41"


def test_a_step_that_is_ridden_again_asks_for_no_move_where_the_jig_still_stands_there(desk, messages):
    at = desk().open(messages["snapshot"])
    target = messages["sweep"]["target"]
    before = {**target, "setback_mm": target["setback_mm"] + 10.0, "bar_x_mm": target["bar_x_mm"] - 10.0}
    steps = {"type": "steps", "steps": [{**messages["steps"]["steps"][0], "setting": before}]}
    at.send(messages["sources"], {**messages["sweep"], "set": target}, steps)
    assert at.page.locator(".figure-change").all_inner_texts() == ["stays", "stays", "stays"]

    at.send({**messages["sweep"], "set": None})
    assert at.page.locator(".figure-change").all_inner_texts() == ["10 forward", "stays", "10 ahead"]


@pytest.mark.parametrize("width", [1280, 390])
def test_the_figures_of_a_move_stand_on_one_line(desk, messages, width):
    at = desk(viewport={"width": width, "height": 844}).open(messages["snapshot"])
    at.send(messages["sources"], messages["sweep"])
    bottoms = {round(one.bounding_box()["y"]) for one in at.page.locator(".figure-value").all()}

    assert len(bottoms) == 1


def test_the_lamp_says_recording_only_while_a_step_is_recorded(desk, messages):
    at = desk().open(messages["snapshot"])
    at.send(messages["sources"], messages["sweep"])
    assert not at.page.locator(".recording").is_visible()
    at.send(sweep_in(messages, State.AVERAGING, **RECORDING))
    assert at.text(".recording") == "recording"


def test_after_a_pain_the_ride_goes_on_only_when_it_was_said_where_and_how_much(desk, messages):
    at, rider = desk(), desk()
    for one, screen in ((at, "run"), (rider, "rider")):
        one.open(messages["snapshot"], screen)
        one.send(messages["sources"], sweep_in(messages, State.PAUSED, pain=True))
    assert rider.text(".rider-words") == "Stop pedalling"
    assert at.page.locator(".dock .main").is_disabled()
    at.page.keyboard.press("Space")
    form = at.page.get_by_role("form", name="Where it hurts")
    keep = form.get_by_role("button")
    form.get_by_label("Where does it hurt, or is it numb?").select_option("knee front")
    form.get_by_text("left", exact=True).click()
    form.get_by_text("6", exact=True).click()
    assert keep.is_disabled(), "what would end the ride is asked, never taken as no"
    form.get_by_text("none of these").click()
    keep.click()
    at.wait(lambda: at.asked)

    assert at.asked == [("pain", {"place": "knee front", "side": "left", "score": 6, "red": None})]
    at.send(sweep_in(messages, State.PAUSED, pain=True, pain_told=True))
    assert not form.is_visible()
    assert at.text(".dock .main-words") == "Resume"


def test_what_was_said_of_a_pain_is_there_again_when_the_page_is_loaded_anew_and_goes_with_the_pain(desk, messages):
    hurts = sweep_in(messages, State.PAUSED, pain=True)
    at = desk().open({**messages["snapshot"], "sweep": hurts})
    form = at.page.get_by_role("form", name="Where it hurts")
    where = form.get_by_label("Where does it hurt, or is it numb?")
    where.select_option("knee front")
    form.get_by_text("left", exact=True).click()
    form.get_by_text("6", exact=True).click()
    at.page.reload()
    at.wait(form.is_visible)

    assert where.input_value() == "knee front"
    assert [form.get_by_role("radio", name=name, exact=True).is_checked() for name in ("left", "6")] == [True, True]
    form.get_by_text("none of these").click()
    form.get_by_role("button").click()
    at.wait(lambda: at.asked)
    assert at.asked == [("pain", {"place": "knee front", "side": "left", "score": 6, "red": None})]
    at.send(sweep_in(messages, State.MOVING, pain=False))
    at.send(hurts)
    assert where.input_value() == ""
    assert form.get_by_role("radio", checked=True).count() == 0


@pytest.fixture
def next_pain(desk, messages):
    """A page on which a pain is answered, where, and the sweep once that one is told and the next one is there."""
    hurts = sweep_in(messages, State.PAUSED, pain=True)
    at = desk().open({**messages["snapshot"], "sweep": hurts})
    where = at.page.get_by_label("Where does it hurt, or is it numb?")
    where.select_option("knee front")
    told = {"setback_mm": 45.0, "score": 5, "said": "knee front, right, 5 of 10, at 45 mm"}
    return at, where, {**hurts, "pains": [*hurts["pains"], told]}


def test_what_was_said_of_one_pain_is_not_said_of_the_next(next_pain, messages):
    """The next one came while the page was away."""
    at, where, hurts_again = next_pain
    at.send({**messages["snapshot"], "sweep": hurts_again})
    at.page.evaluate("location.hash = '#plan'")
    at.page.evaluate("location.hash = '#run'")
    at.wait(where.is_visible)

    assert where.input_value() == ""


def test_a_page_that_draws_only_the_next_pain_asks_for_it_anew(next_pain):
    """Pages in the background draw nothing: told, ridden on and hurting again may be one drawing to it."""
    at, where, hurts_again = next_pain
    at.send(hurts_again)

    assert where.is_visible()
    assert where.input_value() == ""


def test_what_ends_the_ride_is_told_by_two_presses(desk, messages):
    """Nobody with chest pain waits until place, side and score are filled in."""
    at = desk().open(messages["snapshot"])
    at.send(messages["sources"], sweep_in(messages, State.PAUSED, pain=True))
    form = at.page.get_by_role("form", name="Where it hurts")
    form.get_by_text("chest pain").click()
    form.get_by_role("button", name="End the ride for today").click()
    at.wait(lambda: at.asked)

    assert at.asked == [("pain", {"place": None, "side": None, "score": None, "red": "chest pain"})]


def test_what_ends_the_ride_says_so_on_both_screens(desk, messages):
    at, rider = desk(), desk()
    for one, screen in ((at, "run"), (rider, "rider")):
        one.open(messages["snapshot"], screen)
        one.send(messages["sources"], sweep_in(messages, State.STOPPED, over="chest pain"))

    assert at.text(".band-word") == rider.text(".band-word") == "OVER"
    assert at.text(".lead") == "The ride is over today."
    assert at.text(".dock .main-words") == "Over for today"
    assert at.page.locator(".dock .main").is_disabled(), "nothing is ridden any more, so nothing is planned"
    assert rider.text(".rider-words") == "Stop. The ride is over today."


def test_the_riders_own_stream_says_the_same_on_the_riders_screen(desk, messages):
    """The daemon leaves out what the rider shall not see; what to do, a pain and an end come through."""
    whole, blind = desk(), desk()
    whole.open(messages["snapshot"], "rider")
    blind.open(json.loads(for_rider(json.dumps(messages["snapshot"]))), "rider")
    said = {}
    for state in STATES:
        all_of_it = sent(messages, state)
        whole.send(*all_of_it)
        blind.send(*(json.loads(kept) for one in all_of_it if (kept := for_rider(json.dumps(one))) is not None))
        said[state] = blind.text(".band-word"), blind.text(".rider-words")
        assert said[state] == (whole.text(".band-word"), whole.text(".rider-words")), state

    assert blind.faults == []
    assert said["pain"] == ("PAIN", "Stop pedalling")
    assert said["over"][0] == "OVER"
    assert "setback" not in blind.page.locator("body").inner_text().lower()
