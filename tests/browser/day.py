"""A fitter's day by the page, act by act, on the simulated jig: for its tests, its pictures and its counts."""

import json
import urllib.request

from playwright.sync_api import expect


class Jig:
    """The running program and its cable."""

    def __init__(self, process, url):
        self.url, self._process = url, process

    def order(self, word):
        self._process.stdin.write(f"{word}\n")
        self._process.stdin.flush()

    def sweep(self):
        with urllib.request.urlopen(f"{self.url}api/v1/sweep", timeout=60) as answer:
            return json.load(answer)


def hurts(page, place, side, score):
    """A complaint by the list of places; the body itself is for pointers."""
    page.get_by_label("Place").select_option(place)
    page.get_by_role("group", name="Side").get_by_text(side, exact=True).click()
    page.get_by_role("group", name="How much").get_by_text(str(score), exact=True).click()


def answer(page, **said):
    """Each red-flag question by itself."""
    for row in page.locator(".questions fieldset").all():
        word = next((word for start, word in said.items() if row.inner_text().lower().startswith(start)), "no")
        row.get_by_text(word, exact=True).click()


def begin(page, jig, name):
    """A new client, of whom nothing is known yet."""
    page.goto(f"{jig.url}#client")
    page.get_by_label("Name, kept apart").fill(name)
    page.get_by_label("Agrees to the fitting").check()
    page.get_by_role("button", name="Begin the visit").click()
    expect(page.locator(".here").first).to_contain_text("stand under")


def meet_briefly(page, jig, name):
    """A new client with what a sweep needs, and no complaint."""
    begin(page, jig, name)
    page.get_by_text("Saddle, bar, shoes").click()
    for label, value in (("Mass as ridden", 75), ("Setback now", 60), ("Saddle height now", 722)):
        page.get_by_label(label).fill(str(value))
    page.get_by_text("nose", exact=True).click()
    answer(page)
    expect(page.locator(".kept")).to_have_text("kept as typed")


def meet(page, jig):
    """A new client, with complaints, measures and a bicycle."""
    begin(page, jig, "Ada Example")
    for fold in ("How riding feels", "Saddle, bar, shoes", "Own bicycle"):
        page.get_by_text(fold).click()
    entries = {
        "Mass as ridden": 75,
        "Inseam": 815,
        "Nose to 80 mm width": 75,
        "Setback now": 78,
        "Saddle height now": 722,
        "Crank length": 170,
        "Tired hamstrings": 7,
        "Tired quadriceps": 2,
        "Wheelbase": 985,
        "Chainstay": 410,
    }
    for label, value in entries.items():
        page.get_by_label(label).fill(str(value))
    page.get_by_text("nose", exact=True).click()
    hurts(page, "hands", "left", 6)
    answer(page, pain="yes")
    expect(page.get_by_role("form", name="Intake")).to_contain_text("see a clinician")
    page.get_by_label("Why the client rides anyway").fill("seen by her doctor in May")
    expect(page.locator(".kept")).to_have_text("kept as typed")


def plan_eleven(page):
    """Twelve steps, shorter than a fitter would ride them."""
    page.locator(".visit-line").get_by_role("link", name="Plan").click()
    for label, value in (("Rear end", 80), ("Front end", 30), ("Settling", 2), ("Recording in", 15)):
        page.get_by_label(label).fill(str(value))
    page.get_by_label("First position again").uncheck()
    expect(page.locator(".plan-order")).to_contain_text("12 steps")
    expect(page.locator(".plan-order")).to_contain_text("The onset will be known to ±")
    page.get_by_role("button", name="Set this plan").click()
    expect(page.get_by_role("heading", name="Before the sweep")).to_be_visible()


def check(page):
    """Everything seen to where it stands open, but the zero, which is overridden: the rider is aboard already."""
    page.get_by_role("button", name="Cleats are set and tight").click()
    page.get_by_label("Saddle tilt, nose up").fill("-1")
    page.get_by_role("button", name="Tilt is as written").click()
    page.get_by_role("button", name="Height is as written").click()
    page.get_by_role("button", name="Their place is marked").click()
    expect(page.locator(".checks li", has_text="Saddle tilt")).to_contain_text("done")
    zero = page.locator(".checks li", has_text="Zero")
    expect(zero).to_contain_text("open")
    page.get_by_text("Go on without: zero").click()
    page.locator("#without-zero").press("Enter")
    expect(page.locator(".message", has_text="Reason")).to_be_visible()
    page.locator("#without-zero").fill("rider cannot step off again")
    page.locator("#without-zero").press("Enter")
    expect(zero).to_contain_text("Reason: rider cannot step off again")
    expect(page.locator(".ready")).to_have_text("Ready: the sweep may begin.")


def ride(page, jig):
    """Twelve steps with the pedal's key, one redone, the cable pulled in one; scores by the digit keys."""
    page.get_by_role("link", name="To the run").click()
    redone = pulled = False
    while True:
        told = jig.sweep()
        state, done = told["sweep"]["state"], len(told["steps"])
        if state in ("finished", "stopped"):
            return redone, pulled
        if state == "moving" and done == 3 and not redone:
            page.keyboard.press("r")
            expect(page.locator("#now-title")).to_have_text("Step 3 of 12")
            redone = True
        elif state == "averaging" and done == 5 and not pulled:
            jig.order("pull")
            expect(page.locator(".chip", has_text="board")).not_to_contain_text("live")
            expect(page.locator(".strip-stale")).to_contain_text("no data")
            jig.order("plug")
            expect(page.locator(".chip", has_text="board live")).to_be_visible()
            assert jig.sweep()["sweep"]["state"] not in ("finished", "stopped")
            pulled = True
        elif state in ("waiting", "moving"):
            page.keyboard.press("Space")
        elif state == "averaging" and not told["sweep"]["notes"]:
            page.keyboard.type("345")
        page.wait_for_timeout(60)


def ride_again(page, jig):
    """The confirm ride of the setback that stands there, by the pedal's key; back on Decide when it is over."""
    page.get_by_role("button", name="today’s place on the level").click()
    expect(page.get_by_role("heading", name="Before the sweep")).to_be_visible()
    page.get_by_role("link", name="To the run").click()
    while (state := jig.sweep()["sweep"]["state"]) != "finished":
        if state in ("waiting", "moving"):
            page.keyboard.press("Space")
        page.wait_for_timeout(60)
    expect(page.locator(".lead")).to_have_text("Both places are ridden")
    page.locator(".visit-line").get_by_role("link", name="Decide").click()
    expect(page.locator(".confirm table")).to_be_visible()
