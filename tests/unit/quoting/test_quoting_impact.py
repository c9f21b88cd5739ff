"""What a proposed table does to issued quotes: differences are new less old, and the whole is the sum of its parts."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from pydantic import ValidationError

from services.quoting.pricing.quote import assemble, loss_chances
from services.quoting.service.impact_figures import Impacted, impact_on, totals_of
from shared_schemas.quote import QuoteBody
from shared_schemas.rate_impact import ImpactChoice, ImpactFigures, RateImpactRequest
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job
from tests.unit.quoting.conftest import centre, request, sections, with_tables


def job_of(**changes: Any) -> Job:
    return Job(number="Q-1", attempt=1, request=request(**changes), rate_revision=1, quoted_on=date(2026, 11, 2))


def issued(rates: Rates, digest: str = "r1", **changes: Any) -> QuoteBody:
    body: QuoteBody = assemble(**sections(job=job_of(**changes)), rates=rates, rate_digest=digest)
    return body


def rated(rates: Rates, labour: int) -> Rates:
    return with_tables(rates, work_centres=(centre(labour_rate_per_h=Decimal(labour)),))


def figures(rates: Rates, labour: int, **changes: Any) -> ImpactFigures:
    old, new = issued(rates, **changes), issued(rated(rates, labour), "r2", **changes)
    return impact_on(old, new, loss_chances={one.quantity: 0.5 for one in old.breaks})


def test_the_same_rates_change_nothing_and_keep_the_margin_of_the_terms(shop_rates: Rates) -> None:
    body = issued(shop_rates)
    found = impact_on(body, body, loss_chances={one.quantity: one.loss_chance or 0.0 for one in body.breaks})
    for one in found.breaks:
        assert one.unit_price.difference == one.total_price.difference == one.unit_cost.difference == 0
        assert (one.share, one.p50_days.difference, one.p90_days.difference) == (0, 0, 0)
        kept = one.price_kept
        assert (kept.margin_share_proposed, kept.loss_chance_proposed) == (kept.margin_share_issued, kept.loss_chance_issued)
        # Rounding up adds to the margin of the terms, the even price list may take a little of it.
        assert 0.24 <= kept.margin_share_issued < 0.26
    assert totals_of([Impacted("Q-1", 1, found)]).changed == 0


def test_a_kept_price_loses_exactly_what_the_proposed_costs_take(shop_rates: Rates) -> None:
    old, new = issued(shop_rates), issued(rated(shop_rates, 45), "r2")
    found = impact_on(old, new, loss_chances={one.quantity: 0.5 for one in old.breaks})
    for one, before, after in zip(found.breaks, old.breaks, new.breaks, strict=True):
        assert one.share > 0
        assert one.unit_price.new == after.unit_price == before.unit_price + one.unit_price.difference  # type: ignore[operator]
        covered = sum(
            line.amount
            for line in after.lines
            if line.kind in ("material", "operations", "bought_parts", "losses", "overhead", "contingency")
        )
        assert one.price_kept.margin_share_proposed == pytest.approx(float(1 - covered / before.total_price), abs=1e-6)
        assert one.price_kept.margin_share_proposed < one.price_kept.margin_share_issued


def test_the_chance_of_a_loss_at_its_own_price_is_that_of_the_quote_and_falls_with_the_price(shop_rates: Rates) -> None:
    body, known = issued(shop_rates), sections(job=job_of())
    plans = {name: known[name] for name in ("job", "blanks", "operations")}

    def at(share: str) -> dict[int, float]:
        prices = {one.quantity: one.total_price * Decimal(share) for one in body.breaks}
        return loss_chances(prices=prices, **plans, rates=shop_rates, rate_digest="r1")

    assert at("1") == {one.quantity: one.loss_chance for one in body.breaks}
    for quantity, chance in at("0.6").items():
        assert chance > at("1")[quantity] or chance == 1
        assert at("10")[quantity] == 0


def test_totals_are_of_each_currency_and_name_the_largest_rise_and_fall(shop_rates: Rates) -> None:
    dearer, cheaper = figures(shop_rates, 60), figures(shop_rates, 20)
    foreign = figures(shop_rates, 31, currency="JPY")
    found = totals_of([Impacted("Q-1", 1, dearer), Impacted("Q-2", 3, cheaper), Impacted("Q-3", 1, foreign)])
    assert (found.changed, found.dearer, found.cheaper) == (3, 2, 1)
    assert found.largest_rise is not None
    assert found.largest_fall is not None
    assert (found.largest_rise.number, found.largest_fall.number, found.largest_fall.revision) == ("Q-1", "Q-2", 3)
    assert found.largest_rise.share == max(one.share for one in dearer.breaks)
    assert [one.currency for one in found.sums] == ["JPY", "USD"]
    dollars = found.sums[1]
    # Quantities were asked for as 25, 5, 100.
    assert dollars.smallest.old == dearer.breaks[1].total_price.old + cheaper.breaks[1].total_price.old  # type: ignore[operator]
    assert dollars.middle.new == dearer.breaks[0].total_price.new + cheaper.breaks[0].total_price.new  # type: ignore[operator]
    assert dollars.middle.difference == dollars.middle.new - dollars.middle.old  # type: ignore[operator]


def test_nothing_to_hold_against_a_proposal_is_nothing() -> None:
    found = totals_of([])
    assert (found.changed, found.largest_rise, found.largest_fall, found.sums) == (0, None, None, ())


@pytest.mark.parametrize(
    ("changes", "place"),
    [
        ({"table": "polish"}, ("table",)),
        ({"quotes": ["Q-1", "Q-2", "Q-1"]}, ("quotes", 2)),
        ({"quotes": []}, ("quotes",)),
        ({"most": 0}, ("most",)),
        ({"most": 501}, ("most",)),
        ({"most": True}, ("most",)),
    ],
)
def test_a_choice_of_what_is_not_there_is_named(changes: dict[str, Any], place: tuple[Any, ...]) -> None:
    with pytest.raises(ValidationError) as caught:
        ImpactChoice.model_validate({"table": "polishing", **changes})
    assert caught.value.errors()[0]["loc"] == place


def test_a_proposal_has_rows() -> None:
    with pytest.raises(ValidationError):
        RateImpactRequest.model_validate({"table": "polishing", "rows": []})
