"""The operation plan of a whole lens."""

from __future__ import annotations

from services.process.domain.assembly import lens_route
from services.process.domain.bought_parts import bought_parts, parts_wanted, too_large_to_buy
from services.process.domain.capability import beyond_capability
from services.process.domain.cautions import cautions_for
from services.process.domain.cementing import group_route
from services.process.domain.element_work import ElementWork, elements_of
from services.process.domain.notes import notes_of
from services.process.domain.relaxations import relaxations_of
from services.process.domain.routing import ElementLines, element_lines
from services.process.domain.tooling import tooling_for
from shared_schemas.blanks import BlankPlan
from shared_schemas.check import CheckReport
from shared_schemas.operations import OperationPlan, Route
from shared_schemas.prescription import Prescription
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job, Refusal


def plan_operations(*, job: Job, check: CheckReport, blanks: BlankPlan, rates: Rates) -> OperationPlan | Refusal:
    """Route cards, bought parts, missing tools and looser tolerances; a refusal where a demand is beyond the shop.

    Raises:
        RateMissing: a work centre, grit, coefficient, yield or part that the rates do not have.
        PlansDoNotMatch: check report or blank plan of another lens.
        FigureOutOfRange: a size that no piece of glass has, from plans written by hand.
    """
    prescription = job.request.prescription
    elements = elements_of(prescription, check, blanks, rates)
    groups = _groups(prescription, elements)
    wanted = tuple(parts_wanted(groups, prescription))
    stops = (*beyond_capability(elements, rates), *too_large_to_buy(wanted, rates))
    if stops:
        return Refusal(stage="process", reasons=stops)
    lines = [element_lines(work, rates) for work in elements]
    cemented = [group for group in groups if len(group) > 1]
    return OperationPlan(
        currency=rates.base_currency,
        routes=(
            *(_element_route(work, of_one) for work, of_one in zip(elements, lines, strict=True)),
            *(group_route(group, rates, blackened=prescription.barrel is not None) for group in cemented),
            lens_route(groups, prescription, rates),
        ),
        bought_parts=bought_parts(wanted, rates),
        tooling=tooling_for(elements, rates),
        relaxations=tuple(
            relaxation for work, of_one in zip(elements, lines, strict=True) for relaxation in relaxations_of(work, of_one, rates)
        ),
        findings=tuple(note for work in elements for note in notes_of(work, rates)),
        cautions=cautions_for(elements, cemented=bool(cemented)),
    )


def _element_route(work: ElementWork, lines: ElementLines) -> Route:
    return Route(part=work.name, kind="element", operations=tuple(one.as_operation() for one in lines))


def _groups(prescription: Prescription, elements: tuple[ElementWork, ...]) -> tuple[tuple[ElementWork, ...], ...]:
    by_name = {work.name: work for work in elements}
    return tuple(tuple(by_name[element.name] for element in group) for group in prescription.cemented_groups())
