"""The blocks that documents of quotes lie in, in PostgreSQL: written with an outcome, packed tighter later, the same bytes always."""

from __future__ import annotations

import hashlib
import logging
import time
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, text

from services.chassis.database import Database
from services.chassis.packing import QUICK, TIGHT, pack, unpack
from services.quoting.store.rows import Outcome

log = logging.getLogger(__name__)

DOCUMENTS = "select number, digest, body, blanks, operations, packing, packed, body_bytes, blanks_bytes, operations_bytes from quoting.outcomes"
"""Rows as `documents_of` reads them."""


LOOSE = "(body is not null or packing = 'zlib' or packing like '%-quick')"
"""Of a row of outcomes: its documents were packed in haste, or not at all. An index of the table is of just these rows."""

MOST_AT_ONCE = 50


@dataclass(frozen=True)
class Documents:
    """What is kept of a ready quote: what it says, and the plans it was made of."""

    body: bytes
    blanks: bytes
    operations: bytes

    @property
    def in_order(self) -> tuple[bytes, bytes, bytes]:
        """As they lie in a block; what is read most lies first."""
        return self.body, self.blanks, self.operations


def packed_columns(outcome: Outcome) -> dict[str, Any]:
    """The columns of an outcome's block, all empty for one without a body."""
    if outcome.body is None:
        return {"packing": None, "packed": None, "body_bytes": None, "blanks_bytes": None, "operations_bytes": None}
    return block_columns(Documents(outcome.body, outcome.blanks or b"", outcome.operations or b""), QUICK)


def block_columns(documents: Documents, packing: str) -> dict[str, Any]:
    """The columns of a block of that packing."""
    return {
        "packing": packing,
        "packed": pack(documents.in_order, packing),
        "body_bytes": len(documents.body),
        "blanks_bytes": len(documents.blanks),
        "operations_bytes": len(documents.operations),
    }


def documents_of(row: Any) -> Documents:
    """The documents of a row of `DOCUMENTS`, out of its block or as they lay there before there were blocks."""
    if row.packing is None:
        return Documents(
            bytes(row.body), *(zlib.decompress(each) if each is not None else b"" for each in (row.blanks, row.operations))
        )
    return Documents(*unpack(row.packing, bytes(row.packed), (row.body_bytes, row.blanks_bytes, row.operations_bytes)))


def may_repack(connection: Connection) -> None:
    """Open the one door through which the place of documents may change, for this transaction."""
    connection.execute(text("set local quoting.repacking = 'on'"))


def put_block(connection: Connection, number: str, documents: Documents, packing: str) -> None:
    """Put the documents of a settled quote into a block of that packing, wherever they lay."""
    connection.execute(
        text("update quoting.outcomes set packing = :packing, packed = :packed, body_bytes = :body_bytes, blanks_bytes = :blanks_bytes, "
             "operations_bytes = :operations_bytes, body = null, blanks = null, operations = null, archived_in = null where number = :n"),
        {"n": number, **block_columns(documents, packing)},
    )  # fmt: skip


def tighten(database: Database, *, settled_before: datetime, within_s: float, clock: Callable[[], float] = time.monotonic) -> int:
    """Pack quotes tightly that were settled before a moment, oldest first, until the time is used up; how many. At least one, if there is one.

    A body that has another digest than it was stored with is left as it lies, and the log says so.
    """
    give_up_at = clock() + within_s
    with database.transaction() as connection:
        numbers = connection.execute(
            text(f"select number from quoting.outcomes where {LOOSE} and finished_at < :before order by finished_at limit :most"),  # nosec B608  a text of this module
            {"before": settled_before, "most": MOST_AT_ONCE},
        ).scalars().all()  # fmt: skip
    done = 0
    for number in numbers:
        done += _tighten_one(database, number)
        if clock() >= give_up_at and done:
            break
    return done


def _tighten_one(database: Database, number: str) -> bool:
    with database.transaction() as connection:
        row = connection.execute(
            text(f"{DOCUMENTS} where number = :n and {LOOSE} for update skip locked"), {"n": number}
        ).one_or_none()
        if row is None:
            return False
        documents = documents_of(row)
        if digest_of(documents.body) != row.digest:
            log.error("a stored body does not have the digest beside it; it is left as it lies", extra={"number": number})
            return False
        may_repack(connection)
        put_block(connection, number, documents, TIGHT)
        return True


def digest_of(document: bytes) -> str:
    """What a document is recognised by: its SHA-256."""
    return hashlib.sha256(document).hexdigest()
