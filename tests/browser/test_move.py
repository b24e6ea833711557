"""What was set otherwise than asked: the fields of the move card, what they show, and what they refuse."""

import pytest

FIELDS = ("Saddle height, mm", "Bar ahead of the BB, mm", "Bar above the BB, mm", "Tilt of the saddle, °")
CAUTION = {"type": "notice", "level": "caution", "t_s": 300.0, "text": "The reach did not change evenly. " * 6}
REACHED = """(input) => {
  const box = input.getBoundingClientRect();
  const inside = [box.top + 2, box.bottom - 2].every((y) => input.contains(document.elementFromPoint(box.left + 5, y)));
  return inside && input === document.activeElement;
}"""
"""Whether the field has the focus and nothing lies on it or cuts it off."""


def unfold(at):
    at.page.get_by_text("Something else was set").click()
    return at.page.get_by_label("Bar ahead of the BB, mm")


def sent(at):
    return [body for path, body in at.asked if path == "sweep/events"]


@pytest.mark.parametrize("size", [(1280, 800), (390, 844)])
@pytest.mark.parametrize("said", [(), (CAUTION,)])
def test_every_field_of_a_correction_comes_into_view(run, size, said):
    run.resize(*size)
    run.send(*said)
    unfold(run)

    for name in FIELDS:
        run.page.get_by_label(name).focus()
        assert run.page.get_by_label(name).evaluate(REACHED), name


def test_at_a_desk_every_field_of_a_correction_is_seen_at_once(run):
    unfold(run)
    bottom = run.page.locator(".now").evaluate("(now) => now.getBoundingClientRect().bottom")

    boxes = [run.page.get_by_label(name).bounding_box() for name in FIELDS]
    assert max(box["y"] + box["height"] for box in boxes) <= bottom


def test_a_wheel_brings_up_what_finds_no_room(run):
    run.resize(1280, 620)
    unfold(run)
    now = run.page.locator(".now")
    now.evaluate("(now) => now.scrollTo(0, 0)")  # the click on the fold may have scrolled by itself
    run.page.mouse.move(200, 250)
    run.page.mouse.wheel(0, 1000)

    run.wait(lambda: now.evaluate("(now) => now.scrollTop > 0"))


def test_the_same_setback_again_shows_nothing_of_the_step_before(run, messages):
    """A sham step: the saddle goes back to where it was."""
    bar = unfold(run)
    bar.fill("900")
    bar.blur()
    moving = messages["sweep"]
    run.send({**moving, "state": "settling", "accepts": ["undo", "stop"]}, {**moving, "step": moving["step"] + 1})

    assert run.page.locator(".figure-value").all_inner_texts()[2] == "590"
    assert bar.input_value() == "590"


def test_what_is_undone_is_no_longer_in_the_fields(run, messages):
    bar = unfold(run)
    bar.fill("900")
    bar.blur()
    run.page.keyboard.press("Space")
    run.wait(lambda: sent(run))
    run.send({**messages["sweep"], "state": "settling", "accepts": ["undo", "stop"]}, messages["sweep"])

    assert bar.input_value() == "590"
    unfold(run)
    run.page.wait_for_timeout(650)  # a press sooner than 0.6 s is taken for a pedal that bounced
    run.page.keyboard.press("Space")
    run.wait(lambda: len(sent(run)) > 1)
    assert sent(run)[1]["setting"] == {}


def test_a_step_that_is_asked_again_before_it_was_ridden_forgets_the_correction_of_the_next(run, messages):
    """A redo while the saddle moves: the sweep goes from moving to moving, to the same setback."""
    bar = unfold(run)
    bar.fill("900")
    bar.blur()
    run.send({**messages["sweep"], "step": messages["sweep"]["step"] - 1})

    assert (bar.input_value(), run.page.locator(".figure-value").all_inner_texts()[2]) == ("590", "590")


def test_an_emptied_field_is_as_planned_and_says_so(run):
    bar = unfold(run)
    bar.fill("900")
    bar.blur()
    bar.fill("")
    bar.blur()
    run.send()

    assert bar.input_value() == "590"


@pytest.mark.parametrize("press", ["pedal", "button"])
def test_what_is_no_number_is_not_taken_as_planned(run, press):
    bar = unfold(run)
    bar.fill("abc")
    if press == "pedal":
        run.page.keyboard.press("Space")
    else:
        run.page.locator(".dock .main").click()
    wrong = run.page.locator("#set-bar_x_mm-wrong")
    run.wait(wrong.is_visible)

    assert wrong.inner_text() == "Bar ahead of the BB, mm: expected a number, got abc"
    assert bar.evaluate("(input) => input === document.activeElement")
    assert bar.input_value() == "abc"
    bar.fill("585,5")
    assert not wrong.is_visible()
    run.page.wait_for_timeout(650)  # a press sooner than 0.6 s is taken for a pedal that bounced
    run.page.keyboard.press("Space")
    run.wait(lambda: sent(run))
    assert [body["setting"] for body in sent(run)] == [{"bar_x_mm": 585.5}]


def test_a_fold_that_hides_what_is_no_number_opens_for_it(run):
    bar = unfold(run)
    bar.fill("abc")
    unfold(run)
    assert not bar.is_visible()
    run.page.keyboard.press("Space")
    run.wait(bar.is_visible)

    assert bar.evaluate("(input) => input === document.activeElement")
    run.send()
    assert sent(run) == []


def test_no_part_is_ticked_while_a_field_holds_no_number(run):
    run.page.keyboard.press("?")
    run.page.get_by_label("One press for each part of a move").check()
    run.page.get_by_role("button", name="Close").click()
    unfold(run).fill("abc")
    run.page.keyboard.press("Space")
    run.send()

    assert run.text(".main-words") == "Setback is 40"


def test_a_stop_needs_no_number(run):
    unfold(run).fill("abc")
    run.page.keyboard.press("Escape")
    run.wait(lambda: sent(run))

    assert [body["event"] for body in sent(run)] == ["stop"]


AT_41 = {
    "setback_mm": 41.0,
    "saddle_height_mm": 725.4,
    "bar_x_mm": 589.0,
    "bar_y_mm": 660.3,
    "saddle_tilt_deg": -1.0,
    "reach_change_mm": 0.0,
    "drop_change_mm": 0.0,
}
"""What the daemon asks for one millimetre behind the requested setback."""


def figures(at):
    return at.page.locator(".figure-value").all_inner_texts()


def test_height_and_bar_are_those_of_the_setback_entered_before_it_is_confirmed_and_are_confirmed_so(run):
    run.answers["sweep/place?setback_mm=41"] = AT_41
    bar = unfold(run)
    run.page.keyboard.press("ArrowLeft")
    run.wait(lambda: figures(run) == ["41", "725", "589"])
    assert run.page.locator(".figure-change").all_inner_texts()[2] == "19 ahead"
    assert bar.input_value() == "589"
    run.page.keyboard.press("Space")
    run.wait(lambda: sent(run))

    assert sent(run)[0]["setting"] == {"saddle_height_mm": 725.4, "bar_x_mm": 589, "bar_y_mm": 660.3}


def test_back_at_the_requested_setback_its_own_height_and_bar_stand_there_again(run):
    run.answers["sweep/place?setback_mm=41"] = AT_41
    run.page.keyboard.press("ArrowLeft")
    run.wait(lambda: figures(run)[0] == "41")
    run.page.keyboard.press("ArrowRight")
    run.wait(lambda: figures(run) == ["40", "726", "590"])


def test_until_the_daemon_has_said_what_belongs_there_no_other_number_stands_in_and_none_is_confirmed(run):
    release = run.hold()
    run.answers["sweep/place?setback_mm=41"] = AT_41
    run.page.keyboard.press("ArrowLeft")
    run.wait(lambda: figures(run) == ["41", "–", "–"])
    run.page.keyboard.press("Space")
    run.wait(lambda: sent(run))
    assert (sent(run)[0]["setback_mm"], sent(run)[0]["setting"]) == (41, {})
    release()


def test_what_belongs_to_the_setback_entered_ends_with_the_position(run, messages):
    run.answers["sweep/place?setback_mm=41"] = AT_41
    run.page.keyboard.press("ArrowLeft")
    run.wait(lambda: figures(run)[1] == "725")
    moving = messages["sweep"]
    there = {**moving["target"], "saddle_height_mm": 730.0}
    release = run.hold()
    run.send({**moving, "step": moving["step"] + 1, "target": there})
    run.page.keyboard.press("ArrowLeft")
    run.wait(lambda: figures(run)[:2] == ["41", "–"])
    release()
