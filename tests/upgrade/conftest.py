"""Databases of earlier states of the project, brought up to date by this code, one server for all of them."""

from __future__ import annotations

import lzma
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import psycopg
import pytest
from sqlalchemy import text

from services.chassis.database import Database
from services.chassis.migrate import migrate
from services.chassis.one_box.servers import _postgres_binaries
from services.chassis.rate_source import RevisionNotFound, read_revision
from services.orders.store.repository import BookStore
from services.rates.domain.seed import seed_rates
from services.rates.errors import RevisionUnknown
from services.rates.store.repository import RateStore
from shared_schemas.load import LoadSnapshot
from shared_schemas.rates import RateRevision
from tests.integration.conftest import postgres_url
from tests.integration.parts import LoadBooks
from tests.integration.test_quoting_life_routes import Book, Shop

__all__ = ["postgres_url"]

DUMPS = Path(__file__).resolve().parent / "dumps"
STATES = tuple(sorted(path.name.partition(".")[0] for path in DUMPS.glob("*.sql.xz")))
COMPLETE = frozenset({"before-dates", "before-releases"})
"""States whose rates have all that this release needs. A row that a release needs from now on takes them out."""
NOW = datetime(2026, 12, 1, 8, 0, tzinfo=UTC)
"""The day of the upgrade: what was quoted in the dumps is still valid."""


class StoredRates(Book):
    """The revisions of a database, as processes get them from the rates service."""

    def __init__(self, store: RateStore) -> None:
        self._store = store
        self._read: dict[int, RateRevision] = {}

    def revision(self, number: int) -> RateRevision:
        """The revision of that number."""
        if number not in self._read:
            try:
                self._read[number] = read_revision(number, self._store.revision(number))
            except RevisionUnknown as fault:
                raise RevisionNotFound(number) from fault
        return self._read[number]

    def latest(self) -> RateRevision:
        """The newest revision."""
        return self.revision(self._store.latest_number())


class StoredBooks(LoadBooks):
    """The snapshots of the book of load in a database."""

    def __init__(self, store: BookStore) -> None:
        super().__init__()
        self._store = store

    def snapshot(self, number: int) -> LoadSnapshot:
        """The snapshot of that number."""
        return LoadSnapshot.model_validate_json(self._store.snapshot(number)[1])


@dataclass(frozen=True)
class Outcome:
    """What stood in the table of outcomes."""

    status: str
    digest: str
    body: bytes | None


@dataclass(frozen=True)
class Upgraded:
    """A shop of an earlier state after the upgrade, and what it had before."""

    state: str
    database: Database
    shop: Shop
    outcomes: dict[str, Outcome]
    rate_revision: int
    """The newest before the upgrade."""

    @property
    def ready(self) -> list[str]:
        """Numbers of the rows that were ready."""
        return [number for number, outcome in self.outcomes.items() if outcome.status == "ready"]


@pytest.fixture(scope="session", params=STATES)
def upgraded(request: pytest.FixtureRequest, postgres_url: str) -> Iterator[Upgraded]:
    """Each dump in turn, migrated."""
    state = str(request.param)
    name = "of_" + state.replace("-", "_")
    with psycopg.connect(f"{postgres_url}/postgres", autocommit=True) as connection:
        connection.execute(f"create database {name}")  # type: ignore[call-overload]
    _load(state, f"{postgres_url}/{name}")
    database = Database(f"{postgres_url}/{name}")
    outcomes, revision = outcomes_of(database), RateStore(database).latest_number()
    migrate(database, now=NOW)
    shop = Shop(
        database, seed_rates(), ("quoting", "rates"), book=StoredRates(RateStore(database)), load=StoredBooks(BookStore(database))
    )
    shop.now = NOW
    yield Upgraded(state, database, shop, outcomes, revision)
    database.close()


def outcomes_of(database: Database) -> dict[str, Outcome]:
    """Every outcome by the number of its row."""
    with database.transaction() as connection:
        rows = connection.execute(text("select number, status, digest, body from quoting.outcomes order by number"))
        return {row.number: Outcome(row.status, row.digest, None if row.body is None else bytes(row.body)) for row in rows}


def _load(state: str, url: str) -> None:
    subprocess.run(
        [str(_postgres_binaries() / "psql"), "-q", "-v", "ON_ERROR_STOP=1", "-o", "/dev/null", url],
        input=lzma.decompress((DUMPS / f"{state}.sql.xz").read_bytes()), check=True, capture_output=True,
    )  # fmt: skip
