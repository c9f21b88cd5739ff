"""What is asked for it and when it comes: prices by quantity, sooner for more, and tools that are charged once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from services.quoting.sheet.parts import counted, money, paragraph, section, table
from shared_schemas.operations import Tooling
from shared_schemas.quote import Break, Expedite, InTime, LeadTime, QuoteBody

IN_TIME: dict[InTime, str] = {"yes": "yes", "with_expedite": "if expedited", "with_changes": "with changes", "no": "no"}
DATES = (">Ready in", ">9 in 10 within", ">Ships")


def prices(body: QuoteBody) -> Iterator[str]:
    """The sections of the page that name amounts and dates."""
    yield section(
        f"Prices, in {body.currency}",
        _by_quantity(body.breaks),
        paragraph("Days are calendar days from the order; the date is for an order on the day of this quotation.", kind="small"),
    )
    yield section(
        f"Sooner, for an additional charge, in {body.currency}",
        _sooner(body.breaks),
        paragraph("The charge is for the whole quantity, on top of its total." if _offered(body.breaks) else "", kind="small"),
    )
    if body.tooling_terms == "spread":
        yield section("Tools", paragraph(_included(body.tooling)))
    else:
        yield section(f"Tooling, charged once beside the prices, in {body.currency}", _tooling(body.tooling))


def _by_quantity(breaks: Sequence[Break]) -> str:
    asked = any(one.in_time is not None for one in breaks)
    heads = (">Quantity", ">Unit price", ">Total", *DATES, *((">By the day needed",) if asked else ()))
    return table(
        heads,
        (
            (
                f"{one.quantity:,}",
                money(one.unit_price),
                money(one.total_price),
                *_dates(one.lead_time),
                *((IN_TIME[one.in_time] if one.in_time else "",) if asked else ()),
            )
            for one in breaks
        ),
    )


def _offered(breaks: Sequence[Break]) -> bool:
    return any(one.expedite is not None for one in breaks)


def _sooner(breaks: Sequence[Break]) -> str:
    return table(
        (">Quantity", ">Additional charge", *DATES, ">Sooner by"),
        (
            (
                f"{one.quantity:,}",
                money(one.expedite.cost),
                *_dates(one.expedite),
                counted(one.expedite.days_saved, "day"),
            )
            for one in breaks
            if one.expedite is not None
        ),
    )


def _dates(when: LeadTime | Expedite) -> tuple[str, str, str]:
    return counted(when.p50_days, "day"), counted(when.p90_days, "day"), str(when.ship_date)


def _tooling(tooling: Sequence[Tooling]) -> str:
    total = sum((tool.charge for tool in tooling), Decimal(0))
    return table(
        ("Tool", "For", ">Charge"),
        ((tool.name, tool.part, money(tool.charge)) for tool in tooling),
        foot=("All tools together", "", money(total)) if tooling else (),
    )


def _included(tooling: Sequence[Tooling]) -> str:
    names = ", ".join(f"{tool.name} for {tool.part}" for tool in tooling)
    return f"The prices include these tools: {names}." if names else ""
