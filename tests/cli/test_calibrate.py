"""The commands around a calibration, as an engineer types them: bench, check, list, certificate, cross-check, onset."""

import json
import re

import pytest
import uvloop

from daq.keep.store import Store, calibrations
from daq.measure.calibration import from_dict, to_dict
from daq.measure.calibration.coverage import said_dof
from tests.commands import foreaft
from tests.live.jig import SHORT, demo
from tests.published.calibration import HERE

ONE_CELL = (
    *("calibrate", "bench", "--simulated", "--pace", "60", "--by", "R. Doe", "--kg", "5,10,20", "--class", "M1"),
    *("--cell", "hands_left", "--g", "9.81", "--warm-up", "1", "--creep", "0", "--series", "2", "--read-s", "2"),
)
READINGS = 1 + 2 * 7


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """The store and folder of a bench worked through in two parts, and what was printed."""
    folder = tmp_path_factory.mktemp("bench")
    store = folder / "s.sqlite"
    first = foreaft(*ONE_CELL, "--store", store, text="\n" * 5 + "q\n")
    rest = ("calibrate", "bench", "--simulated", "--pace", "60", "--resume", "--store", store, "--out", folder)
    return store, folder, first, foreaft(*rest, text="\n" * READINGS)


def test_a_bench_left_in_the_middle_is_finished_later_and_written_for_the_rig_file(bench):
    _, folder, first, second = bench

    assert (first.exit_code, second.exit_code) == (0, 0)
    assert f"left at 5 of {READINGS} readings" in first.stderr
    assert f"[6/{READINGS}]" in second.stderr
    name = second.stdout.strip()
    content = json.loads((folder / f"calibration-{name}.json").read_text())
    assert from_dict(content).channel("hands_left").span == pytest.approx((0.0, 196.171), abs=0.01)


def test_a_room_temperature_that_nobody_stated_is_told_before_the_first_reading(tmp_path):
    """Who reads it leaves, and begins again with it."""
    store = tmp_path / "s.sqlite"
    unstated = foreaft(*ONE_CELL, "--store", store, text="q\n")
    stated = foreaft(*ONE_CELL, "--temperature", "21.5", "--store", store, text="q\n")

    told = "room temperature: not stated, and the certificate will say so"
    assert told in unstated.stderr.split(f"[1/{READINGS}]")[0]
    assert (unstated.exit_code, stated.exit_code) == (0, 0)
    assert f"[1/{READINGS}]" in stated.stderr
    assert told not in stated.stderr


def test_the_engineers_words_redo_skip_hang_and_stop(tmp_path):
    words = "\n\nhang hands_left 5\n\nr\n\nq9\ns\nstop\n"
    done = foreaft(*ONE_CELL, "--expected-per-n", "hands_left=8512", "--store", tmp_path / "s.sqlite", text=words)

    assert done.exit_code == 0
    assert "a factor 9.8" in done.stderr
    assert "expected one of these, got 'q9'" in done.stderr
    assert "cannot be left out" in done.stderr
    with Store.open(tmp_path / "s.sqlite", write=False) as store:
        kinds = [kind for kind, _ in calibrations.benches(store)[0].steps]
    assert kinds == ["take", "take", "redo", "take", "stop"]


def test_a_calibration_is_listed_certified_and_cross_checked(bench, tmp_path):
    store, _, _, second = bench
    name = second.stdout.strip()
    listed = json.loads(foreaft("calibrate", "list", "--store", store, "--json").stdout)
    certified = foreaft("calibrate", "certificate", name, "--store", store, "--html", tmp_path / "c.html")
    again = foreaft("calibrate", "certificate", name, "--store", store, "--html", tmp_path / "c.html")
    checked = json.loads(foreaft("calibrate", "cross-check", name, "--store", store, "--json").stdout)

    page = (tmp_path / "c.html").read_text()
    assert [one["standing"] for one in listed] == ["missing", "valid"]
    assert certified.exit_code == 0
    assert page.count("<circle") == 2 * 7
    assert "not an accredited calibration" in page
    assert "<dt>Temperature</dt><dd>not stated" in page
    assert "<style>" in page
    assert not re.search(r"(src|href)=", page)
    assert again.exit_code == 2
    assert "never overwritten" in again.stderr
    # JCGM 101 draws what JCGM 100 adds up: the standard uncertainties agree where the degrees of freedom are many
    assert checked[0]["by_drawing"]["standard"] >= 0.9 * checked[0]["by_formula"]["standard_n"]


def test_degrees_of_freedom_without_meaning_are_no_figure(bench):
    from daq.live.bench.certificate_page import certificate_page

    with Store.open(bench[0], write=False) as store:
        content = calibrations.certificate(store, calibrations.found(store, bench[3].stdout.strip()).id)
    content["cells"][0]["expanded"][0]["degrees_of_freedom"] = 834211.4
    content["circumstances"]["temperature_degc"] = 21.5
    page = certificate_page(content)

    # Student's t of 1,000 degrees of freedom is 0.12 % wider than the normal distribution
    assert "<td>very many</td>" in page
    assert not re.search(r"<td>\d{4,}</td>", page.split("<h2>Cross-talk")[0])
    assert "21.5 °C" in page
    assert "not stated" not in page
    assert [said_dof(dof) for dof in (3.7, 1000.0, 1000.1)] == ["4", "1000", "very many"]


def test_what_was_typed_is_escaped_on_the_certificate(bench):
    from daq.live.bench.certificate_page import certificate_page

    with Store.open(bench[0], write=False) as store:
        number = calibrations.found(store, bench[3].stdout.strip()).id
        content = calibrations.certificate(store, number)
    content["circumstances"]["made_by"] = "<script>alert(1)</script>"

    assert "<script>" not in certificate_page(content)


@pytest.fixture(scope="module")
def old(tmp_path_factory):
    """The store of a sweep, and the calibration it was ridden with."""
    folder = tmp_path_factory.mktemp("old")
    with demo(folder) as running:
        uvloop.run(running.run(None, by_hand=False, when_done=lambda: None))
    return folder / "demo.sqlite", running.session.acquisition.calibration


def test_an_old_sweep_is_computed_with_a_later_calibration_side_by_side(old, tmp_path):
    store, calibration = old
    content = to_dict(calibration)
    for channel in content["channels"][:2]:
        channel["coefficients"][1] *= 1.1
        channel["tare"] = None
    (tmp_path / "later.json").write_text(json.dumps({**content, "id": "later"}))

    done = foreaft("onset", "1", "--store", store, "--calibration", tmp_path / "later.json", "--json")

    answer = json.loads(done.stdout)
    assert (answer["calibration"], answer["as_ridden"]["calibration"]) == ("later", "simulated")
    ratios = [one["hand_load_n"] / one["as_ridden_n"] for one in answer["steps"]]
    # not exactly 1.1: which strokes count is judged in newtons
    assert ratios == pytest.approx([1.1] * len(SHORT.positions_mm), rel=2e-3)


def test_a_calibration_that_lacks_a_cell_of_the_sweep_is_refused(old, tmp_path):
    store, calibration = old
    content = to_dict(calibration)
    content["channels"] = [channel for channel in content["channels"] if channel["name"] != "saddle_nose"]
    (tmp_path / "other.json").write_text(json.dumps(content))

    done = foreaft("onset", "1", "--store", store, "--calibration", tmp_path / "other.json")

    assert done.exit_code == 2
    assert "no channel 'saddle_nose'" in done.stderr


def test_kilograms_typed_as_newtons_throughout_are_found_with_the_data_sheet():
    points = "load_n,reading\n0,0\n5,427700\n10,855400\n20,1710800\n"

    done = foreaft("calibrate", "fit", "-", "--expected-per-n", "8554", text=points)

    assert done.exit_code == 2
    assert "unit mix-up" in done.stderr


def test_a_fit_is_told_with_its_residuals_in_newtons():
    # NIST StRD Norris, certified: B1 1.00211681802045, its standard deviation 0.000429796848199937, residual 0.8848
    points = (HERE / "nist_norris.csv").read_text().replace("x,y", "load_n,reading", 1)

    done = foreaft("calibrate", "fit", "-", text=points)

    assert done.exit_code == 0
    assert done.stdout.startswith("reading = b0 + b1 load_n   36 points, 34 degrees of freedom\n")
    # 34 degrees of freedom: Student's t 2.032 (JCGM 100 table G.2 has 2.03 for 35)
    assert "b1  1.00212  standard uncertainty 0.00043, 95 % within ±0.00087\n" in done.stdout
    assert "standard deviation 0.885 = 0.883 N\n" in done.stdout


@pytest.mark.parametrize(
    ("bend", "says"),
    [
        # by hand: repeats 2 apart, their means on a line but for the bend at 20 N; F 0 and 24 with 1 and 3 degrees
        (0, "none found, p 1; below 0.05 the curve would miss what repeats agree on\n"),
        (6, "the curve misses what repeats agree on, p 0.016; by chance p is below 0.05 in 1 of 20 tables\n"),
    ],
)
def test_a_lack_of_fit_is_a_finding_only_if_its_p_is_small(bend, says):
    rows = [f"{load},{10 * load + bend * (load == 20) + side}" for load in (0, 20, 40) for side in (-1, 1)]

    done = foreaft("calibrate", "fit", "-", text="\n".join(["load_n,reading", *rows]))

    assert f"lack of fit: {says}" in done.stdout


@pytest.mark.parametrize(
    ("columns", "says"),
    [
        ("", "passed over; it says which loads err together, but no column u_load_n says by how much"),
        (",u_load_n,weights", "passed over; it says which loads err together, but the column weights says it"),
        (",u_load_n", None),
    ],
)
def test_which_loads_err_together_is_not_passed_over_in_silence(columns, says):
    cells = {"": "", ",u_load_n": ",0.1", ",u_load_n,weights": ",0.1,A"}[columns]
    rows = [f"{load},{10 * load + load % 3}{cells}" for load in (0, 10, 20, 40)]
    text = "\n".join([f"load_n,reading{columns}", *rows])

    asked, by_itself = (foreaft("calibrate", "fit", "-", *how, text=text) for how in (("--weights", "per-load"), ()))

    assert ("--weights" in asked.stdout) == (says is not None)
    assert says is None or f"caution: --weights per-load: {says}" in asked.stdout
    assert "--weights" not in by_itself.stdout


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (("calibrate", "bench"), 2, "either --rig"),
        (("calibrate", "bench", "--simulated"), 2, "--by: expected who calibrates"),
        (("calibrate", "bench", "--simulated", "--by", "Ada"), 2, "--kg: expected the masses"),
        (("calibrate", "bench", "--simulated", "--by", "x", "--kg", "5,a"), 2, "--kg: expected numbers"),
        (("calibrate", "bench", "--simulated", "--by", "x", "--kg", "5,10", "--read-s", "1"), 2, "--read-s: expected"),
        (("calibrate", "bench", "--simulated", "--by", "x", "--kg", "-5"), 2, "--kg.0: expected"),
        (("calibrate", "bench", "--simulated", "--by", "x", "--kg", "5,10,20"), 2, "expected their class"),
        (("calibrate", "bench", "--simulated", "--resume"), 2, "left in the middle"),
        (("calibrate", "bench", "--rig", "nowhere.toml", "--resume"), 2, "nowhere.toml"),
        (("calibrate", "check", "--on", "hands", "--kg", "20"), 2, "expected --rig"),
        (("calibrate", "certificate", "x"), 4, "no store"),
        (("calibrate", "cross-check", "nothing.json"), 2, "not a calibration"),
        (("onset", "-", "--calibration", "x"), 2, "only of a stored sweep"),
    ],
)
def test_bad_words_get_one_clear_sentence_and_their_exit_code(tmp_path, words, code, says):
    store = () if "nothing.json" in words else ("--store", tmp_path / "s.sqlite")

    done = foreaft(*words, *store)

    assert done.exit_code == code, done.stderr
    assert says in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--kg", "49,98,196,294,392"), "392 kg on one cell is more than a jig carries, by about a factor 9.8"),
        (("--kg", "", "--newtons", "5,10,20,30,40"), "40 N at most is too little for a rider, by about a factor 9.8"),
        (("--expected-per-n", "hand=8550"), "counts per newton: hand is not among the cells"),
        (("--expected-per-n", "hands_left"), "expected cell=counts, got 'hands_left'"),
        (("--out", "no-such-folder"), "cannot write the calibration to no-such-folder: No such file or directory"),
        (("--out", "/proc"), "cannot write the calibration to /proc"),
        (("--tilts", "0,2,4"), "tilts: expected tilts on the way up and on the way down"),
        (("--off-axis", "edge:saddle_nose:20"), "place 'edge': saddle_nose is not among the cells to calibrate"),
    ],
)
def test_what_cannot_end_in_a_calibration_is_refused_before_the_first_reading(tmp_path, words, sentence):
    said = foreaft(*ONE_CELL, *words, "--store", tmp_path / "s.sqlite", text="q\n")

    assert said.exit_code == 2
    assert sentence in said.stderr
    assert "[1/" not in said.stderr


def test_points_that_are_no_text_are_refused_in_plain_words(tmp_path):
    (tmp_path / "points.csv").write_bytes("load_n,reading\n0,1\n".encode("utf-16"))

    said = foreaft("calibrate", "fit", tmp_path / "points.csv")

    assert said.exit_code == 2
    assert "not text in UTF-8" in said.stderr
