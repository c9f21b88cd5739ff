"""Money: lines add up, rounding has one rule, and nothing is free."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from services.quoting.costs.cost import material_cost, operation_costs
from services.quoting.costs.money import exact, in_currency, price_step, rounded, rounded_up
from services.quoting.pricing.evaluation import Plans, evaluate
from services.quoting.pricing.price import CostSums, priced
from shared_schemas.operations import Route, Tooling
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.rates import CommercialRow, CurrencyRow, MarginStep, Rates
from tests.unit.quoting.conftest import SAID, TERMS, material, operation

AMOUNTS = st.decimals(min_value=0, max_value=10**7, places=4)


@pytest.mark.parametrize(
    ("amount", "minor_units", "expected"),
    [
        ("2.345", 2, "2.34"),
        ("2.355", 2, "2.36"),
        ("2.5", 0, "2"),
        ("-2.345", 2, "-2.34"),
        ("1.00049", 3, "1.000"),
        ("0", 2, "0.00"),
    ],
)
def test_rounding_has_one_rule(amount: str, minor_units: int, expected: str) -> None:
    assert rounded(Decimal(amount), minor_units=minor_units) == Decimal(expected)


@pytest.mark.parametrize(
    ("amount", "step", "expected"), [("10.01", "0.50", "10.50"), ("10.50", "0.50", "10.50"), ("0.01", "5", "5")]
)
def test_prices_go_up_to_the_step(amount: str, step: str, expected: str) -> None:
    assert rounded_up(Decimal(amount), step=Decimal(step)) == Decimal(expected)


def test_a_step_of_nothing_is_an_error() -> None:
    with pytest.raises(FigureOutOfRange, match="rounding step"):
        rounded_up(Decimal(1), step=Decimal(0))


def test_a_step_is_never_finer_than_the_smallest_coin(small_rates: Rates) -> None:
    assert price_step(rounding=Decimal("0.05"), minor_units=small_rates.currency("JPY").minor_units) == 1
    assert price_step(rounding=Decimal("0.05"), minor_units=small_rates.currency("USD").minor_units) == Decimal("0.05")
    assert price_step(rounding=Decimal("1.5"), minor_units=small_rates.currency("JPY").minor_units) == 2
    assert in_currency(Decimal("10.00"), small_rates.currency("JPY")) == 1514
    assert in_currency(Decimal("10.00"), small_rates.currency("KWD")) == Decimal("3.065")


def test_minutes_become_decimals_without_binary_dust() -> None:
    assert exact(0.1 + 0.2) == Decimal("0.3")


PRICES = {
    "material": AMOUNTS, "operations": AMOUNTS, "bought": AMOUNTS, "tools": AMOUNTS, "quantity": st.integers(1, 100_000),
    "overhead": st.floats(0, 1), "margins": st.lists(st.floats(0, 0.99), max_size=4), "contingency": st.floats(0, 1),
    "minimum": AMOUNTS, "step": st.sampled_from(["0.01", "0.05", "0.5", "1", "25"]), "code": st.sampled_from(["USD", "JPY", "KWD"]),
}  # fmt: skip


def test_the_lines_of_a_thousand_random_prices_add_up_exactly(small_rates: Rates) -> None:
    drawn = 0

    @settings(max_examples=1000, deadline=None)
    @given(**PRICES)
    def adds_up(
        material: Decimal, operations: Decimal, bought: Decimal, tools: Decimal, quantity: int, overhead: float, margins: list[float],
        contingency: float, minimum: Decimal, step: str, code: str,
    ) -> None:  # fmt: skip
        nonlocal drawn
        drawn += 1
        terms = CommercialRow(
            name="t", overhead_share=overhead, margin_share=0.2, contingency_share=contingency, valid_days=30, minimum_order=minimum,
            margin_steps=tuple(MarginStep(from_quantity=10**place, margin_share=share) for place, share in enumerate(margins)),
            rounding=Decimal(step), **SAID,
        )  # fmt: skip
        currency: CurrencyRow = small_rates.currency(code)
        found = priced(CostSums(material, operations, bought, tools), quantity=quantity, terms=terms, currency=currency)
        assert sum(line.amount for line in found.lines) == found.total
        assert found.unit * quantity == found.total
        assert found.total >= in_currency(minimum, currency)
        assert found.lines[-1].kind == "rounding"
        assert (
            0
            <= found.lines[-1].amount
            < price_step(rounding=Decimal(step), minor_units=currency.minor_units) * quantity + currency_unit(currency)
        )
        assert all(line.amount >= 0 for line in found.lines)
        assert found.unit == rounded(found.unit, minor_units=currency.minor_units)

    adds_up()
    assert drawn >= 1000


def currency_unit(currency: CurrencyRow) -> Decimal:
    return Decimal(1).scaleb(-currency.minor_units)


def test_a_margin_of_everything_is_an_error(small_rates: Rates) -> None:
    terms = CommercialRow.model_construct(
        name="greedy", overhead_share=0.0, margin_share=1.0, contingency_share=0.0, minimum_order=Decimal(0), rounding=Decimal(1)
    )
    with pytest.raises(FigureOutOfRange, match="margin is 1"):
        priced(CostSums(Decimal(1), Decimal(1), Decimal(1)), quantity=1, terms=terms, currency=small_rates.currency("USD"))


STEPS = (
    MarginStep(from_quantity=1, margin_share=0.4),
    MarginStep(from_quantity=10, margin_share=0.3),
    MarginStep(from_quantity=100, margin_share=0.2),
)


@pytest.mark.parametrize(("quantity", "share"), [(1, 0.4), (9, 0.4), (10, 0.3), (99, 0.3), (100, 0.2), (100_000, 0.2)])
def test_the_margin_is_that_of_the_class_and_the_quantity(small_rates: Rates, quantity: int, share: float) -> None:
    terms = TERMS.model_copy(update={"margin_steps": STEPS})
    found = priced(
        CostSums(Decimal(1000), Decimal(0), Decimal(0)), quantity=quantity, terms=terms, currency=small_rates.currency("USD")
    )
    whole = found.markups
    assert float(whole.margin / (1000 + whole.overhead + whole.contingency + whole.margin)) == pytest.approx(share)


def test_a_step_with_all_the_price_for_margin_is_an_error(small_rates: Rates) -> None:
    with pytest.raises(ValidationError, match="less than 1"):
        MarginStep(from_quantity=1, margin_share=1.0)
    greedy = TERMS.model_copy(update={"margin_steps": (MarginStep.model_construct(from_quantity=1, margin_share=1.0),)})
    with pytest.raises(FigureOutOfRange, match="margin is 1"):
        priced(CostSums(Decimal(1), Decimal(1), Decimal(1)), quantity=1, terms=greedy, currency=small_rates.currency("USD"))


@pytest.mark.parametrize(
    ("starts", "message"), [((2, 10), "hole below their first step"), ((1, 10, 10), "do not rise"), ((1, 20, 10), "do not rise")]
)
def test_margins_with_a_hole_or_out_of_order_are_an_error(starts: tuple[int, ...], message: str) -> None:
    steps = [{"from_quantity": start, "margin_share": 0.2} for start in starts]
    with pytest.raises(ValidationError, match=message):
        CommercialRow.model_validate({**TERMS.model_dump(), "margin_steps": steps})


def test_half_the_terms_of_an_expedite_are_an_error() -> None:
    with pytest.raises(ValidationError, match="all four of its terms"):
        CommercialRow.model_validate({**TERMS.model_dump(), "overtime_surcharge": None})


def test_tools_are_asked_once_beside_the_price_or_spread_over_the_order(plans_of: Callable[..., Plans]) -> None:
    tool = Tooling(name="test plate", part="L1", reason="none", charge=Decimal(800), lead_days=1.0)
    once = plans_of(tooling=(tool,))
    spread = plans_of(tooling=(tool,), terms=TERMS.model_copy(update={"tooling": "spread"}))
    for quantity in (1, 7, 100):
        apart, within = evaluate(once, quantity=quantity), evaluate(spread, quantity=quantity)
        assert "tooling" not in {line.kind for line in apart.price.lines}
        (line,) = (line for line in within.price.lines if line.kind == "tooling")
        assert line.amount == 800, "no overhead and no margin on a charge"
        assert sum(line.amount for line in within.price.lines) == within.price.total
        assert within.price.unit - apart.price.unit == pytest.approx(Decimal(800) / quantity, abs=Decimal("0.05"))


def test_a_set_up_is_paid_once_and_batches_are_whole(small_rates: Rates) -> None:
    route = Route(
        part="L1", kind="element", operations=(operation(batch_size=4, batch_min=30.0, setup_min=10.0, attended_share=0.5),)
    )
    (four,) = operation_costs(route, started=4, rates=small_rates)
    (five,) = operation_costs(route, started=5, rates=small_rates)
    assert (four.batches, five.batches) == (1, 2)
    assert (four.machine_min, five.machine_min) == (40.0, 70.0)
    assert four.attended_min == 25.0
    assert four.amount == Decimal(40) + Decimal("12.5") + 1


def test_what_is_lost_early_costs_nothing_later(small_rates: Rates) -> None:
    route = Route(part="L1", kind="element", operations=(operation(**{"yield": 0.5}), operation(batch_size=1)))
    first, second = operation_costs(route, started=8, rates=small_rates)
    assert (first.pieces, second.pieces) == (8, 4)


@pytest.mark.parametrize(
    ("blanks", "cost", "lots"), [(1, 100, 1), (10, 100, 1), (11, 180, 1), (20, 180, 1), (21, 280, 2), (40, 360, 2), (45, 460, 3)]
)
def test_glass_is_bought_in_steps_and_in_lots_past_the_last(blanks: int, cost: int, lots: int) -> None:
    found = material_cost(material((10, "100"), (20, "180")), blanks=blanks)
    assert (found.amount, found.lots) == (cost, lots)


def test_a_larger_quantity_never_costs_less_in_all_and_never_more_apiece_here(plans_of: Callable[..., Plans]) -> None:
    found = [evaluate(plans_of(), quantity=quantity) for quantity in (1, 2, 5, 10, 25, 50)]
    totals = [one.costs.total for one in found]
    assert totals == sorted(totals)
    units = [one.price.unit for one in found]
    assert units == sorted(units, reverse=True)


def test_members_of_a_purchase_share_it_for_the_one_that_starts_most(plans_of: Callable[..., Plans]) -> None:
    found = evaluate(plans_of(materials=(material((1000, "77"), members=("L1",)),)), quantity=5)
    assert found.materials[0].blanks == found.starts["L1"].started
    assert found.costs.material == 77


@given(quantity=st.integers(1, 400))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_price_is_never_below_its_cost(plans_of: Callable[..., Plans], quantity: int) -> None:
    found: Any = evaluate(plans_of(), quantity=quantity)
    assert found.price.total >= rounded(found.costs.total, minor_units=2)
