"""The private message bus of the Bluetooth tests."""

from tests.sources.conftest import bus

__all__ = ["bus"]
