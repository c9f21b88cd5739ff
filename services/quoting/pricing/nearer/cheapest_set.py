"""The cheapest of all sets of offers that has an order in time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import reduce
from itertools import combinations

from services.quoting.costs.money import total
from services.quoting.pricing.evaluation import Evaluation
from services.quoting.pricing.nearer.means import Means, scheduled_with
from services.quoting.pricing.nearer.single_offers import Offered
from services.quoting.pricing.plans import Plans
from shared_schemas.lead_times import SoonerSet

MOST_WORKED_OUT = 24
"""Of so many sets of two offers and more the date is worked out, in the order of their price."""


@dataclass(frozen=True)
class OfferSet:
    """Several offers together, by their places; `cost` is the sum of theirs."""

    places: tuple[int, ...]
    cost: Decimal
    ship_date: date

    def as_set(self) -> SoonerSet:
        """As it stands in the quote."""
        return SoonerSet(offers=self.places, cost=self.cost, ship_date=self.ship_date)


def ships_with(offers: Sequence[Offered], evaluation: Evaluation, plans: Plans) -> date:
    """The day when all of these are done together; one that would be in the way of another is paid for and not made use of."""
    alone = min(one.ship_date for one in offers)
    if len(offers) == 1:
        return alone
    means = reduce(Means.and_also, (one.means for one in offers))
    return min(scheduled_with(means, evaluation, plans).ship_date, alone)


def cheapest_in_time(offers: Sequence[Offered], evaluation: Evaluation, plans: Plans, *, needed_by: date) -> OfferSet | None:
    """The cheapest set that ships by a day at nine in ten; `None` where everything together does not.

    Notes:
        All sets are gone through by their price and, at the same price, the smaller first; sets that move other work only after
        all that do not, as those orders pay for it with their days. A set that lies within one known to be late is late too. Where the
        cheapest is not among the `MOST_WORKED_OUT` first, it is everything together that is offered.
    """
    own = tuple(place for place, one in enumerate(offers) if one.means.book is None)
    everything = tuple(range(len(offers)))
    for places in (own, everything) if own != everything else (own,):
        found = _cheapest_of(places, offers, evaluation, plans, needed_by)
        if found is not None:
            return found
    return None


def _cheapest_of(
    places: Sequence[int], offers: Sequence[Offered], evaluation: Evaluation, plans: Plans, needed_by: date
) -> OfferSet | None:  # fmt: skip
    if not places:
        return None
    whole = _worked_out(places, offers, evaluation, plans)
    if whole.ship_date > needed_by:
        return None
    late: list[frozenset[int]] = []
    worked_out = 0
    for chosen in _by_price(places, offers):
        if any(late_set.issuperset(chosen) for late_set in late):
            continue
        if len(chosen) > 1:
            worked_out += 1
            if worked_out > MOST_WORKED_OUT:
                break
        found = _worked_out(chosen, offers, evaluation, plans)
        if found.ship_date <= needed_by:
            return found
        late.append(frozenset(chosen))
    return whole


def _by_price(places: Sequence[int], offers: Sequence[Offered]) -> list[tuple[int, ...]]:
    sets = [chosen for number in range(1, len(places) + 1) for chosen in combinations(places, number)]
    return sorted(sets, key=lambda chosen: (_cost(chosen, offers), len(chosen), chosen))


def _cost(places: Sequence[int], offers: Sequence[Offered]) -> Decimal:
    return total(amounts=[offers[place].cost for place in places])


def _worked_out(places: Sequence[int], offers: Sequence[Offered], evaluation: Evaluation, plans: Plans) -> OfferSet:
    chosen = [offers[place] for place in places]
    return OfferSet(tuple(places), _cost(places, offers), ships_with(chosen, evaluation, plans))
