"""For each command that reads a file from elsewhere: sound files, and cases made from them.

A case changes what stands inside and signs it anew: checksums and hashes are no protection from somebody who can
compute them.
"""

from __future__ import annotations

import hashlib
import itertools
import json
import os
import shutil
import socket
import sqlite3
import struct
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyarrow as arrow
import pyarrow.parquet as parquet
import zstandard

from daq.items import Event, Notification, WireBytes
from daq.keep.again.recompute import recompute_stored
from daq.keep.package.export import export
from daq.keep.recording import Recorded, read_recording
from daq.keep.recording_blocks import MAGIC
from daq.keep.store import Store
from tests.faults.mutation import changed_bytes, changed_json, text_of, weird
from tests.keep.sweeps import computed, stored

ROOT = Path(__file__).parents[2]
STEPS = b"setback_mm,hand_load_n,se_n\n80,90.1,2\n70,91,2\n60,89.5,2\n50,94,2\n40,108,2\n30,124,2\n"
POINTS = b"load_n,reading,series\n0,12,1\n100,100013,1\n200,200010,1\n300,300011,1\n0,14,2\n100,100011,2\n"
STATE = {
    "mass_kg": 75, "gradient_pct": 5, "hand_load_n": 104.9, "saddle_load_n": 388.3, "bar_x_m": 0.57, "bar_y_m": 0.66,
    "saddle_x_m": -0.20, "saddle_y_m": 0.678, "power_w": 200, "cadence_rpm": 90,
}  # fmt: skip
SCHEMA = [
    "CREATE TRIGGER t BEFORE INSERT ON events BEGIN SELECT RAISE(IGNORE); END",
    "CREATE VIEW v AS SELECT 1",
    "DROP TABLE events; CREATE VIEW events AS SELECT 1 AS id",
    "CREATE VIRTUAL TABLE f USING fts5(x)",
    "DROP INDEX events_by_time; CREATE INDEX events_by_time ON events(abs(received_us))",
    "DROP TABLE copies",
    "ALTER TABLE events ADD COLUMN more TEXT",
    "CREATE TABLE x(a, b AS (a || zeroblob(1000000000)))",
    "UPDATE events SET content = replace(hex(zeroblob(50000)), '0', '[')",
    "UPDATE sessions SET rig = '', started_utc = 'never'",
    "UPDATE chunks SET bytes = x'010100ffffffffff28b52ffd'",
    "PRAGMA user_version = 99",
    "PRAGMA application_id = 7",
    "PRAGMA writable_schema = ON; UPDATE sqlite_schema SET sql = 'CREATE TABLE events(x)' WHERE name = 'events'",
]


class Inputs:
    """Sound files in a folder, and what makes cases of them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.header, self.blocks = _recording()
        with Store.open(folder / "sound.sqlite") as store:
            sweep_id = stored(store)
            self.exported = {
                form: export(store, [sweep_id], folder / form, computed, purpose="client", form=form)[0]
                for form in ("parquet", "csv.gz")
            }
        self.store = (folder / "sound.sqlite").read_bytes()
        self.rig = (ROOT / "firmware_notes" / "rig.example.toml").read_bytes()
        self.calibration = self.header["calibration"]

    def case(self, name: str, rng: np.random.Generator) -> list[str]:
        """The words of a command, its files written."""
        path = self._cleared()
        if rng.random() < 0.01:
            _no_file(path, rng)
        else:
            MAKERS[name](self, path, rng)
        return self._words(name)

    def sound(self, name: str) -> list[str]:
        """The same with nothing wrong in the files."""
        path = self._cleared()
        match name:
            case "replay":
                blocks = [_packed(_joined(*block)) for block in self.blocks]
                end = _packed(text_of({"end": True, "items": 0, "sha256": "", "header": self.header, "events": []}))
                path.write_bytes(MAGIC + b"".join([_packed(text_of(self.header)), *blocks, end]))
            case "import":
                shutil.copytree(self.exported["parquet"], path)
            case _:
                sound = {"restore": self.store, "serve": self.header["rig"].encode(), "onset": STEPS, "fit": POINTS}
                path.write_bytes(sound.get(name) or text_of(STATE))
        return self._words(name)

    def _cleared(self) -> Path:
        shutil.rmtree(self.folder / "case", ignore_errors=True)
        (self.folder / "case").mkdir()
        return self.folder / "case" / "input"

    def _words(self, name: str) -> list[str]:
        where = str(self.folder / "case")
        return [word.replace("INPUT", f"{where}/input").replace("OUT", f"{where}/out") for word in WORDS[name]]

    def recording(self, path: Path, rng: np.random.Generator) -> None:
        """Blocks whose header, tables, events or bytes are changed; every checksum is right."""
        header, blocks = dict(self.header), [list(block) for block in self.blocks]
        for _ in range(int(rng.integers(1, 3))):
            match rng.choice([0, 1, 2, 2, 2, 3, 3, 3, 3, 4, 5]):
                case 0:
                    header = changed_json(header, rng)
                case 1:
                    block = blocks[rng.integers(len(blocks))]
                    block[0] = changed_json(block[0], rng)
                case 2:
                    _change_payload(blocks[rng.integers(len(blocks))], rng)
                case 3:
                    _change_event(blocks[rng.integers(len(blocks))], rng)
                case 4:
                    blocks.insert(int(rng.integers(len(blocks))), _bomb(rng))
                case 5:
                    _change_rig(header, rng)
        packed = [_packed(text_of(header)), *(_packed(_joined(*block)) for block in blocks)]
        end = text_of({"end": True, "items": 0, "sha256": "", "header": self.header, "events": weird(rng)})
        content = MAGIC + b"".join([*packed, _packed(end)])
        path.write_bytes(changed_bytes(content, rng) if rng.random() < 0.1 else content)

    def package(self, path: Path, rng: np.random.Generator) -> None:
        """An exported sweep with changed tables or descriptor; every hash is right."""
        form = ("parquet", "csv.gz")[rng.integers(2)]
        shutil.copytree(self.exported[form], path)
        for _ in range(int(rng.integers(1, 3))):
            tables = sorted(path.glob(f"*.{form}"))
            table = tables[rng.integers(len(tables))]
            content = table.read_bytes()
            try:
                if form == "csv.gz":
                    table.write_bytes(_gzipped(changed_bytes(_gunzipped(content), rng), rng))
                elif rng.random() < 0.5:
                    _change_parquet(table, rng)
                else:
                    table.write_bytes(changed_bytes(content, rng))
            except (zlib.error, arrow.ArrowException, OSError):  # damaged by the change before
                table.write_bytes(changed_bytes(content, rng))
        descriptor = json.loads((path / "datapackage.json").read_text())
        for one in descriptor["resources"]:
            content = (path / one["path"]).read_bytes()
            one["bytes"], one["hash"] = len(content), "sha256:" + hashlib.sha256(content).hexdigest()
        if rng.random() < 0.2:
            descriptor = changed_json(descriptor, rng)
        (path / "datapackage.json").write_bytes(text_of(descriptor))

    def backup(self, path: Path, rng: np.random.Generator) -> None:
        """A store with a hostile schema, hostile rows, or changed bytes."""
        path.write_bytes(self.store)
        if rng.random() < 0.6:
            db = sqlite3.connect(path)
            for _ in range(int(rng.integers(1, 3))):
                try:
                    db.executescript(SCHEMA[rng.integers(len(SCHEMA))])
                    _change_row(db, rng)
                except sqlite3.Error:
                    pass
            db.close()
        else:
            path.write_bytes(changed_bytes(self.store, rng))

    def rig_file(self, path: Path, rng: np.random.Generator) -> None:
        """A rig file beside a calibration, either or both changed."""
        (path.parent / "calibration.json").write_bytes(text_of(changed_json(self.calibration, rng)))
        rig = self.header["rig"].encode() if rng.random() < 0.5 else self.rig
        if rng.random() < 0.5:
            rig = b'calibration = "calibration.json"\n' + rig
        path.write_bytes(changed_bytes(rig, rng) if rng.random() < 0.8 else rig)

    def steps(self, path: Path, rng: np.random.Generator) -> None:
        """A table of steps, changed."""
        path.write_bytes(changed_bytes(STEPS, rng))

    def points(self, path: Path, rng: np.random.Generator) -> None:
        """A table of points, changed."""
        path.write_bytes(changed_bytes(POINTS, rng))

    def state(self, path: Path, rng: np.random.Generator) -> None:
        """A mean state, changed."""
        content = text_of(changed_json(STATE, rng))
        path.write_bytes(changed_bytes(content, rng) if rng.random() < 0.3 else content)


MAKERS: dict[str, Callable[[Inputs, Path, np.random.Generator], None]] = {
    "replay": Inputs.recording,
    "import": Inputs.package,
    "restore": Inputs.backup,
    "serve": Inputs.rig_file,
    "onset": Inputs.steps,
    "fit": Inputs.points,
    "balance": Inputs.state,
}
WORDS: dict[str, list[str]] = {
    "replay": ["replay", "INPUT"],
    "import": ["import", "INPUT", "--store", "OUT"],
    "restore": ["restore", "INPUT", "--store", "OUT"],
    "serve": ["serve", "--rig", "INPUT", "--store", "OUT", "--port", "0"],
    "onset": ["onset", "INPUT"],
    "fit": ["calibrate", "fit", "INPUT"],
    "balance": ["balance", "INPUT"],
}


def _recording() -> tuple[dict, list[tuple[dict, list[bytes]]]]:
    """Header, and (table, payloads) of the first blocks of a recorded sweep."""
    recording = read_recording(ROOT / "recordings" / "level-hinge.rec")
    items = list(recording.items())
    kept = [item for item in items if item.received_us < 22_000_000]
    size = len(kept) // 4
    return dict(recording.header), [_table(kept[at : at + size]) for at in range(0, len(kept), size)]


def _table(items: list[Recorded]) -> tuple[dict, list[bytes]]:
    kinds, of, payloads = [], [], []
    for item in items:
        match item:
            case WireBytes(source=source):
                kind = ["wire", source]
            case Notification(source=source, characteristic=characteristic):
                kind = ["notification", source, characteristic]
            case Event(kind=name):
                kind = ["event", name]
        if kind not in kinds:
            kinds.append(kind)
        of.append(kinds.index(kind))
        payloads.append(json.dumps(item.content).encode() if isinstance(item, Event) else item.payload)
    times = [0, *(item.received_us for item in items)]
    steps = [b - a for a, b in itertools.pairwise(times)]
    return {"kinds": kinds, "of": of, "dt_us": steps, "size": [len(one) for one in payloads]}, payloads


def _joined(table: object, payloads: list[bytes]) -> bytes:
    text = text_of(table)
    return struct.pack("<I", len(text)) + text + b"".join(payloads)


def _packed(block: bytes) -> bytes:
    packed = zstandard.ZstdCompressor(level=3).compress(block)
    return struct.pack("<II", len(packed), zlib.crc32(packed)) + packed


def _change_payload(block: list, rng: np.random.Generator, kind: str | None = None) -> None:
    """Changes the payload of one item, or the content of one event, and its size with it."""
    table, payloads = block
    if not _is_whole(table, payloads):
        return
    kinds = [table["kinds"][of][0] for of in table["of"]]
    places = [i for i in range(len(payloads)) if kind in (None, kinds[i])]
    if not places:
        return
    i = places[rng.integers(len(places))]
    payloads = list(payloads)
    if kinds[i] == "event" and rng.random() < 0.9:
        payloads[i] = text_of(changed_json(json.loads(payloads[i]), rng))
    else:
        payloads[i] = changed_bytes(payloads[i], rng)
    block[:] = {**table, "size": [len(one) for one in payloads]}, payloads


def _change_event(block: list, rng: np.random.Generator) -> None:
    _change_payload(block, rng, "event")


def _is_whole(table: object, payloads: list[bytes]) -> bool:
    """Whether nothing was changed in it yet."""
    try:
        [json.loads(one) for one, of in zip(payloads, table["of"], strict=True) if table["kinds"][of][0] == "event"]
        return True
    except (TypeError, LookupError, ValueError, RecursionError):
        return False


def _bomb(rng: np.random.Generator) -> list:
    """A block that weighs nothing and unpacks to megabytes, or is all work."""
    unit = [bytes(16), b"\x01\x00", b"[],", b"\x02\x01\x01\x00", b"1\r\n"][rng.integers(5)]
    piece = unit * (2 ** int(rng.integers(10, 23)) // len(unit))
    kind = [["wire", "board"], ["event", "mark"], ["notification", "power", "2a63"]][rng.integers(3)]
    return [{"kinds": [kind], "of": [0], "dt_us": [1000], "size": [len(piece)]}, [piece]]


def _change_rig(header: object, rng: np.random.Generator) -> None:
    if isinstance(header, dict) and isinstance(header.get("rig"), str):
        header["rig"] = changed_bytes(header["rig"].encode("utf-8", "replace"), rng).decode("utf-8", "replace")


def _gunzipped(content: bytes) -> bytes:
    return zlib.decompress(content, wbits=31)


def _gzipped(content: bytes, rng: np.random.Generator) -> bytes:
    if rng.random() < 0.1:
        content += [b"x", b"1,", b"\r\n", b'"'][rng.integers(4)] * 2 ** int(rng.integers(10, 25))
    packer = zlib.compressobj(9, wbits=31)
    packed = packer.compress(content) + packer.flush()
    return changed_bytes(packed, rng) if rng.random() < 0.1 else packed


def _change_parquet(path: Path, rng: np.random.Generator) -> None:
    """Another value, many more rows, or columns of another type."""
    table = parquet.read_table(path)
    names = table.column_names
    name = names[rng.integers(len(names))]
    rows = max(len(table), 1)
    match rng.integers(4):
        case 0:
            value = weird(rng)
            column = [value] * len(table)
        case 1:
            rows = 2 ** int(rng.integers(10, 22))
            table = table.take(arrow.array(np.zeros(rows, dtype=np.int64))) if len(table) else table
            column = None
        case 2:
            column = ["x" * 2 ** int(rng.integers(1, 18))] * len(table)
        case _:
            column = [text_of(weird(rng)).decode() if rng.random() < 0.5 else None] * len(table)
    try:
        if column is not None:
            table = table.set_column(names.index(name), name, arrow.array(column))
        parquet.write_table(table, path, compression="zstd", use_dictionary=bool(rng.integers(2)))
    except (arrow.ArrowException, ValueError, OverflowError, RecursionError, TypeError):
        path.write_bytes(b"PAR1")


def _change_row(db: sqlite3.Connection, rng: np.random.Generator) -> None:
    """One value of one table, whatever its checksum says then."""
    tables = [row[0] for row in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
    table = tables[rng.integers(len(tables))]
    columns = [row[1] for row in db.execute(f'PRAGMA table_info("{table}")')]
    value = weird(rng)
    db.execute(
        f'UPDATE "{table}" SET "{columns[rng.integers(len(columns))]}" = ?',
        (value if isinstance(value, str) else 2**40,),
    )
    db.commit()


def _no_file(path: Path, rng: np.random.Generator) -> None:
    """A pipe, a folder, a socket, a link to a device, or nothing."""
    match rng.integers(5):
        case 0:
            os.mkfifo(path)
        case 1:
            path.mkdir()
        case 2:
            here = os.getcwd()
            os.chdir(path.parent)
            with socket.socket(socket.AF_UNIX) as bound:
                bound.bind(path.name)
            os.chdir(here)
        case 3:
            path.symlink_to("/dev/zero")


__all__ = ["WORDS", "Inputs", "recompute_stored"]
