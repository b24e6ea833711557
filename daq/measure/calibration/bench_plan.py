"""What a guided calibration will read: its stages, and every single reading in order."""

from __future__ import annotations

import enum
import functools
from collections.abc import Iterator
from dataclasses import dataclass

from daq.measure.calibration.tare import TareError, check_tilts


class Stage(enum.StrEnum):
    """What is being done now."""

    WARM_UP = "warm-up"
    ZERO = "zero"
    RISING = "rising"
    FALLING = "falling"
    ZERO_RETURN = "zero-return"
    CREEP = "creep"
    CORNERS = "corners"
    CROSS_TALK = "cross-talk"
    TARE = "tare"
    DONE = "done"
    STOPPED = "stopped"


OF_SERIES = (Stage.ZERO, Stage.RISING, Stage.FALLING, Stage.ZERO_RETURN)
"""Stages of one series of one cell."""


@dataclass(frozen=True, slots=True)
class OffAxisPlace:
    """An off-axis placement: a weight on a named place of a bar or saddle, shared by some cells."""

    name: str
    cells: tuple[str, ...]
    load_n: float


@dataclass(frozen=True, slots=True)
class BenchPlan:
    """What is going to be read."""

    channels: tuple[str, ...]
    """All channels of the board, in the order of its scans."""
    loads_n: tuple[tuple[str, tuple[float, ...]], ...]
    """Each cell to calibrate and its loads, rising, without zero."""
    series: int = 3
    warm_up_min: float = 15.0
    creep_min: float = 30.0
    """0: no creep test."""
    creep_return: bool = False
    """The zero is read again after the creep test; older stored plans lack this reading."""
    places: tuple[OffAxisPlace, ...] = ()
    crosstalk_n: float = 0.0
    """Load put on each cell in turn; 0: no cross-talk stage."""
    crosstalk_repeats: int = 2
    tilts_deg: tuple[float, ...] = ()
    """Tilts of the empty jig in order, up and down; empty: no tilt tare."""

    def __post_init__(self) -> None:
        problem = self._problem()
        if problem:
            raise ValueError(f"calibration plan: {problem}")

    @property
    def cells(self) -> tuple[str, ...]:
        return tuple(name for name, _ in self.loads_n)

    @property
    def on_board(self) -> tuple[str, ...]:
        """The cells to calibrate in the order of the board's channels."""
        return tuple(name for name in self.channels if name in self.cells)

    def loads_of(self, cell: str) -> tuple[float, ...]:
        return dict(self.loads_n)[cell]

    def _problem(self) -> str:
        if not self.cells:
            return "expected at least one cell to calibrate"
        strange = [name for name in self.cells if name not in self.channels]
        if strange:
            return f"no channel {', '.join(strange)}; the board has {', '.join(self.channels)}"
        for name, loads in self.loads_n:
            listed = ", ".join(f"{load_n:.2f} N" for load_n in loads)
            if len(loads) < 3 or list(loads) != sorted(set(loads)) or loads[0] <= 0.0:
                return f"{name}: expected at least 3 different loads above zero, lightest first, got {listed}"
        if self.series < 2:
            return f"expected at least 2 series, so that repeats can be compared, got {self.series}"
        if min(self.warm_up_min, self.creep_min, self.crosstalk_n, *(p.load_n for p in self.places)) < 0.0:
            return "expected times and loads of at least 0"
        return self._problem_of_assembly()

    def _problem_of_assembly(self) -> str:
        """Checked now, rather than after an hour of weights."""
        for place in self.places:
            others = [name for name in place.cells if name not in self.cells]
            if others:
                return (
                    f"place '{place.name}': {', '.join(others)} is not among the cells to calibrate, "
                    f"{', '.join(self.cells)}; calibrate all cells that share it, or leave the place out"
                )
        try:
            if self.tilts_deg:
                check_tilts(self.tilts_deg)
        except TareError as error:
            return f"tilts: {error}"
        return ""


@dataclass(frozen=True, slots=True)
class Task:
    """One reading to take."""

    id: str
    stage: Stage
    cell: str | None
    """The cell that carries the load; None: the jig is empty, or several cells share it."""
    series: int
    load_n: float
    place: str = ""
    tilt_deg: float | None = None
    minutes: float = 0.0
    """How long the load is followed; 0: a single reading."""

    @property
    def words(self) -> str:
        """Which reading it is, besides its cell."""
        stage, last = str(self.stage).replace("-", " "), self.id.rsplit("/")[-1].replace("-", " ")
        if self.stage is Stage.WARM_UP:
            return stage
        if self.stage is Stage.TARE:
            return f"{stage} {last}, {self.tilt_deg:g}°"
        what = self.place or (f"{self.load_n:.4g} N" if self.load_n else last)
        if self.stage in OF_SERIES:
            return f"series {self.series}, {f'{stage} {what}' if self.load_n else stage}"
        return f"{stage} {self.series}, {what}" if self.series else f"{stage}, {what}"

    def instruction(self, kg_per_n: float | None = None) -> str:
        """What the engineer does before this reading; with kg_per_n, loads are also given in kilograms."""
        stage, cell = self.stage, self.cell
        load = f"{self.load_n:.6g} N" if kg_per_n is None else f"{self.load_n * kg_per_n:.5g} kg ({self.load_n:.2f} N)"
        if stage is Stage.WARM_UP:
            return "power everything, leave the jig empty and untouched until its zero is steady"
        if stage in (Stage.ZERO, Stage.ZERO_RETURN):
            return f"{cell}: take all weight off"
        if stage is Stage.CREEP:
            if not self.load_n:
                return f"{cell}: take all weight off"
            return f"{cell}: put {load} on and leave it; it is followed for {self.minutes:g} min"
        if stage is Stage.CORNERS:
            return f"put {load} on {self.place}" if self.load_n else "take all weight off"
        if stage is Stage.CROSS_TALK:
            return f"put {load} right over {cell}" if self.load_n else "take all weight off"
        if stage is Stage.TARE:
            return f"empty jig: tilt it to {self.tilt_deg:g} deg"
        verb = "add weight to" if stage is Stage.RISING else "take weight off to"
        return f"{cell}: {verb} {load}"


@functools.lru_cache(maxsize=8)
def tasks(plan: BenchPlan) -> tuple[Task, ...]:
    """All readings of a plan, in order. Kept for the plans last asked for: a screen asks several times a second."""
    return tuple(_tasks(plan))


def _tasks(plan: BenchPlan) -> Iterator[Task]:
    yield Task("warm-up", Stage.WARM_UP, None, 0, 0.0)
    for cell, loads in plan.loads_n:
        for series in range(1, plan.series + 1):
            yield from _series(cell, loads, series)
    for cell, loads in plan.loads_n if plan.creep_min else ():
        yield Task(f"{cell}/creep/zero", Stage.CREEP, cell, 0, 0.0)
        yield Task(f"{cell}/creep/load", Stage.CREEP, cell, 0, loads[-1], minutes=plan.creep_min)
        if plan.creep_return:
            yield Task(f"{cell}/creep/zero-return", Stage.CREEP, cell, 0, 0.0)
    yield from _places(plan)
    yield from _crosstalk(plan)
    for i, tilt_deg in enumerate(plan.tilts_deg, 1):
        yield Task(f"tare/{i}", Stage.TARE, None, 0, 0.0, tilt_deg=tilt_deg)


def _series(cell: str, loads: tuple[float, ...], series: int) -> Iterator[Task]:
    where = f"{cell}/{series}"
    yield Task(f"{where}/zero", Stage.ZERO, cell, series, 0.0)
    for i, load_n in enumerate(loads, 1):
        yield Task(f"{where}/rising/{i}", Stage.RISING, cell, series, load_n)
    for i, load_n in reversed(list(enumerate(loads[:-1], 1))):
        yield Task(f"{where}/falling/{i}", Stage.FALLING, cell, series, load_n)
    yield Task(f"{where}/zero-return", Stage.ZERO_RETURN, cell, series, 0.0)


def _places(plan: BenchPlan) -> Iterator[Task]:
    if plan.places:
        yield Task("corners/zero", Stage.CORNERS, None, 0, 0.0)
    for i, place in enumerate(plan.places, 1):
        yield Task(f"corners/{i}", Stage.CORNERS, None, 0, place.load_n, place=place.name)


def _crosstalk(plan: BenchPlan) -> Iterator[Task]:
    for again in range(1, plan.crosstalk_repeats + 1 if plan.crosstalk_n else 1):
        yield Task(f"cross-talk/{again}/zero", Stage.CROSS_TALK, None, again, 0.0)
        for cell in plan.cells:
            yield Task(f"cross-talk/{again}/{cell}", Stage.CROSS_TALK, cell, again, plan.crosstalk_n)
