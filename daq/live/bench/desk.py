"""A guided calibration on the incoming scans: one reading after the other, judged before it is accepted. The engineer
has a few verbs; each is stored before it shows, so an interruption costs at most the current reading. Times are session
times.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable
from typing import Any, TypeVar

from daq.keep.errors import StoreError
from daq.keep.store import Store, calibrations
from daq.keep.store.writing import is_of_the_content
from daq.live.bench.lately import Lately
from daq.live.bench.reading import BenchReading
from daq.live.bench.standing import utc_now
from daq.measure.calibration import Calibration
from daq.measure.calibration.assembled import Made
from daq.measure.calibration.bench_log import StepKind, applied, bench_of, content_of
from daq.measure.calibration.bench_plan import OF_SERIES, Stage, Task, tasks
from daq.measure.calibration.bench_setup import Setup, from_content, made_from, to_content
from daq.measure.calibration.certificate import certificate
from daq.measure.calibration.checks import SHORTEST_WARM_UP_S, findings
from daq.measure.calibration.finding import Finding, Wrong
from daq.measure.calibration.load_checks import counts_per_n
from daq.measure.calibration.procedure import TRANSITIONS, Bench, BenchTrigger, Taken, minutes_left
from daq.measure.calibration.steadiness import Settled
from daq.refusals import NotNow, Refusal
from daq.values import Samples

T = TypeVar("T")
Ask = Callable[[Callable[[Store], T]], Awaitable[T]]
log = logging.getLogger("foreaft.bench")
CREEP_POINTS = 60
AROUND_S = 0.2
"""Scans arrive in blocks; a reading lasts this much longer than requested, so that its scans span the whole time."""


class BenchDesk:
    """One guided calibration in progress. Scans go into `feed`; the engineer's verbs are the coroutines."""

    def __init__(self, number: int, setup: Setup, bench: Bench, ask: Ask[Any], *, on_for_s: float = 0.0) -> None:
        """number: of the bench in the store. ask: runs a function with the store. on_for_s: power is on already."""
        self.number, self.setup, self.bench = number, setup, bench
        self.pending: tuple[Finding, ...] = ()
        """What is wrong with the latest reading; the engineer accepts it or repeats it."""
        self.calibration: Calibration | None = None
        """Its result."""
        self.problem = ""
        """Why the finished bench gave no calibration, or the last reading no judgement."""
        self._to_make = False
        """Whether all readings are stored and what they make is not."""
        self._ask = ask
        self._one_at_a_time = asyncio.Lock()
        self._lately = Lately(on_for_s)
        self._reading: BenchReading | None = None
        self._settled: Settled | None = None
        self._accepted: tuple[str, ...] = ()

    # --- what arrives -----------------------------------------------------------------------------------------------

    def feed(self, samples: Samples) -> None:
        """More scans of the board, all channels."""
        if not len(samples) or samples.counts.shape[1] != len(self.bench.plan.channels):
            return
        self._lately.feed(samples)
        if self._reading is not None:
            self._reading.feed(samples)

    async def beat(self) -> bool:
        """Process a reading that has ended, or make the calibration that the store did not take; returns whether
        something changed. StoreError."""
        if self._to_make:
            async with self._one_at_a_time:
                if self._to_make:  # still, now that a step under way has ended
                    await self._make()
                self._reading = None
            return True
        reading, task = self._reading, self.bench.task
        if reading is None or task is None or not reading.complete:
            return False
        try:
            await self._end(task, reading)
        except Exception as error:
            if not isinstance(error, Refusal):  # which the engineer's own step may have made it meanwhile
                self._failed(error, "this reading could not be used", "Read again")
            self._accepted = ()
        if self._reading is reading:
            self._reading = None
        return True

    def _failed(self, error: Exception, what: str, cure: str) -> None:
        """Say that something failed and would fail again, by a fault of ours. What the store holds up is raised."""
        if isinstance(error, StoreError) and not is_of_the_content(error):
            raise error
        log.exception("the bench failed")
        self.problem = (
            f"{what}, by a fault of this program ({type(error).__name__}); everything received is kept. {cure}, and "
            "report it with the log"
        )

    async def _end(self, task: Task, reading: BenchReading) -> None:
        """Process a complete reading. It stays the current one until the result is stored."""
        if task.id.endswith("creep/load") and reading.trace_every_s is None:
            self._creep_begun(reading)
            return
        self._settled = reading.settled()
        if reading.trace_every_s is None:
            await self._judge()
        elif self._settled.saturated[self._column(task)]:
            self.pending = (Finding(Wrong.SATURATED, f"{task.cell}: the converter came to its end during the test"),)
        else:
            await self._take(reading.settled_first, reading.trace(self._column(task)))

    # --- what the engineer does --------------------------------------------------------------------------------------

    def read(self) -> None:
        """Begin the reading that is due. NotNow while one is running, or if none is due."""
        task = self._due()
        if self._reading is not None:
            raise NotNow("a reading is being taken; let it end, or break it off")
        self.pending, self._settled, self.problem = (), None, ""
        seconds, keep_s = self.setup.read_s, None
        if task.stage is Stage.WARM_UP:
            keep_s = SHORTEST_WARM_UP_S + AROUND_S
            seconds = max(keep_s, 60.0 * self.bench.plan.warm_up_min - self.on_s + AROUND_S)
        self._reading = BenchReading(seconds + AROUND_S, keep_s=keep_s)

    def break_off(self) -> None:
        """Abandon the current reading, or the one being judged; nothing of it is kept."""
        if self._reading is None and not self.pending:
            raise NotNow("no reading is being taken")
        self._reading, self._settled, self.pending, self._accepted = None, None, (), ()

    async def accept(self) -> None:
        """Accept the reading in spite of the finding, which is kept with it. NotNow if not allowed; StoreError."""
        if self._settled is None or not self.pending:
            raise NotNow("there is no reading with a finding to accept")
        for finding in self.pending:
            if not finding.may_be_accepted:
                raise NotNow(f"this cannot be accepted, read again: {finding.sentence}")
        settled, pending = self._settled, self.pending
        self._accepted = tuple(finding.sentence for finding in pending)
        task = self._due()
        self.pending = ()
        if task.id.endswith("creep/load"):
            self._follow_creep(settled)
            return
        try:
            await self._take(settled)
        except StoreError:
            self._settled, self.pending = settled, pending  # to be accepted again once there is room
            raise

    async def redo(self, task_id: str) -> None:
        """Repeat one reading; the previous one stays in the record."""
        await self._step(StepKind.REDO, {"task": task_id})

    async def redo_series(self, cell: str, series: int) -> None:
        """Repeat a whole series of a cell."""
        await self._step(StepKind.REDO_SERIES, {"cell": cell, "series": series})

    async def redo_last(self) -> None:
        """Repeat the latest reading. NotNow before the first."""
        used = [taken.task for taken in self.bench.taken if not taken.replaced]
        if not used:
            raise NotNow("nothing was read yet")
        await self.redo(used[-1])

    async def skip(self) -> None:
        """Skip the rest of this stage."""
        await self._step(StepKind.SKIP, {})

    async def stop(self) -> None:
        """End the calibration early; the readings stay."""
        await self._step(StepKind.STOP, {})

    # --- what is shown ----------------------------------------------------------------------------------------------

    @property
    def latest_ticks_us(self) -> int | None:
        """The board's clock at the last scan that arrived; None before the first."""
        return self._lately.ticks_us

    @property
    def on_s(self) -> float:
        """Seconds the power is known to be on."""
        return self._lately.on_s

    def fields(self) -> dict[str, Any]:
        """Everything a screen shows."""
        task, reading = self.bench.task, self._reading
        every, done = {one.id: one for one in tasks(self.bench.plan)}, self.bench.used
        return {
            "number": self.number,
            "stage": str(self.bench.stage),
            "task": None if task is None else self._task_fields(task),
            "minutes_left": minutes_left(self.bench, self.setup.read_s),
            "instruction": "" if task is None else task.instruction(self.setup.kg_per_n),
            "done": sum(one in done for one in every),
            "planned": sum(one.id in done or one.stage not in self.bench.skipped for one in every.values()),
            "taken": [_taken_fields(every[one]) for one in done],
            "reading": None if reading is None else {"seconds": reading.seconds, "of_s": reading.asked_s},
            "findings": [
                {"kind": str(one.kind), "sentence": one.sentence, "may_be_accepted": one.may_be_accepted}
                for one in self.pending
            ],
            "accepts": self.accepts(),
            "live": self.live(),
            "calibration": None if self.calibration is None else self.calibration.id,
            "problem": self.problem,
        }

    def _task_fields(self, task: Task) -> dict[str, Any]:
        """The task, and over which cells its weight hangs, kg; None where a reference cell measures the force."""
        shared = next((place.cells for place in self.bench.plan.places if place.name == task.place), ())
        per_n = self.setup.kg_per_n
        return {
            "id": task.id,
            "cell": task.cell,
            "load_n": task.load_n,
            "kg": None if per_n is None else task.load_n * per_n,
            "over": [task.cell] if task.cell else list(shared),
            "place": task.place,
            "tilt_deg": task.tilt_deg,
        }

    def accepts(self) -> list[str]:
        """The verbs that make sense now."""
        if self._reading is not None:
            return ["break-off"]
        verbs: list[str] = []
        if self.bench.task is not None:
            verbs.append("read")
        if self.pending:
            verbs += ["accept"] if all(one.may_be_accepted for one in self.pending) else []
        if any(not taken.replaced for taken in self.bench.taken):
            verbs.append("redo")
        if BenchTrigger.SKIP in TRANSITIONS[self.bench.stage]:
            verbs.append("skip")
        return [*verbs, "stop"] if self.bench.task is not None else verbs

    def live(self) -> list[dict[str, Any]]:
        """What each cell shows now: counts, and newtons above its last zero if they are known."""
        if not self._lately:
            return []
        shown = []
        for cell in self.bench.plan.cells:
            j, per_n = self.bench.plan.channels.index(cell), self._per_n(cell)
            zero, (mean, moves) = self._zero(cell, j), self._lately.shows(j)
            shown.append(
                {
                    "cell": cell,
                    "counts": mean,
                    "load_n": None if zero is None or not per_n else (mean - zero) / per_n,
                    "moves_counts": moves,
                }
            )
        return shown

    # --- within -----------------------------------------------------------------------------------------------------

    def _due(self) -> Task:
        task = self.bench.task
        if task is None:
            raise NotNow(f"the calibration is {self.bench.stage}: no reading is due; take one again to change it")
        return task

    def _column(self, task: Task) -> int:
        assert task.cell is not None
        return self.bench.plan.channels.index(task.cell)

    async def _judge(self) -> None:
        assert self._settled is not None
        self.pending = self._findings(self._settled)
        if not self.pending:
            await self._take(self._settled)

    def _findings(self, settled: Settled) -> tuple[Finding, ...]:
        tilt, tilt_deg = self.setup.tilt_by_board, None
        if tilt is not None:
            counts = settled.mean[self.bench.plan.channels.index(tilt.name)]
            tilt_deg = tilt.coefficients[0] + tilt.coefficients[1] * counts
        return findings(
            self.bench,
            settled,
            minutes=self.on_s / 60.0,
            expected_per_n=dict(self.setup.expected_per_n),
            tilt_deg=tilt_deg,
        )

    def _creep_begun(self, reading: BenchReading) -> None:
        """The load of a creep test is judged at once and then tracked."""
        self._settled = reading.settled()
        self.pending = self._findings(self._settled)
        if not self.pending:
            self._follow_creep(self._settled)

    def _follow_creep(self, first: Settled) -> None:
        seconds = 60.0 * self.bench.plan.creep_min
        self._reading = BenchReading(seconds, trace_every_s=seconds / CREEP_POINTS, first=first)

    async def _take(self, settled: Settled, trace: tuple[tuple[float, float], ...] = ()) -> None:
        now = utc_now()
        reading = Taken(
            self._due().id, now, settled.mean, settled.sd, settled.seconds, trace, accepted_against=self._accepted
        )
        self._accepted, self._settled, self.pending = (), None, ()
        await self._step(StepKind.TAKE, content_of(reading))

    async def _step(self, kind: StepKind, content: dict[str, Any]) -> None:
        async with self._one_at_a_time:
            after = applied(self.bench, kind, content)
            await self._ask(lambda store: calibrations.add_step(store, self.number, kind, content))
            self.bench, self.pending = after, ()
            self.calibration, self.problem = None, ""
            self._to_make = after.stage is Stage.DONE
            if self._to_make:
                await self._make()
            self._reading = None

    async def _make(self) -> None:
        """Compute the calibration and store it with its certificate; readings that do not fit are named."""
        try:
            self.calibration, self.problem = await self._made()
        except Exception as error:
            self._failed(error, "no calibration yet: it could not be computed", "Take the last reading again")
        self._to_make = False

    async def _made(self) -> tuple[Calibration | None, str]:
        """The calibration, stored; or none, and why."""
        made_utc = utc_now()
        version = 1 + await self._ask(lambda store: calibrations.versions(store, self.number))
        name = f"{made_utc[:10]}-bench{self.number}" + (f".{version}" if version > 1 else "")
        try:
            made = made_from(self.setup, self.bench, id=name, made_utc=made_utc)
        except ValueError as error:
            return None, f"no calibration yet: {error}"
        await self._ask(lambda store: _kept(store, self.number, made, self.setup, self.bench))
        return made.calibration, ""

    def _per_n(self, cell: str) -> float | None:
        return counts_per_n(self.bench, cell) or dict(self.setup.expected_per_n).get(cell)

    def _zero(self, cell: str, column: int) -> float | None:
        """Counts of the latest reading with this cell empty."""
        empty = {task.id for task in tasks(self.bench.plan) if task.load_n == 0.0 and task.cell in (None, cell)}
        counts = [taken.counts[column] for taken in self.bench.taken if taken.task in empty and not taken.replaced]
        return counts[-1] if counts else None


def _kept(store: Store, number: int, made: Made, setup: Setup, bench: Bench) -> int:
    content = certificate(made, bench, setup.conditions, setup.circumstances, expected_per_n=dict(setup.expected_per_n))
    return calibrations.add_certificate(store, made.calibration, number, content)


async def new_bench(ask: Ask[Any], session_id: int, setup: Setup, *, on_for_s: float = 0.0) -> BenchDesk:
    """A new guided calibration, stored from its first step on. StoreError."""
    number = await ask(lambda store: calibrations.begin_bench(store, session_id, to_content(setup)))
    return BenchDesk(number, setup, Bench(setup.plan), ask, on_for_s=on_for_s)


def _taken_fields(task: Task) -> dict[str, Any]:
    """A reading that can be taken again; series: that it belongs to, None where it is of none."""
    series = task.series if task.stage in OF_SERIES else None
    return {"task": task.id, "cell": task.cell, "series": series, "words": task.words}


async def taken_up(ask: Ask[Any], channels: tuple[str, ...], *, on_for_s: float = 0.0) -> BenchDesk | None:
    """The latest guided calibration of a board with these channels, if it is unfinished; otherwise None."""
    for record in reversed(await ask(calibrations.benches)):
        setup = from_content(record.setup)
        if setup.plan.channels != channels:
            continue
        bench = bench_of(setup.plan, record.steps)
        if bench.task is None:
            return None
        return BenchDesk(record.id, setup, bench, ask, on_for_s=on_for_s)
    return None
