"""On a system without what only Linux has everything is imported, and a whole sweep is ridden, stored and read back."""

import json
import pkgutil
import subprocess
import sys

import daq

RUN = [sys.executable, "-W", "error::RuntimeWarning", "-m", "tests.platforms.bare"]


def run(*words, **options):
    return subprocess.run([*RUN, *words], capture_output=True, text=True, timeout=200, check=False, **options)


def test_every_module_is_imported_without_what_only_linux_has():
    names = [one.name for one in pkgutil.walk_packages(daq.__path__, "daq.") if not one.name.endswith("__main__")]
    told = "from tests.platforms.bare import strip\nstrip()\nimport importlib\n"
    told += "".join(f"importlib.import_module({name!r})\n" for name in names)

    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, timeout=200, check=False)

    assert len(names) > 200
    assert done.stderr == ""
    assert done.returncode == 0


def test_a_sweep_is_ridden_over_a_port_that_a_thread_reads(tmp_path):
    store = str(tmp_path / "store.sqlite")

    done = run("demo", "--headless", "--json", "--pace", "100", "--store", store)
    answer = json.loads(done.stdout)

    assert done.returncode == 0
    assert answer["verdict"] == "onset"
    low_mm, high_mm = answer["interval_95_mm"]
    assert low_mm <= answer["truth"]["onset_mm"] <= high_mm

    again = run("onset", "1", "--json", "--store", store)
    assert json.loads(again.stdout)["onset_mm"] == answer["onset_mm"]


def test_a_store_is_written_by_one_process_there_too(tmp_path):
    told = (
        "from tests.platforms.bare import strip\nstrip()\nfrom pathlib import Path\nfrom daq.keep.store import Store\n"
        "from daq.keep.errors import StoreBusy\nfirst = Store.open(Path('s.sqlite'))\n"
        "try:\n    Store.open(Path('s.sqlite'))\nexcept StoreBusy as busy:\n    print(busy)\n"
        "first.close()\nStore.open(Path('s.sqlite')).close()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", told],
        capture_output=True,
        text=True,
        timeout=100,
        check=False,
        cwd=tmp_path,
        env={"PYTHONPATH": ":".join(sys.path), "PATH": "/usr/bin:/bin"},
    )

    assert done.stderr == ""
    assert "is being written by process" in done.stdout
