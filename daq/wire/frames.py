"""Frames on a byte stream: COBS between zero bytes, closed by a CRC-16. Their content is not interpreted here.

    frame = COBS(body | crc) | 00        crc = CRC-16/IBM-SDLC of the body, low byte first

COBS (Cheshire and Baker 1999, IEEE/ACM Trans. Networking 7(2), 159-172) leaves no zero byte inside a frame, so a zero
always means "a frame ends here" and a reader resynchronizes at the next one. CRC-16/IBM-SDLC is the frame check
sequence of RFC 1662 (appendix C.2): check value 0x906E over "123456789".
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from fastcrc import crc16

try:
    import corncobs as cobs
except ModuleNotFoundError:  # where it has no wheel, its model in plain Python, which takes 20 times as long
    from cobs import cobs

MAX_BODY = 2048
"""Bytes. Longer runs without a zero are not a frame; they are discarded unread, so memory stays bounded."""
CRC_BYTES = 2
_ZEROS = re.compile(rb"\0{2,}")
"""What an idle line may send: not frames; a run of zeros counts as one."""
MAX_ENCODED = MAX_BODY + CRC_BYTES + (MAX_BODY + CRC_BYTES) // 254 + 1
GOOD = 0x0F47
"""What the CRC of body and crc together comes to (RFC 1662: 0xF0B8, there before the last complement)."""


def frame(body: bytes) -> bytes:
    """The frame that carries this body. ValueError if it is empty or longer than MAX_BODY."""
    if not 0 < len(body) <= MAX_BODY:
        raise ValueError(f"a frame carries 1 to {MAX_BODY} bytes, not {len(body)}")
    encoded: bytes = cobs.encode(body + crc16.ibm_sdlc(body).to_bytes(CRC_BYTES, "little"))
    return encoded + b"\0"


class Deframer:
    """Bytes in, whole bodies out, however the stream is cut. `damaged` counts the frames that did not pass.

    The bytes before the very first zero are often the rest of a frame that began before listening: they are used if
    they pass and not counted if they do not.
    """

    def __init__(self) -> None:
        self.damaged = 0
        self.pending = b""
        self._overlong = False
        self._in_step = False

    def feed(self, data: bytes) -> list[bytes]:
        """The bodies of the frames that end in these bytes."""
        return [body for _, body in self.feed_pieces([(0, data)])]

    def feed_pieces(self, pieces: Sequence[tuple[int, bytes]]) -> list[tuple[int, bytes]]:
        """The same for bytes that came in several pieces, each with its receipt time; a body has that of its end."""
        pieces = [(received_us, _ZEROS.sub(b"\0", data)) for received_us, data in pieces]
        whole = self.pending + b"".join([data for _, data in pieces])
        *encoded, pending = whole.split(b"\0")
        arrivals = iter(pieces)
        at, arrived, received_us = -1, len(self.pending), 0
        bodies = []
        for piece in encoded:
            at += len(piece) + 1
            while at >= arrived:
                received_us, data = next(arrivals)
                arrived += len(data)
            body = None if self._overlong else _body(piece)
            if body is not None:
                bodies.append((received_us, body))
            elif piece or self._overlong:
                self._count_damage()
            self._overlong = False
            self._in_step = True
        self._overlong = self._overlong or len(pending) > MAX_ENCODED
        self.pending = b"" if self._overlong else pending
        return bodies

    def _count_damage(self) -> None:
        if self._in_step:
            self.damaged += 1


def _body(piece: bytes) -> bytes | None:
    """The body between two zeros; None if it is damaged."""
    try:
        whole: bytes = cobs.decode(piece)
    except cobs.DecodeError:
        return None
    if crc16.ibm_sdlc(whole) != GOOD or not CRC_BYTES < len(whole) <= MAX_BODY + CRC_BYTES:
        return None
    return whole[:-CRC_BYTES]
