"""What quotes are searched by, in PostgreSQL: noted of each once, out of its documents, whenever these are new.

A word is found wherever it stands in another: the index has every ending of every word, so that what a word holds is what one of
its endings begins with. Case and accents are no difference.
"""

from __future__ import annotations

import json
import time
import unicodedata
from collections.abc import Iterator
from typing import Any

from sqlalchemy import Connection, text

from services.chassis.database import Database
from services.quoting.store.rows import BODY, body_of
from shared_schemas.published_glasses import plain

AT_ONCE = 50
"""Quotes that one transaction notes."""
SHORTEST_ENDING = 3
"""Below that so much begins alike that it is looked for in the texts themselves."""
LONGEST_ENDING = 24
"""Characters of an ending that the index keeps; what is longer is looked for in the text itself."""


def folded(words: str) -> str:
    """A text as it is searched: without case and accents, single blanks between its words."""
    apart = unicodedata.normalize("NFKD", words.casefold())
    return " ".join("".join(mark for mark in apart if not unicodedata.combining(mark)).casefold().split())


def endings_of(everything: str) -> set[str]:
    """Every ending of every word of a folded text that is not too short, as the index has them."""
    return {word[place : place + LONGEST_ENDING] for word in everything.split() for place in range(len(word) - SHORTEST_ENDING + 1)}


def bring_up_to_date(database: Database, *, within_s: float) -> int:
    """Note what quotes are searched by that are new or have changed, for as long as that; how many are left."""
    begin = time.monotonic()
    while True:
        with database.transaction() as connection:
            _note(connection)
            left = int(connection.execute(text("select count(*) from quoting.to_note")).scalar_one())
        if not left or time.monotonic() - begin > within_s:
            return left


def _note(connection: Connection) -> None:
    """Note the next few quotes, newest first. Who comes meanwhile waits, and then finds what was noted."""
    numbers = connection.execute(
        text("delete from quoting.to_note where number = any(array(select number from quoting.to_note order by number desc limit :most "
             "for update)) returning number"),
        {"most": AT_ONCE},
    ).scalars().all()  # fmt: skip
    rows = connection.execute(
        text(f"select q.number, q.quote_number, q.customer, q.reference, q.title, q.request, {BODY} from quoting.quotes q "
             "left join quoting.outcomes o on o.number = q.number and o.status = 'ready' where q.number = any(:numbers)"),  # nosec B608  columns of ours
        {"numbers": list(numbers)},
    )  # fmt: skip
    for row in rows.all():
        body = body_of(row.body, row.packing, row.packed, row.body_bytes)
        _note_one(connection, row, json.loads(bytes(row.request)), json.loads(body) if body is not None else {})


def _note_one(connection: Connection, row: Any, request: dict[str, Any], body: dict[str, Any]) -> None:
    everything = "\n".join(
        folded(words) for words in (row.quote_number, row.customer, row.reference, row.title, request.get("contact", ""))
    )
    asked = request.get("prescription", {}).get("elements", ())
    names = {folded(one["name"]) for one in asked if one.get("name")}
    connection.execute(
        text("insert into quoting.searched (number, words, everything, customer, reference, elements, glasses) values "
             "(:number, array_to_tsvector(cast(:endings as text[])), :everything, :customer, :reference, :elements, :glasses) "
             "on conflict (number) do update set words = excluded.words, everything = excluded.everything, customer = excluded.customer, "
             "reference = excluded.reference, elements = excluded.elements, glasses = excluded.glasses"),
        {"number": row.number, "endings": sorted(endings_of(everything)), "everything": everything, "customer": folded(row.customer),
         "reference": folded(row.reference), "elements": sorted(names), "glasses": sorted(set(_glasses([*asked, *body.get("elements", ())])))},
    )  # fmt: skip
    prices = [{"number": row.number, "currency": body["currency"], **price} for price in _prices(body)]
    if prices:
        connection.execute(
            text("insert into quoting.searched_prices (number, quantity, currency, unit_price, total_price) "
                 "values (:number, :quantity, :currency, :unit_price, :total_price) on conflict do nothing"),
            prices,
        )  # fmt: skip


def _glasses(elements: list[dict[str, Any]]) -> Iterator[str]:
    """Glasses of elements by name; one that is given by its index alone has none."""
    for one in elements:
        if isinstance(one.get("glass"), str):
            yield plain(one["glass"])


def _prices(body: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for one in body.get("breaks", ()):
        if "total_price" in one and "currency" in body:
            yield {name: one[name] for name in ("quantity", "unit_price", "total_price")}
