"""`foreaft serve` as a process of its own: health, log, an orderly end, and no name in any of it."""

import json
import os
import re
import signal
import subprocess
import sys
import tty
from pathlib import Path

import httpx
import pytest
import websockets.sync.client

from daq.keep.recording import read_recording
from daq.keep.store import Store
from daq.live.lab.layer import library
from daq.measure.calibration import CalibratedChannel, Calibration, to_dict
from tests.keep.jig import begin
from tests.rigs import rig_text

NAME = ("Ada", "Example")


@pytest.fixture
def rig(tmp_path):
    """A rig whose board is a silent pseudo-terminal, with a calibration of lines."""
    board, host = os.openpty()
    tty.setraw(host)
    kinds = {"hands": "force", "saddle": "force", "tilt": "tilt"}
    channels = tuple(CalibratedChannel(name, kind, (0.0, 1e-4)) for name, kind in kinds.items())
    calibration = to_dict(Calibration("test", "2026-01-01T00:00:00+00:00", channels))
    (tmp_path / "calibration.json").write_text(json.dumps(calibration))
    path = tmp_path / "rig.toml"
    path.write_text(rig_text(f'calibration = "calibration.json"\n[board]\nport = "{os.ttyname(host)}"'))
    yield path
    os.close(board)
    os.close(host)


class Serving:
    """The daemon as its own process, and a browser at it."""

    def __init__(self, rig, tmp_path, *words, cookies=None):
        command = [sys.executable, "-m", "daq.cli", "serve", "--rig", str(rig), "--port", "0", *words]
        environment = {**os.environ, "XDG_STATE_HOME": str(tmp_path), "FOREAFT_STORE": str(tmp_path / "store.sqlite")}
        self.process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=environment)
        self.said = self.process.stderr.readline()
        url = re.search(r"http://[^\s\"]+", self.said)
        self.client = httpx.Client(base_url=url.group(), cookies=cookies) if url else None

    def __enter__(self):
        assert self.client is not None, self.said + self.process.communicate(timeout=60)[1]
        return self

    def end(self):
        """Ask for the end as a service manager does; the exit code."""
        self.client.close()
        self.process.send_signal(signal.SIGTERM)
        self.said += self.process.communicate(timeout=60)[1]
        return self.process.returncode

    def __exit__(self, *_):
        if self.process.poll() is None:
            self.end()


def uses_liblsl(pid):
    """Whether the kernel says that the process has loaded it."""
    return "liblsl" in Path(f"/proc/{pid}/maps").read_text()


def visit_with_a_name(client):
    """Type a client's name wherever one can be typed, and where none belongs."""
    made = client.post("/api/v1/clients", json={"name": " ".join(NAME), "service": True})
    assert made.status_code == 201, made.text
    client.post("/api/v1/marks", json={"text": f"{NAME[0]} shifted her hands"})
    codes = [
        client.post("/api/v1/visit", json={"pseudonym": NAME[0]}).status_code,
        client.post("/api/v1/clients", json={"name": [NAME[0]]}).status_code,
        client.post(f"/api/v1/{NAME[0]}", json={}).status_code,
        client.get(f"/api/v1/sweep?{NAME[0]}={NAME[1]}").status_code,
        client.post("/api/v1/sweeps", json={"positions_mm": [80, 70, 60], "label": NAME[0]}).status_code,
    ]
    assert codes[:2] == [404, 422]


def test_the_log_is_json_with_every_command_and_no_name_and_the_end_is_orderly(rig, tmp_path):
    with Serving(rig, tmp_path, "--log", "json") as daemon:
        visit_with_a_name(daemon.client)
        code = daemon.end()

    lines = [json.loads(line) for line in daemon.said.splitlines()]
    assert code == 0
    assert [line["message"] for line in (lines[0], lines[-1])] == ["listening", "ended"]
    assert {"/api/v1/clients", "/api/v1/marks"} <= {line.get("route") for line in lines}
    assert not [word for word in NAME if word in daemon.said]
    with Store.open(tmp_path / "store.sqlite") as store:
        (session,) = store.sessions()
        kept = [item.content for item in store.read_items(session.id) if getattr(item, "kind", "") == "mark"]
        assert [mark["text"] for mark in kept] == ["Ada shifted her hands"]


def test_a_daemon_without_data_lives_but_is_not_ready_and_says_why(rig, tmp_path):
    with Serving(rig, tmp_path) as daemon:
        assert not uses_liblsl(daemon.process.pid), "the Lab Streaming Layer is off unless it is asked for"
        live, ready, numbers = (daemon.client.get(path) for path in ("/health/live", "/health/ready", "/metrics"))

    assert live.status_code == 200
    assert ready.status_code == 503
    assert ready.json()["ready"] is False
    assert "board" in ready.json()["troubles"]
    assert 'foreaft_source_live{source="board"} 0.0' in numbers.text


def test_screens_that_were_let_in_stay_in_when_the_daemon_is_started_again(rig, tmp_path):
    with Serving(rig, tmp_path, "--lan") as daemon:
        key = json.loads((tmp_path / "foreaft" / "keys.json").read_text())["run"]
        refused = daemon.client.get("/api/v1/sweep").status_code
        daemon.client.post("/api/v1/access", json={"token": key})
        kept = dict(daemon.client.cookies)
    with Serving(rig, tmp_path, "--lan", cookies=kept) as daemon:
        answered = daemon.client.get("/api/v1/sweep").status_code

    assert (refused, answered) == (401, 200)
    assert key not in daemon.said


def test_behind_a_proxy_it_goes_by_the_name_it_was_told_and_its_pass_stays_on_encrypted_lines(rig, tmp_path):
    with Serving(rig, tmp_path, "--lan", "--name", "jig.workshop.example", "--proxy", "127.0.0.1") as daemon:
        key = json.loads((tmp_path / "foreaft" / "keys.json").read_text())["run"]
        port = httpx.URL(daemon.client.base_url).port
        proxy = {"Host": "jig.workshop.example", "X-Forwarded-Proto": "https"}
        with httpx.Client(base_url=f"http://127.0.0.1:{port}") as through:
            let_in = through.post("/api/v1/access", json={"token": key}, headers=proxy)
            foreign = through.get("/", headers={"Host": "evil.example"})

    assert let_in.status_code == 200
    assert "secure" in let_in.headers["set-cookie"].lower()
    assert foreign.status_code == 421


def test_a_recording_is_whole_after_an_orderly_end_and_is_never_overwritten(rig, tmp_path):
    file = tmp_path / "day.rec"
    with Serving(rig, tmp_path, "--record", str(file)) as daemon:
        daemon.client.post("/api/v1/marks", json={"text": "door open"})

    recording = read_recording(file)
    assert recording.complete
    assert recording.header["simulated"] is False
    assert recording.header["rig"] == rig.read_text()
    assert [item.content for item in recording.items()] == [{"text": "door open", "setback_mm": None}]
    again = Serving(rig, tmp_path, "--record", str(file))
    assert "is there already, and a recording is never overwritten" in again.said
    again.process.communicate(timeout=60)
    assert again.process.returncode == 2


def test_a_sweep_that_was_cut_off_days_ago_is_said_on_the_page_with_what_can_be_done(rig, tmp_path):
    with Store.open(tmp_path / "store.sqlite") as store:
        calibration = json.loads((tmp_path / "calibration.json").read_text())
        session_id = begin(store, started_utc="2026-01-01T10:00:00+00:00")
        store.begin_sweep(session_id, from_us=0, plan={}, rider={}, gradient_pct=0.0, calibration=calibration)
    with Serving(rig, tmp_path) as daemon:
        address = str(daemon.client.base_url).replace("http", "ws").rstrip("/") + "/api/v1/stream"
        with websockets.sync.client.connect(address) as stream:
            snapshot = json.loads(stream.recv(timeout=60))

    (notice,) = [notice["text"] for notice in snapshot["notices"] if "was cut off" in notice["text"]]
    assert "foreaft close 1 ends it" in notice


@pytest.mark.xdist_group("lab")
def test_what_is_done_at_the_jig_is_heard_and_a_marker_from_elsewhere_is_kept(rig, tmp_path):
    lab = library("machine")
    sender = lab.StreamOutlet(lab.StreamInfo("muscle lab", "Markers", 1, lab.IRREGULAR_RATE, "string", "elsewhere"))
    new = f"name = 'foreaft events' and created_at > {lab.local_clock()}"
    with Serving(rig, tmp_path, "--lsl", "machine", "--lsl-markers", "muscle lab") as daemon:
        (found,) = lab.resolve_bypred(new, 1, 20.0)
        inlet = lab.StreamInlet(found, recover=False)
        inlet.open_stream(10.0)
        assert sender.wait_for_consumers(20.0)
        before_s = lab.local_clock()
        sender.push_sample(["stimulus 1"])
        assert daemon.client.post("/api/v1/marks", json={"text": "Ada shifted her hands"}).status_code == 201
        heard = [inlet.pull_sample(10.0) for _ in range(2)]
        correction_s = inlet.time_correction(10.0)
        assert uses_liblsl(daemon.process.pid)
        assert daemon.end() == 0

    assert sorted(text for (text,), _ in heard) == ['{"kind": "mark"}', '{"kind": "marker"}']
    for _, stamp_s in heard:
        assert 0.0 < stamp_s + correction_s - before_s < 5.0
    with Store.open(tmp_path / "store.sqlite") as store:
        (session,) = store.sessions()
        (kept,) = [item for item in store.read_items(session.id) if getattr(item, "kind", "") == "marker"]
    assert kept.content["stream"] == "muscle lab"
    assert kept.content["text"] == "stimulus 1"
    assert 0.0 <= kept.received_us / 1e6 - kept.content["t_s"] < 1.0
