"""A Calibration as plain content for JSON, and back, exactly: floats survive to the last bit.

A wrong key is named with its path, what was expected and what was found.
"""

from __future__ import annotations

import math
import reprlib
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from daq.measure.calibration.board import Board, Converter
from daq.measure.calibration.model import CalibratedChannel, Calibration, CalibrationError, TiltTare
from daq.measure.calibration.uncertainty import Term, Uncertainty
from daq.text import checked_lines

FORMAT = 1
"""Version of this layout; a file with a later one is refused."""
LARGEST = 1e15
"""The largest number allowed: far above 32-bit counts in any unit. The cube of a larger one would overflow."""
LONGEST_TEXT, LONGEST_LIST = 2000, 256


def to_dict(calibration: Calibration) -> dict[str, Any]:
    """Content of lists, texts and numbers that JSON preserves exactly."""
    plain = {"format": FORMAT, **asdict(calibration)}
    return {key: lists_of(value) for key, value in plain.items()}


def from_dict(content: Any) -> Calibration:
    """The calibration a content describes. Raises CalibrationError that names the wrong place."""
    top = _table(content, "calibration")
    if top.get("format") != FORMAT:
        raise CalibrationError(
            f"calibration: format: expected {FORMAT}, got {reprlib.repr(top.get('format'))}; a calibration of this "
            "program says its format, and a later format needs a later version of the program"
        )
    _only(top, "calibration", ("format", "id", "made_utc", "channels", "crosstalk", "simulated", "board"))
    channels = _list(top, "channels", "calibration")
    matrix, board = top.get("crosstalk"), top.get("board")
    return Calibration(
        id=_text(top, "id", "calibration"),
        made_utc=_text(top, "made_utc", "calibration"),
        channels=tuple(_channel(entry, f"channels[{i}]") for i, entry in enumerate(channels)),
        crosstalk=None if matrix is None else _matrix(matrix),
        simulated=_flag(top, "simulated", "calibration"),
        board=None if board is None else board_from(board),
    )


def board_from(content: Any) -> Board:
    """The board a content describes. Raises CalibrationError that names the wrong place."""
    table = _table(content, "board")
    _only(table, "board", tuple(Board.__dataclass_fields__))
    return Board(
        _text(table, "board_id", "board"),
        tuple(
            _converter(entry, f"board.converters[{i}]") for i, entry in enumerate(_list(table, "converters", "board"))
        ),
    )


def _converter(content: Any, where: str) -> Converter:
    table = _table(content, where)
    _only(table, where, tuple(Converter.__dataclass_fields__))
    gain = _number(table, "gain", where)
    return Converter(_text(table, "name", where), int(gain), _optional(table, "units_per_count", where))


def _channel(content: Any, where: str) -> CalibratedChannel:
    table = _table(content, where)
    _only(table, where, tuple(CalibratedChannel.__dataclass_fields__))
    tare, uncertainty = table.get("tare"), table.get("uncertainty")
    return CalibratedChannel(
        name=_text(table, "name", where),
        kind=_text(table, "kind", where),  # type: ignore[arg-type]  # CalibratedChannel checks it
        coefficients=_numbers(table.get("coefficients", []), f"{where}.coefficients"),
        zero_counts=_number(table, "zero_counts", where, 0.0),
        span=_pair(table, "span", where),
        span_counts=_pair(table, "span_counts", where),
        uncertainty=None if uncertainty is None else _uncertainty(uncertainty, f"{where}.uncertainty"),
        tare=None if tare is None else _tare(tare, f"{where}.tare"),
    )


def _tare(content: Any, where: str) -> TiltTare:
    table = _table(content, where)
    _only(table, where, tuple(TiltTare.__dataclass_fields__))
    covered = _pair(table, "covered_deg", where)
    if covered is None:
        raise CalibrationError(f"{where}: covered_deg: missing; expected the lowest and highest tilt")
    names = ("constant_n", "cosine_n", "sine_n")
    numbers = {name: _number(table, name, where) for name in names}
    return TiltTare(**numbers, covered_deg=covered, residual_sd_n=_number(table, "residual_sd_n", where, 0.0))


def _uncertainty(content: Any, where: str) -> Uncertainty:
    table = _table(content, where)
    _only(table, where, tuple(Uncertainty.__dataclass_fields__))
    fit = _numbers(table.get("fit", [0.0, 0.0, 0.0]), f"{where}.fit")
    if len(fit) != 3:
        raise CalibrationError(f"{where}.fit: expected 3 numbers, got {len(fit)}")
    terms = tuple(_term(entry, f"{where}.terms[{i}]") for i, entry in enumerate(_list(table, "terms", where)))
    try:
        return Uncertainty(terms, fit, _optional(table, "fit_dof", where))
    except ValueError as error:
        raise CalibrationError(f"{where}: {error}") from error


def _term(content: Any, where: str) -> Term:
    table = _table(content, where)
    _only(table, where, tuple(Term.__dataclass_fields__))
    try:
        return Term(
            name=_text(table, "name", where),
            absolute_n=_number(table, "absolute_n", where, 0.0),
            relative=_number(table, "relative", where, 0.0),
            dof=_optional(table, "dof", where),
            shared=_flag(table, "shared", where),
            shape=_text(table, "shape", where, "normal"),  # type: ignore[arg-type]  # Term checks it
            note=_text(table, "note", where, ""),
            curve=tuple(_numbers(pair, f"{where}.curve[{i}]") for i, pair in enumerate(table.get("curve", ()))),
            closed=_flag(table, "closed", where),
        )
    except CalibrationError:
        raise
    except ValueError as error:
        raise CalibrationError(f"{where}: {error}") from error


def lists_of(value: Any) -> Any:
    """Tuples as lists, as JSON gives them back."""
    if isinstance(value, dict):
        return {key: lists_of(inner) for key, inner in value.items()}
    return [lists_of(inner) for inner in value] if isinstance(value, (list, tuple)) else value


def _table(content: Any, where: str) -> Mapping[str, Any]:
    if not isinstance(content, Mapping):
        raise CalibrationError(f"{where}: expected a table of keys, got {type(content).__name__}")
    return content


def _only(table: Mapping[str, Any], where: str, known: tuple[str, ...]) -> None:
    strange = sorted(str(key) for key in table if key not in known)
    if strange:
        raise CalibrationError(f"{where}: unknown key {', '.join(strange)}; expected {', '.join(known)}")


def _list(table: Mapping[str, Any], key: str, where: str) -> list[Any]:
    value = table.get(key)
    if not isinstance(value, (list, tuple)):
        raise CalibrationError(f"{where}: {key}: expected a list, got {reprlib.repr(value)}")
    if len(value) > LONGEST_LIST:
        raise CalibrationError(f"{where}: {key}: expected at most {LONGEST_LIST} entries, got {len(value)}")
    return list(value)


def _text(table: Mapping[str, Any], key: str, where: str, default: str | None = None) -> str:
    value = table.get(key, default)
    if not isinstance(value, str):
        raise CalibrationError(f"{where}: {key}: expected a text, got {reprlib.repr(value)}")
    if len(value) > LONGEST_TEXT:
        raise CalibrationError(f"{where}: {key}: expected at most {LONGEST_TEXT} letters, got {len(value)}")
    try:
        return checked_lines(value)
    except ValueError as error:
        raise CalibrationError(f"{where}: {key}: expected {error}") from error


def _flag(table: Mapping[str, Any], key: str, where: str) -> bool:
    value = table.get(key, False)
    if not isinstance(value, bool):
        raise CalibrationError(f"{where}: {key}: expected true or false, got {reprlib.repr(value)}")
    return value


def _number(table: Mapping[str, Any], key: str, where: str, default: float | None = None) -> float:
    return _as_number(table.get(key, default), f"{where}: {key}")


def _optional(table: Mapping[str, Any], key: str, where: str) -> float | None:
    return None if table.get(key) is None else _number(table, key, where)


def _as_number(value: Any, where: str) -> float:
    if (
        isinstance(value, bool)
        or not isinstance(value, (int, float))
        or value in (math.inf, -math.inf)
        or value != value
    ):
        raise CalibrationError(f"{where}: expected a finite number, got {reprlib.repr(value)}")
    if not -LARGEST <= value <= LARGEST:  # math.isfinite would fail on a whole number of 400 digits
        raise CalibrationError(f"{where}: expected at most {LARGEST:g}, got {reprlib.repr(value)}")
    return float(value)


def _numbers(value: Any, where: str) -> tuple[Any, ...]:
    if not isinstance(value, (list, tuple)):
        raise CalibrationError(f"{where}: expected a list of numbers, got {reprlib.repr(value)}")
    return tuple(_as_number(number, f"{where}[{i}]") for i, number in enumerate(value))


def _pair(table: Mapping[str, Any], key: str, where: str) -> tuple[float, float] | None:
    if table.get(key) is None:
        return None
    pair = _numbers(table[key], f"{where}.{key}")
    if len(pair) != 2:
        raise CalibrationError(f"{where}: {key}: expected two numbers, got {len(pair)}")
    return (pair[0], pair[1])


def _matrix(value: Any) -> tuple[tuple[float, ...], ...]:
    if not isinstance(value, (list, tuple)):
        raise CalibrationError(f"crosstalk: expected a list of rows, got {reprlib.repr(value)}")
    return tuple(_numbers(row, f"crosstalk[{i}]") for i, row in enumerate(value))
