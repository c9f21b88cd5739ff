"""The box that the drill breaks: the one box, with a worker of its own for each queue, on a disk that can be made full.

python -m tests.drill.box FOLDER PORT        the supervisor process
"""

from __future__ import annotations

import ctypes
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import httpx
import psutil
import psycopg
import redis

from services.chassis.one_box.box import PROJECT, running, stop
from services.chassis.one_box.servers import Server, free_port
from services.chassis.one_box.supervisor import Supervisor, broker_url, database_url, main, write_private
from services.chassis.settings import Settings
from shared_schemas.pipeline import LARGE_QUEUE, QUEUES, WEBHOOKS_QUEUE

CLONE_NEWNS, MS_REMOUNT, MS_REC_PRIVATE, MNT_DETACH = 0x20000, 0x20, 0x4000 | 0x40000, 2
DEPLOYMENT = str(Settings.model_fields["deployment"].default)


class DrillSupervisor(Supervisor):
    """A supervisor whose box has a worker for every queue, and which says where its database and broker are."""

    def _our_processes(self, known: Mapping[str, str], ports: Mapping[str, int]) -> list[Server]:
        api, worker, large, webhooks, beat = super()._our_processes(known, ports)
        write_private(self._folder, "drill.json", {"database": database_url(known, ports), "broker": broker_url(known, ports)})
        if os.environ.get("DRILL_AS_ONE_BOX"):
            return [api, worker, large, webhooks, beat]
        quick = [queue for queue in QUEUES if queue not in (LARGE_QUEUE, WEBHOOKS_QUEUE)]
        every = ",".join(quick)
        one_each = [
            replace(
                worker,
                name=f"worker-{queue}",
                environment={**(worker.environment or {}), "BLANKWRIGHT_HEARTBEAT_FILE": str(self._folder / f"heartbeat-{queue}")},
                command=tuple({every: queue, "2": "1", "quick@%h": f"{queue}@box"}.get(part, part) for part in worker.command),
            )
            for queue in quick
        ]
        return [
            api,
            *one_each,
            replace(large, name=f"worker-{LARGE_QUEUE}"),
            replace(webhooks, name=f"worker-{WEBHOOKS_QUEUE}"),
            beat,
        ]


@dataclass
class Box:
    """A running box, as the drill sees it."""

    folder: Path
    url: str
    keys: dict[str, str]
    supervisor: subprocess.Popen[bytes]
    disk: Disk | None
    own: dict[str, str] = field(default_factory=dict)

    @cached_property
    def redis(self) -> redis.Redis:
        """The broker, asked directly."""
        return redis.Redis.from_url(self.own["broker"], socket_timeout=5, socket_connect_timeout=2)

    def rows(self, statement: str, values: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
        """Rows of the database, asked directly."""
        with psycopg.connect(self.own["database"], connect_timeout=5) as connection:
            return connection.execute(statement, values).fetchall()  # type: ignore[call-overload]

    def change(self, statement: str, values: tuple[Any, ...] = ()) -> int:
        """Change rows of the database behind the suite's back; how many."""
        with psycopg.connect(self.own["database"], connect_timeout=5) as connection:
            return connection.execute(statement, values).rowcount  # type: ignore[call-overload]

    def pid(self, part: str) -> int:
        """The number of the process that a part was started as last; it may be dead."""
        state = json.loads((self.folder / "state.json").read_text(encoding="utf-8"))
        return int(state[part]["pid"])

    def process(self, part: str) -> psutil.Process:
        """The process of a part as it is now."""
        return psutil.Process(self.pid(part))

    def parts(self) -> dict[str, int]:
        """How often each part was started again."""
        state = json.loads((self.folder / "state.json").read_text(encoding="utf-8"))
        return {name: part["restarts"] for name, part in state.items()}

    def key(self, name: str) -> str:
        """A key of the broker as this deployment names it."""
        return f"{DEPLOYMENT}:{name}"

    def ready(self) -> bool:
        """Whether the API answers that it can work."""
        try:
            return httpx.get(f"{self.url}/readyz", timeout=5).status_code == 200
        except httpx.HTTPError:
            return False

    def take_down(self) -> None:
        """Stop the box and all that belongs to it."""
        try:
            if self.supervisor.poll() is None:
                stop(self.folder)
        finally:
            if self.supervisor.poll() is None:
                self.supervisor.kill()
            self.supervisor.wait()
            self.redis.close()


def until(done: Callable[[], bool], *, within_s: float, every_s: float = 0.1) -> float:
    """Wait until `done()`; the seconds it took. Raises `TimeoutError`."""
    began = time.monotonic()
    while not done():
        if time.monotonic() - began > within_s:
            raise TimeoutError(f"not within {within_s:g} s")
        time.sleep(every_s)
    return time.monotonic() - began


def bring_up(folder: Path, *, disk: Disk | None, settings: Mapping[str, str]) -> Box:
    """Start the box in `folder` and return when it answers."""
    (folder / "logs").mkdir(exist_ok=True)
    with (folder / "logs" / "supervisor.log").open("ab") as log:
        supervisor = subprocess.Popen(
            [sys.executable, "-m", "tests.drill.box", str(folder), str(free_port())],
            stdin=subprocess.DEVNULL, stdout=log, stderr=log, start_new_session=True, cwd=PROJECT,
            env=os.environ | {"PYTHONPATH": str(PROJECT)} | dict(settings),
        )  # fmt: skip
    until(lambda: (folder / "one-box.json").exists() or supervisor.poll() is not None, within_s=90)
    address = running(folder)
    if address is None:
        raise RuntimeError((folder / "start-failed.txt").read_text(encoding="utf-8"))
    own = json.loads((folder / "drill.json").read_text(encoding="utf-8"))
    return Box(folder, address.url, address.keys, supervisor, disk, own)


@dataclass(frozen=True)
class Disk:
    """A file system in memory of limited size, mounted where only this process and its children see it."""

    folder: Path
    size_mb: int

    def limit(self, bytes_: int) -> None:
        """Make it so large and no larger."""
        _mount(self.folder, MS_REMOUNT, f"size={bytes_}")

    def fill(self) -> None:
        """Leave no room at all, whatever is written meanwhile."""
        for _ in range(100):
            here = os.statvfs(self.folder)
            with suppress(OSError):  # it is refused when more was written since
                self.limit((here.f_blocks - here.f_bfree) * here.f_frsize)
                return
        raise TimeoutError("the disk could not be made full")

    def release(self) -> None:
        """Take the disk away with all that is on it."""
        ctypes.CDLL(None).umount2(str(self.folder).encode(), MNT_DETACH)

    def empty(self) -> None:
        """Give the room back."""
        self.limit(self.size_mb * 2**20)


def small_disk(folder: Path, *, size_mb: int) -> Disk | None:
    """A disk of our own on `folder`, `None` where the machine does not let us (it takes root)."""
    if os.geteuid() != 0 or sys.platform != "linux":
        return None
    libc = ctypes.CDLL(None, use_errno=True)
    if libc.unshare(CLONE_NEWNS) != 0 or libc.mount(b"none", b"/", None, MS_REC_PRIVATE, None) != 0:
        return None
    try:
        _mount(folder, 0, f"size={size_mb}m,mode=0755")
    except OSError:
        return None
    return Disk(folder, size_mb)


def _mount(folder: Path, flags: int, options: str) -> None:
    libc = ctypes.CDLL(None, use_errno=True)
    if libc.mount(b"tmpfs", str(folder).encode(), b"tmpfs", flags, options.encode()) != 0:
        code = ctypes.get_errno()
        raise OSError(code, os.strerror(code), str(folder))


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), int(sys.argv[2]), kind=DrillSupervisor))
