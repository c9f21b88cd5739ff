"""Every figure of the worksheet: the one that counts, and the one that would stand there if it had not been set."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from typing import Any

from services.quoting.costs.cost import material_costs
from services.quoting.costs.money import in_currency
from services.quoting.pricing.evaluation import Evaluation
from services.quoting.pricing.overridden.places import EXTRA, FIELDS, Subject, pointer_to
from services.quoting.pricing.overridden.routes import figure_of_operation, ids_of
from services.quoting.pricing.overridden.setting import Setting
from services.quoting.pricing.plans import Plans
from services.quoting.pricing.ways import is_done
from shared_schemas.operations import Operation
from shared_schemas.overrides import SettableFigure


def figures_of_worksheet(plans: Plans, evaluations: Sequence[Evaluation], middle: Evaluation) -> tuple[SettableFigure, ...]:
    """What an estimator may set, in the order of the worksheet: operations, starts, blanks, bought parts, tools, prices, terms.

    Notes: what differs by the way of making or by the quantity is that of the middle quantity, or of the first that has it.
    """
    of_jobs = [middle, *(one for one in evaluations if one is not middle)]
    return (
        *_operations(plans, of_jobs),
        *_starts(plans, evaluations),
        *_blanks(plans, middle),
        *_bought_parts(plans),
        *_tooling(plans, of_jobs),
        *_prices(plans, evaluations),
        *_terms(plans, middle),
    )


def _before(plans: Plans) -> Plans:
    return plans.worked_out or plans


def _figure(plans: Plans, worked_out: Any, subject: Subject, *names: str | int) -> SettableFigure:
    """A figure with what was set in its place; amounts of the base currency in that of the quote."""
    pointer, field = pointer_to(subject, *names), str(names[-1])
    kind = FIELDS[subject].get(field) or FIELDS[subject][""]
    setting = plans.settings.get(pointer)
    shown = _told(plans, worked_out)
    unit = plans.currency.name if kind.unit == "money" else kind.unit
    value = shown if setting is None else setting.override.value
    return SettableFigure(pointer=pointer, value=value, worked_out=shown, unit=unit)


def _told(plans: Plans, worked_out: Any) -> Any:
    """A figure as JSON has it: an amount as a string, in the currency of the quote."""
    return str(in_currency(worked_out, plans.currency)) if isinstance(worked_out, Decimal) else worked_out


def _operations(plans: Plans, of_jobs: Sequence[Evaluation]) -> Iterator[SettableFigure]:
    for route in _before(plans).routes:
        shown: dict[str, tuple[int, Operation]] = {}
        for evaluation in of_jobs:
            made = evaluation.made.ways.get(route.part, ())
            for name, places in ids_of(route).items():
                done = [place for place in places if is_done(route.operations[place].ways, made)]
                if done:
                    shown.setdefault(name, (done[0], route.operations[done[0]]))
        for name, (_, operation) in sorted(shown.items(), key=lambda one: one[1][0]):
            for field in FIELDS["operations"]:
                if field == "left_out":
                    yield _figure(plans, False, "operations", name, field)
                elif field != EXTRA:
                    yield _figure(plans, figure_of_operation(operation, field), "operations", name, field)
        for setting in _extras(plans, route.part):
            yield SettableFigure(pointer=setting.override.pointer, value=setting.override.value)


def _extras(plans: Plans, part: str) -> list[Setting]:
    return [one for one in plans.settings.values() if one.place.field == EXTRA and one.place.name == part]


def _starts(plans: Plans, evaluations: Sequence[Evaluation]) -> Iterator[SettableFigure]:
    for evaluation in evaluations:
        for part, start in evaluation.starts.items():
            yield _figure(plans, start.started if start.planned is None else start.planned, "starts", part, evaluation.quantity)


def _blanks(plans: Plans, middle: Evaluation) -> Iterator[SettableFigure]:
    """What a blank costs each: the purchase that gives it, over all the blanks that are started out of it."""
    costs = material_costs(_before(plans).made(middle.made.ways).materials, started=middle.plan.started)
    each: dict[str, Decimal] = {}
    for cost in costs:
        blanks = sum(middle.plan.started[member] for member in cost.model.members)
        each |= dict.fromkeys(cost.model.members, cost.amount / blanks)
    for part in middle.made.ways:
        if part in each:
            yield _figure(plans, each[part], "blanks", part, "price")


def _bought_parts(plans: Plans) -> Iterator[SettableFigure]:
    for part in _before(plans).bought_parts:
        yield _figure(plans, part.unit_price, "bought_parts", part.name, "unit_price")
        yield _figure(plans, part.lot_charge, "bought_parts", part.name, "lot_charge")


def _tooling(plans: Plans, of_jobs: Sequence[Evaluation]) -> Iterator[SettableFigure]:
    charges = {tool.name: tool.charge for tool in reversed(_before(plans).tooling)}
    names = dict.fromkeys(tool.name for evaluation in of_jobs for tool in evaluation.made.tooling)
    for name in names:
        yield _figure(plans, charges[name], "tooling", name, "charge")


def _prices(plans: Plans, evaluations: Sequence[Evaluation]) -> Iterator[SettableFigure]:
    for evaluation in evaluations:
        quantity = evaluation.quantity
        pointer = pointer_to("prices", quantity, "unit_price")
        setting, worked_out = plans.settings.get(pointer), str(evaluation.price.worked_out)
        yield SettableFigure(
            pointer=pointer,
            value=worked_out if setting is None else setting.override.value,
            worked_out=worked_out,
            unit=plans.currency.name,
        )
        yield _figure(plans, float(plans.discount_share), "prices", quantity, "discount_share")
        yield _figure(plans, plans.terms.margin_at(quantity), "prices", quantity, "margin_share")


def _terms(plans: Plans, middle: Evaluation) -> Iterator[SettableFigure]:
    terms = _before(plans).terms
    yield _figure(plans, 0.0, "terms", "discount_share")
    yield _figure(plans, terms.margin_at(middle.quantity), "terms", "margin_share")
    yield _figure(plans, terms.contingency_share, "terms", "contingency_share")
    yield _figure(plans, terms.minimum_order, "terms", "minimum_order")
    yield _figure(plans, terms.valid_days, "terms", "valid_days")
    yield _figure(plans, terms.tooling, "terms", "tooling")
    yield _figure(plans, "", "terms", "currency_clause")
