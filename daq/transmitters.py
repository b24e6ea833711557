"""What a rig file says about its bought transmitter: which decoder reads it, and its channels as a board would name
them. Its bytes are decoded only here, live and in replay.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from daq.measure.calibration import CalibratedChannel, Calibration
from daq.physics import STANDARD_G_M_S2
from daq.rig import LoadRegister, ModbusTransmitter, Rig, TextTransmitter, TypedScale
from daq.rig_file import RigError
from daq.values import UNKNOWN_UTC
from daq.wire import board
from daq.wire.ascii_lines import LineDecoder, LineFormat
from daq.wire.modbus import Register, request_for
from daq.wire.modbus_poll import PollDecoder
from daq.wire.transmitter import COUNT_N, PER_KG

BITS = 32


def format_of(table: TextTransmitter) -> LineFormat:
    """How the device writes its lines. ValueError for a pattern or a unit that cannot work."""
    return LineFormat(
        pattern=table.pattern,
        unit=table.unit,
        decimal_comma=table.decimal_comma,
        checksum=table.checksum,
        g_m_s2=table.adjusted_g_m_s2,
    )


def registers_of(table: ModbusTransmitter) -> Mapping[int, tuple[Register, ...]]:
    """The registers to read, by the unit number of their device. ValueError for what cannot be read in one request."""
    found: dict[int, tuple[Register, ...]] = {}
    for entry in table.registers:
        found[entry.unit_number] = (*found.get(entry.unit_number, ()), _register(entry, table.adjusted_g_m_s2))
    for registers in found.values():
        request_for(registers, base=table.address_base)
    return found


def _register(entry: LoadRegister, adjusted_g_m_s2: float) -> Register:
    at_place = adjusted_g_m_s2 / STANDARD_G_M_S2 if entry.unit in PER_KG else 1.0
    return Register(entry.name, entry.address, entry.kind, entry.word_order, entry.scale * at_place, entry.unit)


def channels_of(table: TextTransmitter | ModbusTransmitter) -> tuple[str, ...]:
    """Names of the loads, in the order of the scans. ValueError for a table that cannot work."""
    if isinstance(table, TextTransmitter):
        return format_of(table).channels
    return tuple(register.name for registers in registers_of(table).values() for register in registers)


def hello_of(table: TextTransmitter | ModbusTransmitter) -> board.HelloBody:
    """The hello of a board with these channels: one count is 1 mN."""
    rate_hz = table.poll_hz if isinstance(table, ModbusTransmitter) else 0.0
    channels = tuple(
        board.Channel(name, board.ChannelKind.OTHER, 1, rate_hz, BITS, COUNT_N) for name in channels_of(table)
    )
    return board.HelloBody("00" * 8, 0, f"transmitter ({table.link})", rate_hz, channels)


def calibration_of(table: TextTransmitter | ModbusTransmitter) -> Calibration:
    """The transmitter's own adjustment: it sends newtons. Its date and quality are unknown here."""
    channels = tuple(CalibratedChannel(name, "force", (0.0, COUNT_N)) for name in channels_of(table))
    return Calibration("transmitter's own", UNKNOWN_UTC, channels)


def check_transmitter(rig: Rig) -> None:
    """RigError when the transmitter's table cannot work, or does not give a channel the rig needs."""
    if rig.transmitter is None:
        return
    try:
        there = channels_of(rig.transmitter)
    except ValueError as error:
        raise RigError(f"transmitter: {error}") from error
    twice = sorted({name for name in there if there.count(name) > 1})
    if twice:
        raise RigError(f"transmitter: each load once, but {', '.join(twice)} appears twice")
    missing = [channel.name for channel in rig.channels if channel.name not in there]
    if missing:
        raise RigError(
            f"transmitter: gives {', '.join(there)}; expected also {', '.join(missing)}, which stand under channels"
        )


class TransmitterDecoder:
    """Bytes of a transmitter in, what a board would have said out. An empty piece means that the port has just been
    opened: a hello follows, and half a line from before is dropped.
    """

    def __init__(self, table: TextTransmitter | ModbusTransmitter, source: str) -> None:
        self._hello = hello_of(table)
        self._readings = (
            LineDecoder(source, format_of(table))
            if isinstance(table, TextTransmitter)
            else PollDecoder(source, registers_of(table))
        )

    @property
    def scans(self) -> int:
        return self._readings.scans

    @property
    def held(self) -> bytes:
        """Bytes of a line that has not ended yet."""
        return self._readings.pending

    @property
    def lost(self) -> tuple[int, int]:
        """Scans dropped, and lines or answers that could not be used."""
        return self._readings.lost

    @property
    def problem(self) -> str:
        """Why the last damaged line was rejected."""
        return self._readings.problem

    def feed_pieces(self, pieces: Sequence[tuple[int, bytes]]) -> list[tuple[int, board.Item]]:
        """Everything completed by these pieces, each with its receipt time."""
        said: list[tuple[int, board.Item]] = []
        for received_us, piece in pieces:
            if not piece:
                said.append((received_us, self._hello))
            said += [(received_us, scan) for scan in self._readings.feed(piece, received_us)]
        return said


def calibration_of_scale(rig: Rig, table: TypedScale) -> Calibration:
    """The scale's own adjustment: newtons at the contact per unit of the display that a person reads."""
    per_unit = {role: table.newtons(getattr(table, f"{role}_per_scale")) for role in ("hands", "saddle")}
    channels = tuple(CalibratedChannel(one.name, "force", (0.0, per_unit.get(one.role, 1.0))) for one in rig.channels)
    return Calibration(f"read off a scale in {table.unit}", UNKNOWN_UTC, channels)


class ScaleGreeting:
    """Stands where a decoder does on a rig whose scale a person reads: a hello for each piece, and never a scan. The
    readings are events (daq.items.READING)."""

    scans = 0
    held = b""
    lost = (0, 0)
    problem = ""

    def __init__(self, rig: Rig) -> None:
        channels = tuple(board.Channel(one.name, board.ChannelKind.OTHER, 1, 0.0, BITS, 1.0) for one in rig.channels)
        self._hello = board.HelloBody("00" * 8, 0, "scale, read and typed", 0.0, channels)

    def feed_pieces(self, pieces: Sequence[tuple[int, bytes]]) -> list[tuple[int, board.Item]]:
        """A hello for each piece."""
        return [(received_us, self._hello) for received_us, _ in pieces]


def decoder_of(rig: Rig, source: str) -> board.BoardDecoder | TransmitterDecoder | ScaleGreeting:
    """What decodes the bytes of the rig's loads. ValueError for a transmitter's table that cannot work."""
    if rig.typed is not None:
        return ScaleGreeting(rig)
    return board.BoardDecoder(source) if rig.transmitter is None else TransmitterDecoder(rig.transmitter, source)
