"""Laws that every production order keeps, over drawn lenses through the whole chain: its minutes, rates and pieces are those of the price."""

from __future__ import annotations

import os
from decimal import ROUND_HALF_EVEN, Decimal
from itertools import pairwise

import pytest

from services.quoting.costs.money import rounded
from services.quoting.pricing.evaluation import Evaluation, evaluate
from services.quoting.pricing.quote import plans_for
from services.quoting.service.estimates import quoted_ways
from services.quoting.service.production_order import operations_of, production_quantity
from shared_schemas.estimate import EstimatedOperation
from shared_schemas.lead_times import LineKind
from shared_schemas.quote_request import QuoteRequest
from tests.chain import as_json, job_of, published_triplet, request_of, sections_of, through_stages
from tests.laws.prices import LARGEST, Prescription, rates, singlets

DRAWN = int(os.environ.get("LAWS_DRAWN_ESTIMATES", "12"))
"""How many lenses the law of the cent is tried on."""
DRAWN_WHOLE = DRAWN if DRAWN >= 50 else DRAWN // 4
"""How many lenses are quoted whole and held against their production order: all, where many are asked for."""
QUANTITIES = (1, 25, 400)
CURRENCIES = ("USD", "EUR", "JPY")


def worked_out(lens: Prescription, currency: str) -> list[Evaluation]:
    request = request_of(lens, (LARGEST,), currency=currency)
    _, blanks, operations = sections_of(request, rates())
    plans = plans_for(job_of(request), blanks, operations, rates())
    return [evaluate(plans, quantity=quantity, evened=False) for quantity in QUANTITIES]


def spent(one: EstimatedOperation) -> Decimal:
    """What an operation costs, by the minutes and rates that it shows: written from its description alone."""
    minutes = Decimal(repr(one.setup_min)) + Decimal(repr(one.run_min))
    labour = Decimal(repr(one.labour_min))
    return (minutes * one.machine_rate_per_h + labour * one.labour_rate_per_h) / 60 + one.consumables


def line(evaluation: Evaluation, kind: LineKind) -> Decimal:
    return sum((one.amount for one in evaluation.price.lines if one.kind == kind), Decimal(0))


@pytest.mark.parametrize(("place", "lens"), list(enumerate(singlets(seed=16, count=DRAWN))), ids=map(str, range(DRAWN)))
def test_minutes_times_rates_are_the_operations_of_the_quote_to_the_cent(place: int, lens: Prescription) -> None:
    for evaluation in worked_out(lens, CURRENCIES[place % len(CURRENCIES)]):
        minor_units = evaluation.plans.currency.minor_units
        operations = operations_of(evaluation)
        asked = line(evaluation, "operations")
        assert rounded(sum(map(spent, operations), Decimal(0)), minor_units=minor_units) == asked
        assert sum(one.cost for one in operations) == asked
        unit = Decimal(1).scaleb(-minor_units)
        assert all(abs(one.cost - spent(one)) < unit for one in operations)
        for before, after in pairwise(operations):
            if before.part == after.part:
                assert (before.pieces_out, before.sequence + 10) == (after.pieces_in, after.sequence)


def hold_against_the_quote(request: QuoteRequest) -> None:
    """Every quantity of a request as a production order against the quote that the customer has."""
    _, blanks, operations, quote = through_stages(request, rates())
    plans = plans_for(job_of(request), blanks, operations, rates())
    document = as_json(quote)
    for price_break, shown in zip(quote.breaks, document["breaks"], strict=True):
        ways = quoted_ways(price_break, plans)
        found = production_quantity(price_break, quote, evaluate(plans, quantity=price_break.quantity, evened=False, ways=ways))
        assert found.operations_difference == 0
        assert found.remarks == ()
        amounts = {one["kind"]: Decimal(one["amount"]) for one in shown["lines"]}
        unit = Decimal(1).scaleb(-plans.currency.minor_units)
        assert sum(map(spent, found.operations), Decimal(0)).quantize(unit, ROUND_HALF_EVEN) == amounts["operations"]
        assert sum(one.cost for one in found.operations) == amounts["operations"]
        assert sum(one.cost for one in found.materials) == amounts["material"]
        assert sum(one.cost for one in found.bought_parts) == amounts.get("bought_parts", 0)
        tools = document["tooling"] if shown["tooling"] is None else shown["tooling"]
        assert found.total_payable == Decimal(shown["total_price"]) + sum(Decimal(tool["charge"]) for tool in tools)
        assert {one.part: one.pieces for one in found.blanks}.items() <= shown["start_quantities"].items()
        last = max(one.finishes for one in found.operations if one.finishes)
        assert last <= found.ship_date
        for need in (*found.materials, *found.bought_parts, *found.tooling):
            assert need.order_by is None or need.order_by >= quote.quoted_on, need
        assert all(one.maker for one in found.materials)


@pytest.mark.parametrize("currency", ["USD", "JPY"])
def test_the_whole_of_a_production_order_is_the_quote_with_its_tools(currency: str) -> None:
    hold_against_the_quote(published_triplet().model_copy(update={"currency": currency}))


@pytest.mark.parametrize(("place", "lens"), list(enumerate(singlets(seed=17, count=DRAWN_WHOLE))), ids=map(str, range(DRAWN_WHOLE)))
def test_the_whole_of_a_drawn_order_is_its_quote_with_its_tools(place: int, lens: Prescription) -> None:
    hold_against_the_quote(request_of(lens, QUANTITIES, currency=CURRENCIES[place % len(CURRENCIES)]))
