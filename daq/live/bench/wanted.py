"""What an engineer specifies for a guided calibration, in the terms of the bench, turned into the plan and its
conditions. Command line and page send the same fields.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import asdict
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from daq.measure.calibration import Calibration
from daq.measure.calibration.bench_plan import BenchPlan, OffAxisPlace
from daq.measure.calibration.bench_setup import Setup
from daq.measure.calibration.board import board_of
from daq.measure.calibration.budget import BenchConditions
from daq.measure.calibration.certificate import Circumstances
from daq.measure.calibration.weights import Weights, certified, of_class, pull_n
from daq.measure.gravity import LOCAL_ANOMALY_M_S2, normal_gravity_m_s2
from daq.rig import LocalGravity, Rig
from daq.text import Line, Lines
from daq.wire.hello import Channel, ChannelKind, HelloBody

Text = Annotated[Lines, Field(max_length=500)]
Mass = Annotated[float, Field(gt=0, le=500)]
ANYWHERE_M_S2 = (9.8322 - 9.7803) / 2.0 / math.sqrt(3.0)
"""Standard uncertainty of gravity somewhere on Earth: half from equator to pole at sea level (WGS84), rectangular."""
SENSITIVITY_PER_K = 2e-5
"""Temperature effect on the sensitivity of compensated foil cells; common practice, no source."""
MOST_KG, LEAST_N = 200.0, 50.0
"""No cell of a jig carries more than the first, and a rider's hands alone press with more than the second; common
practice, no source."""
FEWEST_LOADS = 3
SUPPOSED = "20 ppm/K supposed, no data sheet given"


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)


class WantedPlace(_Part):
    """An off-axis placement: a weight on a named place of a bar or saddle, shared by some cells."""

    name: Annotated[Line, Field(min_length=1, max_length=100)]
    cells: Annotated[tuple[Line, ...], Field(min_length=1)]
    mass_kg: Mass


class Reference(_Part):
    """The weights: their class, or a certificate. With loads in newtons: the reference cell's certificate."""

    weights_class: Literal["E2", "F1", "F2", "M1", "M2", "M3"] | None = None
    certificate: Text = ""
    expanded_relative: Annotated[float, Field(gt=0, lt=0.2)] | None = None
    """Expanded uncertainty (k = 2) of the certificate over the mass or force."""

    def weights(self) -> Weights:
        """The uncertainty of a load. ValueError if neither class nor certificate is given."""
        if self.weights_class is not None:
            return of_class(self.weights_class)
        if self.expanded_relative is None:
            raise ValueError(
                "weights: expected their class (E2 to M3), or the expanded uncertainty of their certificate"
            )
        return certified(self.expanded_relative, 1.0, certificate=self.certificate or "by certificate")


class Gravity(_Part):
    """Local gravity, typed in or from latitude and height; otherwise the rig's."""

    g_m_s2: LocalGravity | None = None
    u_g_m_s2: Annotated[float, Field(ge=0, le=0.05)] | None = None
    latitude_deg: Annotated[float, Field(ge=-90, le=90)] | None = None
    height_m: Annotated[float, Field(ge=-500, le=9000)] = 0.0

    def value(self, rig: Rig) -> tuple[float, float]:
        """Gravity and its standard uncertainty, m/s2; a typed-in uncertainty is used whatever the source of the
        value."""
        g_m_s2, u_g_m_s2 = rig.g_m_s2, LOCAL_ANOMALY_M_S2
        if self.g_m_s2 is not None:
            g_m_s2 = self.g_m_s2
        elif self.latitude_deg is not None:
            g_m_s2 = normal_gravity_m_s2(self.latitude_deg, self.height_m)
        elif "g_m_s2" not in rig.model_fields_set:
            u_g_m_s2 = ANYWHERE_M_S2
        return g_m_s2, u_g_m_s2 if self.u_g_m_s2 is None else self.u_g_m_s2

    def source(self, rig: Rig) -> str:
        """Where the value comes from, for the certificate."""
        if self.g_m_s2 is not None:
            return "as typed in"
        if self.latitude_deg is not None:
            return f"WGS84, latitude {self.latitude_deg:g}°, height {self.height_m:g} m"
        return "of the rig file" if "g_m_s2" in rig.model_fields_set else "standard value, not of this place"


class Wanted(_Part):
    """One guided calibration."""

    made_by: Annotated[Line, Field(min_length=1, max_length=200)]
    place: Text = ""
    temperature_degc: Annotated[float, Field(ge=-20, le=60)] | None = None
    remarks: Text = ""
    cells: tuple[Line, ...] = ()
    """Empty: all load cells of the rig."""
    masses_kg: Annotated[tuple[Mass, ...], Field(max_length=20)] = ()
    """Rising, without zero: the mass on a cell at each step."""
    loads_n: Annotated[tuple[Annotated[float, Field(gt=0, le=5000)], ...], Field(max_length=20)] = ()
    """Instead of masses: forces measured by a reference cell."""
    reference: Reference
    gravity: Gravity = Gravity()
    series: Annotated[int, Field(ge=2, le=10)] = 3
    order: Literal[1, 2] = 2
    read_s: Annotated[float, Field(ge=2, le=120)] = 5.0
    warm_up_min: Annotated[float, Field(ge=0, le=240)] = 15.0
    on_for_min: Annotated[float, Field(ge=0, le=1440)] = 0.0
    """How long the power has been on already."""
    creep_min: Annotated[float, Field(ge=0, le=240)] = 30.0
    crosstalk_kg: Annotated[float, Field(ge=0, le=500)] = 0.0
    """0: no cross-talk test."""
    crosstalk_repeats: Annotated[int, Field(ge=1, le=10)] = 2
    places: Annotated[tuple[WantedPlace, ...], Field(max_length=20)] = ()
    tilts_deg: Annotated[tuple[Annotated[float, Field(ge=-30, le=30)], ...], Field(max_length=40)] = ()
    known_tilts: bool = False
    expected_per_n: dict[Line, float] = {}
    temperature_half_range_k: Annotated[float, Field(ge=0, le=40)] = 5.0
    sensitivity_per_k: Annotated[float, Field(ge=0, le=0.01)] = SENSITIVITY_PER_K


def setup_of(wanted: Wanted, rig: Rig, hello: HelloBody, calibration: Calibration, *, simulated: bool) -> Setup:
    """The setup for the board with this hello. ValueError that names what is impossible. calibration: the one in use,
    which gives the approximate counts per newton.
    """
    g_m_s2, u_g_m_s2 = wanted.gravity.value(rig)
    cells = wanted.cells or rig.cells
    loads_n = _loads_n(wanted, g_m_s2)
    tilt = next((channel for channel in hello.channels if channel.kind is ChannelKind.TILT), None)
    return Setup(
        plan=BenchPlan(
            channels=tuple(channel.name for channel in hello.channels),
            loads_n=tuple((cell, _within(cell, loads_n, rig)) for cell in cells),
            series=wanted.series,
            warm_up_min=wanted.warm_up_min,
            creep_min=wanted.creep_min,
            creep_return=wanted.creep_min > 0.0,
            places=tuple(OffAxisPlace(one.name, one.cells, pull_n(one.mass_kg, g_m_s2)) for one in wanted.places),
            crosstalk_n=pull_n(wanted.crosstalk_kg, g_m_s2) if wanted.crosstalk_kg else 0.0,
            crosstalk_repeats=wanted.crosstalk_repeats,
            tilts_deg=wanted.tilts_deg,
        ),
        conditions=BenchConditions(
            weights=wanted.reference.weights(),
            u_gravity_m_s2=u_g_m_s2,
            g_m_s2=g_m_s2,
            gravity_from=wanted.gravity.source(rig),
            by_weights=not wanted.loads_n,
            temperature_half_range_k=wanted.temperature_half_range_k,
            sensitivity_per_k=wanted.sensitivity_per_k,
            sensitivity_from="data sheet" if "sensitivity_per_k" in wanted.model_fields_set else SUPPOSED,
        ),
        circumstances=Circumstances(
            made_by=wanted.made_by,
            place=wanted.place,
            temperature_degc=wanted.temperature_degc,
            instrument=_instrument(hello, by_transmitter=rig.transmitter is not None),
            remarks=wanted.remarks,
        ),
        order=wanted.order,
        read_s=wanted.read_s,
        tilt=None if tilt is None else tilt.name,
        degrees_per_count=None if tilt is None else tilt.units_per_count,
        known_tilts=wanted.known_tilts,
        expected_per_n=_expected(wanted, cells, calibration),
        simulated=simulated,
        board=board_of(asdict(hello)),
    )


def _loads_n(wanted: Wanted, g_m_s2: float) -> tuple[float, ...]:
    if bool(wanted.masses_kg) == bool(wanted.loads_n):
        raise ValueError(
            "loads: expected either masses of weights in kilograms or forces of a reference cell in newtons"
        )
    typed, unit = (wanted.masses_kg, "kg") if wanted.masses_kg else (wanted.loads_n, "N")
    if len(typed) < FEWEST_LOADS or list(typed) != sorted(set(typed)):
        listed = ", ".join(f"{one:g}" for one in typed)
        raise ValueError(f"loads: expected {FEWEST_LOADS} or more different ones, lightest first, got {listed} {unit}")
    if wanted.masses_kg and max(wanted.masses_kg) > MOST_KG:
        raise ValueError(
            f"loads: {max(wanted.masses_kg):g} kg on one cell is more than a jig carries, by about a factor 9.8: are "
            "these newtons? Give masses in kilograms, or forces of a reference cell in newtons"
        )
    if wanted.loads_n and max(wanted.loads_n) < LEAST_N:
        raise ValueError(
            f"loads: {max(wanted.loads_n):g} N at most is too little for a rider, by about a factor 9.8: are these "
            "kilograms? Give weights as masses in kilograms, or forces in newtons"
        )
    return wanted.loads_n or tuple(pull_n(mass_kg, g_m_s2) for mass_kg in wanted.masses_kg)


def _within(cell: str, loads_n: tuple[float, ...], rig: Rig) -> tuple[float, ...]:
    """The loads a cell may carry. ValueError if too few are left."""
    capacity_n = next((channel.capacity_n for channel in rig.channels if channel.name == cell), None)
    kept = loads_n if capacity_n is None else tuple(load for load in loads_n if load <= capacity_n)
    if len(kept) < FEWEST_LOADS:
        raise ValueError(
            f"{cell}: {len(loads_n) - len(kept)} of the loads are above its {capacity_n:g} N; "
            f"expected {FEWEST_LOADS} or more within"
        )
    return kept


def _expected(wanted: Wanted, cells: Collection[str], calibration: Calibration) -> tuple[tuple[str, float], ...]:
    """From the engineer, otherwise from the calibration in use."""
    slopes = {
        channel.name: sum(i * c * channel.zero_counts ** (i - 1) for i, c in enumerate(channel.coefficients) if i)
        for channel in calibration.forces
    }
    strange = sorted(set(wanted.expected_per_n) - set(cells))
    if strange:
        raise ValueError(
            f"counts per newton: {', '.join(strange)} is not among the cells to calibrate, {', '.join(cells)}"
        )
    known = {name: 1.0 / slope for name, slope in slopes.items() if slope}
    return tuple(sorted({**known, **wanted.expected_per_n}.items()))


def _instrument(hello: HelloBody, *, by_transmitter: bool) -> str:
    if by_transmitter:
        return f"{hello.firmware}: {', '.join(channel.name for channel in hello.channels)}"
    channels = ", ".join(_described(channel) for channel in hello.channels)
    return f"board {hello.board_id}, {hello.firmware}, {hello.scan_rate_hz:g} scans/s: {channels}"


def _described(channel: Channel) -> str:
    return f"{channel.name} ({channel.bits} bit, gain {channel.gain})"
