"""Which rate rows a price rests on: every amount lies on a row once, and what is invented or stale is said in one finding each."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.quoting.pricing.evaluation import evaluate
from services.quoting.pricing.quote import plans_for
from services.quoting.pricing.resting import Resting, findings_on, in_whole_units, resting_on
from services.quoting.service.readiness import ready_by
from services.quoting.sheet import Head, offer_of, offer_page
from services.quoting.store.resting import packed, unpacked
from shared_schemas.check import Finding
from shared_schemas.rate_row import RateRow
from shared_schemas.rates import TABLES, RateRevision, Rates
from shared_schemas.review_ages import REVIEW_DAYS, is_stale, review_days_of
from tests.chain import QUOTED_ON, job_of, quote_of, request_of, sections_of, singlet

HEAD = Head(number="Q-2026-000001", revision=1, latest_revision=1, customer="Tarn & Fell", digest="ab" * 32, state="open")


def with_rows(rates: Rates, **changes: Any) -> Rates:
    """The rates with every row of every table changed alike."""
    return rates.model_copy(
        update={table: tuple(row.model_copy(update=changes) for row in getattr(rates, table)) for table in TABLES}
    )


def resting(rates: Rates, currency: str = "USD") -> Resting:
    request = request_of(singlet(coating="ar-single"), (5, 25, 100), currency=currency)
    _, blanks, operations = sections_of(request, rates)
    plans = plans_for(job_of(request), blanks, operations, rates.in_order)
    return resting_on(evaluate(plans, quantity=25), plans)


def findings(found: Resting, rates: Rates, on: date = QUOTED_ON, own: dict[str, int] | None = None) -> dict[str, Finding]:
    return {one.code: one for one in findings_on(found, rates, on=on, review_days=own or {})}


def test_every_amount_lies_on_a_row_once_and_together_they_are_the_price(rates: Rates) -> None:
    found = resting(rates)
    assert sum(found.amounts.values()) == found.total > 0
    assert all(rates.row(*name) is not None for name in found.amounts)
    tables = {table for table, _ in found.amounts}
    assert {"work_centres", "commercial", "stock_forms", "polishing", "yields", "coatings"} <= tables
    assert "currencies" not in tables, "a base currency is no figure that anything rests on"
    abroad = resting(rates, "EUR")
    assert abroad.currency == "USD"
    assert sum(abroad.amounts.values()) == abroad.total == pytest.approx(found.total, rel=Decimal("0.01"))
    assert abroad.amounts["currencies", "EUR"] > 0


@settings(max_examples=80, deadline=None)
@given(
    st.dictionaries(st.tuples(st.sampled_from(["a", "b"]), st.text("xyz", min_size=1, max_size=3)),
                    st.decimals("-5", "1000", places=4), min_size=1, max_size=30),
    st.decimals("0.01", "100000", places=2),
)  # fmt: skip
def test_shares_in_whole_units_add_up_to_the_total(amounts: dict[tuple[str, str], Decimal], total: Decimal) -> None:
    shared = in_whole_units(amounts, total=total, unit=Decimal("0.01"))
    assert sum(shared.values()) == total
    assert all(amount == amount.quantize(Decimal("0.01")) for amount in shared.values())


def test_a_price_on_invented_rows_says_how_much_of_it_and_the_three_largest(rates: Rates) -> None:
    found = resting(rates)
    told = findings(found, rates)["rests-on-invented-rates"]
    invented = [name for name in found.amounts if (row := rates.row(*name)) is not None and row.origin == "invented"]
    assert told.figure == pytest.approx(float(sum(found.amounts[name] for name in invented) / found.total), abs=1e-4)
    assert told.severity == "care"
    assert "standard of commercial" in told.message
    assert told.message.count(" of ") == 3 + 3
    assert len(told.message) < 300
    own = with_rows(rates, origin="measured")
    assert "rests-on-invented-rates" not in findings(found, own)


def test_rows_that_nobody_has_looked_at_for_too_long_are_found_against_the_day_of_the_quote(rates: Rates) -> None:
    found = resting(rates, "EUR")
    fresh = with_rows(rates, as_of=QUOTED_ON)
    assert "rests-on-stale-rates" not in findings(found, fresh, QUOTED_ON + timedelta(days=7))
    stale = findings(found, fresh, QUOTED_ON + timedelta(days=8))["rests-on-stale-rates"]
    assert "EUR of currencies" in stale.message
    assert "8 days old" in stale.message
    assert "rests-on-stale-rates" not in findings(found, fresh, QUOTED_ON + timedelta(days=8), {"currencies": 8})
    assert findings(found, fresh, QUOTED_ON + timedelta(days=5000))["rests-on-stale-rates"].figure == 1.0
    assert review_days_of("calendar", {}) == 365
    assert set(REVIEW_DAYS) <= set(TABLES)


def test_a_quote_on_invented_rates_is_a_trial_and_its_price_is_the_same_without(rates: Rates) -> None:
    request = request_of(singlet(), (5,))
    trial, own = quote_of(request, rates), quote_of(request, with_rows(rates, origin="measured", as_of=QUOTED_ON))
    assert [one.code for one in trial.findings if one.code.startswith("rests-on")] == ["rests-on-invented-rates"]
    assert not [one for one in own.findings if one.code.startswith("rests-on")]
    mark = "Trial: rests on figures that are not this shop"
    assert mark in offer_page(offer_of(head=HEAD, body=trial))
    assert mark not in offer_page(offer_of(head=HEAD, body=own))
    assert [one.total_price for one in trial.breaks] == [one.total_price for one in own.breaks]


def revision(rates: Rates) -> RateRevision:
    return RateRevision(
        number=3, digest="d" * 64, created_at=datetime(2026, 11, 2, tzinfo=UTC), created_by="x", reason="x", rates=rates
    )  # fmt: skip


def test_readiness_adds_up_and_follows_the_rows_as_they_are_today(rates: Rates) -> None:
    found = resting(rates)
    noted = packed(found.currency, found.total, found.amounts)
    assert len(noted) < 2500
    quotes = [unpacked("Q-1", noted), unpacked("Q-2", noted), unpacked("Q-3", None)]
    assert quotes[0].amounts == {name: amount for name, amount in found.amounts.items() if amount}
    now = datetime(2026, 11, 3, tzinfo=UTC)
    ready = ready_by(quotes, revision(rates), now=now, own={})
    assert (ready.quotes, ready.quotes_untold, ready.total) == (2, 1, 2 * found.total)
    assert sum(one.money for one in ready.by_origin) == ready.total == sum(one.money for one in ready.by_table)
    invented = next(one for one in ready.by_origin if one.origin == "invented")
    assert sum(one.invented for one in ready.by_table) == invented.money
    moneys = [one.money for one in ready.rows]
    assert moneys == sorted(moneys, reverse=True)
    assert sum(moneys) == invented.money, "no row is stale on that day"
    first = ready.rows[0]
    assert (first.table, first.row, first.stale) == ("commercial", "standard", False)
    assert "put the shop's own figure" in first.what_to_do
    own = rates.model_copy(update={"commercial": tuple(row.model_copy(update={"origin": "measured"}) for row in rates.commercial)})
    better = ready_by(quotes, revision(own), now=now, own={})
    assert next(one for one in better.by_origin if one.origin == "invented").money == invented.money - first.money
    late = ready_by(quotes, revision(own), now=datetime(2028, 11, 3, tzinfo=UTC), own={})
    terms = next(one for one in late.rows if one.table == "commercial")
    assert (terms.stale, terms.age_days) == (True, 732)
    assert terms.what_to_do.startswith("measure again")
    unused = {one.table: one for one in ready.unused}
    assert unused["coatings"].invented == len(rates.coatings) - 1
    assert "glasses" not in unused
    without = rates.model_copy(update={"yields": ()})
    gone = next(one for one in ready_by(quotes, revision(without), now=now, own={}).by_origin if one.origin is None)
    assert gone.money == sum(amount for (table, _), amount in found.amounts.items() if table == "yields") * 2


def test_a_shop_with_rows_of_its_own_has_nothing_to_make_ready(rates: Rates) -> None:
    own = with_rows(rates, origin="estimated", as_of=date(2026, 11, 3))
    found = resting(own)
    ready = ready_by([unpacked("Q-1", packed(found.currency, found.total, found.amounts))], revision(own), now=datetime(2026, 11, 3, tzinfo=UTC), own={})  # fmt: skip
    assert (ready.rows, ready.rows_to_make_ready, ready.unused, ready.stale) == ((), 0, (), 0)
    assert ready.by_origin[0].money == 0
    row: RateRow = own.commercial[0]
    assert not is_stale(row, "commercial", on=date(2027, 11, 3), own={})
    assert is_stale(row, "commercial", on=date(2027, 11, 4), own={})
