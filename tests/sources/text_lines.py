"""A transmitter that sends lines of text."""

import asyncio


async def lines(device, line):
    while True:
        device.write(line)
        await asyncio.sleep(0.02)
