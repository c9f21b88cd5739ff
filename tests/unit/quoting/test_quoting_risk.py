"""What could go wrong, in money: seeded draws whose means are the closed form's, and what drives them."""

from __future__ import annotations

import math
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from services.quoting.pricing.evaluation import Plans, evaluate
from services.quoting.pricing.quote import assemble, plans_for
from services.quoting.risk.draws import draws, drivers, risk_of
from services.quoting.risk.orders import DATED, DRAWS, Orders, dated_order, skewed
from shared_schemas.base import canonical_json
from shared_schemas.operations import Tooling
from shared_schemas.quote import QuoteBody
from shared_schemas.rates import Rates
from tests.unit.quoting.conftest import TERMS, operation, sections, with_tables
from tests.unit.quoting.test_quoting_assemble import quoted


@pytest.fixture
def body(shop_rates: Rates) -> QuoteBody:
    return quoted(shop_rates)


def test_there_are_ten_thousand_draws_and_the_minutes_are_skewed_to_the_right() -> None:
    factors = skewed(0.25)
    assert len(factors) == DRAWS >= 10_000
    assert factors.mean() == pytest.approx(1.0)
    assert factors.std() == pytest.approx(0.25, rel=0.01)
    assert ((factors - 1) ** 3).mean() > 0
    assert np.median(factors) < 1


@pytest.mark.parametrize("quantity", [1, 5, 25, 100])
def test_the_mean_and_spread_of_the_draws_are_those_of_the_closed_form(plans_of: Callable[..., Plans], quantity: int) -> None:
    plans = plans_of()
    found = evaluate(plans, quantity=quantity).chances
    costs = draws(found, Orders(7))
    assert abs(costs.mean() - found.mean) < 3 * costs.std() / math.sqrt(DRAWS)
    assert costs.std() == pytest.approx(math.sqrt(found.variance), rel=0.05)


def test_pieces_alone_spread_as_their_variance_says(plans_of: Callable[..., Plans]) -> None:
    plans = plans_of(confidence=0.999)
    found = evaluate(plans, quantity=50).chances
    start = evaluate(plans, quantity=50).starts["L1"]
    outcome = found.parts["L1"]
    share = plans.made({}).losses["L1"].mean_yield
    mean = outcome.chance @ outcome.good
    assert mean == pytest.approx(start.started * share, rel=1e-5)
    assert outcome.chance @ (outcome.good - mean) ** 2 == pytest.approx(start.started * share * (1 - share), rel=1e-3)


def test_the_orders_are_permutations_each_its_own_and_the_same_again() -> None:
    first, second = Orders(5), Orders(5)
    names = [f"thing {number}" for number in range(260)]
    orders = [first.of(name) for name in names]
    assert all(np.array_equal(order, second.of(name)) for name, order in zip(names, orders, strict=True))
    assert np.array_equal(np.sort(orders[250]), np.arange(DRAWS))
    assert len({order[:50].tobytes() for order in orders}) == len(names)
    ranks = np.array(orders[:40], dtype=float)
    apart = np.corrcoef(ranks) - np.eye(40)
    assert np.abs(apart).max() < 5 / math.sqrt(DRAWS), "no two go together"


def test_the_points_of_the_cost_rise_and_a_price_that_nobody_reaches_loses_nothing(plans_of: Callable[..., Plans]) -> None:
    plans = plans_of()
    found = evaluate(plans, quantity=25).chances
    risk = risk_of(found, Orders(1), price=found.mean * 100)
    assert found.planned * 0.5 < risk.p50 < risk.p80 < risk.p95
    assert risk.loss_chance == 0
    assert risk_of(found, Orders(1), price=0.0).loss_chance == 1
    assert risk_of(found, Orders(1), price=risk.p80).loss_chance == pytest.approx(0.2, abs=0.001)


def test_the_quote_shows_the_risk_of_every_quantity(body: QuoteBody) -> None:
    for one in body.breaks:
        cost = one.unit_cost
        assert cost.p50 is not None
        assert cost.p80 is not None
        assert cost.p95 is not None
        assert cost.p50 < cost.p80 < cost.p95
        assert one.loss_chance is not None
        assert 0 <= one.loss_chance <= 1
        assert one.enough_chance is not None
        assert 0.6 < one.enough_chance <= 1
        assert one.spares_value is not None
        assert one.spares_value >= 0
        assert one.spares.keys() == one.start_quantities.keys()
        assert all(number >= 0 for number in one.spares.values())


def test_tools_spread_over_the_price_do_not_pay_for_work(shop_rates: Rates) -> None:
    tool = Tooling(name="radius tool", part="L1", reason="none near", charge=Decimal(100_000), lead_days=0.0)
    tooled = sections()["operations"].model_copy(update={"tooling": (tool,)})
    bare = TERMS.model_copy(update={"margin_share": 0.0, "contingency_share": 0.0, "tooling": "spread"})
    rates = with_tables(shop_rates, commercial=(bare,))
    without, spread = (
        assemble(**sections(operations=operations), rates=rates, rate_digest="d").breaks[0]
        for operations in (tooled.model_copy(update={"tooling": ()}), tooled)
    )
    assert without.loss_chance is not None
    assert without.loss_chance > 0.2
    assert spread.loss_chance == pytest.approx(without.loss_chance, abs=0.02)


def test_three_operations_drive_the_risk_the_largest_first_and_all_shares_make_one(plans_of: Callable[..., Plans]) -> None:
    plans = plans_of()
    found = evaluate(plans, quantity=25).chances
    shown = drivers(found)
    assert [one.share for one in shown] == sorted((one.share for one in shown), reverse=True)
    assert {one.operation for one in shown} == {"polish", "assemble", "glass price"}, "there are no others"
    assert sum(one.share for one in shown) == pytest.approx(1, abs=2e-4)
    assert next(one.part for one in shown if one.operation == "glass price") == "N-BK7"
    glass = float(found.materials[0].amount) ** 2 * plans.terms.glass_price_variation**2
    assert next(one.share for one in shown if one.operation == "glass price") == pytest.approx(glass / found.variance, abs=1e-4)


def test_a_run_that_is_often_lost_drives_the_risk(shop_rates: Rates) -> None:
    given: Any = sections()["operations"]
    risky = operation(operation="coat", batch_size=400, batch_loss=0.1)
    route = given.routes[0].model_copy(update={"operations": (operation(), risky)})
    body = quoted(shop_rates, operations=given.model_copy(update={"routes": (route, *given.routes[1:])}))
    drivers_of = [{(one.operation, one.part): one.share for one in found.risk_drivers} for found in body.breaks]
    assert all(shares["coat", "L1"] > 0.05 for shares in drivers_of)
    assert all(one.enough_chance is not None and one.enough_chance < 0.9 for one in body.breaks)


def test_each_thousand_of_the_draws_takes_every_tenth_value() -> None:
    order = Orders().of("minutes of a bench")
    for first in range(0, DRAWS, DATED):
        assert sorted(order[first : first + DATED] // 10) == list(range(DATED))


def test_the_draws_of_two_waits_hang_on_their_names_and_not_on_each_other() -> None:
    names = [f"L{part}, polish front {time}" for part in range(1, 30) for time in (1, 2)]
    orders = np.array([dated_order(name) for name in names])
    assert all(sorted(order) == list(range(DATED)) for order in orders.tolist())
    between = np.corrcoef(orders) - np.eye(len(names))
    assert np.abs(between).max() < 0.15
    assert np.array_equal(orders[0], dated_order(names[0]))


def test_the_same_inputs_give_the_same_bytes(shop_rates: Rates) -> None:
    assert canonical_json(quoted(shop_rates)) == canonical_json(quoted(shop_rates))
    lens = uncertain_of_first(shop_rates)
    assert not np.array_equal(draws(lens, Orders(1)), draws(lens, Orders(2)))


def uncertain_of_first(rates: Rates) -> Any:
    given = sections()
    plans = plans_for(given["job"], given["blanks"], given["operations"], rates)
    return evaluate(plans, quantity=25).chances


def test_no_risk_is_priced_twice(body: QuoteBody, shop_rates: Rates) -> None:
    terms = shop_rates.terms("standard")
    for one in body.breaks:
        lines = {line.kind: line.amount for line in one.lines}
        cost = lines["material"] + lines["operations"] + lines["bought_parts"] + lines["losses"] + lines["overhead"]
        assert lines["contingency"] == pytest.approx(cost * Decimal(str(terms.contingency_share)), abs=Decimal("0.02"))
