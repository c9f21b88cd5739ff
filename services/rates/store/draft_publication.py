"""From a draft to a revision: checked, confirmed, published now or when its time comes, and brought together with what came between.

A draft with a time to come into force is `scheduled`. Revisions stay numbered in the order in which they came into force, so it gets its
number when that time has come: whoever asks for the newest rates first puts in force what is due. No clock of another process is
needed, and nobody can be answered with rates that should have gone. What was confirmed when it was scheduled stays confirmed. If by then
the tables that it touches were changed, or it contradicts the newest revision, nothing of it comes into force: it is `stale`, which its
entry, the list and `/readyz` say.
"""

from __future__ import annotations

import json
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, text

from services.chassis import audit
from services.chassis.database import Database
from services.rates.domain.rebase import Conflict, brought_together
from services.rates.domain.revision import canonical_rows, digest_of_table
from services.rates.domain.second_look import detail_of
from services.rates.domain.table_csv import validated_rows
from services.rates.errors import DraftConflicts, DraftContradicts, DraftOvertaken, DraftStale, NotConfirmed, RatesError, TimePassed
from services.rates.store.drafts import (
    Writer,
    changed_meanwhile,
    documents_in,
    draft_of,
    keep_table,
    refuse_closed,
    seen_of,
    touch,
)
from services.rates.store.publication import Author, faults_of, lock_publishing, put_in_force, rates_with, unconfirmed
from services.rates.store.statements import latest_of, table_of
from shared_schemas.problem import ProblemDetail
from shared_schemas.rate_drafts import Draft, DraftCheck, PublishRequest, RebaseRequest


@dataclass(frozen=True)
class Publisher:
    """Drafts on their way into force."""

    database: Database

    def check(self, number: int) -> DraftCheck:
        """All that stands between a draft and its revision; raises `DraftUnknown`."""
        with self.database.transaction() as connection:
            head = draft_of(connection, number)
            documents = documents_in(connection, number)
            before, after = rates_with(connection, head.base_revision, documents)
            meanwhile = changed_meanwhile(connection, head, documents)
            if not meanwhile:
                before, after = rates_with(connection, latest_of(connection), documents)
            faults = faults_of(after, documents)
            looks = tuple(unconfirmed(before, after, documents, ()))
        publishable = not faults and not meanwhile
        return DraftCheck(
            number=number, publishable=publishable, faults=tuple(faults), second_looks=looks, changed_meanwhile=meanwhile
        )

    def publish(self, number: int, asked: PublishRequest, *, seen: Collection[str], by: Writer) -> tuple[Draft, str]:
        """Put a draft in force, or on the list of those whose time comes; the draft as it stands then, and its tag.

        Sent again it changes nothing. Raises `DraftUnknown`, `DraftStale`, `DraftClosed`, `DraftOvertaken`, `DraftContradicts`,
        `NotConfirmed`, `TimePassed`.
        """
        with self.database.transaction() as connection:
            lock_publishing(connection)
            head = draft_of(connection, number, lock=True)
            draft, tag = seen_of(connection, number)
            if tag not in seen:
                raise DraftStale(number, tag)
            if head.status == "published" or (head.status == "scheduled" and asked.effective_from == head.effective_from):
                return draft, tag
            refuse_closed(head)
            if asked.effective_from is not None and asked.effective_from <= by.now:
                raise TimePassed(asked.effective_from, by.now)
            documents = _publishable(connection, head, asked.confirm)
            if asked.effective_from is not None:
                _mark(connection, number, "scheduled", confirmed=list(asked.confirm), effective_from=asked.effective_from)
                details = {
                    "effective_from": asked.effective_from.isoformat(),
                    "changed": list(documents),
                    "confirmed": list(asked.confirm),
                }
                audit.record(connection, action="rates.schedule", subject=f"draft {number}", at=by.now, details=details)
            else:
                _put(connection, head, documents, Author(by.label, head.reason, by.now, by.key_id, number))
            touch(connection, number, by)
            return seen_of(connection, number)

    def rebase(self, number: int, asked: RebaseRequest, *, by: Writer) -> tuple[Draft, str]:
        """Bring a draft together with the newest revision, row by row and field by field; one that waits or is stale is open again.

        Raises `DraftUnknown`, `DraftClosed` for one that is published, `DraftConflicts`.
        """
        with self.database.transaction() as connection:
            head = draft_of(connection, number, lock=True)
            if head.status == "published":
                refuse_closed(head)
            latest = latest_of(connection)
            conflicts: list[ProblemDetail] = []
            merged = {}
            for table, mine in documents_in(connection, number).items():
                base, theirs = (table_of(connection, table, revision).rows for revision in (head.base_revision, latest))
                if base == theirs:
                    merged[table] = mine
                    continue
                brought = brought_together(
                    json.loads(base), json.loads(mine), json.loads(theirs), draft_wins=asked.conflicts == "draft"
                )  # fmt: skip
                conflicts += [_conflict(table, conflict) for conflict in brought.conflicts]
                merged[table] = canonical_rows(validated_rows(table, brought.rows))
            if conflicts and asked.conflicts == "refuse":
                raise DraftConflicts(number, conflicts)
            _mark(connection, number, "open", base_revision=latest, effective_from=None, confirmed=[], why=None)
            for table, document in merged.items():
                keep_table(connection, number, table, document)
            touch(connection, number, by)
            return seen_of(connection, number)

    def bring_into_force(self, now: datetime) -> None:
        """Publish what is due, in the order of the times; what cannot come into force any more is marked stale, and why."""
        with self.database.transaction() as connection:
            if not _due(connection, now):
                return
            lock_publishing(connection)
            for number in _due(connection, now):
                head = draft_of(connection, number, lock=True)
                try:
                    documents = _publishable(connection, head, head.confirmed)
                except RatesError as fault:
                    _mark(connection, number, "stale", why=_why(fault))
                else:
                    author = Author(head.changed_by, head.reason, now, head.changed_by_key, number)
                    _put(connection, head, documents, author)

    def stale(self) -> list[tuple[int, str]]:
        """Drafts that were to come into force and could not, with the reason."""
        with self.database.transaction() as connection:
            rows = connection.execute(text("select number, why from rates.drafts where status = 'stale' order by number"))
            return [(row.number, row.why) for row in rows]


def _due(connection: Connection, now: datetime) -> list[int]:
    rows = connection.execute(
        text(
            "select number from rates.drafts where status = 'scheduled' and effective_from <= :now order by effective_from, number"
        ),
        {"now": now},
    )
    return list(rows.scalars())


def _publishable(connection: Connection, head: Row[Any], confirmed: Collection[str]) -> dict[str, bytes]:
    """The tables of a draft, when all is well with them on the newest revision."""
    documents = documents_in(connection, head.number)
    latest = latest_of(connection)
    meanwhile = changed_meanwhile(connection, head, documents)
    if meanwhile:
        rows = [(table, _rows_changed(connection, table, head.base_revision, latest)) for table in meanwhile]
        raise DraftOvertaken(head.number, head.base_revision, latest, rows)
    before, after = rates_with(connection, latest, documents)
    faults = faults_of(after, documents)
    if faults:
        raise DraftContradicts(head.number, faults)
    looks = unconfirmed(before, after, documents, confirmed)
    if looks:
        raise NotConfirmed([detail_of(look, look.pointer) for look in looks])
    return documents


def _put(connection: Connection, head: Row[Any], documents: dict[str, bytes], by: Author) -> None:
    """Make a draft the next revision; one that changes nothing is the newest one there is."""
    latest = latest_of(connection)
    changed = {
        table: rows
        for table, rows in documents.items()
        if digest_of_table(table, rows) != table_of(connection, table, latest).digest
    }
    number = put_in_force(connection, latest, changed, by) if changed else latest
    _mark(connection, head.number, "published", published_revision=number)


def _why(fault: RatesError) -> str:
    first = f" First: {fault.errors[0].pointer}: {fault.errors[0].reason}." if fault.errors else ""
    return f"{fault}{first}"


def _rows_changed(connection: Connection, table: str, base: int, latest: int) -> list[str]:
    old, new = ({row["name"]: row for row in json.loads(table_of(connection, table, revision).rows)} for revision in (base, latest))
    return sorted(name for name in {**old, **new} if old.get(name) != new.get(name))


def _conflict(table: str, conflict: Conflict) -> ProblemDetail:
    place = f"/tables/{table}/rows/{conflict.row.replace('~', '~0').replace('/', '~1')}"
    what = "row" if conflict.field is None else conflict.field
    return ProblemDetail(
        pointer=place if conflict.field is None else f"{place}/{conflict.field}",
        reason=f"the draft and the revision each changed {what} of {conflict.row}, which was {_told(conflict.base)}",
        figure=_told(conflict.draft),
        limit=_told(conflict.revision),
        remedy="say whose stands, or change it in the draft to what the revision has",
    )


def _told(value: Any) -> Any:
    if value is None:
        return "nothing"
    return value if isinstance(value, (int, float, str)) else json.dumps(value)[:120]


def _mark(connection: Connection, number: int, status: str, **columns: Any) -> None:
    fields = ", ".join(f"{column} = :{column}" for column in columns)
    connection.execute(
        text(f"update rates.drafts set status = :status{', ' + fields if fields else ''} where number = :n"),  # nosec B608  columns are ours
        {"n": number, "status": status, **columns},
    )
