"""The client's sheet on paper: one page, with what may be doubted beside the number."""

import re
import subprocess

import pytest

from tests.browser.papers import hardly_tested_sheet


@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_the_sheet_with_the_most_to_caution_is_one_page(desk, tmp_path, size):
    at, path = desk(), tmp_path / "sheet.pdf"
    at.show(hardly_tested_sheet())
    at.page.pdf(path=path, format=size)

    words, about = (
        subprocess.run(command, capture_output=True, text=True, check=True).stdout
        for command in (["pdftotext", str(path), "-"], ["pdfinfo", str(path)])
    )

    assert re.search(r"Pages: +1$", about, re.MULTILINE), about
    after = " ".join(words.split()).partition("95 % interval ")[2]
    assert re.match(r"\d+\.\d to \d+\.\d mm\. Sham not ridden: a rise can also come from expectation", after)
    untested = after.partition("Not tested: ")[2].partition(".")[0]
    for what in ("visits not compared", "passes not compared", "lag not looked at"):
        assert what in untested
