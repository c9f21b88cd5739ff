"""Start, find and stop the one box of a folder. The box itself is the process in `supervisor.py`."""

from __future__ import annotations

import errno
import fcntl
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from services.chassis.one_box.servers import elsewhere, free_port, listens

DEFAULT_PORT = 8750
READY_WITHIN_S = 120.0
STOPPED_WITHIN_S = 45.0
LEAST_FREE_BYTES = 200 * 1024 * 1024
ROLES = ("sales", "erp", "engineer", "admin")
PROJECT = Path(__file__).resolve().parents[3]

_started_here: dict[int, subprocess.Popen[bytes]] = {}
"""Supervisors that this process started; they outlive it, and are reaped when it stops them."""


class OneBoxError(Exception):
    """The one box cannot be started or stopped; the sentence says why and what would do."""


@dataclass(frozen=True)
class Address:
    """Where a running box answers, with a key for each role."""

    folder: Path
    url: str
    keys: dict[str, str]
    pid: int

    def stop(self) -> None:
        """Take this box down."""
        stop(self.folder)


def start(folder: Path, *, port: int | None = None, say: Callable[[str], None] = lambda _: None) -> Address:
    """Bring the box up in `folder` and return when it answers.

    `port` is the port of the API on the loopback interface, `None` any free one. Raises `OneBoxError` when a box runs
    there already, the port is taken, the disk is full, or a part does not start.
    """
    _make_room(folder)
    already = running(folder)
    if already is not None:
        raise OneBoxError(f"A box runs already in {folder}: {already.url} (process {already.pid}). Stop it with: blankwright down")
    _tidy(folder, say)
    if port is not None and listens(port):
        raise OneBoxError(f"Port {port} is taken by another program. Choose another, as: blankwright up --port {free_port()}")
    return _await_ready(folder, _launch(folder, port or free_port()))


def running(folder: Path) -> Address | None:
    """The box that runs in `folder`, `None` when there is none (whatever files an earlier one left)."""
    with held(folder) as free:
        if free:
            return None
    try:
        return _read_address(folder)
    except (OSError, ValueError, KeyError):
        return None


def stop(folder: Path) -> bool:
    """Take the box of `folder` down; whether there was one. Raises `OneBoxError` when it does not end in time."""
    with held(folder) as free:
        if free:
            return False
    pid = int((folder / "supervisor.pid").read_text())
    os.kill(pid, signal.SIGTERM)
    give_up_at = time.monotonic() + STOPPED_WITHIN_S
    while time.monotonic() < give_up_at:
        with held(folder) as free:
            if free:
                if pid in _started_here:
                    _started_here.pop(pid).wait()
                return True
        time.sleep(0.05)
    raise OneBoxError(f"The box in {folder} (process {pid}) did not end within {STOPPED_WITHIN_S:g} s. See {folder / 'logs'}.")


def erase(folder: Path) -> None:
    """Remove a box that does not run, with all its data; raises `OneBoxError` when it runs."""
    if running(folder) is not None:
        raise OneBoxError(f"A box runs in {folder}. Stop it with: blankwright down")
    for place in (folder, elsewhere(folder)):
        shutil.rmtree(place, ignore_errors=True)


def _make_room(folder: Path) -> None:
    try:
        folder.mkdir(mode=0o755, parents=True, exist_ok=True)
        (folder / "logs").mkdir(exist_ok=True)
        probe = folder / ".probe"
        probe.write_bytes(b"0" * 4096)
        probe.unlink()
        free = shutil.disk_usage(folder).free
    except OSError as fault:
        if fault.errno in (errno.ENOSPC, errno.EDQUOT):
            raise OneBoxError(f"The disk that holds {folder} is full. Free some space, or name another folder.") from fault
        raise OneBoxError(f"The folder {folder} cannot be written: {fault.strerror}. Name another folder.") from fault
    if free < LEAST_FREE_BYTES:
        raise OneBoxError(
            f"The disk that holds {folder} is almost full: {free // 2**20} MB are free, {LEAST_FREE_BYTES // 2**20} MB are needed. "
            "Free some space, or name another folder."
        )


def _tidy(folder: Path, say: Callable[[str], None]) -> None:
    """Remove what a box that ended without its last rites left behind."""
    stale = folder / "supervisor.pid"
    if stale.exists():
        say(
            f"An earlier box (process {stale.read_text().strip()}) ended without tidying up; its pid file was removed, its data is kept."
        )
        stale.unlink()
    for name in ("one-box.json", "start-failed.txt"):
        (folder / name).unlink(missing_ok=True)


def _launch(folder: Path, port: int) -> subprocess.Popen[bytes]:
    with (folder / "logs" / "supervisor.log").open("ab") as log:
        supervisor = subprocess.Popen(  # nosec B603  a fixed command
            [sys.executable, "-m", "services.chassis.one_box.supervisor", str(folder.resolve()), str(port)],
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            start_new_session=True,
            env=os.environ | {"PYTHONPATH": str(PROJECT)},
        )
    _started_here[supervisor.pid] = supervisor
    return supervisor


def _await_ready(folder: Path, supervisor: subprocess.Popen[bytes]) -> Address:
    give_up_at = time.monotonic() + READY_WITHIN_S
    failed = folder / "start-failed.txt"
    while time.monotonic() < give_up_at:
        if supervisor.poll() is not None:
            _started_here.pop(supervisor.pid)
            why = failed.read_text(encoding="utf-8").strip() if failed.exists() else "It gave no reason."
            raise OneBoxError(f"The box did not start. {why} More in {folder / 'logs'}.")
        if (folder / "one-box.json").exists():
            return _read_address(folder)
        time.sleep(0.02)
    supervisor.terminate()
    raise OneBoxError(f"The box was not ready within {READY_WITHIN_S:g} s. See {folder / 'logs'}.")


def _read_address(folder: Path) -> Address:
    said = json.loads((folder / "one-box.json").read_text(encoding="utf-8"))
    return Address(folder=folder, url=said["url"], keys=said["keys"], pid=int(said["pid"]))


@contextmanager
def held(folder: Path) -> Iterator[bool]:
    """Whether nobody holds the folder's lock, which is held for the block then; a supervisor holds it as long as it lives."""
    try:
        handle = os.open(folder / "lock", os.O_RDWR | os.O_CREAT, 0o600)
    except OSError:
        yield True
        return
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            yield False
            return
        yield True
    finally:
        os.close(handle)
