"""The seller's letterhead in PostgreSQL: each change is the next version, the newest counts, none is ever changed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, text

from services.chassis import audit
from services.chassis.database import Database

NEWEST = "select version, document, logo, logo_info, changed_at, changed_by from quoting.letterheads order by version desc limit 1"


@dataclass(frozen=True)
class StoredLetterhead:
    """A version: the letterhead as JSON, the bytes of the logo and what is known of it as JSON."""

    version: int
    document: bytes
    logo: bytes | None
    logo_info: bytes | None
    changed_at: datetime
    changed_by: str


class LetterheadStore:
    """What the seller's paper says."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def newest(self) -> StoredLetterhead | None:
        """The letterhead in force, `None` before there is any."""
        with self._database.transaction() as connection:
            return _newest(connection)

    def change(self, change: Callable[[StoredLetterhead | None], StoredLetterhead], *, action: str) -> StoredLetterhead:
        """Store what `change` makes of the letterhead in force, one change after the other; what it raises goes on."""
        with self._database.transaction() as connection:
            connection.execute(text("lock table quoting.letterheads in share row exclusive mode"))
            made = change(_newest(connection))
            connection.execute(
                text("insert into quoting.letterheads (version, document, logo, logo_info, changed_at, changed_by) "
                     "values (:version, :document, :logo, :logo_info, :changed_at, :changed_by)"),
                vars(made),
            )  # fmt: skip
            audit.record(connection, action=action, subject=f"letterhead {made.version}", at=made.changed_at)
            return made


def _newest(connection: Connection) -> StoredLetterhead | None:
    row = connection.execute(text(NEWEST)).one_or_none()
    return None if row is None else StoredLetterhead(*map(_plain, row))


def _plain(value: Any) -> Any:
    return bytes(value) if isinstance(value, memoryview) else value
