"""The recordings that lie with the project."""

from pathlib import Path

RECORDINGS = Path(__file__).parent.parent / "recordings"
