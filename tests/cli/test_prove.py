"""A proof as an engineer types it: worked through on the simulated jig, left, taken up, its result and refusals."""

import json
import tomllib

import pytest

from daq.keep.proofs import keep, load
from daq.proof.dummy import Plank
from daq.proof.sheet import DummyParts
from daq.proof.tasks import CAUTION
from daq.rider.proof_faults import FAULTS
from daq.rig_file import parse_rig
from tests.commands import foreaft
from tests.proof.simulated_sheet import begun, sheet_without, worked
from tests.rigs import rig_text

NOTES = "firmware_notes/proof_dummy.example.toml"
PLANK = Plank(10.0, 0.15, 0.1, 0.54)
SCALE = "reading_mm,caliper_mm,direction\n" + "".join(
    f"{at},{at + 0.4 + play},{way}\n" for way, play in (("forward", 0.1), ("back", -0.1)) for at in (20, 60, 100)
)


def run_on(folder, *words):
    """`foreaft prove run` on the sheet p.json of this folder, simulated."""
    quick = ("--simulated", "--pace", "60", "--fault", "offset")
    return foreaft("prove", "run", folder / "p.json", "--store", folder / "s.sqlite", *quick, *words)


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    """Folder with the sheet of a proof of the simulated jig with a scale 3 mm off, and what was printed.

    One of everything is done by the board; the sweeps that are only more of the same are on the sheet already.
    """
    folder = tmp_path_factory.mktemp("proof")
    keep(sheet_without("empty", "scale/", "bar/", "place/3", "tilt/3", "rise/3/", "gradual/1"), folder / "p.json")
    return folder, run_on(folder)


def test_a_jig_whose_scale_is_off_fails_by_its_board_and_the_scale_is_named(finished):
    folder, done = finished

    assert done.exit_code == 1, done.stderr
    assert "not proved" in done.stdout
    assert "move the scale" in done.stdout
    assert "not an accredited test" in done.stdout
    assert "SIMULATED" in done.stdout
    assert CAUTION in done.stderr
    content = json.loads(foreaft("prove", "result", folder / "p.json", "--json").stdout)
    assert content["bias_mm"] == pytest.approx(-3.0, abs=0.6)
    assert [one["part"] for one in content["figures"] if one["named"]] == ["zero of the setback scale", "onset"]


def test_the_tables_printed_go_into_a_rig_file(finished):
    tables = tomllib.loads(foreaft("prove", "result", finished[0] / "p.json").stderr.partition("rig file:")[2])

    assert tables["setback_scale"]["offset_mm"] == pytest.approx(3.0, abs=0.4)
    assert tables["proof"]["passed"] is False
    assert tables["proof"]["simulated"] is True


def test_the_certificate_is_one_page_in_which_what_was_typed_is_escaped(finished, tmp_path):
    sheet = load(finished[0] / "p.json").model_copy(update={"made_by": "<script>alert(1)</script>"})
    keep(sheet, tmp_path / "p.json")

    done = foreaft("prove", "result", tmp_path / "p.json", "--html", tmp_path / "c.html")

    page = (tmp_path / "c.html").read_text()
    assert done.exit_code == 1
    assert "<script>" not in page
    assert "not an accredited test" in page
    assert "ISO 5725" in page
    assert page.count("<tr>") == 4 + 2 + 11 + 6 - 1
    assert foreaft("prove", "result", tmp_path / "p.json", "--html", tmp_path / "c.html").exit_code == 2


def test_a_proof_left_in_the_middle_goes_on_where_it_was(finished, tmp_path):
    whole = load(finished[0] / "p.json")
    left = tuple(one for one in whole.readings if one.task not in ("loaded/8", "loaded/9", "loaded/10"))
    keep(whole.model_copy(update={"readings": left}), tmp_path / "p.json")
    unfinished = foreaft("prove", "result", tmp_path / "p.json")

    done = run_on(tmp_path)

    assert unfinished.exit_code == 2
    assert "the proof is not finished: next is loaded/8" in unfinished.stderr
    assert done.stderr.count("] The soft spring") == 3
    assert load(tmp_path / "p.json").readings[:-3] == left


def test_a_sheet_of_another_jig_does_not_go_on(tmp_path):
    keep(begun(), tmp_path / "p.json")

    done = foreaft("prove", "run", tmp_path / "p.json", "--store", tmp_path / "s.sqlite", "--simulated")

    assert done.exit_code == 2
    assert "begun on another jig, or a part has changed" in done.stderr


def test_a_proved_jig_exits_with_0_and_a_failed_one_with_1(tmp_path):
    for name, wrong, code in (("sound", {}, 0), ("tilted", {"wrong": FAULTS["tilt"]}, 1)):
        keep(worked(begun(), PLANK, **wrong), tmp_path / name)

        assert foreaft("prove", "result", tmp_path / name).exit_code == code


def test_the_scale_alone_gives_the_table_for_the_rig_file(tmp_path):
    (tmp_path / "scale.csv").write_text(SCALE)

    done = foreaft("prove", "scale", tmp_path / "scale.csv", "--by", 'R. "D" Doe')

    table = tomllib.loads(done.stdout)["setback_scale"]
    assert table["offset_mm"] == pytest.approx(0.4)
    assert table["backlash_mm"] == pytest.approx(0.2)
    assert table["checked_by"] == 'R. "D" Doe'
    assert "play +0.20 mm" in done.stderr


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("a,b\n1,2\n", "expected a first line reading_mm,caliper_mm,direction"),
        (SCALE.replace("back", "up"), "reading 4: expected two numbers and forward or back"),
        (SCALE.replace("60.5", "x"), "reading 2: expected millimetres, got 'x'"),
        ("\n".join(SCALE.splitlines()[:4]), "each reached coming forward and going back, got 0"),
        (SCALE.replace("100", "60").replace("\n60,60.3", "\n61,61.3"), "3 or more positions of the scale"),
        (SCALE.splitlines()[0], "each reached coming forward and going back, got 0"),
        ("", "expected a first line reading_mm,caliper_mm,direction"),
        (SCALE.replace("_mm", "_cm"), "expected a first line reading_mm,caliper_mm,direction"),
        (SCALE.replace("60.5", "6.05"), "reading 2: scale and caliper are 54 mm apart; expected 15 mm at most"),
        (SCALE.replace("60.5", "60.5 mm"), "reading 2: expected millimetres, got '60.5 mm'"),
        (
            "reading_mm,caliper_mm,direction\n"
            + "".join(f"{at},{1.3 * at},{way}\n" for way in ("forward", "back") for at in (0, 20, 40)),
            "scale and caliper differ by +30 mm per 100 mm: are both in millimetres?",
        ),
    ],
)
def test_a_scale_table_that_is_none_is_refused_in_a_sentence(tmp_path, text, sentence):
    (tmp_path / "scale.csv").write_text(text)

    done = foreaft("prove", "scale", tmp_path / "scale.csv", "--by", "x")

    assert done.exit_code == 2
    assert sentence in done.stderr
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize(
    ("was", "is_now", "sentence"),
    [
        ("rate_n_per_mm = 1.94", "rate_n_per_mm = -1.94", "rate_n_per_mm: expected greater than or equal to 0.05;"),
        ("rate_n_per_mm = 1.94", 'rate_n_per_mm = "soft"', "rate_n_per_mm: expected a valid number"),
        ("angle_deg = 0.0", "angle = 0.0", "angle: is not known here"),
        ('name = "dummy A, spring 2"', "", "name: missing"),
        ("[0.0, 20.0, 40.0]", "[0.0, 20.0]", "gradual: expected as many later_mm as rates, got 2"),
        ("[0.0, 20.0, 40.0]", "[0.0, 40.0, 20.0]", "gradual: later_mm: expected 0 first, then each plate further on"),
        ("mass_kg = 10.0", "mass_kg = -1.0", "mass.mass_kg: expected greater than 0"),
        ("[mass]", "[mass", "not TOML"),
    ],
)
def test_a_dummy_that_contradicts_itself_is_refused_in_a_sentence_that_names_the_value(tmp_path, was, is_now, sentence):
    with open(NOTES, encoding="utf-8") as file:
        text = file.read()
    assert was in text
    (tmp_path / "dummy.toml").write_text(text.replace(was, is_now))
    words = ("--rig", "r.toml", "--by", "x", "--dummy", tmp_path / "dummy.toml", "--store", tmp_path / "s.sqlite")

    done = foreaft("prove", "run", tmp_path / "p.json", *words)

    assert done.exit_code == 2
    assert sentence in done.stderr
    assert done.stderr.count("\n") == 1
    assert not (tmp_path / "p.json").exists()


@pytest.mark.parametrize(
    ("words", "code", "sentence"),
    [
        (("run", "p.json"), 2, "either --rig with the jig to prove, or --simulated"),
        (("run", "p.json", "--rig", "r.toml", "--fault", "gain"), 2, "--fault goes with --simulated"),
        (("run", "p.json", "--simulated"), 2, "--by: expected who proves"),
        (("run", "p.json", "--rig", "r.toml", "--by", "x"), 2, "--dummy: expected the dummy's measured values"),
        (("result", "nowhere.json"), 4, "No such file or directory; give the sheet of a proof"),
        (("run", "nowhere/p.json", "--simulated", "--by", "x"), 2, "nowhere: no such folder; make it"),
        (("run", "README.md", "--simulated"), 4, "is no sheet of a proof: not JSON"),
        (("result", "/bin/sh"), 4, "a file that `foreaft prove run` wrote"),
        (("scale", "README.md", "--by", "x"), 2, "expected a first line reading_mm,caliper_mm,direction"),
        (("scale", "nowhere.csv", "--by", "x"), 2, "nowhere.csv: No such file or directory"),
        (
            ("run", "p.json", "--rig", "r.toml", "--by", "x", "--dummy", "d.toml"),
            2,
            "d.toml: No such file",
        ),
        (("run", "p.json", "--rig", "r.toml", "--by", "x", "--dummy", NOTES), 2, "rig file r.toml: No such file"),
        (
            ("run", "p.json", "--rig", "r.toml", "--by", "x", "--dummy", "README.md"),
            2,
            "begin with a copy of firmware_notes/proof_dummy.example.toml",
        ),
    ],
)
def test_wrong_words_get_one_sentence_and_their_exit_code(tmp_path, words, code, sentence):
    store = ("--store", tmp_path / "s.sqlite") if words[0] == "run" else ()

    done = foreaft("prove", *words, *store)

    assert done.exit_code == code
    assert sentence in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("text", ["{}", "nothing", '{"format": "foreaft proof 2"}', "[" * 5000])
def test_a_file_that_is_no_sheet_is_refused_in_a_sentence(tmp_path, text):
    (tmp_path / "p.json").write_text(text)

    done = foreaft("prove", "result", tmp_path / "p.json")

    assert done.exit_code in (2, 4)
    assert str(tmp_path / "p.json") in done.stderr
    assert "Traceback" not in done.stderr


def test_the_example_of_a_dummy_is_one():
    with open(NOTES, "rb") as file:
        made = DummyParts.model_validate(tomllib.load(file))

    assert made.plank(parse_rig(rig_text())) == Plank(10.0, 0.15, 0.10, 0.57)
    assert made.uncertain.rate == pytest.approx(0.02 / 1.94)
