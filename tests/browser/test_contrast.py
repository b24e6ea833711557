"""Contrast of the colours of style.css, light and dark, by the formula of WCAG 2.2 (relative luminance)."""

import re

import pytest

TEXT = 4.5
"""WCAG 2.2, 1.4.3 Contrast (Minimum)."""
MARK = 3.0
"""WCAG 2.2, 1.4.11 Non-text Contrast; and large text, 1.4.3."""

PAIRS = [
    *((ink, ground, TEXT) for ink in ("ink", "ink-soft") for ground in ("paper", "plate", "sunk")),
    ("caution-ink", "caution", TEXT),
    ("stop-ink", "stop", TEXT),
    ("main-ink", "main", TEXT),
    ("onset", "plate", TEXT),
    ("onset", "onset-wash", MARK),
    ("hands", "onset-wash", MARK),
    ("ink", "onset-wash", TEXT),
    *((mark, "plate", MARK) for mark in ("hands", "saddle", "feet", "edge", "stop", "caution-edge")),
    ("edge", "paper", MARK),
]


def luminance(rgb):
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (each / 255 for each in rgb)]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_gives_21_for_black_on_white():
    # WCAG 2.2, definition of contrast ratio: from 1 to 21.
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21)


@pytest.fixture(scope="module", params=["light", "dark"])
def colours(request, chromium, address):
    """Every colour of style.css as the browser resolves it in one scheme."""
    page = chromium.new_page(color_scheme=request.param)
    page.goto(f"{address}/#plan")
    names = {name for pair in PAIRS for name in pair[:2]}
    resolved = page.evaluate(
        """(names) => Object.fromEntries(names.map((name) => {
          const probe = document.body.appendChild(document.createElement('i'));
          probe.style.color = `var(--${name})`;
          return [name, getComputedStyle(probe).color];
        }))""",
        sorted(names),
    )
    page.close()
    return {name: tuple(map(int, re.findall(r"\d+", colour)[:3])) for name, colour in resolved.items()}


def test_the_ground_of_a_button_changes_at_once_with_its_words(run):
    """A ground that fades while the words have changed is unreadable for as long, and so found now and then by axe."""
    lagging = """() => ["main", "stop", "plain"].flatMap((name) => {
      const button = document.querySelector(`.dock .${name}`);
      button.getBoundingClientRect();
      button.disabled = !button.disabled;
      return button.getAnimations().map((each) => `${name}: ${each.transitionProperty}`);
    })"""
    for place in (".who", ".dock .main"):
        run.page.hover(place, force=True)
        assert run.page.evaluate(lagging) == []


@pytest.mark.parametrize(("ink", "ground", "least"), PAIRS)
def test_ink_stands_out_from_its_ground(colours, ink, ground, least):
    assert contrast(colours[ink], colours[ground]) >= least
