"""What the page says: to the fitter about now, and about the answer."""

import pytest

from daq.sweep.run import FITTERS_TRIGGERS, State, fitter_may

STATE = "a.reduce((state, message) => s.reduce(state, message), s.initial)"


@pytest.fixture
def words(js):
    """words(expression, messages): an expression of both files of words, `state` being the state after the messages."""

    def value(expression, messages):
        both = "const m = {...await import('/words.js'), ...await import('/answer_words.js')}"
        state = f"const s = await import('/state.js'); const state = {STATE}"
        return js("state.js", f"(async () => {{ {both}; {state}; return {expression}; }})()", messages)

    return value


def in_state(messages, state, **fields):
    accepts = [str(event) for event in fitter_may(state)]
    return [messages["snapshot"], {**messages["sweep"], "state": str(state), "accepts": accepts, **fields}]


@pytest.mark.parametrize("state", list(State))
def test_every_state_of_a_sweep_has_one_thing_to_do(words, messages, state):
    said = words("m.instruction(state)", in_state(messages, state))

    assert len(said["lead"]) > 5
    assert said["lead"] != str(state)


@pytest.mark.parametrize("state", list(State))
def test_the_large_button_only_sends_what_the_sweep_accepts(words, messages, state):
    action = words("m.mainAction(state)", in_state(messages, state))

    if action is not None and action["event"] is not None:
        assert action["event"] in [str(event) for event in fitter_may(state)]


def test_every_event_of_the_fitter_has_a_control(js, words, messages):
    mains = {(words("m.mainAction(state)", in_state(messages, state)) or {}).get("event") for state in State}
    plain = {"pause", "redo", "undo", "enough", "stop"}

    assert mains - {None} | plain == {str(event) for event in FITTERS_TRIGGERS}


def test_what_the_jig_reads_counts_until_the_fitter_enters_a_setback(words, messages):
    sweep = {**messages["sweep"], "measured": {"setback_mm": 39.6}}
    label = "m.mainAction(state).label.replace('\u00a0', ' ')"
    moving = [messages["snapshot"], sweep]
    there_and_back = [{"type": "page/entry", "by_mm": by_mm} for by_mm in (1, -1)]

    assert words(label, moving) == "Saddle is at 39.6 mm"
    assert words(label, [*moving, *there_and_back]) == "Saddle is at 40 mm"
    assert words("m.entryDoubt(state)", moving) == ""
    far = [messages["snapshot"], {**sweep, "measured": {"setback_mm": 50.0}}]
    assert words("m.entryDoubt(state)", far).startswith("10\u00a0mm from what is asked")


def test_the_setback_to_go_to_is_the_largest_thing_said(words, messages):
    said = words("m.instruction(state)", [messages["snapshot"], messages["sweep"]])

    assert (said["value"], said["unit"]) == ("40", "mm behind the BB")
    assert said["detail"].replace("\u00a0", " ") == "10 mm forward; height −3 mm from the start"


def test_outside_the_band_the_page_says_that_recording_waits_and_why(words, messages):
    why = "a little less effort: bring the power to 200 W at 90 rpm"
    said = words("m.instruction(state)", in_state(messages, State.AVERAGING, in_band=False, why_waiting=why))

    assert said["waits"]
    assert "wait" in said["lead"]
    assert said["detail"] == why


NOT_AN_ONSET = ["light-throughout", "loaded-throughout", "undecided"]


@pytest.mark.parametrize("verdict", NOT_AN_ONSET)
def test_without_an_onset_no_setback_is_named_anywhere(words, messages, verdict):
    none = {**messages["onset"], "verdict": verdict, "onset_mm": None, "suggested_setback_mm": None, "reasons": []}
    ended = in_state(messages, State.FINISHED)
    told = words(
        "[m.headline(state), m.instruction(state), m.reasons(state.onset), m.chartInWords(state)]", [*ended, none]
    )

    assert "mm" not in str(told)
    assert "nset" in told[0]
    assert len(told[2]) == 1


def test_at_the_end_the_suggestion_is_large_and_the_fitter_decides(words, messages):
    said = words("m.instruction(state)", [*in_state(messages, State.FINISHED), messages["onset"]])

    assert (said["lead"], said["value"]) == ("Suggested setback", "57")
    assert said["detail"].replace("\u00a0", " ") == "Finished. Onset 52.4 mm, 95 % 48.1–56.9 mm. The fitter decides."


def test_at_the_end_a_plan_that_goes_by_another_day_names_whose_chance_the_place_rests_on(words, messages):
    ended = in_state(messages, State.FINISHED, chance_of="another day")
    said = words("m.instruction(state)", [*ended, messages["onset"]])

    assert (said["lead"], said["value"]) == ("Suggested by today’s chance", "57")
    assert said["detail"].endswith("This plan goes by another day’s: Decide says which place that is.")
    assert words("m.chartInWords(state)", [*ended, messages["onset"]]).endswith("Suggested by today’s chance: 57 mm.")


def test_an_onset_without_a_suggestion_says_so_and_names_no_setback(words, messages):
    """Where even the rearmost position has too large a chance that the hands already carry more."""
    named = {**messages["onset"], "suggested_setback_mm": None}

    said, chart = words("[m.instruction(state), m.chartInWords(state)]", [*in_state(messages, State.FINISHED), named])

    assert said["lead"] == "No setback is suggested"
    assert not said.get("value")
    assert "ride further back" in said["detail"]
    assert "No setback is suggested." in chart


def test_an_answer_before_the_end_is_called_so_far(words, messages):
    running = [messages["snapshot"], messages["onset"]]
    ended = [*in_state(messages, State.FINISHED), messages["onset"]]

    assert words("m.headline(state)", running) == "Onset so far"
    assert words("m.headline(state)", ended) == "Onset"


def test_a_gradual_rise_is_said_to_be_one(words, messages):
    bend = {**messages["onset"], "gradual": True}
    told = words("m.reasons(state.onset)", [messages["snapshot"], bend])

    assert told[0].startswith("The rise is gradual")
    assert told[1].startswith("Hand load is level behind 52 mm")


@pytest.mark.parametrize(
    ("value", "where"), [(86.9, "below"), (87, "in"), (93, "in"), (93.1, "above"), (None, "unknown")]
)
def test_a_value_is_in_its_band_up_to_the_ends(js, value, where):
    assert js("words.js", "m.bandSign(a, [87, 93], String)", value)["where"] == where


@pytest.mark.parametrize(("share", "doubted"), [(-0.03, True), (0.09, True), (0.3, False), (0.61, True), (None, False)])
def test_a_foot_share_that_no_rider_has_is_doubted(js, share, doubted):
    assert bool(js("words.js", "m.footDoubt(a)", share)) is doubted


def test_an_entry_far_from_what_is_asked_is_pointed_out(words, messages):
    asked = [messages["snapshot"], messages["sweep"]]

    assert words("m.entryDoubt(state)", asked) == ""
    assert "15" in words("m.entryDoubt(state)", [*asked, {"type": "page/entry", "by_mm": 15}])


def sweep_at(messages, **fields):
    return {**messages["sweep"], "noted_step": 4, "notes": {}, **fields}


def test_the_rider_is_asked_one_thing_after_another(js, messages):
    def asked(notes):
        state = {"sweep": sweep_at(messages, notes=notes)}
        return js("words.js", "m.questionNow(a)", state)

    assert asked({})["what"] == "hands"
    assert asked({"hands": 3})["what"] == "saddle"
    assert asked({"hands": 3, "saddle": 2})["what"] == "effort"
    assert "hands 3, saddle 2, effort 5" in asked({"hands": 3, "saddle": 2, "effort": 5})["words"]
    assert asked({})["words"].startswith("Step 5:")


def test_before_a_sweep_begins_the_rider_is_asked_nothing(js, messages):
    assert js("words.js", "m.questionNow(a)", {"sweep": sweep_at(messages, state="waiting", noted_step=None)}) is None
    assert js("words.js", "m.questionNow(a)", {"sweep": None}) is None


def test_after_a_clients_sweep_the_large_button_leads_to_the_decision(js, messages):
    ended = {"sweep": sweep_at(messages, accepts=[]), "steps": messages["snapshot"]["steps"]}

    assert js("words.js", "m.mainAction(a)", {**ended, "visit": {"id": 1}})["to"] == "#decide"
    assert js("words.js", "m.mainAction(a)", {**ended, "visit": None})["to"] == "#plan"


@pytest.mark.parametrize(
    ("rest", "said"),
    [
        ("no serial port is plugged in", "Board: its cable is out."),
        (
            "ports here: /dev/ttyS0, /dev/ttyS1; nothing is lost",
            "Board: its cable is out, or the rig file names another port; nothing is lost.",
        ),
    ],
)
def test_a_pulled_cable_is_said_without_the_name_of_a_port(js, rest, said):
    assert js("trade_words.js", "m.inTradeWords(a)", f"board: no port /dev/ttyACM0; {rest}") == said


def test_before_anything_is_planned_the_large_button_leads_to_the_client(js):
    before = {"sweep": None, "steps": [], "visit": None}

    assert js("words.js", "m.mainAction(a)", before) == {"event": None, "to": "#client", "label": "Choose a client"}
    assert js("words.js", "m.instruction(a)", before)["lead"] == "Choose a client"


def test_a_sham_asks_to_put_the_saddle_back_and_the_height_is_said_with_its_sign(js, messages):
    at = {
        "state": "moving",
        "setback_mm": 40.0,
        "asked_setback_mm": 40.0,
        "planned_mm": [60, 50, 40, 40, 30],
        "step": 4,
        "stepping": {"height_change_mm": -2.6, "reach_change_mm": 0},
    }

    detail = js("words.js", "m.instruction(a)", {"sweep": sweep_at(messages, **at), "steps": []})["detail"]

    assert "put it back" in detail
    assert "height \u22123\u00a0mm" in detail


def test_what_is_spoken_is_what_is_shown_with_units_in_full(js, messages):
    state = {"sweep": sweep_at(messages, asked_setback_mm=40.0), "steps": []}

    said = js("cues.js", "m.spoken(a, 'done')", state)

    assert said == "Move the saddle to 40 millimetres behind the bottom bracket"


@pytest.mark.parametrize(
    ("was", "now", "cue"),
    [
        ("waiting", "moving", "asked"),
        ("paused", "moving", "asked"),
        ("averaging", "moving", "done"),
        ("settling", "averaging", "recording"),
        ("averaging", "finished", "finished"),
        ("settling", "stopped", "stop"),
        ("moving", "settling", None),
        ("averaging", "averaging", None),
    ],
)
def test_a_cue_is_given_when_the_fitter_is_asked_for_something(js, messages, was, now, cue):
    before, after = ({"sweep": sweep_at(messages, state=state), "notices": []} for state in (was, now))

    assert js("cues.js", "m.cueFor(...a)", [before, after]) == cue


def moving(messages, **fields):
    planned_mm = [80, 70, 60, 60, 50]
    fields = {"planned_mm": planned_mm, "setback_mm": 60, "asked_setback_mm": 60, "stepping": None, **fields}
    return [messages["snapshot"], {**messages["sweep"], "state": "moving", **fields}]


def test_only_a_sham_step_asks_to_put_the_saddle_back_where_it_was(words, messages):
    sham = words("m.instruction(state)", moving(messages, step=4))
    redone = words("m.instruction(state)", moving(messages, step=3))

    assert sham["detail"] == "loosen it, move it away, put it back"
    assert redone["detail"] == "already there"


def test_pain_asks_to_stop_and_a_plain_pause_does_not(words, messages):
    pain = words("m.instruction(state)", in_state(messages, State.PAUSED, pain=True))
    rest = words("m.instruction(state)", in_state(messages, State.PAUSED, pain=False))

    assert "Pain" in pain["lead"]
    assert "Stop ends the sweep" in pain["detail"]
    assert "Pain" not in rest["lead"]


@pytest.mark.parametrize(
    ("verdict", "todo"),
    [("light-throughout", "further forward"), ("loaded-throughout", "further back"), ("undecided", "more positions")],
)
def test_without_a_window_the_page_says_what_would_find_one(js, verdict, todo):
    assert todo in js("answer_words.js", "m.withoutWindow(a)", {"verdict": verdict, "validity": [], "cures": []})


@pytest.mark.parametrize(
    ("window_mm", "where"),
    [([57.0, 67.0], "from 57 back to 67 mm."), ([79.7, 80.0], "80 mm, the rearmost place ridden.")],
)
def test_the_window_is_named_from_its_front_or_as_the_one_place_it_is(js, window_mm, where):
    said = js("answer_words.js", "m.toChooseFrom(a)", window_mm)

    assert said == f"To choose from: {where} A limit for coming forward, not a target for going back."


def test_what_to_do_is_told_in_the_daemons_order(js, words, messages):
    def one(test, cure, forbids):
        return {"test": test, "result": "failed", "means": f"{test} was wrong", "cure": cure, "forbids": forbids}

    validity = [one("hips", "keep the seat bones there", True), one("habit", "shuffle", False)]
    cures = ["fix 'hands right'", "keep the seat bones there", "shuffle"]
    said = js("answer_words.js", "m.withoutWindow(a)", {"verdict": "undecided", "validity": validity, "cures": cures})

    assert said == "No window: no onset is named. Fix 'hands right'. Keep the seat bones there."

    answer = {
        **messages["onset"], "verdict": "undecided", "onset_mm": None, "p_onset": 1.0, "validity": validity,
        "cures": cures[1:],
    }  # fmt: skip
    ended = in_state(messages, State.FINISHED, why_here="narrow enough: 7.0 mm")
    detail = words("m.instruction(state)", [*ended, answer])["detail"]
    assert detail.endswith("Keep the seat bones there.")
    assert "narrow" not in detail
    chances = js("answer_words.js", "m.chances(a)", answer)
    assert chances.startswith("By the loads alone, which cannot be relied on here: onset")


def test_an_adaptive_sweep_says_why_it_asks_for_a_position_and_why_it_has_ended(words, messages):
    why = "just forward of where the onset may be, 44 to 56 mm"
    moves = moving(messages, order="adaptive", why_here=why, step=4, setback_mm=60, asked_setback_mm=44)
    narrow = "narrow enough: the 95 % interval is 9.8 mm wide"
    ends = in_state(messages, State.FINISHED, order="adaptive", why_here=narrow)

    assert words("m.instruction(state)", moves)["detail"].endswith(f"Why here: {why}.")
    assert words("m.progress(state)", moves) == "Step 3 of at most 11"
    assert words("m.instruction(state)", [*ends, messages["onset"]])["detail"].startswith("Narrow enough: ")
    assert words("m.progress(state)", ends) == "2 of 11 steps ridden"


def test_a_cure_is_told_once_among_the_reasons_and_not_where_it_is_said_beside_them(js, messages):
    cure = "rest, and ride the sweep again"
    failed = {"value": None, "unit": "", "interval_95": None, "result": "failed", "forbids": True, "cure": cure}
    validity = [{**failed, "test": test, "means": f"{test} was wrong"} for test in ("fatigue", "visits")]
    why = [f"{one['means']}: {cure}" for one in validity]
    undecided = {"verdict": "undecided", "onset_mm": None, "interval_95_mm": None, "suggested_setback_mm": None}
    onset = {**messages["onset"], **undecided, "validity": validity, "reasons": [*why, "something else"]}

    assert js("answer_words.js", "m.reasons(a)", onset)[1:] == [
        "Fatigue was wrong: rest, and ride the sweep again.",
        "Visits was wrong.",
        "Something else.",
    ]
    beside = js("answer_words.js", "m.reasons(a, 'Rest, and ride the sweep again.')", onset)
    assert beside[1:] == ["Fatigue was wrong.", "Visits was wrong.", "Something else."]


def test_what_an_answer_does_not_rest_on_stands_beside_its_number_as_the_daemon_says_it(js, messages):
    """By the daemon's field, whatever the words of the grade are."""
    part = {**messages["onset"], "grade": "hands by the jig, the rest by hand", "caution": ""}

    assert js("answer_words.js", "m.besideTheNumber(a)", {**part, "all_measured": True}) == ""
    beside = js("answer_words.js", "m.besideTheNumber(a)", {**part, "all_measured": False})
    assert beside == "Hands by the jig, the rest by hand."


def test_on_run_the_cure_beside_the_answer_is_not_among_its_reasons(run, messages):
    cure = "rest, and ride the sweep again"
    test = {"test": "fatigue", "value": None, "unit": "", "interval_95": None, "result": "failed", "forbids": True}
    undecided = {"verdict": "undecided", "onset_mm": None, "interval_95_mm": None, "suggested_setback_mm": None}
    found = {**test, "means": "the rider tired", "cure": cure}
    told = {"validity": [found], "cures": [cure], "reasons": [f"the rider tired: {cure}"]}
    answer = {**messages["onset"], **undecided, **told}
    run.send(*in_state(messages, State.FINISHED), answer)
    run.page.get_by_role("button", name="Why").click()

    assert run.text("main").lower().count(cure) == 1
    assert "The rider tired." in run.text(".because")
