"""An archive's tests for a panel: whose, on which day of the workshop, and what cannot say anything."""

import datetime
import json

import pytest
from click.testing import CliRunner

from daq.cli import main
from daq.keep.json_text import plain
from daq.keep.package.told_archive import told_by_archive
from daq.sweep.workshop import taught
from tests.keep.told import answer


def journal(folder, rows):
    """As `foreaft archive` writes it: (sweep, rider, begun, onset, changes)."""
    folder.mkdir(exist_ok=True)
    lines = []
    for sweep, rider, begun, onset_mm, changes in rows:
        row = {
            "rider": rider,
            "simulated": False,
            "coarse": False,
            "begun_utc": begun,
            "gradient_pct": 0.0,
            "protocol": "",
            "rig_name": "jig",
            **plain(answer(onset_mm)),
            **changes,
        }
        lines.append(json.dumps({"sweep": sweep, "key": "", "rows": [row]}))
    (folder / "journal.jsonl").write_text("\n".join(lines) + "\n")
    return folder


def two_days(workshop, riders, hours_utc, *, apart_mm=2.0):
    """Each rider on two days a week apart, one sweep at each of these hours of UTC from the evening of 1 March on."""
    begin = datetime.datetime(2021, 3, 1, tzinfo=datetime.UTC)
    return [
        (
            f"{workshop}/{rider}-{day}-{hour}",
            f"R-{workshop[:3].upper()}{rider:03}",
            (begin + datetime.timedelta(days=day, hours=hour)).isoformat(timespec="seconds"),
            50.0 + rider + apart_mm * (day > 0),
            {},
        )
        for rider in range(riders)
        for day in (0, 7)
        for hour in hours_utc
    ]


@pytest.mark.parametrize("hours_utc", [(9, 15), (22, 26), (-2, 4), (17, 23)])
def test_a_day_is_the_workshops_wherever_it_lies(tmp_path, hours_utc):
    """Morning and afternoon in London, Sydney, Tokyo and San Francisco: one day each, though UTC's may end between."""
    found = told_by_archive(journal(tmp_path / "out", two_days("here", 3, hours_utc)))
    panel = taught(found.tests).panel

    assert (panel.riders, panel.days, panel.sweeps) == (3, 6, 12)
    morning, afternoon = (found.tests[i].hour for i in range(2))
    assert abs(afternoon - morning) == hours_utc[1] - hours_utc[0]


def test_a_folder_is_a_workshop_and_workshops_are_pooled_in_part(tmp_path):
    rows = two_days("alps", 6, (9,), apart_mm=12.0) + two_days("coast", 6, (9,), apart_mm=0.5)
    out = journal(tmp_path / "out", rows)
    done = CliRunner().invoke(main, ["panel", "--archive", str(out), "--json"])
    said = CliRunner().invoke(main, ["panel", "--archive", str(out)]).stdout
    fields = json.loads(done.stdout)

    assert (fields["riders"], fields["second_days"]) == (12, 12)
    alps, coast = (fields["by_workshop"][name]["day_sd_mm"] for name in ("alps", "coast"))
    assert coast < fields["another_workshop"]["day_sd_mm"] < alps
    assert coast < fields["day_sd_mm"] < alps
    assert "workshop alps: between days" in said
    assert "another workshop: between days" in said
    assert "could come again" not in said, "a researcher cannot ask them"


def test_what_leaves_an_archive_holds_nobody_and_is_another_workshops_prior(tmp_path):
    out = journal(tmp_path / "out", two_days("alps", 4, (9,)) + two_days("coast", 4, (9,)))
    words = ["panel", "--archive", str(out), "--write-prior", str(tmp_path / "p.json"), "--workshop", "study of 2026"]
    done = CliRunner().invoke(main, words)
    text = (tmp_path / "p.json").read_text()
    table = json.loads(text)

    assert "learned from 8 riders, 16 days, 16 sweeps of 2 workshops" in done.stderr
    assert (table["workshop"], table["workshops"], table["riders"]) == ("study of 2026", 2, 8)
    for word in ("R-", "alps", "coast", "jig", "2021-03"):
        assert word not in text
    again = CliRunner().invoke(main, ["panel", "--archive", str(out), "--prior", str(tmp_path / "p.json"), "--json"])
    assert json.loads(again.stdout)["prior"] == "study of 2026"


def test_what_says_nothing_is_left_out_and_named(tmp_path):
    rows = [
        ("a", "R-AAA111", "2026-03-01T00:00:04+00:00", 50.0, {"coarse": True}),
        ("b", "R-AAA111", "2026-03-01T09:00:00+00:00", 50.0, {"likelihood": None}),
        ("c", None, "2026-03-01T09:00:00+00:00", 50.0, {}),
        ("d", "R-AAA111", "2026-03-01T09:00:00+00:00", 50.0, {}),
        ("e", "R-AAA111", "2026-03-01T09:00:00+00:00", 50.0, {"no_answer": "no position was finished"}),
    ]
    found = told_by_archive(journal(tmp_path / "out", rows))

    assert [one.sweep for one in found.tests] == ["d"]
    assert "on which day it was ridden is not known" in found.left_out["a"]
    assert "kept no likelihood" in found.left_out["b"]
    assert "without a client" in found.left_out["c"]
    assert found.left_out["e"] == "it has no answer: no position was finished"


def test_simulated_riders_are_asked_for_and_said_to_be_simulated(tmp_path):
    rows = [(*row[:4], {"simulated": True}) for row in two_days("alps", 6, (9,))]
    words = ["panel", "--archive", str(journal(tmp_path / "out", rows))]
    refused = CliRunner().invoke(main, words)
    assert (refused.exit_code, "every rider here is simulated: add --simulated" in refused.stderr) == (
        4,
        True,
    )

    table = str(tmp_path / "p.json")
    CliRunner().invoke(main, [*words, "--simulated", "--write-prior", table, "--workshop", "a trial"])
    told = CliRunner().invoke(main, [*words, "--simulated", "--prior", table, "--json"])
    assert json.loads(told.stdout)["prior"] == "a trial (simulated riders)"


@pytest.mark.parametrize("content", ["{}\n", "[1]\n", '{"sweep": "a", "rows": [{"rider": 1}]}\n', "no JSON\n"])
def test_a_journal_that_is_none_is_refused(tmp_path, content):
    (tmp_path / "journal.jsonl").write_text(content)

    done = CliRunner().invoke(main, ["panel", "--archive", str(tmp_path)])
    assert (done.exit_code, "line 1 is none of this program's" in done.stderr) == (4, True)
    assert CliRunner().invoke(main, ["panel", "--archive", str(tmp_path / "none")]).exit_code == 2


@pytest.mark.parametrize(
    "harm", [{"likelihood": {"rear_mm": 1.0}}, {"likelihood": "x"}, {"validity": [{}]}, {"gradient_pct": "steep"}]
)
def test_a_row_that_is_none_is_named(tmp_path, harm):
    out = journal(tmp_path / "out", [("alps/a", "R-AAA111", "2021-03-01T09:00:00+00:00", 50.0, harm)])
    done = CliRunner().invoke(main, ["panel", "--archive", str(out)])

    assert done.exit_code == 4
    assert "the row of alps/a is none of this program's" in done.stderr
