"""What the log says, and what it must not."""

import datetime
import json
import logging
import sys

import pytest

from daq.live.logs import _Formatter, fields_of, numbered


def record(message="request", *arguments, error=None, **extra):
    made = logging.LogRecord("foreaft.web", logging.WARNING, __file__, 1, message, arguments, error)
    for name, value in extra.items():
        setattr(made, name, value)
    return made


def raised(error):
    """The exc_info of an error that has been raised."""
    try:
        raise error
    except type(error):
        return sys.exc_info()


def test_a_line_is_one_json_object_with_the_time_in_utc_as_rfc_3339_has_it():
    made = record(method="POST", route="/api/v1/marks", status=201)

    line = _Formatter("json").format(made)

    found = json.loads(line)
    assert "\n" not in line
    assert found["time"].endswith("Z")
    assert datetime.datetime.fromisoformat(found["time"]).timestamp() == pytest.approx(made.created, abs=0.002)
    assert (found["level"], found["method"], found["status"]) == ("warning", "POST", 201)


def test_what_is_not_on_the_list_is_not_written():
    found = fields_of(record(name_of_client="Ada Example", body={"name": "Ada"}))

    assert "Ada" not in json.dumps(found)


def test_lines_of_one_request_have_its_number():
    with numbered() as number:
        inside = fields_of(record())

    assert inside["request"] == number
    assert "request" not in fields_of(record())


@pytest.mark.parametrize("form", ["json", "words"])
def test_an_error_is_told_by_kind_and_place_without_its_text_which_may_quote_what_was_typed(form):
    error = raised(ValueError("name: expected letters, got 'Ada Example'"))

    line = _Formatter(form).format(record("Exception in the application\nAda Example", error=error))

    assert "Ada" not in line
    assert "ValueError" in line
    assert "test_logs.py" in line


def test_the_reason_the_system_gives_is_told():
    found = fields_of(record(error=raised(OSError(28, "No space left on device", "/home/ada"))))

    assert found["reason"] == "No space left on device"
    assert "ada" not in json.dumps(found["reason"])


@pytest.mark.parametrize("form", ["json", "words"])
def test_no_value_makes_a_line_or_a_field_of_its_own(form):
    evil = "x\n2026-01-01T00:00:00.000Z error forged\r\x1b[2J  status=200"

    line = _Formatter(form).format(record("request", why=evil, status=500))

    assert line.isprintable()
    if form == "json":
        assert json.loads(line)["why"] == evil
    else:
        assert line.endswith('status=500  why="x\\n2026-01-01T00:00:00.000Z error forged\\r\\u001b[2J  status=200"')


@pytest.mark.parametrize("value", ["status=200", 'x"', "two words", ""])
def test_a_value_that_could_be_taken_for_a_field_is_quoted(value):
    assert _Formatter("words").format(record(why=value)).endswith(f"why={json.dumps(value)}")


def test_a_message_of_a_library_makes_no_line_of_its_own_either():
    assert _Formatter("words").format(record("first\nsecond\x9b")).endswith("warning first\\nsecond\\x9b")


def test_arguments_are_put_into_a_message_of_our_own_and_not_into_that_of_an_error():
    told = fields_of(record("%d scans of %s", 25, "board"))
    failed = fields_of(record("failed on %r", "Ada Example", error=raised(ValueError("no"))))

    assert told["message"] == "25 scans of board"
    assert failed["message"] == "failed on %r"


def test_an_error_from_deep_inside_is_told_by_its_last_eight_places():
    def deep(calls):
        return 1 / 0 if calls == 0 else deep(calls - 1)

    try:
        deep(20)
    except ZeroDivisionError:
        found = fields_of(record(error=sys.exc_info()))

    assert len(found["at"]) == 8
    assert all(place.endswith("deep") for place in found["at"])
