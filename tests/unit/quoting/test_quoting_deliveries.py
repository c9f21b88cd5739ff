"""Parts of an order: the first pieces of one lot, and lots of their own."""

from __future__ import annotations

from datetime import date
from itertools import pairwise

import numpy as np
import pytest

from services.quoting.pricing.deliveries import first_pieces, place_in_lot, promised_deliveries
from services.quoting.pricing.evaluation import Evaluation, evaluate
from services.quoting.pricing.quote import plans_for
from services.quoting.promise.flow import Step, through
from services.quoting.promise.waits import Waits
from services.quoting.risk.orders import DATED
from services.shop.calendar import WorkingCalendar
from shared_schemas.lead_times import Delivery
from shared_schemas.rates import Rates
from tests import chain


def evaluated(prescription: dict[str, object], rates: Rates, quantity: int) -> Evaluation:
    asked = chain.request_of(prescription, (quantity,))
    _, blanks, operations = chain.sections_of(asked, rates)
    return evaluate(plans_for(chain.job_of(asked), blanks, operations, rates), quantity=quantity)


@pytest.fixture(scope="module")
def evaluation(rates: Rates) -> Evaluation:
    return evaluated(chain.singlet(), rates, 25)


@pytest.fixture(scope="module")
def assembled(rates: Rates) -> Evaluation:
    """An order of a lens whose route has operations that go on side by side."""
    asked = chain.published_triplet()
    _, blanks, operations = chain.sections_of(asked, rates)
    return evaluate(plans_for(chain.job_of(asked), blanks, operations, rates), quantity=25)


def test_more_pieces_of_one_lot_are_never_ready_before_fewer_and_all_when_the_order_is(
    evaluation: Evaluation, assembled: Evaluation
) -> None:
    for order in (evaluation, assembled):
        network = order.schedule.network
        done = [first_pieces(order, pieces) for pieces in range(1, 26)]
        for fewer, more in pairwise(done):
            assert (more >= fewer - 1e-9).all()
        assert np.array_equal(done[-1], network.done)
        assert done[0].mean() < network.lens.passage.done.mean()
        assert (done[0] > network.lens.passage.arrival).all()


def test_no_piece_of_one_lot_is_packed_sooner_than_those_after_it_can_be_packed_by_the_end(assembled: Evaluation) -> None:
    network = assembled.schedule.network
    started, last = assembled.starts["lens"].started, network.lens.steps[-1]
    pack_h = last.batch_h * assembled.schedule.shop.factors[last.work_centre.name]
    for pieces in (1, 8, 24):
        after = started - place_in_lot(pieces=pieces, started=started, ordered=25)
        assert (first_pieces(assembled, pieces) + after * pack_h <= network.lens.passage.done + 1e-9).all()


def two_steps(rates: Rates, *steps: tuple[float, float, int, int]) -> tuple[Step, ...]:
    bench = rates.work_centres[0]
    return tuple(
        Step(
            bench, f"step {place}", f"step {place}", setup_h, batch_h, batches, size, setup_h + batches * batch_h, "assemble", None
        )
        for place, (setup_h, batch_h, batches, size) in enumerate(steps)
    )


@pytest.mark.parametrize(
    ("steps", "pieces", "hours"),
    [
        # One by one, 1 h and then 0.5 h each: the third is out of the first after 3 h, and packed half an hour later.
        (((0.0, 1.0, 10, 1), (0.0, 0.5, 10, 1)), 3, 3.5),
        # The second is the slower: it begins after 0.5 h and takes 3 h for three.
        (((0.0, 0.5, 10, 1), (0.0, 1.0, 10, 1)), 3, 3.5),
        # In trays of four, set up in 1 h: six pieces are two trays.
        (((0.0, 0.1, 12, 1), (1.0, 2.0, 3, 4)), 6, 0.4 + 1 + 4),
        # All in one oven: the first is out with the last.
        (((0.0, 0.1, 10, 1), (0.0, 2.0, 1, 10)), 1, 1 + 2),
        (((0.0, 1.0, 10, 1), (0.0, 0.5, 10, 1)), 10, 10.5),
    ],
)
def test_the_first_pieces_of_a_lot_by_hand(
    rates: Rates, steps: tuple[tuple[float, float, int, int], ...], pieces: int, hours: float
) -> None:
    idle = rates.model_copy(update={"shop_load": ()})
    waits = Waits(idle, WorkingCalendar(rates.calendar), chain.QUOTED_ON, None)
    factors = {rates.work_centres[0].name: np.ones(DATED)}
    passage = through(two_steps(rates, *steps), np.zeros(DATED), waits=waits, factors=factors, behind={})
    assert passage.first(pieces) == pytest.approx(np.full(DATED, hours))


def test_deliveries_come_in_their_order_and_the_last_of_one_lot_is_the_order(evaluation: Evaluation) -> None:
    asked = [Delivery(quantity=5, by=date(2030, 1, 1)), Delivery(quantity=8, by=date(2026, 11, 3)), Delivery(quantity=12)]
    first, second, third = promised_deliveries(evaluation, asked)
    assert first.of_one_lot.p90 <= second.of_one_lot.p90 <= third.of_one_lot.p90 == evaluation.schedule.ship_date
    assert first.as_own_lot.p90 <= second.as_own_lot.p90 <= third.as_own_lot.p90
    assert [one.in_time for one in (first, second, third)] == ["of_one_lot", "no", None]
    assert all(one.p50 <= one.p80 <= one.p90 for each in (first, second, third) for one in (each.of_one_lot, each.as_own_lot))


def test_a_small_lot_of_its_own_costs_more_and_is_as_an_order_of_that_quantity(evaluation: Evaluation) -> None:
    first, _ = promised_deliveries(evaluation, [Delivery(quantity=5), Delivery(quantity=20)])
    alone = evaluate(evaluation.plans, quantity=5)
    assert first.price_effect == alone.price.total - 5 * evaluation.price.unit > 0
    assert first.as_own_lot == alone.schedule.promised


def test_what_the_deliveries_add_is_what_all_lots_cost_singly_less_the_price_of_the_one(evaluation: Evaluation) -> None:
    parts = (5, 5, 15)
    promised = promised_deliveries(evaluation, [Delivery(quantity=quantity) for quantity in parts])
    singly = sum(evaluate(evaluation.plans, quantity=quantity).price.total for quantity in parts)
    assert sum(one.price_effect for one in promised) == singly - evaluation.price.total


def test_lots_of_their_own_are_never_sooner_than_each_alone_and_a_delivery_of_all_adds_nothing(evaluation: Evaluation) -> None:
    _, second = promised_deliveries(evaluation, [Delivery(quantity=5), Delivery(quantity=20)])
    alone = evaluate(evaluation.plans, quantity=20).schedule.promised
    assert second.as_own_lot.p90 >= alone.p90
    (whole,) = promised_deliveries(evaluation, [Delivery(quantity=25)])
    assert whole.price_effect == 0
    assert whole.of_one_lot == whole.as_own_lot == evaluation.schedule.promised
