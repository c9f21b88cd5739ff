"""The later life of a quote on a terminal: what changed between two revisions, what was decided, how far a batch is."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import Any

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from services.desk.page_parts import cells, listed, money, section, table_with
from shared_schemas.quote import QuoteDecision
from shared_schemas.quote_life import ChangedPlace, ComparedAmount, ComparedBreak, ComparedCount, Comparison, QuoteBatch


def comparison_page(found: Comparison) -> RenderableType:
    """What was asked otherwise, what the shop charges otherwise, and what came of it, quantity by quantity."""
    old, new = found.old, found.new
    head = Text()
    head.append(f"Quote {found.number}", style="bold")
    head.append(f": revision {old.revision} of {old.quoted_on} at rates {old.rate_revision}")
    head.append(f", and revision {new.revision} of {new.quoted_on} at rates {new.rate_revision}.")
    if old.currency != new.currency:
        head.append(f" Amounts are in {old.currency} and {new.currency}; no difference is told between them.")
    else:
        head.append(f" Amounts in {new.currency}.")
    rows = [f"{row.table}, {row.row}: {', '.join(_change(one) for one in row.fields)}" for row in found.rate_rows]
    nothing = [] if found.request or rows else [Text("\nIt was asked the same, and no rate row that it rests on has changed.")]
    return Group(
        head,
        *listed("Asked otherwise", [_change(one) for one in found.request]),
        *listed("Rates that changed", rows),
        *nothing,
        *(part for one in found.breaks for part in section(f"For {one.quantity:,}", _break_table(one))),
        *(
            section("Tools charged once", _tooling_table(found))
            if any(tool.charge.old != tool.charge.new for tool in found.tooling)
            else []
        ),
    )


def _break_table(one: ComparedBreak) -> Table:
    table = table_with("", ">old", ">new", ">difference")
    _row(table, "unit price", one.unit_price)
    for line in one.lines:
        _row(table, line.name, line.amount)
    _row(table, "total", one.total_price, style="bold")
    for name, count in (("half ready within, days", one.p50_days), ("9 in 10 within, days", one.p90_days)):
        table.add_row(*cells(name, *_counted(count)))
    shift = one.ship_date.difference_days
    moved = "" if shift is None else f"{shift:+d} days" if shift else "0"
    table.add_row(*cells("ships, if ordered that day", _shown(one.ship_date.old), _shown(one.ship_date.new), moved))
    for part, count in one.start_quantities.items():
        if count.old != count.new:
            table.add_row(*cells(f"{part} to start", *_counted(count)))
    return table


def _tooling_table(found: Comparison) -> Table:
    table = table_with("tool", ">old", ">new", ">difference")
    for tool in found.tooling:
        _row(table, f"{tool.name} for {tool.part}", tool.charge)
    return table


def _row(table: Table, name: str, amount: ComparedAmount, style: str = "") -> None:
    table.add_row(*cells(name, _money(amount.old), _money(amount.new), _signed(amount.difference), style=style))


def _counted(count: ComparedCount) -> Iterable[str]:
    difference = "" if count.difference is None else f"{count.difference:+d}" if count.difference else "0"
    return (_shown(count.old), _shown(count.new), difference)


def _money(amount: Decimal | None) -> str:
    return "-" if amount is None else money(amount)


def _signed(amount: Decimal | None) -> str:
    return "" if amount is None else f"{amount:+,}" if amount else money(amount)


def _shown(value: int | date | None) -> str:
    return "-" if value is None else f"{value:,}" if isinstance(value, int) else str(value)


def _change(one: ChangedPlace) -> str:
    return f"{one.pointer or 'the row'}: {_brief(one.old)} → {_brief(one.new)}"


def _brief(value: Any) -> str:
    """A value in a few words; a whole part of a document is not written out."""
    if isinstance(value, (dict, list)):
        return "{…}" if isinstance(value, dict) else "[…]"
    text = "nothing" if value is None else str(value)
    return text if len(text) <= 60 else text[:57] + "…"


def decision_lines(told: QuoteDecision) -> list[str]:
    """What was decided, in a sentence."""
    quantity = f" for {told.quantity:,}" if told.quantity is not None else ""
    lines = [f"{told.number}, revision {told.revision}, was {told.decision}{quantity} by {told.by} on {told.at:%Y-%m-%d %H:%M} UTC"]
    return [*lines, f"note: {told.note}"] if told.note else lines


def batch_lines(found: QuoteBatch) -> list[str]:
    """How many quotes of a batch have which status, and each of the page."""
    counts = ", ".join(f"{count} {status.replace('_', ' ')}" for status, count in found.counts.items() if count)
    return [
        f"{found.number}: {counts}",
        *(f"{one.number}  {one.status:<20}  {one.customer}  {one.title}" for one in found.items),
        *(f"why not: blankwright show {one.number}" for one in found.items if one.status in ("refused", "failed")),
        *([f"more with: blankwright batch --number {found.number} --cursor {found.next}"] if found.next else []),
    ]
