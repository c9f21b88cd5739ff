"""A list of quotes in lines for a terminal: two lines a quote where one would be too long."""

from __future__ import annotations

from collections.abc import Sequence

from services.desk.texts.page_parts import money
from shared_schemas.quote_list import QuoteSummary


def quote_list_lines(items: Sequence[QuoteSummary], *, width: int) -> list[str]:
    """Each quote with its state, price, last day, customer and lens; no line is wider than `width`, and no amount is cut."""
    lines = []
    for one in items:
        first, second = _first(one), _second(one)
        if len(first) + 2 + len(second) <= width:
            lines.append(f"{first}  {second}")
        else:
            lines += _cut_between(first, width)
            if second:
                lines.append(_cut(f"    {second}", width))
    return lines


def _first(one: QuoteSummary) -> str:
    decided = f" by {one.decided_by}" if one.decided_by else ""
    until = f", valid until {one.valid_until}" if one.valid_until and one.state in ("open", None) else ""
    return f"{one.number}  {one.revision}  {one.state or one.status.replace('_', ' ')}{decided}{until}{_price(one)}"


def _price(one: QuoteSummary) -> str:
    if not one.prices:
        return ""
    ends = (one.prices[0], one.prices[-1]) if len(one.prices) > 1 else one.prices[:1]
    return "  " + ", ".join(f"{price.quantity:,} at {money(price.unit_price)}" for price in ends) + f" {one.currency}"


def _second(one: QuoteSummary) -> str:
    customer = f"{one.customer}{f' ({one.reference})' if one.reference else ''}"
    asked = f"asked by {one.asked_by}" if one.asked_by else ""
    return "  ".join(part for part in (customer, one.title, asked) if part)


def _cut_between(line: str, width: int) -> list[str]:
    """A line, or its halves at a double space: what stands between two of them is never cut."""
    if len(line) <= width:
        return [line]
    parts, lines = line.split("  "), [""]
    for part in parts:
        joined = f"{lines[-1]}  {part}" if lines[-1] else part
        if len(joined) <= width:
            lines[-1] = joined
        else:
            lines.append(f"    {part}")
    return [one for one in lines if one]


def _cut(line: str, width: int) -> str:
    return line if len(line) <= width else line[: width - 1] + "…"
