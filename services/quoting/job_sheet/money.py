"""What a quantity costs and brings, what may go otherwise, and what decides its date."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from services.quoting.job_sheet.gallery import JobSection
from services.quoting.job_sheet.given import Given
from services.quoting.pricing.second_key import margin_left
from services.quoting.sheet.language import Language
from services.quoting.sheet.parts import Block, Points, Table
from services.quoting.sheet.words.english import OPERATIONS
from shared_schemas.lead_times import Deciding
from shared_schemas.quote import Break

ABREAST = 6
"""So many quantities stand side by side."""
NOTHING = ""


def money(given: Given, said: Language) -> JobSection:
    """Prices line by line, unit costs and margins, quantity by quantity."""
    breaks = given.body.breaks
    blocks: list[Block] = []
    for first in range(0, len(breaks), ABREAST):
        some = breaks[first : first + ABREAST]
        heads = tuple(f">{said.count(one.quantity)}" for one in some)
        blocks.append(
            Table(
                ("Price, line by line", *heads),
                tuple(_lines(some, said)),
                foot=("total", *(said.money(one.total_price) for one in some)),
            )
        )
        blocks.append(Table(("Of one lens, and margins", *heads), tuple(_margins(given, some, said))))
    return JobSection(f"Cost and margin, in {given.body.currency}", tuple(blocks))  # fmt: skip


def _lines(some: Sequence[Break], said: Language) -> Iterator[tuple[str, ...]]:
    for name in dict.fromkeys(line.name for one in some for line in one.lines):
        amounts = ([line.amount for line in one.lines if line.name == name] for one in some)
        yield (name, *(said.money(sum(own[1:], own[0])) if own else NOTHING for own in amounts))
    for part in dict.fromkeys(spare.part for one in some for spare in one.spare_parts):
        yield (f"spare part {part}", *(said.money(sum((spare.amount for spare in one.spare_parts if spare.part == part), Decimal(0))) for one in some))  # fmt: skip


def _margins(given: Given, some: Sequence[Break], said: Language) -> Iterator[tuple[str, ...]]:
    def amount(figure: Decimal | None) -> str:
        return NOTHING if figure is None else said.money(figure)

    def share(figure: float | None) -> str:
        return NOTHING if figure is None else said.share(figure, 1)

    floor = given.evaluation.plans.terms.margin_floor_share
    yield ("unit price", *(said.money(one.unit_price) for one in some))
    yield ("cost, planned", *(said.money(one.unit_cost.planned) for one in some))
    for name in ("p50", "p80", "p95"):
        if any(getattr(one.unit_cost, name) is not None for one in some):
            yield (f"cost, {name[1:]} of 100 below", *(amount(getattr(one.unit_cost, name)) for one in some))
    yield ("margin reached", *(share(margin_left(one)) for one in some))
    if floor is not None:
        yield ("margin floor of the terms", *(share(floor) for _ in some))
    yield ("chance of a loss", *(share(one.loss_chance) for one in some))
    yield ("chance that something is made again", *(share(one.lead_time.remake_chance) for one in some))
    yield ("chance that the starts are enough", *(share(one.enough_chance) for one in some))


def risk(given: Given, said: Language) -> JobSection | None:
    """What the spread of the cost comes from, and what decides the date of this quantity."""
    one = given.price_break
    drivers = [
        f"{OPERATIONS.get(str(driver.operation), str(driver.operation))}, most of it {driver.part}: {said.share(driver.share)} of the spread of the cost"
        for driver in one.risk_drivers
    ]
    decided = [
        f"{_what(deciding)}: {said.figure(deciding.days, form='.1f')} days in the mean; on the last path in {said.share(deciding.share)} of orders"
        for deciding in one.lead_time.decided_by
    ]
    path = " → ".join(one.lead_time.critical_path)
    lines = (*drivers, *decided, *((f"Done last most often: {path}",) if path else ()))
    return JobSection("Risk, and what decides the date", (Points(lines),)) if lines else None


def _what(one: Deciding) -> str:
    if one.kind == "delivery":
        return f"delivery of {one.name} for {one.part}"
    name = OPERATIONS.get(one.operation or one.name, one.name)
    at = f" at {one.work_centre}" if one.work_centre else ""
    again = "making again: " if one.kind == "making_again" and one.operation is None else ""
    return f"{again}{name} of {one.part}{f' {one.face}' if one.face else ''}{at}"
