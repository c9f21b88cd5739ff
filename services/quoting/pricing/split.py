"""What it costs to send an order in several deliveries: each beyond the first is packed as a lot and sent by itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from services.optics.law import law
from services.quoting.costs.money import in_currency
from services.quoting.pricing.plans import Made, Plans
from services.quoting.pricing.price import Markups, markups
from services.shop.minutes import exact_minutes_cost
from shared_schemas.lead_times import Delivery
from shared_schemas.operations import FREIGHT, Operation
from shared_schemas.rates import WorkCentreRow


@dataclass(frozen=True)
class SplitCharge:
    """The charge for the deliveries of a quantity beyond the first: the packing of a lot, its freight, and what is put on, in the base currency."""

    more: int
    packing: Operation | None
    centre: WorkCentreRow | None
    freight: Decimal
    markups: Markups
    amount: Decimal
    """In the currency of the quote."""

    @property
    def packing_cost(self) -> Decimal:
        """Packing one more lot."""
        return packing_cost(self.packing, self.centre)

    @property
    def cost(self) -> Decimal:
        """What all of them cost before overhead."""
        return split_cost(more=self.more, packing=self.packing_cost, freight=self.freight)


@law
def split_cost(*, more: int, packing: Decimal, freight: Decimal) -> Decimal:
    """What deliveries beyond the first cost: a lot packed, and sent, for each.

    Equation: more * (packing + freight)
    Source: common practice.
    """
    return more * (packing + freight)


def packing_cost(packing: Operation | None, centre: WorkCentreRow | None) -> Decimal:
    """What it costs to pack one more lot: the set-up of packing, with a person there all the time."""
    if packing is None or centre is None:
        return Decimal(0)
    return exact_minutes_cost(
        machine_min=packing.setup_min, attended_min=packing.setup_min, machine_rate_per_h=centre.machine_rate_per_h,
        labour_rate_per_h=centre.labour_rate_per_h,
    )  # fmt: skip


def deliveries_of(deliveries: Sequence[Delivery], quantity: int) -> tuple[Delivery, ...]:
    """The deliveries of a request where they are parts of that quantity; none of any other."""
    return tuple(deliveries) if sum(one.quantity for one in deliveries) == quantity else ()


def split_charge(plans: Plans, made: Made, quantity: int) -> SplitCharge | None:
    """What the deliveries of a quantity beyond the first are charged at; `None` where it goes in one."""
    more = len(deliveries_of(plans.deliveries, quantity)) - 1
    if more < 1:
        return None
    packing = next((one for one in made.lens.operations if one.operation == "pack"), None)
    centre = None if packing is None else plans.rates.work_centre(packing.work_centre)
    freight = sum((part.lot_charge for part in plans.bought_parts if part.name.startswith(FREIGHT)), Decimal(0))
    cost = split_cost(more=more, packing=packing_cost(packing, centre), freight=freight)
    added = markups(cost, plans.terms_at(quantity), quantity=quantity)
    whole = cost + added.overhead + added.contingency + added.margin
    return SplitCharge(more, packing, centre, freight, added, in_currency(whole, plans.currency))
