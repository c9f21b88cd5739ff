"""The list of quotes under every filter, held against a plain filter of the same quotes in Python; pages follow each other whatever is asked."""

from __future__ import annotations

import json
import random
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from services.chassis.database import Database
from services.chassis.keys import Keys
from services.quoting.store.blocks import digest_of
from services.quoting.store.life import LifeStore
from services.quoting.store.repository import QuoteStore
from services.quoting.store.rows import Decision, NewQuote, Outcome
from services.quoting.store.searched import bring_up_to_date
from services.quoting.store.searching import QuoteList, Search
from tests.integration.parts import listed, run_statement

FIRST = datetime(2026, 3, 1, 20, 0, tzinfo=UTC)
EVERY = timedelta(hours=7)
CUSTOMERS = ("Müller & Söhne", "MULLER OPTIK", "Tarn & Fell", "50% off \\ Ltd", 'O\'Brien "X" <y>', "a_b", "Straße 7", "")
REFERENCES = ("PO-4711", "po 47", "x%y", "", "'); drop table quotes; --", "7" * 40)
TITLES = ("relay f50", "Relay, ÀÉÎ", "%'\"<", "doublet _ 2")
CONTACTS = ("Ann Lee", "José", "")
GLASSES = ("N-BK7", "n-sf11", "FUSED SILICA", None)


@dataclass(frozen=True)
class Kept:
    """A revision as the test knows it."""

    row: str
    quote: str
    place: tuple[int, int]
    status: str
    customer: str
    reference: str
    title: str
    contact: str
    elements: tuple[str, ...]
    glasses: tuple[str | None, ...]
    created: datetime
    valid_until: date | None
    finished: datetime | None
    currency: str
    totals: tuple[Decimal, ...]
    by: str
    decision: str | None


class Filled:
    """Eighty quotes put in by the ways of the store, in a database of the module's own."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self.store, self.life = QuoteStore(database), LifeStore(database)
        keys = Keys(database)
        self.keys = {keys.add(role="sales", label=label, now=FIRST).split("_")[1]: label for label in ("Desk one", "desk TWO")}
        self.kept: list[Kept] = []
        draw = random.Random(7)
        for count in range(80):
            self._quote(draw, FIRST + count * EVERY)

    def _quote(self, draw: random.Random, at: datetime) -> None:
        begun = None
        for revision in range(1, draw.choice((2, 2, 2, 3, 4))):
            now = at + revision * timedelta(minutes=1)
            lens = {"elements": [{"name": f"L{n}", "glass": draw.choice(GLASSES)} for n in range(1, draw.randrange(2, 5))]}
            request = {"prescription": lens, "contact": draw.choice(CONTACTS)}
            new = NewQuote(json.dumps(request).encode(), draw.choice(CUSTOMERS), draw.choice(TITLES), 1, now.date(), "t",
                           caller=draw.choice([*self.keys, "gone"]), reference=draw.choice(REFERENCES))  # fmt: skip
            if begun is None:
                begun, _ = self.store.accept(new, None, now=now)
            else:
                begun, _ = self.life.add_revision(begun.quote_number, new, None, after=revision - 1, now=now)
            self._settle(draw, begun.number, new, request, now=now)
            if self.kept[-1].status in ("accepted", "cancelled"):
                return

    def _settle(self, draw: random.Random, row: str, new: NewQuote, request: dict[str, Any], *, now: datetime) -> None:
        status = draw.choice(("ready", "ready", "ready", "ready", "refused", "cancelled", "accepted"))
        price, currency = draw.randrange(10, 400), draw.choice(("USD", "EUR"))
        totals = {n: Decimal(n * price) for n in (1, 5)} if status == "ready" else {}
        valid = now.date() + timedelta(days=draw.randrange(0, 20)) if status == "ready" else None
        body = {"currency": currency, "elements": [{"glass": "CAF2"}],
                "breaks": [{"quantity": n, "unit_price": f"{price}.00", "total_price": f"{total}"} for n, total in totals.items()]}  # fmt: skip
        document = json.dumps(body).encode()
        if status == "ready":
            self.store.runs.settle(row, 1, Outcome("ready", digest_of(document), body=document, blanks=b"{}", operations=b"{}", valid_until=valid), now=now)  # fmt: skip
        elif status != "accepted":
            self.store.runs.settle(row, 1, Outcome(status, "d", problem=b"{}"), now=now)
        decision = draw.choice((None, None, "accepted", "declined")) if status == "ready" else None
        quote, _, revision = row.partition(".")
        if decision == "accepted" and any(one.quote == quote and one.decision == "accepted" for one in self.kept):
            decision = None
        if decision is not None:
            self.life.decide(row, Decision(decision, 5 if decision == "accepted" else None, "R. Lamb", "", "k", now))
        self.kept.append(
            Kept(
                row, quote, (int(quote[-6:]), int(revision or 1)), status, new.customer, new.reference, new.title, request["contact"],
                tuple(one["name"] for one in request["prescription"]["elements"]),
                (*(one["glass"] for one in request["prescription"]["elements"]), *(("CAF2",) if status == "ready" else ())),
                now, valid, now if status == "ready" else None, currency, tuple(totals.values()), new.caller, decision,
            )
        )  # fmt: skip

    def standing(self) -> Iterator[Kept]:
        """The revision by which each quote stands, newest first."""
        quotes: dict[str, list[Kept]] = {}
        for one in self.kept:
            quotes.setdefault(one.quote, []).append(one)
        for revisions in reversed(quotes.values()):
            ordered = [one for one in revisions if one.decision == "accepted"]
            wanted = [one for one in revisions if one.status != "cancelled"]
            yield (ordered or wanted or revisions)[-1]


@pytest.fixture(scope="module")
def filled(postgres_url: str, migrated: str) -> Iterator[Filled]:
    run_statement(postgres_url, f"create database searched template {migrated}")
    database = Database(f"{postgres_url}/searched")
    yield Filled(database)
    database.close()
    run_statement(postgres_url, "drop database searched with (force)")


def plain(words: str) -> str:
    apart = unicodedata.normalize("NFD", words.casefold())
    return "".join(mark for mark in apart if unicodedata.category(mark) != "Mn")


def state_of(one: Kept, today: date) -> str | None:
    if one.decision or one.status != "ready":
        return one.decision
    assert one.valid_until is not None
    return "expired" if one.valid_until < today else "open"


def is_wanted(one: Kept, s: Search, keys: dict[str, str]) -> bool:
    """The same search, said in Python."""
    texts = [one.quote, one.customer, one.reference, one.title, one.contact]
    state = state_of(one, s.today)
    checks = [
        s.status is None or one.status == s.status,
        s.state is None or state == s.state,
        all(any(plain(word) in plain(field) for field in texts) for word in (s.text or "").split()),
        all(plain(word) in plain(one.customer) for word in (s.customer or "").split()),
        all(plain(word) in plain(one.reference) for word in (s.reference or "").split()),
        s.created_from is None or one.created.date() >= s.created_from,
        s.created_to is None or one.created.date() <= s.created_to,
        s.valid_from is None or (one.valid_until is not None and one.valid_until >= s.valid_from),
        s.valid_to is None or (one.valid_until is not None and one.valid_until <= s.valid_to),
        s.element is None or s.element.lower() in [name.lower() for name in one.elements],
        s.glass is None or s.glass.replace("-", "").replace(" ", "").upper() in [(name or "").replace("-", "").replace(" ", "").upper() for name in one.glasses if name],
        s.by is None or s.by == one.by or keys.get(one.by, "").lower() == s.by.lower(),
    ]  # fmt: skip
    if s.currency is not None:
        low, high = s.price_from or Decimal(0), s.price_to or Decimal(10**9)
        checks.append(bool(one.totals) and one.currency == s.currency and any(low <= total <= high for total in one.totals))
    if s.follow_up == "expiring":
        checks.append(
            state == "open" and one.valid_until is not None and one.valid_until <= s.today + timedelta(days=s.within_days)
        )
    if s.follow_up == "waiting":
        checks.append(state == "open" and one.finished is not None and one.finished <= s.now - timedelta(days=s.within_days))
    return all(checks)


def pages_of(filled: Filled, search: Search, most: int) -> list[str]:
    """All that is found, a page at a time."""
    found: list[str] = []
    before: tuple[int, int] | None = None
    while True:
        page, unread = QuoteList(filled.database).page(search, before=before, most=most)
        assert unread == 0
        found += [one.row.number for one in page]
        if len(page) < most:
            return found
        before = (page[-1].row.position, page[-1].row.revision)


DAYS = st.dates(date(2026, 2, 27), date(2026, 4, 10))
WORDS = (
    "muller",
    "MÜLLER",
    "ß",
    "strasse",
    "%",
    "_",
    "'",
    "\\",
    "<",
    "%'\"<",
    "é",
    "471",
    "drop",
    "2026-00001",
    "7777",
    "7" * 30,
    "lee",
    "relay",
    "nowhere",
    ":*",
    "a",
)
MONEY = st.integers(0, 2200).map(Decimal)
SEARCHES = st.fixed_dictionaries(
    {},
    optional={
        "status": st.sampled_from(("ready", "refused", "cancelled", "accepted")),
        "state": st.sampled_from(("open", "accepted", "declined", "expired")),
        "text": st.lists(st.sampled_from(WORDS), max_size=2).map(" ".join),
        "customer": st.sampled_from(("", *WORDS, *CUSTOMERS)),
        "reference": st.sampled_from((*WORDS, *REFERENCES)),
        "created_from": DAYS, "created_to": DAYS, "valid_from": DAYS, "valid_to": DAYS,
        "element": st.sampled_from(("L1", "l3", "L9")),
        "glass": st.sampled_from(("nbk7", "N-SF11", "fused silica", "CaF2", "x")),
        "by": st.sampled_from(("desk one", "Desk Two", "gone", "nobody")),
        "prices": st.fixed_dictionaries({"currency": st.sampled_from(("USD", "EUR", "GBP"))}, optional={"price_from": MONEY, "price_to": MONEY}),
        "follow_up": st.sampled_from(("expiring", "waiting")),
        "within_days": st.integers(0, 14),
    },
)  # fmt: skip


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(asked=SEARCHES, today=DAYS, most=st.integers(1, 30))
def test_a_search_finds_what_a_plain_filter_finds_and_pages_follow_each_other(
    filled: Filled, asked: dict[str, Any], today: date, most: int
) -> None:
    prices = asked.get("prices", {})
    search = Search(
        today=today, now=datetime.combine(today, FIRST.time(), UTC), **{name: value for name, value in asked.items() if name != "prices"}, **prices
    )  # fmt: skip
    wanted = [one.row for one in filled.standing() if is_wanted(one, search, filled.keys)]
    assert pages_of(filled, search, most) == wanted


@pytest.mark.parametrize("asked", [{"text": word} for word in WORDS] + [{"glass": "nbk7"}, {"element": "l3"}, {"by": "desk two"}, {"follow_up": "waiting", "within_days": 3},
                                  {"follow_up": "expiring", "within_days": 9}, {"currency": "EUR", "price_from": Decimal(500)}])  # fmt: skip
def test_each_filter_finds_some_quotes_and_not_all(filled: Filled, asked: dict[str, Any]) -> None:
    today = FIRST.date() + timedelta(days=20)
    search = Search(today=today, now=datetime.combine(today, FIRST.time(), UTC), **asked)
    found = pages_of(filled, search, 7)
    everything = [*filled.standing()]
    assert found == [one.row for one in everything if is_wanted(one, search, filled.keys)]
    assert asked in ({"text": "nowhere"}, {"text": ":*"}) or 0 < len(found) < len(everything)
    assert all(later > earlier for later, earlier in pairwise(found))


def test_a_line_has_prices_who_asked_and_who_decided(filled: Filled) -> None:
    search = Search(today=FIRST.date(), now=FIRST, state="accepted", by="desk one")
    (line, *_), _ = QuoteList(filled.database).page(search, before=None, most=5)
    kept = next(one for one in filled.kept if one.row == line.row.number)
    assert line.asked_by == "Desk one"
    assert (line.currency, tuple(price.total_price for price in line.prices)) == (kept.currency, kept.totals)
    assert [price.quantity for price in line.prices] == [1, 5]
    assert line.row.decision is not None
    assert line.row.decision.decided_by == "R. Lamb"


def test_what_an_archive_has_is_still_found_and_what_is_noted_can_be_thrown_away(filled: Filled) -> None:
    database, asked = filled.database, {"currency": "USD", "price_from": Decimal(1)}
    before = listed(database, **asked)
    assert before
    with database.transaction() as connection:
        connection.execute(text("delete from quoting.searched_prices"))
        connection.execute(text("delete from quoting.searched"))
        connection.execute(text("insert into quoting.to_note select number from quoting.quotes"))
    assert bring_up_to_date(database, within_s=0) > 0, "some at a time"
    assert listed(database, **asked) == before
    with database.transaction() as connection:
        connection.execute(text("set local quoting.repacking = 'on'"))
        connection.execute(
            text("update quoting.outcomes set archived_in = 'a', packing = null, packed = null where number = :n"), {"n": before[0]}
        )
    assert listed(database, **asked) == before
