"""What pip makes of this repository holds everything the program reads at run time."""

import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
READ_BY_PEOPLE = {".md"}


def test_a_built_package_holds_the_page_and_every_file_the_program_reads(tmp_path):
    clone = tmp_path / "clone"
    for name in ("daq", "dashboard"):
        shutil.copytree(ROOT / name, clone / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, clone)
    pip = [sys.executable, "-m", "pip", "wheel", "--no-deps", "--no-build-isolation", "-q", "-w", tmp_path, clone]
    done = subprocess.run(pip, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    (wheel,) = tmp_path.glob("*.whl")

    held = set(zipfile.ZipFile(wheel).namelist())
    page = {f"daq/{path.relative_to(clone)}" for path in (clone / "dashboard").rglob("*") if path.is_file()}
    read = {str(path.relative_to(clone)) for path in (clone / "daq").rglob("*.*") if path.suffix not in READ_BY_PEOPLE}
    assert len(page) > 40
    assert page | read <= held
