"""Parts that several tests of the tier put together."""

from __future__ import annotations

from datetime import UTC, datetime

from services.chassis.load_source import SnapshotNotFound
from services.chassis.settings import Settings
from shared_schemas.load import LoadSnapshot, OrderLoad
from shared_schemas.rates import RateRevision, Rates

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
