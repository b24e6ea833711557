"""The main job in a real browser on the real daemon: a simulated sweep to its answer, and one ridden by hand."""

import math
import re

from playwright.sync_api import expect

from tests.browser.daemon import demo


def test_the_demo_ends_on_the_dashboard_with_the_answer_of_the_terminal(page):
    with demo("--pace", "100") as daemon:
        page.goto(daemon.url)
        expect(page.locator(".banner")).to_contain_text("SIMULATED")
        answer = daemon.answer()

        expect(page.locator("#answer-title")).to_have_text(
            re.compile(rf"onset\s{answer['onset_mm']:.1f}\smm", re.IGNORECASE)
        )
        low, high = answer["interval_95_mm"]
        expect(page.locator(".answer-value")).to_contain_text(f"{low:.1f}–{high:.1f}\u00a0mm")
        expect(page.locator(".answer-value")).to_contain_text(f"{math.ceil(answer['suggested_setback_mm'])}\u00a0mm")


def test_stop_ends_the_sweep_from_the_keyboard(page):
    with demo("--pace", "5") as daemon:
        page.goto(daemon.url)
        expect(page.locator("main")).to_contain_text(re.compile("Keep pedalling|Move the saddle"))
        page.keyboard.press("Escape")

        expect(page.locator("main")).to_contain_text("Rider off the jig first")
