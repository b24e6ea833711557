"""The stored tests as a panel takes them: who is in it, who is not, and why."""

import pytest

from daq.keep.clients import people, visits
from daq.keep.clients.forgetting import forget
from daq.keep.clients.told import told_in
from daq.keep.store import Store
from daq.values import Likelihood
from tests.keep.sweeps import stored
from tests.keep.told import answer, ridden


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "s.sqlite") as opened:
        yield opened


def test_an_answer_comes_back_as_it_was_kept(store):
    client = people.add_client(store, name="Ada Example")
    sweep_id = ridden(store, 52.0, client=client)
    (one,) = told_in(store).tests

    assert one.sweep == str(sweep_id)
    assert one.entry.rider == client.pseudonym
    assert one.entry.likelihood == answer(52.0).likelihood
    assert isinstance(one.entry.likelihood, Likelihood)
    assert (one.verdict, one.slope_n_per_mm, one.gradient_pct) == ("onset", 0.4, 4.5)


def test_what_may_say_nothing_is_left_out_and_named(store):
    client = people.add_client(store)
    forbidden = ridden(store, 52.0, client=client, forbidden=True)
    nobodys = ridden(store, 52.0)
    old = ridden(store, 52.0, client=client, likelihood=None)
    earliest = stored(store, client_id=client.id, simulated=False)
    found = told_in(store)

    assert found.tests == ()
    assert "the hips slid on the saddle" in found.left_out[str(forbidden)]
    assert "without a client" in found.left_out[str(nobodys)]
    assert "kept no likelihood" in found.left_out[str(old)]
    assert str(earliest) in found.left_out
    assert found.failed == {"hips": 1}
    assert found.verdicts["onset"] == 2


def test_simulated_and_real_riders_never_meet(store):
    client = people.add_client(store)
    real, simulated = ridden(store, 52.0, client=client), ridden(store, 40.0, client=client, simulated=True)

    assert [one.sweep for one in told_in(store).tests] == [str(real)]
    assert [one.sweep for one in told_in(store, simulated=True).tests] == [str(simulated)]


def test_who_is_forgotten_is_gone_from_the_panel_at_once(store):
    stays, goes = people.add_client(store), people.add_client(store)
    kept = ridden(store, 52.0, client=stays)
    ridden(store, 48.0, client=goes)
    assert len(told_in(store).tests) == 2

    forget(store, goes.pseudonym)

    assert [one.sweep for one in told_in(store).tests] == [str(kept)]


def test_the_fitter_is_who_decided_at_that_visit(store):
    client = people.add_client(store)
    sweep_id = ridden(store, 52.0, client=client)
    visit = visits.begin_visit(store, client.id, store.sweep(sweep_id).session_id)
    visits.add_note(store, visit, "sweep", {"sweep_id": sweep_id})
    visits.add_note(store, visit, "decision", {"decided_by": "B. Fitter"})

    assert [one.fitter for one in told_in(store).tests] == ["B. Fitter"]
