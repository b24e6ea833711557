"""Little-endian fields one after the other in a Bluetooth characteristic, present or not as its flags say.

A characteristic is a table of Field in the order of its bytes, used in both directions: `take_fields` and `put_fields`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple


def uuid(short: int) -> str:
    """The 128-bit form of a 16-bit Bluetooth number, as bleak writes it."""
    return f"0000{short:04x}-0000-1000-8000-00805f9b34fb"


class BadPayload(ValueError):
    """The value of a characteristic is invalid: it is rejected, never guessed at."""


class PresentField(NamedTuple):
    """One integer that is present if its flag is set. Fields that share a flag come together."""

    flag: int
    name: str
    """The attribute that holds it; also what an error calls it."""
    size: int
    """Bytes."""
    signed: bool = False


class Reader:
    """Takes numbers from the front of a value. Every take raises BadPayload if the value ends too soon."""

    def __init__(self, value: bytes, characteristic: str) -> None:
        self._value = value
        self._characteristic = characteristic
        self._at = 0

    def take(self, size: int, name: str, *, signed: bool = False) -> int:
        """The next whole number."""
        end = self._at + size
        if end > len(self._value):
            raise BadPayload(
                f"{self._characteristic}: ends before its {name}: expected at least {end} bytes, "
                f"got {len(self._value)}: {self._value.hex() or 'nothing'}"
            )
        number = int.from_bytes(self._value[self._at : end], "little", signed=signed)
        self._at = end
        return number

    def take_fields(self, table: Sequence[PresentField], flags: int) -> dict[str, int | None]:
        """The fields these flags announce, by name; None for the others."""
        return {f.name: self.take(f.size, f.name, signed=f.signed) if flags & f.flag else None for f in table}

    def take_rest(self, size: int, name: str, *, signed: bool = False) -> tuple[int, ...]:
        """The rest, as numbers of this size."""
        left = len(self._value) - self._at
        if left % size:
            raise BadPayload(
                f"{self._characteristic}: {left} bytes left for {name} of {size} bytes each: {self._value.hex()}"
            )
        return tuple(self.take(size, name, signed=signed) for _ in range(left // size))


def put(number: int, size: int, name: str, *, signed: bool = False) -> bytes:
    """An integer as a field. ValueError that names the field if it does not fit."""
    try:
        return number.to_bytes(size, "little", signed=signed)
    except OverflowError as error:
        kind = "a signed" if signed else "an unsigned"
        raise ValueError(f"{name}: {number} does not fit {kind} {8 * size} bits") from error


def put_fields(record: object, table: Sequence[PresentField]) -> tuple[int, bytes]:
    """The flags and bytes of the record's attributes that are not None.

    ValueError when one does not fit, or when only some of the fields that share a flag are there.
    """
    flags, payload = 0, b""
    for field in table:
        number = getattr(record, field.name)
        if number is not None:
            flags |= field.flag
            payload += put(number, field.size, field.name, signed=field.signed)
    for field in table:
        if flags & field.flag and getattr(record, field.name) is None:
            together = ", ".join(f.name for f in table if f.flag == field.flag)
            raise ValueError(f"{field.name} is missing: {together} are sent together or not at all")
    return flags, payload
