"""Quotes side by side, on a terminal: two revisions, a batch, and glass bought together."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from services.desk.errors import QuoteHasNoBlanks
from services.desk.texts.page_parts import cells, listed, money, section, table_with
from shared_schemas.blanks import JointPurchase, JointPurchases
from shared_schemas.by_hand import BuyTogether, LensToBuyFor
from shared_schemas.quote import Quote, QuoteDecision
from shared_schemas.quote_life import (
    ChangedPlace,
    ComparedAmount,
    ComparedBreak,
    ComparedCount,
    ComparedDeciding,
    Comparison,
    QuoteBatch,
)


def comparison_page(comparison: Comparison) -> RenderableType:
    """What was asked otherwise, what the shop charges otherwise, and what came of it, quantity by quantity."""
    old, new = comparison.old, comparison.new
    head = Text()
    head.append(f"Quote {comparison.number}", style="bold")
    head.append(f": revision {old.revision} of {old.quoted_on} at rates {old.rate_revision}")
    head.append(f", and revision {new.revision} of {new.quoted_on} at rates {new.rate_revision}.")
    if old.currency != new.currency:
        head.append(f" Amounts are in {old.currency} and {new.currency}, so no difference is shown.")
    else:
        head.append(f" Amounts in {new.currency}.")
    rows = [f"{row.table}, {row.row}: {', '.join(_change(one) for one in row.fields)}" for row in comparison.rate_rows]
    nothing = [] if comparison.request or rows else [Text("\nThe request is the same, and no rate row that it uses has changed.")]
    return Group(
        head,
        *listed("Changes of the request", [_change(one) for one in comparison.request]),
        *listed("Changes of the rates", rows),
        *nothing,
        *(part for one in comparison.breaks for part in _break_parts(one)),
        *(
            section("Tools charged once", _tooling_table(comparison))
            if any(tool.charge.old != tool.charge.new for tool in comparison.tooling)
            else []
        ),
    )


def _break_parts(one: ComparedBreak) -> list[RenderableType]:
    return [*section(f"For {one.quantity:,}", _break_table(one)), *(Text(line) for line in _decides_otherwise(one.decided_by))]


def _decides_otherwise(decided_by: Sequence[ComparedDeciding]) -> Iterator[str]:
    """What decides the date otherwise than before, in words; nothing where only one revision tells it."""
    if all(one.old_days is None for one in decided_by) or all(one.new_days is None for one in decided_by):
        return
    for one in decided_by:
        what = f"{one.part}, {one.name}"
        if one.new_days is None:
            yield f"No longer among what decides most of the date: {what} ({one.old_days:.1f} days)."
        elif one.old_days is None:
            yield f"Now among what decides most of the date: {what} ({one.new_days:.1f} days)."
        elif f"{one.old_days:.1f}" != f"{one.new_days:.1f}":
            yield f"Of the date, {what} takes {one.new_days:.1f} days instead of {one.old_days:.1f}."


def _break_table(one: ComparedBreak) -> Table:
    table = table_with("", ">old", ">new", ">difference")
    _row(table, "unit price", one.unit_price)
    for line in one.lines:
        _row(table, line.name, line.amount)
    _row(table, "total", one.total_price, style="bold")
    days = (
        ("half ready within, days", one.p50_days),
        ("8 in 10 within, days", one.p80_days),
        ("9 in 10 within, days", one.p90_days),
    )
    for name, count in days:
        table.add_row(*cells(name, *_counted(count)))
    shift = one.ship_date.difference_days
    moved = "" if shift is None else f"{shift:+d} days" if shift else "0"
    table.add_row(*cells("ships, if ordered that day", _shown(one.ship_date.old), _shown(one.ship_date.new), moved))
    for part, count in one.start_quantities.items():
        if count.old != count.new:
            table.add_row(*cells(f"{part} to start", *_counted(count)))
    return table


def _tooling_table(comparison: Comparison) -> Table:
    table = table_with("tool", ">old", ">new", ">difference")
    for tool in comparison.tooling:
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


def decision_lines(decision: QuoteDecision) -> list[str]:
    """What was decided, in a sentence."""
    quantity = f" for {decision.quantity:,}" if decision.quantity is not None else ""
    lines = [
        f"{decision.number}, revision {decision.revision}, was {decision.decision}{quantity} by {decision.by} on {decision.at:%Y-%m-%d %H:%M} UTC"
    ]
    said = {
        "purchase order": decision.purchase_order,
        "needed by": decision.needed_by,
        "reason": decision.reason,
        "note": decision.note,
    }
    lines += ["after its last day; the date was worked out anew"] if decision.late else []
    if decision.change is not None:
        change = decision.change
        price = "" if change.price_difference is None else f"; {change.price_difference:+,} in price"
        days = "" if change.days_later is None else f"; {change.days_later:+} days"
        lines.append(
            f"in the place of the order of revision {change.changes_order}{price}{days}: it ships on {change.new_ship_date}"
        )
    lines += [f"the order was {decision.order_state}"] if decision.order_state else []
    return lines + [f"{name}: {value}" for name, value in said.items() if value]


def batch_lines(batch: QuoteBatch) -> list[str]:
    """How many quotes of a batch have which status, and each of the page."""
    counts = ", ".join(f"{count} {status.replace('_', ' ')}" for status, count in batch.counts.items() if count)
    return [
        f"{batch.number}: {counts}",
        *(f"{one.number}  {one.status:<20}  {one.customer}  {one.title}" for one in batch.items),
        *(f"why not: blankwright show {one.number}" for one in batch.items if one.status in ("refused", "failed")),
        *([f"more with: blankwright batch --number {batch.number} --cursor {batch.next}"] if batch.next else []),
    ]


def request_for(quotes: Sequence[Quote], quantity: int | None) -> BuyTogether:
    """The request for some ready quotes, at one quantity of each, or at the smallest that each asks for.

    Raises `QuoteHasNoBlanks` for a quote that is not ready, or does not have the quantity.
    """
    return BuyTogether(lenses=tuple(_lens(quote, quantity) for quote in quotes))


def purchase_lines(purchases: JointPurchases) -> list[str]:
    """What is bought, glass by glass, what it saves, and what falls on whom."""
    lines = [line for glass in purchases.glasses for line in _glass_lines(glass, purchases.currency)]
    return [
        *lines,
        f"in total {purchases.cost} {purchases.currency} together, {purchases.cost_apart} apart: {purchases.saving} saved",
    ]


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
        yield f"  shared as {', '.join(f'{lens} {share} {currency}' for lens, share in glass.shares.items())}"
