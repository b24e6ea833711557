"""Text from elsewhere: what a terminal is shown, and what may be typed."""

import types
import typing

import pytest
from pydantic import AfterValidator, BaseModel, TypeAdapter, ValidationError

import daq.fit.case
import daq.live.web.api  # noqa: F401  every model of the address
from daq.rig import Rig
from daq.text import Line, Lines, checked_line, checked_lines, visible, visible_line

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
