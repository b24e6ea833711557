"""What sentences are made of."""

import ast
import itertools
import re
from pathlib import Path

import daq
from daq.words import counted, listed, with_minus_signs


def test_one_is_not_told_as_several():
    assert [counted(n, "page") for n in (0, 1, 2)] == ["0 pages", "1 page", "2 pages"]


def test_the_last_two_of_a_list_are_joined_by_a_word():
    assert [listed("abc"[:n]) for n in range(4)] == ["", "a", "a and b", "a, b and c"]
    assert listed("abc", "or") == "a, b or c"


def test_a_negative_number_gets_a_minus_sign_and_nothing_else_does():
    said = "-3 N at -0.5 mm (-2; 2026-03-04), 3-4 mm, off-axis"

    assert (
        with_minus_signs(said)
        == "\N{MINUS SIGN}3 N at \N{MINUS SIGN}0.5 mm (\N{MINUS SIGN}2; 2026-03-04), 3-4 mm, off-axis"
    )


def test_no_signed_number_with_decimals_can_read_minus_zero():
    """The option z of a format: docs.python.org/3/library/string.html, format specification mini-language."""
    without = []
    for path in Path(daq.__path__[0]).rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.FormattedValue) and isinstance(node.format_spec, ast.JoinedStr):
                spec = "".join(one.value for one in node.format_spec.values if isinstance(one, ast.Constant))
                without += [f"{path}:{node.lineno}"] if "+" in spec and spec.endswith("f") and "z" not in spec else []

    assert not without


COUNTED = (
    "chunk|scan|row|page|sweep|session|stroke|step|rider|day|visit|reading|position|check|minute|result|record|question|"
    "workshop|time"
)
SEVERAL = re.compile(rf" (?:(?:different|finished|other|second|usable|whole) )?(?:{COUNTED})s(?![\w.])")


def always_several(node):
    """Whether it is a constant: such a bound is never one."""
    return all(one.id.isupper() for one in ast.walk(node) if isinstance(one, ast.Name))


def is_exact(node):
    """Whether it is a whole number: "1.0 minutes" is right."""
    return node.format_spec is None or ast.unparse(node.format_spec).endswith(".0f'")


def test_no_count_can_read_one_steps():
    """What counts records, or parts of a ride, goes through `counted`."""
    without = []
    for path in Path(daq.__path__[0]).rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            for number, after in itertools.pairwise(node.values if isinstance(node, ast.JoinedStr) else ()):
                if isinstance(number, ast.FormattedValue) and isinstance(after, ast.Constant):
                    counts = SEVERAL.match(after.value) and is_exact(number) and not always_several(number.value)
                    without += [f"{path}:{number.lineno}: {after.value[:20]}"] if counts else []

    assert not without


def test_no_count_on_the_page_can_read_one_steps():
    page = Path(daq.__path__[0]).parent / "dashboard"
    counts = re.compile(rf"\$\{{[^{{}}]*?([\w.)\]]+)\}} (?:{COUNTED})s(?![\w.])")
    without = [
        f"{path}: {found[0]}"
        for path in [*page.glob("*.js"), *page.glob("screens/**/*.js")]
        for found in counts.finditer(path.read_text())
        if not found[1].isupper()
    ]

    assert not without
