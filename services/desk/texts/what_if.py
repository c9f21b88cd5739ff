"""A what-if on a terminal: the quote and its copies beside each other, what is changed in each, what moved and why."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from services.desk.texts.page_parts import cells, listed, money, section, table_with
from shared_schemas.quote_life import ChangedPlace
from shared_schemas.what_if import FiguresAtQuantity, MovedAtQuantity, ToldFinding, WhatIf, WhatIfCopy

LONGEST_NAME = 14
MOST_TOLD = 12


def what_if_page(found: WhatIf) -> RenderableType:
    """Every quantity of the quote and of each copy, and below that what is changed, what is new, and why a copy has no price."""
    head = Text()
    head.append(f"What-if {found.number}", style="bold")
    head.append(
        f": quote {found.quote_number}, revision {found.revision}, as of {found.quoted_on} at rate revision {found.rate_revision}. "
        f"No revision is made; it is kept until {found.kept_until}."
    )
    ready = [one for one in found.copies if one.figures is not None]
    return Group(
        head,
        *(section(f"Beside each other, in {_currencies(found)}", _table(found)) if ready or found.issued else []),
        *listed("Changed", [line for one in found.copies for line in _changed(one)]),
        *listed("What moved", [line for one in ready for line in _lines(one)]),
        *listed("New findings", [f"{one.name}: {_finding(each)}" for one in ready for each in one.new_findings]),
        *listed("No longer found", [f"{one.name}: {_finding(each)}" for one in ready for each in one.gone_findings]),
        *listed("Without a result", [_why(one) for one in found.copies if one.figures is None]),
    )


def _currencies(found: WhatIf) -> str:
    figures = [found.issued, *(one.figures for one in found.copies)]
    return ", ".join(dict.fromkeys(one.currency for one in figures if one is not None))


def _table(found: WhatIf) -> Table:
    """By quantity, so that what belongs beside each other stands together."""
    table = table_with(">for", "copy", ">each", ">rise", ">cost", ">90 % days", ">margin", ">loss")
    quoted = [] if found.issued is None else [one.quantity for one in found.issued.quantities]
    others = [one.quantity for copy in found.copies if copy.figures for one in copy.figures.quantities]
    for quantity in dict.fromkeys((*quoted, *sorted(others))):
        rows = list(_rows(found, quantity))
        for place, row in enumerate(rows):
            table.add_row(*cells("" if place else f"{quantity:,}", *row, style="bold" if row[0] == "as issued" else ""))
    return table


def _rows(found: WhatIf, quantity: int) -> Iterator[tuple[str, ...]]:
    issued = found.issued
    if issued is not None:
        yield from (("as issued", *_row(one, None)) for one in issued.quantities if one.quantity == quantity)
    for copy in found.copies:
        moved = next((one for one in copy.moved if one.quantity == quantity), None)
        figures = copy.figures.quantities if copy.figures else ()
        yield from ((_short(copy.name), *_row(one, moved)) for one in figures if one.quantity == quantity)


def _short(name: str) -> str:
    return name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1] + "…"


def _row(one: FiguresAtQuantity, moved: MovedAtQuantity | None) -> Iterator[str]:
    yield money(one.unit_price)
    yield "" if moved is None else f"{moved.unit_price_share:+.1%}" if moved.unit_price else "0"
    yield money(one.unit_cost)
    yield f"{one.p90_days}" + (f" {moved.p90_days:+d}" if moved is not None and moved.p90_days else "")
    yield f"{one.margin_share:.0%}"
    yield "-" if one.loss_chance is None else f"{one.loss_chance:.1%}"


def _changed(copy: WhatIfCopy) -> Iterator[str]:
    if not copy.changed:
        yield f"{copy.name}: nothing of the request, at rate revision {copy.rate_revision}"
    for place in copy.changed[:MOST_TOLD]:
        yield f"{copy.name}: {_place(place)}"
    if len(copy.changed) > MOST_TOLD:
        yield f"{copy.name}: and {len(copy.changed) - MOST_TOLD} more"


def _place(place: ChangedPlace) -> str:
    if place.pointer.startswith("/overrides/") and isinstance(place.new, dict) and "pointer" in place.new:
        return f"{place.new['pointer']} set to {_value(place.new.get('value'))}"
    return f"{place.pointer.removeprefix('/prescription')} {_value(place.old)} → {_value(place.new)}"


def _value(value: object) -> str:
    text = "nothing" if value is None else str(value)
    return text if len(text) <= 60 else text[:59] + "…"


def _lines(copy: WhatIfCopy) -> Iterator[str]:
    """Of the smallest quantity, as in the rest of a quote: what moves one moves the others."""
    for moved in copy.moved[:1]:
        if moved.lines:
            lines = ", ".join(f"{line.name} {line.difference:+,}" for line in moved.lines)
            yield f"{copy.name}, for {moved.quantity:,} together: {lines}"


def _finding(one: ToldFinding) -> str:
    return f"{one.where}: {one.message}"


def _why(copy: WhatIfCopy) -> str:
    reason = "" if copy.problem is None else f": {copy.problem.detail}"
    return f"{copy.name} is {copy.outcome}{reason}"
