"""A calibrated jig for the tests: four cells, a tilt channel and a column nobody uses, with everything on."""

from daq.measure.calibration import CalibratedChannel, Calibration, Term, TiltTare, Uncertainty

BUDGET = Uncertainty(
    terms=(
        Term("reference weights", relative=5e-5, shared=True, note="class M1"),
        Term("resolution", absolute_n=0.02),
        Term("repeatability", absolute_n=0.05, dof=5.0, note="3 series"),
    ),
    fit=(4e-9, -1e-12, 1e-15),
    fit_dof=17.0,
)


def cell(name, per_count, zero, *, sine_n=0.0, cosine_n=0.0, tare=True, quadratic=0.0):
    """A force channel; `per_count` newtons a count around its zero."""
    return CalibratedChannel(
        name=name,
        kind="force",
        coefficients=(-per_count * zero, per_count, quadratic),
        zero_counts=zero,
        span=(0.0, 500.0),
        span_counts=(zero, zero + 500.0 / per_count),
        uncertainty=BUDGET,
        tare=TiltTare(0.3, cosine_n, sine_n, (0.0, 11.0), 0.02) if tare else None,
    )


def jig(**changes):
    return Calibration(
        **{
            "id": "bench-7",
            "made_utc": "2025-03-04T10:11:12Z",
            "channels": (
                cell("hands_left", 1 / 8512.4, 41_211.0, sine_n=0.5, cosine_n=8.0),
                cell("hands_right", 1 / 8597.1, -18_302.0, sine_n=0.5, cosine_n=8.0, quadratic=1e-16),
                cell("saddle_nose", 1 / 4291.8, 90_331.0, sine_n=18.0, cosine_n=12.0),
                cell("saddle_rear", 1 / 4259.3, 12_007.0, sine_n=-18.0, cosine_n=12.0),
                CalibratedChannel("tilt", "tilt", (0.137, 0.001), zero_counts=-137.0),
                CalibratedChannel("spare", "unused"),
            ),
            "crosstalk": (
                (1.001, -0.004, 0.002, 0.0),
                (-0.003, 1.002, 0.0, 0.001),
                (0.0, 0.0, 1.0, -0.01),
                (0.0005, 0.0, -0.012, 1.003),
            ),
            "simulated": True,
            **changes,
        }
    )
