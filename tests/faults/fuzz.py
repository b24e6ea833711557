"""Every command that reads a file from elsewhere, given what nobody would write: `python -m tests.faults.fuzz [CASES]`.

3,000 cases each in a full run, 100 in the tests, the same ones every time. A case fails when the command ends in a
traceback, takes longer than ten seconds, takes more than 300 MB, sends a control character to the terminal, or ends
with a code that means something else. Cases run in processes of a few hundred, so that memory can be told apart.
"""

from __future__ import annotations

import json
import resource
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from pathlib import Path

import numpy as np
from click.testing import CliRunner

from tests.faults.fuzz_inputs import WORDS, Inputs

MOST_S, MOST_WAIT_S, MOST_BYTES = 10.0, 60.0, 300 * 2**20
"""Processor time, and time on the wall: a machine that does much else makes no hang, waiting for a pipe does."""
CODES = {0, 1, 2, 4}
"""3 and 130 have no business with a file."""
BATCH = 250
ADDRESS_SPACE = 6 * 2**30
"""So that a case that would take the machine's memory fails alone."""


class Hang(BaseException):
    """The case took too long. No Exception: nobody catches it on the way."""


@dataclass
class Outcome:
    """How one batch of cases went."""

    cases: int = 0
    codes: dict[int, int] = field(default_factory=dict)
    longest_s: float = 0.0
    most_mib: float = 0.0
    """By which a case raised the memory of its process, at most."""
    failures: list[str] = field(default_factory=list)

    def add(self, other: Outcome) -> None:
        """Takes in another batch."""
        self.cases += other.cases
        for code, count in other.codes.items():
            self.codes[int(code)] = self.codes.get(int(code), 0) + count
        self.longest_s = max(self.longest_s, other.longest_s)
        self.most_mib = max(self.most_mib, other.most_mib)
        self.failures += other.failures


def run_batch(name: str, first: int, count: int) -> Outcome:
    """Runs cases first, first + 1 ... of a command in this process."""
    resource.setrlimit(resource.RLIMIT_AS, (ADDRESS_SPACE, ADDRESS_SPACE))
    found = Outcome()
    with tempfile.TemporaryDirectory() as folder:
        inputs = Inputs(Path(folder))
        for _ in range(2):  # imports and caches are not the case's memory; and a sound input has to be one
            code, said, error = _ended(inputs.sound(name))
            assert code == 0, f"a sound input of {name} ended with {code}: {said}{error}"
        for number in range(first, first + count):
            _judge(found, name, number, inputs.case(name, np.random.default_rng([number, len(name)])))
    return found


def _judge(found: Outcome, name: str, number: int, words: list[str]) -> None:
    before, started = _peak_bytes(), time.process_time()
    try:
        with _limited():
            code, said, error = _ended(words)
    except Hang:
        code, said, error = -1, "", f"longer than {MOST_S:g} s"
    took_s, grew = time.process_time() - started, _peak_bytes() - before
    found.cases += 1
    found.codes[code] = found.codes.get(code, 0) + 1
    found.longest_s, found.most_mib = max(found.longest_s, took_s), max(found.most_mib, grew / 2**20)
    strange = next((repr(letter) for letter in said if ord(letter) < 32 and letter not in "\n\t\r"), "")
    if error or code not in CODES or grew > MOST_BYTES or strange or "Traceback" in said:
        what = error or strange or f"code {code}, {grew / 2**20:.0f} MiB"
        found.failures.append(f"{name} {number}: {what}: {said[-300:]}")


def _ended(words: list[str]) -> tuple[int, str, str]:
    """Exit code, all that was said, and the error that is none of ours."""
    if words[0] == "serve":
        return _rig_read(Path(words[2]))
    from daq.cli import main

    done = CliRunner().invoke(main, words, input=b"")
    fault = done.exception is not None and not isinstance(done.exception, SystemExit)
    return done.exit_code, done.output, f"{type(done.exception).__name__}: {done.exception}" if fault else ""


def _rig_read(path: Path) -> tuple[int, str, str]:
    """What `foreaft serve` does with a rig file before it opens ports, without the daemon that would go on."""
    from daq.items import BOARD
    from daq.live.real import read_rig
    from daq.pipeline import Pipeline
    from daq.rig_file import RigError
    from daq.transmitters import decoder_of

    try:
        _, rig, calibration = read_rig(path)
        Pipeline(rig, calibration)
        decoder_of(rig, BOARD).feed_pieces([(0, b""), (1, b"1" * 500 + b"\r\n" + b"ST,GS,+1.0kg\r\n")])
    except RigError as error:
        return 2, "", "" if str(error) else "refused without a word"
    except Exception as error:
        return 1, "", f"{type(error).__name__}: {error}"
    return 0, "", ""


@contextmanager
def _limited() -> Iterator[None]:
    def ring(*_: object) -> None:
        raise Hang

    limits = ((signal.SIGPROF, signal.ITIMER_PROF, MOST_S), (signal.SIGALRM, signal.ITIMER_REAL, MOST_WAIT_S))
    for number, timer, seconds in limits:
        signal.signal(number, ring)
        signal.setitimer(timer, seconds)
    try:
        yield
    finally:
        for _, timer, _ in limits:
            signal.setitimer(timer, 0)


def _peak_bytes() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def fuzz(name: str, cases: int) -> Outcome:
    """Runs so many cases of a command, in processes of their own."""
    found = Outcome()
    for first in range(0, cases, BATCH):
        count = min(BATCH, cases - first)
        command = [sys.executable, "-m", "tests.faults.fuzz", name, str(first), str(count)]
        done = subprocess.run(command, capture_output=True, text=True, timeout=60 + MOST_WAIT_S * count, check=False)
        if done.returncode:
            found.failures.append(f"{name} {first}: the process ended with {done.returncode}: {done.stderr[-600:]}")
        else:
            found.add(Outcome(**json.loads(done.stdout.splitlines()[-1])))
    return found


def told(name: str, found: Outcome) -> str:
    """An outcome in one line."""
    codes = ", ".join(f"{count} ended with {code}" for code, count in sorted(found.codes.items()))
    return f"{name}: {found.cases} cases, {codes}; at most {found.longest_s:.1f} s and {found.most_mib:.0f} MiB"


def main(cases: int) -> int:
    """All commands in full."""
    failed = 0
    for name in WORDS:
        found = fuzz(name, cases)
        failed += len(found.failures)
        print("\n".join([told(name, found), *found.failures[:20]]), flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    match sys.argv[1:]:
        case [name, first, count]:
            print(json.dumps(asdict(run_batch(name, int(first), int(count)))))
        case [name, count] if name in WORDS:
            outcome = fuzz(name, int(count))
            print("\n".join([told(name, outcome), *outcome.failures]))
        case words:
            raise SystemExit(main(int(words[0]) if words else 3000))
