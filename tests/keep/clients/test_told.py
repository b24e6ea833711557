"""The stored tests as a panel takes them: who is in it, who is not, and why."""

import pytest

from daq.keep.clients import people, visits
from daq.keep.clients.forgetting import forget
from daq.keep.clients.told import told_in
from daq.keep.store import Store
from daq.keep.store.rows import update_row
from daq.proof.standing import FAILED
from daq.sweep.workshop import taught
from daq.values import NAN, Likelihood, Result, Validity
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


def test_a_jig_whose_proof_or_calibration_failed_is_left_out_and_named(store):
    client = people.add_client(store)
    proof = (f"{FAILED} 2026-03-01",)
    unproved = ridden(store, 52.0, client=client, rig="by the window", evidence=proof)
    doubt = Validity("calibration", NAN, "", None, Result.FAILED, True, "the check was 4 % off", "calibrate it")
    uncalibrated = ridden(store, 52.0, client=client, rig="by the door", validity=(doubt,))
    other = ridden(store, 52.0, client=client)
    found = told_in(store)

    assert [one.sweep for one in found.tests] == [str(other)]
    assert (
        found.left_out[str(unproved)] == "it was ridden on jig by the window: jig not proved: it failed on 2026-03-01"
    )
    assert "on jig by the door: the check was 4 % off" in found.left_out[str(uncalibrated)]


def test_only_who_agreed_to_research_counts_for_what_leaves_the_workshop(store):
    agreed, silent = people.add_client(store), people.add_client(store)
    people.set_consent(store, agreed.id, "research", True)
    kept, own = ridden(store, 52.0, client=agreed), ridden(store, 48.0, client=silent)

    assert len(told_in(store).tests) == 2
    assert [one.sweep for one in told_in(store, research=True).tests] == [str(kept)]
    assert "not agreed" in told_in(store, research=True).left_out[str(own)]
    people.set_consent(store, agreed.id, "research", False)
    assert told_in(store, research=True).tests == ()


def test_another_saddle_or_another_point_on_it_has_an_onset_of_its_own(store):
    client = people.add_client(store)

    def on(name, reference):
        sweep_id = ridden(store, 52.0, client=client)
        visit = visits.begin_visit(store, client.id, store.sweep(sweep_id).session_id)
        visits.add_note(store, visit, "intake", {"saddle": {"name": name, "reference": reference}})
        visits.add_note(store, visit, "sweep", {"sweep_id": sweep_id})

    for name, reference in (("Short", "nose"), ("short ", "nose"), ("Long", "nose"), ("Short", "80 mm width")):
        on(name, reference)
    tests = told_in(store).tests
    riders = [one.entry.rider for one in tests]

    assert riders[0] == riders[1]
    assert len(set(riders)) == 3
    assert {one.client for one in tests} == {client.pseudonym}
    assert taught(tests).clients == 1


def test_two_clients_who_turn_out_to_be_one_are_one_rider_at_once(store):
    """What a change of a sweep's client does, whoever makes it: what was learned on one person's two days."""
    one, same = people.add_client(store), people.add_client(store)
    ridden(store, 52.0, client=one, day="2026-03-01")
    moved = ridden(store, 44.0, client=same, day="2026-03-08")
    assert taught(told_in(store).tests).panel.second_days == 0

    with store.writing() as db:
        update_row(db, "sweeps", moved, client_id=one.id)

    found = taught(told_in(store).tests)
    assert (found.clients, found.panel.second_days) == (1, 1)


def test_the_fitter_is_who_decided_at_that_visit(store):
    client = people.add_client(store)
    sweep_id = ridden(store, 52.0, client=client)
    visit = visits.begin_visit(store, client.id, store.sweep(sweep_id).session_id)
    visits.add_note(store, visit, "sweep", {"sweep_id": sweep_id})
    visits.add_note(store, visit, "decision", {"decided_by": "B. Fitter"})

    assert [one.fitter for one in told_in(store).tests] == ["B. Fitter"]
