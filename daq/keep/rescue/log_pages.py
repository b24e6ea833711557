"""The pages in the log of a damaged store, as its last transaction left them, and what of the log is damaged.

Each frame is checked against the one before it alone, so one that is lost costs no other.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from daq.keep.store.log import FRAME_HEADER, HEADER, Log, read_log
from daq.words import counted


@dataclass(frozen=True, slots=True)
class LogPages:
    """What was found in a log."""

    pages: dict[int, bytes] = field(default_factory=dict)
    """By number."""
    size: int | None = None
    """Bytes of a page."""
    count: int | None = None
    """Pages of the store after the last transaction."""
    told: tuple[str, ...] = ()
    """What is damaged and costs nothing by itself."""
    problems: tuple[str, ...] = ()
    """What is lost; without a trace elsewhere, since of the pages in question an earlier state is left, or none."""


def read_log_pages(content: bytes, size: int | None, main_pages: int, *, written: int = 0) -> LogPages:
    """The pages of a log. size: of the store's pages, None if it is unknown; main_pages: how many its file has;
    written: how many frames the log had, 0 if that is not known."""
    log = read_log(io.BytesIO(content), () if size is None else (size,))
    if log is None:
        problem = "nothing in the log can be read: what was received since it began is lost"
        return LogPages(problems=(problem,) if len(content) > HEADER or written else ())
    mine = log.mine
    pages: dict[int, bytes] = {}
    waiting: dict[int, bytes] = {}
    count, lost = None, 0
    for i, number, commit in _heads(log, mine, main_pages):
        at = int(log.at[i]) + FRAME_HEADER
        if number:
            waiting[number] = content[at : at + log.size]
        lost += not number
        if commit:
            pages, waiting, count = pages | waiting, {}, commit
    behind = int(np.count_nonzero(~log.of_older[mine:]))
    begun = bool(waiting) or len(content) > int(log.at[-1]) + FRAME_HEADER + log.size
    problems = tuple(_problems(mine, lost, behind, begun, log.shifts, written - mine - behind))
    return LogPages(pages, log.size, count, tuple(_told(log, mine)), problems)


def _heads(log: Log, mine: int, main_pages: int) -> Iterator[tuple[int, int, int]]:
    """Place, page number and commit of each frame; 0 where it is lost. Where they do not agree with the checksum,
    those are taken that would, if the store can have them and one stands there: for damage to the page, both differ.
    """
    sound = log.sound
    most = max([main_pages + mine, *log.number[sound].tolist()])
    for i in range(mine):
        number, commit = int(log.number[i]), int(log.commit[i])
        if not sound[i]:
            fits, ends = log.fitting[i].tolist()
            if 0 < fits <= most and ends <= most and (fits == number or ends == commit):
                number, commit = fits, ends
            elif number > most or commit > most:
                number, commit = 0, 0
        yield i, number, commit


def _told(log: Log, mine: int) -> Iterator[str]:
    unchecked = not log.header_sound and not log.sound[0]
    if not log.header_sound:
        first = "; the first of them cannot be checked" if unchecked else ""
        yield f"the header of the log was damaged; its pages of {log.size} bytes were found without it{first}"
    damaged = int(np.count_nonzero(~log.sound[:mine])) - unchecked
    if damaged:
        yield (
            f"of {counted(mine, 'page')} in the log, {damaged} with a wrong checksum: damaged, or behind pages that "
            "are gone; what can be read there is taken"
        )


def _problems(mine: int, lost: int, behind: int, begun: bool, shifts: int, gone: int) -> Iterator[str]:
    if gone > 0:
        yield f"the log lacks {counted(gone, 'page')} of those written to it, and what was there is lost"
    if shifts:
        yield (
            f"in {counted(shifts, 'place')} of the log, bytes are gone or strange ones came in: what was there is lost"
        )
    if lost:
        yield f"of {counted(mine, 'page')} in the log, {lost} lost: an earlier state of what was there is left, or none"
    if behind:
        yield f"nothing can be read at the end of the log ({counted(behind, 'page')}): what was received last is lost"
    elif begun:
        yield "the log ends within a transaction, which is lost, as is what followed if the log was cut off"
