"""Who may be exported, and that no name leaves."""

import tomllib
from pathlib import Path

import pandas
import pytest

from daq.items import Event, Hello
from daq.keep.clients import people
from daq.keep.clients.forgetting import forget
from daq.keep.package.export import export
from daq.keep.package.permission import ExportRefused, exportable, permitted
from daq.keep.package.tables import read_table
from tests.keep.jig import begin, second_of_session
from tests.keep.sweeps import computed, stored


def test_without_consent_to_research_a_real_riders_sweep_stays(store, tmp_path):
    client = people.add_client(store, name="Ada Quill")
    sweep_id = stored(store, client_id=client.id, simulated=False)

    with pytest.raises(ExportRefused, match=f"{client.pseudonym} .* has not agreed"):
        export(store, [sweep_id], tmp_path / "out", computed)
    assert not (tmp_path / "out").exists()
    people.set_consent(store, client.id, "research", True)
    (made,) = export(store, [sweep_id], tmp_path / "out", computed)
    assert client.pseudonym.lower() in made.name
    with pytest.raises(ExportRefused, match="belongs to no client"):
        export(store, [stored(store, simulated=False)], tmp_path / "out", computed)


def cut_off(store):
    """A sweep without an end, and what is said of it if it is named; the store is open for writing all the time."""
    sweep_id = store.begin_sweep(1, from_us=0, plan={}, rider={}, gradient_pct=0, calibration={}, client_id=None)
    return sweep_id, lambda: [str(one) for one in permitted(store, [sweep_id], "client")[1]]


def test_only_the_newest_sweep_of_a_session_that_goes_on_is_being_ridden(store):
    stored(store)
    _, said_of_older = cut_off(store)
    sweep_id, said = cut_off(store)
    assert said() == [f"sweep {sweep_id} is being ridden: export it when it has ended"]
    assert said_of_older() == []

    later = begin(store)  # of a daemon or a bench started after it was cut off
    store.put(later, second_of_session(7))
    assert said() == []

    store.put(1, second_of_session(8))  # resumed, that other session was killed
    assert said() == [f"sweep {sweep_id} is being ridden: export it when it has ended"]


def test_a_sweep_of_a_session_that_has_ended_is_not_being_ridden(store):
    stored(store)
    _, said = cut_off(store)
    store.end_session(1, ended_us=9_000_000)
    assert said() == []


def test_a_damaged_sweep_hides_none_that_is_being_ridden(store):
    damaged = stored(store)
    sweep_id, said = cut_off(store)
    with store.writing() as db:
        db.execute("UPDATE sweeps SET plan = '{}' WHERE id = ?", (damaged,))
        db.execute("DELETE FROM twins")
    assert said() == [f"sweep {sweep_id} is being ridden: export it when it has ended"]
    assert len(exportable(store, "client")[1]) == 2


@pytest.mark.parametrize(
    ("name", "text", "refused"),
    [
        ("Max Power", "maximum power_w, max_n and linear", False),  # the source of notifications is called power
        ("Lin", "linear", False),
        ("Bo Li", "bold", False),
        ("Max Power", "as Max wished", True),
        ("Max Power", "wished by\nMax", True),
        ("Bo Li", "bo_li.toml", True),
        ("Bo", "Bo was tired", True),
        ("Zoë D'Arc", "for zoë", True),
    ],
)
def test_a_name_is_found_as_a_word_and_not_in_the_programs_own_words(store, tmp_path, name, text, refused):
    client = people.add_client(store, name=name)
    people.set_consent(store, client.id, "research", True)
    sweep_id = stored(store, client_id=client.id, simulated=False)
    store.put_result(sweep_id, kind="decision", method="fitter/1", content={"why": text})

    if refused:
        with pytest.raises(ExportRefused, match=r"name stands in results\.content"):
            export(store, [sweep_id], tmp_path / "out", computed)
    else:
        assert export(store, [sweep_id], tmp_path / "out", computed)


def test_what_the_program_says_of_a_rider_names_no_client_called_rider(store, tmp_path):
    client = people.add_client(store, name="Mark Rider")
    people.set_consent(store, client.id, "research", True)
    sweep_id = stored(store, client_id=client.id, simulated=False)
    answer = {"reasons": ["ask the rider to mark it"], "validity": [{"means": "the rider drifted", "cure": "mark"}]}
    store.put_result(sweep_id, kind="onset", method="onset/1", content=answer)

    assert export(store, [sweep_id], tmp_path / "out", computed)
    store.put_result(sweep_id, kind="decision", method="fitter/1", content={"reasons": [], "why": ["said\nRider"]})
    with pytest.raises(ExportRefused, match=r"name stands in results\.content"):
        export(store, [sweep_id], tmp_path / "again", computed)


def test_names_and_free_text_never_leave_for_research(store, tmp_path):
    client = people.add_client(store, name="Ada Quill")
    people.set_consent(store, client.id, "research", True)
    sweep_id = stored(store, client_id=client.id, simulated=False)
    (made,) = export(store, [sweep_id], tmp_path / "out", computed, form="csv.gz")

    events = pandas.read_csv(made / "events.csv.gz")
    assert not events["content"].str.contains("shifted").any()
    store.put_result(sweep_id, kind="decision", method="fitter/1", content={"why": "as quill wished"})
    with pytest.raises(ExportRefused, match=r"a part of the client's name stands in results\.content"):
        export(store, [sweep_id], tmp_path / "again", computed)
    assert not [path for path in (tmp_path / "again").glob("[!.]*") if path.is_dir()]


def test_an_export_is_noted_for_the_day_the_client_is_to_be_forgotten(store, tmp_path):
    client = people.add_client(store)
    sweep_id = stored(store, client_id=client.id, simulated=False)
    export(store, [sweep_id], tmp_path / "out", computed, purpose="client")

    assert forget(store, client.pseudonym).exports == (tmp_path / "out",)


RIG_FILE = (Path(__file__).parents[3] / "firmware_notes" / "rig.example.toml").read_text(encoding="utf-8")


def agreed(store, name, **session):
    """A stored sweep of a client of this name who agreed to research."""
    client = people.add_client(store, name=name)
    people.set_consent(store, client.id, "research", True)
    return stored(store, client_id=client.id, simulated=False, **session)


@pytest.mark.parametrize(
    "name",
    ["Power", "Saddle", "Hands", "Rider", "Force", "Board", "True", "Left", "Dev", "Serial", "Name", "Tilt", "Kept"],
)
def test_words_of_the_rig_file_and_of_the_program_name_nobody(store, tmp_path, name):
    rig = RIG_FILE.replace('usb_serial = "FJ-0001"', 'port = "/dev/serial/by-id/usb-16c0"')
    sweep_id = agreed(store, name, rig=rig + "[proof]\n" + PROOF)
    channels = [{"name": each, "kind": "force"} for each in ("hands_left", "saddle", "tilt")]
    store.put(
        store.sweep(sweep_id).session_id,
        [Hello(1_500_000, "board", {"channels": channels, "firmware": "simulated board"})],
    )
    content = {"evidence": ["hands: held"], "grade": "measured: hands, saddle", "bar_height_policy": "drop kept"}
    store.put_result(sweep_id, kind="onset", method="onset/1", content=content)

    assert export(store, [sweep_id], tmp_path / "out", computed)


PROOF = (
    'made_utc = "2026-01-15T10:00:00Z"\nmade_by = "R. Doe"\npassed = true\nbias_mm = 0\nexpanded_mm = 0.2\nparts = "2f"'
)


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ('name = "workshop jig"', 'name = "jig of Saddle"'),
        ('name = "hands_left"', 'name = "hands_quill"'),
        ('name = "crank"', 'name = "Quill\'s crank"'),
        ('calibration = "calibration.json"', 'calibration = "for # Quill.json"'),
        ('usb_serial = "FJ-0001"', 'port = "/dev/quill"'),
        ("[geometry]", '[unseen]\nhands_tangential_u_n = 12.0\nsource = """as\n# Quill rode"""\n[geometry]'),
        ("[geometry]", '[geometry\nname = "of Quill"'),  # not TOML
    ],
)
def test_a_name_typed_into_the_rig_file_is_found(store, tmp_path, before, after):
    assert before in RIG_FILE
    sweep_id = agreed(store, "Saddle Quill", rig=RIG_FILE.replace(before, after, 1))

    with pytest.raises(ExportRefused, match=r"name stands in sweep\.rig"):
        export(store, [sweep_id], tmp_path / "out", computed)


@pytest.mark.parametrize(
    "item",
    [
        Hello(1_500_000, "board", {"channels": [{"name": "saddle_quill"}]}),
        Hello(1_500_000, "board", {"firmware": "Quill's board"}),
        Event(1_500_000, "calibration-checked", {"id": "bar of Quill"}),
        Event(1_500_000, "marker", {"stream": "saddle", "t_s": 1.0}),
    ],
)
def test_a_name_that_came_with_a_channel_or_a_label_is_found(store, tmp_path, item):
    sweep_id = agreed(store, "Saddle Quill")
    store.put(store.sweep(sweep_id).session_id, [item])

    with pytest.raises(ExportRefused, match=r"a part of the client's name stands in (hellos|events)\.content"):
        export(store, [sweep_id], tmp_path / "out", computed)


def test_comments_of_a_rig_file_leave_for_the_client_alone(store, tmp_path):
    rig = RIG_FILE.replace('name = "workshop jig"', 'name = "jig # 2 \\" \'a\'"  # lent by Quill')
    sweep_id = agreed(store, "Ada Quill", rig=rig)
    kept = {}
    for purpose in ("research", "client"):
        (made,) = export(store, [sweep_id], tmp_path / purpose, computed, purpose=purpose, form="csv.gz")
        kept[purpose] = read_table(made, "sweep")["rig"][0]

    assert kept["client"] == rig
    assert tomllib.loads(kept["research"]) == tomllib.loads(rig)
    assert "lent by" not in kept["research"]
    assert "foreaft serve" not in kept["research"]
