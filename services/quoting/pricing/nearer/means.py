"""What is done to have an order sooner, and when it is ready then: all of it worked out together, never by adding days."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from services.quoting.costs.cost import OperationCost
from services.quoting.costs.suppliers import Shipment, sent_out
from services.quoting.pricing.evaluation import Evaluation
from services.quoting.pricing.plans import Plans
from services.quoting.pricing.sooner import FasterGlass
from services.quoting.promise.lead_time import Schedule
from shared_schemas.load import LoadSnapshot


@dataclass(frozen=True)
class FasterPurchase:
    """One of the purchases of an order, by its place among them, and its faster delivery."""

    place: int
    glass: FasterGlass


@dataclass(frozen=True)
class Means:
    """Everything that is done to have an order sooner; `book` is the book of load with other work moved out of it."""

    goes_first: bool = False
    overtime: bool = False
    purchases: tuple[FasterPurchase, ...] = ()
    shipments: tuple[Shipment, ...] = ()
    book: LoadSnapshot | None = None

    def and_also(self, other: Means) -> Means:
        """Both done; at most one of them moves other work."""
        return Means(
            goes_first=self.goes_first or other.goes_first,
            overtime=self.overtime or other.overtime,
            purchases=(*self.purchases, *(one for one in other.purchases if one not in self.purchases)),
            shipments=(*self.shipments, *(one for one in other.shipments if one not in self.shipments)),
            book=self.book or other.book,
        )


def scheduled_with(means: Means, evaluation: Evaluation, plans: Plans) -> Schedule:
    """The order in time when all of that is done."""
    shop = plans.shop_for(goes_first=means.goes_first, overtime=means.overtime, load=means.book)
    materials = list(evaluation.materials)
    for one in means.purchases:
        materials[one.place] = replace(materials[one.place], lead_days=one.glass.lead_days)
    operations = _with_shipments(evaluation.operations, means.shipments, shop.calendar.hours_per_week)
    return evaluation.scheduled(shop, materials, reuse=evaluation.schedule, operations=operations)


def _with_shipments(
    operations: Mapping[str, Sequence[OperationCost]], shipments: Sequence[Shipment], hours_per_week: float
) -> Mapping[str, Sequence[OperationCost]]:
    parts = dict.fromkeys(one.part for one in shipments)
    away = {
        part: sent_out(operations[part], [one for one in shipments if one.part == part], hours_per_week=hours_per_week)
        for part in parts
    }
    return {**operations, **away}
