"""The files for the host, and the rig files of the notes, are what the notes say."""

import configparser
import re
import tomllib
from pathlib import Path

import pytest

from daq.rig_file import parse_rig
from daq.transmitters import check_transmitter
from tests.rigs import GOOD

NOTES = Path(__file__).parent.parent / "firmware_notes"
RULES = (NOTES / "host" / "70-foreaft.rules").read_text()
UDEV_KEYS = {"ACTION", "GOTO", "LABEL", "SUBSYSTEM", "DRIVER", "GROUP", "MODE", "SYMLINK", "TEST"}
UDEV_KEYS_WITH_NAME = {"ATTR", "ATTRS", "ENV"}
"""Those of udev(7) that are used here."""


def unit():
    parser = configparser.ConfigParser(strict=False, interpolation=None)
    parser.optionxform = str
    parser.read_string((NOTES / "host" / "foreaft.service").read_text())
    return parser


def rules():
    return [line for line in RULES.splitlines() if line and not line.startswith("#")]


def test_the_service_waits_for_ready_and_is_watched():
    service = unit()["Service"]

    assert service["Type"] == "notify"
    assert int(service["WatchdogSec"]) >= 10
    assert service["Restart"] == "on-failure"
    assert service["SupplementaryGroups"].split() == ["dialout", "bluetooth"]


def test_the_service_runs_the_command_with_the_words_it_has():
    from daq.cli.serve import serve

    words = unit()["Service"]["ExecStart"].split()
    options = {option for parameter in serve.params for option in parameter.opts}

    assert words[0].endswith("/foreaft")
    assert words[1] == "serve"
    assert {word for word in words if word.startswith("--")} <= options


def test_what_it_writes_lies_where_it_may_write():
    service = unit()["Service"]

    assert service["ProtectSystem"] == "strict"
    assert f"/var/lib/{service['StateDirectory']}/" in service["ExecStart"]


@pytest.mark.parametrize("rule", rules())
def test_every_udev_rule_is_made_of_keys_udev_has(rule):
    parts = re.findall(r'\s*([A-Z]+)(?:\{([^}]*)\})?(==|!=|\+=|=)"([^"]*)"(,|$)', rule)

    assert "".join(f'{k}{{{n}}}{o}"{v}"' if n else f'{k}{o}"{v}"' for k, n, o, v, _ in parts) == re.sub(
        r",\s*", "", rule
    )
    for key, name, _, _, _ in parts:
        assert key in (UDEV_KEYS_WITH_NAME if name else UDEV_KEYS)


def test_modem_managers_are_kept_off_every_device_named():
    named = [rule for rule in rules() if "idVendor" in rule]

    assert named
    assert all('ENV{ID_MM_DEVICE_IGNORE}="1"' in rule and 'ENV{ID_MM_PORT_IGNORE}="1"' in rule for rule in named)


def test_the_example_rig_file_can_be_read():
    rig = parse_rig((NOTES / "rig.example.toml").read_text())

    assert rig.board.rate_hz == 1000
    assert rig.channels[0].gain == 128


@pytest.mark.parametrize("table", re.findall(r"```toml\n(.*?)```", (NOTES / "transmitters.md").read_text(), re.S))
def test_the_transmitters_of_the_notes_can_be_read(table):
    assert "transmitter" in tomllib.loads(table)
    channels = '[[channels]]\nname = "tilt"\nrole = "tilt"\n'
    rig = parse_rig(GOOD.replace('[board]\nport = "/dev/ttyACM0"', table).replace(channels, ""))

    check_transmitter(rig)
