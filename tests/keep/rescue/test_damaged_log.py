"""A log that is damaged: its frames are whole or not each by itself, and what is lost of it is told."""

import io
import struct

import numpy as np
import pytest

from daq.keep.again.recompute import recompute_stored
from daq.keep.clients import people
from daq.keep.clients.copies import exports_noted
from daq.keep.errors import StoreDamaged
from daq.keep.rescue.copied import copied_sweeps
from daq.keep.rescue.found_rows import found_in
from daq.keep.rescue.log_pages import read_log_pages
from daq.keep.rescue.pages import Pages
from daq.keep.rescue.salvage import salvage
from daq.keep.store import Store
from daq.keep.store.log import log_of, read_log
from daq.keep.store.sessions import add_copy
from daq.keep.store.verify import verify
from tests.bits import bits
from tests.faults.damages import FRAME_HEADER, LOG_HEADER, PAGE, last_frames
from tests.faults.rescue import made_and_left
from tests.keep.jig import recorded, second_of_session

FRAME = FRAME_HEADER + PAGE
NO_HEADER = "the header of the log was damaged; its pages of 4096 bytes were found without it"
UNCHECKED = "; the first of them cannot be checked"


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """A store of two sweeps as its first session leaves it when it is killed, and its answers."""
    path = tmp_path_factory.mktemp("sound") / "store.sqlite"
    _, left = made_and_left(path, 2)
    with Store.open(path, write=False) as store:
        return left, [recompute_stored(store, number) for number in (1, 2)]


@pytest.fixture
def path(tmp_path, sound):
    (tmp_path / "left").mkdir()
    (tmp_path / "left" / "store.sqlite").write_bytes(sound[0][0])
    (tmp_path / "left" / "store.sqlite-wal").write_bytes(sound[0][1])
    return tmp_path / "left" / "store.sqlite"


def harm_log(path, at, length=1, *, zeros=True):
    content = bytearray(log_of(path).read_bytes())
    content[at : at + length] = bytes(length) if zeros else bytes(byte ^ 4 for byte in content[at : at + length])
    log_of(path).write_bytes(content)


def salvaged(path, tmp_path):
    """What a salvage says, the answers of both sweeps and the losses of each; the damaged store is left as it was."""
    before = {one.name: one.read_bytes() for one in path.parent.iterdir()}
    found = salvage(path, tmp_path / "new.sqlite")
    assert {one.name: one.read_bytes() for one in path.parent.iterdir()} == before
    with Store.open(tmp_path / "new.sqlite", write=False) as new:
        assert verify(new).problems == ()
        computed = [recompute_stored(new, sweep.id) for sweep in new.sweeps()]
    return found, computed


@pytest.mark.parametrize(
    ("at", "length", "said"),
    [
        (3, 1, NO_HEADER),
        (10, 1, NO_HEADER),
        (17, 1, NO_HEADER),
        (26, 1, NO_HEADER + UNCHECKED),
        (0, LOG_HEADER, NO_HEADER + UNCHECKED),
    ],
    ids=["magic", "page size", "salt", "checksum", "all of it"],
)
def test_a_log_without_a_sound_header_gives_everything_and_that_is_told(path, tmp_path, sound, at, length, said):
    harm_log(path, at, length, zeros=length > 1)
    with pytest.raises(StoreDamaged, match="transactions behind the damage would be lost"):
        Store.open(path)
    found, computed = salvaged(path, tmp_path)

    assert (found.told, found.problems) == ((said,), ())
    assert [bits(one.onset) for one in computed] == [bits(one.onset) for one in sound[1]]


def test_a_first_frame_with_the_salts_of_none_does_not_hide_the_others(path, tmp_path):
    """No checksum covers a frame's salts (sqlite.org/fileformat2.html, section 4.1), so it counts as sound."""
    harm_log(path, 10, zeros=False)
    harm_log(path, LOG_HEADER + 8, zeros=False)
    assert read_log(io.BytesIO(log_of(path).read_bytes())).sound[0]
    found, computed = salvaged(path, tmp_path)

    assert (found.told, found.problems) == ((NO_HEADER,), ())
    assert [one.losses for one in computed] == [(), ()]


def test_pages_are_found_though_nothing_says_how_long_they_are(path, tmp_path):
    path.write_bytes(bytes(PAGE))
    harm_log(path, 0, LOG_HEADER)
    _, computed = salvaged(path, tmp_path)

    assert [one.losses for one in computed] == [(), ()]


def test_a_header_and_the_first_frames_may_be_gone_and_the_log_is_not_taken_for_an_older_one(path, tmp_path):
    harm_log(path, 0, LOG_HEADER + 2 * FRAME)
    with pytest.raises(StoreDamaged, match="transactions behind the damage would be lost"):
        Store.open(path)
    found, computed = salvaged(path, tmp_path)

    assert " pages in the log, 2 lost: " in found.problems[0]
    assert [one.losses for one in computed] == [(), ()]


def test_a_page_whose_number_is_damaged_is_put_where_its_checksum_says(path, tmp_path, sound):
    """Its own number leads to another page, which would be hidden."""
    log = sound[0][1]
    frames = last_frames(log)
    at, other = frames[max(frames)], next(number for number, begin in frames.items() if begin < frames[max(frames)])
    harmed = bytearray(log)
    struct.pack_into(">I", harmed, at, other)
    found = read_log_pages(bytes(harmed), PAGE, 1)

    assert found.pages == read_log_pages(log, PAGE, 1).pages
    assert found.problems == ()
    assert " pages in the log, 1 with a wrong checksum: damaged, or behind pages that are gone" in found.told[0]


@pytest.mark.parametrize("byte", range(8))
def test_damage_to_a_page_is_not_taken_for_damage_to_its_number(sound, byte):
    """A bit of its first words may ask for other numbers that the store could have."""
    log = sound[0][1]
    whole, harmed, places = read_log_pages(log, PAGE, 1), bytearray(log), range(100, 400, 2)
    for place in places:
        harmed[LOG_HEADER + place * FRAME + FRAME_HEADER + byte] ^= 2
    found = read_log_pages(bytes(harmed), PAGE, 1)

    assert not read_log(io.BytesIO(bytes(harmed))).sound[places].any()
    changed = {number for number, page in found.pages.items() if page != whole.pages.get(number)}
    assert changed <= {number for number, at in last_frames(log).items() if (at - LOG_HEADER) // FRAME in places}


@pytest.mark.timeout(20)
def test_a_page_number_that_no_store_has_fills_no_memory(path, tmp_path, sound):
    """Its checksum and that of the frame before are damaged too, so nothing says which it was."""
    at = LOG_HEADER + 40 * FRAME
    content = bytearray(log_of(path).read_bytes())
    content[at : at + 4] = b"\x7f\xff\xff\xff"
    content[at + 16 : at + 24] = content[at - FRAME + 16 : at - FRAME + 24] = bytes(8)
    log_of(path).write_bytes(content)
    with Pages(path) as pages:
        assert pages.count == max(last_frames(sound[0][1]))
    found, _ = salvaged(path, tmp_path)

    assert " pages in the log, 1 lost: " in found.problems[0]


def test_a_log_that_ends_in_zeros_has_lost_what_came_last_and_the_sweep_says_so(path, tmp_path, sound):
    log = sound[0][1]
    middle = LOG_HEADER + (len(log) // FRAME * 3 // 4) * FRAME
    harm_log(path, middle, len(log) - middle)
    found, computed = salvaged(path, tmp_path)

    frames = (len(log) - middle) // FRAME
    assert f"nothing can be read at the end of the log ({frames} pages): what was received last is lost" in (
        found.problems
    )
    assert len(computed) == 2
    assert any(", if anything was" in phrase for phrase in computed[-1].losses)


def test_what_an_earlier_log_left_behind_this_one_is_no_loss(tmp_path):
    """SQLite writes a log again from its begin on, with new salts."""
    with Store.open(tmp_path / "store.sqlite") as store:
        session_id = recorded(store, 3)
        with store.reading() as db:
            db.execute("PRAGMA wal_checkpoint(RESTART)")
        store.put(session_id, second_of_session(3))
        content = log_of(tmp_path / "store.sqlite").read_bytes()
        main_pages = (tmp_path / "store.sqlite").stat().st_size // PAGE
    log = read_log(io.BytesIO(content))
    assert 0 < np.count_nonzero(log.of_older) == len(log.number) - np.count_nonzero(log.of_this)

    found = read_log_pages(content, PAGE, main_pages)
    assert (found.told, found.problems) == ((), ())


@pytest.mark.parametrize(("gone", "put"), [(10, b""), (3 * FRAME + 1, b""), (0, b"strange")])
def test_behind_bytes_that_are_gone_or_came_in_the_log_is_read_on_and_that_is_told(path, tmp_path, sound, gone, put):
    log = sound[0][1]
    at = LOG_HEADER + 200 * FRAME + 1000
    log_of(path).write_bytes(log[:at] + put + log[at + gone :])
    with pytest.raises(StoreDamaged, match="transactions behind the damage would be lost"):
        Store.open(path)
    found, computed = salvaged(path, tmp_path)

    assert found.problems[0] == (
        "in 1 place of the log, bytes are gone or strange ones came in: what was there is lost"
    )
    assert len(computed) == 2
    assert all(one.onset is not None for one in computed)


@pytest.mark.parametrize("gone", [1, 2000, 3900])
def test_bytes_that_are_gone_from_one_frame_cost_no_other(sound, gone):
    """The next one begins before the end of the one they are gone from."""
    log = sound[0][1]
    at = LOG_HEADER + 200 * FRAME + 100
    found = read_log(io.BytesIO(log[:at] + log[at + gone :]))

    assert np.flatnonzero(~found.sound).tolist() == [200]
    assert len(found.sound) == len(log) // FRAME


@pytest.mark.timeout(30)
def test_frames_are_looked_for_in_other_places_a_few_times_only(sound):
    """Each time the rest of the log is read again."""
    log = sound[0][1]
    places = range(LOG_HEADER, LOG_HEADER + 300 * FRAME, FRAME)
    found = read_log(io.BytesIO(log[:LOG_HEADER] + b"".join(b"x" + log[at : at + FRAME] for at in places)))

    assert found.shifts == 16


def test_a_log_of_which_nothing_can_be_read_is_told(path, tmp_path):
    harm_log(path, 0, log_of(path).stat().st_size)

    with pytest.raises(StoreDamaged, match="nothing of a store can be found"):
        salvage(path, tmp_path / "new.sqlite")
    assert read_log_pages(log_of(path).read_bytes(), PAGE, 1).problems == (
        "nothing in the log can be read: what was received since it began is lost",
    )
    assert read_log_pages(bytes(LOG_HEADER), PAGE, 1).problems == ()


@pytest.mark.parametrize("frames", [0.1, 1.0, 1.9])
def test_a_log_that_ends_within_a_transaction_has_lost_that(path, tmp_path, frames):
    """Within its first frame, between two, and within the second."""
    content = log_of(path).read_bytes()
    *_, before, last = np.flatnonzero(read_log(io.BytesIO(content)).commit).tolist()
    assert last - before > 1
    log_of(path).write_bytes(content[: LOG_HEADER + int((before + 1 + frames) * FRAME)])
    found, computed = salvaged(path, tmp_path)

    assert found.problems[0] == (
        "the log ends within a transaction, which is lost, as is what followed if the log was cut off"
    )
    assert [one.losses for one in computed] == [(), ()]


@pytest.mark.parametrize("main", [b"", None], ids=["empty", "gone"])
def test_a_log_whose_store_is_empty_or_gone_is_kept_and_gives_everything(path, tmp_path, sound, main):
    """SQLite would delete it, though it only reads."""
    path.unlink() if main is None else path.write_bytes(main)
    log = log_of(path).read_bytes()
    for write in (False, True):
        with pytest.raises(StoreDamaged, match=r"its log .*-wal is left: keep it as it is; foreaft salvage "):
            Store.open(path, write=write)
    assert log_of(path).read_bytes() == log
    assert path.exists() == (main is not None)
    found, computed = salvaged(path, tmp_path)

    assert (found.told, found.problems) == ((), ())
    assert [bits(one.onset) for one in computed] == [bits(one.onset) for one in sound[1]]


def test_which_sweeps_an_export_holds_is_read_from_a_log_that_sqlite_replays_in_part(path, tmp_path, sound):
    """Damaged in the middle of a page that was written again later: nothing is lost."""
    frames = set(last_frames(sound[0][1]).values())
    at = next(at for at in range(LOG_HEADER + 200 * FRAME, len(sound[0][1]), FRAME) if at not in frames)
    harm_log(path, at + 1000, zeros=False)
    found, _ = salvaged(path, tmp_path)

    assert found.problems == ()
    with Store.open(tmp_path / "new.sqlite", write=False) as new, new.reading() as db:
        assert db.execute("SELECT copy_id, sweep_id FROM copied_sweeps").fetchall() == [(1, 1), (1, 2)]
        assert [one.path.name for one in exports_noted(new, people.clients(new)[0])] == ["exported"]


def test_where_a_page_of_the_log_is_lost_each_copy_may_hold_every_sweep(tmp_path):
    """The page may be the one that lists them, of which an earlier state is left."""
    path = tmp_path / "left" / "store.sqlite"
    path.parent.mkdir()
    _, (main, log) = made_and_left(tmp_path / "store.sqlite", 2)
    path.write_bytes(main)
    with Store.open(tmp_path / "store.sqlite", write=False) as store, store.reading() as db:
        (root,) = db.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'copied_sweeps'").fetchone()
    log_of(path).write_bytes(log)
    harm_log(path, last_frames(log)[root], FRAME)
    found, _ = salvaged(path, tmp_path)

    assert any(one.startswith("which sweeps each backup and export holds is lost") for one in found.problems)
    with Store.open(tmp_path / "new.sqlite", write=False) as new, new.reading() as db:
        assert db.execute("SELECT copy_id, sweep_id FROM copied_sweeps").fetchall() == [(1, 1), (1, 2)]


def test_hundreds_of_exports_are_read_through_the_pages_above_them(tmp_path):
    path = tmp_path / "left" / "store.sqlite"
    path.parent.mkdir()
    made_and_left(path, 1)
    with Store.open(path) as store, store.writing() as db:
        for number in range(600):
            add_copy(db, "export", tmp_path / f"{number}", [1])
    salvaged(path, tmp_path)

    with Store.open(tmp_path / "new.sqlite", write=False) as new, new.reading() as db:
        assert db.execute("SELECT count(*), min(copy_id), max(copy_id) FROM copied_sweeps").fetchone() == (601, 1, 601)


def test_a_list_of_copied_sweeps_out_of_order_tells_nothing(tmp_path):
    path = tmp_path / "store.sqlite"
    made_and_left(path, 2)
    with Pages(path) as pages:
        root = found_in(pages).roots["copied_sweeps"]
        assert copied_sweeps(pages, root) == [(1, 1), (1, 2)]
        assert copied_sweeps(pages, None) is None
    content = bytearray(path.read_bytes())
    at = (root - 1) * PAGE + 8  # the places of its cells
    content[at : at + 4] = content[at + 2 : at + 4] + content[at : at + 2]
    path.write_bytes(content)

    with Pages(path) as pages:
        assert copied_sweeps(pages, root) is None


def test_a_row_of_one_column_in_the_list_of_copied_sweeps_tells_nothing(tmp_path):
    """Two bytes long, with the constant 1 in it (sqlite.org/fileformat2.html, section 2.1)."""
    path = tmp_path / "store.sqlite"
    made_and_left(path, 2)
    with Pages(path) as pages:
        root = found_in(pages).roots["copied_sweeps"]
        assert copied_sweeps(pages, root) is not None
    content = bytearray(path.read_bytes())
    page = (root - 1) * PAGE
    (cell,) = struct.unpack_from(">H", content, page + 8)
    content[page + cell : page + cell + 3] = bytes([2, 2, 9])
    path.write_bytes(content)

    with Pages(path) as pages:
        assert copied_sweeps(pages, root) is None
