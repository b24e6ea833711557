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
