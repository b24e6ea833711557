"""A point of the chart shows what it rests on: on Run and on Decide, by arrows and by a tap."""

import json

import pytest

from daq.live.telling.strokes_view import step_fields
from daq.sweep.run import State
from daq.sweep.step import BURST, step_mean
from daq.values import Status, Stroke
from tests.browser.answers import ANSWERS, sweep_in
from tests.browser.axe import faults


def told():
    """What the daemon says of a step of 38 strokes with one cough, which takes its neighbours along."""
    loads_n = [80.0 + (i % 3) for i in range(38)]
    loads_n[20] = 130.0
    strokes = [
        Stroke(i / 1.5, (i + 1) / 1.5, n, 430.0, 225.0, 0.0, 21.0, 200.0, (n,), 67, Status(0))
        for i, n in enumerate(loads_n)
    ]
    return step_fields([step_mean(60.0, strokes)], 0)


@pytest.fixture
def run(desk, messages):
    at = desk()
    steps = [
        {**messages["snapshot"]["steps"][0], "index": i, "setback_mm": mm, "hand_load_n": n}
        for i, (mm, n) in enumerate(((80.0, 78.0), (60.0, 80.9), (40.0, 91.0)))
    ]
    at.answers = {
        f"sweep/steps/{i}": {**told(), "index": i, "setback_mm": step["setback_mm"]} for i, step in enumerate(steps)
    }
    at.open(messages["snapshot"])
    at.send(
        messages["sources"], messages["stroke"], messages["sweep"], {"type": "steps", "steps": steps}, messages["onset"]
    )
    return at


def test_arrows_go_from_point_to_point_and_each_shows_its_strokes(run):
    run.page.locator(".step-points").focus()
    for _ in range(2):
        run.page.keyboard.press("ArrowRight")
    run.wait(lambda: "60 mm" in run.text(".step-card"))
    card = run.page.locator(".step-card")

    assert "35 strokes used, 3 left out" in card.inner_text()
    assert f"3, {BURST}: at 13, 14, 14 s" in card.inner_text()
    assert (card.locator(".stroke-used").count(), card.locator(".stroke-out").count()) == (35, 3)
    card.get_by_text("Every stroke").click()
    assert card.locator("tbody tr").count() == 38
    # Both may be on their way at once, and arrive in either order; the card shows the last one chosen.
    asked = sorted(path for path, _ in run.asked)
    assert asked == ["sweep/steps/0", "sweep/steps/1"], "the setback does not move meanwhile"
    assert run.page.locator(".step-points").get_attribute("aria-activedescendant") == "point-1"
    assert faults(run.page) == {}


def test_a_tap_takes_the_nearest_point_and_the_same_again_closes_it(run, messages):
    box = run.page.locator(".step-point").nth(2).bounding_box()
    at = {"x": box["x"] + box["width"] / 2 + 6, "y": box["y"] + box["height"] / 2 - 9}
    run.page.mouse.click(**at)
    run.wait(lambda: run.page.locator(".step-card").is_visible())
    assert "Step 3 · 40 mm" in run.text(".step-card")
    run.page.mouse.click(**at)
    run.wait(lambda: not run.page.locator(".step-card").is_visible())
    run.page.keyboard.press("ArrowLeft")
    run.send()
    assert run.text(".entry-value") == "41", "after a tap the arrows still move the setback"

    run.page.mouse.click(**at)
    run.wait(lambda: run.page.locator(".step-card").is_visible())
    run.send({**messages["sweep"], "sweep_id": 99})
    assert not run.page.locator(".step-card").is_visible(), "another sweep shows nothing of this one"


def test_a_point_of_decide_shows_its_strokes_and_the_clients_screen_has_no_points(desk, messages):
    answers = json.loads(ANSWERS.read_text())
    first = answers["visit/evidence"]["sweeps"][0]
    answers[f"visit/sweeps/{first['sweep_id']}/steps/0"] = told()
    seen = {}
    for screen in ("decide", "shown"):
        at = desk()
        at.answers = answers
        at.open(
            {**messages["snapshot"], "visit": answers["visit"]["visit"], "sweep": sweep_in(messages, State.FINISHED)},
            screen,
        )
        at.wait(lambda at=at: at.page.locator(".marker").count())
        seen[screen] = at
    decide = seen["decide"]
    decide.page.locator(".step-points").focus()
    rearmost = max(step["setback_mm"] for sweep in answers["visit/evidence"]["sweeps"] for step in sweep["steps"])
    decide.page.keyboard.press("Home")
    decide.wait(lambda: decide.page.locator(".step-card").is_visible())

    assert "35 strokes used, 3 left out" in decide.text(".step-card")
    assert first["steps"][0]["setback_mm"] == rearmost
    assert faults(decide.page) == {}
    assert seen["shown"].page.locator(".step-points").count() == 0
