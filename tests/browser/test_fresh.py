"""Stale data must never look live."""

import pytest

STATE = "a.reduce((state, message) => s.reduce(state, message), s.initial)"
OPEN = {"type": "page/link", "state": "open", "retry_ms": 0}


@pytest.fixture
def fresh(js):
    def value(expression, messages):
        code = f"(async () => {{ const s = await import('/state.js'); const state = {STATE}; return {expression}; }})()"
        return js("fresh.js", code, messages)

    return value


def at(message, ms):
    return {**message, "received_ms": ms}


def live(messages):
    sources = [{**each, "state": "live", "age_s": 0.02} for each in messages["snapshot"]["sources"]]
    snapshot = {**messages["snapshot"], "sources": sources}
    return [OPEN, at(snapshot, 1000), at({"type": "page/loads"}, 1000), at(messages["stroke"], 1000)]


def test_numbers_are_live_while_scans_and_strokes_arrive(fresh, messages):
    for which in ("loads", "stroke", "power"):
        assert fresh(f"m.{which}Freshness(state, 1100)", live(messages)) == {"live": True, "words": ""}


def test_a_silent_board_is_stale_with_its_age_in_words(fresh, messages):
    silent = {**messages["snapshot"]["sources"][0], "state": "stale", "age_s": 2.6}
    state = [*live(messages), at({"type": "sources", "sources": [silent]}, 4000)]

    assert fresh("m.loadsFreshness(state, 4400)", state) == {"live": False, "words": "no data 3\u00a0s"}


def test_loads_of_a_slow_transmitter_stay_live_between_two_of_its_readings(fresh, messages):
    slow = {**messages["snapshot"]["sources"][0], "state": "live", "age_s": 1.4, "stale_after_s": 3.0}
    state = [*live(messages), at({"type": "sources", "sources": [slow]}, 2500)]

    assert fresh("m.loadsFreshness(state, 2600)", state)["live"]
    assert not fresh("m.loadsFreshness(state, 4100)", state)["live"]


def test_a_daemon_that_falls_silent_leaves_nothing_live(fresh, messages):
    for which in ("loads", "stroke", "power"):
        assert fresh(f"m.{which}Freshness(state, 3600)", live(messages))["live"] is False


def test_a_lost_connection_leaves_nothing_live(fresh, messages):
    state = [*live(messages), {"type": "page/link", "state": "lost", "retry_ms": 250}]

    for which in ("loads", "stroke", "power"):
        assert fresh(f"m.{which}Freshness(state, 1010)", state)["live"] is False


def test_a_rider_who_stops_pedalling_leaves_an_old_stroke(fresh, messages):
    seen = [*live(messages), at({**messages["sources"]}, 4900), at({"type": "page/loads"}, 5000)]

    assert fresh("m.strokeFreshness(state, 5010)", seen) == {"live": False, "words": "no stroke 4\u00a0s"}


def test_without_a_power_sensor_power_is_said_to_have_none(fresh, messages):
    board_only = {"type": "sources", "sources": messages["sources"]["sources"][:1]}

    assert fresh("m.powerFreshness(state, 1100)", [*live(messages), at(board_only, 1050)])["words"] == "no power sensor"
