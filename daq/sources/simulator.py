"""A simulated jig on the real input paths: a board that writes the wire protocol into a pseudo-terminal, a power
sensor that emits Cycling Power Measurement bytes.

The board runs by the session's clock, so a pace above 1 only makes it write more per second.
"""

from __future__ import annotations

import asyncio
import os
import pty
import tty
from collections.abc import Callable
from typing import Any
