"""A client who was entered twice, on the page."""

import json

from tests.browser.answers import ANSWERS


def test_what_joining_changes_is_told_first_and_it_can_be_parted_again(desk, messages):
    at = desk()
    answers = json.loads(ANSWERS.read_text())
    (client,) = answers["clients"]
    kept, other = ({**client, "pseudonym": name, "name": None} for name in ("R-ABC234", "R-DEF567"))
    would = {"said": ["R-ABC234 stays.", "Records are kept until 2036-11-24."]}
    at.answers = {**answers, "clients": [other, kept], "clients/R-ABC234/joined/R-DEF567": would}
    at.open({**messages["snapshot"], "visit": None, "sweep": None}, screen="client")
    at.page.get_by_text("One client entered twice?").click()
    join = at.page.get_by_role("button", name="Join the two")
    assert join.is_disabled()
    at.page.get_by_label("Keep", exact=True).select_option("R-ABC234")
    at.page.get_by_label("Is the same client").select_option("R-DEF567")
    at.wait(lambda: at.page.get_by_text("R-ABC234 stays.").count() and join.is_enabled())

    at.answers |= {
        "clients/R-ABC234/joined": {"said": ["Joined, says the daemon."]},
        "clients": [{**kept, "also": ["R-DEF567"]}],
    }
    join.click()
    at.wait(lambda: at.page.get_by_text("Joined, says the daemon.").count())
    assert ("clients/R-ABC234/joined", {"other": "R-DEF567"}) in at.asked
    assert at.page.get_by_text("1 visit · also R-DEF567").count() == 1

    at.answers |= {"clients/R-DEF567/joined": {"said": ["Apart, says the daemon."]}}
    at.page.get_by_role("button", name="Part R-DEF567 again").click()
    at.wait(lambda: at.page.get_by_text("Apart, says the daemon.").count())


def test_two_that_cannot_be_joined_are_refused_in_words(desk, messages):
    at = desk()
    answers = json.loads(ANSWERS.read_text())
    (client,) = answers["clients"]
    at.answers = {**answers, "clients": [client, {**client, "pseudonym": "R-DEF567"}]}
    at.open({**messages["snapshot"], "visit": None, "sweep": None}, screen="client")
    at.page.get_by_text("One client entered twice?").click()
    at.refusal = {"detail": "R-DEF567 cannot be joined with itself: name two clients"}
    for label in ("Keep", "Is the same client"):
        at.page.get_by_label(label, exact=True).select_option("R-DEF567")
    at.wait(lambda: at.page.get_by_text("cannot be joined with itself").count())

    assert at.page.get_by_role("button", name="Join the two").is_disabled()
