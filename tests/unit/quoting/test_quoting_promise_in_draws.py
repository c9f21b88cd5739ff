"""Dates in single draws: shifts and closed weeks in the waits, what feeds an operation, and lots made again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from services.quoting.explain.basis_of_date import lead_time_figures
from services.quoting.explain.quantity import Quantity
from services.quoting.pricing.evaluation import Plans, evaluate
from services.quoting.promise.flow import Passage, Step, through
from services.quoting.promise.network import LATER, MakingAgain, Network, PartInTime, quantile
from services.quoting.promise.waits import SEEN_ALIKE, CentreWaits, Waits, places_of, turns_of
from services.quoting.risk.orders import DATED, Orders
from services.quoting.risk.outcomes import Outcomes
from services.quoting.risk.shortfalls import Shortfall, element_shortfall, lot_again
from services.shop.calendar import WorkingCalendar
from shared_schemas.load import CentreLoad, LoadSnapshot, OrderLoad
from shared_schemas.operations import Consumed, Route
from shared_schemas.rates import CalendarRow, Rates, ShopLoadRow
from tests.unit.quoting.conftest import SAID, centre, operation, week, with_tables

BEGIN = date(2026, 11, 2)
NEVER = np.zeros(DATED, dtype=bool)


def book(*hours: float, first_week: date = BEGIN) -> LoadSnapshot:
    order = OrderLoad(order="Q-1", source="accepted", work_centres=(CentreLoad(work_centre="bench", booked_h=hours),))
    return LoadSnapshot(number=1, digest="x", made_at=datetime(2026, 11, 2, tzinfo=UTC), first_week=first_week, orders=(order,))


def waits(
    small_rates: Rates, load: LoadSnapshot | None, *, shifts: int = 1, closed: tuple[CalendarRow, ...] = (), usual: float = 0.5
) -> Waits:
    row = ShopLoadRow(name="bench", utilisation=usual, squared_variation=1.0, mean_job_h=4.0, **SAID)
    rates = with_tables(small_rates, work_centres=(centre(shifts=shifts),), shop_load=(row,), calendar=(*week(), *closed))
    return Waits(rates, WorkingCalendar(rates.calendar), BEGIN, load)


def at_bench(small_rates: Rates, load: LoadSnapshot | None, **more: Any) -> CentreWaits:
    found = waits(small_rates, load, **more).at("bench")
    assert found is not None
    return found


def test_a_second_shift_halves_waits_and_doubles_what_a_week_holds(small_rates: Rates) -> None:
    one, two = (at_bench(small_rates, None, shifts=shifts) for shifts in (1, 2))
    assert one.shares[0] == pytest.approx(2 * two.shares[0])
    one, two = (at_bench(small_rates, book(100.0), shifts=shifts) for shifts in (1, 2))
    assert (one.weeks[0].capacity_h, two.weeks[0].capacity_h) == (40.0, 80.0)
    assert one.weeks[1].behind_h == pytest.approx((0.5 + 100 / 40 - 1) * 40)
    assert two.weeks[1].behind_h == pytest.approx((0.5 + 100 / 80 - 1) * 80 / 2)


def test_hours_booked_in_a_week_that_is_closed_stand_before_the_next(small_rates: Rates) -> None:
    shut = CalendarRow(name="shut", holiday=date(2026, 11, 9), until=date(2026, 11, 13), **SAID)
    found = at_bench(small_rates, book(0.0, 38.0), closed=(shut,))
    assert [round(one.begins_h) for one in found.weeks[:3]] == [0, 40, 80]
    assert found.weeks[1].behind_h == pytest.approx(38.0)


@pytest.mark.parametrize(
    ("first_week", "now_h"), [(BEGIN, 10.0), (BEGIN - timedelta(weeks=1), 20.0), (BEGIN + timedelta(weeks=1), 0.0)]
)
def test_a_book_that_begins_in_another_week_is_read_from_this_one_on(first_week: date, now_h: float, small_rates: Rates) -> None:
    assert at_bench(small_rates, book(10.0, 20.0, first_week=first_week)).weeks[0].booked_h == now_h


def test_what_the_weeks_that_are_over_did_not_hold_stands_before_this_one(small_rates: Rates) -> None:
    behind = [
        at_bench(small_rates, book(*hours, first_week=BEGIN - timedelta(weeks=2))).weeks[0].behind_h
        for hours in ((60.0, 40.0), (60.0, 0.0), (0.0, 30.0))
    ]
    assert behind == [pytest.approx(40.0 + 20.0), pytest.approx(20.0), pytest.approx(10.0)]


def test_who_comes_between_two_weeks_waits_between_as_long(small_rates: Rates) -> None:
    found = at_bench(small_rates, book(*[30.0 - 2 * week for week in range(12)]), usual=0.2)
    places = np.arange(200)
    first, between, second = (found.of(np.full(200, hour), places) for hour in (0.0, 10.0, 40.0))
    assert between == pytest.approx(0.75 * first + 0.25 * second)
    assert (first > second).any()


def test_two_visits_mostly_meet_the_work_centre_in_one_state() -> None:
    alike = float(np.mean(places_of("bench", "L1, polish 1") == places_of("bench", "L2, polish 1")))
    assert alike == pytest.approx(SEEN_ALIKE**2, abs=0.04)
    assert alike == pytest.approx(0.81, abs=0.04)


STILL = Waits(
    Rates.model_construct(**dict.fromkeys(Rates.model_fields, ()) | {"calendar": week()}), WorkingCalendar(week()), BEGIN, None
)


@pytest.fixture(autouse=True)
def _nobody_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(STILL, "at", lambda name: None)


def step(name: str, batches: int, batch_h: float, batch_size: int = 1) -> Step:
    return Step(centre(), name, f"L1, {name} 1", 0.0, batch_h, batches, batch_size, batches * batch_h, "polish", None)


def flow(*steps: Step, **more: Any) -> Passage:
    given: dict[str, Any] = {"waits": STILL, "factors": {"bench": np.ones(DATED)}, "behind": {}, **more}
    return through(steps, np.zeros(DATED), **given)


def test_a_batch_is_full_no_sooner_than_the_slowest_operation_before_lets_it_be() -> None:
    slow, fast, together = step("polish", 61, 0.5), step("deblock", 61, 0.01), step("clean", 2, 0.1, 60)
    found = flow(slow, fast, together)
    assert found.ready_h[-1] == pytest.approx(60 * 0.5 + 0.01)
    assert found.finish_h[-1] == pytest.approx(61 * 0.5 + 0.01 + 0.1)


def test_every_operation_that_is_passed_takes_its_batch() -> None:
    found = flow(step("grind", 20, 1.0), step("polish", 20, 0.8), step("centre", 20, 0.6), step("pack", 2, 1.0, 10))
    assert found.ready_h[-1] == pytest.approx(10 * 1.0 + 0.8 + 0.6)


def test_an_order_that_goes_first_stands_a_share_of_the_time_behind_others_and_in_turn() -> None:
    all_of_it, a_tenth = (flow(step("polish", 1, 1.0), behind={"bench": 30.0}, waited_share=share).done for share in (1.0, 0.1))
    assert all_of_it == pytest.approx(1 + 30 * turns_of("L1, polish 1"))
    assert a_tenth == pytest.approx(1 + 3 * turns_of("L1, polish 1"))


def test_a_lot_made_again_takes_its_batches_and_no_more_than_the_first_time() -> None:
    one = Step(centre(), "polish", "L1, polish 1", 0.5, 2.0, 3, 4, 6.5, "polish", None)
    assert [one.again_h(pieces) for pieces in (1, 4, 5, 400)] == [2.5, 2.5, 4.5, 6.5]


@pytest.mark.parametrize("load", [None, book()])
def test_a_lot_made_again_meets_the_waits_of_another_draw(load: LoadSnapshot | None, small_rates: Rates) -> None:
    of_shop = waits(small_rates, load)
    steps = (step("polish", 1, 1.0),)
    passage = flow(*steps, waits=of_shop)
    hours = MakingAgain(of_shop).takes_h(steps, passage, begin=passage.done, lot=1, draws=~NEVER)
    elsewhere = passage.waited[(np.arange(DATED) - LATER) % DATED]
    assert hours == pytest.approx(1.0 + elsewhere)
    assert float(np.mean(hours == 1.0 + passage.waited)) < 0.6


def part(name: str, hours: float, consumes: Sequence[str] = (), shortfall: Shortfall | None = None) -> PartInTime:
    steps = (step(name, 1, hours),)
    route = Route(
        part=name,
        kind="lens" if consumes else "element",
        consumes=tuple(Consumed(part=one) for one in consumes),
        operations=(operation(),),
    )
    return PartInTime(route, None, steps, flow(*steps), shortfall, None)


def test_an_element_found_short_at_the_end_is_made_again_and_the_lens_after_it() -> None:
    late = np.arange(DATED) < 100
    short = Shortfall(NEVER, late, 1)
    network = Network({"L1": part("L1", 7.0, shortfall=short), "lens": part("lens", 2.0, ("L1",))}, MakingAgain(STILL))
    assert network.done == pytest.approx(2.0 + np.where(late, 7.0 + 2.0, 0.0))
    again = next(one for one in network.decided_by(8.0) if one.name == "made again")
    assert (again.part, again.share, again.days) == ("L1", 0.1, round(0.9 / 8, 2))


def test_by_a_book_the_lens_made_again_comes_after_its_element_made_again(small_rates: Rates) -> None:
    of_shop = waits(small_rates, book(90.0, 80.0, 60.0, 0.0, 0.0))
    late = np.arange(DATED) < 5
    again = MakingAgain(of_shop)
    element, lens = part("L1", 70.0, shortfall=Shortfall(NEVER, late, 1)), part("lens", 2.0, ("L1",))
    network = Network({"L1": element, "lens": lens}, again)
    first = lens.done + again.takes_h(element.steps, element.passage, begin=lens.done, lot=1, draws=late)
    second = first + again.takes_h(lens.steps, lens.passage, begin=first, lot=1, draws=late)
    assert network.done == pytest.approx(second)
    assert not np.allclose(second[:5], first[:5] + again.takes_h(lens.steps, lens.passage, begin=lens.done, lot=1, draws=late)[:5])


def test_a_quantile_is_the_value_that_so_many_draws_do_not_pass() -> None:
    rising = np.arange(1.0, 1001.0)
    assert [quantile(rising, share) for share in (0.0, 0.0005, 0.5, 0.9, 1.0)] == [1.0, 1.0, 500.0, 900.0, 1000.0]


def outcome(good: Sequence[float], chance: Sequence[float], needed: int) -> Outcomes:
    return Outcomes(np.array(chance), np.array(good), np.zeros(len(good)), needed, 0.0, 0.0)


def shortfall(
    good: Sequence[float], chance: Sequence[float], needed: int, wanted: Sequence[float], of: Sequence[float]
) -> Shortfall | None:
    return element_shortfall(
        "L1", outcome(good, chance, needed), (np.array(wanted), np.array(of)), started=12, good_share=0.8, orders=Orders()
    )


def test_a_lot_of_just_as_many_as_are_taken_is_not_short() -> None:
    assert shortfall([10.0], [1.0], 10, [10.0], [1.0]) is None


def test_a_lot_is_short_at_once_or_at_the_end_and_never_both() -> None:
    found = shortfall([9.0, 10.0], [0.2, 0.8], 10, [10.0, 11.0], [0.7, 0.3])
    assert found is not None
    assert not (found.at_once & found.at_the_end).any()
    assert found.at_once.mean() == pytest.approx(0.2, abs=0.002)
    assert found.at_the_end.mean() == pytest.approx(0.8 * 0.3, abs=0.03)
    assert found.lot == 2  # one is missing, 1.25 are started for it


@pytest.mark.parametrize(
    ("missing", "good_share", "lot"), [(0.2, 0.9, 1), (2.0, 0.5, 4), (2.1, 0.5, 5), (90.0, 0.5, 12), (0.0, 0.9, 1)]
)
def test_pieces_started_again_are_those_missing_over_what_is_good_and_no_more_than_at_first(
    missing: float, good_share: float, lot: int
) -> None:
    assert lot_again(missing=missing, good_share=good_share, started=12) == lot


def test_the_chance_of_a_remake_is_what_the_chance_of_enough_leaves(plans_of: Callable[..., Plans]) -> None:
    # Of 1 000 draws a share lies within 3 sqrt(s (1 - s) / 1000); the lens itself may be put together again besides.
    for confidence in (0.6, 0.8, 0.9):
        evaluation = evaluate(plans_of(confidence=confidence), quantity=25)
        remake = evaluation.lead_time.remake_chance
        assert remake is not None
        short = 1 - evaluation.plan.chance
        own = evaluation.shortfalls["lens"].chance if "lens" in evaluation.shortfalls else 0.0
        tolerance = 3 * (short * (1 - short) / DATED) ** 0.5
        assert short - tolerance <= remake <= short + own + tolerance


def test_the_wait_that_is_explained_is_the_one_that_is_drawn(plans_of: Callable[..., Plans]) -> None:
    plans = plans_of()
    evaluation = evaluate(plans, quantity=25)
    figures = list(lead_time_figures(Quantity(evaluation, plans, 0, {})))
    told = {one.name: float(one.value) for figure in figures for hours in figure.inputs for one in getattr(hours, "inputs", ())}
    waits_at_bench = plans.shop.waits.at("bench")
    assert waits_at_bench is not None
    assert told["wait at bench"] == pytest.approx(waits_at_bench.shares[0].mean(), rel=1e-3)
