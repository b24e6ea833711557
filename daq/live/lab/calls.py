"""Calls of other programs on this machine, passed on to every stream.

A program that looks for streams calls at one port of 127.0.0.1, and of all the sockets that share this port only one
gets the call. So a socket of ours listens there alone, and sends each call to every port at which a stream may have its
own; the streams answer the caller, whose port the call names. Calls: liblsl, LSL:shortinfo, over UDP.
"""

from __future__ import annotations

import asyncio
import socket
from typing import Any

HERE = "127.0.0.1"
CALLED_AT = 16571
STREAMS_AT = range(16572, 16604)
"""liblsl's default ports."""
_CALL = b"LSL:shortinfo\r\n"
_LONGEST = 4096


class _Calls(asyncio.DatagramProtocol):
    def connection_made(self, transport: Any) -> None:
        self._transport = transport

    def datagram_received(self, data: bytes, _: Any) -> None:
        if data.startswith(_CALL) and len(data) <= _LONGEST:
            for port in STREAMS_AT:
                self._transport.sendto(data, (HERE, port))


async def pass_calls_on() -> None:
    """Until cancelled. OSError when the port is another program's alone."""
    listener = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)  # liblsl's own listen at every address there
        listener.bind((HERE, CALLED_AT))
    except OSError:
        listener.close()
        raise
    listener.setblocking(False)
    transport, _ = await asyncio.get_running_loop().create_datagram_endpoint(_Calls, sock=listener)
    try:
        await asyncio.Event().wait()
    finally:
        transport.close()
