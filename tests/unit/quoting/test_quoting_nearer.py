"""What would bring an order nearer: one thing at a time, and the cheapest of these together that is in time."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from functools import cache
from itertools import combinations

import pytest

from services.quoting.costs.suppliers import outside_cost, shipment_charge, shipments_to
from services.quoting.explain.basis import explain
from services.quoting.explain.figure_at import figure_at
from services.quoting.pricing.evaluation import Evaluation, evaluate
from services.quoting.pricing.nearer.cheapest_set import cheapest_in_time, ships_with
from services.quoting.pricing.nearer.moving_work import moved_work, slip_days
from services.quoting.pricing.nearer.single_offers import Offered, single_offers
from services.quoting.pricing.plans import Plans
from services.quoting.pricing.quote import assemble, plans_for
from services.rates.domain.seed import seed_rates
from shared_schemas.figure import Figure
from shared_schemas.load import CentreLoad, LoadSnapshot, OrderLoad
from shared_schemas.rates import Rates
from tests.chain import as_json, job_of, published_triplet, sections_of

MONDAY = date(2026, 11, 2)


def book(hours: float) -> LoadSnapshot:
    """A book of four orders that take so many hours of every work centre each week for ten weeks, the first of them most."""
    centres = sorted(row.name for row in seed_rates().work_centres)
    orders = tuple(
        OrderLoad(
            order=f"Q-{number}", source="quoting", ship_date=date(2027, 1, 15),
            work_centres=tuple(CentreLoad(work_centre=name, booked_h=(hours / (number + 1),) * 10) for name in centres),
        )
        for number in range(4)
    )  # fmt: skip
    return LoadSnapshot(number=1, digest="book", made_at=datetime(2026, 11, 2, tzinfo=UTC), first_week=MONDAY, orders=orders)


@cache
def worked_out(quantity: int, *, booked: bool = False) -> tuple[Evaluation, Plans, tuple[Offered, ...]]:
    request, rates = published_triplet(), seed_rates()
    _, blanks, operations = sections_of(request, rates)
    plans = plans_for(job_of(request), blanks, operations, rates, book(9.0) if booked else None)
    found = evaluate(plans, quantity=quantity)
    return found, plans, single_offers(found, plans)


@pytest.mark.parametrize(("quantity", "booked"), [(5, False), (25, False), (5, True)])
def test_each_offer_is_sooner_and_its_lines_add_up(quantity: int, booked: bool) -> None:
    found, _, offers = worked_out(quantity, booked=booked)
    assert {"priority", "overtime"} <= {one.kind for one in offers}
    for one in offers:
        assert one.ship_date < found.schedule.ship_date
        assert one.days_saved == (found.schedule.ship_date - one.ship_date).days > 0
        assert one.cost == sum((line.amount for line in one.lines), Decimal(0)) >= 0


def test_offers_leave_price_and_date_as_they_are() -> None:
    found, plans, offers = worked_out(25)
    again = evaluate(plans, quantity=25)
    assert offers
    assert again.price == found.price
    assert again.schedule.ship_date == found.schedule.ship_date


def test_several_offers_together_are_never_later_than_one_of_them() -> None:
    found, plans, offers = worked_out(5)
    for pair in combinations(offers, 2):
        assert ships_with(pair, found, plans) <= min(one.ship_date for one in pair)


def test_the_cheapest_set_is_in_time_costs_what_its_offers_do_and_no_cheaper_one_is_in_time() -> None:
    found, plans, offers = worked_out(25)
    alone = min(one.ship_date for one in offers if one.kind != "priority")
    day = alone - timedelta(days=3)
    cheapest = cheapest_in_time(offers, found, plans, needed_by=day)
    assert cheapest is not None
    chosen = [offers[place] for place in cheapest.places]
    assert cheapest.cost == sum(one.cost for one in chosen)
    assert ships_with(chosen, found, plans) == cheapest.ship_date <= day
    for number in range(1, len(offers) + 1):
        for others in combinations(offers, number):
            if sum(one.cost for one in others) < cheapest.cost:
                assert ships_with(others, found, plans) > day


def test_no_set_is_named_for_a_day_that_none_reaches() -> None:
    found, plans, offers = worked_out(5)
    assert cheapest_in_time(offers, found, plans, needed_by=MONDAY) is None


def test_orders_that_give_way_are_named_with_the_days_they_slip_and_cost_nothing() -> None:
    found, plans, offers = worked_out(5, booked=True)
    (moving,) = [one for one in offers if one.kind == "moving_work"]
    assert moving.cost == 0
    moves = moving.as_offer().moves
    assert [one.order for one in moves] == [f"Q-{number}" for number in range(len(moves))]
    assert 1 <= len(moves) <= 3
    for one in moves:
        assert one.days >= 1
        assert one.ship_date == date(2027, 1, 15) + timedelta(days=one.days)
    assert plans.load == book(9.0), "the book is as it was"
    assert [len(one.displaced) for one in moved_work(found, plans)] == [1, 3]


def test_without_a_book_nobody_gives_way() -> None:
    found, plans, offers = worked_out(5)
    assert moved_work(found, plans) == ()
    assert "moving_work" not in {one.kind for one in offers}


def test_work_that_is_moved_goes_behind_what_was_moved_before_it() -> None:
    assert slip_days(displaced_h=10.0, moved_before_h=0.0, free_h_per_week=20.0) == 4
    assert slip_days(displaced_h=10.0, moved_before_h=10.0, free_h_per_week=20.0) == 7


def test_both_faces_go_to_a_coating_house_in_one_lot_and_are_charged_each() -> None:
    found, plans, _ = worked_out(5)
    row = next(row for row in plans.rates.outside_work if row.operation == "coat")
    (lot,) = shipments_to(row, found.operations["L1"])
    assert len(lot.places) == 2
    assert lot.charge == row.lot_charge + 2 * lot.pieces * row.piece_charge
    assert shipment_charge(lot_charge=Decimal(10), pieces=3, faces=2, piece_charge=Decimal(4)) == 34
    careless = row.model_copy(update={"yield_share": 0.5})
    assert list(shipments_to(careless, found.operations["L1"])) == [], "it would lose more than is started for"


def test_outside_work_is_never_a_discount() -> None:
    assert outside_cost(charges=Decimal(50), saved=Decimal(20)) == 30
    assert outside_cost(charges=Decimal(20), saved=Decimal(50)) == 0


def test_a_dearer_supplier_makes_a_dearer_offer() -> None:
    found, plans, offers = worked_out(5)
    (outside,) = [one for one in offers if one.kind == "outside"]
    rows = tuple(row.model_copy(update={"lot_charge": row.lot_charge + 100}) for row in plans.rates.outside_work)
    dearer: Rates = plans.rates.model_copy(update={"outside_work": rows})
    request = published_triplet()
    _, blanks, operations = sections_of(request, dearer)
    other = plans_for(job_of(request), blanks, operations, dearer)
    (then,) = [one for one in single_offers(evaluate(other, quantity=5), other) if one.kind == "outside"]
    assert then.cost > outside.cost
    assert then.ship_date == outside.ship_date
    assert found.quantity == 5


def test_every_figure_of_offers_by_a_book_and_of_the_set_that_is_in_time_is_explained() -> None:
    asked = published_triplet().model_copy(update={"quantities": (5,), "needed_by": date(2026, 12, 28)})
    job, rates, load = job_of(asked), seed_rates(), book(9.0)
    report, blanks, operations = sections_of(asked, rates)
    quote = assemble(job=job, check=report, blanks=blanks, operations=operations, rates=rates, rate_digest="d", load=load)
    explained = explain(job=job, blanks=blanks, operations=operations, rates=rates, load=load).breaks
    document = as_json(quote)
    (offered,) = quote.breaks
    assert offered.soonest_set is not None
    moving = next(place for place, one in enumerate(offered.sooner) if one.moves)

    def figure(pointer: str) -> Figure:
        return figure_at(pointer=pointer, document=document, explained=lambda: explained)

    assert figure(f"/breaks/0/sooner/{moving}/moves/0/days").formula == "ceil(7 * (displaced_h + moved_before_h) / free_h_per_week)"
    for place in range(len(offered.sooner)):
        assert figure(f"/breaks/0/sooner/{place}/days_saved").formula == "days_as_quoted - days_then"
        assert figure(f"/breaks/0/sooner/{place}/ship_date").source
    assert figure("/breaks/0/soonest_set/cost").formula == "sum(amounts)"
    assert figure("/breaks/0/soonest_set/offers/0").reason
    assert figure("/breaks/0/soonest_set/ship_date").source
