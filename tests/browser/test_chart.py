"""The geometry of the onset chart."""

import pytest

from tests.browser.deciding import opened
from tests.browser.shots import OUTLOOK

STATE = "a.reduce((state, message) => s.reduce(state, message), s.initial)"


@pytest.fixture
def drawn(js):
    """drawn(messages, expression): an expression of the chart drawn 800 by 400 pixels after the messages."""

    def value(messages, expression):
        code = f"""(async () => {{
          const s = await import('/state.js');
          const chart = m.onsetChart({STATE}, 800, 400);
          const all = (name) => [...chart.querySelectorAll('.' + name)];
          return {expression};
        }})()"""
        return js("chart.js", code, messages)

    return value


def test_forward_is_to_the_right(drawn, messages):
    ends = drawn([messages["snapshot"]], "all('stop').map((c) => Number(c.getAttribute('cx')))")

    by_setback = [x for _, x in sorted(zip(messages["snapshot"]["sweep"]["planned_mm"], ends, strict=True))]
    assert by_setback == sorted(by_setback, reverse=True)


def test_a_bar_spans_the_95_per_cent_interval_of_its_step(js, drawn, messages):
    # 1.96 standard errors: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.1, z(0.975).
    path = drawn([messages["snapshot"]], "all('error-bar')[0].getAttribute('d')")
    low_px, high_px = (float(part) for part in path.split("M")[1].split(",")[1].split("V"))
    ticks = drawn(
        [messages["snapshot"]],
        "all('grid').map((line, i) => [Number(line.getAttribute('y1')), Number(all('tick')[i].textContent)])",
    )

    (y0, n0), (y1, n1) = ticks[0], ticks[-1]
    newtons_per_px = (n1 - n0) / (y0 - y1)
    se_n = messages["snapshot"]["steps"][0]["se_n"]
    assert (low_px - high_px) * newtons_per_px == pytest.approx(2 * 1.96 * se_n, rel=1e-6)


def test_an_onset_has_band_line_and_suggestion(drawn, messages):
    named = [messages["snapshot"], messages["onset"]]

    assert drawn(named, "[all('band').length, all('onset-line').length, all('suggested').length]") == [1, 1, 1]


def test_a_suggestion_behind_the_sweep_is_still_on_the_chart(drawn, messages):
    far = {**messages["onset"], "suggested_setback_mm": 95.0}
    x, left = drawn(
        [messages["snapshot"], far],
        "[all('suggested-line')[0], all('axis')[0]].map((line) => Number(line.getAttribute('x1')))",
    )

    assert x >= left


@pytest.mark.parametrize("verdict", ["light-throughout", "loaded-throughout", "undecided"])
def test_without_an_onset_neither_band_nor_suggestion_is_drawn(drawn, messages, verdict):
    none = {**messages["onset"], "verdict": verdict}
    counts = drawn([messages["snapshot"], none], "['band', 'onset-line', 'suggested'].map((name) => all(name).length)")

    assert counts == [0, 0, 0]


def test_a_step_without_its_own_error_has_no_bar(drawn, messages):
    steps = [{**step, "se_n": None} for step in messages["snapshot"]["steps"]]

    assert drawn([{**messages["snapshot"], "steps": steps}], "[all('point').length, all('error-bar').length]") == [2, 0]


@pytest.mark.parametrize(
    ("low", "high", "most", "at"),
    [
        (0, 10, 6, [0, 2, 4, 6, 8, 10]),
        (74.1, 101.9, 4, [80, 90, 100]),
        (-0.3, 0.31, 8, [-0.3, -0.2, -0.1, 0, 0.1, 0.2, 0.3]),
    ],
)
def test_ticks_stand_on_round_values(js, low, high, most, at):
    assert js("scales.js", "m.ticks(...a)", [low, high, most]) == pytest.approx(at, abs=1e-12)


def normal(sd_mm, mean_mm=52.0):
    """A likelihood as the daemon sends it, over places from 80 to 30 mm."""
    log_l = [-0.5 * ((80.0 - i - mean_mm) / sd_mm) ** 2 for i in range(51)]
    return {"rear_mm": 80.0, "step_mm": 1.0, "log_l": log_l, "log_light": -40.0, "log_loaded": -40.0}


HEIGHTS = "all('density')[0].getAttribute('d').match(/,[0-9.e+-]+/g).map((part) => Number(part.slice(1)))"


def test_the_density_of_the_onset_narrows_and_rises_as_it_is_known_better(drawn, messages):
    heights = {}
    for sd_mm in (10.0, 4.0):
        known = {**messages["onset"], "likelihood": normal(sd_mm)}
        ys = drawn([messages["snapshot"], known], HEIGHTS)
        heights[sd_mm] = max(ys) - min(ys)

    # Of two normal densities the peaks are as one over their standard deviations.
    assert heights[4.0] / heights[10.0] == pytest.approx(10.0 / 4.0, rel=0.03)


def test_an_undecided_sweep_shows_where_the_onset_may_be(drawn, messages):
    open_ = {**messages["onset"], "verdict": "undecided", "onset_mm": None, "likelihood": normal(9.0)}

    assert drawn([messages["snapshot"], open_], "[all('density').length, all('onset-line').length]") == [1, 0]


def test_the_axis_of_loads_stands_still_while_steps_come(drawn, messages):
    first = [{"type": "steps", "steps": messages["snapshot"]["steps"][:1]}]
    both = [{"type": "steps", "steps": messages["snapshot"]["steps"]}]
    ticks = "all('tick').map((tick) => tick.textContent).join()"

    assert drawn([messages["snapshot"], *first], ticks) == drawn([messages["snapshot"], *both], ticks)


@pytest.mark.parametrize(("onset_mm", "suggested_mm"), [(72.0, 77.0), (55.0, 60.0), (32.0, 37.0)])
def test_the_names_of_onset_and_suggestion_never_share_a_line_on_one_side(drawn, messages, onset_mm, suggested_mm):
    onset = {
        **messages["onset"],
        "onset_mm": onset_mm,
        "interval_95_mm": [onset_mm - 2.0, onset_mm + 2.0],
        "suggested_setback_mm": suggested_mm,
    }
    where = "['onset-name', 'suggested-name'].map((n) => ['text-anchor', 'y'].map((a) => all(n)[0].getAttribute(a)))"
    (onset_side, onset_y), (suggested_side, suggested_y) = drawn([messages["snapshot"], onset], where)

    assert onset_side != suggested_side or abs(float(onset_y) - float(suggested_y)) >= 16


def test_where_another_day_governs_the_sweeps_own_suggestion_is_called_todays(drawn, messages):
    another_day = {**messages["sweep"], "chance_of": "another day"}
    name = "all('suggested-name')[0].textContent"

    assert drawn([messages["snapshot"], messages["sweep"], messages["onset"]], name) == "suggested 57"
    assert drawn([messages["snapshot"], another_day, messages["onset"]], name) == "today’s chance 57"


def test_a_low_chart_gives_its_plot_the_lines_that_a_high_one_has_for_names(js, messages):
    heights = js(
        "chart.js",
        f"""(async () => {{
          const s = await import('/state.js');
          return [176, 300].map((high) => {{
            const chart = m.onsetChart({STATE}, 600, high);
            const rows = [...chart.querySelectorAll('.axis')].map((one) => Number(one.getAttribute('y1')));
            return [Math.min(...rows) - 30, [...chart.querySelectorAll('text')].map((one) => one.textContent).join()];
          }});
        }})()""",
        [messages["snapshot"]],
    )
    (low_px, low_words), (high_px, high_words) = heights

    assert low_px >= 0.48 * 176
    assert high_px >= 0.6 * 300
    assert all("setback, mm" in words and "coming forward" in words for words in (low_words, high_words))


def test_the_chance_that_the_hands_carry_more_rises_to_the_front(drawn, messages):
    path = drawn([messages["snapshot"], messages["onset"]], "all('loaded-chance')[0].getAttribute('d')")
    points = [tuple(float(v) for v in part.split(",")) for part in path[1:].split("L")]

    assert [y for _, y in points] == sorted((y for _, y in points), reverse=True)
    assert [x for x, _ in points] == sorted(x for x, _ in points)


def test_a_pain_is_a_cross_on_the_axis_at_its_setback(drawn, messages):
    pains = [{"setback_mm": 50.0, "score": 5, "said": "knee"}, {"setback_mm": None, "score": 3, "said": "neck"}]
    told = [messages["snapshot"], {**messages["sweep"], "pains": pains}]
    crosses = drawn(told, "all('pain-mark').map((one) => one.getAttribute('d'))")
    stops = dict(
        zip(
            messages["sweep"]["planned_mm"],
            drawn(told, "all('stop').map((one) => Number(one.getAttribute('cx')))"),
            strict=True,
        )
    )

    assert [float(d[1:].split(",")[0]) + 5 for d in crosses] == [pytest.approx(stops[50.0])]
    assert drawn(told, "all('pain-name').map((one) => one.textContent)") == ["pain 5"]


def test_the_sweep_before_stays_behind_as_a_ghost_until_another_client_comes(drawn, messages):
    steps = [{**messages["steps"]["steps"][0], "index": i, "setback_mm": mm} for i, mm in enumerate((70.0, 60.0, 50.0))]
    first = [messages["snapshot"], {"type": "steps", "steps": steps}, messages["onset"]]
    again = {**messages["sweep"], "sweep_id": 99}
    begun = {"type": "steps", "steps": steps[:1]}

    ghosts = "[all('ghost').filter((each) => each.tagName === 'circle').length, all('point').length]"
    assert drawn([*first, again, begun], ghosts) == [3, 1]
    assert drawn(first, ghosts) == [0, 3]
    other = {"type": "visit", "visit": {**(messages["visit"]["visit"] or {}), "id": 77}}
    assert drawn([*first, again, other, begun], ghosts) == [0, 1]


def test_a_returning_client_has_the_sweep_of_the_last_decision_behind_with_its_date(drawn, messages):
    steps = [{"setback_mm": mm, "hand_load_n": 80.0} for mm in (70.0, 60.0, 50.0)]
    visit = {**messages["visit"]["visit"], "id": 7}
    of = {"type": "page/before", "visit_id": 7, "before": {"on": "2026-03-12", "steps": steps, "line": None}}
    seen = "[all('ghost').length, all('ghost-name').map((each) => each.textContent)]"

    assert drawn([{**messages["snapshot"], "visit": visit}, of], seen) == [3, ["○ 12 Mar 2026"]]
    other = {"type": "visit", "visit": {**visit, "id": 8}}
    assert drawn([{**messages["snapshot"], "visit": visit}, of, other], seen) == [0, []]


@pytest.mark.parametrize("size", [(1280, 800), (1920, 1080)], ids=str)
def test_on_run_the_chart_is_in_view_to_its_last_line_and_the_reasons_come_when_asked_for(desk, messages, size):
    at = desk(viewport={"width": size[0], "height": size[1]}).open(messages["snapshot"])
    at.send(messages["sweep"], messages["sources"], messages["stroke"], messages["onset"])
    lowest = "(all) => Math.max(...[...all].map((one) => one.getBoundingClientRect().bottom))"
    ends = at.page.locator(".answer").evaluate("(one) => one.getBoundingClientRect().bottom")

    assert at.page.locator(".onset-chart text").evaluate_all(lowest) <= ends
    reason = at.page.locator(".reasons")
    assert not reason.is_visible()
    at.page.get_by_role("button", name="Why").click()
    assert reason.is_visible()
    assert "Chances: onset inside the sweep" in at.text(".reasons")


@pytest.mark.parametrize("named", [True, False])
def test_the_reasons_leave_the_chart_its_height(run, messages, named):
    """The list is scrolled; the chart can still be read beside it, and nothing of it is cut off."""
    reasons = [f"test {i} was not made: ride the sweep again with what it looks at" for i in range(20)]
    without = {"verdict": "undecided", "onset_mm": None, "interval_95_mm": None, "suggested_setback_mm": None}
    beside = {"caution": "sham not ridden: " + "a rise can be expectation " * 3} if named else without
    run.send({**messages["sweep"], "outlook": OUTLOOK}, {**messages["onset"], "reasons": reasons, **beside})
    run.page.get_by_role("button", name="Why").click()
    run.send()

    why, answer_box, chart = (run.page.locator(each).bounding_box() for each in (".because", ".answer", ".chart-host"))
    assert chart["height"] >= 150
    assert chart["y"] >= why["y"] + why["height"]
    assert chart["y"] + chart["height"] <= answer_box["y"] + answer_box["height"]
    assert run.page.locator(".because").evaluate("(list) => list.scrollHeight > list.clientHeight")


LOOK = """(chart) => {
  const style = (name, what) => getComputedStyle(chart.querySelector('.' + name))[what];
  const drawn = (name) => ['fill', 'stroke', 'strokeDasharray'].map((what) => style(name, what));
  return ['band', 'band-edge', 'onset-line'].map(drawn);
}"""
SPAN = """(chart) => {
  const box = chart.querySelector('.band').getBoundingClientRect();
  const at = (mm) => {
    const all = [...chart.querySelectorAll('text')].filter((one) => one.textContent === mm);
    const tick = all.at(-1).getBoundingClientRect();
    return (tick.left + tick.right) / 2;
  };
  const mm = (px) => 70 - ((px - at('70')) / (at('40') - at('70'))) * 30;
  return [mm(box.right), mm(box.left)];
}"""
"""The setbacks between which the green band lies, read off the chart's own numbers."""


def test_the_green_band_is_the_95_per_cent_interval_on_run_and_on_decide(desk, messages):
    at = desk().open(messages["snapshot"])
    at.send(messages["onset"])
    run = at.page.locator(".onset-chart")
    looks, keys = [run.evaluate(LOOK)], [at.page.locator(".answer-value .band-key").evaluate(LOOK)]
    assert run.evaluate(SPAN) == pytest.approx(messages["onset"]["interval_95_mm"], abs=0.1)
    assert at.text(".answer-value").startswith("95 % interval 48.1–56.9 mm")

    at = opened(desk, messages, "decide")
    decide = at.page.locator(".overlay").first
    at.wait(lambda: decide.evaluate(SPAN)[0] > 0)  # it is drawn again once its size is known
    found = at.answers["visit/evidence"]
    (onset,) = [one["onset"] for one in found["sweeps"] if one["sweep_id"] == found["main"]]
    front_mm, rear_mm = onset["interval_95_mm"]
    assert decide.evaluate(SPAN) == pytest.approx([front_mm, rear_mm], abs=0.1)
    assert f"95 % interval {front_mm:.1f}–{rear_mm:.1f} mm" in at.text(".legend")
    looks.append(decide.evaluate(LOOK))
    keys.append(at.page.locator(".legend .band-key").evaluate(LOOK))

    assert looks[0] == looks[1] == keys[0] == keys[1]
