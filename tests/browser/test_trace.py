"""The binary message and the columns behind the strips, against struct and numpy."""

import struct

import numpy as np
import pytest
from playwright.sync_api import Error

from daq.live.telling.messages import loads_block
from daq.values import Loads

DECODED = "(({t0_s, t_s, series}) => ({t0_s, t_s: [...t_s], series: series.map((s) => [...s])}))"
DECODE = f"{DECODED}(m.decodeBlock(new Uint8Array(a).buffer))"
DECIMATE = "m.decimate(Float64Array.from(a.t), Float32Array.from(a.y), a.from, a.to, a.bins)"


def test_a_block_written_by_hand_is_read_as_the_layout_says(js):
    written = struct.pack("<BBHd2f4f", 1, 2, 2, 100.5, 0.0, 0.01, 78.5, 79.5, 430.0, -431.0)
    block = js("trace.js", DECODE, list(written))

    assert block["t0_s"] == 100.5
    assert block["t_s"] == pytest.approx([100.5, 100.51], abs=1e-8)
    assert block["series"] == [[78.5, 79.5], [430.0, -431.0]]


def test_a_block_of_the_daemon_is_read_with_all_its_series(js):
    rng = np.random.default_rng(5)
    t_s = 3600.0 + np.arange(50) / 1000
    hands_n, saddle_n, tilt_deg = rng.normal(100, 30, (3, 50))
    cells_n = rng.normal(50, 20, (50, 8))
    sent = loads_block(Loads(t_s, hands_n, saddle_n, tilt_deg, cells_n, np.zeros(50, np.uint8)))
    block = js("trace.js", DECODE, list(sent))

    np.testing.assert_allclose(block["t_s"], t_s, atol=1e-8)
    expected = np.vstack([hands_n, saddle_n, tilt_deg, cells_n.T]).astype(np.float32)
    np.testing.assert_array_equal(np.array(block["series"], np.float32), expected)


@pytest.mark.parametrize("damage", [lambda b: b[:-1], lambda b: b + b"\0", lambda b: b"\2" + b[1:], lambda b: b[:5]])
def test_a_damaged_block_is_refused_with_what_was_expected(js, damage):
    whole = struct.pack("<BBHd2f4f", 1, 2, 2, 0.0, 0.0, 0.01, 1.0, 2.0, 3.0, 4.0)

    with pytest.raises(Error, match=r"RangeError: .*not"):
        js("trace.js", DECODE, list(damage(whole)))


def test_every_bin_keeps_the_least_and_the_greatest_value(js):
    # Times and bins in powers of two, so that no scan lies on an edge by rounding.
    t_s = np.arange(20 * 1024) / 1024
    y = np.random.default_rng(11).normal(80, 10, len(t_s)).astype(np.float32)
    out = js("trace.js", DECIMATE, {"t": t_s.tolist(), "y": y.tolist(), "from": 0.0, "to": 20.0, "bins": 320})

    bins = y.reshape(320, 64)
    assert out["y"][:640:2] == bins.min(axis=1).tolist()
    assert out["y"][1:640:2] == bins.max(axis=1).tolist()
    assert out["t_s"][:640:2] == (np.arange(320) / 16).tolist()


def test_no_peak_is_lost_between_pixels(js):
    t_s = np.arange(0, 20, 0.001)
    y = np.zeros(len(t_s))
    y[12_345] = 300.0
    out = js("trace.js", DECIMATE, {"t": t_s.tolist(), "y": y.tolist(), "from": 0.0, "to": 20.0, "bins": 300})

    assert max(v for v in out["y"] if v is not None) == 300.0


def test_a_gap_in_the_data_is_a_gap_in_the_strip(js):
    t_s = np.concatenate([np.arange(0, 5, 0.01), np.arange(8, 10, 0.01)])
    out = js("trace.js", DECIMATE, {"t": t_s.tolist(), "y": [1.0] * len(t_s), "from": 0.0, "to": 10.0, "bins": 100})

    empty = [t for t, v in zip(out["t_s"][:200], out["y"][:200], strict=True) if v is None]
    assert empty == pytest.approx(np.arange(5, 8, 0.05).tolist())


def test_the_trace_keeps_the_newest_scans_in_columns_of_one_length(js):
    code = """(() => {
      const trace = new m.Trace(5, 1);
      for (const start of [0, 3, 6]) {
        trace.push({t0_s: start, t_s: Float64Array.of(start, start + 1, start + 2),
                    series: [Float32Array.of(start, start + 1, start + 2)]});
      }
      const {t_s, columns, filled, rate_hz} = trace;
      return {t: [...t_s], y: [...columns[0]], filled, rate: rate_hz, mean: trace.mean(0, 2)};
    })()"""
    trace = js("trace.js", code)

    assert trace == {"t": [4, 5, 6, 7, 8], "y": [4, 5, 6, 7, 8], "filled": 5, "rate": 1, "mean": 7.5}


def test_time_that_falls_back_starts_the_trace_anew(js):
    code = """(() => {
      const trace = new m.Trace(4, 1);
      for (const at of [100, 2]) trace.push({t0_s: at, t_s: Float64Array.of(at), series: [Float32Array.of(at)]});
      return [trace.filled, trace.end_s];
    })()"""

    assert js("trace.js", code) == [1, 2]


SHADES = """async () => {
  for (let i = 0; i < 3; i++) await new Promise(requestAnimationFrame);
  const host = document.querySelector(".strip.hands");
  const ink = getComputedStyle(host).color.match(/\\d+/g).slice(0, 3).map(Number);
  const canvas = host.querySelector("canvas");
  const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
  for (let i = 0; i < data.length; i += 4)
    if (data[i + 3] > 200 && ink.every((c, k) => Math.abs(c - data[i + k]) < 8)) return true;
  return false;
}"""


@pytest.mark.parametrize("motion", ["reduce", "no-preference"])
def test_the_strips_change_their_palette_with_the_scheme_at_once(desk, messages, motion):
    """Three frames later every line of a strip has the colours of the page around it."""
    at = desk(reduced_motion=motion).open(messages["snapshot"])
    t_s = np.arange(2000) / 100.0
    still = np.full(2000, 80.0)
    block = Loads(t_s, still, still, still * 0.0, np.tile(still[:, None], (1, 4)), np.zeros(2000, np.uint8))
    at.send(messages["sources"], loads_block(block))
    at.wait(lambda: at.page.evaluate(SHADES))
    for scheme in ("dark", "light", "dark"):
        at.page.emulate_media(color_scheme=scheme)
        assert at.page.evaluate(SHADES), scheme
    at.page.emulate_media(color_scheme="light")
