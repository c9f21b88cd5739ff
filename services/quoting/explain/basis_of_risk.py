"""Why the cost may turn out otherwise, and what an expedite costs: both down to the rate rows that say so."""

from __future__ import annotations

import math
from decimal import Decimal

from services.quoting.pricing.evaluation import Evaluation, Plans, uncertain
from services.quoting.pricing.sooner import Expedited, FasterGlass, expedited
from shared_schemas.figure import Figure
from shared_schemas.rates import Rates

SPREAD = (
    "sqrt(sum of (minutes_cost x minutes_variation)^2 + sum of (glass x glass_price_variation)^2 + losses) / quantity x per_base"
)


def spread_figure(found: Evaluation, plans: Plans) -> Figure:
    """The standard deviation of the cost of one lens: minutes by work centre, glass prices, and what is lost."""
    chances = uncertain(found, plans)
    centres = {cost.work_centre.name: cost.work_centre for costs in found.operations.values() for cost in costs}
    base = plans.rates.base_currency
    minutes = tuple(
        Figure(
            name=f"minutes_cost {name}"[:60], value=amount, unit=base, formula="minutes of all parts there x rates of the work centre",
            inputs=(
                Figure(name="minutes_variation", value=centres[name].minutes_variation, rate_row=Rates.ref("work_centres", centres[name])),
            ),
        )
        for name, amount in chances.by_centre.items()
    )  # fmt: skip
    variation = Figure(name="glass_price_variation", value=chances.glass_variation, rate_row=Rates.ref("commercial", plans.terms))
    glass = tuple(
        Figure(name=f"glass {name}"[:60], value=amount, unit=base, formula="what is bought of it", inputs=(variation,))
        for name, amount in chances.by_glass.items()
    )
    losses = Figure(
        name="losses", value=sum(part.from_batches + part.from_pieces for part in chances.parts.values()), unit=f"{base}2",
        formula="variance of what lost pieces and batches cost beyond the plan, by the yields and batch losses of the route cards",
    )  # fmt: skip
    return Figure(
        name="unit_cost_spread",
        value=math.sqrt(chances.variance) / found.quantity * float(plans.currency.per_base),
        unit=plans.currency.name,
        formula=SPREAD,
        inputs=(*minutes, *glass, losses),
    )


def expedite_figures(found: Evaluation, plans: Plans) -> tuple[Figure, ...]:
    """What an expedite costs for the whole quantity; nothing where it is not offered."""
    sooner = expedited(found, plans)
    if sooner is None:
        return ()
    base, currency = plans.rates.base_currency, plans.currency.name
    surcharges = Figure(
        name="surcharges", value=sooner.surcharges.total, unit=base, formula="sum of the inputs",
        inputs=(_priority(found, plans, sooner), _overtime(plans, sooner), *_faster_glass(sooner, base)),
    )  # fmt: skip
    put_on = (
        _term("overhead_share", plans.terms.overhead_share, plans),
        _term("contingency_share", plans.terms.contingency_share, plans),
        _term("margin_share", plans.terms.margin_at(found.quantity), plans),
        Figure(name="per_base", value=plans.currency.per_base, rate_row=Rates.ref("currencies", plans.currency)),
    )
    cost = Figure(
        name="expedite", value=sooner.cost, unit=currency,
        formula="surcharges x (1 + overhead_share) x (1 + contingency_share) / (1 - margin_share) x per_base, line by line",
        inputs=(surcharges, *put_on),
    )  # fmt: skip
    days = Figure(
        name="expedite_days",
        value=sooner.schedule.lead_time.p50_days,
        unit="days",
        formula="as lead_time, each wait x expedite_queue_share, each day longer by overtime_hours_share",
        inputs=(
            _term("expedite_queue_share", plans.terms.expedite_queue_share or 0.0, plans),
            _term("overtime_hours_share", plans.terms.overtime_hours_share or 0.0, plans),
        ),
    )
    return cost, days


def _term(name: str, value: float, plans: Plans) -> Figure:
    return Figure(name=name, value=value, rate_row=Rates.ref("commercial", plans.terms))


def _priority(found: Evaluation, plans: Plans, sooner: Expedited) -> Figure:
    return Figure(
        name="priority", value=sooner.surcharges.priority, unit=plans.rates.base_currency, formula="operations x expedite_priority_share",
        inputs=(
            Figure(name="operations", value=found.costs.operations, unit=plans.rates.base_currency, formula="sum of all route cards"),
            _term("expedite_priority_share", plans.terms.expedite_priority_share or 0.0, plans),
        ),
    )  # fmt: skip


def _overtime(plans: Plans, sooner: Expedited) -> Figure:
    return Figure(
        name="overtime", value=sooner.surcharges.overtime, unit=plans.rates.base_currency,
        formula="labour x overtime_hours_share / (1 + overtime_hours_share) x overtime_surcharge",
        inputs=(
            Figure(name="labour", value=sooner.labour, unit=plans.rates.base_currency, formula="sum of attended_min / 60 x labour_rate_per_h"),
            _term("overtime_hours_share", plans.terms.overtime_hours_share or 0.0, plans),
            _term("overtime_surcharge", plans.terms.overtime_surcharge or 0.0, plans),
        ),
    )  # fmt: skip


def _faster_glass(sooner: Expedited, base: str) -> tuple[Figure, ...]:
    """What all glass by the faster delivery costs more; nothing where none is bought so."""
    if not sooner.glass:
        return ()
    inputs = tuple(_faster(one, base) for one in sooner.glass)
    return (
        Figure(name="faster_glass", value=sooner.surcharges.faster_glass, unit=base, formula="sum of the inputs", inputs=inputs),
    )


def _faster(one: FasterGlass, base: str) -> Figure:
    return Figure(
        name=f"faster {one.glass}"[:60], value=one.surcharge, unit=base, formula="sum of amounts x express_surcharge of their stock",
        inputs=tuple(
            Figure(name=row.name, value=Decimal(repr(row.express_surcharge or 0.0)), rate_row=Rates.ref("stock_forms", row))
            for row in one.rows
        ),
    )  # fmt: skip
