"""Why the cost may turn out otherwise, what is left over, and what an expedite costs: down to the rate rows that say so."""

from __future__ import annotations

from collections.abc import Iterator

from services.optics.law import column, figure_of, given
from services.quoting.costs.money import total
from services.quoting.explain.basis_of_cost import markup_figures
from services.quoting.explain.quantity import Quantity
from services.quoting.pricing.quote import spares_of
from services.quoting.pricing.quoted_money import converted_figure
from services.quoting.pricing.sooner import (
    Expedited,
    FasterGlass,
    attended_cost,
    expedited,
    express_surcharge,
    overtime_cost,
    priority_cost,
)
from services.quoting.promise.lead_time import days_saved
from services.quoting.risk.draws import (
    drivers,
    share_of_variance,
    spares_worth,
    unit_cost_spread,
    variance_of,
    variances_by_cause,
    whole_variance,
)
from shared_schemas.figure import Figure
from shared_schemas.rates import Rates


def risk_figures(quantity: Quantity) -> Iterator[Figure]:
    """The spread of the cost of one lens, what drives it, the chance of enough and the pieces left over."""
    yield figure_of(
        unit_cost_spread, name="unit_cost_spread", unit=quantity.currency, variance=_variance(quantity), quantity=quantity.number,
        per_base=quantity.per_base().model_copy(update={"value": float(quantity.plans.currency.per_base)}),
    )  # fmt: skip
    by_cause = variances_by_cause(quantity.chances)
    for number, driver in enumerate(drivers(quantity.chances)):
        yield figure_of(
            share_of_variance, name=f"risk_drivers {number} share",
            part=given("part", sum(by_cause[driver.operation].values()), f"{quantity.base}2", source=f"variance of the cost by {driver.operation}, in all parts"),
            whole=given("whole", quantity.chances.variance, f"{quantity.base}2", source="the variance of unit_cost_spread"),
        )  # fmt: skip
    yield Figure(
        name="enough_chance", value=round(quantity.evaluation.plan.chance, 4),
        source="the chance that every lot gives what is taken in hand until the quantity is good, over all needs of lenses and groups; every loss and rework counted",
        inputs=tuple(
            given(part, start.chance, source="chance that this lot is enough") for part, start in quantity.evaluation.starts.items()
        ),
    )  # fmt: skip
    yield from _spares(quantity)


def _spares(quantity: Quantity) -> Iterator[Figure]:
    worths = []
    for part, spares in spares_of(quantity.chances).items():
        yield Figure(
            name=f"spares {part}"[:60], value=spares, unit="pieces", source="expected good pieces beyond those needed, over all ways the lot may turn out",
            inputs=(given("started", quantity.evaluation.starts[part].started, "pieces", at=quantity.at("start_quantities", part)),),
        )  # fmt: skip
        worth = figure_of(
            spares_worth, name=part, unit=quantity.base, spares=given("spares", spares, "pieces", at=quantity.at("spares", part)),
            worth_each=given("worth_each", quantity.evaluation.made.worths[part].value, quantity.base, source="glass and operations of one more good piece"),
        )  # fmt: skip
        worths.append(worth)
    yield converted_figure(figure_of(total, name="worth", unit=quantity.base, amounts=worths), quantity.plans, name="spares_value")


def _variance(quantity: Quantity) -> Figure:
    chances, base = quantity.chances, quantity.base
    minutes = [
        figure_of(
            variance_of, name=f"minutes at {name}", unit=f"{base}2",
            amount=given("amount", amount, base, source="minutes of all parts there at the rates of the work centre"),
            variation=column("minutes_variation", chances.centres[name].minutes_variation, "", Rates.ref("work_centres", chances.centres[name])),
        )
        for name, amount in chances.by_centre.items()
    ]  # fmt: skip
    glass = [
        figure_of(
            variance_of, name=f"glass {name}", unit=f"{base}2",
            amount=given("amount", amount, base, source="what is bought of it, as in the line of glass"),
            variation=quantity.term("glass_price_variation", chances.glass_variation),
        )
        for name, amount in chances.by_glass.items()
    ]  # fmt: skip
    losses = given(
        "losses", chances.variance_of_losses, f"{base}2", source="what lost pieces and batches cost beyond the plan, by the yields and batch losses of the route cards"
    )  # fmt: skip
    return figure_of(whole_variance, name="variance", unit=f"{base}2", variances=[*minutes, *glass, losses])


def expedite_figures(quantity: Quantity) -> Iterator[Figure]:
    """What an expedite costs for the whole quantity and when it ships; nothing where it is not offered."""
    sooner = expedited(quantity.evaluation, quantity.plans)
    if sooner is None:
        return
    surcharges = _surcharges(quantity, sooner)
    in_base = {figure.name: figure for figure in surcharges} | markup_figures(
        quantity, figure_of(total, name="cost", unit=quantity.base, amounts=surcharges)
    )
    lines = []
    for number, line in enumerate(sooner.lines):
        yield converted_figure(in_base[line.kind], quantity.plans, name=f"expedite lines {number} amount")
        lines.append(given(line.kind, line.amount, quantity.currency, at=quantity.at("expedite", "lines", number, "amount")))
    yield figure_of(total, name="expedite cost", unit=quantity.currency, amounts=lines)
    yield from _days(quantity, sooner)


def _days(quantity: Quantity, sooner: Expedited) -> Iterator[Figure]:
    terms, lead = quantity.plans.terms, sooner.schedule.lead_time
    shares = (
        quantity.term("expedite_queue_share", terms.expedite_queue_share or 0.0),
        quantity.term("overtime_hours_share", terms.overtime_hours_share or 0.0),
    )
    for name, days in (("p50_days", lead.p50_days), ("p90_days", lead.p90_days)):
        yield Figure(
            name=f"expedite {name}", value=days, unit="days", inputs=shares,
            source="as the lead time, each wait its queue share and each day longer by the share of overtime",
        )  # fmt: skip
    yield figure_of(
        days_saved, name="expedite days_saved",
        days_as_quoted=given("days_as_quoted", quantity.evaluation.lead_time.p90_days, "days", at=quantity.at("lead_time", "p90_days")),
        days_then=given("days_then", lead.p90_days, "days", at=quantity.at("expedite", "p90_days")),
    )  # fmt: skip


def _surcharges(quantity: Quantity, sooner: Expedited) -> list[Figure]:
    """Priority, overtime and faster glass, in the base currency."""
    faster = tuple(figure for glass in sooner.glass for figure in faster_figures(glass, quantity.base))
    return [
        priority_figure(quantity),
        overtime_figure(quantity),
        figure_of(total, name="faster_glass", unit=quantity.base, amounts=faster),
    ]


def priority_figure(quantity: Quantity) -> Figure:
    """What it costs to go first in every queue, in the base currency."""
    return figure_of(
        priority_cost, name="priority", unit=quantity.base,
        operations=given("operations", quantity.evaluation.costs.operations, quantity.base, source="the line of operations, before its conversion"),
        priority_share=quantity.term("expedite_priority_share", quantity.plans.terms.expedite_priority_share or 0.0),
    )  # fmt: skip


def overtime_figure(quantity: Quantity) -> Figure:
    """What overtime costs more, in the base currency."""
    terms, labour = quantity.plans.terms, attended_cost(quantity.evaluation, quantity.plans)
    return figure_of(
        overtime_cost, name="overtime", unit=quantity.base,
        labour=given("labour", labour, quantity.base, source="attended minutes of all operations at the labour rates of their work centres"),
        hours_share=quantity.term("overtime_hours_share", terms.overtime_hours_share or 0.0),
        overtime_surcharge=quantity.term("overtime_surcharge", terms.overtime_surcharge or 0.0),
    )  # fmt: skip


def faster_figures(glass: FasterGlass, base: str) -> Iterator[Figure]:
    """What the faster delivery of a purchase costs more, stock by stock."""
    for stock in glass.stocks:
        yield figure_of(
            express_surcharge, name=f"faster {glass.glass}", unit=base,
            times=given("times", stock.times, source="how often the purchase is made"),
            amount=given("amount", stock.amount, base, source="what it costs by the usual delivery, of the blank plan"),
            surcharge_share=column("express_surcharge", stock.row.express_surcharge or 0.0, "", Rates.ref("stock_forms", stock.row)),
        )  # fmt: skip
