"""Second keys of revisions, in PostgreSQL: one of each revision, never changed."""

from __future__ import annotations

from sqlalchemy import Connection, text

from services.chassis import audit
from services.chassis.database import Database
from services.quoting.store.rows import StoredApproval
from services.quoting.store.runs import note_event


class ApprovalStore:
    """Who approved which revision."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def asked_with(self, row_number: str) -> str:
        """Id of the key that asked for the revision in a row."""
        with self._database.transaction() as connection:
            caller = connection.execute(text("select caller from quoting.quotes where number = :n"), {"n": row_number})
            return str(caller.scalar_one())

    def of_quote(self, quote_number: str) -> list[tuple[int, StoredApproval]]:
        """The approvals of a quote with their revisions, the first one first."""
        with self._database.transaction() as connection:
            rows = connection.execute(
                text("select q.revision, a.approved_by, a.note, a.key_id, a.at from quoting.approvals a join quoting.quotes q "
                     "on q.number = a.number where q.quote_number = :n order by q.revision"),
                {"n": quote_number},
            ).all()  # fmt: skip
        return [(row.revision, StoredApproval(row.approved_by, row.note, row.key_id, row.at)) for row in rows]

    def approve(self, row_number: str, approval: StoredApproval) -> StoredApproval:
        """Record an approval of the revision in a row unless it has one; the approval that stands."""
        with self._database.transaction() as connection:
            done = connection.execute(
                text("insert into quoting.approvals (number, approved_by, note, key_id, at) values (:number, :by, :note, :key_id, :at) "
                     "on conflict (number) do nothing"),
                {"number": row_number, **vars(approval)},
            ).rowcount  # fmt: skip
            if done:
                _note(connection, row_number, approval)
                return approval
            stands = connection.execute(
                text("select approved_by, note, key_id, at from quoting.approvals where number = :n"), {"n": row_number}
            ).one()
            return StoredApproval(*stands)


def _note(connection: Connection, row_number: str, approval: StoredApproval) -> None:
    note_event(connection, row_number, "approved", f"by {approval.by}, key {approval.key_id}", approval.at)
    audit.record(
        connection,
        action="quote.approve",
        subject=row_number,
        at=approval.at,
        details={"approved_by": approval.by, "note": approval.note},
    )
