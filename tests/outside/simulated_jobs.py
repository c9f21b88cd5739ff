"""A quoted quantity as the simulated shop is told of it: routes and minutes, starts, and days until goods from outside are there."""

from __future__ import annotations

from collections.abc import Sequence

from services.quoting.costs.cost import OperationCost
from services.quoting.pricing.evaluation import Evaluation, evaluate
from services.quoting.pricing.plans import Plans
from services.quoting.pricing.quote import plans_for
from shared_schemas.operations import Route
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates
from tests import chain
from tests.outside.shop_simulation import Line, Part, ShopJob


def plans_of(request: QuoteRequest, rates: Rates) -> Plans:
    """What every quantity of a request is worked out from; raises `chain.Refused`."""
    _, blanks, operations = chain.sections_of(request, rates)
    return plans_for(chain.job_of(request), blanks, operations, rates)


def planned(plans: Plans, quantity: int) -> tuple[Evaluation, ShopJob]:
    """A quantity as it is quoted, and the same for the simulated shop."""
    evaluation = evaluate(plans, quantity=quantity, evened=False)
    return evaluation, shop_job(evaluation, plans)


def shop_job(evaluation: Evaluation, plans: Plans) -> ShopJob:
    """What the simulated shop is to make."""
    made = evaluation.made
    lead_days = {route.part: 0.0 for route in made.routes}
    for material in evaluation.materials:
        for member in material.model.members:
            lead_days[member] = max(lead_days[member], material.lead_days)
    for tool in made.tooling:
        lead_days[tool.part] = max(lead_days[tool.part], tool.lead_days)
    lens = made.lens.part
    lead_days[lens] = max([lead_days[lens], *(bought.lead_days for bought in plans.bought_parts)])
    return ShopJob(
        parts=tuple(_part(route, evaluation, lead_days[route.part]) for route in made.routes), quantity=evaluation.quantity
    )


def _part(route: Route, evaluation: Evaluation, lead_days: float) -> Part:
    """A part; as many sets are put together first as are needed, and elements started as are planned."""
    start = evaluation.starts[route.part]
    return Part(
        name=route.part,
        lines=_lines(evaluation.operations[route.part]),
        started=start.started if route.kind == "element" else start.needed,
        consumes=tuple((one.part, one.count) for one in route.consumes),
        lead_days=lead_days,
    )


def _lines(costs: Sequence[OperationCost]) -> tuple[Line, ...]:
    return tuple(_line(cost) for cost in costs)


def _line(cost: OperationCost) -> Line:
    """An operation; where hands get faster or a sample is enough, in proportion to the minutes of the whole lot."""
    one = cost.operation
    passing = one.yield_share * (1 - one.batch_loss)
    rework_min = cost.pieces * (1 - passing) * one.rework_share * one.rework_min
    first_pace_min = cost.batches * one.batch_min + cost.pieces * one.piece_min
    pace = 1.0
    if one.shared_run is None and first_pace_min:
        pace = (cost.machine_min - one.setup_min - rework_min) / first_pace_min
    return Line(
        work_centre=one.work_centre,
        setup_h=one.setup_min / 60,
        batch_size=one.batch_size,
        batch_h=pace * one.batch_min / 60,
        piece_h=pace * one.piece_min / 60,
        yield_share=one.yield_share,
        batch_loss=one.batch_loss,
        rework_share=one.rework_share,
        rework_yield=one.rework_yield,
        rework_h=one.rework_min / 60,
        shared_run=one.shared_run,
    )
