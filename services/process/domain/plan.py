"""The operation plan of a whole lens."""

from __future__ import annotations

from itertools import pairwise

from services.process.domain.assembly import lens_route
from services.process.domain.block_plan import pictures_of_blocks
from services.process.domain.bought_parts import bought_parts, parts_wanted, too_large_to_buy
from services.process.domain.capability import beyond_capability
from services.process.domain.cautions import cautions_for
from services.process.domain.cementing import group_route
from services.process.domain.element_plan import element_plan
from services.process.domain.element_work import ElementWork, elements_of
from services.process.domain.plate_offers import offers_for
from services.process.domain.relaxations import relaxations_of_alignment, relaxations_of_groups
from services.process.domain.tooling import Toolroom, tooling_for, tools_owned, tools_wanted, with_blocks
from services.process.domain.unplanned import unplanned
from shared_schemas.blanks import BlankPlan
from shared_schemas.check import CheckReport
from shared_schemas.operations import OperationPlan
from shared_schemas.prescription import Prescription
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job, Refusal


def plan_operations(
    *, job: Job, check: CheckReport, blanks: BlankPlan, rates: Rates, pictures: bool = False
) -> OperationPlan | Refusal:
    """Route cards, bought parts, missing tools and looser tolerances; a refusal where a demand is beyond the shop.

    Args:
        pictures: whether the plan has a picture of every block that lenses share.

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
    plans = [element_plan(work, rates) for work in elements]
    cemented = [group for group in groups if len(group) > 1]
    toolroom, wants = Toolroom(rates), tools_wanted(elements, [one.lines for one in plans])
    joined = [(one.back, other.front) for group in cemented for one, other in pairwise(group)]
    blackened = prescription.barrel is not None
    of_groups = [group_route(group, rates, blackened=blackened) for group in cemented]
    of_lens = lens_route(groups, prescription, rates)
    return OperationPlan(
        currency=rates.base_currency,
        routes=(
            *(one.route for one in plans),
            *of_groups,
            of_lens,
        ),
        bought_parts=bought_parts(wanted, rates),
        tooling=tooling_for(wants, toolroom),
        tools_owned=tools_owned(wants, toolroom),
        offers=offers_for(wants, joined, focal_length_mm=check.first_order.focal_length_mm, toolroom=toolroom),
        relaxations=(
            *with_blocks((relaxed for one in plans for relaxed in one.relaxations), wants, toolroom),
            *relaxations_of_groups(cemented, of_groups, rates, blackened=blackened),
            *relaxations_of_alignment(groups, prescription, of_lens, rates),
        ),
        findings=(
            *(note for one in plans for note in one.notes),
            *unplanned(elements, prescription),
        ),
        cautions=cautions_for(elements, cemented=bool(cemented)),
        blocks=tuple(pictures_of_blocks(elements, rates)) if pictures else (),
    )


def _groups(prescription: Prescription, elements: tuple[ElementWork, ...]) -> tuple[tuple[ElementWork, ...], ...]:
    by_name = {work.name: work for work in elements}
    return tuple(tuple(by_name[element.name] for element in group) for group in prescription.cemented_groups())
