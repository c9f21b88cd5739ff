"""The operation plan of a whole lens; the plan of an element is remembered."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import pairwise

from services.process.domain.coating.findings import coating_notes
from services.process.domain.coating.sharing import with_shared_runs
from services.process.domain.element_work import ElementWork, elements_of
from services.process.domain.faces.block_picture import pictures_of_blocks
from services.process.domain.remarks.capability import beyond_capability
from services.process.domain.remarks.notes import cautions_for, notes_of, unplanned
from services.process.domain.route.classes import classes_of
from services.process.domain.route.element import ElementLines, element_lines
from services.process.domain.route.lens import group_name, group_route, lens_route
from services.process.domain.route.own_work import rates_asked, without_a_place
from services.process.domain.route.relaxations import bare, relaxations_of, relaxations_of_alignment, relaxations_of_groups
from services.process.domain.route.sets import as_delivered, in_sets
from services.process.domain.tools.bought_parts import bought_parts, freight, parts_wanted, too_large_to_buy
from services.process.domain.tools.plate_offers import offers_for
from services.process.domain.tools.stop_part import stop_without_a_plate
from services.process.domain.tools.supplied import (
    coated_by_the_customer,
    coated_elsewhere,
    days_away,
    not_needed,
    of_the_order_before,
    sent_away,
    tools_there,
)
from services.process.domain.tools.tooling import (
    Toolroom,
    tooling_for,
    tools_owned,
    tools_wanted,
    trials_for,
    trials_made,
    trials_wanted,
    with_blocks,
)
from shared_schemas.blanks import BlankPlan
from shared_schemas.check import CheckReport, Finding
from shared_schemas.operations import OperationPlan, PartClasses, Relaxation, Route
from shared_schemas.prescription import Prescription
from shared_schemas.rates import InForce, Rates
from shared_schemas.traveller import Job, Refusal

REMEMBERED = 512
"""Elements whose plan is kept; a quote asked for again, at other quantities or on another day, finds its own."""


@dataclass(frozen=True)
class ElementPlan:
    """The operations of an element, its route card, each tolerance one class looser, and what to say of it."""

    work: ElementWork
    rates: Rates
    lines: ElementLines
    notes: tuple[Finding, ...]

    @cached_property
    def route(self) -> Route:
        """The route card, on which every operation says what it rests on."""
        return Route(part=self.work.name, kind="element", operations=tuple(line.as_operation() for line in self.lines))

    @cached_property
    def bare_route(self) -> Route:
        """The route card in figures alone, which is far less to write and to read."""
        return Route(part=self.work.name, kind="element", operations=tuple(bare(line) for line in self.lines))

    @cached_property
    def classes(self) -> PartClasses:
        """How hard it is to work."""
        return classes_of(self.work, self.rates)

    @cached_property
    def relaxations(self) -> tuple[Relaxation, ...]:
        """Worked out when they are asked for: where only prices are, nobody asks."""
        return tuple(relaxations_of(self.work, self.lines, self.rates))


def element_plan(work: ElementWork, rates: Rates) -> ElementPlan:
    """The plan of an element; raises `RateMissing` for what the rates do not have."""
    return _planned(work, InForce(rates))


def forget_elements() -> None:
    """Forget every plan, as a process that has just started; for measuring."""
    _planned.cache_clear()


@lru_cache(maxsize=REMEMBERED)
def _planned(work: ElementWork, in_force: InForce) -> ElementPlan:
    rates = in_force.rates
    lines = element_lines(work, rates)
    return ElementPlan(
        work=work,
        rates=rates,
        lines=lines,
        notes=(*notes_of(work, rates), *coating_notes(work, rates)),
    )


def plan_operations(
    *, job: Job, check: CheckReport, blanks: BlankPlan, rates: Rates, pictures: bool = False
) -> OperationPlan | Refusal:
    """Route cards, bought parts, missing tools and looser tolerances; a refusal where a demand is beyond the shop.

    Args:
        pictures: whether the plan has a picture of every block that lenses share.

    Notes:
        A job that wants prices only gets no relaxations, no offers, and operations of elements that do not say what they rest on.

    Raises:
        RateMissing: a work centre, grit, coefficient, yield or part that the rates do not have.
        PlansDoNotMatch: check report or blank plan of another lens.
        FigureOutOfRange: a size that no piece of glass has, from plans written by hand.
    """
    rates, prescription = rates_asked(rates.in_order, job.request.own_operations), job.request.prescription
    supplied = job.request.supplied
    elements = with_shared_runs(coated_elsewhere(elements_of(prescription, check, blanks, rates), supplied), rates)
    groups = _groups(prescription, elements)
    blackened, prescription = prescription.barrel is not None, as_delivered(prescription, job.request.delivered)
    wanted = tuple(parts_wanted(groups, prescription, rates))
    stops = (*beyond_capability(elements, rates), *too_large_to_buy(wanted, rates))
    if stops:
        return Refusal(stage="process", reasons=stops)
    plan_of = {work.name: element_plan(work, rates) for work in elements if work.part == work.name}
    plans = tuple(plan_of.values())
    toolroom = Toolroom(rates, tools_there(supplied, job.request.tools_there))
    wants = tools_wanted(elements, [plan_of[work.part].lines for work in elements], rates)
    trials = trials_wanted(elements, toolroom)
    needed = dict.fromkeys((*(want.name for want in wants), *(trial.name for trial in trials)))
    away = days_away(supplied, blanks.alike)
    joined = [(one.back, other.front) for group in groups for one, other in pairwise(group)]
    cemented = tuple({group_name(group): group for group in reversed(groups) if len(group) > 1}.values())[::-1]
    of_groups = [group_route(group, rates, blackened=blackened) for group in cemented]
    of_lens = lens_route(groups, prescription, rates)
    of_elements = [one.bare_route if job.prices_only else one.route for one in plans]
    routes = (*(sent_away(route, away.get(route.part, 0.0)) for route in of_elements), *of_groups, of_lens)
    return OperationPlan(
        currency=rates.base_currency,
        routes=routes,
        alike=blanks.alike,
        classes=() if job.prices_only else tuple(one.classes for one in plans),
        bought_parts=(
            *bought_parts(wanted, rates),
            *freight(wanted, sum(one.mass_g or 0.0 for one in check.elements), rates.terms(job.request.customer_class), rates),
        ),
        tooling=(*tooling_for(wants, toolroom), *trials_for(trials, toolroom)),
        tools_owned=(*tools_owned(wants, toolroom), *trials_made(trials, toolroom)),
        offers=()
        if job.prices_only
        else offers_for(wants, joined, focal_length_mm=check.first_order.focal_length_mm, toolroom=toolroom),
        relaxations=()
        if job.prices_only
        else (
            *with_blocks(_relaxations(plans, elements), wants, toolroom),
            *relaxations_of_groups(cemented, of_groups, rates, blackened=blackened),
            *relaxations_of_alignment(groups, prescription, of_lens, rates),
        ),
        findings=(
            *(note for one in plans for note in one.notes),
            *unplanned(elements, prescription),
            *stop_without_a_plate(elements, prescription),
            *without_a_place(job.request.own_operations, routes),
            *in_sets(job.request.delivered, of_lens),
            *not_needed(supplied, needed),
            *of_the_order_before(job.request.repeats, job.request.tools_there, needed),
            *coated_by_the_customer(elements, supplied),
        ),
        cautions=cautions_for(elements, cemented=bool(cemented)),
        blocks=tuple(pictures_of_blocks([work for work in elements if work.part == work.name], rates)) if pictures else (),
    )


def _relaxations(plans: Sequence[ElementPlan], elements: Sequence[ElementWork]) -> Iterator[Relaxation]:
    """Each tolerance of an element one class looser; where elements are alike, of all of them together."""
    lots: dict[str, list[str]] = {}
    for work in elements:
        lots.setdefault(work.part, []).append(work.name)
    for relaxed in (relaxed for one in plans for relaxed in one.relaxations):
        names = lots[relaxed.part]
        together = f"{', '.join(names)} together, which are alike" if len(names) > 1 else ""
        means = "; ".join(part for part in (relaxed.means, together) if part)
        yield relaxed.model_copy(update={"means": means}) if together else relaxed


def _groups(prescription: Prescription, elements: tuple[ElementWork, ...]) -> tuple[tuple[ElementWork, ...], ...]:
    by_name = {work.name: work for work in elements}
    return tuple(tuple(by_name[element.name] for element in group) for group in prescription.cemented_groups())
