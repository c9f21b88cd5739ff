"""Quotes on their way into an archive and back, in PostgreSQL. Rows stay: numbers, names, prices asked for and decisions are never removed."""

from __future__ import annotations

from base64 import b64decode, b64encode
from collections.abc import Iterable
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, text

from services.chassis.database import Database
from services.chassis.packing import QUICK, documents_in
from services.quoting.store.blocks import block_columns, digest_of, documents_of, may_repack
from shared_schemas.archive import (
    ArchivedApproval,
    ArchivedDecision,
    ArchivedEvent,
    ArchivedQuote,
    ArchivedRevision,
    Block,
    RevisionKept,
    RevisionReturned,
)

SETTLED = """
    not exists (select 1 from quoting.quotes r left join quoting.outcomes s on s.number = r.number
                left join quoting.decisions e on e.number = r.number
                where r.quote_number = {quote} and (
                    r.status = 'accepted' or s.finished_at is null or s.finished_at >= :before
                    or (s.status = 'ready' and e.number is null and coalesce(s.valid_until >= :today, true))
                    or e.at >= :before))
"""
"""Whether a quote is over: every revision settled and decided before the day, and none open."""

_REVISIONS = """
    select q.quote_number, q.number, q.revision, q.status, q.customer, q.title, q.request, q.rate_revision, q.load_snapshot, q.quoted_on,
           q.created_at, q.attempt, o.finished_at, o.digest, o.valid_until, o.problem, o.body, o.blanks, o.operations, o.packing, o.packed,
           o.body_bytes, o.blanks_bytes, o.operations_bytes, d.decision, d.quantity, d.decided_by, d.note, d.key_id, d.at, d.promised,
           d.purchase_order, d.customer_number, d.contact, d.needed_by, d.reason, d.late, d.changes_order, d.order_change, h.document,
           a.approved_by, a.note as approval_note, a.key_id as approval_key_id, a.at as approved_at
    from quoting.quotes q
    left join quoting.outcomes o on o.number = q.number
    left join quoting.decisions d on d.number = q.number
    left join quoting.handovers h on h.number = q.number
    left join quoting.approvals a on a.number = q.number
    where q.quote_number = any(:numbers) order by q.position, q.revision
"""


class ArchiveStore:
    """What may go into an archive, what went, and what comes back."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def page(self, *, before: datetime, today: date, after: int, most: int) -> tuple[list[ArchivedQuote], int | None]:
        """Quotes that are over and have documents here, from above a position, oldest first; and the last position if there are more."""
        with self._database.transaction() as connection:
            found = connection.execute(
                text("select q.quote_number, q.position from quoting.quotes q where q.revision = 1 and q.position > :after and "
                     "exists (select 1 from quoting.quotes r join quoting.outcomes s on s.number = r.number where r.quote_number = q.quote_number "
                     "and s.status = 'ready' and s.archived_in is null) and "
                     + SETTLED.format(quote="q.quote_number") + " order by q.position limit :most"),  # nosec B608  a text of this module
                {"after": after, "before": before, "today": today, "most": most + 1},
            ).all()  # fmt: skip
            numbers = [row.quote_number for row in found[:most]]
            revisions: dict[str, list[ArchivedRevision]] = {number: [] for number in numbers}
            events = _events(connection, numbers)
            for row in connection.execute(text(_REVISIONS), {"numbers": numbers}):
                revisions[row.quote_number].append(_revision(row, events.get(row.number, ())))
        quotes = [ArchivedQuote(number=number, revisions=tuple(revisions[number])) for number in numbers]
        return quotes, found[most - 1].position if len(found) > most else None

    def remove(self, archive: str, kept: Iterable[RevisionKept], *, before: datetime, today: date) -> tuple[int, list[str]]:
        """Remove documents that an archive has, of quotes that are over and have the same digest; how many, and the others' names."""
        untouched = []
        done = 0
        with self._database.transaction() as connection:
            may_repack(connection)
            for one in kept:
                gone = connection.execute(
                    text("update quoting.outcomes o set archived_in = :archive, packing = null, packed = null, body = null, blanks = null, "
                         "operations = null from quoting.quotes q where o.number = :row and q.number = o.number and o.status = 'ready' "
                         "and o.digest = :digest and o.archived_in is null and " + SETTLED.format(quote="q.quote_number")),  # nosec B608  a text of this module
                    {"archive": archive, "row": one.row, "digest": one.digest, "before": before, "today": today},
                ).rowcount  # fmt: skip
                done += gone
                untouched += [] if gone else [one.row]
        return done, untouched

    def put_back(self, revisions: Iterable[RevisionReturned]) -> tuple[int, list[str]]:
        """Put documents back that were removed, where they have the digest of the row; how many, and the others' names."""
        untouched = []
        done = 0
        for one in revisions:
            back = _put_back(self._database, one)
            done += back
            untouched += [] if back else [one.row]
        return done, untouched


def _put_back(database: Database, one: RevisionReturned) -> int:
    try:
        documents = documents_in(one.block)
    except (ValueError, EOFError, OSError):
        return 0
    with database.transaction() as connection:
        may_repack(connection)
        return connection.execute(
            text("update quoting.outcomes set packing = :packing, packed = :packed, body_bytes = :body_bytes, blanks_bytes = :blanks_bytes, "
                 "operations_bytes = :operations_bytes, archived_in = null where number = :row and archived_in is not null and digest = :digest"),
            # The block goes back as it came: it was just unpacked, so it is whole.
            {"row": one.row, "digest": digest_of(documents[0]), "packed": b64decode(one.block.data), **one.block.model_dump(exclude={"data"})},
        ).rowcount  # fmt: skip


def _events(connection: Connection, numbers: list[str]) -> dict[str, list[ArchivedEvent]]:
    found: dict[str, list[ArchivedEvent]] = {}
    rows = connection.execute(
        text("select e.number, e.kind, e.detail, e.at from quoting.events e join quoting.quotes q on q.number = e.number "
             "where q.quote_number = any(:numbers) order by e.id"), {"numbers": numbers},
    )  # fmt: skip
    for row in rows:
        found.setdefault(row.number, []).append(ArchivedEvent(kind=row.kind, detail=row.detail, at=row.at))
    return found


def _revision(row: Any, events: Iterable[ArchivedEvent]) -> ArchivedRevision:
    return ArchivedRevision(
        row=row.number,
        revision=row.revision,
        status=row.status,
        customer=row.customer,
        title=row.title,
        request=bytes(row.request).decode(),
        rate_revision=row.rate_revision,
        load_snapshot=row.load_snapshot,
        quoted_on=row.quoted_on,
        created_at=row.created_at,
        finished_at=row.finished_at,
        attempt=row.attempt,
        digest=row.digest,
        valid_until=row.valid_until,
        problem=None if row.problem is None else bytes(row.problem).decode(),
        block=_block(row),
        decision=_decision(row),
        approval=_approval(row),
        events=tuple(events),
    )


def _block(row: Any) -> Block | None:
    if row.packing is None and row.body is None:
        return None
    columns = row._mapping if row.packing is not None else block_columns(documents_of(row), QUICK)
    sizes = {name: columns[name] for name in ("body_bytes", "blanks_bytes", "operations_bytes")}
    return Block(packing=columns["packing"], data=b64encode(bytes(columns["packed"])).decode(), **sizes)


def _approval(row: Any) -> ArchivedApproval | None:
    if row.approved_by is None:
        return None
    return ArchivedApproval(by=row.approved_by, note=row.approval_note, key_id=row.approval_key_id, at=row.approved_at)


def _decision(row: Any) -> ArchivedDecision | None:
    if row.decision is None:
        return None
    documents = {"promised": row.promised, "order_change": row.order_change, "handover": row.document}
    texts = {name: None if document is None else bytes(document).decode() for name, document in documents.items()}
    names = set(ArchivedDecision.model_fields) - set(texts)
    return ArchivedDecision(**{name: row._mapping[name] for name in names}, **texts)
