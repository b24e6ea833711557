"""A session's loads, strokes, events and answers as streams of the Lab Streaming Layer."""

from __future__ import annotations

from typing import Any

from daq import __version__
from daq.items import BOARD, Event
from daq.live.lab import streams
from daq.live.lab.layer import Scope, SharedTime, kept_to
from daq.live.lab.streams import EVENTS, ONSET, STROKES, LabStream, loads_stream
from daq.live.session.acquisition import Acquisition
from daq.pipeline import Output
from daq.values import NAN, Loads, Onset, StepMean, Stroke


class LabOutlets:
    """Sends whatever the session tells its listeners. Times are the session's, on the layer's clock."""

    def __init__(self, pylsl: Any, scope: Scope, at: Acquisition) -> None:
        """Opens the streams and listens. LabUnusable when they cannot be kept to this machine, and that was asked."""
        self._pylsl, self._at = pylsl, at
        self.time = SharedTime.found(pylsl, at.clock)
        """As of the last scans."""
        self._loads = loads_stream(at.rig.cells)
        with kept_to(scope):
            self._outlets = {one.name: self._open(one) for one in (self._loads, STROKES, ONSET, EVENTS)}
        at.hears_output.append(self.hear)
        at.hears_event.append(self.hear_event)

    @property
    def are_heard(self) -> bool:
        """Whether somebody takes every stream."""
        return all(outlet.have_consumers() for outlet in self._outlets.values())

    def hear(self, output: Output) -> None:
        """Send what is for others."""
        match output:
            case Loads() if len(output):
                self.time = self.time.now(self._pylsl, self._at.clock)
                rows = streams.loads_rows(output, self._error_ms())
                self._send(self._loads, rows, output.t_s.tolist())
            case Stroke():
                self._send(STROKES, [streams.stroke_row(output, self._error_ms())], [output.end_s])
            case StepMean() if output.strokes:
                self._send(EVENTS, [[streams.step_text(output)]], [output.strokes[-1].end_s])
            case Onset():
                now_s = self._at.clock.now_us() / 1e6
                self._send(ONSET, [streams.onset_row(output)], [now_s])
                self._send(EVENTS, [[streams.verdict_text(output)]], [now_s])

    def hear_event(self, event: Event) -> None:
        """Send what a person did."""
        self._send(EVENTS, [[streams.event_text(event)]], [event.received_us / 1e6])

    def _error_ms(self) -> float:
        error_ms = self._at.pipeline.clock_errors_ms[BOARD]
        return NAN if error_ms is None else error_ms

    def _send(self, stream: LabStream, rows: list[Any], at_s: list[float]) -> None:
        self._outlets[stream.name].push_chunk(rows, [one + self.time.offset_s for one in at_s])

    def _open(self, stream: LabStream) -> Any:
        info = self._pylsl.StreamInfo(
            stream.name,
            stream.type,
            len(stream.channels),
            self._pylsl.IRREGULAR_RATE,
            stream.format,
            f"{stream.name} {self.time.offset_s:.6f}",
        )
        about = info.desc()
        channels = about.append_child("channels")
        for label, unit in stream.channels:
            channels.append_child("channel").append_child_value("label", label).append_child_value("unit", unit)
        acquisition = about.append_child("acquisition")
        acquisition.append_child_value("software", f"Foreaft {__version__}")
        acquisition.append_child_value("simulated", "yes" if self._at.simulated else "no")
        clock = about.append_child("clock")
        clock.append_child_value("session_offset_s", f"{self.time.offset_s:.9f}")
        clock.append_child_value("offset_uncertainty_s", f"{self.time.uncertainty_s:.9f}")
        return self._pylsl.StreamOutlet(info)
