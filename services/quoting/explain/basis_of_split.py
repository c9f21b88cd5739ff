"""Why deliveries beyond the first cost what they cost."""

from __future__ import annotations

from services.optics.law import column, figure_of, given
from services.quoting.costs.money import total
from services.quoting.explain.quantity import Quantity
from services.quoting.pricing.price import contingency_on, margin_on, overhead_on
from services.quoting.pricing.split import SplitCharge, split_cost
from services.shop.minutes import exact_minutes_cost
from shared_schemas.figure import Figure
from shared_schemas.rates import Rates


def deliveries_figure(quantity: Quantity) -> dict[str, Figure]:
    """The line of deliveries beyond the first in the base currency, by its kind; nothing where an order goes in one."""
    split = quantity.evaluation.split
    if split is None:
        return {}
    terms, unit = quantity.plans.terms_at(quantity.evaluation.quantity), quantity.base
    cost = figure_of(
        split_cost, name="cost", unit=unit, more=given("more", split.more, source="the deliveries of the request, less one"),
        packing=_packing(split, quantity), freight=given("freight", split.freight, unit, source="rate table commercial: freight_per_lot"),
    )  # fmt: skip
    overhead = figure_of(
        overhead_on, name="overhead", unit=unit, cost=cost, overhead_share=quantity.term("overhead_share", terms.overhead_share)
    )
    contingency = figure_of(
        contingency_on, name="contingency", unit=unit, cost=cost, overhead=overhead,
        contingency_share=quantity.term("contingency_share", terms.contingency_share),
    )  # fmt: skip
    margin = figure_of(
        margin_on, name="margin", unit=unit, cost=cost, overhead=overhead, contingency=contingency,
        margin_share=quantity.term("margin_share", terms.margin_at(quantity.evaluation.quantity)),
    )  # fmt: skip
    return {"deliveries": figure_of(total, name="deliveries", unit=unit, amounts=(cost, overhead, contingency, margin))}


def _packing(split: SplitCharge, quantity: Quantity) -> Figure:
    if split.packing is None or split.centre is None:
        return given("packing", split.packing_cost, quantity.base, source="nothing is packed")
    setup, ref = split.packing.setup_min, Rates.ref("work_centres", split.centre)
    source = "the set-up of packing, with a person there all the time"
    return figure_of(
        exact_minutes_cost, name="packing", unit=quantity.base, machine_min=given("machine_min", setup, "min", source=source),
        attended_min=given("attended_min", setup, "min", source=source),
        machine_rate_per_h=column("machine_rate_per_h", split.centre.machine_rate_per_h, "", ref),
        labour_rate_per_h=column("labour_rate_per_h", split.centre.labour_rate_per_h, "", ref),
    )  # fmt: skip
