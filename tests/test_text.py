"""Text from elsewhere: what a terminal is shown, and what may be typed."""

import ast
import itertools
import re
import types
import typing
from pathlib import Path

import pytest
from pydantic import AfterValidator, BaseModel, TypeAdapter, ValidationError

import daq.fit.case
import daq.live.web.api
from daq.rig import Rig
from daq.text import Line, Lines, checked_line, checked_lines, visible, visible_line, with_minus_signs

ACTS = [*map(chr, range(32)), *map(chr, range(0x7F, 0xA0)), *"\u2028\u2029\u202a\u202e\u2066\u2069", "\ud800"]


@pytest.mark.parametrize("letter", [letter for letter in ACTS if letter not in "\n\t"])
def test_a_character_that_acts_is_shown_as_its_escape(letter):
    shown = visible(f"a{letter}b")

    assert shown.isascii()
    assert shown.startswith("a\\")
    assert int(shown[3:-1], 16) == ord(letter)


@pytest.mark.parametrize("mark", "\u061c\u200e\u200f")
def test_an_invisible_direction_mark_is_shown_and_may_be_typed(mark):
    assert visible(mark) == f"\\u{ord(mark):04x}"
    assert checked_line(mark) == mark


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


def test_ordinary_text_of_any_script_is_shown_as_it_is():
    text = "größer 72 mm\n\t\u05e9\u05dc\u05d5\u05dd \u4f60\u597d \U0001f6b4\U0001f3fd\u200d\u2640\ufe0f"

    assert visible(text) == text
    assert visible_line("a\nb\tc") == "a\\nb\\tc"


@pytest.mark.parametrize("letter", ACTS)
def test_a_name_with_a_character_that_acts_is_refused(letter):
    with pytest.raises(ValueError, match=r"without control characters; character 2 is \\"):
        checked_line(f"a{letter}b")


def test_a_note_may_have_lines_and_nothing_else_that_acts():
    assert checked_lines("one\ntwo\r\n\tthree") == "one\ntwo\r\n\tthree"
    with pytest.raises(ValueError, match="control"):
        checked_lines("bell\a")


def models(base=BaseModel):
    for model in base.__subclasses__():
        if model.__module__.startswith("daq."):
            yield model
        yield from models(model)


def plain_texts(annotation, metadata=()):
    """How many places for text the annotation has that nobody looks at."""
    if isinstance(annotation, typing.TypeAliasType if hasattr(typing, "TypeAliasType") else ()):
        return plain_texts(annotation.__value__, metadata)
    if typing.get_origin(annotation) is typing.Annotated:
        inner, *more = typing.get_args(annotation)
        return plain_texts(inner, (*metadata, *more))
    if annotation is str:
        metadata = [part for one in metadata for part in (one, *getattr(one, "metadata", ()))]  # Field holds its own
        looked = any(
            getattr(one, "pattern", None)
            or (isinstance(one, AfterValidator) and one.func in (checked_line, checked_lines))
            for one in metadata
        )
        return 0 if looked else 1
    if typing.get_origin(annotation) in (typing.Literal, None) and not isinstance(annotation, types.UnionType):
        return 0
    return sum(plain_texts(argument, metadata) for argument in typing.get_args(annotation))


FROM_FILES = ("daq.keep.received",)
"""What is computed with, and shown only through what makes text visible."""


@pytest.mark.parametrize(
    "model", sorted({m for m in models() if m.__module__ not in FROM_FILES}, key=lambda m: m.__qualname__)
)
def test_every_text_of_a_form_a_command_or_a_rig_file_is_looked_at(model):
    hints = typing.get_type_hints(model, include_extras=True)
    unseen = [
        name for name, field in model.model_fields.items() if plain_texts(hints[name], tuple(field.metadata or ()))
    ]

    assert not unseen, f"{model.__module__}.{model.__name__}: use daq.text.Line or Lines for {', '.join(unseen)}"


def test_the_walk_over_the_models_sees_them_and_a_text_that_nobody_looks_at():
    assert {"Mark", "NewClient", "Decision", "Wanted", "Rig"} <= {model.__name__ for model in models()}
    assert issubclass(Rig, BaseModel)
    assert plain_texts(str) == plain_texts(str | None) == plain_texts(tuple[str, ...]) == 1
    assert plain_texts(Line) == plain_texts(dict[Line, float]) == plain_texts(Lines | None) == 0
    with pytest.raises(ValidationError):
        TypeAdapter(Line).validate_python("\x00")
