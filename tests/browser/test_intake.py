"""The intake on the page: the body to tap, the red flags that start empty, what is typed kept as it is typed."""

import json

import pytest

from tests.browser.answers import ANSWERS

FIRST = {"begun": None, "intake": None, "missing": ["mass as ridden"], "returning": "", "advice": "", "checks": []}


@pytest.fixture
def client(desk, messages):
    """The client's screen at a first visit."""
    at = desk()
    at.answers = json.loads(ANSWERS.read_text())
    visit = {**at.answers["visit"]["visit"], **FIRST, "unanswered": list(at.answers["visit"]["red_flags"])}
    at.answers["visit"]["visit"] = visit
    at.open({**messages["snapshot"], "visit": visit, "sweep": None, "steps": []}, "client")
    at.wait(lambda: at.page.locator(".questions fieldset").count() == 6)
    return at


def kept(at):
    return [body for path, body in at.asked if path.startswith("visit/intake")]


def test_no_question_is_answered_for_the_client_and_none_with_another(client):
    rows = client.page.locator(".questions fieldset")
    assert client.page.locator(".questions input:checked").count() == 0
    rows.nth(1).get_by_text("no", exact=True).click()
    client.wait(lambda: kept(client))

    assert client.page.locator(".questions input:checked").count() == 1
    assert (kept(client)[-1]["cleared"], kept(client)[-1]["red_flags"]) == (["weak"], [])
    assert client.page.get_by_label("Why the client rides").is_hidden()
    rows.nth(1).get_by_text("yes", exact=True).click()
    client.wait(lambda: kept(client)[-1]["red_flags"] == ["weak"])
    assert client.page.get_by_label("Why the client rides").is_visible()


def test_what_is_typed_is_kept_when_the_screen_is_left_at_once(client):
    client.page.get_by_label("Mass as ridden").fill("74,5")
    client.page.evaluate("location.hash = '#plan'")
    client.wait(lambda: kept(client))

    assert kept(client)[-1]["mass_kg"] == 74.5
    assert kept(client)[-1]["saddle"]["reference"] is None


def test_a_number_that_cannot_be_is_said_at_its_place_and_the_rest_is_kept(client):
    client.page.get_by_label("Mass as ridden").fill("745")
    client.page.get_by_label("Inseam").fill("815")
    client.page.get_by_label("Inseam").blur()
    client.wait(lambda: kept(client) and kept(client)[-1]["inseam_mm"] == 815)

    assert "expected a number from 30 to 200 kg, got 745" in client.text("#intake-mass_kg-wrong")
    assert [one.get("mass_kg") for one in kept(client)] == [None] * len(kept(client))


def test_a_place_is_tapped_on_the_body_and_scored(client):
    client.page.locator(".figure-of-body").nth(1).locator(".patch").nth(4).click(position={"x": 10, "y": 10})
    client.page.get_by_role("group", name="How much").get_by_text("7", exact=True).click()
    client.wait(lambda: kept(client))

    (symptom,) = kept(client)[-1]["symptoms"]
    assert (symptom["place"], symptom["score"]) == ("hamstring", 7)
    assert symptom["side"] == "left", "the left of a back we look at is the rider's left"
    client.page.get_by_role("group", name="Side").get_by_text("both", exact=True).click()
    client.wait(lambda: kept(client)[-1]["symptoms"][0]["side"] == "both")
    assert client.page.locator(".patch.score-7").count() == 2
    client.page.get_by_role("button", name="Remove hamstring, both").click()
    client.wait(lambda: kept(client)[-1]["symptoms"] == [])


def test_what_was_typed_for_one_client_is_never_kept_with_the_next(client):
    visit = client.answers["visit"]["visit"]
    client.page.get_by_label("Mass as ridden").fill("61")
    client.send({"type": "visit", "visit": {**visit, "id": 9, "pseudonym": "R-BBB", "begun": None}})
    client.page.wait_for_timeout(1500)

    assert client.page.get_by_label("Mass as ridden").input_value() == ""
    assert [body.get("mass_kg") for body in kept(client) if body.get("mass_kg") == 61] == []


def test_every_place_that_can_be_kept_is_on_the_body(js):
    from typing import get_args

    from daq.fit.intake import Place

    drawn = js("screens/client/body_shapes.js", "[...m.FRONT, ...m.BACK, ...m.PALMS].map((each) => each.place)")
    listed = js("screens/client/rows.js", "m.PLACES")
    assert set(drawn) == set(listed) == set(get_args(Place))
