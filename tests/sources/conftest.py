"""A private message bus for Bluetooth tests."""

import pytest

from tests.sources.fake_bluez import Bus


@pytest.fixture
def bus(tmp_path, monkeypatch):
    """A running message bus that everything in this process takes for the system's."""
    private = Bus(tmp_path)
    monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", private.address)
    private.start()
    yield private
    private.stop()
