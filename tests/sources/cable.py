"""A serial cable: two pseudo-terminals whose far ends are joined, so that two programs can open one end each."""

import asyncio
import os
import tty


class Cable:
    """`here` and `there` are ports; `cut` pulls the plug of `here`."""

    def __init__(self):
        self._ends = [os.openpty(), os.openpty()]
        for master, slave in self._ends:
            tty.setraw(slave)
            os.set_blocking(master, False)
        self.here, self.there = (os.ttyname(slave) for _, slave in self._ends)
        self.garble = False
        """Change one bit of everything that comes to `here`."""
        self.dead = False
        """Carry nothing."""

    async def run(self):
        """Carry bytes both ways until cancelled."""
        (ours, _), (theirs, _) = self._ends
        loop = asyncio.get_running_loop()
        loop.add_reader(ours, self._carry, ours, theirs, False)
        loop.add_reader(theirs, self._carry, theirs, ours, True)
        try:
            await asyncio.Event().wait()
        finally:
            loop.remove_reader(theirs)
            loop.remove_reader(ours)

    def cut(self):
        """The end `here` hangs up."""
        ours, slave = self._ends[0]
        asyncio.get_running_loop().remove_reader(ours)
        os.close(slave)
        os.close(ours)

    def _carry(self, source, target, inward):
        try:
            got = os.read(source, 4096)
        except OSError:
            return
        if self.garble and inward:
            got = bytes([got[0] ^ 0x10]) + got[1:]
        if not self.dead:
            os.write(target, got)
