"""Decide and the client's screen: the marker and what follows from it, whose evidence stands there, what is kept."""

import datetime
import json
import re

import pytest

from daq.keep.clients.people import today
from daq.sweep.run import State
from tests.browser import gallery
from tests.browser.answers import ANSWERS, sweep_in
from tests.browser.deciding import focus_marker, opened, shown
from tests.browser.gallery import told_again


@pytest.fixture
def decide(desk, messages):
    """Decide with a level sweep and a climb, nothing decided yet."""
    return opened(desk, messages, "decide")


HANDS = {"what": "hand load", "unit": "N", "digits": 0, "present": 88.4, "chosen": 76.2, "difference": -12.2}
FRONT = {"what": "weight on the front wheel", "unit": "points", "digits": 1, "present": 43.1, "chosen": 44.0}
TIRED = {"what": "rider's score, effort", "unit": "of 10", "digits": 1, "present": None, "chosen": None}
ASKED = {"what": "rider's score, hands", "unit": "of 10", "digits": 1, "present": None, "chosen": None}
CONFIRMED = {
    "sweep_id": 4,
    "gradient_pct": 0.0,
    "where": "on the level",
    "present_mm": 78.0,
    "chosen_mm": 59.0,
    "visits": [2, 2],
    "whole": True,
    "blinded": True,
    "differences": [
        {**HANDS, "interval_95": [-16.1, -8.3], "clear": True, "why_not": ""},
        {**FRONT, "difference": 0.9, "interval_95": [-0.2, 2.0], "clear": False, "why_not": ""},
        {**ASKED, "difference": None, "interval_95": None, "clear": False, "why_not": "it was not asked"},
        {**TIRED, "difference": None, "interval_95": None, "clear": False, "why_not": "it was not asked"},
        {**HANDS, "what": "kept", "difference": -0.2, "interval_95": [-1.0, 1.0], "clear": False, "why_not": ""},
    ],
}


def wanting(at, *, done, confirmed=()):
    """What the daemon says of the place the marker stands at."""
    wanted = {"gradient_pct": 0.0, "minutes": 3.4, "where": "on the level", "done": done}
    at.answers["visit/confirm?setback_mm=59"] = {"wanted": [wanted], "confirmed": list(confirmed)}
    at.page.locator(".marker").focus()
    at.page.keyboard.press("ArrowRight")
    at.page.keyboard.press("ArrowLeft")
    at.wait(at.page.locator(".confirm").is_visible)


def test_a_place_not_ridden_again_is_ridden_first_or_printed_with_a_reason(decide):
    wanting(decide, done=False)
    ride = decide.page.get_by_role("button", name="Ride 59 and today’s place on the level, 4 minutes")
    keep = decide.page.get_by_role("button", name="Keep and print")

    assert (ride.get_attribute("class"), keep.count()) == ("main", 0)
    decide.page.get_by_text("Print without riding again").click()
    decide.page.get_by_label("Printed without that ride because").fill("no time left")
    assert (ride.get_attribute("class"), keep.get_attribute("class")) == ("", "main")
    decide.page.get_by_label("Printed without that ride because").fill("")
    ride.click()
    decide.wait(lambda: decide.page.url.endswith("#checks"))
    (asked,) = [body for path, body in decide.asked if path == "visit/confirm"]
    assert asked == {"setback_mm": 59, "gradient_pct": 0}


def test_while_the_marker_moves_nothing_is_ridden_or_kept_for_the_place_it_left(decide):
    wanting(decide, done=False)
    ride = decide.page.locator(".confirm-rides .main")
    decide.answers["visit/confirm?setback_mm=58"] = {"wanted": [], "confirmed": []}
    release = decide.hold()
    focus_marker(decide)
    decide.page.keyboard.press("ArrowRight")
    decide.send()
    assert ride.inner_text() == "Ride 58 and today’s place on the level, 4 minutes"
    assert ride.is_disabled()
    decide.page.get_by_label("Reason").fill("hands stay light")
    decide.page.get_by_label("Decided by").fill("B. Fitter")
    decide.page.get_by_label("Decided by").press("Enter")
    release()
    keep = decide.page.get_by_role("button", name="Keep and print")
    decide.wait(keep.is_visible)

    assert keep.is_enabled()
    assert [path for path, _ in decide.asked if path == "visit/decision"] == []


def test_the_words_of_two_buttons_at_the_end_are_not_squeezed(decide):
    wanting(decide, done=False)
    decide.page.get_by_text("Print without riding again").click()
    decide.page.get_by_label("Printed without that ride because").fill("no time left")
    boxes = [decide.page.get_by_role("button", name=name).bounding_box() for name in ("Ride 59 and", "Keep and print")]

    assert all(box["width"] >= 250 and box["height"] <= 80 for box in boxes), boxes


def test_what_speaks_against_a_place_is_in_sight_beside_its_number(decide):
    """At 1280 by 800 nothing lies over it; the black button stays at the lower edge."""
    decide.page.get_by_label("Setback decided").fill("84")
    caution = decide.page.locator(".cautions .warning").first
    decide.wait(caution.is_visible)
    box, end = caution.bounding_box(), decide.page.locator(".chosen .page-end").bounding_box()

    assert box["y"] + box["height"] <= end["y"]


def test_what_the_confirm_ride_showed_stands_with_its_intervals(decide):
    wanting(decide, done=True, confirmed=[CONFIRMED])

    assert not decide.page.get_by_role("button", name="Keep and print").is_disabled()
    rows = [each.inner_text().replace("\t", " ") for each in decide.page.locator(".confirm tbody tr").all()]
    assert rows == [
        "Hand load, N 88 76 −12 (−16 to −8)",
        "Weight on the front wheel, % 43.1 44.0 +0.9 (−0.2 to 2.0): none shown",
        "Kept, N 88 76 0 (−1 to 1): none shown",
    ]
    assert decide.text(".confirm .note") == "Rider's score, hands, effort: not known, it was not asked."


@pytest.mark.parametrize(("verdict", "offered"), [("onset", 1), ("light-throughout", 1), ("undecided", 0)])
def test_that_the_hands_stay_light_is_offered_as_a_reason_only_where_it_was_seen(desk, messages, verdict, offered):
    at = desk()
    at.answers = json.loads(ANSWERS.read_text())
    evidence = at.answers["visit/evidence"] | {"decision": None, "chosen_mm": 59.0}
    evidence["leanings"] = evidence["leanings"][:1]
    if verdict != "onset":
        evidence |= {"window_mm": None, "suggested": None}
        evidence["sweeps"][0]["onset"] |= {"verdict": verdict, "onset_mm": None, "interval_95_mm": None}
    at.answers["visit/evidence"] = evidence
    visit = at.answers["visit"]["visit"] | {"decision": None}
    at.open({**messages["snapshot"], "visit": visit, "sweep": sweep_in(messages, State.FINISHED)}, "decide")
    at.wait(at.page.locator(".reasons-offered button").count)

    assert at.page.locator(".reasons-offered button", has_text="hands stay light").count() == offered


def test_the_place_suggested_the_window_and_the_marker_are_one_place(decide):
    (front_mm, rear_mm), said = (decide.answers["visit/evidence"][name] for name in ("window_mm", "suggested"))
    line = decide.text(".window-line")

    assert line.startswith(f"{said['said']} To choose from: from {front_mm:.0f} back to {rear_mm:.0f} mm.")
    assert "A limit for coming forward, not a target for going back." in line
    assert shown(decide)[0] == front_mm
    assert decide.text(".cautions") == ""
    bracket, head = (
        decide.page.locator(f".decide-chart {name}").bounding_box() for name in (".window", ".marker-head")
    )
    front_px, marker_px = bracket["x"] + bracket["width"], head["x"] + head["width"] / 2
    assert front_px == pytest.approx(marker_px, abs=7), "half a millimetre of the axis"


def test_an_onset_without_a_suggestion_has_no_window_and_says_why(desk, messages):
    at = desk()
    at.answers = json.loads(ANSWERS.read_text())
    why = "No setback is suggested: even at the rearmost place ridden today, it is more than 5 in 100."
    none = {"setback_mm": None, "said": why}
    at.answers["visit/evidence"] |= {"window_mm": None, "suggested": none, "decision": None, "chosen_mm": None}
    visit = at.answers["visit"]["visit"] | {"decision": None}
    at.open({**messages["snapshot"], "visit": visit, "sweep": sweep_in(messages, State.FINISHED)}, "decide")
    at.wait(lambda: at.page.locator(".decide-chart .fit").count())

    assert at.text(".window-line").startswith(f"{why} To find one, ride a sweep that begins further back.")
    assert at.page.locator(".overlay .window").count() == 0


def option(at, mm):
    (found,) = [one for one in at.answers["visit/evidence"]["options"] if one["place"]["setback_mm"] == mm]
    return found


def test_height_bar_stages_and_chances_follow_the_marker_however_it_is_moved(decide):
    assert shown(decide) == [59, 728, 559]
    focus_marker(decide)
    decide.page.keyboard.press("Shift+ArrowRight")
    decide.page.keyboard.press("ArrowRight")
    place = option(decide, 53.0)["place"]
    assert shown(decide) == [53, round(place["height_mm"]), round(place["bar_x_mm"])]
    assert decide.page.locator(".marker").get_attribute("aria-valuetext") == "53 mm"
    assert decide.page.locator(".stages li b").last.inner_text() == "53"
    assert "forward of the window: the chance that the hands carry more today is 94 in 100" in decide.text(".cautions")

    decide.page.get_by_label("Setback decided").fill("63")
    decide.page.wait_for_timeout(50)
    box = decide.page.locator(".marker-head").bounding_box()
    decide.page.mouse.move(box["x"] + box["width"] / 2, box["y"] + 10)
    decide.page.mouse.down()
    decide.page.mouse.move(box["x"] + box["width"] / 2 + 60, box["y"] + 10, steps=4)
    decide.page.mouse.up()
    assert 50 < shown(decide)[0] < 63


def test_a_height_the_fitter_writes_stays_and_the_difference_to_the_one_ridden_is_said(decide):
    decide.page.get_by_label("Saddle height").fill("722")
    focus_marker(decide)
    decide.page.keyboard.press("ArrowRight")

    assert shown(decide)[:2] == [58, 722]
    assert "this height is 6 mm below the one ridden here, 728 mm" in decide.text(".cautions").lower()


def test_what_would_help_most_is_planned_by_a_press_and_by_keys(decide):
    told = decide.answers["visit/days"]["days"]
    helps = decide.page.get_by_role("region", name="What would help most")
    words = helps.inner_text()
    narrowest = min(told["helps"], key=lambda each: each["width_mm"])
    first = helps.get_by_role("button").first

    assert told["moved"][0]["said"].split(":")[0] in words
    assert told["spreads_from"] in words
    assert first.inner_text().lower() == narrowest["what"] == "one on another day"
    assert helps.get_by_role("button").count() == len(told["helps"]), "each can be planned"
    assert f"another day within {narrowest['width_mm']:.0f}" in words
    first.focus()
    decide.page.keyboard.press("Enter")
    recheck = decide.page.get_by_label("Re-check on")
    assert recheck.evaluate("field => field === document.activeElement")
    assert recheck.input_value() >= (today() + datetime.timedelta(days=6)).isoformat()
    assert "Ride the same sweep again that day" in decide.text(".chosen")

    helps.get_by_role("button", name="Nothing more").press("Enter")
    assert decide.page.get_by_label("Reason").evaluate("field => field === document.activeElement")
    helps.get_by_role("button", name="One twice as long today").press("Enter")
    decide.wait(lambda: decide.page.url.endswith("#plan"))
    decide.wait(lambda: decide.page.get_by_label("Name of this sweep").input_value() == "longer")
    dwell_s = float(decide.page.get_by_label("Recording in the band").input_value())
    assert "twice the time at each position" in decide.text("main")
    decide.page.evaluate("location.hash = '#decide'")
    helps.get_by_role("button", name="One more sweep today").click()
    decide.wait(lambda: decide.page.get_by_label("Name of this sweep").input_value() == "again")
    assert float(decide.page.get_by_label("Recording in the band").input_value()) == dwell_s / 2.0


def test_what_is_kept_is_what_stands_there(decide):
    decide.page.locator(".reasons-offered button").first.click()
    decide.page.get_by_label("Decided by").fill("B. Fitter")
    decide.page.get_by_role("button", name="Keep and print").click()
    decide.wait(lambda: [path for path, _ in decide.asked if path == "visit/decision"])

    (kept,) = [body for path, body in decide.asked if path == "visit/decision"]
    assert (kept["setback_mm"], kept["height_mm"], kept["bar_x_mm"]) == (59, 728, 559)
    assert kept["reason"] == "hamstring, both sides"
    assert kept["recheck_on"] == option(decide, 59.0)["recheck_on"]


def test_a_sweep_can_be_laid_beside_itself_with_the_calibration_in_use_now(decide):
    button = told_again(decide)
    decide.page.get_by_text("Sweeps of the day").click()
    decide.page.get_by_role("button", name=button).click()
    shown = decide.page.locator(".recalibrated [role=status]")
    decide.wait(lambda: "May" in shown.inner_text())

    said = shown.inner_text().replace("\u00a0", " ")
    assert "onset 55 mm, 95 % 51–59 mm as ridden, with March; onset 53 mm, 95 % 49–57 mm with May" in said
    assert shown.locator("tbody td").all_inner_texts() == ["78.0", "79.5", "1.5"]


def test_what_was_unfolded_stays_so_when_the_evidence_comes_again(decide, messages):
    at, step_by_step = decide, "Step by step: geometry, shares, stroke"
    at.page.get_by_text(step_by_step).click()
    asked = len([path for path, _ in at.asked if path.startswith("visit/evidence")])
    at.send(sweep_in(messages, State.FINISHED, sweep_id=77))
    at.wait(lambda: len([path for path, _ in at.asked if path.startswith("visit/evidence")]) > asked)
    at.wait(lambda: not at.text(".decide ~ [role=status], .here[role=status]"))

    assert at.page.locator("details[open] > summary").all_inner_texts() == [step_by_step]


def test_nothing_of_the_client_before_stands_under_the_next_ones_name(decide):
    decide.slow(300)
    visit = decide.answers["visit"]["visit"]
    decide.send({"type": "visit", "visit": {**visit, "id": 9, "pseudonym": "R-BBB"}})

    assert decide.page.locator(".decide").is_hidden()
    assert "Working it out" in decide.text("main")


def test_pain_while_riding_stands_under_the_chart_and_on_it(decide):
    said = "knee front, right, 5 of 10, at 45 mm"
    decide.answers["visit/evidence"]["sweeps"][0]["pains"] = [{"setback_mm": 45.0, "score": 5, "said": said}]
    decide.page.evaluate("location.hash = '#run'")
    decide.wait(lambda: decide.page.locator(".dock").count())
    decide.page.evaluate("location.hash = '#decide'")
    decide.wait(lambda: decide.page.locator(".hurt").count() and said in decide.text(".hurt"))

    assert decide.page.locator(".overlay .pain-mark").count() == 1


def test_the_clients_screen_says_that_the_answer_is_being_worked_out(desk, messages):
    at = desk()
    at.answers = json.loads(ANSWERS.read_text())
    visit = at.answers["visit"]["visit"]
    at.open({**messages["snapshot"], "visit": None, "sweep": None, "steps": []}, "shown")
    at.wait(lambda: at.text(".shown-waits") == "The answer comes here when the ride is done.")
    release = at.hold()
    at.send({**messages["snapshot"], "visit": visit, "sweep": sweep_in(messages, State.FINISHED)})
    at.wait(lambda: at.text(".shown-waits") == "Working it out from what was ridden …")
    release()
    at.wait(lambda: at.page.locator(".marker").count())


def test_the_clients_screen_has_no_names_and_no_controls(desk, messages):
    at = opened(desk, messages, "shown")
    seen = at.page.locator("body").inner_text()

    assert "your hands stay light" in seen
    assert "59" in at.text(".shown-setback")
    assert at.answers["visit/evidence"]["suggested"]["said"] in seen
    pseudonym = at.answers["visit"]["visit"]["pseudonym"]
    assert not [word for word in ("Ada", pseudonym, "Reason", "Decided by") if word in seen]
    visible = [each for each in at.page.locator("button, input, a, [role=slider]").all() if each.is_visible()]
    assert visible == []


def test_where_no_onset_is_named_nothing_is_said_of_another_day(decide):
    decide.wait(lambda: "another day" in decide.text(".compared"))
    decide.answers["visit/days"] = {"days": None, "why_not": "no onset is named"}
    decide.page.reload()
    decide.wait(lambda: "already carry more" in decide.text(".compared"))

    assert "another day" not in decide.text("#screen").lower()
    assert "another day" not in " ".join(decide.page.locator(".overlay text").all_text_contents())
    assert decide.page.locator(".chance-another").count() == 0


def test_the_number_of_a_test_says_what_it_is_and_its_unit(desk, messages):
    at = desk()
    gallery.undecided(at, messages)
    table = at.page.get_by_role("region", name="Tests of validity")
    found = {cells[0]: cells[2] for cells in rows_of(table)}

    assert re.fullmatch(r"left for the feet: \d+ %", found["feet"])
    assert re.fullmatch(r"weight line, for each mm of saddle: [−\d.]+ mm, 95 % [−\d.]+ to [−\d.]+ mm", found["hips"])
    assert found["reach"] == "–"


def test_what_to_do_stands_once_on_the_screen(desk, messages):
    """Under the chart, in the list of reasons and in the table the same cure stood three times."""
    at = desk()
    gallery.undecided(at, messages)
    (sweep,) = at.answers["visit/evidence"]["sweeps"]
    cures = {one["cure"] for one in sweep["onset"]["validity"] if one["cure"]}
    said = at.text("#screen").lower()

    assert len(cures) > 5
    assert {cure: said.count(cure) for cure in cures} == dict.fromkeys(cures, 1)
    assert "keep the seat bones there" in at.text(".window-line")
    found = rows_of(at.page.get_by_role("region", name="Tests of validity"))
    assert {cells[0]: cells[4] for cells in found}["hips"] == "under the chart"


def rows_of(table):
    rows = table.locator("tbody tr").all()
    return [[text.replace("\u00a0", " ") for text in row.locator("th, td").all_inner_texts()] for row in rows]
