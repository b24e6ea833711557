"""Makes the pictures of the walk through a fitter's day, from the demo: python -m tests.browser.pictures FOLDER"""

import subprocess
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import expect, sync_playwright

from tests.browser.day import Jig, check, meet, plan_eleven, ride, ride_again
from tests.browser.desk import CHROMIUM_ARGS
from tests.chromium import chromium_path

DASHBOARD = "dashboard"
"""The picture in README.md: the run at its last step, when an onset can be named."""


def take(folder: Path) -> None:
    """One simulated job, a picture at each screen."""
    store = Path(tempfile.mkdtemp(prefix="foreaft-pictures-")) / "job.sqlite"
    command = [sys.executable, "-m", "tests.browser.jig", "40", str(store)]
    with (
        sync_playwright() as playwright,
        subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process,
    ):
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=CHROMIUM_ARGS)
        page = browser.new_page(viewport={"width": 1280, "height": 800}, color_scheme="light")

        def shot(name: str, whole: bool = False) -> None:
            before = page.viewport_size
            if whole:  # a window as high as the page: what sticks to its edges stands where it belongs
                height = page.evaluate("document.documentElement.scrollHeight")
                page.set_viewport_size({"width": before["width"], "height": height})
                page.wait_for_timeout(500)
            page.screenshot(path=folder / f"{name}.png")
            page.set_viewport_size(before)

        jig = Jig(process, process.stdout.readline().strip())
        meet(page, jig)
        page.evaluate("scrollTo(0, 0)")
        shot("1_client")
        plan_eleven(page)
        page.locator(".visit-line").get_by_role("link", name="Plan").click()
        expect(page.locator(".plan-order")).to_contain_text("95 %")
        shot("2_plan")
        page.locator(".visit-line").get_by_role("link", name="Checks").click()
        check(page)
        shot("3_checks")
        page.get_by_role("link", name="To the run").click()
        for name, state, done in (("4_move", "moving", 6), ("5_record", "averaging", 6), (DASHBOARD, "averaging", 11)):
            while jig.sweep()["sweep"]["state"] != state or len(jig.sweep()["steps"]) < done:
                if jig.sweep()["sweep"]["state"] in ("waiting", "moving"):
                    page.keyboard.press("Space")
                page.wait_for_timeout(150)
            if state == "averaging":  # not one that waits for the rider
                expect(page.locator(".band-word")).to_have_text("RECORD")
            page.wait_for_timeout(300)
            shot(name)
        page.goto(f"{jig.url}#checks")
        ride(page, jig)
        page.goto(f"{jig.url}#decide")
        expect(page.locator(".marker")).to_be_visible()
        page.get_by_label("Setback decided").fill("58")
        page.get_by_label("Reason").fill("hands stay light to the onset; hamstrings tire first")
        page.get_by_label("Decided by").fill("B. Fitter")
        ride_again(page, jig)
        with page.expect_popup() as popup:
            page.get_by_role("button", name="Keep and print").click()
        popup.value.close()
        expect(page.get_by_text("Working it out")).to_be_hidden()
        shot("6_decide", whole=True)
        page.goto(f"{jig.url}api/v1/visits/1/report")
        page.set_viewport_size({"width": 800, "height": 1100})
        shot("7_sheet", whole=True)
        browser.close()
        process.terminate()


if __name__ == "__main__":
    take(Path(sys.argv[1]))
