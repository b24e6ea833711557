"""A process that writes a session until it is killed: `python -m tests.faults.writer store`.

After each acknowledged put it prints the put's number. It goes on with a session that was cut off.
"""

import sys
from pathlib import Path

from daq.keep.store import Store
from tests.keep.jig import begin, second_of_session


def main(path: Path) -> None:
    """Puts second after second, for ever."""
    with Store.open(path) as store:
        unfinished = [session for session in store.sessions() if session.ended_us is None]
        session_id = unfinished[-1].id if unfinished else begin(store)
        second = store.last_us(session_id) // 1_000_000 + 1
        while True:
            store.put(session_id, second_of_session(second))
            print(second, flush=True)
            second += 1


if __name__ == "__main__":
    main(Path(sys.argv[1]))
