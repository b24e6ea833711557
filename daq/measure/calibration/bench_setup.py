"""The stored set-up of a guided calibration, and the calibration computed from set-up and readings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from daq.measure.calibration.assembled import Made, assembled
from daq.measure.calibration.bench_plan import BenchPlan, OffAxisPlace, Stage, tasks
from daq.measure.calibration.board import Board
from daq.measure.calibration.budget import BenchConditions
from daq.measure.calibration.certificate import Circumstances
from daq.measure.calibration.content import board_from, lists_of
from daq.measure.calibration.model import CalibratedChannel
from daq.measure.calibration.procedure import Bench
from daq.measure.calibration.tilt import tilt_channel
from daq.measure.calibration.weights import Weights, pull_n

SHORTEST_READING_S = 2.0


@dataclass(frozen=True, slots=True)
class Setup:
    """One guided calibration, before anything is read."""

    plan: BenchPlan
    conditions: BenchConditions
    circumstances: Circumstances
    order: int = 2
    """1: a line, 2: a parabola."""
    read_s: float = 5.0
    """How long a reading takes."""
    tilt: str | None = None
    """Name of the tilt channel."""
    degrees_per_count: float | None = None
    """Of the tilt channel, from the board; None if unknown."""
    known_tilts: bool = False
    """The tilts of the plan are set with a level: they calibrate the tilt channel too."""
    expected_per_n: tuple[tuple[str, float], ...] = ()
    """Counts per newton of cells, by data sheet or an earlier calibration."""
    typical_load_n: float = 200.0
    """On every cell in use, for the residual of the cross-talk correction."""
    simulated: bool = False
    board: Board | None = None
    """As it was when the calibration was begun."""

    def __post_init__(self) -> None:
        if self.order not in (1, 2):
            raise ValueError(f"order: expected 1 (a line) or 2 (a parabola), got {self.order!r}")
        if not SHORTEST_READING_S <= self.read_s <= 600.0:
            raise ValueError(f"read_s: expected {SHORTEST_READING_S:g} to 600 s a reading, got {self.read_s:g}")
        if self.plan.tilts_deg and self.tilt is None:
            raise ValueError("tilts: the board has no tilt channel, so no tilt tare can be taken; leave the tilts out")
        if self.tilt and self.plan.tilts_deg and self.degrees_per_count is None and not self.known_tilts:
            raise ValueError(
                "tilts: what a count of the tilt channel is worth is not known; set the tilts with a level and say so"
            )

    @property
    def kg_per_n(self) -> float | None:
        """The mass that pulls with one newton here, to give weights in kilograms; None: a reference cell measures the
        force."""
        return 1.0 / pull_n(1.0, self.conditions.g_m_s2) if self.conditions.by_weights else None

    @property
    def tilt_by_board(self) -> CalibratedChannel | None:
        """The tilt channel, with what the board itself knows."""
        if self.tilt is None or self.degrees_per_count is None:
            return None
        return CalibratedChannel(self.tilt, "tilt", (0.0, self.degrees_per_count))


def to_content(setup: Setup) -> dict[str, Any]:
    """Lists, texts and numbers that JSON preserves exactly."""
    return {key: lists_of(value) for key, value in asdict(setup).items()}


def from_content(content: Mapping[str, Any]) -> Setup:
    """The stored set-up. ValueError or TypeError for invalid content."""
    plan, conditions = dict(content["plan"]), dict(content["conditions"])
    plan |= {
        "channels": tuple(plan["channels"]),
        "loads_n": tuple((cell, tuple(loads)) for cell, loads in plan["loads_n"]),
        "places": tuple(OffAxisPlace(**{**place, "cells": tuple(place["cells"])}) for place in plan["places"]),
        "tilts_deg": tuple(plan["tilts_deg"]),
    }
    conditions["weights"] = Weights(**conditions["weights"])
    return Setup(
        **{
            **content,
            "plan": BenchPlan(**plan),
            "conditions": BenchConditions(**conditions),
            "circumstances": Circumstances(**content["circumstances"]),
            "expected_per_n": tuple((cell, per_n) for cell, per_n in content["expected_per_n"]),
            "board": None if content.get("board") is None else board_from(content["board"]),
        }
    )


def made_from(setup: Setup, bench: Bench, *, id: str, made_utc: str) -> Made:
    """The calibration of a finished bench. Raises what `assembled` does, and TareError for tilts that fit no line."""
    made = assembled(
        bench,
        setup.order,
        setup.conditions,
        id=id,
        made_utc=made_utc,
        simulated=setup.simulated,
        tilt=_tilt(setup, bench),
        typical_load_n=setup.typical_load_n,
    )
    return replace(made, calibration=replace(made.calibration, board=setup.board))


def _tilt(setup: Setup, bench: Bench) -> CalibratedChannel | None:
    """From the tilts set with a level, if there are any; otherwise from the board."""
    if not setup.known_tilts or setup.tilt is None:
        return setup.tilt_by_board
    column = bench.plan.channels.index(setup.tilt)
    done = [
        (task.tilt_deg, bench.used[task.id].counts[column])
        for task in tasks(bench.plan)
        if task.stage is Stage.TARE and task.tilt_deg is not None and task.id in bench.used
    ]
    if not done:
        return setup.tilt_by_board
    tilts_deg, counts = zip(*done, strict=True)
    return tilt_channel(setup.tilt, tilts_deg, counts)
