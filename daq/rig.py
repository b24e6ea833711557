"""A rig: which sensors a jig has, where they sit, how to connect to them. Frozen, and checked when it is made; its file
is read by `rig_file.py`.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

import numpy as np
import pydantic
from pydantic import BaseModel, ConfigDict, Field

from daq.items import BOARD
from daq.jig_proof import JigProof
from daq.physics import LEAST_G_M_S2, MOST_G_M_S2, NEWTONS, STANDARD_G_M_S2
from daq.setback_scale import SetbackScale
from daq.text import Line

Role = Literal["hands", "saddle", "hands tangential", "saddle tangential", "tilt", "unused"]
NORMAL, TANGENTIAL = ("hands", "saddle"), ("hands tangential", "saddle tangential")
"""Roles of cells that measure the load along the jig's normal, and the force along its x axis, forward on the rider
positive."""
PositionRole = Literal["saddle fore-aft", "saddle height", "bar fore-aft", "bar height"]
POSITION_FIELDS: dict[str, str] = {
    "saddle fore-aft": "setback_mm",
    "saddle height": "saddle_height_mm",
    "bar fore-aft": "bar_x_mm",
    "bar height": "bar_y_mm",
}
"""The field of a setting that each role measures, in the same millimetres a fitter would enter."""
STRAIGHT_WITHIN_U = 4.0
"""A known place further off the sensor's line than this many u_mm is mistyped, or the sensor is not linear."""
Parity = Literal["none", "even", "odd"]
Baud = Annotated[int, Field(ge=1200, le=12_000_000)]

Millimetres = Annotated[float, Field(ge=-5000, le=5000)]
Short = Annotated[Line, Field(max_length=200)]
LocalGravity = Annotated[float, Field(ge=LEAST_G_M_S2, le=MOST_G_M_S2)]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


class RigChannel(_Part):
    """One column of the board's scans."""

    name: Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,31}$")]
    """As in the board's hello."""
    role: Role
    x_mm: Millimetres | None = None
    """Jig frame, forward of the BB positive; the saddle's cells move with the saddle: their x at setback 0."""
    y_mm: Millimetres | None = None
    capacity_n: Annotated[float, Field(gt=0, le=1e6)] | None = None
    """A load above it counts as an overload, even if the converter can still measure it."""
    gain: Annotated[int, Field(ge=1, le=65_535)] | None = None
    """Requested from the board for this channel; None leaves the board's setting."""


class Position(_Part):
    """A position sensor on one of the board's channels, of kind `position` in its hello."""

    name: Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,31}$")]
    role: PositionRole
    places: Annotated[tuple[tuple[float, float], ...], Field(min_length=2, max_length=20, strict=False)]
    """Counts and millimetres at two or more places set and measured by hand: the sensor's calibration."""
    u_mm: Annotated[float, Field(gt=0, le=10)] = 0.5
    """Standard uncertainty of its reading. Judgement unless it was tested."""

    @pydantic.field_validator("places", mode="before")
    @classmethod
    def _pairs(cls, value: Any) -> Any:
        return tuple(tuple(each) if isinstance(each, list) else each for each in value)

    @pydantic.model_validator(mode="after")
    def _tells(self) -> Self:
        if len({counts for counts, _ in self.places}) < 2 or len({mm for _, mm in self.places}) < 2:
            raise ValueError("places: two with different counts and different millimetres")
        mm_per_count, offset_mm = self.line
        off_mm = max(abs(mm_per_count * counts + offset_mm - mm) for counts, mm in self.places)
        if off_mm > STRAIGHT_WITHIN_U * self.u_mm:
            raise ValueError(f"places on a straight line; one lies {off_mm:.1f} mm off it, and u_mm is {self.u_mm:g}")
        return self

    @property
    def line(self) -> tuple[float, float]:
        """Millimetres per count and the millimetres at count 0: least squares through the places."""
        counts, mm = np.array(self.places).T
        slope, level = np.polyfit(counts - counts.mean(), mm, 1)
        return float(slope), float(level - slope * counts.mean())


class SerialPlace(_Part):
    """How a device on a serial port is found."""

    port: Short | None = None
    usb_serial: Short | None = None
    """USB serial number, which stays the same on another USB port."""
    usb_id: Annotated[str, Field(pattern=r"^[0-9a-fA-F]{4}:[0-9a-fA-F]{4}$")] | None = None
    baud: Baud = 921_600

    @pydantic.model_validator(mode="after")
    def _findable(self) -> Self:
        if not (self.port or self.usb_serial or self.usb_id):
            raise ValueError("one of port, usb_serial or usb_id, to find the device by")
        return self


class SerialBoard(SerialPlace):
    """A board that speaks the wire protocol of firmware_notes/ over a serial port."""

    link: Literal["serial"] = "serial"
    rate_hz: Annotated[float, Field(gt=0, le=100_000)] | None = None
    """Requested from the board; None leaves the board's setting."""


class TextTransmitter(SerialPlace):
    """A bought transmitter that sends lines of text continuously; the fields are those of daq.wire.ascii_lines."""

    link: Literal["lines"]
    baud: Baud = 9_600
    data_bits: Literal[7, 8] = 8
    parity: Parity = "none"
    pattern: Annotated[Line, Field(min_length=1, max_length=500)]
    unit: Short = "kg"
    """For lines that carry none."""
    decimal_comma: bool = False
    checksum: Literal["none", "xor", "sum"] = "none"
    adjusted_g_m_s2: LocalGravity = STANDARD_G_M_S2
    """Gravity at the place where a device that shows a mass was adjusted with weights."""


class LoadRegister(_Part):
    """Where a Modbus transmitter keeps one load; the fields are those of daq.wire.modbus."""

    name: Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,31}$")]
    unit_number: Annotated[int, Field(ge=1, le=247)] = 1
    """The device's address on the line."""
    address: Annotated[int, Field(ge=0, le=105_536)]
    """As the manual numbers it."""
    kind: Literal["int16", "uint16", "int32", "uint32", "float32"] = "int32"
    word_order: Literal["big", "little"] = "big"
    scale: Annotated[float, Field(ge=-1e9, le=1e9)] = 1.0
    """Units per step: 0.01 when 1234 means 12.34."""
    unit: Short = "kg"


class ModbusTransmitter(SerialPlace):
    """One or several bought transmitters on one Modbus RTU line."""

    link: Literal["modbus"]
    baud: Baud = 19_200
    parity: Parity = "even"
    function: Literal[3, 4] = 3
    """3 reads holding registers, 4 input registers."""
    address_base: Literal[0, 1, 30_001, 40_001] = 0
    """What the manual calls the first register."""
    poll_hz: Annotated[float, Field(gt=0, le=200)] = 20.0
    timeout_s: Annotated[float, Field(ge=0.02, le=5)] = 0.3
    adjusted_g_m_s2: LocalGravity = STANDARD_G_M_S2
    """Gravity at the place where devices that show a mass were adjusted with weights."""
    registers: Annotated[tuple[LoadRegister, ...], Field(max_length=32, strict=False)]

    @pydantic.model_validator(mode="after")
    def _some(self) -> Self:
        if not self.registers:
            raise ValueError("at least one [[transmitter.registers]]")
        return self


class TypedScale(_Part):
    """A scale whose display a person reads and types; in the board's place."""

    unit: Literal["N", "kg", "lb"]
    """Of the display, one for ever: a rig read in another unit is another rig."""
    step: Annotated[float, Field(gt=0, le=20)]
    """The smallest step of the display, in its unit."""
    readings: Annotated[int, Field(ge=3, le=20)] = 5
    """At each position."""
    damping_s: Annotated[float, Field(ge=0, le=10)] = 1.0
    """Time in which the display follows two thirds of a change; 0 where a needle swings with the pedals."""
    hands_per_scale: Annotated[float, Field(gt=0.05, le=20)] = 1.0
    """Newtons at the hands for one newton at the scale: the levers of a pivoted bar."""
    saddle_per_scale: Annotated[float, Field(gt=0.05, le=20)] = 1.0
    saddle_step: Annotated[float, Field(gt=0, le=20)] | None = None
    """Of a second scale under the saddle, in the same unit; None: as the first."""
    effort: Literal["typed", "sensor", "held"] = "typed"
    """Whence power and cadence come: read off the trainer and typed at each position, a [power] sensor, or a trainer
    that is told to hold them and shows nothing. What is held is not measured."""

    def step_of(self, role: str) -> float:
        """The smallest step of this contact's display."""
        return self.saddle_step if role == "saddle" and self.saddle_step is not None else self.step

    def newtons(self, per_scale: float) -> float:
        """For one unit of the display, with these levers."""
        return NEWTONS[self.unit] * per_scale


class BleSensor(_Part):
    """A power, cadence or heart rate sensor over Bluetooth LE."""

    link: Literal["ble"] = "ble"
    address: Short | None = None
    name: Short | None = None
    """As it advertises itself."""

    @pydantic.model_validator(mode="after")
    def _findable(self) -> Self:
        if not (self.address or self.name):
            raise ValueError("address or name, to find the sensor by")
        return self


class Geometry(_Part):
    """Where the contact points are, jig frame, metres; at setback 0 the saddle would be over the BB."""

    bar_x_m: Annotated[float, Field(gt=0, lt=1.5)]
    bar_y_m: Annotated[float, Field(gt=0, lt=1.5)]
    saddle_y_m: Annotated[float, Field(gt=0.3, lt=1.2)]
    setback_min_mm: Millimetres = -20.0
    setback_max_mm: Millimetres = 200.0
    setback_resolution_mm: Annotated[float, Field(gt=0, le=20)] = 1.0
    """The finest step the jig can be set to."""
    u_setback_mm: Annotated[float, Field(ge=0, le=10)] = 1.0
    """Standard uncertainty of the saddle's true position when it is set by the jig's scale. Common practice, no
    source."""
    self_locking_slides: bool = False
    """Whether saddle and bar hold by themselves while being moved. If not, nobody may put weight on an open clamp."""
    saddle_height_min_mm: Annotated[float, Field(ge=200, le=1200)] = 400.0
    saddle_height_max_mm: Annotated[float, Field(ge=200, le=1200)] = 1000.0
    bar_y_min_mm: Annotated[float, Field(ge=0, le=1500)] = 200.0
    bar_y_max_mm: Annotated[float, Field(ge=0, le=1500)] = 1200.0
    reach_min_mm: Annotated[float, Field(ge=0, le=1500)] = 250.0
    reach_max_mm: Annotated[float, Field(ge=0, le=1500)] = 1000.0
    """From the saddle's reference point forward to the bar."""

    @pydantic.model_validator(mode="after")
    def _in_order(self) -> Self:
        for name in ("setback", "saddle_height", "bar_y", "reach"):
            low, high = getattr(self, f"{name}_min_mm"), getattr(self, f"{name}_max_mm")
            if not low < high:
                raise ValueError(f"{name}_min_mm below {name}_max_mm, got {low:g} and {high:g}")
        return self


class Unseen(_Part):
    """What cells that measure only along the jig's normal cannot see: the mean force of the hands along the jig."""

    hands_tangential_n: Annotated[float, Field(ge=-200, le=200)] = 0.0
    """Forward on the rider positive."""
    hands_tangential_u_n: Annotated[float, Field(gt=0, le=200)]
    """Its standard uncertainty."""
    source: Annotated[Line, Field(min_length=1, max_length=200)]
    """Where these come from; `foreaft balance --learn` derives them from a jig with tangential cells."""


class Rig(_Part):
    """One whole jig."""

    name: Annotated[Line, Field(min_length=1, max_length=80)]
    g_m_s2: LocalGravity = STANDARD_G_M_S2
    """Local gravity; the standard value when not given."""
    calibration: Annotated[Line, Field(min_length=1, max_length=500)] | None = None
    """Path of a calibration file, relative to the rig file."""
    board: SerialBoard | None = None
    transmitter: Annotated[TextTransmitter | ModbusTransmitter, Field(discriminator="link")] | None = None
    """In the board's place."""
    typed: TypedScale | None = None
    """In the board's place."""
    power: BleSensor | None = None
    """None: no power sensor; the crank torque is unknown."""
    cadence: BleSensor | None = None
    """A separate sensor for crank revolutions, if the power sensor sends none."""
    heart: BleSensor | None = None
    channels: Annotated[tuple[RigChannel, ...], Field(max_length=32, strict=False)]
    positions: Annotated[tuple[Position, ...], Field(max_length=4, strict=False)] = ()
    """Sensors that read the positions of saddle and bar."""
    geometry: Geometry
    unseen: Unseen | None = None
    """None: the assumption of daq.measure.balance."""
    setback_scale: SetbackScale | None = None
    """None: never checked against a caliper."""
    proof: JigProof | None = None
    """None: this jig has not been proved."""

    @pydantic.model_validator(mode="after")
    def _complete(self) -> Rig:
        links = [self.board, self.transmitter, self.typed]
        if links.count(None) != len(links) - 1:
            there = ("none", "one", "two", "three")[len(links) - links.count(None)]
            raise ValueError(f"one of [board], [transmitter] and [typed]; there are {there}")
        if self.typed is not None:
            self._check_typed(self.typed)
        names = [channel.name for channel in self.channels] + [each.name for each in self.positions]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(
                f"each channel name once, but {', '.join(twice)} appears twice under channels or positions"
            )
        if not self.columns("hands"):
            raise ValueError("at least one channel with role 'hands': without their load there is no onset to find")
        roles = [each.role for each in self.positions]
        if len(set(roles)) < len(roles):
            raise ValueError("each role once under positions")
        if self.columns("saddle tangential") and not self.columns("hands tangential"):
            raise ValueError("a channel with role 'hands tangential' where there is one with role 'saddle tangential'")
        if len(self.columns("tilt")) > 1:
            raise ValueError("at most one channel with role 'tilt'")
        return self

    def _check_typed(self, typed: TypedScale) -> None:
        roles = sorted(channel.role for channel in self.channels)
        if roles and roles not in (["hands"], ["hands", "saddle"]):
            raise ValueError("with [typed] a channel with role 'hands', one with role 'saddle' at most, and no other")
        if typed.saddle_step is not None and "saddle" not in roles:
            raise ValueError("a channel with role 'saddle' where typed.saddle_step is given")
        if typed.effort == "sensor" and self.power is None:
            raise ValueError("a table [power], which names the sensor, where typed.effort is 'sensor'")
        if typed.effort != "sensor" and self.power is not None:
            raise ValueError(f"typed.effort 'sensor' where there is a table [power], got {typed.effort!r}")

    def columns(self, *roles: str) -> tuple[int, ...]:
        """The columns of a scan that have one of these roles."""
        return tuple(i for i, channel in enumerate(self.channels) if channel.role in roles)

    @property
    def loads_from(self) -> str:
        """The everyday name for the source of the loads."""
        return "scale" if self.typed else BOARD if self.transmitter is None else "transmitter"

    @property
    def force_columns(self) -> tuple[int, ...]:
        """The columns of a scan that carry a force, in the order of Loads.cells_n: those along the normal first."""
        return self.columns(*NORMAL) + self.columns(*TANGENTIAL)

    @property
    def cells(self) -> tuple[str, ...]:
        """Names of the force channels, in the order of Loads.cells_n."""
        return tuple(self.channels[i].name for i in self.force_columns)

    @property
    def normal_cells(self) -> tuple[str, ...]:
        """Those of them that carry the rider's weight; they come first."""
        return tuple(self.channels[i].name for i in self.columns(*NORMAL))
