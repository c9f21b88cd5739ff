"""Rates to read: every table, its rows with source and day, and what the open quotes rest on. Who changes them does so elsewhere."""

from __future__ import annotations

from typing import Any

from fastapi import Response

from services.client.errors import ServerRefused
from services.desk.pages.visits import Visit
from shared_schemas.rate_column_texts import PURPOSES
from shared_schemas.rates import TABLES

LAST = ("source", "as_of", "origin")
"""Columns that stand last: where a row is from."""


def tables_page(visit: Visit) -> Response:
    """The tables, and how ready they are to be signed for."""
    readiness, fault = None, None
    with visit.quoting() as quoting:
        try:
            readiness = quoting.readiness()
        except ServerRefused as refusal:
            if refusal.status == 401:
                raise
            fault = refusal
    return visit.page("rates.html", readiness=readiness, fault=fault, tables=[(name, *PURPOSES[name]) for name in sorted(TABLES)])


def table_page(visit: Visit, table: str) -> Response:
    """One table as it stands."""
    with visit.rates() as rates:
        found, _ = rates.rate_table(table)
    rows: list[dict[str, Any]] = [
        row.model_dump(mode="json", by_alias=True) if hasattr(row, "model_dump") else dict(row) for row in found.rows
    ]
    names = list(dict.fromkeys(name for row in rows for name in row))
    columns = [name for name in names if name not in LAST] + [name for name in LAST if name in names]
    purpose = PURPOSES[table][0] if table in PURPOSES else ""
    return visit.page("rate_table.html", table=table, purpose=purpose, revision=found.revision, columns=columns, rows=rows)
