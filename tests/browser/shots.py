"""Pictures of every screen in every state, to look at: python -m tests.browser.shots FOLDER [PART ...]

A part is some of a picture's name: laptop-dark, run-move.
"""

import json
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

from daq.sweep.run import State, fitter_may
from tests.browser.desk import CHROMIUM_ARGS, ROOT, Desk, Screens, serve_dashboard
from tests.browser.gallery import VIEWS
from tests.chromium import chromium_path

SIZES = {"laptop": (1280, 800), "wide": (1920, 1080), "tablet": (834, 1112), "phone": (390, 844)}
SET = {"setback_mm": 50.0, "saddle_height_mm": 723.0, "bar_x_mm": 580.0, "bar_y_mm": 660.0}
RIDDEN = {"dwell_left_s": 16.0, "setback_mm": 50.0, "why_waiting": "", "set": SET}
OUTLOOK = {
    "smallest_n_per_mm": 0.6,
    "sentence": "with this scatter a rise below 0.60 N/mm would be found less than half the time in the 6 minutes left",
    "would_help": ["dwells of 50 s, 4 min more, would bring it down to 0.50 N/mm"],
}
STATES = {
    "ready": (State.WAITING, {}),
    "move": (State.MOVING, {}),
    "settle": (State.SETTLING, {"settle_left_s": 4.0, "why_waiting": "", "set": SET}),
    "record": (State.AVERAGING, RIDDEN),
    "early": (State.AVERAGING, {**RIDDEN, "sweep_id": 2, "outlook": OUTLOOK}),
    "waits": (State.AVERAGING, {**RIDDEN, "in_band": False, "why_waiting": "less effort: bring the power to 200 W"}),
    "fault": (State.AVERAGING, RIDDEN),
    "pain": (State.PAUSED, {"pain": True}),
    "rest": (State.PAUSED, {}),
    "over": (State.STOPPED, {"over": "chest pain"}),
    "done": (State.FINISHED, {}),
}
LIKELIHOOD = {
    "rear_mm": 80.0,
    "step_mm": 1.0,
    "log_l": [-0.5 * ((80.0 - i - 52.4) / 3.0) ** 2 for i in range(51)],
    "log_light": -9.0,
    "log_loaded": -9.0,
}
LOADS_N = ((80.0, 78.2), (70.0, 77.9), (60.0, 78.8), (50.0, 83.0))


def sent(messages, name):
    """What the daemon sends when the ride is in this state."""
    state, fields = STATES[name]
    sweep = {**messages["sweep"], "state": str(state), "accepts": [str(e) for e in fitter_may(state)], **fields}
    steps = [
        {**messages["snapshot"]["steps"][0], "index": i, "setback_mm": mm, "hand_load_n": n}
        for i, (mm, n) in enumerate(LOADS_N)
    ]
    board, power = messages["sources"]["sources"]
    if name == "fault":
        board = {**board, "state": "stale", "age_s": 4.0}
    return (
        {**messages["sources"], "sources": [board, power]},
        messages["stroke"],
        sweep,
        {"type": "steps", "steps": steps},
        *([] if name == "early" else [{**messages["onset"], "likelihood": LIKELIHOOD}]),
    )


def take(folder: Path, parts: list[str]) -> None:
    """One picture a state, size and scheme."""
    messages = {one["type"]: one for one in json.loads((ROOT / "tests/live/messages.json").read_text())}
    folder.mkdir(parents=True, exist_ok=True)
    names = [(size, scheme, screen) for size in SIZES for scheme in ("light", "dark") for screen in ("run", "rider")]
    with serve_dashboard() as address, sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=chromium_path(), args=CHROMIUM_ARGS)
        screens = Screens(chromium, address)
        for size, scheme, screen in names:
            wanted = [s for s in STATES if not parts or any(p in f"{size}-{scheme}-{screen}-{s}" for p in parts)]
            if not wanted:
                continue
            width, height = SIZES[size]
            desk = Desk(screens, address, viewport={"width": width, "height": height}, color_scheme=scheme)
            desk.open(messages["snapshot"], screen)
            for state in wanted:
                desk.send(*sent(messages, state))
                desk.page.screenshot(path=folder / f"{size}-{scheme}-{screen}-{state}.png")
            desk.close()
        for size, scheme in [(size, scheme) for size in SIZES for scheme in ("light", "dark")]:
            for name in [one for one in VIEWS if not parts or any(p in f"{size}-{scheme}-{one}" for p in parts)]:
                width, height = SIZES[size]
                desk = Desk(screens, address, viewport={"width": width, "height": height}, color_scheme=scheme)
                VIEWS[name](desk, messages)
                desk.page.screenshot(path=folder / f"{size}-{scheme}-{name}.png", full_page=True)
                desk.close()


if __name__ == "__main__":
    take(Path(sys.argv[1]), sys.argv[2:])
