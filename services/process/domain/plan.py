"""The operation plan of a whole lens."""

from __future__ import annotations

from services.process.domain.capability import beyond_capability
from services.process.domain.cautions import cautions_for
from services.process.domain.element_route import element_route
from services.process.domain.element_work import ElementWork, elements_of
from services.process.domain.group_route import group_route
from services.process.domain.lens_route import bought_parts, lens_route
from services.process.domain.relaxations import relaxations_of
from services.process.domain.tooling import tooling_for
from shared_schemas.blanks import BlankPlan
from shared_schemas.check import CheckReport
from shared_schemas.operations import OperationPlan
from shared_schemas.prescription import Prescription
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job, Refusal


def plan_operations(*, job: Job, check: CheckReport, blanks: BlankPlan, rates: Rates) -> OperationPlan | Refusal:
    """Route cards, bought parts, missing tools and looser tolerances; a refusal where a demand is beyond the shop.

    Raises:
        RateMissing: a work centre, grit, coefficient, yield or part that the rates do not have.
        PlansDoNotMatch: check report or blank plan of another lens.
    """
    prescription = job.request.prescription
    elements = elements_of(prescription, check, blanks, rates)
    stops = tuple(beyond_capability(elements, rates))
    if stops:
        return Refusal(stage="process", reasons=stops)
    groups = _groups(prescription, elements)
    cemented = [group for group in groups if len(group) > 1]
    routes = [element_route(work, rates) for work in elements]
    return OperationPlan(
        currency=rates.base_currency,
        routes=(*routes, *(group_route(group, rates) for group in cemented), lens_route(groups, prescription, rates)),
        bought_parts=bought_parts(groups, prescription, rates),
        tooling=tooling_for(elements, rates),
        relaxations=tuple(
            relaxation
            for work, route in zip(elements, routes, strict=True)
            for relaxation in relaxations_of(work, route.operations, rates)
        ),
        cautions=cautions_for(elements, cemented=bool(cemented)),
    )


def _groups(prescription: Prescription, elements: tuple[ElementWork, ...]) -> tuple[tuple[ElementWork, ...], ...]:
    by_name = {work.name: work for work in elements}
    return tuple(tuple(by_name[element.name] for element in group) for group in prescription.cemented_groups())
