"""What a draft does to quotes: each as issued, at today's rates and with the draft, and all of them together, or those of a customer."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TypeVar

from shared_schemas.quote import middle_quantity
from shared_schemas.rate_impact import (
    MOST_CUSTOMERS,
    MOST_MOVERS,
    ImpactedBreak,
    ImpactedQuote,
    ImpactFigures,
    ImpactMover,
    ImpactOnCustomer,
    ImpactSum,
    ImpactTotals,
    KeptPrice,
    RatedBreak,
    RatedQuote,
    ThreeAmounts,
    ThreeCounts,
)

Figure = TypeVar("Figure", Decimal, int)


@dataclass(frozen=True)
class Rated:
    """One quote three times over; `None` where it was refused, or is not worked out."""

    issued: RatedQuote | None
    today: RatedQuote | None
    draft: RatedQuote | None

    def each(self) -> tuple[RatedQuote | None, RatedQuote | None, RatedQuote | None]:
        """In the order of time."""
        return self.issued, self.today, self.draft


def figures_of(rated: Rated) -> ImpactFigures | None:
    """The three beside each other, what drifted and what the draft does; `None` where there is none of them. All answer one request."""
    known = [one for one in rated.each() if one is not None]
    if not known:
        return None
    by_quantity = [None if one is None else {each.quantity: each for each in one.breaks} for one in rated.each()]
    return ImpactFigures(
        currency=known[0].currency,
        breaks=tuple(
            _break(quantity, *(None if one is None else one[quantity] for one in by_quantity))
            for quantity in [each.quantity for each in known[0].breaks]
        ),
        tooling=_amounts(*(None if one is None else one.tooling for one in rated.each())),
    )


def _break(quantity: int, issued: RatedBreak | None, today: RatedBreak | None, draft: RatedBreak | None) -> ImpactedBreak:
    three = (issued, today, draft)
    unit = _amounts(*_each(three, lambda one: one.unit_price))
    return ImpactedBreak(
        quantity=quantity,
        unit_price=unit,
        drift_share=_share(unit.drift, of=unit.issued),
        effect_share=_share(unit.effect, of=unit.today),
        total_price=_amounts(*_each(three, lambda one: one.total_price)),
        unit_cost=_amounts(*_each(three, lambda one: one.unit_cost)),
        price_kept=None if issued is None else _kept(issued, today, draft),
        p50_days=_counts(*_each(three, lambda one: one.p50_days)),
        p90_days=_counts(*_each(three, lambda one: one.p90_days)),
    )


def _kept(issued: RatedBreak, today: RatedBreak | None, draft: RatedBreak | None) -> KeptPrice:
    price = issued.total_price

    def margin_share(rated: RatedBreak | None) -> float | None:
        return None if rated is None else _share(price - rated.paid, of=price) or 0.0

    return KeptPrice(
        margin_share_issued=margin_share(issued) or 0.0,
        margin_share_today=margin_share(today),
        margin_share_draft=margin_share(draft),
        loss_chance_issued=issued.loss_chance,
        loss_chance_today=None if today is None else today.loss_chance,
        loss_chance_draft=None if draft is None else draft.loss_chance,
    )


def _each(three: Sequence[RatedBreak | None], figure: Callable[[RatedBreak], Figure]) -> list[Figure | None]:
    return [None if one is None else figure(one) for one in three]


def _amounts(issued: Decimal | None, today: Decimal | None, draft: Decimal | None) -> ThreeAmounts:
    return ThreeAmounts(issued=issued, today=today, draft=draft, drift=_less(today, issued), effect=_less(draft, today))


def _counts(issued: int | None, today: int | None, draft: int | None) -> ThreeCounts:
    return ThreeCounts(issued=issued, today=today, draft=draft, drift=_less(today, issued), effect=_less(draft, today))


def _less(one: Figure | None, other: Figure | None) -> Figure | None:
    return None if one is None or other is None else one - other


def _share(part: Decimal | None, *, of: Decimal | None) -> float | None:
    """A part as a share, 0 of nothing."""
    if part is None or of is None:
        return None
    return round(float(part / of), 6) if of else 0.0


def totals_of(quotes: Sequence[ImpactedQuote]) -> ImpactTotals:
    """Quotes of an impact together, those that are worked out."""
    worked_out = [(one, one.figures) for one in quotes if one.figures is not None]
    return ImpactTotals(
        changed=sum(_moves(figures, "effect") for _, figures in worked_out),
        dearer=sum(any((each.effect_share or 0) > 0 for each in figures.breaks) for _, figures in worked_out),
        cheaper=sum(any((each.effect_share or 0) < 0 for each in figures.breaks) for _, figures in worked_out),
        drifted=sum(_moves(figures, "drift") for _, figures in worked_out),
        newly_refused=sum(one.newly_refused for one in quotes),
        newly_quotable=sum(one.newly_quotable for one in quotes),
        largest_movers=_largest_movers(worked_out),
        sums=tuple(_sums([figures for _, figures in worked_out])),
    )


def by_customer(quotes: Sequence[ImpactedQuote]) -> tuple[ImpactOnCustomer, ...]:
    """The same for each customer, those first whom the draft moves most; of equals the first by name."""
    of_each: dict[str, list[ImpactedQuote]] = {}
    for one in quotes:
        of_each.setdefault(one.customer, []).append(one)
    found = [ImpactOnCustomer(customer=customer, totals=totals_of(theirs)) for customer, theirs in sorted(of_each.items())]
    return tuple(sorted(found, key=lambda one: -_largest_share(one.totals))[:MOST_CUSTOMERS])


def _largest_share(totals: ImpactTotals) -> float:
    return max((abs(mover.share) for mover in totals.largest_movers), default=0.0)


def _moves(figures: ImpactFigures, what: str) -> bool:
    return bool(getattr(figures.tooling, what)) or any(
        getattr(three, what)
        for price_break in figures.breaks
        for three in (price_break.unit_price, price_break.p50_days, price_break.p90_days)
    )


def _largest_movers(worked_out: Iterable[tuple[ImpactedQuote, ImpactFigures]]) -> tuple[ImpactMover, ...]:
    movers = []
    for quote, figures in worked_out:
        moved = max(figures.breaks, key=lambda one: abs(one.effect_share or 0.0))
        if moved.effect_share:
            movers.append(
                ImpactMover(
                    number=quote.number,
                    revision=quote.revision,
                    customer=quote.customer,
                    quantity=moved.quantity,
                    share=moved.effect_share,
                    unit_price=moved.unit_price,
                    currency=figures.currency,
                )
            )
    return tuple(sorted(movers, key=lambda one: -abs(one.share))[:MOST_MOVERS])


def _sums(every: Sequence[ImpactFigures]) -> Iterator[ImpactSum]:
    """Sums of those that have all three prices, by currency."""
    whole = [figures for figures in every if all(each.unit_price.effect is not None and each.unit_price.drift is not None for each in figures.breaks)]  # fmt: skip
    for currency in sorted({figures.currency for figures in whole}):
        quotes = [{one.quantity: one.total_price for one in figures.breaks} for figures in whole if figures.currency == currency]
        yield ImpactSum(
            currency=currency, quotes=len(quotes), smallest=_summed(quotes, min), middle=_summed(quotes, middle_quantity)
        )


def _summed(quotes: Sequence[dict[int, ThreeAmounts]], choice: Callable[[list[int]], int]) -> ThreeAmounts:
    chosen = [prices[choice([*prices])] for prices in quotes]
    return _amounts(*(sum((getattr(price, side) for price in chosen), Decimal(0)) for side in ("issued", "today", "draft")))
