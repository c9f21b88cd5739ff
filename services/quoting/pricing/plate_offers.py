"""What a radius of a test plate that the shop owns would save the customer: charges for tools, and days."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from services.optics.law import law
from services.quoting.costs.money import in_currency, rounded, total
from services.quoting.pricing.evaluation import Evaluation
from services.quoting.pricing.plans import Plans
from services.quoting.pricing.price import unit_price
from services.quoting.pricing.quoted_money import in_quote_currency
from services.quoting.promise.lead_time import days_saved, schedule
from shared_schemas.operations import Relaxation, Tooling, ToolingOffer
from shared_schemas.quote import QuotedOffer, QuotedRelaxation

RADIUS = "radius"
"""What the tolerance of a relaxation is called that is the offer of a test plate."""


def quoted_offers(plans: Plans, offers: Sequence[ToolingOffer], *, against: Evaluation) -> tuple[QuotedOffer, ...]:
    """Each offer with its saving and its days at the quantity of `against`, most saved first; none of a plate that is not made then.

    Notes: where figures are tested with an interferometer no plate is charged, and so none is saved.
    """
    charged = {tool.name for tool in against.made.tooling}
    quoted = [_quoted(plans, offer, against) for offer in offers if not charged.isdisjoint(offer.not_needed)]
    return tuple(sorted(quoted, key=lambda one: (-one.saving, one.where, abs(one.to_radius_mm - one.from_radius_mm))))


def _quoted(plans: Plans, offer: ToolingOffer, against: Evaluation) -> QuotedOffer:
    converted = in_quote_currency(offer, plans)
    return QuotedOffer(
        where=offer.where,
        also=offer.also,
        part=offer.part,
        from_radius_mm=offer.from_radius_mm,
        to_radius_mm=offer.to_radius_mm,
        tool=offer.tool,
        focal_length_change_mm=offer.focal_length_change_mm,
        focal_length_change_share=offer.focal_length_change_share,
        not_needed=offer.not_needed,
        needed=tuple(in_quote_currency(tool, plans) for tool in offer.needed),
        saving=converted.saving,
        quantity=against.quantity,
        saving_per_unit=saving_per_unit(plans, tooling_with(against.made.tooling, (offer,)), against=against),
        days_saved=_days_saved(plans, offer, against),
        basis=converted.basis,
    )


def as_relaxations(offers: Sequence[QuotedOffer]) -> tuple[QuotedRelaxation, ...]:
    """The offers as relaxations, the nearest plate of each radius; none that saves nothing of a piece."""
    nearest: dict[str, QuotedOffer] = {}
    for offer in sorted(offers, key=lambda one: abs(one.to_radius_mm - one.from_radius_mm)):
        nearest.setdefault(offer.where, offer)
    return tuple(
        QuotedRelaxation(
            where=offer.where,
            tolerance=RADIUS,
            from_figure=offer.from_radius_mm,
            to_figure=offer.to_radius_mm,
            unit="mm",
            quantity=offer.quantity,
            saving_per_unit=offer.saving_per_unit,
            days_saved=offer.days_saved,
            means=f"{offer.tool} is owned; the focal length changes by {100 * offer.focal_length_change_share:+.2f} %",
            charged_once=True,
        )
        for offer in nearest.values()
        if offer.saving_per_unit > 0
    )


def tooling_with(tooling: Sequence[Tooling], taken: Sequence[ToolingOffer | Relaxation]) -> tuple[Tooling, ...]:
    """The tools to be charged when offers are taken, or relaxations granted."""
    gone = {name for one in taken if isinstance(one, ToolingOffer) for name in one.not_needed}
    left = {tool.name: tool for tool in tooling if tool.name not in gone}
    for tool in (tool for one in taken for tool in one.needed):
        left.setdefault(tool.name, tool)
    return tuple(left.values())


def saving_per_unit(plans: Plans, tooling: Sequence[Tooling], *, against: Evaluation) -> Decimal:
    """What other tools save of a piece, in the currency of the quote: their charges over the quantity, as the terms ask for them."""
    less = charges_less(
        charges=total(amounts=[tool.charge for tool in against.made.tooling]),
        charges_then=total(amounts=[tool.charge for tool in tooling]),
    )
    if plans.terms.tooling == "one_off":
        return charges_saved_each(
            saved=in_currency(less, plans.currency), quantity=against.quantity, minor_units=plans.currency.minor_units
        )
    costs = replace(against.costs, tooling=against.costs.tooling - less)
    return against.price.alone - unit_price(
        costs, quantity=against.quantity, terms=plans.terms_at(against.quantity), currency=plans.currency,
        discount_share=plans.discount_at(against.quantity),
    )  # fmt: skip


@law
def charges_less(*, charges: Decimal, charges_then: Decimal) -> Decimal:
    """What other tools save of the charges.

    Equation: charges - charges_then
    """
    return charges - charges_then


@law
def charges_saved_each(*, saved: Decimal, quantity: int, minor_units: int) -> Decimal:
    """What charges that fall away save of a piece, to the minor unit.

    Equation: round(saved / quantity, minor_units)
    """
    return rounded(saved / quantity, minor_units=minor_units)


def _days_saved(plans: Plans, offer: ToolingOffer, against: Evaluation) -> int:
    """Days by which the median date comes nearer without the tools; it is worked out where they may set it.

    Notes: where the median date waits for no tool of the offer in any draw, and none is needed, nothing moves.
    """
    dropped = set(offer.not_needed)
    network = against.schedule.network
    waited_for = any(
        part.delivery is not None and part.delivery.name in dropped and network.waits_for(name).any()
        for name, part in network.parts.items()
    )
    if not offer.needed and not waited_for:
        return 0
    then = schedule(
        routes=against.made.routes,
        operations=against.operations,
        materials=against.materials,
        bought_parts=plans.bought_parts,
        tooling=tooling_with(against.made.tooling, (offer,)),
        begin=plans.begin,
        shop=plans.shop,
        shortfalls=against.shortfalls,
        reuse=against.schedule,
    )
    return days_saved(days_as_quoted=against.schedule.p50_days, days_then=then.p50_days)
