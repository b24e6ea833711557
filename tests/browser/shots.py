"""Pictures of Run and of the rider's screen in every state, to look at: python -m tests.browser.shots FOLDER"""

import json
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

from daq.sweep.run import State
from tests.browser.conftest import CHROMIUM_ARGS, ROOT, Desk, serve_dashboard
from tests.browser.test_page import sweep_in
from tests.chromium import chromium_path

SIZES = {"laptop": (1280, 800), "wide": (1920, 1080), "tablet": (834, 1112), "phone": (390, 844)}
STATES = {
    "move": (State.MOVING, {}),
    "settle": (State.SETTLING, {"settle_left_s": 4.0}),
    "record": (
        State.AVERAGING,
        {
            "dwell_left_s": 16.0,
            "setback_mm": 50.0,
            "why_waiting": "",
            "set": {"setback_mm": 50.0, "saddle_height_mm": 723.0, "bar_x_mm": 580.0, "bar_y_mm": 660.0},
        },
    ),
    "waits": (
        State.AVERAGING,
        {
            "dwell_left_s": 16.0,
            "in_band": False,
            "why_waiting": "a little less effort: bring the power to 200 W at 90 rpm",
        },
    ),
    "pain": (State.PAUSED, {"pain": True}),
    "rest": (State.PAUSED, {}),
    "ready": (State.WAITING, {}),
    "done": (State.FINISHED, {}),
    "fault": (State.AVERAGING, {"dwell_left_s": 16.0}),
}


def take(folder: Path, only: list[str]) -> None:
    """One picture a state, size and scheme."""
    messages = {one["type"]: one for one in json.loads((ROOT / "tests/live/messages.json").read_text())}
    folder.mkdir(parents=True, exist_ok=True)
    with serve_dashboard() as address, sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=chromium_path(), args=CHROMIUM_ARGS)
        for size, (width, height) in SIZES.items():
            for scheme in ("light", "dark"):
                for screen in ("run", "rider"):
                    for name, (state, fields) in STATES.items():
                        if only and f"{size}-{scheme}-{screen}-{name}" not in only and size not in only:
                            continue
                        desk = Desk(chromium, address, viewport={"width": width, "height": height}, color_scheme=scheme)
                        steps = [
                            dict(messages["step"], index=i, setback_mm=mm, hand_load_n=n)
                            for i, (mm, n) in enumerate([(80, 78.2), (70, 77.9), (60, 78.8), (50, 83.0)])
                        ]
                        desk.open({**messages["snapshot"], "steps": steps}, screen)
                        sources = messages["sources"]
                        if name == "fault":
                            sources = {
                                **sources,
                                "sources": [
                                    {**sources["sources"][0], "state": "stale", "age_s": 4.0},
                                    sources["sources"][1],
                                ],
                            }
                        desk.send(sources, messages["stroke"], sweep_in(messages, state, **fields))
                        if name in ("done", "record", "move"):
                            desk.send(messages["onset"])
                        desk.page.screenshot(path=folder / f"{size}-{scheme}-{screen}-{name}.png")
                        desk.context.close()


if __name__ == "__main__":
    take(Path(sys.argv[1]), sys.argv[2:])
