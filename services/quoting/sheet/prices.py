"""What is asked for it and when it comes: prices by quantity, sooner for more, and tools that are charged once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from services.quoting.sheet import words
from services.quoting.sheet.parts import Table, days, money
from shared_schemas.lead_times import Expedite, LeadTime
from shared_schemas.operations import Tooling
from shared_schemas.quote import Break, QuoteBody


@dataclass(frozen=True)
class PricesOnSheet:
    """What a quote asks and when it delivers. Tools are charged once, or `included_tools` says which the prices include."""

    by_quantity: Table
    spare_parts: Table
    deliveries: Table
    after_prototypes: Table
    sooner: Table
    by_one_thing: Table
    tooling: Table
    included_tools: str


def prices(body: QuoteBody) -> PricesOnSheet:
    """Amounts and dates of a quote."""
    is_spread = body.tooling_terms == "spread"
    return PricesOnSheet(
        by_quantity=_by_quantity(body.breaks),
        spare_parts=_spare_parts(body.breaks),
        deliveries=_deliveries(body.breaks),
        after_prototypes=_after_prototypes(body.breaks),
        sooner=_sooner(body.breaks),
        by_one_thing=_by_one_thing(body.breaks),
        tooling=_tooling(() if is_spread else body.tooling),
        included_tools=_included(body.tooling if is_spread else ()),
    )


def _by_quantity(breaks: Sequence[Break]) -> Table:
    asked = any(price_break.in_time is not None for price_break in breaks)
    heads = (words.QUANTITY, words.UNIT_PRICE, words.TOTAL, *words.DATES, *((words.IN_TIME_HEAD,) if asked else ()))
    return Table(
        heads,
        tuple(
            (
                f"{price_break.quantity:,}",
                money(price_break.unit_price),
                money(price_break.total_price),
                *_dates(price_break.lead_time),
                *((words.IN_TIME[price_break.in_time] if price_break.in_time else "",) if asked else ()),
            )
            for price_break in breaks
        ),
    )


def _spare_parts(breaks: Sequence[Break]) -> Table:
    """What is delivered beside the lenses and is in their totals."""
    return Table(
        words.SPARE_PART_HEADS,
        tuple(
            (f"{price_break.quantity:,}", spare.part, f"{spare.pieces:,}", money(spare.unit_price), money(spare.amount))
            for price_break in breaks
            for spare in price_break.spare_parts
        ),
    )


def _deliveries(breaks: Sequence[Break]) -> Table:
    """The parts of an order that are wanted by themselves, and when they are ready."""
    return Table(
        words.DELIVERY_HEADS,
        tuple(
            (f"{price_break.quantity:,}", f"{one.quantity:,}", str(one.by or ""), str(one.of_one_lot.p50), str(one.of_one_lot.p90))
            for price_break in breaks
            for one in price_break.deliveries
        ),
    )


def _after_prototypes(breaks: Sequence[Break]) -> Table:
    """What the quantities cost and take once the prototypes are made."""
    return Table(
        words.AFTER_PROTOTYPES_HEADS,
        tuple(
            (f"{price_break.quantity:,}", money(after.total_payable), days(after.p50_days), days(after.p90_days))
            for price_break in breaks
            if (after := price_break.after_prototypes) is not None
        ),
    )


def _sooner(breaks: Sequence[Break]) -> Table:
    return Table(
        (words.QUANTITY, words.CHARGE, *words.DATES, words.SOONER_BY),
        tuple(
            (
                f"{price_break.quantity:,}",
                money(price_break.expedite.cost),
                *_dates(price_break.expedite),
                days(price_break.expedite.days_saved),
            )
            for price_break in breaks
            if price_break.expedite is not None
        ),
    )


def _by_one_thing(breaks: Sequence[Break]) -> Table:
    """Each offer by its kind, its charge and its days; which other orders would be later is no customer's business."""
    return Table(
        (words.QUANTITY, words.WITH_ONE_THING, words.CHARGE, words.SHIPS, words.SOONER_BY),
        tuple(
            (
                f"{price_break.quantity:,}",
                words.SOONER_KINDS[offer.kind],
                words.BY_AGREEMENT if offer.kind == "moving_work" else money(offer.cost),
                str(offer.ship_date),
                days(offer.days_saved),
            )
            for price_break in breaks
            for offer in price_break.sooner
        ),
    )


def _dates(when: LeadTime | Expedite) -> tuple[str, str, str, str]:
    eighty = "" if when.p80_days is None else days(when.p80_days)
    return days(when.p50_days), eighty, days(when.p90_days), str(when.ship_date)


def _tooling(tooling: Sequence[Tooling]) -> Table:
    total = sum((tool.charge for tool in tooling), Decimal(0))
    return Table(
        words.TOOLING_HEADS,
        tuple((tool.name, tool.part, money(tool.charge)) for tool in tooling),
        foot=(words.ALL_TOOLS, "", money(total)) if tooling else (),
    )


def _included(tooling: Sequence[Tooling]) -> str:
    names = ", ".join(words.TOOL_FOR.format(tool=tool.name, part=tool.part) for tool in tooling)
    return words.TOOLS_INCLUDED.format(tools=names) if names else ""
