"""Runs that parts share: whole runs, borne in proportion, and never more than each part would take by itself."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from services.quoting.costs.cost import operation_costs
from services.quoting.costs.shared_runs import Room, SharedRun, rooms_of, run_of, shared_runs
from services.quoting.pricing.evaluation import Evaluation, Plans, evaluate
from shared_schemas.operations import Consumed, Operation, Route
from shared_schemas.rates import Rates
from tests.unit.quoting.conftest import centre, material, operation, with_tables


def coat(**changes: Any) -> Operation:
    values: dict[str, Any] = {
        "operation": "coat", "work_centre": "chamber", "batch_size": 40, "batch_min": 200.0, "setup_min": 0.0, "shared_run": "coat ar",
        "consumables": Decimal(40), "yield": 1.0,
    }  # fmt: skip
    return operation(**{**values, **changes})


def elements(*operations: tuple[Operation, ...]) -> tuple[Route, ...]:
    made = [Route(part=f"L{number + 1}", kind="element", operations=own) for number, own in enumerate(operations)]
    last = operation(operation="assemble", batch_size=1, **{"yield": 1.0})
    return (*made, Route(part="lens", kind="lens", consumes=tuple(Consumed(part=one.part) for one in made), operations=(last,)))


@pytest.fixture
def quoted(plans_of: Callable[..., Plans], small_rates: Rates) -> Callable[..., Evaluation]:
    shop = with_tables(small_rates, work_centres=(centre(), centre("chamber")))

    def work_out(routes: tuple[Route, ...], quantity: int) -> Evaluation:
        members = tuple(route.part for route in routes[:-1])
        plans = plans_of(routes=routes, rates=shop, bought_parts=(), materials=(material((100_000, "100"), members=members),))
        return evaluate(plans, quantity=quantity)

    return work_out


def coats(found: Evaluation) -> list[Any]:
    return [cost for costs in found.operations.values() for cost in costs if cost.operation.operation == "coat"]


def test_four_small_lots_go_into_one_run_and_pay_for_one(quoted: Callable[..., Evaluation]) -> None:
    found = coats(quoted(elements(*[(coat(),)] * 4), 10))
    assert [cost.borne for cost in found] == pytest.approx([0.25] * 4)
    assert sum(cost.machine_min for cost in found) == pytest.approx(200)
    alone = coats(quoted(elements(*[(coat(shared_run=None),)] * 4), 10))
    assert sum(cost.machine_min for cost in alone) == 800


def test_a_piece_with_two_faces_to_coat_goes_into_two_runs(quoted: Callable[..., Evaluation]) -> None:
    found = coats(quoted(elements((coat(face="front"), coat(face="back")), (coat(),)), 2))
    assert sum(cost.borne for cost in found) == pytest.approx(2)
    assert [cost.batches for cost in found] == [1, 1, 1]


def test_runs_of_another_coating_are_other_runs(quoted: Callable[..., Evaluation]) -> None:
    found = coats(quoted(elements((coat(),), (coat(shared_run="coat mirror"),)), 10))
    assert [cost.borne for cost in found] == [1, 1]


def test_more_than_a_run_holds_takes_whole_runs_each_borne_by_the_room_taken(quoted: Callable[..., Evaluation]) -> None:
    found = coats(quoted(elements((coat(batch_size=40),), (coat(batch_size=20),)), 30))
    assert [cost.borne for cost in found] == pytest.approx([1, 2]), "0.75 + 1.5 runs are 3"


def test_the_minutes_of_a_run_are_the_same_in_time_however_many_bear_them(quoted: Callable[..., Evaluation]) -> None:
    together = quoted(elements(*[(coat(),)] * 4), 10)
    alone = quoted(elements((coat(shared_run=None),)), 10)
    assert together.schedule.network.parts["L1"].steps[0].batch_h == alone.schedule.network.parts["L1"].steps[0].batch_h
    assert together.schedule.network.parts["L1"].steps[0].borne_h == pytest.approx(200 / 60 / 4)
    runs = [one.schedule.network.parts["L1"].steps[0].batches for one in (together, alone)]
    assert runs == [1, 1], "one run is one run"


@given(
    lots=st.lists(st.tuples(st.integers(1, 300), st.integers(1, 80), st.integers(1, 2)), min_size=1, max_size=6),
)
@settings(max_examples=100, deadline=None)
def test_sharing_never_takes_more_runs_than_going_alone_nor_fewer_than_there_is_room_for(lots: list[tuple[int, int, int]]) -> None:
    rooms = [Room(times * pieces / size, times) for pieces, size, times in lots]
    run = run_of(rooms)
    assert run.runs >= max(run.filled - 1e-9, *(times for _, _, times in lots))
    assert run.runs <= sum(times * -(-pieces // size) for pieces, size, times in lots)
    borne = sum(times * run.borne(pieces, size) for pieces, size, times in lots)
    assert borne == pytest.approx(run.runs), "the runs are borne whole"


def test_nothing_in_a_run_takes_no_run() -> None:
    assert run_of([]) == SharedRun(0, 0.0)
    assert SharedRun(0, 0.0).borne(0, 10) == 0


def test_runs_when_one_part_changes_are_those_worked_out_anew(small_rates: Rates) -> None:
    routes = elements((coat(),), (coat(batch_size=7),), (coat(shared_run="coat mirror"),))
    started = {"L1": 30, "L2": 12, "L3": 5, "lens": 4}
    before = shared_runs(routes, started)
    other = routes[1].model_copy(update={"operations": (coat(batch_size=9, shared_run="coat mirror"),)})
    changed = tuple(other if route.part == "L2" else route for route in routes)
    after = shared_runs(changed, {**started, "L2": 20})
    assert before.when(other, started=20) == after.by_name
    assert before.when(routes[0], started=30) is before.by_name
    assert rooms_of(other, started=20) == after.rooms["L2"]


@given(quantity=st.integers(1, 200))
@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_lot_alone_in_its_runs_costs_what_it_costs_without_sharing(small_rates: Rates, quantity: int) -> None:
    shop = with_tables(small_rates, work_centres=(centre(), centre("chamber")))
    route = elements((coat(),))[0]
    runs = shared_runs((route,), {"L1": quantity}).by_name
    (together,), (alone,) = (operation_costs(route, started=quantity, rates=shop, runs=one) for one in (runs, None))
    assert float(together.amount) == pytest.approx(float(alone.amount), abs=1e-5)
