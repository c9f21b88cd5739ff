"""What a draft would do to open quotes, on a terminal: each beside what has drifted since it was issued, and all of them together."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from services.desk.texts.page_parts import cells, listed, money, section, table_with
from services.desk.texts.wording import as_called
from shared_schemas.rate_impact import (
    ImpactedBreak,
    ImpactedQuote,
    ImpactMover,
    ImpactOnCustomer,
    ImpactTotals,
    RateImpact,
    ThreeAmounts,
    ThreeCounts,
)

CUSTOMERS_TOLD = 10


def impact_page(impact: RateImpact) -> RenderableType:
    """The proposal, every quantity of every quote at its three prices, all of them together, and by customer."""
    head = Text()
    head.append(f"Impact {impact.number}", style="bold")
    what = "no table" if not impact.tables else f"{', '.join(impact.tables)}"
    whose = f"draft {impact.draft}, which changes {what}," if impact.draft is not None else f"{what} as proposed"
    head.append(f": {whose} against rate revision {impact.base_revision}. Nothing is published.")
    if impact.counts.get("in_work"):
        head.append(f" {impact.worked_out} of {impact.quotes} quotes are worked out.")
    customers = impact.by_customer if len(impact.by_customer) > 1 else ()
    return Group(
        head,
        *(section("Quotes", _table(impact)) if any(one.figures for one in impact.items) else []),
        *listed("Without a result", [_why(one) for one in impact.items if one.problem]),
        *listed("In total", list(_altogether(impact))),
        *listed("By customer", [_of_customer(one) for one in customers[:CUSTOMERS_TOLD]]),
        *listed("More", [as_called(f"blankwright impact --number {impact.number} --cursor {impact.next}")] if impact.next else []),
    )


def _table(impact: RateImpact) -> Table:
    heads = (
        "quote",
        ">for",
        ">as issued",
        ">today",
        ">with draft",
        ">drift",
        ">effect",
        ">rise",
        ">margin kept",
        ">loss kept",
        ">90 % days",
    )
    table = table_with(*heads)
    for one in impact.items:
        if one.figures is None:
            continue
        for place, inner in enumerate(one.figures.breaks):
            name = "" if place else f"{_named(one)} {one.figures.currency}"
            table.add_row(*cells(name, *_break(inner)))
    return table


def _break(one: ImpactedBreak) -> Iterator[str]:
    kept = one.price_kept
    yield f"{one.quantity:,}"
    yield _money(one.unit_price.issued)
    yield _money(one.unit_price.today)
    yield _money(one.unit_price.draft)
    yield _signed(one.unit_price.drift)
    yield _signed(one.unit_price.effect)
    yield f"{one.effect_share:+.1%}" if one.effect_share else "0"
    yield "-" if kept is None else _shares(kept.margin_share_today, kept.margin_share_draft)
    yield "-" if kept is None else _shares(kept.loss_chance_today, kept.loss_chance_draft)
    yield _days(one.p90_days)


def _altogether(impact: RateImpact) -> Iterator[str]:
    totals, counts = impact.totals, impact.counts
    without = "".join(
        f", {count} {outcome}" for outcome, count in counts.items() if count and outcome in ("refused", "failed", "cancelled")
    )
    yield f"the draft: {_in_words(totals)} of {counts.get('ready', 0)} quotes{without}"
    yield f"drift: {totals.drifted} of them are otherwise at today's rates than as issued"
    for mover in totals.largest_movers[:3]:
        yield _mover(mover)
    for total in totals.sums:
        for name, amounts in (("smallest", total.smallest), ("middle", total.middle)):
            yield f"all at their {name} quantity: {_sum(amounts)} {total.currency}"


def _in_words(totals: ImpactTotals) -> str:
    changed = f"{totals.changed} changed, {totals.dearer} dearer, {totals.cheaper} cheaper"
    refused = f", {totals.newly_refused} newly refused" if totals.newly_refused else ""
    quotable = f", {totals.newly_quotable} newly quotable" if totals.newly_quotable else ""
    return changed + refused + quotable


def _of_customer(one: ImpactOnCustomer) -> str:
    sums = "; ".join(f"{_sum(total.middle)} {total.currency}" for total in one.totals.sums)
    return f"{one.customer or 'no customer'}: {_in_words(one.totals)}{'; ' + sums if sums else ''}"


def _sum(amounts: ThreeAmounts) -> str:
    return (
        f"{_money(amounts.issued)} as issued, drift {_signed(amounts.drift)}, today {_money(amounts.today)}, "
        f"effect {_signed(amounts.effect)}, with the draft {_money(amounts.draft)}"
    )


def _mover(one: ImpactMover) -> str:
    price = f"{_money(one.unit_price.today)} → {_money(one.unit_price.draft)} {one.currency}"
    return f"{one.share:+.1%} for {one.quantity:,} of {_named(one)}, {price} each"


def _why(one: ImpactedQuote) -> str:
    reason = one.problem.detail if one.problem else ""
    newly = "newly " if one.newly_refused else ""
    return f"{_named(one)} would be {newly}{one.outcome}: {reason}"


def _named(one: ImpactedQuote | ImpactMover) -> str:
    return f"{one.number}, revision {one.revision}" if one.revision > 1 else one.number


def _money(amount: Decimal | None) -> str:
    return "-" if amount is None else money(amount)


def _signed(amount: Decimal | None) -> str:
    return "-" if amount is None else f"{amount:+,}" if amount else "0"


def _shares(old: float | None, new: float | None) -> str:
    if old is None or new is None:
        return "-"
    before, after = f"{old:.1%}", f"{new:.1%}"
    return after if before == after else f"{before} → {after}"


def _days(days: ThreeCounts) -> str:
    if days.draft is None:
        return "-"
    return f"{days.today} {days.effect:+d}" if days.effect else f"{days.draft}"
