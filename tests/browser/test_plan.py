"""The plan's screen: what it sets up, and what it begins with."""

import json

from daq.sweep.run import State
from tests.browser.answers import ANSWERS, plan_answer, sweep_in


def test_a_plan_is_sent_with_its_positions(desk, messages):
    at = desk().open(messages["snapshot"], "plan")
    at.send(sweep_in(messages, State.FINISHED))
    at.answers["plan"] = told = plan_answer(apart_mm=10, sham=True)
    positions = told["positions_mm"]
    at.page.get_by_label("Power").fill("180")
    at.page.get_by_label("Spacing").fill("10")
    at.page.get_by_label("Accepted chance of loaded hands").fill("2.5")
    at.page.get_by_label("Suggest by the chance of").select_option("another day")
    at.wait(lambda: "Not found" in at.text(".plan-order"))
    said = at.text(".plan-order")
    assert "9 steps, about 8 minutes: 80, 60, 40, 40, 30, 50, 70, 50, 80 mm" in said
    assert "Not found by this plan: a rise of 1.00 N/mm, of 0.50 N/mm, of 0.20 N/mm." in said
    assert "will be known" not in said
    assert f"A rise below {told['smallest_n_per_mm']:.2f} N/mm is found in fewer than half of such sweeps" in said
    assert "Assumed, until this rider's own is known: sway 5.0 N" in said
    assert told["best"]["sentence"][1:] in said
    at.page.get_by_role("button", name="Set this plan").click()
    at.wait(lambda: [path for path, _ in at.asked if path == "sweeps"])

    sketch = [body for path, body in at.asked if path == "plan"][-1]
    assert (sketch["apart_mm"], sketch["order"], sketch["repeat_first"]) == (10, "out and back", True)
    (plan,) = [body for path, body in at.asked if path == "sweeps"]
    assert (plan["positions_mm"], plan["power_w"], plan["protocol"]) == (positions, 180, "reach kept")
    assert (plan["loaded_chance"], plan["chance_of"]) == (0.025, "another day")
    at.wait(lambda: at.page.url.endswith("#run"))


def test_the_best_plan_for_the_minutes_there_are_is_taken_over_by_one_press(desk, messages):
    at = desk().open({**messages["snapshot"], "visit": None, "sweep": None}, "plan")
    at.answers["plan"] = lambda asked: plan_answer(**asked)
    at.page.get_by_label("Spacing").fill("12")
    at.page.get_by_label("Minutes available").fill("15")
    at.wait(lambda: "Best for 15 minutes: 11 places 5 mm apart" in at.text(".plan-order"))
    take = at.page.get_by_role("button", name="Use the best plan")
    take.click()
    at.wait(lambda: "13 steps, about 15 minutes" in at.text(".plan-order"))

    assert not take.is_visible(), "it is the plan in the form now"
    best = plan_answer(minutes=15)["best"]
    at.page.get_by_role("button", name="Set this plan").click()
    at.wait(lambda: [path for path, _ in at.asked if path == "sweeps"])
    (plan,) = [body for path, body in at.asked if path == "sweeps"]
    assert (plan["positions_mm"], plan["dwell_s"], plan["order"]) == (
        best["positions_mm"],
        best["dwell_s"],
        best["order"],
    )


def test_the_way_to_the_proof_stands_beside_a_jig_that_has_none(desk, messages):
    snapshot = messages["snapshot"]
    unproved = {**snapshot["calibration"], "proof": "jig not proved: it failed on 2026-01-05", "unproved": True}
    at = desk().open({**snapshot, "calibration": unproved}, "plan")
    said = at.page.locator(".here", has_text="proved")
    assert said.inner_text() == "Jig not proved: it failed on 2026-01-05. To Proof"

    at.send({**snapshot, "calibration": {**unproved, "proof": "jig proved 2026-01-05", "unproved": False}})

    assert said.inner_text().strip() == "Jig proved 2026-01-05."


def test_a_plan_gives_the_width_of_the_rises_that_it_finds_and_says_which_it_does_not(desk, messages):
    at = desk().open({**messages["snapshot"], "visit": None, "sweep": None}, "plan")
    at.answers["plan"] = told = plan_answer()
    at.page.get_by_label("Spacing").fill("5")
    at.wait(lambda: "Not found" in at.text(".plan-order"))

    wide_mm = {each["slope_n_per_mm"]: each["width_mm"] for each in told["widths"]}
    known = f"The onset will be known to ± {wide_mm[1.0] / 2:.0f} mm (95 %) where the hands’ load rises by 1.00 N/mm."
    assert f"{known} Not found by this plan: a rise of 0.50 N/mm, of 0.20 N/mm." in at.text(".plan-order")


def test_too_few_minutes_offer_no_plan_and_no_button(desk, messages):
    at = desk().open({**messages["snapshot"], "visit": None, "sweep": None}, "plan")
    at.answers["plan"] = lambda asked: plan_answer(**asked)
    at.page.get_by_label("Minutes available").fill("2")
    at.wait(lambda: "2 minutes are too few for a sweep." in at.text(".plan-order"))

    assert not at.page.get_by_role("button", name="Use the best plan").is_visible()


def test_an_adaptive_plan_says_that_the_first_place_comes_again(desk, messages):
    at = desk().open({**messages["snapshot"], "visit": None, "sweep": None}, "plan")
    at.answers["plan"] = lambda asked: plan_answer(**asked)
    at.page.get_by_label("Order").select_option("adaptive")

    at.wait(lambda: "with the first position once more" in at.text(".plan-order"))


def test_a_plan_that_changes_while_it_is_set_is_sent_as_it_then_stands(desk, messages):
    """The client's range comes just after the press, and with it another sketch."""
    visit = json.loads(ANSWERS.read_text())["visit"]["visit"]
    at = desk().open({**messages["snapshot"], "visit": None, "sweep": None}, "plan")
    at.answers["plan"] = plan_answer()
    at.slow(400)
    at.page.get_by_role("button", name="Set this plan").click()
    at.send({**messages["snapshot"], "visit": {**visit, "swept": False, "climb_check": None}, "sweep": None})
    at.wait(lambda: [body for path, body in at.asked if path == "sweeps"])

    assert [body for path, body in at.asked if path == "plan"][-1]["rear_mm"] == 103
    assert len([body for path, body in at.asked if path == "sweeps"]) == 1


def test_the_next_plan_of_a_visit_begins_as_the_last_and_the_climb_is_one_press_away(desk, messages):
    visit = json.loads(ANSWERS.read_text())["visit"]["visit"]
    ridden = {"planned_mm": [75, 55, 35, 45, 65, 75], "power_w": 180.0, "protocol": "bar fixed", "blinded": False}
    ridden |= {"loaded_chance": 0.07, "chance_of": "another day"}
    sweep = sweep_in(messages, State.FINISHED, **ridden)
    at = desk().open({**messages["snapshot"], "visit": {**visit, "swept": True}, "sweep": sweep}, "plan")

    told = {name: at.page.get_by_label(name) for name in ("Rear end", "Front end", "Spacing", "Power", "Gradient")}
    at.wait(lambda: told["Rear end"].input_value() == "75")
    assert [each.input_value() for each in told.values()] == ["75", "35", "10", "180", "0"]
    assert at.page.get_by_label("Bar", exact=True).input_value() == "bar fixed"
    assert at.page.get_by_label("Accepted chance of loaded hands").input_value() == "7"
    assert at.page.get_by_label("Suggest by the chance of").input_value() == "another day"
    assert at.page.get_by_label("First position again").is_checked()
    climb = at.page.get_by_role("button", name="Climb check: 78, 59, 30 mm at 4.5 %, 3 minutes")
    black = at.page.locator("form .main")
    assert black.all_inner_texts() == ["Set this plan"], "without an answer a climb is not what comes next"
    at.send(messages["onset"])
    assert black.all_inner_texts() == [climb.inner_text()]
    climb.click()
    at.wait(lambda: [body for path, body in at.asked if path == "sweeps"])
    (plan,) = [body for path, body in at.asked if path == "sweeps"]
    assert (plan["positions_mm"], plan["gradient_pct"], plan["purpose"]) == ([78, 59, 30], 4.5, "check")
    assert (plan["power_w"], plan["start_setback_mm"]) == (180, visit["intake"]["saddle"]["setback_mm"])


def test_positions_ridden_in_between_are_not_the_spacing_of_the_next_plan(desk, messages):
    visit = json.loads(ANSWERS.read_text())["visit"]["visit"]
    planned = [85, 75, 65, 55, 45, 35, 40, 50, 60, 70, 80, 85, 48, 35, 48, 85]
    sweep = sweep_in(messages, State.FINISHED, planned_mm=planned)
    at = desk().open({**messages["snapshot"], "visit": {**visit, "swept": True}, "sweep": sweep}, "plan")

    at.wait(lambda: at.page.get_by_label("Rear end").input_value() == "85")
    assert at.page.get_by_label("Spacing").input_value() == "5"


def test_the_first_plan_goes_around_where_the_client_rides_as_the_complaint_asks(desk, messages):
    visit = json.loads(ANSWERS.read_text())["visit"]["visit"]
    at = desk().open(
        {**messages["snapshot"], "visit": {**visit, "swept": False, "climb_check": None}, "sweep": None}, "plan"
    )

    told = [at.page.get_by_label(name) for name in ("Rear end", "Front end", "Spacing")]
    at.wait(lambda: told[0].input_value() == "103")
    assert [each.input_value() for each in told] == ["103", "53", "5"]
    assert "Hands, left: positions as far behind as ahead of where the client rides." in at.text("main")
    assert at.page.get_by_role("button", name="Climb check").count() == 0
