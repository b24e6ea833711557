"""The sheet of one proof: who, with which dummy, by which plan, and every value as it was read or typed in.

Readings are only ever added; a repeated one replaces the earlier one, which stays on record. Everything else
about a proof is computed from its sheet.
"""

from __future__ import annotations

import hashlib
import json
from typing import Annotated, Any, Literal, Self

import pydantic
from pydantic import BaseModel, ConfigDict, Field

from daq.proof.dummy import BAR_LIMIT_N, Plank, Springs
from daq.proof.findings import LEVEL_U_DEG, WEIGHTS_U, Uncertain
from daq.proof.scale import DATUM_U_MM
from daq.rig import LocalGravity, Rig
from daq.sweep.plan import out_and_back
from daq.text import Line

Short = Annotated[Line, Field(max_length=200)]
Named = Annotated[Line, Field(min_length=1, max_length=200)]
Setback = Annotated[float, Field(ge=-100, le=300)]
Rate = Annotated[float, Field(ge=0.05, le=10)]
Later = Annotated[float, Field(ge=0, le=40)]
MOST_BYTES = 4 * 1024 * 1024
U_RATE_MOST = 0.2
"""Of the rate. A spring known less well says nothing about a frame that gives way. Judgement, no source."""


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Mass(_Part):
    """The plank with its mass, which shares load between bar and saddle; the fields of daq.proof.dummy.Plank."""

    mass_kg: Annotated[float, Field(gt=0, le=40)]
    ahead_m: Annotated[float, Field(ge=0, le=1)]
    above_m: Annotated[float, Field(ge=-0.5, le=0.5)]
    pin_behind_mm: Annotated[float, Field(ge=-100, le=300)] = 0.0


class Gradual(_Part):
    """Two or three plates that are met one after the other, for a rise that has no corner."""

    rates_n_per_mm: Annotated[tuple[Rate, ...], Field(min_length=2, max_length=4)]
    later_mm: Annotated[tuple[Later, ...], Field(min_length=2, max_length=4)]
    """How much further forward each plate is met than the first, which is 0."""

    @pydantic.model_validator(mode="after")
    def _one_each(self) -> Self:
        if len(self.later_mm) != len(self.rates_n_per_mm):
            raise ValueError(f"expected as many later_mm as rates, got {len(self.later_mm)}")
        if self.later_mm[0] != 0.0 or list(self.later_mm) != sorted(set(self.later_mm)):
            raise ValueError(f"later_mm: expected 0 first, then each plate further on, got {self.later_mm}")
        return self


class DummyParts(_Part):
    """The dummy as built and measured; a TOML file of the engineer's."""

    name: Named
    rate_n_per_mm: Rate
    """Of spring and rope together, by hung weights."""
    u_rate_n_per_mm: Annotated[float, Field(gt=0, le=1)]
    """Its standard uncertainty."""
    angle_deg: Annotated[float, Field(ge=0, le=10)] = 0.0
    u_level_deg: Annotated[float, Field(gt=0, le=1)] = LEVEL_U_DEG
    u_datum_mm: Annotated[float, Field(gt=0, le=2)] = DATUM_U_MM
    u_weights: Annotated[float, Field(gt=0, le=0.02)] = WEIGHTS_U
    u_set_mm: Annotated[float, Field(gt=0, le=2)] = 0.15
    """Standard uncertainty of setting the saddle to a mark of its scale."""
    u_truth_mm: Annotated[float, Field(gt=0, le=2)] = 0.1
    """Standard uncertainty of one placement's onset: caliper and gap."""
    mass: Mass | None = None
    gradual: Gradual | None = None

    @property
    def springs(self) -> Springs:
        return Springs((self.rate_n_per_mm,), angle_deg=self.angle_deg)

    @property
    def gradual_springs(self) -> Springs | None:
        if self.gradual is None:
            return None
        return Springs(self.gradual.rates_n_per_mm, self.gradual.later_mm, self.angle_deg)

    @property
    def uncertain(self) -> Uncertain:
        return Uncertain(self.u_weights, self.u_level_deg, self.u_datum_mm, self.u_rate_n_per_mm / self.rate_n_per_mm)

    def plank(self, rig: Rig) -> Plank | None:
        """The plank on this jig."""
        return None if self.mass is None else Plank(bar_x_m=rig.geometry.bar_x_m, **self.mass.model_dump())

    def refuse_unless_it_fits(self, rig: Rig) -> None:
        """Before a proof begins; a sheet that is kept is read whatever its dummy was. ValueError for a spring that is
        not known well, and for a plank that would lift the saddle or load the bar beyond its limit."""
        if self.u_rate_n_per_mm > U_RATE_MOST * self.rate_n_per_mm:
            raise ValueError(
                f"u_rate_n_per_mm: expected at most a fifth of the rate, {U_RATE_MOST * self.rate_n_per_mm:g} N/mm, "
                f"got {self.u_rate_n_per_mm:g}: hang weights on the spring again"
            )
        plank = self.plank(rig)
        if self.mass is None or plank is None:
            return
        hands_n, saddle_n = (float(load_n) for load_n in plank.loads_n(rig.geometry.setback_min_mm, 0.0))
        if saddle_n <= 0.0:
            raise ValueError(
                f"mass.ahead_m: a centre {self.mass.ahead_m:g} m ahead of the pin lies ahead of the bar's roller, and "
                "the plank would lift the saddle: move the mass back"
            )
        if hands_n > BAR_LIMIT_N:
            raise ValueError(
                f"mass: the plank alone would put {hands_n:.0f} N on the bar; the dummy's limit is {BAR_LIMIT_N:g} N: "
                "take a smaller mass, or move it back"
            )


class ProofPlan(_Part):
    """What is done: a proof of less would not show what it claims."""

    placements: Annotated[int, Field(ge=3, le=10)] = 4
    positions_mm: Annotated[tuple[Setback, ...], Field(min_length=7, max_length=30)] = out_and_back(110.0, 10.0, 11)
    scale_mm: Annotated[tuple[Setback, ...], Field(min_length=3, max_length=20)] = (100.0, 80.0, 60.0, 40.0, 20.0)
    bar_kg: Annotated[tuple[float, ...], Field(min_length=5, max_length=12)] = (2.0, 4.0, 6.0, 8.0, 10.0, 12.0)
    saddle_kg: Annotated[tuple[float, ...], Field(min_length=5, max_length=12)] = (5.0, 10.0, 15.0, 20.0, 30.0)
    gradient_pct: Annotated[float, Field(ge=4, le=5)] = 4.5
    read_s: Annotated[float, Field(ge=1, le=60)] = 3.0
    gradual: bool = False
    """Whether the dummy has plates for a gradual rise; sheets of before have none."""

    @pydantic.model_validator(mode="after")
    def _rising(self) -> Self:
        for name in ("bar_kg", "saddle_kg"):
            masses = getattr(self, name)
            if list(masses) != sorted(set(masses)) or not 0.0 < masses[0] <= masses[-1] <= 40.0:
                raise ValueError(f"{name}: expected masses up to 40 kg, lightest first, each once, got {masses}")
        return self


class ProofReading(_Part):
    """One reading, or what was typed in, or both."""

    task: Short
    at_utc: Short
    t_min: Annotated[float, Field(ge=0)]
    """Since the proof began."""
    typed: dict[Short, float] = {}
    hands_n: float | None = None
    saddle_n: float | None = None
    tilt_deg: float | None = None
    zero_counts: tuple[float, ...] = ()
    """From the task that takes the zero. A proof that goes on in another session keeps this zero."""


class Sheet(_Part):
    """One proof."""

    format: Literal["foreaft proof 1"] = "foreaft proof 1"
    made_by: Named
    begun_utc: Short
    place: Short = ""
    rig: Short
    calibration: Short
    parts: Short
    """Of `parts_of`, when it was begun."""
    consists_of: tuple[Short, ...] = ()
    """The same parts in words."""
    simulated: bool
    g_m_s2: LocalGravity
    dummy: DummyParts
    plan: ProofPlan
    readings: tuple[ProofReading, ...] = ()

    def latest(self) -> dict[str, ProofReading]:
        """The readings that count, by task."""
        return {one.task: one for one in self.readings}

    def with_reading(self, reading: ProofReading) -> Sheet:
        return self.model_copy(update={"readings": (*self.readings, reading)})


def parts_said(rig: Rig) -> tuple[str, ...]:
    """The parts of a jig in words, for its certificate."""
    cells = (f"{one.name.replace('_', ' ')} ({one.role})" for one in rig.channels if one.role != "unused")
    at = rig.geometry
    return (*cells, f"bar {1000 * at.bar_x_m:g} mm ahead of the BB and {1000 * at.bar_y_m:g} mm above it")


def parts_of(rig: Rig, calibration: str) -> str:
    """A word for the parts of a jig a proof holds for: sensors, where they sit, calibration; another with another part.

    Names and ways of connection are no parts.
    """
    content: dict[str, Any] = {
        "channels": [one.model_dump() for one in rig.channels],
        "positions": [one.model_dump() for one in rig.positions],
        "geometry": rig.geometry.model_dump(),
        "calibration": calibration,
    }
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()[:16]
