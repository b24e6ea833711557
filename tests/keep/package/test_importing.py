"""An exported sweep from elsewhere: only what is listed and vouched for is read, and no more than it accounts for."""

import csv
import gzip
import hashlib
import io
import json
import os
import shutil
from functools import partial

import pyarrow as arrow
import pyarrow.parquet as parquet
import pytest

from daq.keep.bounded import MIB, Refused
from daq.keep.errors import StoreDamaged
from daq.keep.package import batches as bounds
from daq.keep.package.batches import batches
from daq.keep.package.datapackage import read_package
from daq.keep.package.export import export
from daq.keep.package.importing import import_sweep
from daq.keep.store import Store
from tests.keep.sweeps import computed, stored


@pytest.fixture
def made(packages, tmp_path):
    return shutil.copytree(packages["csv.gz"], tmp_path / packages["csv.gz"].name)


def imported(folder, tmp_path):
    with Store.open(tmp_path / "other.sqlite") as other:
        return import_sweep(other, folder)


def signed(folder, change=lambda descriptor: None):
    """The descriptor with sizes and hashes of the files as they are now: they protect from accidents alone."""
    descriptor = json.loads((folder / "datapackage.json").read_text())
    for one in descriptor["resources"]:
        content = (folder / one["path"]).read_bytes()
        one["bytes"], one["hash"] = len(content), "sha256:" + hashlib.sha256(content).hexdigest()
    change(descriptor)
    (folder / "datapackage.json").write_text(json.dumps(descriptor))
    return folder


def edited(folder, name, change):
    """A table of a CSV package, its text changed."""
    path = folder / f"{name}.csv.gz"
    path.write_bytes(gzip.compress(change(gzip.decompress(path.read_bytes()).decode()).encode()))
    return signed(folder)


def test_a_file_that_is_not_listed_is_not_read(made, tmp_path):
    scans = (made / "raw_jig.csv.gz").read_bytes()
    (made / "raw_power.csv.gz").write_bytes(scans)  # nobody vouched for it

    assert imported(made, tmp_path) == 1
    with Store.open(tmp_path / "other.sqlite") as other, other.reading() as db:
        assert (
            db.execute(
                "SELECT name FROM sources WHERE name = 'power' AND id IN (SELECT source_id FROM chunks)"
            ).fetchall()
            == []
        )


def test_a_table_that_is_taken_from_the_list_is_missed(made, tmp_path):
    signed(
        made, lambda one: one["resources"].pop(next(i for i, r in enumerate(one["resources"]) if r["name"] == "events"))
    )

    with pytest.raises(StoreDamaged, match=r"no table events among those that datapackage\.json lists"):
        imported(made, tmp_path)


def test_a_link_out_of_the_folder_is_refused(made, tmp_path):
    elsewhere = tmp_path / "elsewhere.gz"
    (made / "events.csv.gz").rename(elsewhere)
    (made / "events.csv.gz").symlink_to(elsewhere)

    with pytest.raises(StoreDamaged, match=r"events\.csv\.gz: expected a file within the folder, got a link out of it"):
        imported(made, tmp_path)


@pytest.mark.parametrize("name", ["events.csv.gz", "datapackage.json"])
def test_a_pipe_in_a_files_place_is_refused_and_not_waited_for(made, tmp_path, name):
    (made / name).unlink()
    os.mkfifo(made / name)

    with pytest.raises(StoreDamaged, match="expected a plain file, got a pipe"):
        imported(made, tmp_path)


def cells(text, **changed):
    """The table with these cells of its first row."""
    header, first, *others = csv.reader(io.StringIO(text, newline=""))
    row = [changed.get(name, cell) for name, cell in zip(header, first, strict=True)]
    out = io.StringIO(newline="")
    csv.writer(out).writerows([header, row, *others])
    return out.getvalue()


@pytest.mark.parametrize(
    ("name", "change", "said"),
    [
        ("events", lambda text: text + '"', "events.csv.gz, line"),
        ("events", lambda text: text.replace("mark,", "ma\x1brk,"), "without control characters"),
        ("events", lambda text: text.replace('"{', '"' + "[" * 5000 + "{", 1), "at most 64 levels"),
        ("raw_jig", lambda text: text.replace("\r\n", ",\r\n", 2), "expected 12|expected 13|expected .* cells"),
        ("events", lambda text: text.replace('"{', '"{"x', 1), "events.csv.gz, line .*: not a table"),
        ("raw_jig", lambda text: text.replace("ticks_us", "ticks"), "expected columns received_us"),
        ("raw_jig", lambda text: _with_columns(text, 33), "expected columns count_0 to at most count_31, got 33"),
        ("raw_jig", lambda text: text.replace("count_1", "count_99"), "expected columns count_0 to"),
        (
            "raw_jig",
            lambda text: _cell(text, 1, 2, str(2**32)),
            r"raw_jig\.ticks_us: expected whole numbers from 0 to 4294967295",
        ),
        ("raw_jig", lambda text: _cell(text, 1, 3, "-1"), r"raw_jig\.sequence: expected whole numbers from 0 to 65535"),
        (
            "raw_jig",
            lambda text: _cell(text, 1, 5, str(2**31)),
            r"raw_jig\.count_0: expected whole numbers from -2147483648",
        ),
        ("raw_jig", lambda text: _cell(text, 1, 1, "9" * 30), r"raw_jig\.received_us: expected whole numbers"),
        ("raw_jig", lambda text: _cell(text, 1, 5, ""), r"raw_jig\.count_0: expected whole numbers"),
        ("hellos", lambda text: text.replace('""name""', '""nom""'), r"hello: channels\.0\.name: missing"),
        ("sweep", lambda text: text.replace("[[channels]]", "[[chanels]]"), "rig file: channels: missing"),
        (
            "sweep",
            lambda text: text.replace("2026-03-29T", "yesterday "),
            r"sweep\.session_started_utc: expected a date and time as ISO 8601 has it, got .yesterday",
        ),
        ("calibrations", lambda text: text.replace("coefficients", "coeffs"), "unknown key coeffs; expected name"),
        ("results", lambda text: text.replace('"{', '"[{', 1), "Expecting"),
        ("results", lambda text: cells(text, content="[1]"), r"results\.content: expected a JSON object, got '\[1\]'"),
        ("results", lambda text: cells(text, kind="\x1b[2J"), "without control characters"),
        ("results", lambda text: cells(text, method="\x1b[2J"), "without control characters"),
        ("hellos", lambda text: cells(text, source="\x1b[2J"), "without control characters"),
        ("notifications", lambda text: cells(text, source="\x1b[2J"), "without control characters"),
        ("notifications", lambda text: cells(text, characteristic="\x1b[2J"), "without control characters"),
        *(
            ("sweep", partial(cells, **{name: "\x1b[2J"}), "control characters")
            for name in ("rider", "software", "state")
        ),
        *(
            ("sweep", partial(cells, **{name: "[1]"}), rf"sweep\.{name}: expected a JSON object")
            for name in ("plan", "rider_entries")
        ),
        ("sweep", lambda text: text.replace("session_started_utc", "begun"), "expected columns rider, simulated, sess"),
        ("sweep", lambda text: text.partition("\r\n")[0] + "\r\n", "sweep: expected one row, got 0"),
        ("sweep", partial(cells, calibration="none"), r"sweep\.calibration: expected one of calibrations, got 'none'"),
        ("sweep", partial(cells, gradient_pct="nan"), r"sweep\.gradient_pct: expected a finite number, got 'nan'"),
        ("sweep", partial(cells, gradient_pct="steep"), r"sweep\.gradient_pct: expected a finite number, got 'steep'"),
        ("sweep", partial(cells, simulated="perhaps"), r"sweep\.simulated: expected true or false, got 'perhaps'"),
        ("sweep", partial(cells, from_us=""), r"sweep\.from_us: expected a whole number within \d+, got ''"),
        ("sweep", partial(cells, from_us="1.5"), r"sweep\.from_us: expected a whole number within \d+, got '1\.5'"),
        ("sweep", partial(cells, to_us="9" * 40), r"sweep\.to_us: expected a whole number within \d+ or nothing"),
        (
            "events",
            partial(cells, received_us="x"),
            r"events\.received_us: expected a whole number within \d+, got 'x'",
        ),
        (
            "notifications",
            partial(cells, payload="zz"),
            r"notifications\.payload: expected bytes in hexadecimal digits",
        ),
    ],
)
def test_a_table_that_no_sweep_can_have_is_refused_by_name_and_leaves_nothing(made, tmp_path, name, change, said):
    edited(made, name, change)

    with pytest.raises(StoreDamaged, match=said) as refusal:
        imported(made, tmp_path)
    assert str(made) in str(refusal.value)
    assert "Error" not in str(refusal.value)
    assert not [file for file in open_files() if file.startswith(str(made))], "while the refusal is told"
    with Store.open(tmp_path / "other.sqlite") as other:
        assert other.sessions() == []


def open_files():
    """The paths of all files that this process has open."""
    return [os.path.realpath(f"/proc/self/fd/{number}") for number in os.listdir("/proc/self/fd")]


def _with_columns(text, count):
    """The scans with so many channels."""
    header, *rows = csv.reader(io.StringIO(text, newline=""))
    kept = next(at for at, name in enumerate(header) if name.startswith("count_"))
    out = io.StringIO(newline="")
    csv.writer(out).writerows(
        [[*header[:kept], *(f"count_{i}" for i in range(count))], *([*row[:kept], *["1"] * count] for row in rows)]
    )
    return out.getvalue()


def test_the_name_of_a_table_of_scans_is_a_plain_source(made, tmp_path):
    def renamed(descriptor):
        next(one for one in descriptor["resources"] if one["name"] == "raw_jig")["name"] = "raw_%1b%5b2J"

    with pytest.raises(StoreDamaged, match="without control characters"):
        imported(signed(made, renamed), tmp_path)


def _cell(text, row, column, value):
    lines = text.split("\r\n")
    cells = lines[row].split(",")
    cells[column] = value
    lines[row] = ",".join(cells)
    return "\r\n".join(lines)


def test_a_table_with_two_columns_of_one_name_is_refused(tmp_path):
    (tmp_path / "t.csv.gz").write_bytes(gzip.compress(b"a,b,a\n1,2,3\n"))
    parquet.write_table(arrow.Table.from_arrays([arrow.array([1])] * 2, names=["a", "a"]), tmp_path / "t.parquet")

    for name in ("t.csv.gz", "t.parquet"):
        with pytest.raises(Refused, match="expected columns of different names, got a, "):
            list(batches(tmp_path / name))


def test_a_gzip_bomb_is_unpacked_no_further_than_its_size_accounts_for(made, tmp_path, monkeypatch):
    path = made / "raw_jig.csv.gz"
    line = gzip.decompress(path.read_bytes()).splitlines()[-1] + b"\r\n"
    path.write_bytes(path.read_bytes() + gzip.compress(line * 20_000) * 4)
    signed(made)
    monkeypatch.setattr(bounds, "MOST_UNPACKED", (MIB, 50))

    with pytest.raises(StoreDamaged, match=r"raw_jig\.csv\.gz: expected at most .* unpacked, got more"):
        imported(made, tmp_path)


def listing(**changed):
    return lambda descriptor: descriptor["resources"][0].update(changed)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (listing(name=7), "datapackage.json: resources.0.name: expected a text"),
        (listing(name=None), "datapackage.json: resources.0.name: expected a text"),
        (listing(path=["x"]), "datapackage.json: resources.0.path: expected a text"),
        (listing(path="a\x1b.gz"), "resources.0.path: text without control characters"),
        (listing(path="../a.gz"), "lists '../a.gz'; expected a path within the folder"),
        (listing(bytes="many"), "datapackage.json: resources.0.bytes: expected a valid integer"),
        (listing(bytes=-1), "datapackage.json: resources.0.bytes: expected greater than or equal to 0"),
        (listing(hash="md5:7"), "datapackage.json: resources.0.hash: expected sha256: and 64 hexadecimal digits"),
        (lambda one: one["resources"][0].pop("hash"), "datapackage.json: resources.0.hash: missing"),
        (lambda one: one["resources"].append(7), "expected an object"),
        (lambda one: one.update(resources={"a": 1}), "datapackage.json: resources: expected a list"),
        (lambda one: one.pop("resources"), "datapackage.json: resources: missing"),
        (lambda one: one.update(lost="all"), "datapackage.json: lost: expected a list"),
        (lambda one: one.update(licenses=[{"name": "x"}]), "datapackage.json: licenses.0.title: missing"),
        (lambda one: one["resources"].append(one["resources"][0]), "twice; expected each name once"),
    ],
)
def test_a_descriptor_that_is_none_is_refused_by_key_and_what_was_expected(made, tmp_path, change, said):
    signed(made, change)

    with pytest.raises(StoreDamaged) as refusal:
        imported(made, tmp_path)
    assert said in str(refusal.value)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"[]", "datapackage.json: expected an object with the key resources"),
        (b"7", "datapackage.json: expected an object with the key resources"),
        (b"{", "datapackage.json: not JSON: "),
        (b"\xff", "datapackage.json: not text in UTF-8, from byte 0 on"),
        (b"[" * 99, "datapackage.json: expected JSON of at most 64 levels"),
        (None, "has no datapackage.json: expected an exported sweep, or a folder of them"),
    ],
)
def test_a_descriptor_that_is_no_object_is_refused_in_plain_words(made, tmp_path, content, said):
    (made / "datapackage.json").unlink()
    if content is not None:
        (made / "datapackage.json").write_bytes(content)

    with pytest.raises(StoreDamaged) as refusal:
        imported(made, tmp_path)
    assert said in str(refusal.value)
    assert str(refusal.value).count(str(made)) == 1


@pytest.mark.parametrize("link", [os.symlink, os.link])
def test_a_file_that_is_listed_under_many_names_is_read_once(made, link):
    first = json.loads((made / "datapackage.json").read_text())["resources"][0]
    link(made / first["path"], made / "again.gz")
    signed(made, lambda one: one["resources"].append({**first, "name": "again", "path": "again.gz"}))

    with pytest.raises(StoreDamaged, match=r"again\.gz: listed twice"):
        read_package(made)


def test_links_in_a_circle_are_refused(made):
    first = json.loads((made / "datapackage.json").read_text())["resources"][0]["path"]
    (made / first).unlink()
    (made / first).symlink_to(made / first)

    with pytest.raises(StoreDamaged, match="is missing"):
        read_package(made)


def test_an_export_is_its_owners_alone_whatever_the_umask(store, tmp_path):
    before = os.umask(0)
    try:
        (made,) = export(store, [stored(store)], tmp_path / "out", computed, purpose="client", form="csv.gz")
    finally:
        os.umask(before)

    for path in (tmp_path / "out", made):
        assert path.stat().st_mode & 0o777 == 0o700
        assert {one.stat().st_mode & 0o777 for one in path.iterdir() if one.is_file()} == {0o600}
