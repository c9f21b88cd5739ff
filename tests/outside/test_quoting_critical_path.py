"""The critical path against a general graph library (networkx), on two hundred random routings where nothing is left to chance."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

import networkx as nx
import numpy as np
import pytest

from services.quoting.costs.cost import MaterialCost, OperationCost, material_cost, operation_costs
from services.quoting.promise.flow import steps_of, through
from services.quoting.promise.lead_time import Schedule, Shop, schedule, shop_of
from services.quoting.risk.orders import DATED
from services.shop.calendar import WorkingCalendar
from shared_schemas.operations import BoughtPart, Consumed, Operation, Route, Tooling
from shared_schemas.rates import Rates
from tests.unit.quoting.conftest import centre, material, operation, with_tables

BEGIN = date(2026, 11, 2)


@dataclass(frozen=True)
class Case:
    """A random lens: its routes, what they wait for, and a shop in which no two operations need one work centre."""

    routes: tuple[Route, ...]
    costs: dict[str, list[OperationCost]]
    materials: tuple[MaterialCost, ...]
    bought: tuple[BoughtPart, ...]
    tooling: tuple[Tooling, ...]
    rates: Rates


def random_case(seed: int, seeded: Rates) -> Case:
    """Elements, groups and groups of groups in one lens; work, queues and lead days at random."""
    draw = random.Random(seed)
    names: list[str] = []

    def work() -> tuple[Operation, ...]:
        made = []
        for _ in range(draw.randint(1, 5)):
            names.append(f"centre {len(names)}")
            made.append(
                operation(
                    work_centre=names[-1], setup_min=draw.uniform(0, 90), batch_min=draw.uniform(5, 400), batch_size=draw.randint(1, 9),
                    **{"yield": draw.uniform(0.8, 1)},
                )
            )  # fmt: skip
        return tuple(made)

    routes = [Route(part=f"L{i + 1}", kind="element", operations=work()) for i in range(draw.randint(1, 8))]
    loose = [route.part for route in routes]
    elements = list(loose)
    while len(loose) > 1 and draw.random() < 0.6:
        joined = draw.sample(loose, draw.randint(2, min(3, len(loose))))
        group = Route(
            part="+".join(joined), kind="cemented_group", consumes=tuple(Consumed(part=one) for one in joined), operations=work()
        )
        routes.append(group)
        loose = [one for one in loose if one not in joined] + [group.part]
    routes.append(Route(part="lens", kind="lens", consumes=tuple(Consumed(part=one) for one in loose), operations=work()))
    rates = with_tables(
        seeded,
        work_centres=tuple(centre(name, minutes_variation=0.0) for name in names),
        shop_load=(),
    )  # fmt: skip
    costs = {route.part: operation_costs(route, started=draw.randint(1, 60), rates=rates) for route in routes}
    glass = []
    for element in elements:
        whole = material((1000, "1"), members=(element,)).model_copy(update={"glass": f"glass of {element}"})
        step = whole.steps[0].model_copy(update={"lead_days": draw.uniform(0, 60)})
        glass.append(material_cost(whole.model_copy(update={"steps": (step,)}), blanks=10))
    barrel = BoughtPart(name="barrel", count=1, lot_charge=Decimal(0), unit_price=Decimal(1), lead_days=draw.uniform(0, 60))
    tool = Tooling(
        name="test plate", part=draw.choice(elements), reason="none owned", charge=Decimal(1), lead_days=draw.uniform(0, 60)
    )
    return Case(tuple(routes), costs, tuple(glass), (barrel,), (tool,), rates)


def found_by(case: Case) -> Schedule:
    return schedule(
        routes=case.routes, operations=case.costs, materials=case.materials, bought_parts=case.bought, tooling=case.tooling,
        begin=BEGIN, shop=shop_of(case.rates, begin=BEGIN),
    )  # fmt: skip


def graph_of(case: Case, shop: Shop) -> nx.DiGraph:
    """Arrows from start to end, in working hours: what is waited for, each route, parts into what consumes them."""
    graph = nx.DiGraph()

    def arrow(begin: str, end: str, hours: float) -> None:
        if not graph.has_edge(begin, end) or graph.edges[begin, end]["weight"] < hours:
            graph.add_edge(begin, end, weight=hours)

    def delivery(name: str, part: str, days: float) -> None:
        arrow("order", name, WorkingCalendar(case.rates.calendar).hours_between(BEGIN, BEGIN + timedelta(days=math.ceil(days))))
        arrow(name, f"begin {part}", 0.0)

    for route in case.routes:
        alone = through(
            steps_of(case.costs[route.part], shop.calendar), np.zeros(DATED), waits=shop.waits, factors=shop.factors, behind={}
        )
        arrow(f"begin {route.part}", f"end {route.part}", float(alone.done[0]))
        arrow("order", f"begin {route.part}", 0.0)
        for one in route.consumes:
            arrow(f"end {one.part}", f"begin {route.part}", 0.0)
    for glass in case.materials:
        for member in glass.model.members:
            delivery(f"glass {glass.model.glass}", member, glass.lead_days)
    for tool in case.tooling:
        delivery(tool.name, tool.part, tool.lead_days)
    for part in case.bought:
        delivery(part.name, "lens", part.lead_days)
    return graph


@pytest.mark.parametrize("hundred", [0, 1])
def test_the_critical_path_of_two_hundred_random_routings_is_that_of_a_general_library(rates: Rates, hundred: int) -> None:
    # networkx: dag_longest_path and its length, https://networkx.org (A. Hagberg, D. Schult, P. Swart, 2008).
    for seed in range(100 * hundred, 100 * hundred + 100):
        case = random_case(seed, rates)
        found = found_by(case)
        graph = graph_of(case, found.shop)
        assert found.hours(0.5) == found.hours(0.9) == pytest.approx(nx.dag_longest_path_length(graph), rel=1e-9), seed
        places = nx.dag_longest_path(graph)
        named = tuple(place.removeprefix("end ") for place in places if place != "order" and not place.startswith("begin "))
        first, *rest = found.lead_time.critical_path
        assert rest == list(named[1:]), seed
        if first != named[0]:  # two deliveries on days between which nobody works are as late
            assert graph.edges["order", first] == graph.edges["order", named[0]], seed


def test_the_random_routings_have_every_kind_of_path(rates: Rates) -> None:
    firsts: set[str] = set()
    lengths: set[int] = set()
    for seed in range(200):
        path = found_by(random_case(seed, rates)).lead_time.critical_path
        firsts.add(path[0].split()[0])
        lengths.add(len(path))
    assert {"glass", "test", "barrel"} <= firsts
    assert len(lengths) >= 4


def test_the_graph_of_a_case_has_no_circle(rates: Rates) -> None:
    check: Callable[[nx.DiGraph], bool] = nx.is_directed_acyclic_graph
    case = random_case(1, rates)
    assert check(graph_of(case, shop_of(case.rates, begin=BEGIN)))
