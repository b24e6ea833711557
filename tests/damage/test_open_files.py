"""Where the program opens files: those that people bring along are read within bounds, all of them."""

import ast
from pathlib import Path

PACKAGE = Path(__file__).parents[2] / "daq"
OWN = {
    "bootstrap.py": "runs before anything is installed, on the program's own files",
    "keep/bounded.py": "the bounds themselves",
    "keep/private.py": "writes",
    "keep/package/archive.py": "the journal it wrote itself, beside its results",
    "keep/package/datapackage.py": "the table it has just written",
    "keep/store/backup.py": "writes",
    "keep/store/lock.py": "its own lock",
    "keep/store/file.py": "makes the store; SQLite reads it",
    "keep/store/migrations.py": "writes",
    "keep/store/replacing.py": "the folder, to make renames in it durable",
    "keep/store/vanished.py": "the store it has open already",
    "keep/proofs.py": "writes a sheet",
    "live/web/steady.py": "the kernel's own word of its start",
    "live/web/keys_file.py": "its own keys",
    "live/web/passes.py": "writes the passes it gives",
    "cli/access.py": "writes codes",
    "cli/bench_talk.py": "writes a calibration",
    "cli/calibrate.py": "the page's own style sheet",
    "cli/prove.py": "the page's own style sheet",
    "cli/serve.py": "tries whether a file can be made",
    "sources/serial_port.py": "a port",
}
"""Files that open files by themselves, and why that is no file from elsewhere."""
READERS = {"read_text", "read_bytes", "open_file", "open"}


def readers_past_the_bounds() -> list[str]:
    """Calls that read a file without the bounds, outside the places listed."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        name = str(path.relative_to(PACKAGE))
        if name in OWN:
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and _reads(node.func):
                found.append(f"daq/{name}:{node.lineno} {ast.unparse(node.func)}")
    return found


def _reads(function: ast.expr) -> bool:
    if isinstance(function, ast.Name):
        return function.id == "open"
    if not isinstance(function, ast.Attribute) or function.attr not in READERS:
        return False
    owner = ast.unparse(function.value)
    return owner not in ("Store", "desk", "cls", "self")


def test_every_reader_of_files_goes_through_the_bounds():
    assert readers_past_the_bounds() == []


def test_every_exception_is_still_one():
    assert [name for name in OWN if not (PACKAGE / name).exists()] == []
