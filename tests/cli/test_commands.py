"""Every command as its user types it: help, results, refusals and exit codes, and the pages that name them."""

import json
import re
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import pytest

from daq import __version__
from daq.cli import COMMANDS
from daq.cli.demo import KINDS
from daq.cli.replay import simulated_truth
from daq.rider.model import RiderKind
from daq.rider.named import NAMES
from tests.commands import foreaft

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text()
PAGE = (ROOT / "daq" / "cli" / "commands.md").read_text()
STATE = {
    "mass_kg": 75,
    "gradient_pct": 5,
    "hand_load_n": 104.9,
    "saddle_load_n": 388.3,
    "g": 9.80665,
    "bar_x_m": 0.57,
    "bar_y_m": 0.66,
    "saddle_x_m": -0.20,
    "saddle_y_m": 0.678,
    "power_w": 200,
    "cadence_rpm": 90,
}
STEPS = "setback_mm,hand_load_n\n80,90.1\n70,91\n60,89.5\n50,94\n40,108\n30,124\n35,116\n45,99.5\n55,90\n"
CENTIMETRES = "setback_mm,hand_load_n\n8,90\n7,91\n6,90\n5,94\n4,108\n3,124\n"


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_and_is_named_on_the_page_of_commands(name):
    done = foreaft(name, "--help")

    assert done.exit_code == 0
    assert len(done.output.splitlines()) > 4
    assert f"`foreaft {name}" in PAGE


def test_the_version_answers_without_loading_the_program():
    code = "import sys, daq.cli; daq.cli.main(['--version'], standalone_mode=False); print('numpy' in sys.modules)"

    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout == f"foreaft, version {__version__}\nFalse\n"


def test_the_balance_of_the_worked_example():
    # a worked example by an independent route: 75 kg at 5 %, hands 104.9 N, saddle 388.3 N, 200 W at 90 rpm
    done = foreaft("balance", "-", "--json", text=json.dumps(STATE))

    report = json.loads(done.output)
    assert report["weight_normal_n"] == pytest.approx(734.581, abs=5e-4)
    assert report["foot_load_n"] == pytest.approx(241.381, abs=5e-4)
    assert report["weight_line_x_mm"] == pytest.approx(4.565, abs=5e-4)
    tangential = {"hand_tangential_n": -12, "saddle_tangential_n": 41}
    other = json.loads(foreaft("balance", "-", "--json", text=json.dumps({**STATE, **tangential})).output)
    assert other["weight_line_x_mm"] == pytest.approx(-22.495, abs=5e-4)


def test_a_jig_with_tangential_cells_tells_the_table_of_other_jigs_rig_files():
    states = [{**STATE, "hand_tangential_n": t, "saddle_tangential_n": 40.0} for t in (-20, -10, 0, -15, -5)]

    done = foreaft("balance", "-", "--learn", text=json.dumps(states))

    assert done.output.splitlines()[0] == "[unseen]"
    assert tomllib.loads(done.output)["unseen"]["hands_tangential_n"] == -10.0


def test_a_byte_order_mark_before_a_state_is_no_obstacle():
    marked = b"\xef\xbb\xbf" + json.dumps(STATE).encode()

    assert (
        foreaft("balance", "-", "--json", text=marked).output
        == foreaft("balance", "-", "--json", text=json.dumps(STATE)).output
    )


def test_the_demo_offers_every_kind_of_rider():
    assert set(KINDS) == set(RiderKind)


def test_the_demo_lists_what_can_be_wrong_with_its_rider_and_refuses_what_cannot():
    listed = foreaft("demo", "--with", "list")

    assert listed.exit_code == 0
    assert [line.split()[0].partition("=")[0] for line in listed.output.splitlines()] == list(NAMES)
    assert "stay in space" in listed.output
    refused = foreaft("demo", "--headless", "--with", "lag=minus")
    assert refused.exit_code == 2
    assert "lag: expected a number after =, got minus" in refused.output


def test_an_onset_from_a_table_has_the_keys_other_programs_rely_on():
    done = foreaft("onset", "-", "--json", text=STEPS)

    answer = json.loads(done.stdout)
    assert done.exit_code == 0
    assert answer["verdict"] == "onset"
    low, high = answer["interval_95_mm"]
    assert low < answer["onset_mm"] < high
    assert answer["suggested_setback_mm"] == pytest.approx(answer["onset_mm"] + 4.0)
    assert {"gradual", "p_onset", "least_squares_mm", "rss", "reasons"} <= set(answer)


@pytest.mark.parametrize(
    ("words", "text", "code", "says"),
    [
        (("onset", "-"), "setback_mm,hand_load_n\n80,90\n70,90\n", 2, "5"),
        (("onset", "-"), STEPS.replace("91", "nan"), 2, "hand_load_n"),
        (("onset", "-"), CENTIMETRES, 2, "looks like cm"),
        (("onset", "nowhere.csv"), None, 2, "nowhere.csv"),
        (("onset", "7", "--store", "nowhere.sqlite"), None, 4, "no store at nowhere.sqlite"),
        (("sweeps", "--store", "nowhere.sqlite"), None, 4, "no store at nowhere.sqlite"),
        (("balance", "-"), "{}", 2, "mass_kg"),
        (("onset", "-", "--step-off-mm", "nan"), STEPS, 2, "step_off_mm: expected 0 or more"),
        (("balance", "-"), "not json", 2, "not JSON"),
        (("balance", "-"), b"\x80\x81", 2, "not text in UTF-8"),
        (("balance", "-"), "[" * 100_000, 2, "nested too deep"),
        (("balance", "-"), json.dumps(STATE)[:-1] + ', "mass_kg": 80}', 2, "mass_kg: there more than once"),
        (("balance", "-"), json.dumps(STATE).replace("75", "9" * 6000), 2, "mass_kg: expected 20 to 250"),
        (("calibrate", "fit", "-"), "load_n,reading\n1,2\n", 2, "foreaft: "),
        (("replay", __file__), None, 2, "is not a recording"),
        (("serve", "--rig", "nowhere.toml"), None, 2, "rig file nowhere.toml: No such file"),
        (("demo", "--kind", "nobody", "--headless"), None, 2, "nobody"),
    ],
)
def test_bad_input_gets_one_clear_sentence_and_its_exit_code(words, text, code, says):
    done = foreaft(*words, text=text)

    assert done.exit_code == code
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_a_rig_file_with_a_wrong_key_is_refused_with_its_line(tmp_path):
    rig = tmp_path / "rig.toml"
    rig.write_text('name = "x"\nwheels = 2\n')

    done = foreaft("serve", "--rig", str(rig), "--store", str(tmp_path / "s.sqlite"))

    assert done.exit_code == 2
    assert "line 2: wheels: no such key" in done.stderr


def test_a_port_that_is_taken_is_named_and_another_can_be_chosen(tmp_path):
    import socket

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        done = foreaft("demo", "--port", str(taken.getsockname()[1]))

    assert done.exit_code == 3
    assert "choose another with --port" in done.stderr


def test_ctrl_c_ends_the_demo_in_good_order_with_130():
    command = [sys.executable, "-m", "daq.cli", "demo", "--port", "0"]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as process:
        next(line for line in process.stderr if line.startswith("dashboard: "))
        time.sleep(0.5)
        process.send_signal(2)
        _, said = process.communicate(timeout=60)

    assert process.returncode == 130
    assert "Traceback" not in said


def test_the_readme_names_only_commands_there_are():
    named = set(re.findall(r"`foreaft ([a-z-]+)", README))

    assert len(named) >= 10
    assert named <= set(COMMANDS)


@pytest.mark.parametrize(
    ("header", "says"),
    [
        ({"simulated": False}, ""),
        (
            {
                "simulated": True,
                "truth": {"kind": "flat", "onset_mm": None, "confounds": [{"what": "a bar that stays"}]},
            },
            "SIMULATED; truth of the simulation: this rider has no onset (flat rider; a bar that stays)",
        ),
        ({"simulated": True, "truth": {"kind": "hinge", "onset_mm": 52.0}}, "onset at 52.0 mm (hinge rider)"),
        ({"simulated": True, "truth": {"kind": "hinge", "onset_mm": "front"}}, "was not recorded"),
        ({"simulated": True, "truth": ["hinge"]}, "was not recorded"),
        ({"simulated": True}, "was not recorded"),
    ],
)
def test_a_replay_says_that_it_was_simulated_and_the_truth(header, says):
    found = simulated_truth(header)

    assert says in found
    assert bool(found) == header["simulated"]
