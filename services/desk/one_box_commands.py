"""What the command line asks of the one box. The one place of the desk that knows how it is started."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from services.desk.errors import BoxTrouble


@dataclass(frozen=True)
class Box:
    """Where a one box answers, and its keys by role."""

    url: str
    keys: dict[str, str]


def start_box(folder: Path, *, port: int | None, say: Callable[[str], None]) -> Box:
    """Bring the box of `folder` up and return when it answers; `port` None takes any free one. Raises `BoxTrouble`."""
    from services.chassis.one_box import OneBoxError, start  # noqa: PLC0415  # only when a box is wanted: the desk starts light

    try:
        address = start(folder, port=port, say=say)
    except OneBoxError as fault:
        raise BoxTrouble(str(fault)) from fault
    return Box(address.url, dict(address.keys))


def stop_box(folder: Path) -> bool:
    """Take the box of `folder` down; whether there was one. Raises `BoxTrouble`."""
    from services.chassis.one_box import OneBoxError, stop  # noqa: PLC0415

    try:
        return stop(folder)
    except OneBoxError as fault:
        raise BoxTrouble(str(fault)) from fault


def running_box(folder: Path) -> Box | None:
    """The box that runs in `folder`, `None` when there is none."""
    from services.chassis.one_box import running  # noqa: PLC0415

    address = running(folder)
    return None if address is None else Box(address.url, dict(address.keys))


def default_port() -> int:
    """The port that a box has when none is named."""
    from services.chassis.one_box.box import DEFAULT_PORT  # noqa: PLC0415

    return DEFAULT_PORT
