"""Stored answers with a likelihood, for the tests of panels."""

import dataclasses

from daq.keep.clients import people
from daq.keep.json_text import plain
from daq.values import Onset, Result, Validity, Verdict
from tests.keep.jig import rig_text
from tests.keep.sweeps import stored
from tests.sweep.panels import normal


def answer(onset_mm, *, forbidden=False, **changes):
    """As an estimator gives it."""
    hips = Validity("hips", 0.2, "mm/mm", None, Result.FAILED, True, "the hips slid on the saddle", "hold the hips")
    held = dataclasses.replace(hips, result=Result.PASSED, forbids=False, means="the hips kept their place")
    values = {
        "verdict": Verdict.UNDECIDED if forbidden else Verdict.ONSET,
        "gradual": False,
        "onset_mm": None if forbidden else onset_mm,
        "interval_95_mm": None if forbidden else (onset_mm - 6.0, onset_mm + 6.0),
        "p_onset": 0.97,
        "p_light": 0.02,
        "p_loaded": 0.01,
        "least_squares_mm": onset_mm,
        "rss": 1.0,
        "suggested_setback_mm": onset_mm + 6.0,
        "light_load_n": 60.0,
        "slope_n_per_mm": 0.4,
        "reasons": (),
        "method": "hinge-posterior/3",
        "validity": (hips if forbidden else held,),
        "likelihood": normal(onset_mm, 3.0),
    }
    return Onset(**{**values, **changes})


def ridden(store, onset_mm, *, client=None, simulated=False, day="2026-03-29", rig="workshop", **changes):
    """A stored sweep of this client with this answer; its number."""
    session = {"started_utc": f"{day}T10:00:00+00:00", "rig": rig_text(name=rig)}
    client_id = None if client is None else client.id
    sweep_id = stored(store, client_id=client_id, simulated=simulated, seconds=1, **session)
    store.put_result(sweep_id, kind="onset", method="hinge-posterior/3", content=plain(answer(onset_mm, **changes)))
    return sweep_id


def workshop(store, *, riders=6, simulated=False, days=1, research=True):
    """Clients with two sweeps each, on one day or two; their numbers."""
    found = []
    for i in range(riders):
        client = people.add_client(store, name=f"Client {i}")
        people.set_consent(store, client.id, "research", research)
        for side in range(2):
            day = f"2026-03-{29 + side * (days - 1)}"
            found.append(ridden(store, 49.0 + i + 2.0 * side, client=client, simulated=simulated, day=day))
    return found
