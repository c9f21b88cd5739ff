"""What a draft does to issued quotes: drift and effect apart, the whole the sum of its parts, and no price guessed."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from pydantic import ValidationError

from services.quoting.pricing.prices_only import prices_as_issued, prices_of
from services.quoting.pricing.quote import assemble
from services.quoting.pricing.tables_read import READ_BY, is_priced_by
from services.quoting.service.impact_figures import Rated, by_customer, figures_of, totals_of
from shared_schemas.base import canonical_json
from shared_schemas.quote import QuoteBody
from shared_schemas.rate_impact import ImpactChoice, ImpactedQuote, ImpactFigures, RatedQuote, RateImpactRequest
from shared_schemas.rates import TABLES, Rates
from shared_schemas.traveller import Job
from tests.unit.quoting.conftest import centre, request, sections, with_tables


def job_of(**changes: Any) -> Job:
    return Job(number="Q-1", attempt=1, request=request(**changes), rate_revision=1, quoted_on=date(2026, 11, 2))


def quoted(rates: Rates, **changes: Any) -> QuoteBody:
    body: QuoteBody = assemble(**sections(job=job_of(**changes)), rates=rates, rate_digest="r1")
    return body


def labour(rates: Rates, per_h: int | str) -> Rates:
    return with_tables(rates, work_centres=(centre(labour_rate_per_h=Decimal(per_h)),))


def rated(rates: Rates, kept: RatedQuote | None = None, **changes: Any) -> RatedQuote:
    known = sections(job=job_of(**changes))
    prices = {} if kept is None else {one.quantity: one.total_price for one in kept.breaks}
    return prices_of(job=known["job"], blanks=known["blanks"], operations=known["operations"], rates=rates, kept=prices)


def three(rates: Rates, today: int | str, draft: int | str, **changes: Any) -> ImpactFigures:
    issued = prices_as_issued(canonical_json(quoted(rates, **changes)))
    found = figures_of(
        Rated(issued, rated(labour(rates, today), issued, **changes), rated(labour(rates, draft), issued, **changes))
    )
    assert found is not None
    return found


def item(number: str, figures: ImpactFigures | None, **changes: Any) -> ImpactedQuote:
    values: dict[str, Any] = {
        "place": 0, "number": number, "revision": 1, "customer": "A", "title": "t", "issued_at": 1, "today_as_issued": False, "unread": False,
        "outcome": "ready", "today": "ready", "figures": figures,
    }  # fmt: skip
    return ImpactedQuote(**{**values, **changes})


def test_prices_only_are_those_that_the_whole_quote_comes_to(shop_rates: Rates) -> None:
    for rates in (shop_rates, labour(shop_rates, 45)):
        for changes in ({}, {"currency": "JPY"}):
            assert rated(rates, **changes) == prices_as_issued(canonical_json(quoted(rates, **changes)))


def test_dearer_labour_is_dearer_whatever_has_drifted_since_the_quote_was_issued(shop_rates: Rates) -> None:
    # Issued at 30 an hour; today's rates have come down to 20, and the draft asks a tenth more than today.
    found = three(shop_rates, 20, 22)
    for one in found.breaks:
        assert one.unit_price.issued is not None
        assert one.unit_price.today is not None
        assert one.unit_price.drift == one.unit_price.today - one.unit_price.issued < 0
        assert one.unit_price.effect == one.unit_price.draft - one.unit_price.today > 0  # type: ignore[operator]
        assert one.unit_price.draft < one.unit_price.issued, "against the price as issued it would look cheaper"  # type: ignore[operator]
        assert one.drift_share is not None
        assert one.effect_share is not None
        assert one.drift_share < 0 < one.effect_share
        assert one.effect_share == pytest.approx(float(one.unit_price.effect / one.unit_price.today), abs=1e-6)  # type: ignore[operator]
    totals = totals_of([item("Q-1", found)])
    assert (totals.dearer, totals.cheaper, totals.drifted) == (1, 0, 1)


def test_the_same_rates_change_nothing_and_keep_the_margin_of_the_terms(shop_rates: Rates) -> None:
    issued = prices_as_issued(canonical_json(quoted(shop_rates)))
    found = figures_of(Rated(issued, issued, issued))
    assert found is not None
    for one in found.breaks:
        assert (one.drift_share, one.effect_share, one.p50_days.effect, one.p90_days.drift, one.unit_cost.effect) == (0, 0, 0, 0, 0)
        kept = one.price_kept
        assert kept is not None
        assert kept.margin_share_issued == kept.margin_share_today == kept.margin_share_draft
        # Rounding up adds to the margin of the terms, the even price list may take a little of it.
        assert 0.24 <= kept.margin_share_issued < 0.26
    assert (totals_of([item("Q-1", found)]).changed, totals_of([item("Q-1", found)]).drifted) == (0, 0)


def test_a_kept_price_loses_exactly_what_the_costs_of_the_draft_take(shop_rates: Rates) -> None:
    with_draft = quoted(labour(shop_rates, 45))
    found = three(shop_rates, 30, 45)
    for one, after in zip(found.breaks, with_draft.breaks, strict=True):
        covered = sum(
            line.amount
            for line in after.lines
            if line.kind in ("material", "operations", "bought_parts", "losses", "overhead", "contingency")
        )
        assert one.price_kept is not None
        assert one.price_kept.margin_share_draft == pytest.approx(float(1 - covered / one.total_price.issued), abs=1e-6)  # type: ignore[operator]
        assert one.price_kept.margin_share_draft < one.price_kept.margin_share_issued
        assert one.price_kept.margin_share_today == one.price_kept.margin_share_issued


def test_the_chance_of_a_loss_at_its_own_price_is_that_of_the_quote_and_falls_with_the_price(shop_rates: Rates) -> None:
    issued = prices_as_issued(canonical_json(quoted(shop_rates)))

    def at(share: str) -> list[float]:
        breaks = tuple(one.model_copy(update={"total_price": one.total_price * Decimal(share)}) for one in issued.breaks)
        return [one.loss_chance or 0.0 for one in rated(shop_rates, issued.model_copy(update={"breaks": breaks})).breaks]

    own = at("1")
    assert own == [one.loss_chance for one in issued.breaks]
    assert all(low > chance or low == 1 for low, chance in zip(at("0.6"), own, strict=True))
    assert not any(at("10"))


def test_a_quote_that_is_refused_today_has_no_effect_and_is_newly_quotable(shop_rates: Rates) -> None:
    issued = prices_as_issued(canonical_json(quoted(shop_rates)))
    found = figures_of(Rated(issued, None, issued))
    assert found is not None
    assert {(one.unit_price.drift, one.unit_price.effect) for one in found.breaks} == {(None, None)}
    quotable = item("Q-1", found, today="refused", newly_quotable=True)
    refused = item("Q-2", None, outcome="refused", newly_refused=True)
    totals = totals_of([quotable, refused])
    assert (totals.newly_quotable, totals.newly_refused, totals.changed, totals.sums) == (1, 1, 0, ())
    assert figures_of(Rated(None, None, None)) is None


def test_totals_are_of_each_currency_and_customer_and_add_up_with_the_largest_movers_first(shop_rates: Rates) -> None:
    dearer, cheaper = three(shop_rates, 30, 60), three(shop_rates, 30, 20)
    foreign = three(shop_rates, 30, 31, currency="JPY")
    items = [item("Q-1", dearer), item("Q-2", cheaper, revision=3, customer="B"), item("Q-3", foreign)]
    found = totals_of(items)
    assert (found.changed, found.dearer, found.cheaper, found.drifted) == (3, 2, 1, 0)
    assert [mover.number for mover in found.largest_movers] == ["Q-1", "Q-2", "Q-3"]
    assert found.largest_movers[0].share == max(one.effect_share or 0 for one in dearer.breaks)
    assert [one.currency for one in found.sums] == ["JPY", "USD"]
    dollars = found.sums[1]
    # Quantities were asked for as 25, 5, 100.
    assert dollars.smallest.issued == dearer.breaks[1].total_price.issued + cheaper.breaks[1].total_price.issued  # type: ignore[operator]
    assert dollars.middle.draft == dearer.breaks[0].total_price.draft + cheaper.breaks[0].total_price.draft  # type: ignore[operator]
    assert dollars.middle.drift + dollars.middle.effect == dollars.middle.draft - dollars.middle.issued  # type: ignore[operator]
    customers = by_customer(items)
    assert [one.customer for one in customers] == ["A", "B"]
    of_each = [total.middle.effect for one in customers for total in one.totals.sums if total.currency == "USD"]
    assert sum(of_each) == dollars.middle.effect  # type: ignore[arg-type]


def test_nothing_to_hold_against_a_draft_is_nothing() -> None:
    found = totals_of([])
    assert (found.changed, found.largest_movers, found.sums, by_customer([])) == (0, (), (), ())


def test_a_table_that_is_not_known_to_be_unread_has_a_part_in_every_price() -> None:
    lens = request().prescription
    assert not is_priced_by(READ_BY, lens)
    assert not is_priced_by((), lens)
    for table in [*(set(TABLES) - set(READ_BY)), "a table of tomorrow"]:
        assert is_priced_by((table, *READ_BY), lens)


@pytest.mark.parametrize(
    ("changes", "place"),
    [
        ({"table": "polish"}, ("table",)),
        ({"draft": 3}, ("table",)),
        ({"table": None}, ("table",)),
        ({"quotes": ["Q-1", "Q-2", "Q-1"]}, ("quotes", 2)),
        ({"quotes": []}, ("quotes",)),
        ({"most": 0}, ("most",)),
        ({"most": 2001}, ("most",)),
        ({"most": True}, ("most",)),
        ({"issued_since": "tomorrow"}, ("issued_since",)),
    ],
)
def test_a_choice_of_what_is_not_there_is_named(changes: dict[str, Any], place: tuple[Any, ...]) -> None:
    with pytest.raises(ValidationError) as caught:
        ImpactChoice.model_validate({"table": "polishing", **changes})
    assert caught.value.errors()[0]["loc"] == place


@pytest.mark.parametrize("asked", [{"table": "polishing", "rows": []}, {"table": "polishing"}, {"draft": 1, "rows": [{}]}])
def test_a_table_comes_with_rows_and_a_draft_without(asked: dict[str, Any]) -> None:
    with pytest.raises(ValidationError) as caught:
        RateImpactRequest.model_validate(asked)
    assert caught.value.errors()[0]["loc"] == ("rows",)
