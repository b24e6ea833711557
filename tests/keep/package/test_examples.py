"""The examples in daq/keep/package/examples.md run as they stand there, in each language that is at hand."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from daq.keep.again.derived import Derived
from daq.keep.again.recompute import recompute_stored
from daq.keep.package.export import export
from daq.keep.store import Store
from tests.keep.sweeps import stored

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


def run(language, code, folder):
    """The example as somebody runs it in this folder, without a screen."""
    environment = {**os.environ, "MPLBACKEND": "agg"}
    command = [*LANGUAGES[language], code]
    return subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, check=False)


@pytest.mark.parametrize(("language", "code"), AT_HAND, ids=[code.split("\n")[0] for _, code in AT_HAND])
def test_an_example_runs_as_it_stands_and_finds_the_steps(folder, language, code):
    path, expected = folder
    assert code in (path / "EXAMPLES.md").read_text(encoding="utf-8")
    plots = {path / plot for word, plot in {"plt.": "hand_load.png", "pdf(": "hand_load.pdf"}.items() if word in code}
    for plot in plots:
        plot.unlink(missing_ok=True)
    done = run(language, code, path)

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
    done = run("python", code, tmp_path)

    assert done.returncode == 0, done.stderr
    assert done.stdout.split()[-1] == str(named)


@pytest.mark.parametrize(
    ("language", "code"),
    [one for one in AT_HAND if one[0] != "octave"],  # it prints 0 and NaN
    ids=[code.split("\n")[0] for language, code in AT_HAND if language != "octave"],
)
def test_of_a_folder_without_any_step_an_example_says_so(store, tmp_path, language, code):
    export(store, [stored(store)], tmp_path / "out", lambda *_: Derived(), form="parquet")
    done = run(language, code, tmp_path / "out")

    assert "no sweep of this folder has a finished step" in done.stderr
    assert "Traceback" not in done.stderr
    assert not list((tmp_path / "out").glob("hand_load.*"))
