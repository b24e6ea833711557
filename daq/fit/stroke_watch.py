"""What the stroke did at each saddle position: ripple of the loads, torque over the turn, angles the sensor names.

Feed everything that went into the pipeline and everything that came out, in order; the same live and again later.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from daq.items import Item, Notification
from daq.measure.ripple import Ripple, Turned, ripple, shapes_of, turned
from daq.measure.turn_torque import TurnTorque, mean_angle_deg, torque_over_turn
from daq.values import Array, Loads, Status, StepMean, Stroke
from daq.wire.cycling_power import MEASUREMENT_UUID, decode_power
from daq.wire.cycling_power_vector import VECTOR_UUID, decode_vector

HISTORY_S = 900.0
"""How much of the current step is kept; a longer dwell is judged by its last quarter of an hour. At 1 kHz its loads
take 22 MB, by far the largest item in memory, and grow no further after the first quarter of an hour."""
SPACING_OFF = 0.3
"""If the spacing of torque samples differs from the usual by more than this fraction, a notification was lost."""


@dataclass(frozen=True, slots=True)
class StepShape:
    """The stroke at one saddle position."""

    hands: Ripple
    saddle: Ripple
    both: Ripple
    """Hands and saddle together: what the legs' push takes off the seat, twice a turn."""
    torque: TurnTorque | None
    """None if the power sensor sends no torque over the turn."""
    top_dead_spot_deg: tuple[float, float] | None
    """Mean of the angles reported by the sensor, with its standard error; None if it reports none."""
    bottom_dead_spot_deg: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class _Vector:
    """One notification of torque over the turn."""

    received_s: float
    first_deg: float
    torque_nm: tuple[float, ...]


class StrokeWatch:
    """Verbs: `hear` an item that goes in, `see` an output that comes out."""

    def __init__(self) -> None:
        self._loads: deque[tuple[Array, Array, Array]] = deque()
        self._vectors: deque[_Vector] = deque()
        self._dead_spots: deque[tuple[float, int | None, int | None]] = deque()
        self._marked = False
        self._found: dict[float, StepShape] = {}

    def hear(self, item: Item) -> None:
        """Keep what a power sensor sends besides power; undecodable notifications are counted by the pipeline."""
        if not isinstance(item, Notification) or item.characteristic not in (VECTOR_UUID, MEASUREMENT_UUID):
            return
        received_s = item.received_us / 1e6
        try:
            if item.characteristic == VECTOR_UUID:
                vector = decode_vector(item.payload)
                if vector.first_angle_deg is not None and vector.torque_32:
                    torque_nm = tuple(sample / 32.0 for sample in vector.torque_32)
                    self._vectors.append(_Vector(received_s, float(vector.first_angle_deg), torque_nm))
                    while self._vectors[0].received_s < received_s - HISTORY_S:
                        self._vectors.popleft()
                return
            power = decode_power(item.payload)
        except ValueError:
            return
        if power.top_dead_spot_deg is not None or power.bottom_dead_spot_deg is not None:
            self._dead_spots.append((received_s, power.top_dead_spot_deg, power.bottom_dead_spot_deg))
            while self._dead_spots[0][0] < received_s - HISTORY_S:
                self._dead_spots.popleft()

    def see(self, output: object) -> None:
        """Keep loads; at the end of a step, compute the shape of its strokes."""
        if isinstance(output, Loads):
            self._marked = self._marked or bool((output.status & Status.CRANK_MARK).any())
            self._loads.append((output.t_s, output.hands_n, output.saddle_n))
            while self._loads[0][0][-1] < output.t_s[-1] - HISTORY_S:
                self._loads.popleft()
        elif isinstance(output, StepMean) and output.strokes:
            self._found[output.t_min] = self._shape(output.strokes)
            self._loads.clear()
            self._vectors.clear()
            self._dead_spots.clear()

    def of(self, steps: list[StepMean]) -> tuple[StepShape | None, ...]:
        """The stroke shapes of these steps; None where there is none."""
        return tuple(self._found.get(step.t_min) for step in steps)

    def _shape(self, strokes: tuple[Stroke, ...]) -> StepShape:
        edges_s = np.array(sorted({t_s for stroke in strokes for t_s in (stroke.start_s, stroke.end_s)}))
        t_s, hands_n, saddle_n = (np.concatenate(column) for column in zip(*self._loads, strict=True))
        hands, saddle, both = self._ripples(t_s, (hands_n, saddle_n, hands_n + saddle_n), edges_s)
        inside = [one for one in self._dead_spots if edges_s[0] <= one[0] <= edges_s[-1]]
        vectors = [one for one in self._vectors if edges_s[0] <= one.received_s <= edges_s[-1]]
        cadence_rpm = float(np.mean([stroke.cadence_rpm for stroke in strokes]))
        return StepShape(
            hands=hands,
            saddle=saddle,
            both=both,
            torque=_torque(vectors, cadence_rpm),
            top_dead_spot_deg=_mean_angle([top for _, top, _ in inside]),
            bottom_dead_spot_deg=_mean_angle([bottom for _, _, bottom in inside]),
        )

    def _ripples(self, t_s: Array, loads_n: Sequence[Array], edges_s: Array) -> list[Ripple]:
        """Of each load, over the scans in which it is known: mostly the same ones for all."""
        strokes: dict[bytes, list[Turned]] = {}
        found = []
        for load_n in loads_n:
            known = np.isfinite(load_n)
            which = known.tobytes()
            if which not in strokes:
                strokes[which] = turned(t_s[known], edges_s)
            found.append(ripple(shapes_of(strokes[which], load_n[known], angle_known=self._marked)))
        return found


def _mean_angle(angles_deg: list[int | None]) -> tuple[float, float] | None:
    known = np.array([one for one in angles_deg if one is not None], dtype=np.float64)
    return mean_angle_deg(known) if len(known) > 1 else None


def _torque(vectors: list[_Vector], cadence_rpm: float) -> TurnTorque | None:
    """Torque over the turn from the vectors of a step, each sample placed by where the next vector begins.

    The rate at which a sensor samples is not in its vectors; how far the crank turns from one to the next is.
    """
    if len(vectors) < 3:
        return None
    turned, spacings = [0.0], []
    for this, following in pairwise(vectors):
        ahead_deg = (following.first_deg - this.first_deg) % 360.0
        expected_deg = 6.0 * cadence_rpm * (following.received_s - this.received_s)
        ahead_deg += 360.0 * max(0, round((expected_deg - ahead_deg) / 360.0))
        spacings.append(ahead_deg / len(this.torque_nm))
        turned.append(turned[-1] + ahead_deg)
    usual = float(np.median(spacings))
    kept = [i for i, spacing in enumerate(spacings) if abs(spacing - usual) <= SPACING_OFF * usual]
    if not kept or usual <= 0.0:
        return None
    angles = np.concatenate(
        [vectors[0].first_deg + turned[i] + spacings[i] * np.arange(len(vectors[i].torque_nm)) for i in kept]
    )
    torques = np.concatenate([np.array(vectors[i].torque_nm) for i in kept])
    turns = np.floor(angles / 360.0).astype(np.int64)
    one = torque_over_turn(angles, torques, turns, both_legs=False)
    return one if _one_leg(one) else torque_over_turn(angles, torques, turns, both_legs=True)


def _one_leg(found: TurnTorque) -> bool:
    """Whether torque peaks once per turn, as from one leg, rather than twice, as from both."""
    known = np.isfinite(found.torque_nm)
    angle = np.radians(found.angle_deg[known])
    once, twice = (abs(np.mean(found.torque_nm[known] * np.exp(-1j * k * angle))) for k in (1, 2))
    return bool(once > twice)
