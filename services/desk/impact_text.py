"""What a proposed rate table would do to open quotes, on a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from services.desk.hints import as_called
from services.desk.page_parts import cells, listed, money, section, table_with
from shared_schemas.quote_life import ComparedAmount, ComparedCount
from shared_schemas.rate_impact import ImpactedBreak, ImpactedQuote, ImpactExtreme, RateImpact


def impact_page(found: RateImpact) -> RenderableType:
    """The proposal, every quantity of every quote as issued and as it would be, and all of them together."""
    head = Text()
    head.append(f"Impact {found.number}", style="bold")
    head.append(f": a table {found.table} proposed on rate revision {found.base_revision}. Nothing is published.")
    if found.counts.get("in_work"):
        head.append(f" {found.counts['in_work']} quotes are still worked on.")
    return Group(
        head,
        *(section("Open quotes", _table(found)) if any(one.figures for one in found.items) else []),
        *listed("Not worked out", [_why(one) for one in found.items if one.problem]),
        *listed("Altogether", list(_altogether(found))),
        *listed("More", [as_called(f"blankwright impact --number {found.number} --cursor {found.next}")] if found.next else []),
    )


def _table(found: RateImpact) -> Table:
    table = table_with(
        "quote", ">for", ">unit price", ">proposed", ">difference", ">rise", ">margin if kept", ">loss if kept", ">9 in 10, days"
    )
    for one in found.items:
        if one.figures is None:
            continue
        for place, inner in enumerate(one.figures.breaks):
            name = "" if place else f"{_named(one)} {one.figures.currency}{'' if one.issued_at_base else ' *'}"
            table.add_row(*cells(name, *_break(inner)))
    return table


def _break(one: ImpactedBreak) -> Iterator[str]:
    kept = one.price_kept
    yield f"{one.quantity:,}"
    yield _money(one.unit_price.old)
    yield _money(one.unit_price.new)
    yield _signed(one.unit_price)
    yield f"{one.share:+.1%}" if one.share else "0"
    yield _moved(kept.margin_share_issued, kept.margin_share_proposed)
    yield "-" if kept.loss_chance_proposed is None else _moved(kept.loss_chance_issued, kept.loss_chance_proposed)
    yield _days(one.p90_days)


def _altogether(found: RateImpact) -> Iterator[str]:
    totals, counts = found.totals, found.counts
    ready = counts.get("ready", 0)
    refused = "".join(f", {count} {outcome}" for outcome, count in counts.items() if count and outcome in ("refused", "failed"))
    yield f"{totals.changed} of {ready} quotes would change: {totals.dearer} dearer, {totals.cheaper} cheaper{refused}"
    for word, one in (("rise", totals.largest_rise), ("fall", totals.largest_fall)):
        if one is not None:
            yield _extreme(word, one)
    for total in totals.sums:
        for name, amount in (("smallest", total.smallest), ("middle", total.middle)):
            sums = f"{_money(amount.old)} → {_money(amount.new)} {total.currency} ({_signed(amount)})"
            yield f"all at their {name} quantity: {sums}"
    if any(not one.issued_at_base for one in found.items):
        yield f"* issued at other rates than revision {found.base_revision}: its difference is that of all changes since, and of this one"


def _extreme(word: str, one: ImpactExtreme) -> str:
    price = f"{_money(one.unit_price.old)} → {_money(one.unit_price.new)} {one.currency}"
    return f"largest {word}: {one.share:+.1%} for {one.quantity:,} of {_named(one)}, {price} each"


def _why(one: ImpactedQuote) -> str:
    said = one.problem.detail if one.problem else ""
    return f"{_named(one)} would be {one.outcome}: {said}"


def _named(one: ImpactedQuote | ImpactExtreme) -> str:
    return f"{one.number}, revision {one.revision}" if one.revision > 1 else one.number


def _money(amount: Decimal | None) -> str:
    return "-" if amount is None else money(amount)


def _signed(amount: ComparedAmount) -> str:
    return "-" if amount.difference is None else f"{amount.difference:+,}" if amount.difference else "0"


def _moved(old: float | None, new: float) -> str:
    before = "-" if old is None else f"{old:.1%}"
    after = f"{new:.1%}"
    return after if before == after else f"{before} → {after}"


def _days(count: ComparedCount) -> str:
    return f"{count.old} {count.difference:+d}" if count.difference else f"{count.old}"
