"""The examples in daq/keep/package/examples.md run as they stand there, in each language that is at hand."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from daq.keep.again.recompute import recompute_stored
from daq.keep.package.export import export
from daq.keep.store import Store

PAGE = Path(__file__).parents[3] / "daq" / "keep" / "package" / "examples.md"
EXAMPLES = re.findall(r"```(\w+)\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
LANGUAGES = {"python": [sys.executable, "-c"], "r": ["Rscript", "-e"], "octave": ["octave-cli", "--eval"]}


def is_at_hand(language, code):
    """Whether the language is there, and what an example in R needs besides it."""
    if not shutil.which(LANGUAGES[language][0]):
        return False
    if language != "r":
        return True
    libraries = re.findall(r"library\((\w+)", code)
    return all(subprocess.run(["Rscript", "-e", f"stopifnot(requireNamespace('{one}'))"], stderr=subprocess.DEVNULL,
                              check=False).returncode == 0 for one in libraries)  # fmt: skip


AT_HAND = [one for one in EXAMPLES if is_at_hand(*one)]


@pytest.fixture(scope="module")
def folder(ridden_store, tmp_path_factory):
    folder = tmp_path_factory.mktemp("examples")
    with Store.open(ridden_store, write=False) as store:
        export(store, [1, 2], folder / "out", recompute_stored, form="parquet")
        steps = [step.hand_load_n for sweep_id in (1, 2) for step in recompute_stored(store, sweep_id).steps]
    return folder / "out", f"{len(steps)} {sum(steps) / len(steps):.3f}"


@pytest.mark.parametrize(("language", "code"), AT_HAND, ids=[code.split("\n")[0] for _, code in AT_HAND])
def test_an_example_runs_as_it_stands_and_finds_the_steps(folder, language, code):
    path, expected = folder
    assert code in (path / "EXAMPLES.md").read_text(encoding="utf-8")
    environment = {**os.environ, "MPLBACKEND": "agg"}
    plots = {path / plot for word, plot in {"plt.": "hand_load.png", "pdf(": "hand_load.pdf"}.items() if word in code}
    for plot in plots:
        plot.unlink(missing_ok=True)
    done = subprocess.run(
        [*LANGUAGES[language], code], cwd=path, env=environment, capture_output=True, text=True, check=False
    )

    assert done.returncode == 0, done.stderr
    assert [float(word) for word in done.stdout.split()] == [float(word) for word in expected.split()]
    assert all(plot.stat().st_size > 1000 for plot in plots)


def test_every_language_of_the_page_is_known_to_the_test():
    assert {language for language, _ in EXAMPLES} == set(LANGUAGES)
    assert [language for language, _ in AT_HAND].count("python") == 3


@pytest.mark.parametrize(("sweeps", "named"), [(10, True), (50, False)])
def test_the_names_of_many_sweeps_do_not_hide_their_lines(tmp_path, sweeps, named):
    code = next(code for _, code in EXAMPLES if "import pandas" in code)
    rows = [f"{sweep},{setback},90.0,1.0" for sweep in range(sweeps) for setback in (40, 80)]
    (tmp_path / "all_steps.csv").write_text("\n".join(["sweep,setback_mm,hand_load_n,u_hand_load_n", *rows]))
    code += "\nprint(plt.gca().get_legend() is not None)"
    environment = {**os.environ, "MPLBACKEND": "agg"}
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, env=environment, capture_output=True, text=True, check=False
    )

    assert done.returncode == 0, done.stderr
    assert done.stdout.split()[-1] == str(named)
