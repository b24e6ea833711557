"""Imports point one way, the pure parts stay pure, and no files or rooms need each other in a circle."""

import ast
from collections.abc import Iterable, Mapping
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "daq"
LAYERS = [
    {"values", "refusals", "text", "words", "bootstrap"},
    {"items", "physics", "setback_scale", "jig_proof", "student"},
    {"wire", "measure", "sweep", "rider", "rig"},
    {"jig", "crank_sensors", "rig_file"},
    {"pipeline", "fit", "proof", "transmitters"},
    {"ride"},
    {"sources", "keep"},
    {"live"},
    {"cli"},
    {"__main__"},
]
PURE = set().union(*LAYERS[:6]) - {"bootstrap"}
WORLD = {"asyncio", "logging", "os", "pathlib", "random", "serial", "socket", "sqlite3", "subprocess", "threading",
         "time", "bleak"}  # fmt: skip
MODULES = sorted(PACKAGE.rglob("*.py"))
ROOMS = (
    *("daq.cli", "daq.fit", "daq.keep", "daq.live", "daq.measure", "daq.proof", "daq.rider", "daq.sources"),
    *("daq.sweep", "daq.wire"),
)
"""Folders whose own folders stand in one order too."""


def part_of(module: str) -> str:
    """'daq.wire.board' -> 'wire'."""
    return module.split(".")[1] if "." in module else "values"


def layer_of(part: str) -> int:
    return next(i for i, layer in enumerate(LAYERS) if part in layer)


def imports_of(path: Path) -> frozenset[str]:
    """The modules a file imports, anywhere in it: within functions and under TYPE_CHECKING too."""
    names = named_in(path)
    return names | {name.rpartition(".")[0] for name in names if "." in name}


@cache
def named_in(path: Path) -> frozenset[str]:
    """What a file's imports name: a module, or something out of one, each with the whole way to it."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return frozenset(names)


def part_of_file(path: Path) -> str:
    first = path.relative_to(PACKAGE).parts[0]
    return "values" if first == "__init__.py" else first.removesuffix(".py")


def modules_under(folder: Path) -> dict[str, Path]:
    """Files by the name they are imported by."""
    names = {path: [folder.name, *path.relative_to(folder).with_suffix("").parts] for path in folder.rglob("*.py")}
    return {".".join(parts[:-1] if parts[-1] == "__init__" else parts): path for path, parts in names.items()}


def file_graph(modules: Mapping[str, Path]) -> dict[str, set[str]]:
    """Each file with those of the others it imports; what a folder itself gives out is its __init__."""
    found = {}
    for name, path in modules.items():
        wanted = {one if one in modules else one.rpartition(".")[0] for one in named_in(path)}
        found[name] = (wanted & set(modules)) - {name}
    return found


def room_graph(files: Mapping[str, Iterable[str]], top: str) -> dict[str, set[str]]:
    """The same between the folders of one folder; a file that lies in it directly stands for itself."""

    def room(name: str) -> str:
        return ".".join(name.split(".")[: top.count(".") + 2])

    found: dict[str, set[str]] = {}
    for name, wanted in files.items():
        if name.startswith(f"{top}."):
            others = {room(one) for one in wanted if one.startswith(f"{top}.")} - {room(name)}
            found.setdefault(room(name), set()).update(others)
    return found


def circle_in(graph: Mapping[str, Iterable[str]]) -> str:
    """A circle as 'a needs b needs a', empty when there is none."""
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        return " needs ".join(reversed(error.args[1]))
    return ""


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
        worldly = {name.split(".")[0] for name in imports_of(path)} & WORLD

        assert not worldly, f"daq/{path.relative_to(PACKAGE)} imports {', '.join(sorted(worldly))}; it must stay pure"
        assert "async def" not in path.read_text(), f"daq/{path.relative_to(PACKAGE)} is async; it must stay pure"


def test_no_files_need_each_other_in_a_circle():
    circle = circle_in(file_graph(modules_under(PACKAGE)))

    assert not circle, (
        f"{circle}: none of these can be read or tested without the others. "
        "Hand in what the lower one needs as an argument or a callable."
    )


@pytest.mark.parametrize("top", ROOMS)
def test_no_rooms_need_each_other_in_a_circle(top):
    circle = circle_in(room_graph(file_graph(modules_under(PACKAGE)), top))

    assert not circle, f"{circle}: the folders of {top} stand in one order. Move the file that looks back up."


DESKS = [path for path in MODULES if path.match("live/session/*_desk.py")]


@pytest.mark.parametrize("path", DESKS, ids=lambda path: path.name)
def test_no_desk_knows_another_or_the_session(path):
    others = {f"daq.live.session.{other.stem}" for other in DESKS} | {"daq.live.session.session"}
    known = {name for name in imports_of(path) if name in others}

    assert not known, f"{path.name} imports {known}: what a desk needs of another is passed to it in session.py"


WHOLE = "daq.live.session.acquisition.Acquisition"
NEEDING = [*DESKS, PACKAGE / "live/session/kept_sweep.py"]
"""Who says in a protocol of its own what it needs of the acquisition, if anything."""


def members_of(needs: ast.ClassDef) -> set[str]:
    """What a protocol lists."""
    fields = {node.target.id for node in needs.body if isinstance(node, ast.AnnAssign)}
    return fields | {node.name for node in needs.body if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)}


def used_of_the_acquisition(tree: ast.AST) -> set[str]:
    """What a file takes of `at` or `self._at`."""
    taken = [node for node in ast.walk(tree) if isinstance(node, ast.Attribute)]
    return {
        node.attr
        for node in taken
        if (isinstance(node.value, ast.Name) and node.value.id == "at")
        or (isinstance(node.value, ast.Attribute) and node.value.attr == "_at")
    }


@pytest.mark.parametrize("path", NEEDING, ids=lambda path: path.name)
def test_a_desk_is_given_what_it_uses_of_the_acquisition_and_nothing_else(path):
    """What it may use mypy holds against the protocol; what it asks for without using it shows here."""
    tree = ast.parse(path.read_text())
    needs = [node for node in tree.body if isinstance(node, ast.ClassDef) and node.name == "Needs"]
    asked = set().union(*map(members_of, needs))

    assert WHOLE not in named_in(path), (
        f"{path.name} imports the whole acquisition: say what it needs, as the others do"
    )
    assert asked == (used_of_the_acquisition(tree) if needs else set())


PLANTED = {
    "upper/__init__.py": "",
    "upper/desk.py": "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from {top}.lower.house import House\n",
    "lower/__init__.py": "",
    "lower/house.py": "def build():\n    from {top}.lower import door\n",
    "lower/door.py": "from {top}.upper import desk\n",
}


def planted(folder: Path, files: Mapping[str, str]) -> dict[str, set[str]]:
    for name, text in files.items():
        path = folder / "planted" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text.format(top="planted"))
    return file_graph(modules_under(folder / "planted"))


def test_a_planted_circle_is_noticed_under_type_checking_and_within_a_function_too(tmp_path):
    files = planted(tmp_path, PLANTED)

    for name in ("planted.upper.desk", "planted.lower.house", "planted.lower.door"):
        assert name in circle_in(files)
    assert circle_in(room_graph(files, "planted")) in (
        "planted.upper needs planted.lower needs planted.upper",
        "planted.lower needs planted.upper needs planted.lower",
    )


def test_without_its_last_import_the_planted_circle_is_none(tmp_path):
    files = planted(tmp_path, {**PLANTED, "lower/door.py": ""})

    assert circle_in(files) == ""
    assert circle_in(room_graph(files, "planted")) == ""


def test_what_tests_share_has_files_of_its_own():
    """Whoever imports from a file of tests takes along what it sets up, and cannot find where that lives."""
    tests = Path(__file__).parent
    borrowed = {
        str(path.relative_to(tests)): sorted(name for name in named_in(path) if ".test_" in name)
        for path in sorted(tests.rglob("*.py"))
    }

    assert {path: names for path, names in borrowed.items() if names} == {}
