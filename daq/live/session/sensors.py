"""The rig's sensors as a session hears them: bytes decoded into items, and how each sensor does."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from functools import partial
from typing import TYPE_CHECKING

from daq.items import Item, Notification
from daq.live.session.health import Counters, SourceHealth
from daq.live.telling import view
from daq.pipeline import BOARD, CADENCE, HEART, POWER, item_of
from daq.transmitters import decoder_of
from daq.values import Samples, Status
from daq.wire import board

if TYPE_CHECKING:
    from daq.live.session.session import Session


class Sensors:
    """What has arrived and is not fed yet. The links call arrive_*, the session takes."""

    def __init__(self, session: Session) -> None:
        rig, pace = session.rig, session.clock.pace
        self._session = session
        self.loads_from = BOARD if rig.transmitter is None else "transmitter"
        """What a person calls that which sends the loads."""
        self.decoder = decoder_of(rig, BOARD)
        self.greeting: board.Hello | None = None
        """What the board last said of itself; None before it did."""
        self.health = {
            BOARD: SourceHealth(self.loads_from, "board", self._board_counters, self._board_trouble, pace),
            POWER: SourceHealth(
                POWER, "power", self._power_counters, partial(self._link_trouble, POWER), pace, rig.power is not None
            ),
        }
        for name in (CADENCE, HEART):
            if getattr(rig, name) is not None:
                self.health[name] = SourceHealth(name, "power", trouble=partial(self._link_trouble, name))
        self.links: dict[str, Callable[[], str]] = dict.fromkeys(self.health, str)
        """What each link says is wrong; this and the next two are set by whoever connects the links."""
        self.told: Callable[[board.Item], None] = lambda _: None
        """Hears all that the board says."""
        self.compensate: Callable[[], Awaitable[str]] | None = None
        """Asks the power sensor to find its own zero; None without a sensor that can be asked."""
        self.tare_asked = False
        """Whether the board's tare button is marked in its last scan."""
        self._undecoded: list[tuple[int, bytes]] = []
        self._inbox: list[Item] = []
        self._refusal = ""

    def arrive_bytes(self, received_us: int, data: bytes) -> None:
        """Bytes of board or transmitter, as its port gave them; decoded with others on the next beat."""
        self._undecoded.append((received_us, data))

    def arrive_notification(self, received_us: int, characteristic: str, payload: bytes, source: str = POWER) -> None:
        """One notification of a Bluetooth sensor, or a value read from it."""
        notification = Notification(received_us, source, characteristic, payload)
        self._decode()
        self._session.record(notification)
        self._inbox.append(notification)
        self.health[source].arrived(received_us, 1)

    def take(self) -> list[Item]:
        """All that has arrived since, decoded, in the order of arrival."""
        self._decode()
        inbox, self._inbox = self._inbox, []
        return inbox

    def _decode(self) -> None:
        """Turn the board's bytes that have come so far into items, before anything later joins the inbox."""
        pieces, self._undecoded = self._undecoded, []
        self._session.record_bytes(BOARD, pieces)
        for received_us, said in self.decoder.feed_pieces(pieces):
            self._hear(received_us, said)
            self.told(said)

    def _hear(self, received_us: int, said: board.Item) -> None:
        """One thing the board said."""
        if isinstance(said, Samples):
            self._inbox.append(item_of(said, received_us))
            self.health[BOARD].arrived(int(said.received_us[-1]), len(said))
            self.tare_asked = bool(said.status[-1] & Status.TARE_BUTTON)
        elif isinstance(said, board.WrongVersion):
            self._refusal = str(said)
        elif isinstance(said, board.Reply):
            done = said.result is board.Result.DONE
            if said.text or not done:
                self._session.note("info" if done else "caution", f"board: {said.text or said.result.name.lower()}")
        else:
            self._refusal = view.missing_channels(self._session.rig, said)
            self._inbox.append(item_of(said, received_us))
            self._greet(said)

    def _greet(self, hello: board.Hello) -> None:
        """Tell when the board has restarted, or is another one."""
        last, self.greeting = self.greeting, hello
        note = self._session.note
        if last is not None and hello.board_id != last.board_id:
            note("caution", f"another board, {hello.board_id}, is connected: is the calibration made with it?")
        elif last is not None and hello.boot != last.boot:
            note("caution", "the board has restarted: look after its power and cable")

    def _board_counters(self) -> Counters:
        pipeline = self._session.pipeline
        return Counters(*self.decoder.lost, pipeline.late, pipeline.clock_errors_ms[BOARD])

    def _power_counters(self) -> Counters:
        pipeline = self._session.pipeline
        return Counters(damaged=pipeline.refused, clock_error_ms=pipeline.clock_errors_ms[POWER])

    def _board_trouble(self) -> str:
        return self._refusal or self.links[BOARD]()

    def _link_trouble(self, name: str) -> str:
        return self.links[name]()
