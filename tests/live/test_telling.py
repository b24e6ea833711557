"""What a page is told, and in which order, on a sweep of the simulated jig."""

import asyncio
import itertools
import json
import struct
from typing import get_args

import pytest
import uvloop

from daq.keep.clients.people import Consent
from daq.live.daemon import listen
from daq.live.session.backlog import BACKLOG_S
from daq.live.telling.teller import Teller
from daq.sweep.plan import MOVING_S
from daq.sweep.progress import Notice
from daq.sweep.run import ENDED, State, Trigger
from tests.live.bench.simulated import wanted
from tests.live.examples import EXAMPLES, misfits
from tests.live.jig import SHORT, demo, serving
from tests.sources.waiting import until


def run(coroutine):
    return uvloop.run(asyncio.wait_for(coroutine, 90))


async def heard(page):
    """Every text message a page was sent so far, as (type, message)."""
    found = []
    while page.waiting.qsize():
        message = await page.get()
        if isinstance(message, str):
            content = json.loads(message)
            found.append((content["type"], content))
    return found


async def until_heard(page, kind, log):
    """The log goes on until a message of this kind that holds something is in it."""
    while not any(each == kind and message[kind] for each, message in log):
        await asyncio.sleep(0.02)
        log.extend(await heard(page))


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    """All that a page hears of one sweep whose last step is redone once, and the teller."""
    log, tellers = [], []

    async def ride():
        session = running.session
        await until(lambda: session.acquisition.pipeline.channels)
        await session.sweep.begin(SHORT)
        tellers.append(Teller(session))
        page = tellers[0].join()
        await session.sweep.fitter(Trigger.BEGIN)
        redone = False
        while session.sweep.progress.state not in ENDED:
            if session.sweep.progress.state is State.MOVING:
                if len(session.sweep.progress.steps) == 5 and not redone:
                    redone = True
                    await session.sweep.fitter(Trigger.REDO)
                await session.sweep.fitter(Trigger.SADDLE_MOVED, session.sweep.progress.asked_setback_mm)
            await asyncio.sleep(0.02)
            log.extend(await heard(page))
        client = await session.visit.new_client(name=None, consents=dict.fromkeys(get_args(Consent), True))
        await session.visit.open(client.pseudonym)
        await session.calibrating.begin_bench(wanted())
        session.acquisition.notices.append(Notice("info", "for a page that joins now", 0.0))
        log.extend(await heard(page))  # a visit already told comes again in the next page's snapshot only
        tellers[0].leave(page)
        page = tellers[0].join()
        for kind in ("bench", "visit"):
            await until_heard(page, kind, log)

    with demo(tmp_path_factory.mktemp("told")) as running:
        run(serving(running, ride))
    return log, tellers[0]


@pytest.mark.parametrize("kind", EXAMPLES)
def test_every_message_has_the_shape_of_its_saved_example(told, kind):
    sent = [message for each, message in told[0] if each == kind]

    assert sent
    assert sorted({one for message in sent for one in misfits(message, EXAMPLES[kind])}) == []


def test_no_message_is_sent_of_which_there_is_no_example(told):
    assert {kind for kind, _ in told[0]} == set(EXAMPLES)


def test_a_finished_step_comes_with_the_standing_that_follows_from_it(told):
    kinds = [kind for kind, _ in told[0]]
    steps = [i for i, kind in enumerate(kinds) if kind == "steps"]

    assert steps
    assert all(kinds[i + 1] == "sweep" for i in steps)


def test_an_answer_never_rests_on_steps_the_page_does_not_have(told):
    shown = 0
    for kind, content in told[0]:
        if kind == "steps":
            shown = len(content["steps"])
        if kind == "onset":
            assert shown >= 5

    assert any(kind == "onset" for kind, _ in told[0])


def test_after_a_redo_below_five_positions_there_is_no_answer_until_the_next_step(told):
    counts = [len(content["steps"]) for kind, content in told[0] if kind == "steps"]

    assert any(b == a - 1 for a, b in itertools.pairwise(counts))
    assert told[1].session.acquisition.ride.onset is not None


def test_the_step_is_counted_from_one_and_time_left_is_what_the_clock_on_the_wall_will_show(told):
    standing = next(content for kind, content in told[0] if kind == "sweep" and content["state"] == "moving")

    assert standing["step"] == 1
    assert standing["seconds_left"] == pytest.approx(
        6 * (MOVING_S + SHORT.settle_s + SHORT.dwell_s) / told[1].session.acquisition.clock.pace
    )


def test_a_page_that_joins_late_is_given_the_loads_it_missed(told):
    page = told[1].join()
    snapshot, block = page.waiting.get_nowait(), page.waiting.get_nowait()

    _, series, n, t0_s = struct.unpack_from("<BBHd", block)
    dt_s = struct.unpack_from(f"<{n}f", block, 12)
    assert len(block) == 12 + 4 * n * (1 + series)
    assert json.loads(snapshot)["type"] == "snapshot"
    assert dt_s[-1] > BACKLOG_S - 1.0
    assert t0_s + dt_s[-1] == pytest.approx(told[1].session.acquisition.recent.last(1.0)[-1].t_s[-1], abs=1e-3)


def test_an_address_takes_visitors_as_soon_as_it_is_named():
    import socket

    listener = listen("127.0.0.1", 0)
    with socket.create_connection(listener.getsockname(), timeout=60) as visitor:
        assert visitor.getpeername() == listener.getsockname()
    listener.close()
