"""Every screen with something on it, and every state an earlier picture was without: for overlaps, axe and pictures."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from playwright.sync_api import Locator

from daq.live.telling.strokes_view import step_fields
from daq.sweep.run import State
from daq.sweep.step import step_mean
from daq.values import Status, Stroke
from tests.browser.answers import ANSWERS, plan_answer, sweep_in, without_verdict
from tests.browser.desk import Desk
from tests.browser.papers import another_day_sheet, fully_examined_sheet, hand_over_page, hardly_tested_sheet
from tests.browser.proofs import NONE_YET, answer, cut, failed_sheet

Messages = dict[str, dict[str, Any]]
PAIN = {"setback_mm": 45.0, "score": 5, "said": "knee front, right, 5 of 10, at 45 mm"}


def point_card(at: Desk, messages: Messages) -> None:
    """A point of the chart with its strokes, one cough left out."""
    steps = [
        {**messages["snapshot"]["steps"][0], "index": i, "setback_mm": mm, "hand_load_n": n}
        for i, (mm, n) in enumerate(((80.0, 78.0), (60.0, 80.9), (40.0, 91.0)))
    ]
    loads_n = [80.0 + (i % 3) for i in range(38)]
    loads_n[20] = 130.0
    strokes = [
        Stroke(i / 1.5, (i + 1) / 1.5, n, 430.0, 225.0, 0.0, 21.0, 200.0, (n,), 67, Status(0))
        for i, n in enumerate(loads_n)
    ]
    told = step_fields([step_mean(60.0, strokes)], 0)
    at.answers = {
        f"sweep/steps/{i}": {**told, "index": i, "setback_mm": step["setback_mm"]} for i, step in enumerate(steps)
    }
    at.open(messages["snapshot"])
    at.send(
        messages["sources"], messages["stroke"], messages["sweep"], {"type": "steps", "steps": steps}, messages["onset"]
    )
    at.page.locator(".step-points").focus()
    at.page.keyboard.press("ArrowRight")
    at.wait(at.page.locator(".step-card").is_visible)


def ghost(at: Desk, messages: Messages) -> None:
    """The sweep of the last decision behind today's, a pain, and the loads with their uncertainty."""
    visit = {**messages["visit"]["visit"], "id": 7}
    steps = [{"setback_mm": mm, "hand_load_n": n} for mm, n in ((75.0, 76.0), (60.0, 81.0), (45.0, 88.0))]
    line = {"setback_mm": [75.0, 58.0, 45.0], "hand_load_n": [76.0, 79.0, 89.0]}
    at.open({**messages["snapshot"], "visit": visit})
    at.send({"type": "page/before", "visit_id": 7, "before": {"on": "2026-03-12", "steps": steps, "line": line}})
    at.send(messages["sources"], messages["stroke"], {**messages["sweep"], "pains": [PAIN]}, messages["onset"])
    at.page.get_by_role("button", name="Uncertainty, at hands").click()
    at.send()


def keys(at: Desk, messages: Messages) -> None:
    """The run with a notice on its line, and the panel of keys and settings beside it."""
    at.open(messages["snapshot"])
    at.send(messages["sources"], messages["stroke"], messages["sweep"], messages["onset"], messages["notice"])
    at.page.keyboard.press("?")
    at.wait(at.page.get_by_label("Spoken cues").is_visible)


def rider(at: Desk, messages: Messages) -> None:
    at.open(messages["snapshot"], "rider")
    at.send(messages["sources"], messages["stroke"], messages["sweep"], messages["notice"])


def barred(at: Desk, messages: Messages) -> None:
    """The plan while a sweep is under way."""
    job(at, messages, State.AVERAGING, "plan")


def job(at: Desk, messages: Messages, state: State, screen: str, **fields: Any) -> None:
    """A visit with two sweeps, before its decision."""
    at.answers = json.loads(ANSWERS.read_text())
    at.answers["visit/evidence"] |= {"decision": None, "chosen_mm": 59.0}
    at.answers["visit/evidence"]["sweeps"][0]["pains"] = [PAIN]
    at.answers["visit"]["visit"] |= {"decision": None, **fields}
    at.answers["plan"] = plan_answer(minutes=15)
    visit = at.answers["visit"]["visit"]
    at.open({**messages["snapshot"], "visit": visit, "sweep": sweep_in(messages, state)}, screen)
    at.send()


def plan(at: Desk, messages: Messages) -> None:
    job(at, messages, State.FINISHED, "plan")
    at.wait(lambda: "will be known" in at.text(".plan-order"))


def checks(at: Desk, messages: Messages) -> None:
    """Everything open."""
    visit = json.loads(ANSWERS.read_text())["visit"]["visit"]
    every = [{**one, "state": "open", "reason": ""} for one in visit["checks"]]
    job(at, messages, State.WAITING, "checks", checks=every, in_the_way="checks still open: zero")


def client(at: Desk, messages: Messages) -> None:
    job(at, messages, State.FINISHED, "client")
    at.wait(lambda: at.page.locator(".questions fieldset").count() == 6)


def nobody(at: Desk, messages: Messages) -> None:
    at.open({**messages["snapshot"], "visit": None, "sweep": None, "steps": [], "onset": None}, "client")


def decide(at: Desk, messages: Messages) -> None:
    job(at, messages, State.FINISHED, "decide")
    at.wait(lambda: at.page.locator(".marker").count())


def undecided(at: Desk, messages: Messages) -> None:
    """Decide of a sweep whose verdict a test took, all folds open."""
    at.answers = without_verdict()
    visit = at.answers["visit"]["visit"]
    at.open({**messages["snapshot"], "visit": visit, "sweep": sweep_in(messages, State.FINISHED)}, "decide")
    at.wait(lambda: at.page.locator(".marker").count())
    at.page.evaluate("for (const one of document.querySelectorAll('.evidence-below details')) one.open = true")
    at.send()


def told_again(at: Desk) -> str:
    """Has the daemon answer how the first sweep would be with the calibration in use now; gives the button's name."""
    first = at.answers["visit/evidence"]["sweeps"][0]
    was, now = (
        {"verdict": "onset", "onset_mm": mm, "interval_95_mm": [mm - 4.0, mm + 4.0], "reasons": []} for mm in (55, 53)
    )
    steps = [{"setback_mm": 80.0, "was_n": 78.0, "now_n": 79.5}]
    told = {"ridden_with": "March", "with": "May", "same": False, "steps": steps, "was": was, "now": now}
    at.answers[f"visit/sweeps/{first['sweep_id']}/recalibrated"] = told
    return f"{first['name']} with the calibration in use now"


def recalibrated(at: Desk, messages: Messages) -> None:
    """A sweep beside itself with the calibration in use now, all folds open."""
    decide(at, messages)
    button = told_again(at)
    at.page.evaluate("for (const one of document.querySelectorAll('.evidence-below details')) one.open = true")
    at.page.get_by_role("button", name=button).click()
    at.wait(lambda: "May" in at.text(".recalibrated [role=status]"))


def shown(at: Desk, messages: Messages) -> None:
    job(at, messages, State.FINISHED, "shown")
    at.wait(lambda: at.page.locator(".marker").count())


def follow_up(at: Desk, messages: Messages) -> None:
    job(at, messages, State.FINISHED, "followup")
    at.page.get_by_role("button", name="Ask now").first.click()


def repeats(at: Desk, messages: Messages) -> None:
    job(at, messages, State.FINISHED, "repeats")
    at.wait(at.page.get_by_role("region", name="Spreads").is_visible)


def _idle(messages: Messages) -> dict[str, Any]:
    return {**messages["snapshot"], "sweep": None, "steps": [], "onset": None}


def bench_new(at: Desk, messages: Messages) -> None:
    at.open(_idle(messages), "bench")


def bench(at: Desk, messages: Messages) -> None:
    """A weight that hangs, and a finding about it."""
    at.open(_idle(messages), "bench")
    at.send(messages["bench"])


def _prove(at: Desk, messages: Messages, said: dict[str, Any], part: Locator) -> None:
    """The proof with one left lying from before, and all its folds open."""
    begun = {"made_by": "R. Doe", "begun_utc": failed_sheet().begun_utc, "simulated": True, "done": 3, "of": 9}
    at.answers |= {"proof": said, "proofs": [{"name": "proof-1", **begun}]}
    at.open(_idle(messages), "prove")
    at.wait(part.is_visible)
    at.page.evaluate("for (const one of document.querySelectorAll('#screen details')) one.open = true")
    at.send()


def proof_new(at: Desk, messages: Messages) -> None:
    _prove(at, messages, NONE_YET, at.page.get_by_role("form", name="New proof"))


def proof(at: Desk, messages: Messages) -> None:
    said = answer(cut(failed_sheet(), "place/2"), {"caliper_mm": 71.32})
    _prove(at, messages, said, at.page.get_by_role("form", name="Proof under way"))


def proved(at: Desk, messages: Messages) -> None:
    _prove(at, messages, answer(failed_sheet()), at.page.get_by_role("region", name="Result of the proof"))


def another_day(at: Desk, messages: Messages) -> None:
    """The sheet of a client tested on several days."""
    at.show(another_day_sheet())


def hardly_tested(at: Desk, messages: Messages) -> None:
    """The sheet of a sweep with the most to caution."""
    at.show(hardly_tested_sheet())


def tested(at: Desk, messages: Messages) -> None:
    """The sheet of a sweep whose tests of validity were made."""
    at.show(fully_examined_sheet())


def hand_over(at: Desk, messages: Messages) -> None:
    """Everything kept about a client, to print."""
    at.show(hand_over_page())


VIEWS: dict[str, Callable[[Desk, Messages], None]] = {
    **{
        one.__name__.replace("_", "-"): one
        for one in (nobody, client, plan, barred, checks, keys, rider, point_card, ghost)
    },
    **{one.__name__.replace("_", "-"): one for one in (decide, undecided, recalibrated, shown, follow_up, repeats)},
    **{one.__name__.replace("_", "-"): one for one in (bench_new, bench, proof_new, proof, proved)},
    **{one.__name__.replace("_", "-"): one for one in (another_day, hardly_tested, tested, hand_over)},
}
"""Each opens one screen in one state."""
