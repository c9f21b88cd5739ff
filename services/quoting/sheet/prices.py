"""What is asked for it and when it comes: prices by quantity, sooner for more, and tools that are charged once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from services.quoting.sheet.language import Language
from services.quoting.sheet.parts import Paragraph, Section, Table, section
from shared_schemas.lead_times import SoonerOffer
from shared_schemas.operations import Tooling
from shared_schemas.quote import Break, QuoteBody

TOO_LONG = "lead-time-too-long"
"""The finding of a quantity that takes longer than the terms allow: its price and date are arithmetic, and no offer."""
SINGLE_THINGS = 2
"""So many kinds of single things that would bring a quantity nearer are shown."""


def prices(body: QuoteBody, said: Language) -> Section | None:
    """Prices and dates by quantity, with whatever else is in the totals or beside them."""
    words, once = said.words, sum((tool.charge for tool in _charged(body)), Decimal(0))
    return section(
        words.PRICES.format(currency=body.currency),
        _by_quantity(body, said),
        _spare_parts(body.breaks, said),
        _deliveries(body.breaks, said),
        _after_prototypes(body.breaks, said),
        Paragraph(words.PLUS_TOOLS.format(amount=said.money(once), currency=body.currency) if once else ""),
        Paragraph(words.DAYS_MEANT, small=True),
    )


def offered(body: QuoteBody) -> tuple[Break, ...]:
    """The quantities that are offered; one that takes too long is by agreement."""
    limits = [finding.limit for finding in body.findings if finding.code == TOO_LONG and isinstance(finding.limit, (int, float))]
    return tuple(one for one in body.breaks if all(one.lead_time.p90_days <= limit for limit in limits))


def sooner(body: QuoteBody, said: Language) -> Section | None:
    """What would bring it nearer, and for how much."""
    return section(
        said.words.SOONER.format(currency=body.currency),
        Table(
            (said.words.QUANTITY, said.words.HOW_SOONER, said.words.CHARGE, said.words.SHIPS, said.words.SOONER_BY),
            tuple(_ways_sooner(offered(body), said)),
        ),
        Paragraph(said.words.CHARGE_MEANT, small=True),
    )


def tools(body: QuoteBody, said: Language) -> Section | None:
    """Tools that are charged once; or, where the prices include them, which."""
    words = said.words
    if body.tooling_terms == "spread":
        named = ", ".join(words.TOOL_FOR.format(tool=said.thing(tool.name), part=said.part(tool.part)) for tool in body.tooling)
        return section(words.TOOLS, Paragraph(words.TOOLS_INCLUDED.format(tools=named) if named else ""))
    total = said.money(sum((tool.charge for tool in body.tooling), Decimal(0)))
    return section(
        words.TOOLING.format(currency=body.currency),
        Table(
            words.TOOLING_HEADS,
            tuple((said.thing(tool.name), said.part(tool.part), said.money(tool.charge)) for tool in body.tooling),
            foot=(words.ALL_TOOLS, "", total) if body.tooling else (),
        ),
    )


def _charged(body: QuoteBody) -> Sequence[Tooling]:
    return () if body.tooling_terms == "spread" else body.tooling


def _by_quantity(body: QuoteBody, said: Language) -> Table:
    words, asked = said.words, any(price_break.in_time is not None for price_break in body.breaks)
    priced = {price_break.quantity for price_break in offered(body)}
    heads = (words.QUANTITY, words.UNIT_PRICE, words.TOTAL, words.LEAD_TIME, words.SHIPS)
    return Table(
        (*heads, words.IN_TIME_HEAD) if asked else heads,
        tuple(_row(one, said, asked=asked) if one.quantity in priced else _unpriced(one, said, asked=asked) for one in body.breaks),
    )


def _row(price_break: Break, said: Language, *, asked: bool) -> tuple[str, ...]:
    in_time = said.words.IN_TIME[price_break.in_time] if price_break.in_time else ""
    return (
        said.count(price_break.quantity),
        said.money(price_break.unit_price),
        said.money(price_break.total_price),
        said.days(price_break.lead_time.p90_days),
        said.short_day(price_break.lead_time.ship_date),
        *((in_time,) if asked else ()),
    )


def _unpriced(price_break: Break, said: Language, *, asked: bool) -> tuple[str, ...]:
    empty = ("",) * (4 if asked else 3)
    return (said.count(price_break.quantity), said.words.BY_AGREEMENT, *empty)


def _spare_parts(breaks: Sequence[Break], said: Language) -> Table:
    """What is delivered beside the lenses and is in their totals."""
    return Table(
        said.words.SPARE_PART_HEADS,
        tuple(
            (said.count(price_break.quantity), spare.part, said.count(spare.pieces), said.money(spare.unit_price), said.money(spare.amount))
            for price_break in breaks
            for spare in price_break.spare_parts
        ),
    )  # fmt: skip


def _deliveries(breaks: Sequence[Break], said: Language) -> Table:
    """The parts of an order that are wanted by themselves, and when they are ready."""
    return Table(
        said.words.DELIVERY_HEADS,
        tuple(
            (said.count(price_break.quantity), said.count(one.quantity), said.short_day(one.by) if one.by else "",
             said.short_day(one.of_one_lot.p50), said.short_day(one.of_one_lot.p90))
            for price_break in breaks
            for one in price_break.deliveries
        ),
    )  # fmt: skip


def _after_prototypes(breaks: Sequence[Break], said: Language) -> Table:
    """What the quantities cost and take once the prototypes are made."""
    return Table(
        said.words.AFTER_PROTOTYPES_HEADS,
        tuple(
            (said.count(price_break.quantity), said.money(after.total_payable), said.days(after.p90_days))
            for price_break in breaks
            if (after := price_break.after_prototypes) is not None
        ),
    )


def _ways_sooner(breaks: Sequence[Break], said: Language) -> Iterator[tuple[str, ...]]:
    """Of each quantity everything at once, then the kinds of single things that save most days; which other orders would be later is no customer's business."""
    words = said.words
    for price_break in breaks:
        rows: list[tuple[str, ...]] = []
        if (whole := price_break.expedite) is not None:
            rows.append((words.EXPEDITED, said.money(whole.cost), said.short_day(whole.ship_date), said.days(whole.days_saved)))
        of_kind: dict[str, SoonerOffer] = {}
        for offer in sorted(price_break.sooner, key=lambda offer: (-offer.days_saved, offer.cost)):
            of_kind.setdefault(offer.kind, offer)
        for offer in list(of_kind.values())[:SINGLE_THINGS]:
            charge = words.BY_AGREEMENT if offer.kind == "moving_work" else said.money(offer.cost)
            rows.append((words.SOONER_KINDS[offer.kind], charge, said.short_day(offer.ship_date), said.days(offer.days_saved)))
        yield from ((said.count(price_break.quantity) if place == 0 else "", *row) for place, row in enumerate(rows))
