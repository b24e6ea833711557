"""The client's sheet on paper: a page to set the bicycle by, with what may be doubted beside the number, and a second
one with the tests of that number.
"""

import re
import subprocess

import pytest

from tests.browser.papers import another_day_sheet, fully_examined_sheet, hardly_tested_sheet


def read(command):
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout


def pages_of(at, path, html, size):
    """The words of each page as it comes from the printer."""
    at.show(html)
    at.page.pdf(path=path, format=size)
    (count,) = re.findall(r"^Pages: +(\d+)$", read(["pdfinfo", str(path)]), re.MULTILINE)
    each = [["pdftotext", "-f", str(i), "-l", str(i), str(path), "-"] for i in range(1, int(count) + 1)]
    return [" ".join(read(one).split()) for one in each]


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_the_sheet_with_the_most_to_caution_is_one_page_and_its_tests_another(desk, tmp_path, size):
    """Twenty tests in a size that can be read do not fit beside what the bicycle is set by; that page stands alone."""
    first, second = pages_of(desk(), tmp_path / "sheet.pdf", hardly_tested_sheet(), size)

    after = first.rpartition("95 % interval ")[2]
    assert re.match(r"\d+\.\d to \d+\.\d mm\. Sham not ridden: a rise can also come from expectation", after)
    untested = after.partition("Not tested: ")[2].partition(".")[0]
    for what in ("visits not compared", "passes not compared", "lag not looked at"):
        assert what in untested
    assert first.endswith("The jig advises, the fitter decides. Page 2: the tests of this answer.")
    assert second.startswith("Page 2: tests Saddle sheet, 25 November 2026 · visit 1 · R-ABC234")


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_the_second_page_has_every_test_with_its_number_and_what_it_means(desk, tmp_path, size):
    _, second = pages_of(desk(), tmp_path / "sheet.pdf", fully_examined_sheet(), size)

    assert "feet held left for the feet: 26 % The feet carry a possible share" in second
    assert "left and right hand not made – Left and right hand not compared: it needs one cell for each." in second
    assert re.search(r"torque held change of crank torque: [\d.]+ N m Crank torque was measured on every step", second)
    for test in (
        "computation",
        "calibration",
        "cells",
        "tilt",
        "direction",
        "passes",
        "lag",
        "fatigue",
        "visits",
        "habit",
    ):
        assert re.search(rf"\b{test} (held|failed|not made) ", second), test


def test_a_sheet_without_tests_is_one_page(desk, tmp_path):
    (only,) = pages_of(desk(), tmp_path / "sheet.pdf", another_day_sheet(), "A4")

    assert "Page 2" not in only
