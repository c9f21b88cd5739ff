"""What would bring a quantity nearer, one thing at a time: its days, its price, and whom it delays."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import numpy as np

from services.quoting.costs.money import in_currency, total
from services.quoting.costs.suppliers import Shipment, away_h, outside_cost, shipments_to, what_is_saved
from services.quoting.pricing.evaluation import Evaluation
from services.quoting.pricing.nearer.means import FasterPurchase, Means, scheduled_with
from services.quoting.pricing.nearer.moving_work import Displaced, moved_work
from services.quoting.pricing.plans import Plans
from services.quoting.pricing.price import NAMES, Markups, markups, sum_of
from services.quoting.pricing.sooner import attended_cost, faster_glass, overtime_cost, priority_cost
from services.quoting.promise.lead_time import days_saved
from shared_schemas.lead_times import Line, LineKind, SoonerKind, SoonerOffer
from shared_schemas.operation_kinds import operation_words
from shared_schemas.rates import OutsideWorkRow

MOST_GLASSES = 2
"""So many of the glasses that begin the path most often are tried by their faster delivery, each alone."""
LATE_FROM = 0.8
"""A supplier is weighed by the draws that are done last: this share of all is done before them."""
MOST_SUPPLIERS = 2
"""So many suppliers are tried: those whose operations take most days of the path beyond their own lead days."""


@dataclass(frozen=True)
class Offered:
    """One thing that would bring a quantity nearer; `surcharge` and `added` are in the base currency, `lines` in that of the quote."""

    kind: SoonerKind
    what: str
    means: Means
    days_as_quoted: int
    days_then: int
    ship_date: date
    surcharge: Decimal
    added: Markups
    lines: tuple[Line, ...]
    displaced: tuple[Displaced, ...] = ()

    @property
    def days_saved(self) -> int:
        """Days by which nine of ten are ready sooner."""
        return days_saved(days_as_quoted=self.days_as_quoted, days_then=self.days_then)

    @property
    def cost(self) -> Decimal:
        """What the customer pays more for the whole quantity."""
        return sum_of(self.lines)

    def as_offer(self) -> SoonerOffer:
        """As it stands in the quote."""
        return SoonerOffer(
            kind=self.kind,
            what=self.what,
            cost=self.cost,
            lines=self.lines,
            days_saved=self.days_saved,
            ship_date=self.ship_date,
            moves=tuple(one.as_slipped() for one in self.displaced),
        )


def single_offers(evaluation: Evaluation, plans: Plans) -> tuple[Offered, ...]:
    """Everything that gains a day by itself.

    Notes: first in every queue and overtime where the terms know them, as in an expedite; glass by its faster delivery, each glass alone or,
    where none gains a day alone, all together; a supplier in the place of one operation; other work that gives way, where there is a book.
    """
    found = (
        *_of_the_terms(evaluation, plans),
        *_glass(evaluation, plans),
        *_suppliers(evaluation, plans),
        *_other_work(evaluation, plans),
    )
    return tuple(one for one in found if one.days_saved > 0)


def _of_the_terms(evaluation: Evaluation, plans: Plans) -> Iterator[Offered]:
    terms = plans.terms
    if terms.expedite_queue_share is not None:
        share = terms.expedite_priority_share or 0.0
        cost = priority_cost(operations=evaluation.costs.operations, priority_share=share)
        yield _offered("priority", "first in every queue", Means(goes_first=True), cost, evaluation, plans)
    if terms.overtime_hours_share:
        cost = overtime_cost(
            labour=attended_cost(evaluation, plans), hours_share=terms.overtime_hours_share,
            overtime_surcharge=terms.overtime_surcharge or 0.0,
        )  # fmt: skip
        words = f"overtime, {terms.overtime_hours_share:.0%} more hours a day"
        yield _offered("overtime", words, Means(overtime=True), cost, evaluation, plans)


def _glass(evaluation: Evaluation, plans: Plans) -> Iterator[Offered]:
    candidates = _candidates(evaluation, plans)
    alone = [_by_faster_delivery(purchases, evaluation, plans) for purchases in candidates[:MOST_GLASSES]]
    if any(one.days_saved > 0 for one in alone) or len(candidates) < 2:
        yield from alone
    else:
        yield _by_faster_delivery([one for purchases in candidates for one in purchases], evaluation, plans)


def _candidates(evaluation: Evaluation, plans: Plans) -> list[list[FasterPurchase]]:
    """Purchases that begin the path in some draw and that come faster, by their glass; the glass that begins it most often first."""
    network = evaluation.schedule.network
    by_glass: dict[str, list[FasterPurchase]] = {}
    begins: dict[str, int] = {}
    for place, material in enumerate(evaluation.materials):
        name = material.model.glass
        waiting = sum(
            int(np.count_nonzero(network.waits_for(member)))
            for member in material.model.members
            if (delivery := network.parts[member].delivery) is not None and delivery.name == f"glass {name}"
        )
        faster = faster_glass(material, plans) if waiting else None
        if faster is not None:
            by_glass.setdefault(name, []).append(FasterPurchase(place, faster))
            begins[name] = begins.get(name, 0) + waiting
    return [by_glass[name] for name in sorted(by_glass, key=lambda name: (-begins[name], name))]


def _by_faster_delivery(purchases: Sequence[FasterPurchase], evaluation: Evaluation, plans: Plans) -> Offered:
    glasses = dict.fromkeys(one.glass.glass for one in purchases)
    days = max(one.glass.lead_days for one in purchases)
    usual = max(evaluation.materials[one.place].lead_days for one in purchases)
    words = f"{', '.join(glasses)} by the faster delivery, {days:g} days instead of {usual:g}"
    cost = total(amounts=[one.glass.surcharge for one in purchases])
    return _offered("faster_glass", words, Means(purchases=tuple(purchases)), cost, evaluation, plans)


def _suppliers(evaluation: Evaluation, plans: Plans) -> Iterator[Offered]:
    """Of the suppliers of each operation the one that has most to gain, of two alike the cheaper, and of these the best."""
    best: dict[str, tuple[tuple[float, Decimal], OutsideWorkRow, list[Shipment]]] = {}
    for row in plans.rates.outside_work:
        shipments, gain_h = _worth_sending(row, evaluation, plans)
        gains = (gain_h, -sum((one.charge for one in shipments), Decimal(0)))
        if gain_h > 0 and (row.operation not in best or gains > best[row.operation][0]):
            best[row.operation] = (gains, row, shipments)
    for _, row, shipments in sorted(best.values(), key=lambda one: (-one[0][0], -one[0][1], one[1].operation))[:MOST_SUPPLIERS]:
        lots = what_is_saved(shipments, evaluation.operations)
        saved = [amount for one in lots for amount in one.saved]
        cost = outside_cost(charges=total(amounts=[one.charge for one in lots]), saved=total(amounts=saved))
        parts = ", ".join(dict.fromkeys(one.part for one in lots))
        words = f"{operation_words(row.operation)} of {parts} by the {row.name}, back after {row.lead_days:g} days"
        yield _offered("outside", words, Means(shipments=lots), cost, evaluation, plans)


def _worth_sending(row: OutsideWorkRow, evaluation: Evaluation, plans: Plans) -> tuple[list[Shipment], float]:
    """The lots that a supplier has back before the shop would have done them, where the order is late, and the hours gained on its path then."""
    schedule = evaluation.schedule
    lead_h = away_h(lead_days=row.lead_days, hours_per_week=schedule.shop.calendar.hours_per_week)
    late = schedule.network.done >= schedule.hours(LATE_FROM)
    sent: list[Shipment] = []
    gain_h = 0.0
    for name, costs in evaluation.operations.items():
        on_path = schedule.network.on_path[name] & late
        diameter_mm = _diameter_mm(name, evaluation)
        if diameter_mm is None or not row.takes(diameter_mm) or not on_path.any():
            continue
        passage = schedule.network.parts[name].passage
        times = (passage.arrival, *passage.finishes)
        for shipment in shipments_to(row, costs):
            own_h = (times[shipment.places[-1] + 1] - times[shipment.places[0]])[on_path]
            if own_h.mean() > lead_h:
                sent.append(shipment)
                gain_h += float((own_h - lead_h).sum())
    return sent, gain_h


def _diameter_mm(part: str, evaluation: Evaluation) -> float | None:
    """Diameter of the blank of an element, of a group that of its widest; `None` for the lens in its mount."""
    made = evaluation.made
    if part in made.blanks:
        return made.blanks[part].diameter_mm
    route = evaluation.routes[part]
    if route.kind != "cemented_group":
        return None
    return max((made.blanks[one.part].diameter_mm for one in route.consumes if one.part in made.blanks), default=None)


def _other_work(evaluation: Evaluation, plans: Plans) -> Iterator[Offered]:
    """One accepted order that gives way, or more where that gains more days."""
    best: Offered | None = None
    for moved in moved_work(evaluation, plans):
        centres = ", ".join(dict.fromkeys(one.work_centre for one in moved.displaced))
        words = f"other work gives way at the {centres}"
        then = _offered("moving_work", words, Means(book=moved.book), Decimal(0), evaluation, plans, displaced=moved.displaced)
        if best is None or then.days_saved > best.days_saved:
            best = then
    if best is not None:
        yield best


def _offered(
    kind: SoonerKind, what: str, means: Means, surcharge: Decimal, evaluation: Evaluation, plans: Plans, *,
    displaced: tuple[Displaced, ...] = (),
) -> Offered:  # fmt: skip
    schedule = scheduled_with(means, evaluation, plans)
    added = markups(surcharge, plans.terms_at(evaluation.quantity), quantity=evaluation.quantity)
    return Offered(
        kind=kind,
        what=what,
        means=means,
        days_as_quoted=evaluation.schedule.p90_days,
        days_then=schedule.p90_days,
        ship_date=schedule.ship_date,
        surcharge=surcharge,
        added=added,
        lines=_lines(kind, surcharge, added, plans) if surcharge else (),
        displaced=displaced,
    )


def _lines(kind: SoonerKind, surcharge: Decimal, added: Markups, plans: Plans) -> tuple[Line, ...]:
    assert kind != "moving_work"
    amounts: dict[LineKind, Decimal] = {
        kind: surcharge,
        "overhead": added.overhead,
        "contingency": added.contingency,
        "margin": added.margin,
    }
    return tuple(
        Line(name=NAMES[name], kind=name, amount=in_currency(amount, plans.currency)) for name, amount in amounts.items() if amount
    )
