"""Two revisions of a quote, line by line: what was asked otherwise, what the shop charges otherwise, what came of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from shared_schemas.lead_times import Deciding, Line
from shared_schemas.quote import Break, QuoteBody
from shared_schemas.quote_life import (
    ChangedPlace,
    ChangedRow,
    ComparedAmount,
    ComparedBreak,
    ComparedCount,
    ComparedDay,
    ComparedDeciding,
    ComparedLine,
    ComparedRevision,
    ComparedTool,
    Comparison,
)
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import TABLES, Rates


@dataclass(frozen=True)
class Issued:
    """A ready revision: what was asked, what was answered, the rates it rests on, and the rows (table, row) of them that its figures name.

    `rates` are `None` where an earlier release left them and this one cannot read them.
    """

    revision: int
    request: QuoteRequest
    body: QuoteBody
    digest: str
    rates: Rates | None
    rows: Set[tuple[str, str]]


def compare(*, number: str, old: Issued, new: Issued) -> Comparison:
    """What changed from one revision of the quote `number` to another; differences are new less old.

    Amounts in different currencies stand side by side without a difference. `rate_rows` has the rows that a figure of
    either revision names and that differ in a field, apart from rows that only changed their source or date.
    """
    same_money = old.body.currency == new.body.currency
    return Comparison(
        number=number,
        old=_revision(old),
        new=_revision(new),
        request=tuple(changed_places(_asked(old.request), _asked(new.request))),
        rate_rows=changed_rows(old.rates, new.rates, named=old.rows | new.rows) if old.rates and new.rates else (),
        breaks=_breaks(old.body.breaks, new.body.breaks, same_money=same_money),
        tooling=_tooling(old.body, new.body, same_money=same_money),
    )


def _revision(issued: Issued) -> ComparedRevision:
    return ComparedRevision(
        revision=issued.revision,
        rate_revision=issued.body.rate_revision,
        load_snapshot=issued.body.load_snapshot,
        quoted_on=issued.body.quoted_on,
        valid_until=issued.body.valid_until,
        currency=issued.body.currency,
        digest=issued.digest,
    )


def _asked(request: QuoteRequest) -> Any:
    """The request as JSON; with which rates it was asked is told by the revisions themselves."""
    return request.model_dump(mode="json", by_alias=True, exclude={"rate_revision"})


def changed_places(old: Any, new: Any, pointer: str = "") -> Iterator[ChangedPlace]:
    """Where two JSON documents differ, as JSON pointers (RFC 6901), in the order of the old one; what is new comes after it.

    Entries of a list are held against those at the same place.
    """
    if isinstance(old, dict) and isinstance(new, dict):
        for name in dict.fromkeys((*old, *new)):
            step = name.replace("~", "~0").replace("/", "~1")
            yield from changed_places(old.get(name), new.get(name), f"{pointer}/{step}")
    elif isinstance(old, list) and isinstance(new, list):
        for place in range(max(len(old), len(new))):
            yield from changed_places(
                old[place] if place < len(old) else None, new[place] if place < len(new) else None, f"{pointer}/{place}"
            )
    elif old != new:
        yield ChangedPlace(pointer=pointer, old=old, new=new)


def changed_rows(old: Rates, new: Rates, *, named: Set[tuple[str, str]]) -> tuple[ChangedRow, ...]:
    """Rows among `named` that differ between two sets of rates, with the fields in which they do; a row that came or went has all."""
    changed = []
    for table in TABLES:
        before, after = _rows(old, table), _rows(new, table)
        for row in sorted(name for of_table, name in named if of_table == table):
            fields = tuple(changed_places(before.get(row, {}), after.get(row, {})))
            if fields:
                changed.append(ChangedRow(table=table, row=row, fields=fields))
    return tuple(changed)


def _rows(rates: Rates, table: str) -> dict[str, Any]:
    """The rows of a table by name, without what a row says of its own origin."""
    return {row.name: row.model_dump(mode="json", by_alias=True, exclude={"source", "as_of"}) for row in getattr(rates, table)}


def _breaks(old: Sequence[Break], new: Sequence[Break], *, same_money: bool) -> tuple[ComparedBreak, ...]:
    before, after = (
        {price_break.quantity: price_break for price_break in old},
        {price_break.quantity: price_break for price_break in new},
    )
    return tuple(_break(quantity, before.get(quantity), after.get(quantity), same_money) for quantity in sorted({*before, *after}))


def _break(quantity: int, old: Break | None, new: Break | None, same_money: bool) -> ComparedBreak:
    def amount(of: str) -> ComparedAmount:
        return _amount(getattr(old, of, None), getattr(new, of, None), same_money=same_money)

    lead_old, lead_new = (side.lead_time if side else None for side in (old, new))
    started_old, started_new = (side.start_quantities if side else {} for side in (old, new))
    return ComparedBreak(
        quantity=quantity,
        unit_price=amount("unit_price"),
        total_price=amount("total_price"),
        lines=_lines(old.lines if old else (), new.lines if new else (), same_money=same_money),
        unit_cost=_amount(old.unit_cost.planned if old else None, new.unit_cost.planned if new else None, same_money=same_money),
        p50_days=_count(getattr(lead_old, "p50_days", None), getattr(lead_new, "p50_days", None)),
        p80_days=_count(getattr(lead_old, "p80_days", None), getattr(lead_new, "p80_days", None)),
        p90_days=_count(getattr(lead_old, "p90_days", None), getattr(lead_new, "p90_days", None)),
        ship_date=_day(lead_old.ship_date if lead_old else None, lead_new.ship_date if lead_new else None),
        decided_by=_deciding(lead_old.decided_by if lead_old else (), lead_new.decided_by if lead_new else ()),
        start_quantities=_counts(started_old, started_new),
    )


def _deciding(old: Sequence[Deciding], new: Sequence[Deciding]) -> tuple[ComparedDeciding, ...]:
    """What decides the date on either side, by part and name."""
    before, after = ({(one.part, one.name): one.days for one in side} for side in (old, new))
    return tuple(
        ComparedDeciding(part=part, name=name, old_days=before.get((part, name)), new_days=after.get((part, name)))
        for part, name in dict.fromkeys((*after, *before))
    )


def _lines(old: Sequence[Line], new: Sequence[Line], *, same_money: bool) -> tuple[ComparedLine, ...]:
    """Lines by kind and name. Where both sides quote the quantity, a line that one of them lacks is none: 0."""
    sides: list[dict[tuple[str, str], Decimal]] = []
    for lines in (old, new):
        amounts: dict[tuple[str, str], Decimal] = {}
        for line in lines:
            amounts[line.kind, line.name] = amounts.get((line.kind, line.name), Decimal(0)) + line.amount
        sides.append(amounts)
    before, after = sides
    absent = Decimal(0) if old and new else None
    return tuple(
        ComparedLine.model_validate(
            {
                "name": name,
                "kind": kind,
                "amount": _amount(before.get((kind, name), absent), after.get((kind, name), absent), same_money=same_money),
            }
        )
        for kind, name in dict.fromkeys((*before, *after))
    )


def _tooling(old: QuoteBody, new: QuoteBody, *, same_money: bool) -> tuple[ComparedTool, ...]:
    before, after = ({(tool.name, tool.part): tool.charge for tool in body.tooling} for body in (old, new))
    absent = Decimal(0)
    return tuple(
        ComparedTool(
            name=name,
            part=part,
            charge=_amount(before.get((name, part), absent), after.get((name, part), absent), same_money=same_money),
        )
        for name, part in dict.fromkeys((*before, *after))
    )


def _amount(old: Decimal | None, new: Decimal | None, *, same_money: bool) -> ComparedAmount:
    difference = new - old if same_money and old is not None and new is not None else None
    return ComparedAmount(old=old, new=new, difference=difference)


def _count(old: int | None, new: int | None) -> ComparedCount:
    return ComparedCount(old=old, new=new, difference=None if old is None or new is None else new - old)


def _counts(old: Mapping[str, int], new: Mapping[str, int]) -> dict[str, ComparedCount]:
    return {part: _count(old.get(part), new.get(part)) for part in dict.fromkeys((*old, *new))}


def _day(old: date | None, new: date | None) -> ComparedDay:
    return ComparedDay(old=old, new=new, difference_days=None if old is None or new is None else (new - old).days)
