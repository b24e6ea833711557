"""Hostile text in every place where text from elsewhere is shown: nothing in it runs, and nothing breaks the layout.

Texts of that kind: cross-site scripting after the OWASP cheat sheet on XSS filter evasion, template syntax, words
without a place to break, writing from right to left and its control characters, emoji.
"""

import concurrent.futures
import json
import multiprocessing
import re

import pytest

from daq.fit.case import Case, evidence_of
from daq.fit.decision import Decision
from daq.fit.intake import Intake
from daq.keep.again.report import printed
from daq.live.bench.certificate_page import certificate_page
from daq.live.bench.proof_page import proof_page
from tests.browser.answers import ANSWERS
from tests.browser.desk import DASHBOARD
from tests.keep.again.cases import CASE, DECISION
from tests.live.bench.certified import certified

RUNS = (
    "<script>window.hit = 1</script><img src=x onerror='window.hit = 1'><svg onload='window.hit = 1'>"
    '"><iframe srcdoc="<script>parent.hit = 1</script>"></iframe>\' onfocus=window.hit=1 autofocus x=\''
    "<a href='javascript:window.hit=1'>x</a><style>*{display:none}</style>{{7*7}}${7*7}#{7*7}<%=7*7%>"
)
PAYLOADS = {
    "code": RUNS,
    "long word": "W" * 200,
    "right to left": "\u202e" + "\u05e9\u05dc\u05d5\u05dd \u0645\u0631\u062d\u0628\u0627 " * 4 + "\u2067abc",
    "emoji": "\U0001f6b4\U0001f3fd\u200d\u2640\ufe0f" * 40,
    "combining": "Z\u0351\u036b\u0343\u036a\u0302\u036b" * 40,
}
TYPED = {
    "name", "pseudonym", "id", "message", "sentence", "why_waiting", "why_here", "reasons", "text", "instruction",
    "cell", "cells", "problem", "goal", "riding", "injuries", "shoes", "bar", "returning", "advice", "note", "title",
    "said", "todo", "reason", "triage", "in_the_way", "traded", "decided_by", "number", "why", "cautions", "move",
    "first", "second", "trend", "com_height", "why_not", "method", "label", "firmware", "made_by", "place", "remarks",
    "instrument", "certificate", "statements", "weights", "accepted", "left_out", "calibration",
    "flag_reason", "means", "cure", "proof", "over", "differs", "evidence", "rests_on", "found", "next", "would_help",
    "jig", "told",
}  # fmt: skip
"""Keys whose text may come from a person, a file or a device; the others the page compares with what it knows."""
CHOSEN = {("sources", "name"), ("symptoms", "place")}
"""Of those, what the page looks up."""
SCREENS = ("client", "plan", "checks", "run", "decide", "shown", "followup", "repeats", "bench", "rider", "prove")
WIDTHS = (390, 1280)
PROOF_TEXTS = ("jig", "made_by", "place", "parts", "calibration", "result")
PROOF = {
    "statements": (RUNS,),
    "reasons": (RUNS,),
    "made_utc": "2026-03-01T09:00:00+00:00",
    "valid_until_utc": "2026-09-01T09:00:00+00:00",
    "dummy": {"name": RUNS, "rate_n_per_mm": 1.5, "u_rate_n_per_mm": 0.01},
    "bias_mm": 0.1,
    "expanded_mm": 0.4,
    "repeatability_mm": 0.3,
    "between_placements_mm": 0.2,
    "intervals_held": 9,
    "sweeps": 9,
    "smallest_rise_n_per_mm": None,
    "flat": RUNS,
    "loaded": RUNS,
    "gradual": RUNS,
    "scale": RUNS,
    "consists_of": (RUNS,),
    "readings": 120,
    "budget": ({"source": RUNS, "standard_uncertainty_mm": 0.1, "degrees_of_freedom": None, "distribution": RUNS},),
    "figures": ({"part": RUNS, "shown": RUNS, "named": True},),
    "answers": (),
}
"""What the page of a jig's proof shows; the rig, the dummy and the place have names that somebody typed."""


UNDER_WAY = {
    "caution": "nobody on the jig",
    "proof": {
        **dict.fromkeys(("name", "made_by", "jig", "told"), "proof"),
        **dict.fromkeys(("last", "result"), None),
        "read_s": 5.0,
        "done": 1,
        "of": 9,
        "reading": False,
        "shown": {},
        "stages": [{"name": "zero", "done": 0, "of": 1}],
        "task": {"id": "empty", "stage": "zero", "instruction": "wait", "typed": ["caliper_mm"], "reads": True},
    },
}
"""A proof that is worked through."""


def with_payload(content, payload, under="", key=""):
    """The content with the payload behind the text of every key that may hold any."""
    if isinstance(content, dict):
        return {name: with_payload(value, payload, key, name) for name, value in content.items()}
    if isinstance(content, list):
        return [with_payload(value, payload, under, key) for value in content]
    if isinstance(content, str) and key in TYPED and (under, key) not in CHOSEN:
        return f"{content} {payload}"
    return content


def check_quiet(page):
    """Nothing ran, and the page is no wider than its window."""
    page.wait_for_timeout(50)
    assert page.evaluate("() => window.hit ?? null") is None
    inside = page.evaluate("() => [document.documentElement.scrollWidth, innerWidth]")
    if inside[0] > inside[1]:
        wide = page.evaluate(
            """() => [...document.querySelectorAll("body *")]
                 .filter((e) => e.getBoundingClientRect().right > innerWidth).slice(-3)
                 .map((e) => `${e.tagName}.${e.className}: ${e.textContent.slice(0, 40)}`)"""
        )
        raise AssertionError(f"{inside[0]} px wide in {inside[1]} px: {wide}")


@pytest.mark.parametrize("payload", PAYLOADS)
def test_no_screen_runs_or_is_broken_by_what_somebody_typed(desk, messages, payload):
    at = desk()
    hostile = {name: with_payload(message, PAYLOADS[payload]) for name, message in messages.items()}
    at.answers = with_payload({**json.loads(ANSWERS.read_text()), "proof": UNDER_WAY}, PAYLOADS[payload])
    snapshot = {**hostile["snapshot"], "visit": at.answers["visit"]["visit"]}
    at.open(snapshot, SCREENS[0])

    for screen in SCREENS:
        at.page.evaluate("(screen) => { location.hash = screen; }", screen)
        at.page.wait_for_selector("#screen h1", state="attached")
        at.send(*(message for name, message in hostile.items() if name not in ("snapshot", "visit")))
        for width in WIDTHS:
            at.resize(width, 844)
            check_quiet(at.page)
    shown = at.page.locator("body").inner_text()
    assert shown.strip()


@pytest.fixture(scope="module")
def certificate(tmp_path_factory):
    """The content of a certificate. From a process of its own: the browser's driver has a loop running in this one."""
    path = tmp_path_factory.mktemp("bench") / "s.sqlite"
    with concurrent.futures.ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as pool:
        return pool.submit(certified, path).result()[0]


@pytest.mark.parametrize("payload", PAYLOADS)
def test_neither_sheet_nor_certificate_runs_or_is_broken(chromium, certificate, tmp_path, payload):
    text = PAYLOADS[payload].replace("\u202e", "").replace("\u2067", "")  # nobody can type those into a form
    made = {
        "sheet": sheet(text),
        "certificate": certificate_page(with_payload(certificate, text)),
        "proof": proof_page(PROOF | dict.fromkeys(PROOF_TEXTS, text), css=(DASHBOARD / "certificate.css").read_text()),
    }
    page = chromium.new_page()
    try:
        for name, html in made.items():
            own = re.sub(r'href="/(\w+\.css)"', rf'href="{DASHBOARD.as_uri()}/\1"', html)
            (tmp_path / f"{name}.html").write_text(own, encoding="utf-8")
            page.goto((tmp_path / f"{name}.html").as_uri())
            assert text.split()[-1][-20:] in page.locator("body").inner_text(), f"the {name} shows what was typed"
            for width in WIDTHS:
                page.set_viewport_size({"width": width, "height": 844})
                check_quiet(page)
    finally:
        page.close()


def sheet(text: str) -> str:
    """The printed sheet of a visit whose every free text is this one."""
    intake = CASE.intake.model_dump()
    line = text[:190]
    intake |= {"goal": text, "riding": line, "injuries": text, "shoes": line, "bar": line}
    intake["saddle"]["name"] = line
    decision = DECISION.model_dump() | {"reason": text, "traded": text, "decided_by": text[:80]}
    override = {**CASE.overrides[0], "reason": text}
    rig = CASE.rig.model_copy(update={"name": text[:80]})
    changed = {name: getattr(CASE, name) for name in CASE.__dataclass_fields__} | {
        "intake": Intake.model_validate(intake),
        "decision": Decision.model_validate(decision),
        "overrides": (override,),
        "calibration_ids": (text,),
        "rig": rig,
    }
    case = Case(**changed)
    return printed(case, evidence_of(case))
