"""What is handed over to orders, in PostgreSQL: an entry for each acceptance, in the order in which they happened."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, text

from services.chassis.database import Database


@dataclass(frozen=True)
class StoredHandover:
    """One entry; `document` is the order as it was written with the acceptance."""

    position: int
    document: bytes


def insert_handover(connection: Connection, row_number: str, document: bytes, *, at: datetime) -> None:
    """Hand over an accepted order. Who calls this holds the lock of the feed, so that positions become visible in their order."""
    connection.execute(
        text("insert into quoting.handovers (number, document, at) values (:number, :document, :at)"),
        {"number": row_number, "document": document, "at": at},
    )


class Handovers:
    """Everything that was handed over."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def after(self, position: int, *, most: int) -> list[StoredHandover]:
        """Entries from above a position, oldest first."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("select position, document from quoting.handovers where position > :after order by position limit :most"),
                {"after": position, "most": most},
            )
            return [StoredHandover(row.position, bytes(row.document)) for row in rows]
