"""No two texts lie on each other, none is cut off, and axe is content: every screen and state, four sizes."""

import pytest

from tests.browser.axe import faults
from tests.browser.gallery import VIEWS
from tests.browser.shots import SIZES, STATES, sent

FOUND = """() => {
  const texts = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const layer = (e) => (e.closest("#side") ? 2 : e.closest(".dock, .messages, .band, .more > nav, .strip") ? 1 : 0);
  const over = (e) => e.closest(".step-card, .chosen .page-end");
  // What is scrolled out of sight lies on nothing.
  const shown = (of, r) => {
    for (let e = of; e; e = e.parentElement) {
      if (!/auto|scroll/.test(getComputedStyle(e).overflowY)) continue;
      const box = e.getBoundingClientRect();
      r = { ...r, top: Math.max(r.top, box.top), bottom: Math.min(r.bottom, box.bottom) };
    }
    return r;
  };
  while (walk.nextNode()) {
    const node = walk.currentNode, of = node.parentElement;
    if (!node.textContent.trim() || !of.checkVisibility({ visibilityProperty: true, opacityProperty: true })) continue;
    if (of.closest(".unseen, option, script, style") || getComputedStyle(of).clipPath !== "none") continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    // A font's box is higher than its figures: a third of it is air above and below them.
    const air = parseFloat(getComputedStyle(of).fontSize) * 0.17;
    for (const each of range.getClientRects()) {
      const { left, right, top, bottom } = each;
      const r = shown(of, { left, right, top: top + air, bottom: bottom - air });
      const seen = r.right - r.left > 1 && r.bottom - r.top > 1;
      if (seen) texts.push({ text: node.textContent.trim().slice(0, 40), of, r });
    }
  }
  const wrong = [];
  for (const [i, a] of texts.entries()) {
    for (let e = a.of; e && e !== document.body; e = e.parentElement) {
      const style = getComputedStyle(e);
      if (style.textOverflow === "ellipsis") break;
      if (style.overflowX === "visible" && style.overflowY === "visible") continue;
      if (/auto|scroll/.test(style.overflowY + style.overflowX)) break;
      const box = e.getBoundingClientRect();
      if (a.r.right > box.right + 2 || a.r.bottom > box.bottom + 4 || a.r.left < box.left - 2 || a.r.top < box.top - 4)
        wrong.push(`cut off: ${a.text} in ${e.className}`);
      break;
    }
    for (const b of texts.slice(i + 1)) {
      const w = Math.min(a.r.right, b.r.right) - Math.max(a.r.left, b.r.left);
      const h = Math.min(a.r.bottom, b.r.bottom) - Math.max(a.r.top, b.r.top);
      const low = Math.min(a.r.bottom - a.r.top, b.r.bottom - b.r.top);
      if (w <= 2 || h <= 0.25 * low) continue;
      if (a.of.contains(b.of) || b.of.contains(a.of) || over(a.of) !== over(b.of)) continue;
      if (layer(a.of) === layer(b.of)) wrong.push(`on each other: ${a.text} | ${b.text}`);
    }
  }
  return [...new Set(wrong)];
}"""


@pytest.mark.parametrize("screen", ["run", "rider"])
def test_no_text_lies_on_another_or_is_cut_off(desk, messages, screen):
    at = desk().open(messages["snapshot"], screen)
    wrong = {}
    for size, (width, height) in SIZES.items():
        at.resize(width, height)
        for state in STATES:
            at.send(*sent(messages, state))
            found = at.page.evaluate(FOUND)
            if found:
                wrong[size, state] = found

    assert wrong == {}


@pytest.mark.parametrize("name", VIEWS)
def test_no_screen_has_texts_on_each_other_or_cut_off_or_faults_for_axe(desk, messages, name):
    at = desk()
    VIEWS[name](at, messages)
    wrong = {}
    for size, (width, height) in {**SIZES, "low": (1366, 768)}.items():
        at.resize(width, height)
        found = at.page.evaluate(FOUND)
        if at.page.evaluate("document.documentElement.scrollWidth") > width:
            found.append("wider than the screen")
        if found:
            wrong[size] = found
    for scheme, size in (("light", "phone"), ("dark", "laptop")):
        at.page.emulate_media(color_scheme=scheme)
        at.resize(*SIZES[size])
        wrong |= {f"{scheme} {rule}": broken for rule, broken in faults(at.page).items()}
    at.page.emulate_media(color_scheme="light")

    assert wrong == {}


def test_everything_kept_about_a_client_is_said_in_words(desk, messages):
    at = desk()
    VIEWS["hand-over"](at, messages)
    said = at.text("body")

    assert "the fitting and its records: yes" in said
    assert "70 mm" in said.split("bottom bracket below the axles")[1][:40]
    assert not [name for name in ("com x", "bb drop", "recheck", "traded", "service") if name in said]
