"""Foreaft: the daemon of an instrumented bicycle fit jig.

Only the standard library is imported here: the version must be readable before anything is installed.
"""

__version__ = "0.2.0"
