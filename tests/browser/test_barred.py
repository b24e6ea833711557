"""What the daemon would refuse is off beforehand, with the reason; a refusal leads to the place it speaks of."""

from typing import get_args

import pytest

from daq.refusals import See
from daq.sweep.run import State
from tests.browser.answers import sweep_in

PROOF = {"caution": "A dummy is heavy.", "proof": None}
ACTS = [
    ("plan", "Set this plan"),
    ("client", "Begin the visit"),
    ("bench", "Begin"),
    ("bench", "Resume the unfinished one"),
    ("bench", "Check it"),
    ("bench", "Take the zero: jig empty"),
    ("prove", "Begin the proof"),
    ("checks", "Add up this hold"),
]


@pytest.fixture
def free(desk, messages):
    """Nobody has the jig, all sensors live."""
    at = desk()
    at.answers["proof"] = PROOF
    visit = {**messages["visit"]["visit"], "swept": False} if messages["visit"]["visit"] else None
    at.open(
        {
            **messages["snapshot"],
            "visit": visit,
            "sweep": sweep_in(messages, State.WAITING),
            "steps": [],
            "onset": None,
        },
        "plan",
    )
    at.send(messages["sources"])
    return at


def barred(at):
    """Every act that is off, with the words beside it, screen by screen."""
    found = {}
    for screen in dict.fromkeys(screen for screen, _ in ACTS):
        at.page.evaluate("(to) => { location.hash = to; }", screen)
        at.send()
        if screen == "prove":
            at.wait(at.page.get_by_role("form", name="New proof").is_visible)
        at.page.evaluate("for (const one of document.querySelectorAll('main details')) one.open = true")
        at.send()
        for _, words in (act for act in ACTS if act[0] == screen):
            button = at.page.get_by_role("button", name=words, exact=True).first
            if button.is_disabled():
                why = button.get_attribute("aria-describedby")
                found[screen, words] = at.text(f"#{why}")
    return found


def test_while_a_sweep_is_ridden_nothing_is_offered_that_would_disturb_it(free, messages):
    assert barred(free) == {}
    free.send(sweep_in(messages, State.AVERAGING, dwell_left_s=10.0))
    found = barred(free)

    assert list(found) == ACTS
    assert all(why == "A sweep is under way: stop or finish it first. To Run" for why in found.values())


def test_while_a_proof_has_the_jig_the_plan_says_so(free, messages):
    free.send({**messages["sources"], "taken_by": "proof"})

    assert "A proof of the jig is under way: finish or leave it first. To Proof" in free.text("form.page")
    assert free.page.get_by_role("button", name="Set this plan").is_disabled()


def test_a_board_that_has_never_spoken_is_named_before_a_plan_is_set(free, messages):
    board, power = messages["sources"]["sources"]
    free.send({**messages["sources"], "sources": [{**board, "state": "absent"}, power]})

    assert "The board has sent nothing yet" in free.text("form.page")
    assert free.page.get_by_role("button", name="Set this plan").is_disabled()


def test_a_redo_without_a_step_is_off_and_says_why(run, messages):
    run.send({**messages["sweep"], "accepts": ["saddle_moved", "pause", "enough", "stop"]})
    run.page.keyboard.press("r")
    redo = run.page.get_by_role("button", name="Redo")

    assert redo.is_disabled()
    assert run.text(f"#{redo.get_attribute('aria-describedby')}") == "Redo: nothing is ridden yet."
    assert run.asked == []


def test_decide_without_a_client_leads_to_the_client(desk, messages):
    at = desk()
    at.refusal = {"detail": "no client is here; choose one on the client screen first", "see": "client"}
    at.open({**messages["snapshot"], "visit": None}, "decide")
    at.wait(at.page.get_by_role("link", name="To Client").is_visible)

    assert "No client is here" in at.text("main")
    assert at.page.locator("main").get_by_role("link", name="To Client").get_attribute("href") == "#client"


def test_every_place_that_a_refusal_or_notice_names_is_a_screen_of_the_page(free, js):
    """An address that is no screen's shows Run."""
    places = js("barred.js", "m.PLACES")

    assert list(places) == list(get_args(See))
    for to in [place["to"] for place in places.values()]:
        free.page.evaluate("(to) => { location.hash = to; }", to)
        free.wait(lambda to=to: f"#{free.page.evaluate('document.documentElement.dataset.view')}" == to)


def test_the_target_of_the_power_and_its_band_stand_still_while_the_cadence_moves(run, messages):
    seen = []
    for cadence_rpm in (88.0, 92.0):
        effort = {
            "torque_nm": 21.2,
            "cadence_rpm": cadence_rpm,
            "power_w": 21.2 * cadence_rpm * 0.10472,
            "effort_w": 199.8,
        }
        run.send(sweep_in(messages, State.AVERAGING, dwell_left_s=10.0, effort=effort))
        gauge = run.page.locator(".gauge", has_text="Power")
        words = [gauge.locator(part).inner_text() for part in (".gauge-name", ".gauge-value", ".gauge-band")]
        seen.append(
            ([one.replace("\u00a0", " ") for one in words], gauge.locator(".gauge-scale").get_attribute("style"))
        )

    assert seen[0] == seen[1]
    assert seen[0][0] == ["Power\n200 W, 90 rpm", "200 W", "195–205 W"]


def test_before_the_jig_is_heard_nothing_that_needs_it_can_be_pressed(desk, messages):
    """A button that is on until the first message says it is off lost the press in between, without a word."""
    at = desk().open(messages["snapshot"], "plan")
    at.cut()
    at.page.reload()
    plan = at.page.get_by_role("button", name="Set this plan")
    plan.wait_for()
    assert plan.is_disabled()

    at.wait(lambda: len(at.connections) > 1)
    at.send({**messages["snapshot"], "sweep": None})
    assert plan.is_enabled()
