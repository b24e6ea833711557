"""Decide's chart: what is drawn unsure, and words that keep apart."""

import json

import pytest

from daq.sweep.run import State
from tests.browser.answers import ANSWERS, sweep_in
from tests.browser.deciding import opened
from tests.browser.shots import SIZES

DRAWN_TO_SIZE = """() => {
  const host = document.querySelector(".decide-chart");
  return Math.abs(host.querySelector("svg.overlay").getBoundingClientRect().width - host.clientWidth) < 1;
}"""
BOXES = """() => [
  document.querySelector(".decide-chart").getBoundingClientRect().toJSON(),
  [...document.querySelectorAll(".overlay g[aria-hidden] text")]
    .map((e) => [e.textContent, e.getBoundingClientRect().toJSON()]),
]"""


def test_a_line_that_names_no_onset_is_drawn_unsure_as_on_the_run(desk, messages):
    at = desk()
    at.answers = json.loads(ANSWERS.read_text())
    for sweep in at.answers["visit/evidence"]["sweeps"]:
        sweep["onset"] |= {"verdict": "undecided", "onset_mm": None, "interval_95_mm": None}
    visit = at.answers["visit"]["visit"]
    at.open({**messages["snapshot"], "visit": visit, "sweep": sweep_in(messages, State.FINISHED)}, "decide")
    at.wait(lambda: at.page.locator(".decide-chart .fit").count())

    assert at.page.locator(".decide-chart .fit").count() == at.page.locator(".decide-chart .fit.unsure").count()


@pytest.mark.parametrize(("now_mm", "size"), [(48.0, (390, 844)), (52.0, (390, 844)), (49.0, (1280, 800))], ids=str)
def test_the_names_of_the_onset_and_of_the_present_place_keep_apart(desk, messages, now_mm, size):
    at = desk(viewport={"width": size[0], "height": size[1]})
    at.answers = json.loads(ANSWERS.read_text())
    at.answers["visit/evidence"] |= {"present_mm": now_mm, "window_mm": [51.0, 61.0]}
    visit = at.answers["visit"]["visit"]
    at.open({**messages["snapshot"], "visit": visit, "sweep": sweep_in(messages, State.FINISHED)}, "decide")
    at.wait(lambda: at.page.locator(".marker").count())
    at.wait(lambda: at.page.evaluate(DRAWN_TO_SIZE))
    _, boxes = at.page.evaluate(BOXES)
    onset, now = (next(box for words, box in boxes if words.startswith(name)) for name in ("onset", "now"))

    beside = max(onset["x"], now["x"]) - min(onset["x"] + onset["width"], now["x"] + now["width"])
    above = max(onset["y"], now["y"]) - min(onset["y"] + onset["height"], now["y"] + now["height"])
    assert beside >= 4 or above >= 0, (onset, now)


@pytest.mark.parametrize("screen", ["decide", "shown"])
def test_no_words_of_the_chart_lie_on_each_other_and_none_is_cut_off(desk, messages, screen):
    at = opened(desk, messages, screen)
    for width, height in SIZES.values():
        at.resize(width, height)
        at.wait(lambda: at.page.evaluate(DRAWN_TO_SIZE))
        # in one go: a chart that is drawn again in between has other words, and none at all for a moment
        host, boxes = at.page.evaluate(BOXES)

        assert len(boxes) > 10
        for i, (words, box) in enumerate(boxes):
            assert box["x"] >= host["x"] - 0.5, (width, words)
            assert box["x"] + box["width"] <= host["x"] + host["width"] + 0.5, (width, words)
            assert all(lie_apart(box, beside) for _, beside in boxes[i + 1 :]), (width, words, boxes[i + 1 :])
        assert at.page.evaluate("document.documentElement.scrollWidth") <= width


def lie_apart(one, other):
    return (
        one["x"] + one["width"] <= other["x"] + 0.5
        or other["x"] + other["width"] <= one["x"] + 0.5
        or one["y"] + one["height"] <= other["y"] + 3
        or other["y"] + other["height"] <= one["y"] + 3
    )
