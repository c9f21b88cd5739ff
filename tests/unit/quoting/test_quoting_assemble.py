"""The assembled quote: lines add up, plans belong together, the same sections give the same bytes."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from services.quoting.costs.money import rounded
from services.quoting.errors import PlansDisagree
from services.quoting.pricing.quote import assemble
from services.shop.errors import NoWorkingDays
from shared_schemas.base import canonical_json
from shared_schemas.blanks import BlankPlan
from shared_schemas.operations import Consumed, Operation, OperationPlan, Route
from shared_schemas.problem import FigureOutOfRange
from shared_schemas.quote import QuoteBody, middle_quantity
from shared_schemas.rates import CalendarRow, RateMissing, Rates
from shared_schemas.traveller import Job
from tests.unit.quoting.conftest import SAID, TERMS, blank, material, operation, request, sections, with_tables


def quoted(rates: Rates, **changes: Any) -> QuoteBody:
    return assemble(**sections(**changes), rates=rates, rate_digest="d" * 64)


def job(**changes: Any) -> Job:
    return Job(number="Q-1", attempt=1, request=request(**changes), rate_revision=3, quoted_on=date(2026, 11, 2))


def test_every_quantity_is_answered_in_the_order_it_was_asked_for(shop_rates: Rates) -> None:
    body = quoted(shop_rates)
    assert [one.quantity for one in body.breaks] == [25, 5, 100]
    assert body.valid_until == date(2026, 12, 2)
    assert body.rate_revision == 3
    assert {one.quantity for one in body.relaxations} == {25}, "the middle quantity, not the middle of the list"


def test_the_same_sections_give_the_same_bytes_and_another_quantity_other_bytes(shop_rates: Rates) -> None:
    assert canonical_json(quoted(shop_rates)) == canonical_json(quoted(shop_rates))
    assert canonical_json(quoted(shop_rates)) != canonical_json(quoted(shop_rates, job=job(quantities=[26, 5, 100])))


def test_a_quote_survives_the_way_through_json(shop_rates: Rates) -> None:
    body = quoted(shop_rates)
    assert QuoteBody.model_validate_json(canonical_json(body)) == body


def test_the_findings_of_the_later_stages_are_passed_on(shop_rates: Rates) -> None:
    assert [one.code for one in quoted(shop_rates).findings] == ["care", "care"]


def test_every_amount_is_in_the_currency_of_the_quote(shop_rates: Rates) -> None:
    usd, yen = quoted(shop_rates), quoted(shop_rates, job=job(currency="JPY"))
    assert yen.currency == "JPY"
    assert yen.tooling[0].charge == 800 * Decimal("151.4")
    assert yen.bought_parts[0].unit_price == 20 * Decimal("151.4")
    assert yen.assembly[0].operations[0].consumables == round(Decimal("0.35") * Decimal("151.4"))
    asked, then = usd.elements[0].operations[0], yen.elements[0].operations[0]
    assert then.consumables == round(asked.consumables * Decimal("151.4"))
    converted = next(figure for figure in then.basis if figure.name == "consumables")
    assert (converted.value, converted.unit) == (then.consumables, "JPY")
    assert next((one.name, one.value) for one in converted.inputs) == ("amount", asked.consumables)
    assert all(line.amount == line.amount.to_integral_value() for one in yen.breaks for line in one.lines)


def test_a_currency_without_a_rate_is_named(shop_rates: Rates) -> None:
    with pytest.raises(RateMissing, match="SEK"):
        quoted(shop_rates, job=job(currency="SEK"))


def test_a_class_of_customer_without_terms_is_named(shop_rates: Rates) -> None:
    with pytest.raises(RateMissing, match="royalty"):
        quoted(shop_rates, job=job(customer_class="royalty"))


def test_a_calendar_without_working_days_is_named(shop_rates: Rates) -> None:
    idle = with_tables(shop_rates, calendar=(CalendarRow(name="monday", weekday=0, hours=0.0, **SAID),))
    with pytest.raises(NoWorkingDays):
        quoted(idle)


def test_a_margin_of_all_the_price_is_named(shop_rates: Rates) -> None:
    greedy = with_tables(shop_rates, commercial=(TERMS.model_copy(update={"margin_share": 1.0}),))
    with pytest.raises(FigureOutOfRange, match="margin"):
        quoted(greedy)


def test_plans_in_another_currency_than_the_rates_do_not_belong_together(shop_rates: Rates) -> None:
    plan: BlankPlan = sections()["blanks"]
    with pytest.raises(PlansDisagree, match="EUR"):
        quoted(shop_rates, blanks=plan.model_copy(update={"currency": "EUR"}))


def test_an_element_without_a_blank_or_without_glass_is_named(shop_rates: Rates) -> None:
    plan: BlankPlan = sections()["blanks"]
    for missing in ({"blanks": plan.blanks[:1]}, {"materials": (material((60, "140"), members=("L1",)),)}):
        with pytest.raises(PlansDisagree, match="L1, where L1, L2 would do"):
            quoted(shop_rates, blanks=plan.model_copy(update=missing))


def test_a_part_that_is_consumed_before_it_is_made_is_named(shop_rates: Rates) -> None:
    plan: OperationPlan = sections()["operations"]
    with pytest.raises(PlansDisagree, match="lens consumes"):
        quoted(shop_rates, operations=plan.model_copy(update={"routes": (plan.routes[2], *plan.routes[:2])}))


OPERATIONS = st.builds(
    lambda name, size, minutes, setup, attended, share, loss, spent: operation(
        operation=name, batch_size=size, batch_min=minutes, setup_min=setup, attended_share=attended, batch_loss=loss,
        consumables=spent, **{"yield": share},
    ),
    st.sampled_from(["polish", "coat", "centre", "inspect"]), st.integers(1, 60), st.floats(0, 300), st.floats(0, 90), st.floats(0, 1),
    st.floats(0.5, 1), st.floats(0, 0.1), st.decimals(0, 50, places=3),
)  # fmt: skip
ROUTES = st.lists(OPERATIONS, min_size=1, max_size=4)


@st.composite
def random_sections(draw: st.DrawFn) -> dict[str, Any]:
    """One to three elements, cemented into a group or not, in one lens."""
    names = [f"L{i + 1}" for i in range(draw(st.integers(1, 3)))]
    operations: list[list[Operation]] = [draw(ROUTES) for _ in names]
    routes = [Route(part=name, kind="element", operations=tuple(own)) for name, own in zip(names, operations, strict=True)]
    parts = tuple(Consumed(part=name) for name in names)
    if len(names) > 1 and draw(st.booleans()):
        routes.append(Route(part="G1", kind="cemented_group", consumes=parts, operations=tuple(draw(ROUTES))))
        parts = (Consumed(part="G1"),)
    routes.append(Route(part="lens", kind="lens", consumes=parts, operations=tuple(draw(ROUTES))))
    plan: OperationPlan = sections()["operations"]
    glass = material((draw(st.integers(1, 200)), str(draw(st.decimals(0, 5000, places=2)))), members=tuple(names))
    quantities = draw(st.lists(st.integers(1, 2000), min_size=1, max_size=4, unique=True))
    asked = {
        "quantities": quantities,
        "currency": draw(st.sampled_from(["USD", "JPY", "KWD"])),
        "confidence": draw(st.floats(0.05, 0.999)),
    }
    return {
        "job": job(**asked),
        "blanks": BlankPlan(currency="USD", blanks=tuple(map(blank, names)), materials=(glass,)),
        "operations": plan.model_copy(update={"routes": tuple(routes), "relaxations": ()}),
    }


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(found=random_sections())
def test_the_lines_of_random_plans_add_up_and_larger_quantities_cost_more_in_all(shop_rates: Rates, found: dict[str, Any]) -> None:
    body = quoted(shop_rates, **found)
    minor = shop_rates.currency(body.currency).minor_units
    for one in body.breaks:
        assert sum(line.amount for line in one.lines) == one.total_price == one.unit_price * one.quantity
        assert one.total_price == rounded(one.total_price, minor_units=minor)
        assert one.lead_time.p50_days <= one.lead_time.p90_days
        assert one.lead_time.ship_date > body.quoted_on
        assert all(number >= one.quantity for number in one.start_quantities.values())
    in_order = sorted(body.breaks, key=lambda one: one.quantity)
    costs = [one.unit_cost.planned * one.quantity for one in in_order]
    slack = Decimal(1).scaleb(-minor) * in_order[-1].quantity
    assert all(fewer <= more + slack for fewer, more in pairwise(costs))


@pytest.mark.parametrize(("quantities", "middle"), [((7,), 7), ((100, 5), 5), ((100, 5, 25), 25), ((1, 1000, 10, 100), 10)])
def test_of_two_middle_quantities_the_smaller_decides(quantities: tuple[int, ...], middle: int) -> None:
    assert middle_quantity(quantities) == middle
