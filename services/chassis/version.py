"""The version of this release: the one number in `pyproject.toml`."""

from __future__ import annotations

import tomllib
from importlib.metadata import version
from pathlib import Path

_BESIDE_THE_CODE = Path(__file__).resolve().parents[2] / "pyproject.toml"


def _version() -> str:
    """As the checkout has it that the code runs from, or else as it was installed."""
    # What pip noted of an editable install is as old as that install.
    if _BESIDE_THE_CODE.is_file():
        project = tomllib.loads(_BESIDE_THE_CODE.read_text(encoding="utf-8")).get("project", {})
        if project.get("name") == "blankwright":
            return str(project["version"])
    return version("blankwright")


VERSION = _version()
