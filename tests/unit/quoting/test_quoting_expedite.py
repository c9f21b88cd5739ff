"""Sooner for money: what an expedite costs and saves, and whether an order is in time, with what."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from services.quoting.pricing.evaluation import Plans, evaluate
from services.quoting.pricing.in_time import Deadline
from services.quoting.pricing.quote import plans_for
from services.quoting.pricing.relaxations import quoted_relaxations
from services.quoting.pricing.sooner import expedited
from shared_schemas.operations import OperationPlan, Relaxation, Tooling
from shared_schemas.quote import QuoteBody
from shared_schemas.rates import PriceStep, Rates, StockFormRow
from tests.unit.quoting.conftest import SAID, TERMS, material, sections, with_tables
from tests.unit.quoting.test_quoting_assemble import job, quoted

MADE_HERE: OperationPlan = sections()["operations"].model_copy(update={"bought_parts": (), "tooling": ()})
"""Operations that wait for nothing from outside."""


@pytest.fixture
def body(shop_rates: Rates) -> QuoteBody:
    return quoted(shop_rates, operations=MADE_HERE)


def slab(**changes: Any) -> StockFormRow:
    values: dict[str, Any] = {
        "name": "slab", "glass": "N-BK7", "form": "slab", "prices": (PriceStep(from_kg=0.0, price_per_kg=Decimal(40)),), "lead_days": 40.0,
    }  # fmt: skip
    return StockFormRow(**SAID, **{**values, **changes})


def slow_glass(rates: Rates, plans_of: Callable[..., Plans], **changes: Any) -> Plans:
    """Plans whose glass takes forty days, from a row with those columns."""
    shop = with_tables(rates, stock_forms=(slab(**changes),))
    whole = material((1000, "100"))
    late = whole.model_copy(update={"steps": (whole.steps[0].model_copy(update={"lead_days": 40.0}),)})
    return plans_of(rates=shop, materials=(late,))


def test_an_expedite_costs_something_saves_days_and_its_lines_add_up(body: QuoteBody) -> None:
    for one in body.breaks:
        assert one.expedite is not None
        assert one.expedite.cost == sum(line.amount for line in one.expedite.lines) > 0
        assert one.expedite.days_saved == (one.lead_time.ship_date - one.expedite.ship_date).days > 0
        assert one.expedite.ship_date < one.lead_time.ship_date
        assert [line.kind for line in one.expedite.lines][:2] == ["priority", "overtime"]


def test_the_lines_of_an_expedite_are_those_of_its_terms(plans_of: Callable[..., Plans]) -> None:
    plans = plans_of(bought_parts=())
    found = evaluate(plans, quantity=25)
    sooner = expedited(found, plans)
    assert sooner is not None
    assert sooner.surcharges.priority == found.costs.operations * Decimal("0.1")
    labour = sum(cost.attended_min / 60 * 30 for costs in found.operations.values() for cost in costs)
    assert float(sooner.surcharges.overtime) == pytest.approx(labour * 0.2 * 0.5), "a fifth of the hours are overtime"
    cost = sooner.surcharges.total
    assert float(sum(line.amount for line in sooner.lines)) == pytest.approx(float(cost) * 1.2 * 1.05 / 0.75, abs=0.03)


def test_without_terms_nothing_is_expedited(plans_of: Callable[..., Plans]) -> None:
    none = dict.fromkeys(("expedite_queue_share", "expedite_priority_share", "overtime_hours_share", "overtime_surcharge"))
    plans = plans_of(terms=TERMS.model_copy(update=none))
    assert expedited(evaluate(plans, quantity=25), plans) is None


def test_an_order_that_waits_for_a_bought_part_saves_only_what_comes_after_it(plans_of: Callable[..., Plans]) -> None:
    plans = plans_of()
    one = evaluate(plans, quantity=1)
    small, large = expedited(one, plans), expedited(evaluate(plans, quantity=60), plans)
    assert small is not None
    assert large is not None
    assert small.schedule.lead_time.p50_days == one.lead_time.p50_days, "a barrel takes three weeks whatever one pays"
    assert small.days_saved == one.lead_time.p90_days - small.schedule.lead_time.p90_days, "only the waits after it are spared"
    assert large.schedule.lead_time.p50_days >= 21


def test_glass_that_begins_the_path_comes_by_the_faster_delivery(small_rates: Rates, plans_of: Callable[..., Plans]) -> None:
    plans = slow_glass(small_rates, plans_of, express_lead_days=23.0, express_surcharge=0.5)
    sooner = expedited(evaluate(plans, quantity=5), plans)
    assert sooner is not None
    assert [one.glass for one in sooner.glass] == ["N-BK7"]
    assert sooner.surcharges.faster_glass == 50
    slow = slow_glass(small_rates, plans_of)
    without = expedited(evaluate(slow, quantity=5), slow)
    assert without is not None
    assert without.schedule.lead_time.p50_days - sooner.schedule.lead_time.p50_days >= 14
    assert without.surcharges.faster_glass == 0


def test_glass_that_delays_nothing_is_not_bought_dearer(small_rates: Rates, plans_of: Callable[..., Plans]) -> None:
    shop = with_tables(small_rates, stock_forms=(slab(express_lead_days=1.0, express_surcharge=0.5),))
    plans = plans_of(rates=shop)
    sooner = expedited(evaluate(plans, quantity=60), plans)
    assert sooner is not None
    assert sooner.glass == (), "the barrel is later"


def test_whether_it_is_in_time_is_said_when_it_was_asked(shop_rates: Rates, body: QuoteBody) -> None:
    assert all(one.in_time is None and one.in_time_with == () for one in body.breaks)
    latest = max(one.lead_time.ship_date for one in body.breaks)
    answers = quoted(shop_rates, operations=MADE_HERE, job=job(needed_by=latest)).breaks
    assert [(one.in_time, one.in_time_with) for one in answers] == [("yes", ())] * 3
    soon = quoted(shop_rates, operations=MADE_HERE, job=job(needed_by=date(2026, 11, 3))).breaks
    for one in soon:
        earliest = one.expedite.ship_date if one.expedite else one.lead_time.ship_date
        assert one.in_time == "no"
        assert one.in_time_with[0].startswith(f"the earliest day is {earliest}")
        assert one.in_time_with[1] == "not even one piece ships in time without an expedite"


def test_an_expedite_that_brings_it_in_is_named_with_its_price(shop_rates: Rates, body: QuoteBody) -> None:
    offer = body.breaks[0].expedite
    assert offer is not None
    answer = quoted(shop_rates, operations=MADE_HERE, job=job(needed_by=offer.ship_date)).breaks[0]
    assert answer.in_time == "with_expedite"
    assert str(offer.cost) in answer.in_time_with[0]
    assert str(offer.ship_date) in answer.in_time_with[0]
    late = quoted(shop_rates, operations=MADE_HERE, job=job(needed_by=offer.ship_date - timedelta(days=1))).breaks[0]
    assert late.in_time in {"no", "with_changes"}


def test_a_part_of_the_order_that_ships_in_time_is_named_with_its_price(shop_rates: Rates, body: QuoteBody) -> None:
    five = next(one for one in body.breaks if one.quantity == 5)
    hundred = next(
        one
        for one in quoted(shop_rates, operations=MADE_HERE, job=job(needed_by=five.lead_time.ship_date)).breaks
        if one.quantity == 100
    )
    (part,) = (said for said in hundred.in_time_with if "of the 100 first" in said)
    number = int(part.split()[0])
    assert 5 <= number < 100
    most = quoted(shop_rates, operations=MADE_HERE, job=job(quantities=[number, number + 1])).breaks
    assert most[0].lead_time.ship_date <= five.lead_time.ship_date < most[1].lead_time.ship_date
    assert f"{most[0].unit_price} USD" in part


def test_a_looser_tolerance_whose_tool_comes_too_late_brings_nothing_in(shop_rates: Rates) -> None:
    late = Tooling(name="block 50 mm", part="L1", reason="none near", charge=Decimal(0), lead_days=300.0)
    plans = plans_for(job(), sections()["blanks"], MADE_HERE, shop_rates)
    found = evaluate(plans, quantity=200)
    needing = tuple(one.model_copy(update={"needed": (late,)}) for one in MADE_HERE.relaxations)
    quoted_as = quoted_relaxations(plans, MADE_HERE.relaxations, against=found)
    assert any(one.days_saved > 0 for one in quoted_as)
    day = found.lead_time.ship_date - timedelta(days=1)

    def ways(relaxations: tuple[Relaxation, ...]) -> tuple[str, ...]:
        asked = Deadline(needed_by=day, plans=plans, relaxations=relaxations, offers=(), quoted=quoted_as, most=200)
        return tuple(said for said in asked.answer(found, None).with_ if "first" not in said)

    assert ways(MADE_HERE.relaxations)
    assert not ways(needing)


def test_a_looser_tolerance_that_brings_it_in_is_named(shop_rates: Rates) -> None:
    (one,) = quoted(shop_rates, operations=MADE_HERE, job=job(quantities=[200])).breaks
    looser = quoted(shop_rates, operations=MADE_HERE, job=job(quantities=[200])).relaxations
    saves = next(r for r in looser if r.tolerance == "irregularity")
    assert saves.days_saved > 0
    day = one.lead_time.ship_date - timedelta(days=1)
    answer = quoted(shop_rates, operations=MADE_HERE, job=job(quantities=[200], needed_by=day)).breaks[0]
    assert any("irregularity 0.5 fringes at /elements/0/front/form" in said for said in answer.in_time_with)
