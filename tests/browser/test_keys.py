"""The pedal and the keys of Run: what each sends, and what it must not."""

import pytest


def sent(desk):
    return [body for path, body in desk.asked if path == "sweep/events"]


def events(desk):
    return [body["event"] for body in sent(desk)]


def test_the_pedal_reaches_the_large_button_even_after_another_was_clicked(run):
    run.page.get_by_role("button", name="1 mm forward").click()
    run.page.keyboard.press("Space")
    run.wait(lambda: sent(run))

    (moved,) = sent(run)
    assert (moved["event"], moved["setback_mm"]) == ("saddle_moved", 39)


def test_ten_is_a_key_of_its_own_and_the_button_says_which(run):
    assert (
        run.page.get_by_role("region", name="What the rider says").get_by_role("button").nth(10).inner_text() == "10+"
    )


def test_the_pedal_reaches_the_large_button_after_a_setting_was_clicked(run):
    run.page.keyboard.press("?")
    run.page.get_by_text("One press for each part of a move").click()
    run.page.keyboard.press("?")
    run.wait(run.page.locator("#side").is_hidden)
    assert run.text(".main-words") == "Setback is 40"
    run.page.keyboard.press("Space")
    run.wait(lambda: run.text(".main-words") == "Height is 726")


def test_the_pedal_reaches_the_large_button_after_a_fold_was_clicked(run):
    run.page.get_by_text("Something else was set").click()
    run.page.keyboard.press("Space")
    run.wait(lambda: events(run))

    assert run.page.get_by_label("Saddle height, mm").is_visible()


def test_the_pedal_takes_a_number_just_typed_and_confirms(run):
    run.page.get_by_text("Something else was set").click()
    run.page.get_by_label("Saddle height, mm").fill("716")
    run.page.keyboard.press("Space")
    run.wait(lambda: run.asked)

    (moved,) = sent(run)
    assert (moved["event"], moved["setting"]) == ("saddle_moved", {"saddle_height_mm": 716})


def test_a_pedal_that_bounces_confirms_once(run):
    run.page.evaluate(
        """async () => {
          const press = () => document.body.dispatchEvent(new KeyboardEvent("keydown", { key: " ", bubbles: true }));
          press();
          await new Promise((later) => setTimeout(later, 200));
          press();
        }"""
    )
    run.page.keyboard.press("Escape")
    run.wait(lambda: len(run.asked) > 1)

    assert events(run) == ["saddle_moved", "stop"]


def test_a_button_reached_by_tab_takes_the_space_bar_itself(run):
    run.page.get_by_role("button", name="Pause").focus()
    run.page.keyboard.press("Space")
    run.wait(lambda: run.asked)

    assert events(run) == ["pause"]


def test_arrows_move_the_entry_the_way_the_saddle_goes(run):
    for key in ("ArrowRight", "Shift+ArrowLeft", "ArrowLeft"):
        run.page.keyboard.press(key)
    run.send()

    assert run.text(".entry-value") == "45"
    assert run.text(".main-words") == "Saddle is at 45 mm"


@pytest.mark.parametrize(("key", "event"), [("p", "pause"), ("r", "redo"), ("e", "enough"), ("Escape", "stop")])
def test_a_key_sends_its_event(run, key, event):
    run.page.keyboard.press(key)
    run.wait(lambda: run.asked)

    assert events(run) == [event]


def test_an_event_that_the_sweep_does_not_accept_is_not_sent(run):
    run.page.keyboard.press("u")
    run.page.keyboard.press("p")
    run.wait(lambda: run.asked)

    assert events(run) == ["pause"]
    assert run.page.get_by_role("button", name="Undo").is_disabled()


def test_scores_typed_faster_than_they_are_answered_all_arrive_each_with_its_question(run, messages):
    scored = {**messages["sweep"], "state": "averaging", "accepts": ["redo", "stop"], "noted_step": 4, "notes": {}}
    run.send(scored)
    given = {}

    def answer(score):
        given[score["what"]] = score["value"]
        return {**scored, "type": "sweep", "notes": dict(given)}

    run.answers["step-notes"] = answer
    run.slow(150)
    run.page.keyboard.type("345", delay=20)
    run.wait(lambda: len(given) == 3)

    said = [(body["what"], body["value"]) for path, body in run.asked if path == "step-notes"]
    assert said == [("hands", 3), ("saddle", 4), ("effort", 5)]


def test_a_second_press_of_the_pedal_never_confirms_what_was_not_shown_when_it_was_pressed(run, messages):
    release = run.hold()
    run.answers["sweep/events"] = {**messages["sweep"], "state": "waiting", "accepts": ["begin", "stop"]}
    run.page.keyboard.press("Space")
    run.page.wait_for_timeout(650)  # longer than a pedal bounces
    run.page.keyboard.press("Space")
    release()
    run.wait(lambda: run.page.get_by_role("button", name="Begin").is_visible())
    run.page.keyboard.press("Escape")
    run.wait(lambda: "stop" in events(run))

    assert events(run) == ["saddle_moved", "stop"], "the button said begin only afterwards"


def test_the_stop_does_not_wait_and_what_was_pressed_before_it_no_longer_counts(run):
    release = run.hold()
    run.page.keyboard.press("p")
    run.page.keyboard.press("r")
    run.page.keyboard.press("Escape")
    run.wait(lambda: "stop" in events(run))
    release()
    run.page.keyboard.press("h")
    run.wait(lambda: any(path == "marks" for path, _ in run.asked))

    assert events(run) == ["pause", "stop"]


def test_a_click_while_the_one_before_waits_for_its_answer_comes_after_it_and_pain_before_it(run):
    release = run.hold()
    for words in ("Coughed", "Hands moved", "Redo"):
        run.page.get_by_role("button", name=words).click()
        run.send()  # the page has drawn what waits
    release()
    run.wait(lambda: "redo" in events(run))
    assert [body["text"] for path, body in run.asked if path == "marks"] == ["coughed or talked", "hands moved"]

    release = run.hold()
    for words in ("Coughed", "Hands moved", "Pain N"):
        run.page.get_by_role("button", name=words).click()
        run.send()
    run.wait(lambda: run.asked[-1] == ("marks", {"text": "pain or numbness"}))
    release()
    run.send()
    marks = [body["text"] for path, body in run.asked if path == "marks"][2:]
    assert marks == ["coughed or talked", "pain or numbness"], "what was pressed before pain no longer counts"


def test_single_letters_can_be_turned_off_and_stop_stays(run):
    run.page.keyboard.press("?")
    run.page.get_by_label("Single-letter keys").click()
    run.page.get_by_role("button", name="Close").click()
    run.page.keyboard.press("r")
    run.page.keyboard.press("Escape")
    run.wait(lambda: events(run))

    assert events(run) == ["stop"]


def test_a_key_on_the_riders_screen_stops_but_confirms_nothing(desk, messages):
    at = desk().open(messages["snapshot"], "rider")
    at.send(messages["sweep"])
    for key in ("Space", "r", "Escape"):
        at.page.keyboard.press(key)
    at.wait(lambda: at.asked)

    assert events(at) == ["stop"]
