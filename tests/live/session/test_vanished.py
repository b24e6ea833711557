"""The store's file is taken away under the daemon: noticed, told, and nothing that was received is missing."""

import asyncio
import json
import shutil
import signal
import subprocess
import sys
import time

import httpx
import pytest
import uvloop

from daq.items import Event
from daq.keep.errors import NotStored, StoreVanished
from daq.keep.store import Store
from daq.keep.store.verify import verify
from daq.live.telling.teller import Teller
from daq.live.web.api import make_app
from daq.values import Samples
from tests.live.jig import demo, serving
from tests.live.session.begun import begun
from tests.sources.waiting import until

NOTICED_WITHIN_S = 5.0


def delete(folder):
    (folder / "demo.sqlite").unlink()


def rename(folder):
    (folder / "demo.sqlite").rename(folder / "moved.sqlite")


def replace(folder):
    """Another store lies at the path: its log must survive the daemon's end."""
    (folder / "demo.sqlite").unlink()
    (folder / "demo.sqlite").write_bytes(b"somebody else's")
    (folder / "demo.sqlite-wal").unlink()
    (folder / "demo.sqlite-wal").write_bytes(b"somebody else's log")


def remove_folder(folder):
    shutil.rmtree(folder)


def taken_away(tmp_path, monkeypatch, how):
    """A session whose store is taken away in mid-stream: the running demo, what was told, and the last sentence."""
    folder = tmp_path / "data"
    folder.mkdir()
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.delenv("STATE_DIRECTORY", raising=False)
    seen = {}

    async def inside():
        session = running.session
        decoder, at = session.acquisition.sensors.decoder, session.acquisition
        await until(lambda: decoder.scans > 300)
        await session.sweep.mark("before")
        teller = Teller(session)
        page = teller.join()
        how(folder)
        gone_s = time.monotonic()
        await until(lambda: at.storing.vanished)
        seen["noticed_s"] = time.monotonic() - gone_s
        await session.sweep.mark("after")
        await until(lambda: any(note.level == "alarm" and "is gone" in note.text for note in at.notices))
        async with httpx.AsyncClient(transport=httpx.ASGITransport(make_app(teller)), base_url="http://jig") as client:
            seen["ready"] = await client.get("/health/ready")
        seen["page"] = [json.loads(message) for message in waiting(page) if isinstance(message, str)]
        count = decoder.scans
        await until(lambda: decoder.scans > count + 200)

    with demo(folder, pace=5.0) as running, pytest.raises(StoreVanished) as told:
        uvloop.run(asyncio.wait_for(serving(running, inside), 60))
    return running, seen, str(told.value)


def waiting(page):
    while page.waiting.qsize():
        yield page.waiting.get_nowait()


@pytest.mark.parametrize("how", [delete, rename, replace, remove_folder])
def test_a_store_that_vanishes_is_noticed_told_and_carried_over_whole(tmp_path, monkeypatch, how):
    running, seen, sentence = taken_away(tmp_path, monkeypatch, how)

    assert seen["noticed_s"] < NOTICED_WITHIN_S
    assert (seen["ready"].status_code, "is gone" in seen["ready"].json()["troubles"]["store"]) == (503, True)
    assert any(one["type"] == "notice" and one["level"] == "alarm" for one in seen["page"])
    (carried,) = tmp_path.rglob("*.carried-over.sqlite")
    assert (carried.parent.name == "foreaft") == (how is remove_folder)
    assert f"foreaft restore {carried}" in sentence
    with Store.open(carried, write=False) as store:
        items = list(store.read_items(1))
        assert verify(store).problems == ()
        assert store.session(1).ended_us is not None
    assert [item.content["text"] for item in items if getattr(item, "kind", "") == "mark"] == ["before", "after"]
    stored = sum(len(item) for item in items if isinstance(item, Samples))
    assert stored == running.session.acquisition.sensors.decoder.scans


def test_what_lies_at_the_path_by_then_is_left_alone(tmp_path, monkeypatch):
    taken_away(tmp_path, monkeypatch, replace)

    assert (tmp_path / "data/demo.sqlite").read_bytes() == b"somebody else's"
    assert (tmp_path / "data/demo.sqlite-wal").read_bytes() == b"somebody else's log"


def test_a_renamed_store_is_whole_too_up_to_its_renaming(tmp_path, monkeypatch):
    taken_away(tmp_path, monkeypatch, rename)

    with Store.open(tmp_path / "data/moved.sqlite", write=False) as store:
        assert verify(store).problems == ()
        marks = [item.content["text"] for item in store.read_items(1) if getattr(item, "kind", "") == "mark"]
    assert marks[0] == "before"


def test_nothing_is_acknowledged_while_a_vanished_store_cannot_be_carried_over(tmp_path):
    """A file stands where the state folder should be, so neither place takes a new store."""
    (tmp_path / "data").mkdir()
    refuge = tmp_path / "a file"
    refuge.write_text("")

    async def adrift():
        _, storing = begun(tmp_path / "data/store.sqlite", refuge=refuge)
        shutil.rmtree(tmp_path / "data")
        storing.add(Event(1, "mark", {"text": "waits"}))
        with pytest.raises(
            NotStored, match=r"kept in memory, not stored yet: .* is gone, and no new store can be made"
        ):
            await storing.stored()
        with pytest.raises(NotStored):
            await storing.call(lambda store: store.sessions())
        refuge.unlink()
        await storing.stored()
        with pytest.raises(StoreVanished, match="is gone"):
            await storing.close(2)

    uvloop.run(adrift())

    (carried,) = refuge.glob("*.carried-over.sqlite")
    with Store.open(carried, write=False) as store:
        assert [item.content["text"] for item in store.read_items(1)] == ["waits"]


def test_the_command_ends_with_a_code_of_its_own_and_says_where_everything_is(tmp_path):
    path = tmp_path / "kept.sqlite"
    command = [sys.executable, "-m", "daq.cli", "demo", "--by-hand", "--port", "0", "--store", str(path)]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as process:
        next(line for line in process.stderr if line.startswith("dashboard: "))
        path.unlink()
        while not list(tmp_path.glob("*.carried-over.sqlite")):
            time.sleep(0.05)
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=60)

    assert process.returncode == 4
    (carried,) = tmp_path.glob("*.carried-over.sqlite")
    assert f"{path} is gone" in said
    assert f"foreaft restore {carried}" in said
