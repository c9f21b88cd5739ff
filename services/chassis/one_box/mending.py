"""What a box that was killed at the worst moment leaves behind, and what is done about it before the next start. Data is never thrown away."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

MOST_LOG_BYTES = 10 * 2**20
LOGS_KEPT = 3
"""Older parts of a log that are kept beside it."""
ORPHAN_ENDS_WITHIN_S = 10.0


def rotate(log: Path, *, most_bytes: int = MOST_LOG_BYTES, kept: int = LOGS_KEPT) -> bool:
    """Move what a log holds to `<name>.1`, and what that held to `.2`, when it has grown too large; whether it had.

    The file itself stays and is emptied, for the part that writes to it holds it open and writes at its end.
    """
    try:
        if log.stat().st_size <= most_bytes:
            return False
        for older in range(kept - 1, 0, -1):
            source = log.with_name(f"{log.name}.{older}")
            if source.exists():
                source.replace(log.with_name(f"{log.name}.{older + 1}"))
        shutil.copyfile(log, log.with_name(f"{log.name}.1"))
        os.truncate(log, 0)
    except OSError:
        return False  # of a full disk; the next look may do it
    return True


def free_data(folder: Path, *, command_of: Callable[[int], str] | None = None) -> str | None:
    """Make the data folder of PostgreSQL free for a new server; what was in the way, if anything was.

    A `postmaster.pid` of a server that is gone stops the next one when another program has its number by now. Who calls this holds
    the lock of the box, so that a server which does run here has lost its supervisor: it is ended in good order.
    """
    place = folder / "postmaster.pid"
    try:
        lines = place.read_text(encoding="utf-8", errors="replace").split("\n")
    except FileNotFoundError:
        return None
    number = int(lines[0]) if lines[0].strip().isdecimal() else 0
    command = (command_of or _command_of)(number) if number else ""
    if str(folder) not in command:
        place.unlink(missing_ok=True)
        return f"a postmaster.pid of process {number}, which is gone"
    os.kill(number, signal.SIGINT)
    give_up_at = time.monotonic() + ORPHAN_ENDS_WITHIN_S
    while place.exists() and time.monotonic() < give_up_at:
        time.sleep(0.05)
    return f"a database that had lost its supervisor (process {number})"


def clear_half_made(folder: Path) -> bool:
    """Take away a data folder in which no database was ever finished, so that one can be made; whether there was one.

    It goes beside, under a name of its own, and not to nothing: what is in it is not ours to judge.
    """
    if not folder.exists() or (folder / "PG_VERSION").exists() or not any(folder.iterdir()):
        return False
    aside(folder)
    return True


def aside(place: Path) -> Path:
    """Give a file or folder another name that says it was set aside, and give that name."""
    number = 1
    while (there := place.with_name(f"{place.name}.set-aside-{number}")).exists():
        number += 1
    place.rename(there)
    return there


def _command_of(process: int) -> str:
    """The command line of a process, empty when there is none."""
    done = subprocess.run(["ps", "-p", str(process), "-o", "command="], capture_output=True, text=True, check=False)  # nosec B603 B607  a number
    return done.stdout.strip()
