"""Files from elsewhere: what is no plain file, too large, too deep or a bomb is refused before memory is taken."""

import gzip
import os
import re
import socket
import tracemalloc

import pytest
import zstandard

from daq.keep import bounded
from daq.keep.bounded import (
    MIB,
    Patience,
    Refused,
    from_json,
    gzip_lines,
    open_plain,
    read_bytes,
    read_stream,
    read_text,
)


def pipe(path):
    os.mkfifo(path)


def folder(path):
    path.mkdir()


def device(path):
    path.symlink_to("/dev/zero")


def bound_socket(path):
    with socket.socket(socket.AF_UNIX) as made:
        made.bind(os.path.relpath(path))


@pytest.mark.parametrize(
    ("make", "said"), [(pipe, "pipe"), (folder, "folder"), (device, "device"), (bound_socket, "socket")]
)
def test_what_is_no_plain_file_is_refused_at_once_and_not_waited_for(tmp_path, monkeypatch, make, said):
    monkeypatch.chdir(tmp_path)
    make(tmp_path / "x")

    with pytest.raises(Refused, match=f"x: expected a plain file, got a {said}"):
        open_plain(tmp_path / "x")


def test_a_file_that_is_too_long_is_not_read(tmp_path):
    (tmp_path / "x").write_bytes(b"")
    os.truncate(tmp_path / "x", 2**40)  # a terabyte of nothing; where it was read, the test would not end

    with pytest.raises(Refused, match="x: expected at most 1 KiB, got 1024 GiB"):
        read_bytes(tmp_path / "x", 1024)
    with (
        pytest.raises(Refused, match="standard input: expected at most 1 KiB, got more"),
        open("/dev/zero", "rb") as zeros,
    ):
        read_stream(zeros, "standard input", 1024)  # without end


def test_text_is_utf_8_with_or_without_a_mark(tmp_path):
    (tmp_path / "x").write_bytes("\ufeffgrößer".encode())
    assert read_text(tmp_path / "x", 100) == "größer"

    (tmp_path / "x").write_bytes("größer".encode("latin-1"))
    with pytest.raises(Refused, match="not text in UTF-8, from byte 2 on"):
        read_text(tmp_path / "x", 100)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[" * 65 + "]" * 65, "at most 64 levels"),
        ("[" * 100_000, "at most 64 levels"),
        ('{"a":' * 65 + "1" + "}" * 65, "at most 64 levels"),
        ("1" * 30, "at most 64 bits"),
        (str(2**64), "at most 64 bits"),
        (str(-(2**63) - 1), "at most 64 bits"),
        ("-" + "9" * 5000, "at most 64 bits"),
        ("1e999", "finite"),
        ("NaN", "expected numbers"),
        ("-Infinity", "expected numbers"),
        ('"' + "x" * 100 + '"', "at most 64 bytes of JSON"),
        ("{", "not JSON: Expecting"),
    ],
)
def test_json_that_nobody_writes_is_refused(text, said):
    with pytest.raises(ValueError, match=said):
        from_json(text, most_bytes=64 if "x" in text else MIB)


def test_sound_json_is_read_exactly_brackets_in_text_included():
    text = (
        '{"a": [1, -2.5, 9223372036854775807, 18446744073709551615], "b": "'
        + "[{" * 500
        + '\\"[", "c": 0.1234567890123456789}'
    )

    assert from_json(text) == {
        "a": [1, -2.5, 2**63 - 1, 2**64 - 1],
        "b": "[{" * 500 + '"[',
        "c": 0.1234567890123456789,
    }
    assert from_json(b'{"a":' + b"[" * 63 + b"]" * 63 + b"}") != {}


def peak_bytes(action):
    tracemalloc.start()
    try:
        with pytest.raises(ValueError, match="expected"):
            action()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def test_a_bomb_is_unpacked_no_further_than_allowed(tmp_path):
    packed = zstandard.ZstdCompressor(level=3).compress(bytes(256 * MIB))
    unsized = zstandard.ZstdCompressor(write_content_size=False).compress(bytes(64 * MIB))
    (tmp_path / "x.gz").write_bytes(gzip.compress(bytes(256 * MIB)))
    (tmp_path / "lines.gz").write_bytes(gzip.compress(b"line\n" * 20 * MIB))

    assert peak_bytes(lambda: bounded.unzstd(packed, MIB)) < 4 * MIB
    assert peak_bytes(lambda: bounded.unzstd(unsized, MIB)) < 4 * MIB
    assert peak_bytes(lambda: list(gzip_lines(tmp_path / "x.gz", most_bytes=300 * MIB, most_line=MIB))) < 4 * MIB
    assert peak_bytes(lambda: sum(map(len, gzip_lines(tmp_path / "lines.gz", most_bytes=MIB, most_line=MIB)))) < 4 * MIB


def test_a_frame_that_asks_for_more_memory_than_any_of_ours_or_is_none_is_refused():
    wide = zstandard.ZstdCompressionParameters.from_level(1, window_log=24)
    packer = zstandard.ZstdCompressor(compression_params=wide).compressobj()
    packed = packer.compress(b"x" * 100) + packer.flush()

    with pytest.raises(ValueError, match="memory"):
        bounded.unzstd(packed, 1000)
    with pytest.raises(ValueError, match="descriptor"):
        bounded.unzstd(b"no frame", 1000)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (gzip.compress(b"a,b\n" * 1000)[:-9], "x.gz: not a whole gzip file"),
        (gzip.compress(b"")[:10] + b"\xff" * 20, "x.gz: not a whole gzip file"),  # no block of RFC 1951
        (b"a,b\n", "x.gz: not a whole gzip file"),
        (gzip.compress("größer\n".encode("latin-1")), "x.gz: expected text in UTF-8"),
    ],
    ids=["cut", "no_block", "plain", "latin"],  # made now, the bytes hold the time: each worker would name its own
)
def test_a_gzip_file_that_is_none_or_no_text_is_refused(tmp_path, content, said):
    (tmp_path / "x.gz").write_bytes(content)

    with pytest.raises(Refused, match=re.escape(said)):
        list(gzip_lines(tmp_path / "x.gz", most_bytes=MIB, most_line=MIB))


def test_patience_ends_and_grows_with_the_file(tmp_path, monkeypatch):
    now_s = [0.0]
    monkeypatch.setattr("daq.keep.bounded.time.process_time", lambda: now_s[0])
    (tmp_path / "small").write_bytes(b"")
    (tmp_path / "large").write_bytes(bytes(400_000))
    small, large = Patience(tmp_path / "small", 20_000), Patience(tmp_path / "large", 20_000)

    now_s[0] = 4.9
    assert small.left()
    now_s[0] = 24.9
    assert large.left()
    with pytest.raises(Refused, match="small: asks for more work than a file of its size can"):
        small.left()


def test_patience_does_not_count_a_folder_without_end(tmp_path, monkeypatch):
    def files(*_):
        for number in range(2000):
            assert number <= 1000
            yield tmp_path

    monkeypatch.setattr(type(tmp_path), "rglob", files)
    assert Patience(tmp_path, 1000).left()
