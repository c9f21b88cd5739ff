"""Calls about the rates: tables, revisions, and what a change would do to open quotes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from services.client.call import Call, call, document, step, tagged, tagged_document

if TYPE_CHECKING:
    from shared_schemas.learned import LearnedRates
    from shared_schemas.rate_history import RateDifference, RowHistory
    from shared_schemas.rate_impact import RateImpact, RateImpactAccepted
    from shared_schemas.rate_readiness import RateReadiness
    from shared_schemas.rate_tables import ColumnInfoList, TableInfoList
    from shared_schemas.rates import RateRevision, RevisionList, TablePage

CSV = "text/csv"


def rate_revisions(cursor: str | None = None) -> Call[RevisionList]:
    """A page of rate revisions, newest first; `cursor` is the `next` of the page before."""
    from shared_schemas.rates import RevisionList

    return call(RevisionList, "GET", "/v1/rates/revisions", query={"cursor": cursor})


def rate_revision(number: int) -> Call[RateRevision]:
    """All tables of a revision."""
    from shared_schemas.rates import RateRevision

    return call(RateRevision, "GET", f"/v1/rates/revisions/{number}")


def compare_rates(number: int, to: int | None = None) -> Call[RateDifference]:
    """What differs between a revision and another one, the newest unless one is named, field by field."""
    from shared_schemas.rate_history import RateDifference

    return call(RateDifference, "GET", f"/v1/rates/revisions/{number}/diff", query={"to": to})


def rate_tables() -> Call[TableInfoList]:
    """The tables there are, what they are for, and how many of their rows are invented."""
    from shared_schemas.rate_tables import TableInfoList

    return call(TableInfoList, "GET", "/v1/rates/tables")


def rate_columns(table: str) -> Call[ColumnInfoList]:
    """The columns of a table and what they mean."""
    from shared_schemas.rate_tables import ColumnInfoList

    return call(ColumnInfoList, "GET", f"/v1/rates/tables/{step(table)}/columns")


def row_history(table: str, row: str, cursor: str | None = None) -> Call[RowHistory]:
    """Who changed a row, when and why, newest first."""
    from shared_schemas.rate_history import RowHistory

    return call(RowHistory, "GET", f"/v1/rates/tables/{step(table)}/rows/{step(row)}/history", query={"cursor": cursor})


def rate_table(table: str, revision: int | None = None) -> Call[tuple[TablePage, str]]:
    """A rate table as it stands, or stood in a revision, and the ETag that a change must show."""
    from shared_schemas.rates import TablePage

    return tagged(TablePage, "GET", f"/v1/rates/tables/{step(table)}", query={"revision": revision})


def rate_table_csv(table: str, revision: int | None = None) -> Call[bytes]:
    """A rate table as CSV, in UTF-8."""
    return document(CSV, f"/v1/rates/tables/{step(table)}", {"revision": revision})


def rate_archive(media_type: str = "application/zip", revision: int | None = None) -> Call[tuple[bytes, str]]:
    """All rate tables in one file, a ZIP of CSV or a workbook, and the number of their revision."""
    return tagged_document(media_type, "/v1/rates/archive", {"revision": revision}, header="X-Rate-Revision")


def learned_rates() -> Call[LearnedRates]:
    """What finished orders say of the minutes in the rates."""
    from shared_schemas.learned import LearnedRates

    return call(LearnedRates, "GET", "/v1/rates/learned")


def readiness(quotes: Sequence[str] = ()) -> Call[RateReadiness]:
    """How much of the money quoted rests on rows that are invented or stale: of the open book, or of the quotes named."""
    from shared_schemas.rate_readiness import RateReadiness

    return call(RateReadiness, "GET", "/v1/rates/readiness", query={"quote": list(quotes) or None})


def put_rate_table(table: str, rows: Sequence[Mapping[str, Any]], reason: str, etag: str) -> Call[tuple[TablePage, str]]:
    """Replace a rate table, if it is still the one that `etag` names (else `ServerRefused`, 412); the new one and its ETag."""
    from shared_schemas.rates import TablePage

    body = {"rows": list(rows), "reason": reason}
    return tagged(TablePage, "PUT", f"/v1/rates/tables/{step(table)}", body=body, headers={"If-Match": etag})


def rate_impact(
    table: str | None, rows: Sequence[Mapping[str, Any]] | str | None, *, idempotency_key: str | None = None, **chosen: Any
) -> Call[RateImpactAccepted]:
    """Ask what all `rows` of a table (or its CSV), or the draft among the `chosen`, would do to open quotes. Nothing is published."""
    from shared_schemas.rate_impact import RateImpactAccepted

    wanted = {name: value for name, value in chosen.items() if value not in (None, False, [])}
    place = "/v1/rates/impact"
    if isinstance(rows, str):
        query = {"table": table, **{name: value if isinstance(value, list) else str(value) for name, value in wanted.items()}}
        headers = {"Content-Type": "text/csv; charset=utf-8"}
        return call(
            RateImpactAccepted, "POST", place, query=query, content=rows.encode(), headers=headers, keyed=True, key=idempotency_key
        )  # fmt: skip
    of_table = {} if rows is None else {"table": table, "rows": list(rows)}
    return call(RateImpactAccepted, "POST", place, body=of_table | wanted, keyed=True, key=idempotency_key)


def impact(number: str, cursor: str | None = None) -> Call[RateImpact]:
    """How far an impact is, all its quotes together, and a page of them."""
    from shared_schemas.rate_impact import RateImpact

    return call(RateImpact, "GET", f"/v1/rates/impact/{step(number)}", query={"cursor": cursor})
