"""Glass for several quotes at once: what is asked of the server, and the answer as a person reads it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from services.desk.errors import QuoteHasNoBlanks
from shared_schemas.blanks import JointPurchase, JointPurchases
from shared_schemas.by_hand import BuyTogether, LensToBuyFor
from shared_schemas.quote import Quote


def request_for(quotes: Sequence[Quote], quantity: int | None) -> BuyTogether:
    """The request for some ready quotes, at one quantity of each, or at the smallest that each asks for.

    Raises `QuoteHasNoBlanks` for a quote that is not ready, or does not have the quantity.
    """
    return BuyTogether(lenses=tuple(_lens(quote, quantity) for quote in quotes))


def purchase_lines(found: JointPurchases) -> list[str]:
    """What is bought, glass by glass, what it saves, and what falls on whom."""
    lines = [line for glass in found.glasses for line in _glass_lines(glass, found.currency)]
    return [*lines, f"in all {found.cost} {found.currency} together, {found.cost_apart} apart: {found.saving} saved"]


def _lens(quote: Quote, quantity: int | None) -> LensToBuyFor:
    if quote.breaks is None or quote.prescription is None or quote.check is None:
        raise QuoteHasNoBlanks(quote.number, f"it is {quote.status.replace('_', ' ')}")
    asked = [one.quantity for one in quote.breaks]
    wanted = min(asked) if quantity is None else quantity
    if wanted not in asked:
        raise QuoteHasNoBlanks(quote.number, f"it has no quantity of {wanted}, but {', '.join(map(str, asked))}")
    starts = quote.breaks[asked.index(wanted)].start_quantities
    names = [element.name for element in quote.prescription.elements]
    return LensToBuyFor(
        name=quote.number,
        prescription=quote.prescription,
        check=quote.check,
        blanks={name: starts[name] for name in names if name in starts},
    )


def _glass_lines(glass: JointPurchase, currency: str) -> Iterator[str]:
    saving = glass.cost_apart - glass.cost
    verdict = f"{glass.cost} {currency} instead of {glass.cost_apart}" if saving else f"{glass.cost} {currency}, together as apart"
    blanks = ", ".join(f"{one.blanks} of {one.lens} {one.element}" for one in glass.buying_for)
    yield f"{glass.glass}: {verdict}; {blanks}"
    for line in glass.purchases:
        whence = "from the store" if line.owned else "to buy"
        yield f"  {line.pieces} × {line.stock} {whence}: {line.amount:.2f} {currency}, for {', '.join(line.members)}"
    if saving:
        yield f"  falls on {', '.join(f'{lens} {share} {currency}' for lens, share in glass.shares.items())}"
