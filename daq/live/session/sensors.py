"""The rig's sensors: their bytes decoded into items, and the state of each."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterator
from functools import partial

from daq.items import BOARD, CADENCE, FAULT, HEART, POWER, Event, Item, Notification, WireBytes
from daq.live.session.listening import Tell, log, safely
from daq.pipeline import Pipeline, item_of
from daq.refusals import NotNow
from daq.rig import Rig
from daq.sources.health import Counters, SourceHealth
from daq.transmitters import decoder_of
from daq.values import Samples, Status
from daq.wire import board

UNREADABLE = (
    "what the board sent could not be read, by a fault of this program: its bytes are kept as they came. Report it "
    "with the log"
)
NO_HELLO = (
    "the board's hello could not be used, by a fault of this program: what it says is kept as text. Report it with the "
    "log"
)
NO_TURNS = (
    "sends power and no cadence, so the effort stays unknown: take a sensor that counts crank turns, name one for the "
    'cadence under [cadence], or type both (effort = "typed" in the rig file)'
)


class Sensors:
    """What has arrived and has not been taken yet. The links call arrive_*, the acquisition takes."""

    def __init__(
        self,
        rig: Rig,
        pace: float,
        *,
        record: Callable[[WireBytes | Notification], None] | None,
        notice: Tell,
        pipeline: Callable[[], Pipeline],
    ) -> None:
        """record: gets what arrives, for a recording; None without one. notice: gets level and sentence, for a person.
        pipeline: the current one."""
        self._rig, self._record, self._notice, self._pipeline = rig, record, notice, pipeline
        self.decoder = decoder_of(rig, BOARD)
        self.greeting: board.HelloBody | None = None
        """The board's latest hello; None before the first."""
        self.health = {
            BOARD: SourceHealth(
                rig.loads_from, "board", self._board_counters, self._board_trouble, pace, rig.typed is None
            ),
            POWER: SourceHealth(POWER, "power", self._power_counters, self._power_trouble, pace, rig.power is not None),
        }
        for name in (CADENCE, HEART):
            if getattr(rig, name) is not None:
                self.health[name] = SourceHealth(name, "power", trouble=partial(self._link_trouble, name))
        self.links: dict[str, Callable[[], str]] = dict.fromkeys(self.health, str)
        """What each link says is wrong; this and the next two are set by whoever connects the links."""
        self.told: Callable[[board.Item], None] = lambda _: None
        """Called with everything the board sends."""
        self.compensate: Callable[[], Awaitable[str]] | None = None
        """Asks the power sensor to find its own zero; None without a sensor that can be asked."""
        self.tare_asked = False
        """Whether the board's last scan has the tare button's bit set."""
        self._undecoded: list[tuple[int, bytes]] = []
        self._inbox: list[Item] = []
        self._refusal = ""
        self._lost_before = (0, 0)
        """By decoders that failed."""

    def arrive_bytes(self, received_us: int, data: bytes) -> None:
        """Bytes of board or transmitter, as its port gave them; decoded with others on the next beat."""
        self._undecoded.append((received_us, data))

    def arrive_notification(self, received_us: int, characteristic: str, payload: bytes, source: str = POWER) -> None:
        """One notification of a Bluetooth sensor, or a value read from it."""
        notification = Notification(received_us, source, characteristic, payload)
        try:
            self._decode()
        finally:
            self._inbox.append(notification)
        if self._record is not None:
            self._record(notification)
        self.health[source].arrived(received_us, 1)

    def take(self) -> list[Item]:
        """Everything that has arrived since the last call, decoded, in order of arrival."""
        self._decode()
        inbox, self._inbox = self._inbox, []
        return inbox

    def troubles(self, now_us: int) -> dict[str, str]:
        """What is wrong with each sensor and cell now, in one sentence; empty text if nothing is."""
        found = {health.name: health.trouble_now(now_us) for health in self.health.values()}
        pipeline = self._pipeline()
        return found | pipeline.cells.troubles | pipeline.position_troubles

    def _decode(self) -> None:
        """Decode the board's bytes so far into items, before anything later joins the inbox, and all of them into the
        inbox before anything follows from one."""
        pieces, self._undecoded = self._undecoded, []
        decoded = self._decoded(pieces)
        for at_us, said in decoded:
            if isinstance(said, Samples | Event):
                self._inbox.append(said)
            elif isinstance(said, board.HelloBody):
                self._inbox.append(self._hello(said, at_us))
        if self._record is not None:
            for received_us, data in pieces:
                self._record(WireBytes(received_us, BOARD, data))
        for _, said in decoded:
            if not isinstance(said, Event):
                safely(self._hear, said)
                safely(self.told, said)

    def _hello(self, said: board.HelloBody, at_us: int) -> Item:
        """The hello as an item; an event that has it as text, if that fails."""
        try:
            return item_of(said, at_us)
        except Exception:
            log.exception("a hello could not be made an item")
            self._notice("alarm", NO_HELLO)
            return Event(at_us, FAULT, {"part": self._rig.loads_from, "sentence": NO_HELLO, "hello": repr(said)})

    def _decoded(self, pieces: list[tuple[int, bytes]]) -> list[tuple[int, board.Item | Event]]:
        """What the pieces say, with its receipt time; where the decoder fails, its bytes themselves in an event."""
        held = self.decoder.held
        try:
            return list(self.decoder.feed_pieces(pieces))
        except Exception:
            log.exception("the decoder failed")
            self._begin_anew()
            self._notice("alarm", UNREADABLE)
            return list(self._one_by_one([(pieces[0][0], held), *pieces] if held else pieces))

    def _one_by_one(self, pieces: list[tuple[int, bytes]]) -> Iterator[tuple[int, board.Item | Event]]:
        for received_us, data in pieces:
            held = self.decoder.held
            try:
                yield from list(self.decoder.feed_pieces([(received_us, data)]))
            except Exception:
                self._begin_anew()
                content = {"part": self._rig.loads_from, "sentence": UNREADABLE, "bytes": (held + data).hex()}
                yield received_us, Event(received_us, FAULT, content)

    def _begin_anew(self) -> None:
        """A decoder in place of the one that failed, of which nothing can be assumed but what it has counted. The one
        that failed if there is no other: what it fails on is kept all the same."""
        try:
            fresh = decoder_of(self._rig, BOARD)
        except Exception:
            log.exception("no decoder could be made")
            return
        dropped, damaged = self.decoder.lost
        self._lost_before = self._lost_before[0] + dropped, self._lost_before[1] + damaged
        self.decoder = fresh

    def _hear(self, said: board.Item) -> None:
        """Handle one decoded message of the board."""
        if isinstance(said, Samples):
            self.health[BOARD].arrived(int(said.received_us[-1]), len(said))
            self.tare_asked = bool(said.status[-1] & Status.TARE_BUTTON)
        elif isinstance(said, board.WrongVersion):
            self._refusal = str(said)
        elif isinstance(said, board.Reply):
            done = said.result is board.CommandResult.DONE
            if said.text or not done:
                self._notice("info" if done else "caution", f"board: {said.text or said.result.name.lower()}")
        else:
            self._refusal = missing_channels(self._rig, said)
            self._greet(said)

    def _greet(self, hello: board.HelloBody) -> None:
        """Report that the board has restarted, or is another one."""
        last, self.greeting = self.greeting, hello
        if last is not None and hello.board_id != last.board_id:
            other = f"another board, {hello.board_id}, is connected: is the calibration made with it?"
            self._notice("caution", other, see="bench")
        elif last is not None and hello.boot != last.boot:
            self._notice("caution", "the board has restarted: check its power and cable")

    def _board_counters(self) -> Counters:
        pipeline = self._pipeline()
        dropped, damaged = (was + now for was, now in zip(self._lost_before, self.decoder.lost, strict=True))
        return Counters(dropped, damaged, pipeline.late, pipeline.clock_errors_ms[BOARD])

    def _power_counters(self) -> Counters:
        pipeline = self._pipeline()
        return Counters(damaged=pipeline.refused, clock_error_ms=pipeline.clock_errors_ms[POWER])

    def _board_trouble(self) -> str:
        return self._refusal or self.links[BOARD]()

    def _power_trouble(self) -> str:
        silent = self._rig.typed is not None and self._pipeline().sensors.counts_no_turns
        return self.links[POWER]() or (NO_TURNS if silent else "")

    def _link_trouble(self, name: str) -> str:
        return self.links[name]()


def nothing_yet(rig: Rig) -> NotNow:
    """The refusal of what needs loads, before the first hello."""
    return NotNow(f"the {rig.loads_from} has sent nothing usable yet; see its cable and power")


def missing_channels(rig: Rig, hello: board.HelloBody) -> str:
    """What the rig file expects and the board's hello lacks; empty if nothing."""
    there = {channel.name for channel in hello.channels}
    missing = [channel.name for channel in rig.channels if channel.name not in there]
    if not missing:
        return ""
    return f"the board has no channel {', '.join(missing)}; it has {', '.join(sorted(there))}: correct the rig file"
