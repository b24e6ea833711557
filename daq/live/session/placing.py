"""Where saddle and bar belong in the sweep shown, and where the jig's position sensors see them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from daq.fit.intake import Saddle
from daq.fit.setting import Placed, Start, as_set, planned, start_of
from daq.keep.json_text import plain
from daq.measure.positions import Positions
from daq.refusals import NotNow
from daq.rig import Geometry
from daq.sweep.progress import SweepProgress
from daq.values import NAN, Setting


class Placing:
    """Reads the sweep, the client's bicycle and the sensors; changes nothing."""

    def __init__(
        self,
        geometry: Geometry,
        *,
        progress: Callable[[], SweepProgress | None],
        positions: Callable[[], Positions],
        saddle: Callable[[], Saddle | None],
        tilt_deg: Callable[[], float | None],
    ) -> None:
        """progress: of the sweep shown. positions: what the sensors read. saddle: on the client's own bicycle.
        tilt_deg: of the saddle as measured today."""
        self._geometry, self._progress, self._positions = geometry, progress, positions
        self._saddle, self._tilt_deg = saddle, tilt_deg

    def target(self) -> Placed | None:
        """Where saddle and bar should be at the requested position; None if none is requested."""
        progress = self._progress()
        asked_mm = None if progress is None else progress.asked_setback_mm
        return None if asked_mm is None else self.place_at(asked_mm)

    def place_at(self, setback_mm: float) -> Placed:
        """Where saddle and bar should be at any setback, by the policies of the plan. NotNow without a sweep."""
        return planned(self._shown().plan, self._start(), setback_mm, self._saddle())

    def as_set(self, setback_mm: float, setting: Setting) -> Placed:
        """A position of the sweep as it was set, with the changes from the start. NotNow without a sweep."""
        return as_set(self._start(), setback_mm, setting)

    def measured(self) -> dict[str, float]:
        """What the jig's position sensors read now, mm, keyed by the fields of a setting and setback_mm; empty without
        sensors."""
        return {name: round(mm, 1) for name, mm in self._positions().now.items()}

    def confirmed(self, setback_mm: float | None, said: Mapping[str, float | None]) -> dict[str, Any]:
        """The full setting a fitter confirms by naming only what differs from both plan and position sensors, as an
        event has it; empty where no position is requested or named. NotNow while the sensors see a part move."""
        progress = self._progress()
        asked_mm = None if progress is None else progress.asked_setback_mm
        at_mm = asked_mm if setback_mm is None else setback_mm
        if at_mm is None:
            return {}
        positions, read, u_setback_mm = self._positions(), self.measured(), None
        if setback_mm is None:
            if why := positions.moves() or positions.doubt(at_mm):
                raise NotNow(why)
            at_mm, u_setback_mm = read.pop("setback_mm", at_mm), positions.u_mm.get("setback_mm")
        as_planned = plain(self.place_at(at_mm).setting)
        rounded = {name: None if value is None else round(value, 1) for name, value in as_planned.items()}
        setting = {**rounded, **{name: mm for name, mm in read.items() if name in rounded}, **said}
        return {"setback_mm": at_mm, "setting": setting, "u_setback_mm": u_setback_mm}

    def _shown(self) -> SweepProgress:
        progress = self._progress()
        if progress is None:
            raise NotNow("no sweep is set up", see="plan")
        return progress

    def _start(self) -> Start:
        shown, tilt_deg = self._shown(), self._tilt_deg()
        return start_of(
            shown.plan,
            self._geometry,
            next(iter(shown.steps), None),
            saddle_tilt_deg=NAN if tilt_deg is None else tilt_deg,
        )
