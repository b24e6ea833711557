"""reduce(state, message) over the saved messages of the daemon."""

import pytest

REDUCE_ALL = "a.reduce((state, message) => m.reduce(state, message), m.initial)"


@pytest.mark.parametrize("kind", ["sources", "stroke", "sweep", "steps", "onset", "notice", "bench", "visit"])
def test_every_message_of_the_daemon_changes_the_state(js, messages, kind):
    before, after = js("state.js", f"[{REDUCE_ALL}, m.reduce({REDUCE_ALL}, a[1])]".replace("a.", "a[0]."), [
        [messages["snapshot"]], {**messages[kind], "received_ms": 5.0}
    ])  # fmt: skip

    assert before != after


def test_a_type_unknown_to_this_page_leaves_the_very_same_state(js):
    assert js("state.js", "m.reduce(m.initial, {type: 'of a later version'}) === m.initial")


def test_a_snapshot_brings_all_its_fields(js, messages):
    state = js("state.js", REDUCE_ALL, [messages["snapshot"]])

    for field in ("version", "simulated", "recording", "rig", "rider", "calibration", "sources", "sweep", "steps"):
        assert state[field] == messages["snapshot"][field]


def test_a_snapshot_after_a_lost_connection_leaves_nothing_of_before(js, messages):
    old = [messages["snapshot"], messages["steps"], messages["onset"], messages["stroke"], messages["notice"]]
    again = js("state.js", REDUCE_ALL, [*old, messages["snapshot"]])
    fresh = js("state.js", REDUCE_ALL, [messages["snapshot"]])

    assert again == fresh


def test_the_old_state_stays_as_it_was(js, messages):
    code = """(() => {
      const before = m.reduce(m.initial, a[0]);
      const copy = structuredClone(before);
      a.forEach((message) => m.reduce(before, message));
      return [copy, before];
    })()"""
    copy, before = js("state.js", code, list(messages.values()))

    assert copy == before


def test_a_step_taken_back_takes_its_answer_along(js, messages):
    fewer = {"type": "steps", "steps": messages["snapshot"]["steps"][:1]}
    state = js("state.js", REDUCE_ALL, [messages["snapshot"], messages["onset"], fewer])

    assert state["onset"] is None


def test_a_new_sweep_starts_without_steps_and_without_an_answer(js, messages):
    new = {**messages["sweep"], "sweep_id": messages["sweep"]["sweep_id"] + 1}
    state = js("state.js", REDUCE_ALL, [messages["snapshot"], messages["onset"], new])

    assert (state["steps"], state["onset"]) == ([], None)


def test_the_entry_starts_at_what_is_asked_and_keeps_the_fitters_change(js, messages):
    asked = messages["sweep"]["asked_setback_mm"]
    moved = [messages["snapshot"], messages["sweep"], {"type": "page/entry", "by_mm": 5}]

    assert js("state.js", REDUCE_ALL, moved[:2])["entry_mm"] == asked
    assert js("state.js", REDUCE_ALL, [*moved, messages["sweep"]])["entry_mm"] == asked + 5
    next_step = {**messages["sweep"], "asked_setback_mm": asked - 10}
    assert js("state.js", REDUCE_ALL, [*moved, next_step])["entry_mm"] == asked - 10


def newest_seen(state):
    return state["notices"][-1].get("seen", False)


@pytest.mark.parametrize(("level", "seen"), [("caution", True), ("alarm", False)])
def test_a_caution_is_over_once_the_position_is_recorded_an_alarm_is_not(js, messages, level, seen):
    sweep = messages["sweep"]
    settling, averaging = {**sweep, "state": "settling"}, {**sweep, "state": "averaging"}
    notice = {**messages["notice"], "level": level}

    before = js("state.js", REDUCE_ALL, [messages["snapshot"], settling, notice])
    after = js("state.js", REDUCE_ALL, [messages["snapshot"], settling, notice, averaging])

    assert (newest_seen(before), newest_seen(after)) == (False, seen)


@pytest.mark.parametrize(("level", "seen"), [("caution", True), ("alarm", False)])
def test_a_caution_about_a_position_goes_when_the_position_is_taken_back(js, messages, level, seen):
    placed = {**messages["sweep"], "state": "settling", "setback_mm": 65.0}
    told = [messages["snapshot"], placed, {**messages["notice"], "level": level}]
    undone = {**messages["sweep"], "state": "moving", "setback_mm": None}
    before = js("state.js", REDUCE_ALL, told)
    after = js("state.js", REDUCE_ALL, [*told, undone])

    assert (newest_seen(before), newest_seen(after)) == (False, seen)


def test_the_alarm_of_a_pain_goes_when_the_fitter_lets_the_ride_go_on(js, messages):
    pain = {**messages["sweep"], "state": "paused", "pain": True}
    told = [messages["snapshot"], pain, {**messages["notice"], "level": "alarm"}]
    stays = js("state.js", REDUCE_ALL, [*told, pain])
    goes = js("state.js", REDUCE_ALL, [*told, {**pain, "state": "moving", "pain": False}])

    assert (newest_seen(stays), newest_seen(goes)) == (False, True)


@pytest.mark.parametrize(("pain", "seen"), [(True, False), (False, True)])
def test_a_page_that_opens_after_a_pain_is_over_shows_its_alarm_no_more(js, messages, pain, seen):
    alarm = {**messages["notice"], "level": "alarm", "text": "the rider stops pedalling", "pain": True}
    opened = {**messages["snapshot"], "sweep": {**messages["sweep"], "pain": pain}, "notices": [alarm]}

    assert newest_seen(js("state.js", REDUCE_ALL, [opened])) == seen


@pytest.mark.parametrize(("kind", "left"), [("page/refused", []), ("page/unstopped", ["unstopped"])])
def test_a_refusal_stays_on_its_screen_and_a_stop_nobody_confirmed_goes_along(js, messages, kind, left):
    told = [messages["snapshot"], {"type": kind, "text": "said"}, {"type": "page/screen"}]
    state = js("state.js", REDUCE_ALL, told)

    assert [name for name in ("problem", "unstopped") if state[name] == "said"] == left


@pytest.mark.parametrize(
    "after",
    [
        [{"type": "page/sending", "what": "mark"}, {"type": "page/sent", "what": "mark"}],
        [{"type": "page/sending", "what": "mark"}, {"type": "page/refused", "text": "not now"}],
        [{"type": "page/sending", "what": "stop"}],
    ],
    ids=["another_command", "a_refusal", "tried_again"],
)
def test_no_other_command_hides_a_stop_that_nobody_confirmed(js, messages, after):
    told = [messages["snapshot"], messages["sweep"], {"type": "page/unstopped", "text": "stop the rider"}, *after]

    assert js("state.js", REDUCE_ALL, told)["unstopped"] == "stop the rider"


def test_a_stop_is_confirmed_by_its_answer_by_the_sweeps_end_or_by_the_fitter(js, messages):
    told = [messages["snapshot"], messages["sweep"], {"type": "page/unstopped", "text": "stop the rider"}]
    ended = {**messages["sweep"], "state": "stopped", "accepts": []}
    for sign in ({"type": "page/sent", "what": "stop"}, ended, {"type": "page/seen"}):
        assert js("state.js", REDUCE_ALL, [*told, sign])["unstopped"] is None


def test_a_caution_about_the_end_of_a_sweep_goes_when_the_sweep_goes_on(js, messages):
    ended = {**messages["sweep"], "state": "stopped", "accepts": []}
    told = [messages["snapshot"], ended, {**messages["notice"], "level": "caution"}]

    assert not newest_seen(js("state.js", REDUCE_ALL, told))
    assert newest_seen(js("state.js", REDUCE_ALL, [*told, messages["sweep"]]))
