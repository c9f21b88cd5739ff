"""Proposed tables in PostgreSQL, beside the revisions: looked at as a change is, kept for some days, never in force."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from sqlalchemy import text

from services.chassis.database import Database
from services.rates.domain.revision import canonical_rows, contradictions, digest_of_revision, digest_of_table
from services.rates.errors import ProposalUnknown, TableContradicts
from services.rates.store.statements import digests_of, latest_of, rates_of, refuse_unknown, rows_of, written
from shared_schemas.rate_impact import RateProposal
from shared_schemas.rates import RateRow


class ProposalStore:
    """What revisions might be. A proposal has the number of its row with a minus before it."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def propose(self, table: str, rows: Sequence[RateRow], *, by: str, now: datetime, kept_days: int) -> RateProposal:
        """Keep a table as a proposal on the newest revision; those older than `kept_days` are forgotten.

        Raises `TableUnknown`, and `TableContradicts` when the rows do not agree with others.
        """
        refuse_unknown(table)
        document = canonical_rows(rows)
        with self._database.transaction() as connection:
            base = latest_of(connection)
            faults = contradictions(rates_of(connection, base).model_copy(update={table: tuple(rows)}), table)
            if faults:
                raise TableContradicts(table, faults)
            digest = digest_of_revision(digests_of(connection, base) | {table: digest_of_table(table, document)})
            connection.execute(
                text("delete from rates.proposals where created_at < :before"), {"before": now - timedelta(days=kept_days)}
            )
            position = connection.execute(
                text("insert into rates.proposals (base_revision, table_name, rows, digest, created_at, created_by) "
                     "values (:base, :table, :rows, :digest, :now, :by) returning position"),
                {"base": base, "table": table, "rows": document, "digest": digest, "now": now, "by": by},
            ).scalar_one()  # fmt: skip
        return RateProposal(number=-position, base_revision=base, table=table, digest=digest, created_at=now, created_by=by)

    def proposal(self, position: int) -> tuple[str, bytes]:
        """Digest of a proposal, and all its tables as those of a revision below zero; raises `ProposalUnknown`."""
        with self._database.transaction() as connection:
            head = connection.execute(text("select * from rates.proposals where position = :n"), {"n": position}).one_or_none()
            if head is None:
                raise ProposalUnknown(position)
            rows = rows_of(connection, head.base_revision) | {head.table_name: bytes(head.rows)}
        said = {
            "number": -position,
            "digest": head.digest,
            "created_at": head.created_at.astimezone(UTC).isoformat(),
            "created_by": head.created_by,
            "reason": f"a proposal for {head.table_name} on revision {head.base_revision}",
        }
        return head.digest, written(said, rows)
