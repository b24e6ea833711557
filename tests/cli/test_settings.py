"""Settings: a flag counts before the environment, that before the file, that before the default; and access to keys."""

import json
import os
import stat
import xml.etree.ElementTree as xml

import pytest
from click.testing import CliRunner

from daq.cli import COMMANDS, main
from daq.live.web.access import Role
from daq.live.web.keys_file import keys_at, passes_beside


@pytest.fixture
def foreaft(tmp_path, monkeypatch):
    """The command in a home of its own; `foreaft.file` is its settings file."""
    for name in [name for name in os.environ if name.startswith(("FOREAFT_", "XDG_"))]:
        monkeypatch.delenv(name)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    folder = tmp_path / "config" / "foreaft"
    folder.mkdir(parents=True)

    def run(*words, **environment):
        return CliRunner().invoke(main, list(words), env=environment)

    run.file = folder / "config.toml"
    return run


def shown(done):
    return {row["key"]: (row["value"], row["origin"]) for row in json.loads(done.stdout)}


def test_each_value_says_where_it_comes_from(foreaft):
    foreaft.file.write_text('rig = "jig.toml"\nport = 9001\nlog = "json"\n')

    found = shown(foreaft("config", "show", "--json", FOREAFT_PORT="9002"))

    assert found["port"] == (9002, "environment FOREAFT_PORT")
    assert found["rig"] == (str(foreaft.file.parent / "jig.toml"), f"file {foreaft.file}")
    assert found["log"] == ("json", f"file {foreaft.file}")
    assert found["host"] == ("127.0.0.1", "default")
    assert found["store"][1] == "default"


@pytest.mark.parametrize(("content", "environment"), [("", {"FOREAFT_PORT": "abc"}), ("port = 70000\n", {})])
def test_what_serve_would_refuse_is_not_shown_as_a_value(foreaft, content, environment):
    foreaft.file.write_text(content)

    done = foreaft("config", "show", **environment)

    assert done.exit_code == 2
    assert ("environment FOREAFT_PORT" if environment else str(foreaft.file)) in done.stderr
    assert "port: " in done.stderr


def test_further_names_are_a_setting(foreaft):
    foreaft.file.write_text('names = ["jig.example.org"]\n')

    by_file = shown(foreaft("config", "show", "--json"))
    by_environment = shown(foreaft("config", "show", "--json", FOREAFT_NAMES="a.example.org b.example.org"))

    assert by_file["names"] == (["jig.example.org"], f"file {foreaft.file}")
    assert by_environment["names"] == (["a.example.org", "b.example.org"], "environment FOREAFT_NAMES")


def test_a_flag_counts_before_all_else(foreaft, tmp_path):
    foreaft.file.write_text('store = "of_file.sqlite"\n')

    by_flag = foreaft("sweeps", "--store", str(tmp_path / "of_flag.sqlite"), FOREAFT_STORE="of_environment.sqlite")
    by_environment = foreaft("sweeps", FOREAFT_STORE="of_environment.sqlite")
    by_file = foreaft("sweeps")
    foreaft.file.unlink()
    by_default = foreaft("sweeps")

    assert f"no store at {tmp_path / 'of_flag.sqlite'}" in by_flag.stderr
    assert "no store at of_environment.sqlite" in by_environment.stderr
    assert f"no store at {foreaft.file.parent / 'of_file.sqlite'}" in by_file.stderr
    assert f"no store at {tmp_path / 'data' / 'foreaft' / 'store.sqlite'}" in by_default.stderr


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("prot = 9\n", "prot: no such setting; there are store, rig, host, port"),
        ('port = "nine"\n', "port: expected int, got 'nine'"),
        ("port = true\n", "port: expected int, got True"),
        ("port = \n", "line 1"),
    ],
)
def test_a_wrong_settings_file_is_named_with_what_was_expected(foreaft, content, says):
    foreaft.file.write_text(content)

    done = foreaft("config", "show")

    assert done.exit_code == 2
    assert str(foreaft.file) in done.stderr
    assert says in done.stderr


def test_a_settings_file_that_was_named_has_to_be_there(foreaft):
    done = foreaft("config", "show", FOREAFT_CONFIG="/nowhere/config.toml")

    assert done.exit_code == 2
    assert "/nowhere/config.toml: no such file" in done.stderr


def test_the_demo_takes_no_settings_so_that_simulated_riders_stay_out_of_a_clients_store():
    demo = main.get_command(None, "demo")

    assert [option.envvar for option in demo.params if option.envvar] == []


def test_nothing_that_removes_or_confirms_can_be_set_beforehand():
    for name in COMMANDS:
        for option in main.get_command(None, name).params:
            if option.envvar:
                assert option.name in (
                    "store",
                    "rig_file",
                    "host",
                    "port",
                    "lan",
                    "names",
                    "proxies",
                    "key_hours",
                    "log_form",
                    "lsl",
                    "lsl_markers",
                    "prior",
                )


def test_an_address_others_can_reach_needs_the_word_for_it(foreaft):
    done = foreaft("serve", "--rig", "jig.toml", "--host", "0.0.0.0")

    assert done.exit_code == 2
    assert "say --lan" in done.stderr


def test_markers_need_the_word_for_whose(foreaft):
    done = foreaft("serve", "--rig", "jig.toml", "--lsl-markers", "muscle lab")

    assert done.exit_code == 2
    assert "machine or network" in done.stderr


def test_without_keys_access_says_what_makes_them(foreaft):
    done = foreaft("access")

    assert done.exit_code == 3
    assert "foreaft serve --lan makes them" in done.stderr


def test_access_shows_links_whose_keys_stand_where_no_browser_sends_them(foreaft, tmp_path):
    keys = keys_at(tmp_path / "state" / "foreaft" / "keys.json", hours=1.0)

    found = json.loads(foreaft("access", "--json", "--port", "9003").stdout)

    address, _, fragment = found["links"]["run"].partition("#")
    assert address.endswith(":9003/")
    assert fragment == f"key={keys.run}"
    assert found["links"]["ride"].endswith(f"#key={keys.ride}")


def test_codes_are_pictures_for_their_owner_alone(foreaft, tmp_path):
    keys_at(tmp_path / "state" / "foreaft" / "keys.json", hours=1.0)

    done = foreaft("access", "--codes", str(tmp_path / "codes"))

    assert done.exit_code == 0
    for name in ("run.svg", "ride.svg"):
        path = tmp_path / "codes" / name
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        assert xml.parse(path).getroot().tag == "{http://www.w3.org/2000/svg}svg"


def test_keys_can_be_ended(foreaft, tmp_path):
    keys_at(tmp_path / "state" / "foreaft" / "keys.json", hours=1.0)

    assert foreaft("access", "--end").exit_code == 0
    assert foreaft("access").exit_code == 3


def test_a_screen_is_listed_and_ended_by_its_number(foreaft, tmp_path):
    path = tmp_path / "state" / "foreaft" / "keys.json"
    keys_at(path, hours=1.0)
    number = passes_beside(path).give(Role.RIDE, since_utc="2026-03-01T09:00:00+00:00", address="192.0.2.7")

    (listed,) = json.loads(foreaft("access", "--screens", "--json").stdout)["screens"]
    assert (listed["number"], listed["role"], listed["address"]) == (number, "ride", "192.0.2.7")
    assert number in foreaft("access", "--screens").stdout
    assert foreaft("access", "--end-screen", number).exit_code == 0
    assert not passes_beside(path).holds(number)
    assert foreaft("access", "--end-screen", number).exit_code == 3


def test_a_proxy_that_is_no_address_is_refused(foreaft):
    done = foreaft("serve", "--rig", "jig.toml", "--proxy", "everybody")

    assert done.exit_code == 2
    assert "expected an address or a network" in done.stderr
