"""The plot on a certificate."""

import pytest

from daq.live.bench.certificate_page import _plotted


def test_the_axes_of_the_plot_reach_as_far_up_as_down_and_from_nothing_to_the_largest_load():
    points = [{"load_n": load, "error_n": error} for load, error in ((0.0, 0.0), (100.0, 0.2), (400.0, -0.1))]
    plot = _plotted({"points": points, "limits": []})

    errors, loads = ([one["value"] for one in plot[name]] for name in ("errors", "loads"))
    assert errors[0] == pytest.approx(-errors[-1])
    assert errors[-1] == pytest.approx(1.15 * 0.2)
    assert (loads[0], loads[-1]) == (0.0, 400.0)
    assert (plot["loads"][0]["at"], plot["loads"][-1]["at"]) == (plot["left"], plot["right"])
    assert plot["errors"][len(errors) // 2]["at"] == pytest.approx(plot["middle"])
