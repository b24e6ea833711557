"""What pyproject.toml cannot say: a built package carries the page inside it, a clone has it beside the package."""

import shutil
from pathlib import Path

from setuptools import setup
from setuptools.command.build_py import build_py


class WithPage(build_py):
    """The package, and the page in it."""

    def run(self) -> None:
        """Copies the page too, except into a clone that is used in place."""
        super().run()
        if not self.editable_mode:
            page = Path(self.build_lib) / "daq" / "dashboard"
            shutil.rmtree(page, ignore_errors=True)
            shutil.copytree("dashboard", page)


setup(cmdclass={"build_py": WithPage})
