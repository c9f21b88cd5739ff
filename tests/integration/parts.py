"""Parts that several tests of the tier put together."""

from __future__ import annotations

from datetime import UTC, datetime

from services.chassis.settings import Settings
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
