"""Where the reference encoder lies."""

import pathlib

HERE = pathlib.Path(__file__).parent

CODE = HERE.parent.parent / "firmware_notes" / "reference_encoder"
