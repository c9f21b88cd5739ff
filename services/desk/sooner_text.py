"""What of a quote says how it could come sooner: an expedite and its price, and whether a day is kept."""

from __future__ import annotations

from rich.console import RenderableType

from services.desk.page_parts import cells, listed, money, section, table_with
from shared_schemas.quote import Break, QuoteBody

ANSWERS = {"yes": "yes", "with_expedite": "yes, with", "with_changes": "yes, with", "no": "no"}


def sooner(body: QuoteBody) -> list[RenderableType]:
    """The expedites that are offered, and the answer to the day by which the lenses are needed."""
    return [*_expedites(body), *listed("In time", [_answer(one) for one in body.breaks if one.in_time is not None])]


def _expedites(body: QuoteBody) -> list[RenderableType]:
    offered = [one for one in body.breaks if one.expedite is not None]
    if not offered:
        return []
    table = table_with(">quantity", ">for all of it", ">ready in", ">9 in 10 within", ">ships, if ordered that day", ">days sooner")
    for one in offered:
        offer = one.expedite
        assert offer is not None
        table.add_row(
            *cells(
                f"{one.quantity:,}",
                money(offer.cost),
                f"{offer.p50_days} days",
                f"{offer.p90_days} days",
                str(offer.ship_date),
                str(offer.days_saved),
            )
        )
    return section("Sooner, if it goes first and is worked on overtime", table)


def _answer(one: Break) -> str:
    said = ANSWERS[one.in_time or "no"]
    ways = "; or ".join(one.in_time_with)
    if one.in_time == "no":
        return f"{one.quantity:,}: {'; '.join(('no', *one.in_time_with))}."
    return f"{one.quantity:,}: {said}{f' {ways}' if ways else ''}."
