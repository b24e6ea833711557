"""The vectors beside this file: each of a kind the program decodes, encoded again where it has an encoder."""

import csv
import pathlib

import pytest

from daq.wire import battery, csc, cycling_power, cycling_power_control, cycling_power_vector, indoor_bike
from daq.wire.fields import BadPayload
from tests.wire import sensors_sending

PUBLISHED = list(csv.DictReader((pathlib.Path(__file__).parent / "vectors.csv").read_text().splitlines()))

WHEEL = {"wheel_revs": lambda m: m.wheel_revs}
CRANK = {
    "crank_revs": lambda m: m.crank_revs,
    "crank_t_s": lambda m: m.crank_time_1024 / 1024,
}

SAYS = {
    "0x2A63": {
        "power_W": lambda m: m.power_w,
        "balance_pct": lambda m: m.balance_pct,
        "balance_ref": lambda m: "left" if m.balance_left else "unknown",
        "acc_torque_Nm": lambda m: m.torque_total_32 / 32,
        "torque_source": lambda m: "crank" if m.torque_at_crank else "wheel",
        **WHEEL,
        "wheel_t_s": lambda m: m.wheel_time_2048 / 2048,
        **CRANK,
        "fmax_N": lambda m: m.force_max_n,
        "fmin_N": lambda m: m.force_min_n,
        "tmax_Nm": lambda m: m.torque_max_32 / 32,
        "tmin_Nm": lambda m: m.torque_min_32 / 32,
        "ang_max_deg": lambda m: m.angle_max_deg,
        "ang_min_deg": lambda m: m.angle_min_deg,
        "tds_deg": lambda m: m.top_dead_spot_deg,
        "bds_deg": lambda m: m.bottom_dead_spot_deg,
        "energy_kJ": lambda m: m.energy_kj,
        "offset_comp": lambda m: m.offset_compensation,
    },
    "0x2A5B": {**WHEEL, "wheel_t_s": lambda m: m.wheel_time_1024 / 1024, **CRANK},
    "0x2A64": {
        "direction": lambda v: v.direction.name.lower(),
        **CRANK,
        "first_angle_deg": lambda v: v.first_angle_deg,
        "torque_Nm": lambda v: [t / 32 for t in v.torque_32],
        "force_N": lambda v: list(v.force_n),
    },
    "0x2AD2": {
        "speed_kmh": lambda b: b.speed_hundredth_km_h / 100,
        "cadence_rpm": lambda b: b.cadence_half_rpm / 2,
        "power_W": lambda b: b.power_w,
    },
    "0x2A65": {
        "bits": lambda f: [i for i in range(32) if f[0] >> i & 1],
        "distributed": lambda f: int(f[1]),
    },
    "0x2A19": {"value": int},
}
DECODE = {
    "0x2A63": cycling_power.decode_power,
    "0x2A5B": csc.decode_csc,
    "0x2A64": cycling_power_vector.decode_vector,
    "0x2AD2": indoor_bike.decode_indoor_bike,
    "0x2A65": cycling_power_control.decode_feature,
    "0x2A19": battery.decode_battery,
}
ENCODE = {
    "0x2A63": cycling_power.encode_power,
    "0x2A5B": sensors_sending.csc,
    "0x2A64": cycling_power_vector.encode_vector,
    "0x2AD2": sensors_sending.indoor_bike,
    "0x2A65": lambda feature: sensors_sending.feature(*feature),
}
VECTORS = [vector for vector in PUBLISHED if vector["characteristic"] in DECODE]
ENCODED = [vector for vector in VECTORS if vector["characteristic"] in ENCODE]


def told(text):
    """`a=1, b=[2, 3]` as a dictionary of texts; the flags are judged by encoding."""
    parts = text.replace(", ", "\n").splitlines()
    joined = []
    for part in parts:
        if "=" in part:
            joined.append(part)
        else:
            joined[-1] += ", " + part
    return {name: value for name, value in (part.split("=") for part in joined) if name != "flags"}


def name_of(vector):
    return vector["vector"]


def test_there_are_as_many_vectors_as_published():
    assert len(PUBLISHED) == 23
    assert (len(VECTORS), len(ENCODED)) == (19, 18)


@pytest.mark.parametrize("vector", VECTORS, ids=name_of)
def test_a_vector_says_what_is_published(vector):
    says = SAYS[vector["characteristic"]]
    expected = told(vector["decoded"])

    value = DECODE[vector["characteristic"]](bytes.fromhex(vector["bytes"]))

    assert {name: str(says[name](value)) for name in expected} == expected


@pytest.mark.parametrize("vector", ENCODED, ids=name_of)
def test_a_vector_decoded_and_encoded_is_the_same_bytes(vector):
    decode, encode = DECODE[vector["characteristic"]], ENCODE[vector["characteristic"]]

    assert encode(decode(bytes.fromhex(vector["bytes"]))).hex() == vector["bytes"]


@pytest.mark.parametrize("vector", VECTORS, ids=name_of)
def test_a_vector_cut_short_is_refused_or_loses_whole_samples_of_its_array(vector):
    decode, value = DECODE[vector["characteristic"]], bytes.fromhex(vector["bytes"])
    array = {"V14": 6, "V15": 4, "V16": 4}.get(vector["vector"], 0)

    for length in range(len(value)):
        missing = len(value) - length
        if missing <= array and missing % 2 == 0:
            decode(value[:length])
        else:
            with pytest.raises(BadPayload, match=r"expected at least \d+ bytes, got \d+|bytes left for"):
                decode(value[:length])
