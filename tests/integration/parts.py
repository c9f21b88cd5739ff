"""Parts that several tests of the tier put together."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import psycopg

from services.chassis.database import Database
from services.chassis.load_source import SnapshotNotFound
from services.chassis.settings import Settings
from services.quoting.store.searching import QuoteList, Search
from shared_schemas.load import LoadSnapshot, OrderLoad
from shared_schemas.rates import RateRevision, Rates

ROOT = Path(__file__).resolve().parents[2]
PASSWORD = "for-tests"
NOON = datetime(2026, 11, 2, 12, 0, tzinfo=UTC)


def settings_on(port: int, **changes: object) -> Settings:
    """Settings with the broker of the tier, and nothing else that answers."""
    known: dict[str, object] = {
        "database_url": "postgresql://u:p@127.0.0.1:1/x",
        "redis_url": f"redis://:{PASSWORD}@127.0.0.1:{port}/0",
        "rates_url": "http://127.0.0.1:1",
        "service_key": "bw_0_0",
    }
    return Settings(**{**known, **changes})  # type: ignore[arg-type]


def run_statement(url: str, statement: str) -> None:
    """Run a statement on the server, outside any database of a test."""
    with psycopg.connect(f"{url}/postgres", autocommit=True) as connection:
        connection.execute(statement)  # type: ignore[call-overload]


def until(done: Callable[[], bool], *, within_s: float) -> None:
    """Wait for something that another process does."""
    give_up_at = time.monotonic() + within_s
    while not done():
        assert time.monotonic() < give_up_at, f"not within {within_s} s"
        time.sleep(0.02)


def listed(database: Database, **search: Any) -> list[str]:
    """Rows of quotes as they are listed, newest first."""
    found, unread = QuoteList(database).page(Search(today=NOON.date(), now=NOON, **search), before=None, most=201)
    assert unread == 0
    return [one.row.number for one in found]


class Worker:
    """A real worker of the first stage; the rates it would ask do not answer."""

    def __init__(self, port: int, folder: Path, *, app: str = "services.chassis.worker", children: int = 1) -> None:
        self.log = folder / "log"
        self.heartbeat = folder / "heartbeat"
        self.own_queue = f"heartbeat.{folder.name}@here"
        environment = {name: value for name, value in os.environ.items() if not name.startswith("BLANKWRIGHT_")} | {
            "BLANKWRIGHT_DATABASE_URL": "postgresql://u:p@127.0.0.1:1/x",
            "BLANKWRIGHT_REDIS_URL": f"redis://:{PASSWORD}@127.0.0.1:{port}/0",
            "BLANKWRIGHT_RATES_URL": "http://127.0.0.1:1",
            "BLANKWRIGHT_SERVICE_KEY": "bw_0_0",
            "BLANKWRIGHT_SERVICES": "prescription",
            "BLANKWRIGHT_HEARTBEAT_FILE": str(self.heartbeat),
            "PYTHONPATH": str(ROOT),
        }
        with self.log.open("wb") as out:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "celery", "-A", app, "--skip-checks", "worker", "-Q", "prescription", "-c", str(children),
                 "-n", f"{folder.name}@here", "-l", "WARNING", "--without-gossip", "--without-mingle", "--without-heartbeat"],
                cwd=ROOT, env=environment, stdin=subprocess.DEVNULL, stdout=out, stderr=out,
            )  # fmt: skip

    def end(self) -> None:
        """End it at once."""
        self.process.kill()
        self.process.wait()


class OneRevision:
    """A source of rates with one revision."""

    def __init__(self, rates: Rates) -> None:
        self._only = RateRevision(number=1, digest="0" * 64, created_at=NOON, created_by="a test", reason="for a test", rates=rates)

    def revision(self, number: int) -> RateRevision:
        """The revision, whatever its number."""
        return self._only

    def latest(self) -> RateRevision:
        """The revision."""
        return self._only


class LoadBooks:
    """Snapshots of the book of load in memory; none until one is made."""

    def __init__(self) -> None:
        self._made: dict[int, LoadSnapshot] = {}

    def make(self, *orders: OrderLoad) -> LoadSnapshot:
        """The next snapshot, with these orders in it."""
        number = len(self._made) + 1
        self._made[number] = LoadSnapshot(
            number=number, digest=f"{number:064d}", made_at=NOON, first_week=NOON.date(), orders=orders
        )
        return self._made[number]

    def snapshot(self, number: int) -> LoadSnapshot:
        """The snapshot of that number."""
        if number not in self._made:
            raise SnapshotNotFound(number)
        return self._made[number]

    def latest(self) -> LoadSnapshot | None:
        """The snapshot made last."""
        return self._made[max(self._made)] if self._made else None
