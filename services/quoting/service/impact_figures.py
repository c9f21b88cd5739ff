"""What a proposed rate table does to quotes that were issued: each held against what it would be, and all of them together."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from services.quoting.pricing.price import sum_of
from shared_schemas.lead_times import LineKind
from shared_schemas.quote import Break, QuoteBody, middle_quantity
from shared_schemas.quote_life import ComparedAmount, ComparedCount
from shared_schemas.rate_impact import ImpactedBreak, ImpactExtreme, ImpactFigures, ImpactSum, ImpactTotals, KeptPrice

LEFT_OVER: frozenset[LineKind] = frozenset({"evening", "margin", "minimum_order", "rounding"})
"""Lines of a price that pay for nothing: what they come to is what the price leaves."""


@dataclass(frozen=True)
class Impacted:
    """One quote that is worked out: what people call it, and what the proposal does to it."""

    number: str
    revision: int
    figures: ImpactFigures


def impact_on(issued: QuoteBody, proposed: QuoteBody, *, loss_chances: Mapping[int, float]) -> ImpactFigures:
    """One quote as issued, and as it would be with the proposed table; differences are new less old.

    `loss_chances`, by quantity, are those of the prices as issued at the proposed rates. Both bodies answer one request,
    so that they have the same quantities and the same currency.
    """
    after = {price_break.quantity: price_break for price_break in proposed.breaks}
    return ImpactFigures(
        currency=issued.currency,
        breaks=tuple(_break(old, after[old.quantity], loss_chances[old.quantity]) for old in issued.breaks),
        tooling=_amount(*(sum((tool.charge for tool in body.tooling), Decimal(0)) for body in (issued, proposed))),
    )


def _break(old: Break, new: Break, loss_chance: float) -> ImpactedBreak:
    return ImpactedBreak(
        quantity=old.quantity,
        unit_price=_amount(old.unit_price, new.unit_price),
        share=_share(new.unit_price - old.unit_price, of=old.unit_price),
        total_price=_amount(old.total_price, new.total_price),
        unit_cost=_amount(old.unit_cost.planned, new.unit_cost.planned),
        price_kept=KeptPrice(
            margin_share_issued=_margin_share(old.total_price, paid_for=old),
            margin_share_proposed=_margin_share(old.total_price, paid_for=new),
            loss_chance_issued=old.loss_chance,
            loss_chance_proposed=loss_chance,
        ),
        p50_days=_count(old.lead_time.p50_days, new.lead_time.p50_days),
        p90_days=_count(old.lead_time.p90_days, new.lead_time.p90_days),
    )


def _margin_share(price: Decimal, *, paid_for: Break) -> float:
    """What a total price leaves over cost, overhead, contingency and tools of a break, as a share of it."""
    paid = sum_of([line for line in paid_for.lines if line.kind not in LEFT_OVER])
    return _share(price - paid, of=price)


def _share(part: Decimal, *, of: Decimal) -> float:
    """A part as a share, 0 of nothing."""
    return round(float(part / of), 6) if of else 0.0


def totals_of(quotes: Sequence[Impacted]) -> ImpactTotals:
    """All quotes that are worked out, together. Of equal rises or falls the first is named."""
    rises = [(quote, price_break) for quote in quotes for price_break in quote.figures.breaks]
    rising = [pair for pair in rises if pair[1].share > 0]
    falling = [pair for pair in rises if pair[1].share < 0]
    return ImpactTotals(
        changed=sum(_is_changed(quote.figures) for quote in quotes),
        dearer=sum(any(price_break.share > 0 for price_break in quote.figures.breaks) for quote in quotes),
        cheaper=sum(any(price_break.share < 0 for price_break in quote.figures.breaks) for quote in quotes),
        largest_rise=_extreme(max(rising, key=lambda pair: pair[1].share)) if rising else None,
        largest_fall=_extreme(min(falling, key=lambda pair: pair[1].share)) if falling else None,
        sums=tuple(_sums(currency, quotes) for currency in sorted({quote.figures.currency for quote in quotes})),
    )


def _is_changed(figures: ImpactFigures) -> bool:
    return bool(figures.tooling.difference) or any(
        price_break.unit_price.difference or price_break.p50_days.difference or price_break.p90_days.difference
        for price_break in figures.breaks
    )


def _extreme(pair: tuple[Impacted, ImpactedBreak]) -> ImpactExtreme:
    quote, price_break = pair
    return ImpactExtreme(
        number=quote.number,
        revision=quote.revision,
        quantity=price_break.quantity,
        share=price_break.share,
        unit_price=price_break.unit_price,
        currency=quote.figures.currency,
    )


def _sums(currency: str, impacts: Sequence[Impacted]) -> ImpactSum:
    quotes = [
        {one.quantity: one.total_price for one in each.figures.breaks} for each in impacts if each.figures.currency == currency
    ]

    def summed(choice: Callable[[Iterable[int]], int]) -> ComparedAmount:
        chosen = [prices[choice(prices)] for prices in quotes]
        return _amount(*(sum((getattr(price, side) for price in chosen), Decimal(0)) for side in ("old", "new")))

    return ImpactSum(currency=currency, quotes=len(quotes), smallest=summed(min), middle=summed(middle_quantity))


def _amount(old: Decimal, new: Decimal) -> ComparedAmount:
    return ComparedAmount(old=old, new=new, difference=new - old)


def _count(old: int, new: int) -> ComparedCount:
    return ComparedCount(old=old, new=new, difference=new - old)
