"""What is known of backups: whoever makes one notes it here when it is whole, and its age is watched."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

from prometheus_client.core import GaugeMetricFamily, Metric
from sqlalchemy import text

from services.chassis.database import Database
from services.chassis.resources import Resources


def note_backup(database: Database, *, at: datetime, size_bytes: int, kind: str, by: str) -> None:
    """Note a backup that is whole. `kind` says what it is (`one box`, `fleet`), `by` who or what made it. Needs the owner of the tables."""
    with database.transaction() as connection:
        connection.execute(
            text(
                "insert into chassis.backups (at, bytes, kind, made_by) values (:at, :bytes, :kind, :by) on conflict (at) do nothing"
            ),
            {"at": at, "bytes": size_bytes, "kind": kind, "by": by},
        )


def last_backup(database: Database) -> datetime | None:
    """When the last backup was made that was noted, `None` when none was."""
    with database.engine.connect() as connection:
        return connection.execute(text("select max(at) from chassis.backups")).scalar()


def backup_age(resources: Resources) -> Iterator[Metric]:
    """Seconds since the last backup, infinite when none was ever noted."""
    last = last_backup(resources.database)
    age_s = float("inf") if last is None else (datetime.now(UTC) - last).total_seconds()
    yield GaugeMetricFamily("blankwright_backup_age_seconds", "Seconds since the last backup that was noted", value=age_s)
