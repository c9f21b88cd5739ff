"""Proposed tables in PostgreSQL, beside the revisions: looked at as a change is, kept for some days, never in force."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta

from sqlalchemy import Connection, text

from services.chassis.database import Database
from services.rates.domain.revision import canonical_rows, contradictions, digest_of_revision, digest_of_table
from services.rates.errors import DraftContradicts, DraftOvertaken, ProposalUnknown, TableContradicts
from services.rates.store.drafts import changed_meanwhile, documents_in, draft_of
from services.rates.store.publication import faults_of, rates_with
from services.rates.store.statements import digests_of, latest_of, refuse_unknown, rows_of, written
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
        documents = {table: canonical_rows(rows)}
        with self._database.transaction() as connection:
            base = latest_of(connection)
            faults = contradictions(rates_with(connection, base, documents)[1], table)
            if faults:
                raise TableContradicts(table, faults)
            return _kept(connection, base, documents, by=by, now=now, kept_days=kept_days)

    def propose_draft(self, number: int, *, by: str, now: datetime, kept_days: int) -> RateProposal:
        """Keep what a draft would make of the newest revision as a proposal.

        Raises `DraftUnknown`, `DraftOvertaken` for a draft that has to be rebased first, `DraftContradicts`.
        """
        with self._database.transaction() as connection:
            base = latest_of(connection)
            head = draft_of(connection, number)
            documents = documents_in(connection, number)
            meanwhile = changed_meanwhile(connection, head, documents)
            if meanwhile:
                raise DraftOvertaken(number, head.base_revision, base, [(table, ()) for table in meanwhile])
            faults = faults_of(rates_with(connection, base, documents)[1], documents)
            if faults:
                raise DraftContradicts(number, faults)
            return _kept(connection, base, documents, by=by, now=now, kept_days=kept_days)

    def proposal(self, position: int) -> tuple[str, bytes]:
        """Digest of a proposal, and all its tables as those of a revision below zero; raises `ProposalUnknown`."""
        with self._database.transaction() as connection:
            head = connection.execute(text("select * from rates.proposals where position = :n"), {"n": position}).one_or_none()
            if head is None:
                raise ProposalUnknown(position)
            proposed = connection.execute(
                text("select table_name, rows from rates.proposal_tables where position = :n order by table_name"), {"n": position}
            )
            alone = {head.table_name: bytes(head.rows)} if head.table_name is not None else {}
            tables = {row.table_name: bytes(row.rows) for row in proposed} | alone
            rows = rows_of(connection, head.base_revision) | tables
        said = {
            "number": -position,
            "digest": head.digest,
            "created_at": head.created_at.astimezone(UTC).isoformat(),
            "created_by": head.created_by,
            "reason": f"a proposal for {', '.join(tables) or 'nothing'} on revision {head.base_revision}",
        }
        return head.digest, written(said, rows)


def _kept(
    connection: Connection, base: int, documents: Mapping[str, bytes], *, by: str, now: datetime, kept_days: int
) -> RateProposal:  # fmt: skip
    digests = {table: digest_of_table(table, document) for table, document in documents.items()}
    digest = digest_of_revision(digests_of(connection, base) | digests)
    connection.execute(text("delete from rates.proposals where created_at < :before"), {"before": now - timedelta(days=kept_days)})
    only = next(iter(documents)) if len(documents) == 1 else None
    position = connection.execute(
        text("insert into rates.proposals (base_revision, table_name, rows, digest, created_at, created_by) "
             "values (:base, :table, :rows, :digest, :now, :by) returning position"),
        {"base": base, "table": only, "rows": documents[only] if only else None, "digest": digest, "now": now, "by": by},
    ).scalar_one()  # fmt: skip
    if only is None and documents:
        connection.execute(
            text("insert into rates.proposal_tables (position, table_name, rows) values (:n, :table, :rows)"),
            [{"n": position, "table": table, "rows": rows} for table, rows in documents.items()],
        )
    return RateProposal(
        number=-position, base_revision=base, table=only or ", ".join(documents), tables=tuple(documents) if only is None else None,
        digest=digest, created_at=now, created_by=by,
    )  # fmt: skip
