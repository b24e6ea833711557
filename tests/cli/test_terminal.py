"""Nothing that comes from elsewhere commands the terminal, whichever command shows it."""

import ast
import io
import json
from pathlib import Path

import pytest

from daq.cli import telling
from daq.keep.clients import people
from daq.keep.store import Store
from daq.keep.store.rows import update_row
from daq.live import checkup
from tests.commands import foreaft
from tests.keep.jig import CALIBRATION, begin

PACKAGE = Path(telling.__file__).parent
EVIL = "\x1b]0;owned\x07\x1b[2J\u202eevil\x9b31m"
SPEAKERS = {"echo", "secho", "print", "style", "echo_via_pager", "clear"}


def is_harmless(done):
    return all(letter.isprintable() or letter in "\n\t\r" for letter in done.output) and "\r" not in done.output


@pytest.mark.parametrize("path", sorted(PACKAGE.glob("*.py")), ids=lambda path: path.name)
def test_no_command_speaks_past_the_one_that_makes_text_visible(path):
    """telling.py alone may print; what imports a printing function under another name is found by its import."""
    if path.name == "telling.py":
        return
    spoken = []
    for node in ast.walk(ast.parse(path.read_text())):
        name = node.func if isinstance(node, ast.Call) else None
        if isinstance(name, ast.Attribute) and (name.attr in SPEAKERS or name.attr in ("write", "writelines")):
            owner = ast.unparse(name.value)
            spoken += (
                [ast.unparse(name)] if name.attr in SPEAKERS or owner.startswith(("sys.", "stdout", "stderr")) else []
            )
        elif isinstance(name, ast.Name) and name.id in SPEAKERS:
            spoken.append(name.id)
        elif isinstance(node, ast.ImportFrom) and node.module == "click":
            spoken += [alias.name for alias in node.names if alias.name in SPEAKERS]

    assert not spoken, f"{path.name} calls {', '.join(spoken)}: use say, tell, fail or print_json of daq.cli.telling"


def test_all_that_is_said_is_made_visible(capsys):
    telling.say(f"a\n{EVIL}")
    telling.tell(EVIL)
    with pytest.raises(SystemExit):
        telling.fail(2, EVIL)
    telling.print_json({"name": EVIL})

    said = capsys.readouterr()
    assert said.out.startswith("a\n\\x1b]0;owned\\x07")
    assert json.loads(said.out.partition("\n")[2].partition("\n")[2]) == {"name": EVIL}
    assert all(letter.isprintable() or letter == "\n" for letter in said.out + said.err)


def test_a_line_that_is_overwritten_is_made_visible_too(monkeypatch):
    class Terminal(io.StringIO):
        def isatty(self):
            return True

    shown = Terminal()
    monkeypatch.setattr("sys.stderr", shown)
    telling.overwrite(f"{EVIL}\nmore")

    assert shown.getvalue().startswith("\r\\x1b]0;owned\\x07")
    assert "\\nmore" in shown.getvalue()
    assert shown.getvalue()[1:].isprintable()


def test_a_refusal_does_not_repeat_a_million_letters(capsys):
    with pytest.raises(SystemExit):
        telling.fail(2, "x" * 1_000_000)

    assert len(capsys.readouterr().err) < 5000


@pytest.mark.parametrize(
    "words",
    [
        ("replay", f"{EVIL}.rec"),
        (f"{EVIL}",),
        ("onset", f"{EVIL}.csv"),
        ("balance", "-"),
        ("calibrate", "fit", f"{EVIL}.csv"),
        ("calibrate", "cross-check", f"{EVIL}.json"),
        ("verify", "--store", f"{EVIL}.sqlite"),
        ("demo", "--kind", EVIL),
        ("serve", "--rig", f"{EVIL}.toml"),
    ],
)
def test_words_and_file_names_are_quoted_without_effect(words):
    done = foreaft(*words, text=json.dumps({EVIL: 1}))

    assert done.exit_code in (2, 4)
    assert is_harmless(done)
    assert "evil" in done.output


def test_what_a_store_holds_is_shown_without_effect(tmp_path):
    path = tmp_path / "store.sqlite"
    with Store.open(path) as store:
        session_id = begin(store, started_utc=EVIL)
        store.begin_sweep(session_id, from_us=0, plan={}, rider={}, gradient_pct=0.0, calibration=CALIBRATION)
        with store.writing() as db:
            update_row(db, "sweeps", 1, state=EVIL)
        people.add_client(store, name=EVIL)
        with store.writing() as db:
            update_row(db, "clients", 1, pseudonym=EVIL)

    for command in ("sweeps", "clients"):
        done = foreaft(command, "--store", path)
        assert done.exit_code == 0
        assert is_harmless(done)
        assert "evil" in done.output


def test_what_a_device_says_is_shown_without_effect(monkeypatch):
    async def found(*_):
        return [checkup.PartState(EVIL, "failed", EVIL)]

    monkeypatch.setattr("daq.cli.doctor._look", found)
    done = foreaft("doctor")

    assert done.exit_code == 1
    assert is_harmless(done)
    assert "evil" in done.output
