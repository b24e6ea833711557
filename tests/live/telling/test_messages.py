import json
import math
import struct

import numpy as np
import pytest

from daq.live.telling import messages
from daq.measure.calibration import Expanded
from daq.values import NAN, Loads, Status, Stroke
from tests.live.examples import EXAMPLES, misfits

HANDS, SADDLE = Expanded(0.6, 0.3, 2.0, math.inf), Expanded(1.0, 0.4, 2.5, 5.0)


def loads(n, cells=2):
    t_s = 10.0 + np.arange(n) / 1000.0
    hands_n = np.linspace(80.0, 90.0, n)
    return Loads(t_s, hands_n, hands_n + 300, np.full(n, NAN), np.ones((n, cells)), np.zeros(n, np.uint8))


def test_a_loads_block_is_laid_out_as_its_docstring_says():
    block = messages.loads_block(loads(20))

    kind, series, n, t0_s = struct.unpack_from("<BBHd", block)
    values = np.frombuffer(block, "<f4", offset=12).reshape(1 + series, n)
    assert (kind, series, n, t0_s) == (1, 5, 20, 10.0)
    assert values[0] == pytest.approx(np.arange(20) / 1000.0, abs=1e-6)
    assert values[1][-1] == pytest.approx(90.0)
    assert np.isnan(values[3]).all()


@pytest.mark.parametrize("n", [0, 70_000])
def test_a_block_without_scans_or_with_too_many_is_refused(n):
    with pytest.raises(ValueError, match="1 to 65535"):
        messages.loads_block(loads(n))


def test_nan_and_infinity_become_null():
    assert json.loads(messages.text("notice", a=NAN, b=[math.inf], c=(1.5,)))["a"] is None
    assert json.loads(messages.text("notice", b=[math.inf]))["b"] == [None]


def test_a_stroke_message_has_the_fields_of_the_example():
    stroke = Stroke(311.9, 312.5, 80.3, 431.2, 224.0, 0.02, 21.2, 199.6, (40.0, 40.3), 67, Status.CRANK_MARK)

    sent = json.loads(messages.stroke(stroke, mass_kg=75.0, g_m_s2=9.80665, hands=HANDS, saddle=SADDLE))

    assert misfits(sent, EXAMPLES["stroke"]) == []
    assert sent["shares"]["hands"] == pytest.approx(80.3 / 735.499, abs=1e-5)
    assert sent["u_n"]["hands"] == 0.3
    assert sent["expanded_n"]["hands"] == 0.6
    assert sent["expanded_n"]["feet"] == pytest.approx(2.5 * sent["u_n"]["feet"])


def test_without_the_riders_mass_shares_are_null():
    stroke = Stroke(0.0, 0.6, 80.3, 431.2, NAN, NAN, NAN, NAN, (), 67, Status(0))

    sent = json.loads(messages.stroke(stroke, mass_kg=None, g_m_s2=9.80665, hands=None, saddle=None))

    assert sent["shares"] == {"hands": None, "saddle": None, "feet": None}
