"""Calls about the rates: tables, revisions, and what a change would do to open quotes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from services.client.call import Call, call, step, tagged

if TYPE_CHECKING:
    from shared_schemas.rate_impact import RateImpact, RateImpactAccepted
    from shared_schemas.rates import RevisionList, TablePage


def rate_revisions(cursor: str | None = None) -> Call[RevisionList]:
    """A page of rate revisions, newest first; `cursor` is the `next` of the page before."""
    from shared_schemas.rates import RevisionList

    return call(RevisionList, "GET", "/v1/rates/revisions", query={"cursor": cursor})


def rate_table(table: str) -> Call[tuple[TablePage, str]]:
    """A rate table as it stands, and the ETag that a change must show."""
    from shared_schemas.rates import TablePage

    return tagged(TablePage, "GET", f"/v1/rates/tables/{step(table)}")


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
