"""The store: one SQLite file with everything that was received, raw first."""

from daq.keep.store.store import Store as Store
