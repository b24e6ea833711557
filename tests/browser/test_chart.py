"""The geometry of the onset chart."""

import pytest

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
