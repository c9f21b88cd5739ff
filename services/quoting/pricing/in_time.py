"""Is it in time? Yes, no, or yes with something: an expedite, the cheapest offers together, a looser tolerance or two, or a part of the order first."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from itertools import combinations

from services.quoting.pricing.evaluation import Evaluation, evaluate
from services.quoting.pricing.loosening import loosened
from services.quoting.pricing.nearer.cheapest_set import OfferSet, cheapest_in_time
from services.quoting.pricing.nearer.single_offers import Offered
from services.quoting.pricing.plans import Plans
from services.quoting.pricing.plate_offers import RADIUS, tooling_with
from services.quoting.pricing.sooner import Expedited
from shared_schemas.operations import Relaxation, ToolingOffer
from shared_schemas.quote import InTime, QuotedRelaxation

TRIED = 4
"""So many of the relaxations that save most days are tried, alone and in pairs."""
FURTHEST = 3
"""Relaxations are not tried where they would have to save so many times the days that they save at the middle quantity."""


@dataclass(frozen=True)
class Answer:
    """Whether a quantity is in time, and what would bring it in."""

    in_time: InTime | None = None
    with_: tuple[str, ...] = ()
    cheapest: OfferSet | None = None


@dataclass(frozen=True)
class Deadline:
    """The day by which the lenses are needed, and what could be changed to keep it: `most` is the largest quantity asked for."""

    needed_by: date
    plans: Plans
    relaxations: Sequence[Relaxation]
    offers: Sequence[ToolingOffer]
    quoted: Sequence[QuotedRelaxation]
    most: int

    def answer(self, evaluation: Evaluation, expedited: Expedited | None, offers: Sequence[Offered] = ()) -> Answer:
        """Whether it ships in time, or else everything that would bring it in."""
        if evaluation.schedule.ship_date <= self.needed_by:
            return Answer("yes")
        cheapest = cheapest_in_time(offers, evaluation, self.plans, needed_by=self.needed_by) if offers else None
        together = tuple(self._together(cheapest, offers, evaluation)) if cheapest else ()
        sooner = tuple(self._expedite(expedited)) if expedited else ()
        ways = (*sooner, *together, *self._looser(evaluation), *self._part_first(evaluation))
        if not ways:
            return Answer("no", tuple(self._at_least(evaluation, expedited)))
        is_for_money = sooner or (cheapest and not any(offers[place].means.book for place in cheapest.places))
        return Answer("with_expedite" if is_for_money else "with_changes", ways, cheapest)

    def _together(self, cheapest: OfferSet, offers: Sequence[Offered], evaluation: Evaluation) -> Iterator[str]:
        """The cheapest set of offers in words."""
        words = " and ".join(offers[place].what for place in cheapest.places)
        days = (evaluation.schedule.ship_date - cheapest.ship_date).days
        yield f"{words}, for {cheapest.cost} {self.plans.currency.name}: ships {cheapest.ship_date}, {days} days sooner"

    def _at_least(self, evaluation: Evaluation, expedited: Expedited | None) -> Iterator[str]:
        """What there is though it is late: the earliest day, what that costs, and that no quantity is in time."""
        lead = evaluation.schedule
        if expedited is not None and expedited.schedule.ship_date < lead.ship_date:
            earliest = expedited.schedule.ship_date
            yield f"the earliest day is {earliest}, expedited for {expedited.cost} {self.plans.currency.name}"
        else:
            yield f"the earliest day is {lead.ship_date}, at the price quoted"
        if self._most_in_time is None:
            yield "not even one piece ships in time without an expedite"

    def _expedite(self, expedited: Expedited) -> Iterator[str]:
        lead = expedited.schedule
        if lead.ship_date <= self.needed_by:
            yield (
                f"an expedite for {expedited.cost} {self.plans.currency.name}: ships {lead.ship_date}, "
                f"{expedited.days_saved} days sooner"
            )

    def _looser(self, evaluation: Evaluation) -> Iterator[str]:
        """One relaxation that is enough, or else two together."""
        late_days = (evaluation.schedule.ship_date - self.needed_by).days
        for several in (1, 2):
            for granted in combinations(self._candidates, several):
                if late_days > FURTHEST * sum(one.days_saved for one in granted):
                    continue
                then = self._ships_with(evaluation, granted)
                if then <= self.needed_by:
                    yield f"{' and '.join(_in_words(one) for one in granted)}: ships {then}"
                    return

    @cached_property
    def _candidates(self) -> list[QuotedRelaxation]:
        """Those that save most days, first."""
        return sorted((one for one in self.quoted if one.days_saved > 0), key=lambda one: -one.days_saved)[:TRIED]

    def _ships_with(self, evaluation: Evaluation, granted: Sequence[QuotedRelaxation]) -> date:
        named = {(one.where, one.tolerance, one.to_figure) for one in granted}
        looser = [one for one in self.relaxations if (one.where, one.tolerance, one.to_figure) in named]
        plates = [one for one in self.offers if (one.where, RADIUS, one.to_radius_mm) in named]
        plans = replace(
            self.plans,
            routes=tuple(loosened(route, [one for one in looser if one.part == route.part]) for route in self.plans.routes),
            tooling=tooling_with(self.plans.tooling, (*plates, *looser)),
        )
        looser_still = evaluate(plans, quantity=evaluation.quantity, reuse=evaluation, evened=False, ways=evaluation.made.ways)
        return looser_still.schedule.ship_date

    def _part_first(self, evaluation: Evaluation) -> Iterator[str]:
        part = self._most_in_time
        if part is not None and part.quantity < evaluation.quantity:
            yield (
                f"{part.quantity} of the {evaluation.quantity} first: as an order of their own they ship {part.schedule.ship_date} "
                f"at {part.price.unit} {self.plans.currency.name} apiece"
            )

    @cached_property
    def _most_in_time(self) -> Evaluation | None:
        """The largest order up to the largest asked for that ships in time; found by halving, as larger ones take longer."""
        kept = evaluate(self.plans, quantity=1, evened=False)
        if kept.schedule.ship_date > self.needed_by:
            return None
        too_many = self.most + 1
        while too_many - kept.quantity > 1:
            tried = evaluate(self.plans, quantity=(kept.quantity + too_many) // 2, evened=False)
            if tried.schedule.ship_date <= self.needed_by:
                kept = tried
            else:
                too_many = tried.quantity
        return evaluate(self.plans, quantity=kept.quantity)


def _in_words(relaxation: QuotedRelaxation) -> str:
    figure = f"{relaxation.tolerance.replace('_', ' ')} {relaxation.to_figure:g} {relaxation.unit}".strip()
    return f"{figure if relaxation.tolerance == RADIUS else relaxation.means or figure} at {relaxation.where}"
