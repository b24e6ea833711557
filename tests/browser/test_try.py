"""A visit practised with `foreaft try` in a real browser: what it tells afterwards, and that clients' records stay."""

import contextlib
import os
import subprocess
import sys

import pytest
from playwright.sync_api import expect

from daq.keep.store import Store
from tests.browser.day import Jig, check, meet_briefly
from tests.keep.jig import recorded

ORDER = ("--kind", "hinge", "--nothing-wrong", "--seed", "1", "--pace", "20", "--port", "0")


@pytest.fixture
def clients(tmp_path):
    """A home with a client's records where they are by default."""
    path = tmp_path / "data" / "foreaft.sqlite"
    path.parent.mkdir()
    with Store.open(path) as store:
        recorded(store, 2)
    return tmp_path


def everything(home):
    """All files below, byte for byte, and when each was written last."""
    return {path: (path.stat().st_mtime_ns, path.read_bytes()) for path in home.rglob("*") if path.is_file()}


@pytest.fixture
def practised(clients):
    folders = {f"XDG_{name}_HOME": str(clients / name.lower()) for name in ("DATA", "STATE", "CONFIG")}
    with subprocess.Popen(
        [sys.executable, "-m", "daq.cli", "try", *ORDER],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, **folders},
    ) as process:
        try:
            yield (
                Jig(process, next(line.split()[1] for line in process.stderr if line.startswith("dashboard: "))),
                process,
            )
        finally:
            process.terminate()
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.communicate(timeout=60)


def plan(page):
    page.locator(".visit-line").get_by_role("link", name="Plan").click()
    for label, value in (("Rear end", 80), ("Front end", 30), ("Spacing", 10), ("Settling", 2), ("Recording in", 15)):
        page.get_by_label(label).fill(str(value))
    expect(page.locator(".plan-order")).to_contain_text("Not found by this plan: a rise of")
    page.get_by_role("button", name="Set this plan").click()
    expect(page.get_by_role("heading", name="Before the sweep")).to_be_visible()


def ride(page, jig):
    """Every move confirmed at once; at the third position the saddle is put 5 mm off, and the caution passed over."""
    page.get_by_role("link", name="To the run").click()
    off = False
    while True:
        told = jig.sweep()
        state, done = told["sweep"]["state"], len(told["steps"])
        if state == "finished":
            return
        if state == "moving" and done == 2 and not off:
            expect(page.locator(".move-card")).to_be_visible()
            page.keyboard.press("Shift+ArrowLeft")
            off = True
        if state in ("waiting", "moving"):
            page.keyboard.press("Space")
        page.wait_for_timeout(60)


def test_a_practised_visit_tells_the_truth_and_where_it_broke_and_leaves_clients_alone(page, practised, clients):
    jig, process = practised
    before = everything(clients)
    meet_briefly(page, jig, "Nobody Atall")
    plan(page)
    check(page)
    ride(page, jig)
    told = jig.sweep()["onset"]
    found = told["verdict"] if told["onset_mm"] is None else f"{told['onset_mm']:.1f} mm"
    page.locator(".visit-line").get_by_role("link", name="Decide").click()
    page.get_by_label("Setback decided").fill("36")
    page.get_by_label("Reason").fill("the client likes it")
    page.get_by_label("Decided by").fill("B. Fitter")
    page.get_by_text("Print without riding again").click()
    page.get_by_label("Printed without that ride because").fill("practice")
    with page.expect_popup():
        page.get_by_role("button", name="Keep and print").click()
    said, _ = process.communicate(timeout=60)
    expect(page.locator(".message.polite")).to_contain_text("After a practice, the terminal there tells how it went.")

    assert process.returncode == 0
    assert "the simulated rider had an onset at" in said
    assert f"the answer was {found}" in said
    assert "positions, first" in said
    assert "moved and measured?" in said
    assert "a warning was passed over: " in said
    assert "gone on without zero: rider cannot step off again" in said
    assert "gone on without riding it again: practice" in said
    assert "36 mm was chosen" in said
    assert "forward of the onset: the hands carry more there" in said
    assert everything(clients) == before
