"""What the daemon has acknowledged is on the disk: on one that is full it says so, and a kill loses nothing of it."""

import contextlib
import subprocess
import sys
import time
from pathlib import Path

import httpx
import pytest

from daq.keep.store import Store
from daq.keep.store.verify import verify
from daq.sweep.plan import out_and_back

ROOT = Path(__file__).parents[2]
MARKS = 60
"""At most so many at once are not held back for haste (daq.live.web.gate)."""


class Filling:
    """A daemon whose disk can be filled, and what it has acknowledged."""

    def __init__(self, process, url):
        self.process, self.client = process, httpx.Client(base_url=url, timeout=60)
        self.acknowledged = []

    def order(self, word):
        self.process.stdin.write(f"{word}\n")
        self.process.stdin.flush()
        assert self.process.stdout.readline() == "done\n"

    def mark(self, text):
        answer = self.client.post("/api/v1/marks", json={"text": text})
        if answer.is_success:
            self.acknowledged.append(text)
        return answer

    def kill(self):
        self.process.kill()
        self.process.wait()

    def set_up_sweep(self):
        plan = {"positions_mm": out_and_back(80.0, 30.0, 6)}
        while not self.client.post("/api/v1/sweeps", json=plan).is_success:
            time.sleep(0.1)
        assert self.client.post("/api/v1/sweep/events", json={"event": "begin"}).is_success


@contextlib.contextmanager
def filled_later(folder):
    command = [sys.executable, "-m", "tests.faults.filling", str(folder / "store.sqlite")]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT) as process:
        daemon = Filling(process, process.stdout.readline().strip())
        with contextlib.closing(daemon.client):
            yield daemon
        process.kill()


@pytest.fixture
def filling(tmp_path):
    with filled_later(tmp_path) as daemon:
        yield daemon


def marks_in(folder):
    with Store.open(folder / "store.sqlite") as store:
        assert verify(store).problems == ()
        return [item.content["text"] for item in store.read_items(1) if getattr(item, "kind", "") == "mark"]


def test_of_sixty_marks_on_a_full_disk_none_is_acknowledged_and_a_kill_loses_no_other(filling, tmp_path):
    for number in range(10):
        assert filling.mark(f"before {number}").status_code == 201
    filling.order("full")
    refused = [filling.mark(f"full {number}") for number in range(MARKS - 10)]
    time.sleep(1.0)
    refused += [filling.mark(f"full {number}") for number in range(MARKS - 10, MARKS)]
    filling.kill()

    assert {answer.status_code for answer in refused} == {507}
    assert all(answer.json()["title"] == "not stored" for answer in refused)
    assert all(answer.json()["detail"].startswith("kept in memory, not stored yet: ") for answer in refused)
    assert len(filling.acknowledged) == 10
    assert set(filling.acknowledged) <= set(marks_in(tmp_path))


def test_when_there_is_room_again_what_was_kept_in_memory_is_stored_too(filling, tmp_path):
    filling.order("full")
    for number in range(5):
        assert filling.mark(f"full {number}").status_code == 507
    assert filling.client.get("/health/ready").status_code == 503
    filling.order("room")
    assert filling.mark("room").status_code == 201
    filling.kill()

    assert marks_in(tmp_path) == [*(f"full {number}" for number in range(5)), "room"]


def test_the_stop_acts_before_it_asks_the_disk(filling):
    filling.set_up_sweep()
    filling.order("full")
    answer = filling.client.post("/api/v1/sweep/events", json={"event": "stop"})

    assert (answer.status_code, answer.json()["title"]) == (507, "stopped, not stored")
    assert filling.client.get("/api/v1/sweep").json()["sweep"]["state"] == "stopped"


def test_a_store_that_becomes_read_only_acknowledges_nothing_until_it_is_written_again(filling, tmp_path):
    filling.set_up_sweep()
    filling.order("read-only")
    refused = [filling.mark(f"read-only {number}") for number in range(3)]
    stop = filling.client.post("/api/v1/sweep/events", json={"event": "stop"})
    ready = filling.client.get("/health/ready")

    assert {answer.status_code for answer in refused} == {507}
    assert all("cannot be written: check the permissions" in answer.json()["detail"] for answer in refused)
    assert (stop.status_code, stop.json()["title"]) == (507, "stopped, not stored")
    assert filling.client.get("/api/v1/sweep").json()["sweep"]["state"] == "stopped"
    assert ready.status_code == 503
    assert "cannot be written" in ready.text

    filling.order("room")
    assert filling.mark("writable").status_code == 201
    assert filling.client.get("/health/ready").status_code == 200
    filling.kill()
    assert marks_in(tmp_path) == [*(f"read-only {number}" for number in range(3)), "writable"]


@pytest.fixture(scope="module")
def full(tmp_path_factory):
    """A daemon that has seen two seconds of its empty jig, for a zero, before its disk was full."""
    with filled_later(tmp_path_factory.mktemp("full")) as daemon:
        while not daemon.client.post("/api/v1/zero").is_success:
            time.sleep(0.1)
        daemon.order("full")
        yield daemon


@pytest.mark.parametrize(
    ("method", "path", "body"),
    [
        ("POST", "/api/v1/sweeps", {"positions_mm": out_and_back(80.0, 30.0, 6)}),
        ("POST", "/api/v1/clients", {"service": True}),
        ("POST", "/api/v1/zero", None),
    ],
)
def test_nothing_else_is_acknowledged_on_a_full_disk_either(full, method, path, body):
    answer = full.client.request(method, path, json=body)

    assert answer.status_code == 507, answer.text
    assert answer.json()["title"] == "not stored"
