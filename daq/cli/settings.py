"""Settings that need not be typed each time: a flag overrides the environment, which overrides the settings file, which
overrides the default. The demo uses none of them: simulated riders do not belong in a client's store.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from daq.cli.telling import REFUSED, fail, json_flag, print_json, say

FILE_VARIABLE = "FOREAFT_CONFIG"
MOST_BYTES = 64 * 1024
"""Of the settings file."""


@dataclass(frozen=True, slots=True)
class CommandSetting:
    """One setting: the key in the file, its option, its meaning."""

    key: str
    option: str
    kinds: tuple[type, ...]
    is_path: bool = False

    @property
    def variable(self) -> str:
        """Of the environment."""
        return f"FOREAFT_{self.key.upper()}"


SETTINGS = {
    setting.option: setting
    for setting in (
        CommandSetting("store", "store", (str,), is_path=True),
        CommandSetting("rig", "rig_file", (str,), is_path=True),
        CommandSetting("host", "host", (str,)),
        CommandSetting("port", "port", (int,)),
        CommandSetting("lan", "lan", (bool,)),
        CommandSetting("names", "names", (list,)),
        CommandSetting("proxies", "proxies", (list,)),
        CommandSetting("key_hours", "key_hours", (int, float)),
        CommandSetting("log", "log_form", (str,)),
        CommandSetting("lsl", "lsl", (str,)),
        CommandSetting("lsl_markers", "lsl_markers", (list,)),
        CommandSetting("prior", "prior", (str,), is_path=True),
    )
}
WITHOUT = ("demo", "try")


def settings_path() -> Path:
    """The settings file's path, whether or not it exists."""
    from daq.keep.paths import default_settings_path

    named = os.environ.get(FILE_VARIABLE)
    return Path(named) if named else default_settings_path(os.environ, Path.home())


def read_settings(path: Path) -> dict[str, Any]:
    """Values by option. Ends the command with one sentence if the file exists but cannot be used."""
    import tomllib

    from daq.keep.bounded import Refused, read_text

    try:
        content = tomllib.loads(read_text(path, MOST_BYTES))
    except Refused as error:
        fail(REFUSED, f"settings file {error}")
    except RecursionError:
        fail(REFUSED, f"settings file {path}: nested too deep")
    except FileNotFoundError:
        if os.environ.get(FILE_VARIABLE):
            fail(REFUSED, f"{path}: no such file; {FILE_VARIABLE} names it")
        return {}
    except (OSError, ValueError) as error:
        fail(REFUSED, f"settings file {path}: {getattr(error, 'strerror', None) or error}")
    known = {setting.key: setting for setting in SETTINGS.values()}
    found = {}
    for key, value in content.items():
        if key not in known:
            fail(REFUSED, f"settings file {path}: {key}: no such setting; there are {', '.join(known)}")
        setting = known[key]
        if type(value) not in setting.kinds:
            wanted = " or ".join(kind.__name__ for kind in setting.kinds)
            fail(REFUSED, f"settings file {path}: {key}: expected {wanted}, got {value!r}")
        found[setting.option] = str(path.parent / value) if setting.is_path else value
    return found


def prepare(name: str, command: click.Command) -> click.Command:
    """The command, with every option that is a setting also reading the environment."""
    if name not in WITHOUT:
        for parameter in command.params:
            if parameter.name in SETTINGS and isinstance(parameter, click.Option):
                parameter.envvar = SETTINGS[parameter.name].variable
    return command


@click.group()
def config() -> None:
    """Settings: a flag overrides the environment (FOREAFT_...), which overrides the settings file, then the default."""


@config.command()
@click.option("--origin", is_flag=True, help="Also where each value comes from.")
@json_flag
@click.pass_context
def show(ctx: click.Context, origin: bool, as_json: bool) -> None:
    """Every setting as `foreaft serve` would take it now."""
    rows = list(_rows(ctx.find_root()))
    if as_json:
        print_json(rows)
        return
    say(f"# settings file: {settings_path()}{'' if settings_path().exists() else ' (not there)'}")
    for row in rows:
        say(f"{row['key']} = {row['value']}" + (f"    # {row['origin']}" if origin else ""))


def _rows(root: click.Context) -> Iterator[dict[str, Any]]:
    from click.core import ParameterSource

    assert isinstance(root.command, click.Group)
    serve = root.command.get_command(root, "serve")
    assert serve is not None
    made = serve.make_context("serve", [], parent=root, resilient_parsing=True)
    options = {parameter.name: parameter for parameter in serve.params}
    for setting in SETTINGS.values():
        value, source = made.params.get(setting.option), made.get_parameter_source(setting.option)
        origin, given = "default", None
        if source is ParameterSource.ENVIRONMENT:
            origin, given = f"environment {setting.variable}", options[setting.option].value_from_envvar(made)
        elif source is ParameterSource.DEFAULT_MAP:
            origin, given = f"file {settings_path()}", made.lookup_default(setting.option)
        elif setting.key == "store":
            from daq.cli.stored import store_path

            value = store_path(None)
        try:
            options[setting.option].type_cast_value(made, given)
        except click.BadParameter as error:
            fail(REFUSED, f"{origin}: {setting.key}: {error.message}")
        yield {"key": setting.key, "value": str(value) if isinstance(value, Path) else value, "origin": origin}
