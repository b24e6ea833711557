"""A screen let in over the network by its link, in a real browser on the whole daemon."""

import threading
import time

import pytest
import uvicorn
import uvloop
from playwright.sync_api import expect

from daq.live.daemon import listen, own_names, url_of
from daq.live.telling.teller import Teller
from daq.live.web import access
from daq.live.web.api import make_app
from daq.live.web.gate import Gate
from daq.live.web.passes import Passes
from daq.live.web.steady import steady_s
from tests.live.jig import demo


@pytest.fixture
def daemon(tmp_path):
    """(url, keys) of a daemon on the network, its board at rest."""
    keys = access.new_keys(1.0, utc_s=time.time(), steady_s=steady_s())
    with listen("127.0.0.1", 0) as listener, demo(tmp_path) as running:
        teller = Teller(running.session)
        passes = Passes(tmp_path / "passes")
        passes.open()
        app = Gate(make_app(teller, keys, passes), keys=keys, names=own_names(), passes=passes)
        config = uvicorn.Config(
            app, log_config=None, ws="websockets-sansio", lifespan="off", timeout_graceful_shutdown=2
        )
        server = uvicorn.Server(config)

        async def whole():
            await server.serve(sockets=[listener])
            await running.session.acquisition.storing.close(1)

        # in a thread of its own: the browser's driver has a loop running in this one
        thread = threading.Thread(target=lambda: uvloop.run(whole()))
        thread.start()
        yield url_of(listener), keys
        teller.close()
        server.should_exit = True
        thread.join(20)


@pytest.fixture
def page(chromium):
    context = chromium.new_context(viewport={"width": 1024, "height": 768})
    yield context.new_page()
    context.close()


def test_without_a_key_the_page_says_how_to_get_one_and_shows_nothing_else(page, daemon):
    page.goto(daemon[0])

    expect(page.get_by_role("alert")).to_contain_text("open the link, or scan the code")
    expect(page.locator("nav")).to_have_count(0)


def test_a_wrong_key_is_told(page, daemon):
    page.goto(f"{daemon[0]}#key=wrong")

    expect(page.get_by_role("alert")).to_contain_text("the key is wrong or its time is over")


def test_the_fitters_link_opens_everything_and_its_key_does_not_stay_in_the_address(page, daemon):
    url, keys = daemon
    page.goto(f"{url}#key={keys.run}")

    expect(page.locator("nav a").first).to_be_visible()
    assert keys.run not in page.url
    assert keys.run not in page.evaluate("document.cookie")
    page.goto(url)
    expect(page.locator("nav a").first).to_be_visible()


def test_the_riders_link_opens_the_riders_screen_and_no_other(page, daemon):
    url, keys = daemon
    page.goto(f"{url}#key={keys.ride}")

    expect(page.get_by_role("heading", name="Rider", exact=True)).to_be_attached()
    expect(page.get_by_role("button", name="Stop")).to_be_attached()
    page.goto(f"{url}#client")
    expect(page.get_by_role("heading", name="Rider", exact=True)).to_be_attached()
    expect(page.locator("nav a").first).to_be_hidden()


def test_the_fitter_ends_the_riders_screen_from_the_page(page, daemon):
    url, keys = daemon
    riders = page.context.browser.new_context()
    screen = riders.new_page()
    screen.goto(f"{url}#key={keys.ride}")
    expect(screen.get_by_role("heading", name="Rider", exact=True)).to_be_attached()
    page.goto(f"{url}#key={keys.run}")
    page.get_by_text("More", exact=True).click()
    page.get_by_role("button", name="Keys, settings").click()
    expect(page.locator(".let-in li")).to_have_count(2)

    page.get_by_role("button", name="End: Rider’s screen").click()

    expect(page.locator(".let-in li")).to_have_count(1)
    expect(page.locator(".let-in li")).to_contain_text("this one")
    screen.reload()
    expect(screen.get_by_role("alert")).to_contain_text("open the link, or scan the code")
    riders.close()
