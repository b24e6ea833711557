"""What the page says when a client's agreement changes."""

import json
from pathlib import Path

ANSWERS = Path(__file__).parent / "answers.json"
"""What the daemon answered in one simulated job."""


def test_with_research_no_longer_agreed_to_the_exports_already_made_are_named(desk, messages):
    at = desk()
    answers = json.loads(ANSWERS.read_text())
    (client,) = answers["clients"]
    client["consents"]["research"] = True
    at.answers = {
        "clients": [client],
        "visit": answers["visit"],
        f"clients/{client['pseudonym']}/agreement": {
            **client,
            "exports": ["/srv/study-1", "/srv/study-2"],
            "unread": ["/srv/old"],
        },
    }
    at.open({**messages["snapshot"], "visit": answers["visit"]["visit"]}, screen="client")
    at.page.get_by_text("What was agreed, and until when records are kept").click()
    form = at.page.get_by_role("form", name="What was agreed")
    form.get_by_label("Agreed to use in studies, under the pseudonym").uncheck()
    sheet = form.get_by_role("link", name="Everything kept about them")
    assert sheet.get_attribute("href") == f"/api/v1/clients/{client['pseudonym']}/hand-over"
    form.get_by_role("button", name="Keep what was agreed").click()
    at.wait(lambda: form.get_by_text("/srv/study-1, /srv/study-2").count())

    said = form.get_by_role("status").inner_text()
    assert said.startswith("Kept. Already exported, to be deleted by hand:")
    assert said.endswith("exports made from backups that are gone or cannot be read: /srv/old")
    assert next(body for path, body in at.asked if path.endswith("/agreement"))["research"] is False
