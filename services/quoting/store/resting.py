"""What quotes rest on, as it is noted beside their outcomes: by rate row the money of the middle quantity, compressed."""

from __future__ import annotations

import json
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from sqlalchemy import text

from services.chassis.database import Database
from services.quoting.store.repository import LATEST
from services.quoting.store.searching import STATES

RowName = tuple[str, str]
FROM = "from quoting.quotes q join quoting.outcomes o on o.number = q.number left join quoting.decisions d on d.number = q.number"


@dataclass(frozen=True)
class RestingQuote:
    """A quote with the rate rows that its price rests on, in a base currency; one of before rests on nothing in no currency."""

    quote_number: str
    currency: str
    total: Decimal
    amounts: Mapping[RowName, Decimal]


def packed(currency: str, total: Decimal, amounts: Mapping[RowName, Decimal]) -> bytes:
    """What is noted of a quote."""
    rows = [[table, row, str(amount)] for (table, row), amount in sorted(amounts.items()) if amount]
    return zlib.compress(json.dumps([currency, str(total), rows], separators=(",", ":")).encode(), 6)


def unpacked(quote_number: str, noted: bytes | None) -> RestingQuote:
    """What was noted of a quote."""
    if noted is None:
        return RestingQuote(quote_number, "", Decimal(0), {})
    currency, total, rows = json.loads(zlib.decompress(noted))
    return RestingQuote(quote_number, currency, Decimal(total), {(table, row): Decimal(amount) for table, row, amount in rows})


class RestingStore:
    """Reads what quotes rest on."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def of_open_book(self, *, today: date) -> list[RestingQuote]:
        """Of every open quote."""
        return self._read(STATES["open"], today=today)

    def of_quotes(self, numbers: Sequence[str]) -> list[RestingQuote]:
        """Of the latest revisions of some quotes, those that are ready."""
        return self._read(f"q.quote_number = any(:numbers) and q.status = 'ready' and {LATEST}", numbers=list(numbers))

    def _read(self, which: str, **values: Any) -> list[RestingQuote]:
        with self._database.transaction() as connection:
            rows = connection.execute(text(f"select q.quote_number, o.rests_on {FROM} where {which}"), values)  # nosec B608  texts of ours
            return [unpacked(row.quote_number, None if row.rests_on is None else bytes(row.rests_on)) for row in rows]
