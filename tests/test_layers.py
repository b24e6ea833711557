"""Imports point one way, and the pure folders stay pure."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "daq"
LAYERS = [
    {"values", "bootstrap"},
    {"items"},
    {"wire", "measure", "sweep", "rider", "rig"},
    {"jig"},
    {"pipeline", "fit", "transmitters"},
    {"sources", "keep"},
    {"live"},
    {"cli"},
    {"__main__"},
]
PURE = {"values", "items", "wire", "measure", "sweep", "rider", "rig", "jig", "pipeline", "fit", "transmitters"}
WORLD = {"asyncio", "logging", "os", "pathlib", "random", "serial", "socket", "sqlite3", "subprocess", "threading",
         "time", "bleak"}  # fmt: skip
MODULES = sorted(PACKAGE.rglob("*.py"))


def part_of(module: str) -> str:
    """'daq.wire.board' -> 'wire'."""
    return module.split(".")[1] if "." in module else "values"


def layer_of(part: str) -> int:
    return next(i for i, layer in enumerate(LAYERS) if part in layer)


def imports_of(path: Path) -> set[str]:
    names = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
            if node.module == "daq":
                names |= {f"daq.{alias.name}" for alias in node.names}
    return names


def part_of_file(path: Path) -> str:
    first = path.relative_to(PACKAGE).parts[0]
    return "values" if first == "__init__.py" else first.removesuffix(".py")


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_point_down_and_never_sideways(path):
    here = part_of_file(path)
    for name in imports_of(path):
        if name.split(".")[0] != "daq" or part_of(name) in (here, "__version__"):
            continue
        there = part_of(name)

        assert layer_of(there) < layer_of(here), (
            f"daq/{path.relative_to(PACKAGE)} imports {name}: {here} may only use what stands below it. "
            "Move the thing down, or hand it in as an argument."
        )


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_pure_parts_do_not_touch_the_world(path):
    if part_of_file(path) in PURE:
        worldly = {name for name in imports_of(path) if name.split(".")[0] in WORLD}

        assert not worldly, f"daq/{path.relative_to(PACKAGE)} imports {', '.join(sorted(worldly))}; it must stay pure"
        assert "async def" not in path.read_text(), f"daq/{path.relative_to(PACKAGE)} is async; it must stay pure"
