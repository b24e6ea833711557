"""The text for a monitor, read by the reference client of Prometheus (prometheus_client)."""

import math

from prometheus_client.parser import text_string_to_metric_families

from daq.live.web.metrics import exposed

BOARD = {"name": "board", "state": "live", "age_s": 0.02, "rate_hz": 99.5, "dropped": 3, "damaged": 1, "late": 0}
POWER = {"name": "power", "state": "absent", "age_s": None, "rate_hz": 0.0, "dropped": 0, "damaged": 0, "late": 0}


def test_a_monitor_reads_the_numbers_with_their_kinds_and_labels():
    text = exposed([BOARD, POWER], store_takes=False, pages=2)

    found = {family.name: family for family in text_string_to_metric_families(text)}
    samples = {(s.name, *s.labels.values()): s.value for family in found.values() for s in family.samples}
    assert samples["foreaft_source_live", "board"] == 1.0
    assert samples["foreaft_source_live", "power"] == 0.0
    assert samples["foreaft_source_rate_hertz", "board"] == 99.5
    assert math.isnan(samples["foreaft_source_age_seconds", "power"])
    assert samples["foreaft_source_lost_total", "board", "dropped"] == 3.0
    assert samples[("foreaft_store_takes",)] == 0.0
    assert samples[("foreaft_pages",)] == 2.0
    assert found["foreaft_source_lost"].type == "counter"
