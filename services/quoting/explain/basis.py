"""The explanation of a quote: why each quantity costs and takes what it does, down to laws and rate rows.

A figure of a quantity is named by the way to it in its break, such as `lines 0 amount`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal

from services.optics.law import figure_of, given
from services.quoting.costs.money import per_piece, price_step, total
from services.quoting.explain.basis_of_cost import (
    bought_figures,
    markup_figures,
    material_needs,
    parts_figures,
    purchase_figures,
    start_figures,
)
from services.quoting.explain.basis_of_date import lead_time_figures
from services.quoting.explain.basis_of_risk import expedite_figures, risk_figures
from services.quoting.explain.quantity import Quantity, parts_of
from services.quoting.pricing.evaluation import evaluate
from services.quoting.pricing.price import (
    cost_of,
    missing_to,
    total_price_of,
    unit_price_of,
)
from services.quoting.pricing.quote import plans_for
from services.quoting.pricing.quoted_money import converted_figure
from shared_schemas.blanks import BlankPlan
from shared_schemas.figure import Figure
from shared_schemas.operations import OperationPlan
from shared_schemas.quote import ExplainedBreak, Explanation, LineKind
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job


def explain(*, job: Job, blanks: BlankPlan, operations: OperationPlan, rates: Rates) -> Explanation:
    """Why each quantity costs and takes what it does: the same work again, as stages are deterministic, with its reasons."""
    plans = plans_for(job, blanks, operations, rates)
    parts = parts_of(blanks, plans)
    return Explanation(
        breaks=tuple(
            ExplainedBreak(quantity=number, figures=basis_of(Quantity(evaluate(plans, quantity=number), plans, place, parts)))
            for place, number in enumerate(job.request.quantities)
        )
    )


def basis_of(one: Quantity) -> tuple[Figure, ...]:
    """The figures that explain one quantity: prices and lines, cost, starts, materials, days, risk, an expedite."""
    return (
        _unit_price(one),
        figure_of(
            total_price_of,
            name="total_price",
            unit=one.currency,
            unit_price=given("unit_price", one.found.price.unit, one.currency, at=one.at("unit_price")),
            quantity=one.number,
        ),
        *_lines(one),
        converted_figure(
            figure_of(per_piece, name="cost_of_one", unit=one.base, amount=_cost(one), quantity=one.number),
            one.plans,
            name="unit_cost planned",
        ),
        *start_figures(one),
        *material_needs(one),
        *lead_time_figures(one),
        *risk_figures(one),
        *expedite_figures(one),
    )


def _unit_price(one: Quantity) -> Figure:
    step = figure_of(
        price_step,
        name="step",
        unit=one.currency,
        rounding=one.term("rounding", one.plans.terms.rounding, one.currency),
        minor_units=one.minor_units(),
    )
    lines = one.found.price.lines[:-1]
    return figure_of(
        unit_price_of, name="unit_price", unit=one.currency, lines=_lines_at(one, len(lines)), quantity=one.number, step=step
    )


def _lines_at(one: Quantity, count: int) -> tuple[Figure, ...]:
    """The first lines of the price, each where it stands."""
    return tuple(
        given(line.kind, line.amount, one.currency, at=one.at("lines", number, "amount"))
        for number, line in enumerate(one.found.price.lines[:count])
    )


def _lines(one: Quantity) -> Iterator[Figure]:
    """Each line of the price."""
    in_base = _amounts_in_base(one)
    for number, line in enumerate(one.found.price.lines):
        name = f"lines {number} amount"
        if line.kind == "minimum_order":
            minimum = converted_figure(one.term("minimum_order", one.plans.terms.minimum_order, one.base), one.plans)
            yield figure_of(missing_to, name=name, unit=one.currency, whole=minimum, lines=_lines_at(one, number))
        elif line.kind == "rounding":
            whole = given("total_price", one.found.price.total, one.currency, at=one.at("total_price"))
            yield figure_of(missing_to, name=name, unit=one.currency, whole=whole, lines=_lines_at(one, number))
        else:
            yield converted_figure(in_base[line.kind], one.plans, name=name)


def _amounts_in_base(one: Quantity) -> Mapping[str, Figure]:
    """The lines that are converted, in the base currency."""
    tools = tuple(
        given(tool.name, tool.charge, one.base, source="the operation plan, in the base currency") for tool in one.plans.tooling
    )
    return {
        "material": figure_of(total, name="material", unit=one.base, amounts=purchase_figures(one)),
        "operations": figure_of(total, name="operations", unit=one.base, amounts=parts_figures(one)),
        "bought_parts": figure_of(total, name="bought_parts", unit=one.base, amounts=bought_figures(one)),
        "tooling": figure_of(total, name="tooling", unit=one.base, amounts=tools),
        **markup_figures(one, _cost(one)),
    }


def _cost(one: Quantity) -> Figure:
    """The cost before overhead; its three sums are explained at their lines."""
    costs = one.found.costs
    return figure_of(
        cost_of,
        name="cost",
        unit=one.base,
        material=_of_line("material", costs.material, one),
        operations=_of_line("operations", costs.operations, one),
        bought_parts=_of_line("bought_parts", costs.bought_parts, one),
    )


def _of_line(kind: LineKind, amount: Decimal, one: Quantity) -> Figure:
    number = [line.kind for line in one.found.price.lines].index(kind)
    return given(kind, amount, one.base, source=f"the line at {one.at('lines', number, 'amount')}, before its conversion")
