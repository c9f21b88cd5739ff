"""Which rate rows the price of a quote rests on, and with how much money: by that it is said what is invented or stale.

The rule, which is stated here and nowhere else: of the price of the middle quantity, the cost of each operation, purchase, bought part and tool
is shared equally among the distinct rows that its figures rest on (an operation rests on its work centre too); losses on the rows of yields by
what each operation loses; overhead, contingency, margin and whatever else only the terms decide on the row of the terms. In another currency
than the base the row of the currency is one of the rows each time. So every amount lies on a row once, and all together are the price.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_DOWN, Decimal

from services.quoting.costs.cost import bought_part_cost
from services.quoting.pricing.evaluation import Evaluation
from services.quoting.pricing.plans import Plans
from shared_schemas.check import Finding
from shared_schemas.figure import Figure
from shared_schemas.finding_kinds import finding
from shared_schemas.lead_times import LineKind
from shared_schemas.rate_row import RateRow
from shared_schemas.rates import Rates
from shared_schemas.review_ages import is_stale

RowName = tuple[str, str]
"""Table, and row."""
Weights = dict[RowName, Decimal]

MOST_NAMED = 3


@dataclass(frozen=True)
class Resting:
    """The price of a quantity by the rows that it rests on, in the base currency; `amounts` add up to `total` exactly."""

    quantity: int
    currency: str
    total: Decimal
    amounts: Mapping[RowName, Decimal]

    def share_of(self, rows: Iterable[RowName]) -> float:
        """How much of the price rests on some of the rows."""
        return float(sum((self.amounts[row] for row in rows), Decimal(0)) / self.total) if self.total else 0.0


def resting_on(evaluation: Evaluation, plans: Plans) -> Resting:
    """By which rows the price of a quantity stands."""
    base = plans.rates.base_currency
    currency = plans.currency
    beside: frozenset[RowName] = frozenset() if currency.name == base else frozenset({("currencies", currency.name)})
    of_kind = _weights_by_kind(evaluation, plans, beside)
    of_terms = _shared(Decimal(1), {("commercial", plans.terms.name)} | beside)
    amounts: Weights = {}
    for line in evaluation.price.lines:
        weights = of_kind.get(line.kind, {})
        whole = sum(weights.values(), Decimal(0))
        chosen, whole = (weights, whole) if whole else (of_terms, sum(of_terms.values(), Decimal(0)))
        for row, weight in chosen.items():
            amounts[row] = amounts.get(row, Decimal(0)) + line.amount * weight / whole
    unit = Decimal(1).scaleb(-plans.rates.currency(base).minor_units)
    total = (evaluation.price.total / currency.per_base).quantize(unit)
    return Resting(evaluation.quantity, base, total, in_whole_units(amounts, total=total, unit=unit))


def in_whole_units(amounts: Mapping[RowName, Decimal], *, total: Decimal, unit: Decimal) -> dict[RowName, Decimal]:
    """A total shared in proportion to amounts that may have fractions, in whole units: the largest remainders get what is left over."""
    whole = sum(amounts.values(), Decimal(0))
    if not whole:
        return dict.fromkeys(sorted(amounts)[:1], total)
    exact = {row: total * amount / whole for row, amount in sorted(amounts.items())}
    rounded = {row: amount.quantize(unit, ROUND_DOWN) for row, amount in exact.items()}
    left = int((total - sum(rounded.values(), Decimal(0))) / unit)
    step = unit if left > 0 else -unit
    by_remainder = sorted(exact, key=lambda row: -abs(exact[row] - rounded[row]))
    for place in range(abs(left)):
        rounded[by_remainder[place % len(by_remainder)]] += step
    return rounded


def _weights_by_kind(evaluation: Evaluation, plans: Plans, beside: frozenset[RowName]) -> Mapping[LineKind, Weights]:
    base = {("currencies", plans.rates.base_currency)}  # by definition 1: nothing rests on it
    operations: Weights = {}
    losses: Weights = {}
    for costs in evaluation.operations.values():
        for cost in costs:
            rows = _rows_in(cost.operation.basis) - base
            _add(operations, cost.amount, rows | {("work_centres", cost.work_centre.name)} | beside)
            _add(
                losses,
                cost.amount * Decimal(str(round(1 - cost.operation.yield_share, 9))),
                {row for row in rows if row[0] == "yields"} | beside,
            )
    material: Weights = {}
    for purchase in evaluation.materials:
        lines = [line for bought in purchase.bought for line in (bought.step.purchases or (bought.step,))]
        bought_from = {("stock_forms", line.stock) for line in lines}
        _add(material, purchase.amount, _rows_in(purchase.model.basis) - base | bought_from | beside)
    bought: Weights = {}
    lenses = evaluation.starts[evaluation.made.lens.part].started
    for part in plans.bought_parts:
        _add(bought, bought_part_cost(part, lenses=lenses), _rows_in(part.basis) - base | beside)
    tooling: Weights = {}
    for tool in evaluation.made.tooling:
        _add(tooling, tool.charge, _rows_in(tool.basis) - base | beside)
    return {"operations": operations, "losses": losses, "material": material, "bought_parts": bought, "tooling": tooling}


def _add(weights: Weights, amount: Decimal, rows: Iterable[RowName]) -> None:
    for row, share in _shared(amount, rows).items():
        weights[row] = weights.get(row, Decimal(0)) + share


def _shared(amount: Decimal, rows: Iterable[RowName]) -> Weights:
    each = sorted(rows)
    return {row: amount / len(each) for row in each}


def _rows_in(figures: Iterable[Figure]) -> set[RowName]:
    """The rows that figures quote, whatever they are worked out from."""
    found: set[RowName] = set()
    waiting = list(figures)
    while waiting:
        figure = waiting.pop()
        if figure.rate_row is not None:
            found.add((figure.rate_row.table, figure.rate_row.row))
        waiting.extend(figure.inputs)
    return found


def findings_on(resting: Resting, rates: Rates, *, on: date, review_days: Mapping[str, int]) -> Iterator[Finding]:
    """One finding if the price rests on rows that are invented, and one if it rests on rows that were stale on that day."""
    rows = {name: row for name in resting.amounts if (row := rates.row(*name)) is not None}
    invented = [name for name, row in rows.items() if row.origin == "invented"]
    stale = {name: row for name, row in rows.items() if is_stale(row, name[0], on=on, own=review_days)}
    if invented:
        yield finding(
            "rests-on-invented-rates",
            "",
            f"{_how_much(resting, invented)} with invented figures: {_largest(resting, invented)}.",
            figure=round(resting.share_of(invented), 4),
            row=_by_money(resting, invented)[0][1],
            remedy="give these rows the shop's own figures and say how they were come by; the readiness of the rates lists all of them",
        )
    if stale:
        yield finding(
            "rests-on-stale-rates",
            "",
            f"{_how_much(resting, stale)} that nobody has looked at for longer than they may stand: {_largest(resting, stale, stale, on=on)}.",
            figure=round(resting.share_of(stale), 4),
            row=_by_money(resting, stale)[0][1],
            remedy="look at these rows again and give them the day of it; the readiness of the rates lists all of them",
        )


def _how_much(resting: Resting, rows: Iterable[RowName]) -> str:
    names = list(rows)
    count = "1 rate row" if len(names) == 1 else f"{len(names)} rate rows"
    return f"{resting.share_of(names):.0%} of the price of {resting.quantity:,} rests on {count}"


def _by_money(resting: Resting, rows: Iterable[RowName]) -> list[RowName]:
    return sorted(rows, key=lambda name: (-resting.amounts[name], name))


def _largest(
    resting: Resting, rows: Iterable[RowName], known: Mapping[RowName, RateRow] | None = None, *, on: date | None = None
) -> str:  # fmt: skip
    named = [f"{name[1]} of {name[0]} ({_told(resting, name, known, on)})" for name in _by_money(resting, rows)[:MOST_NAMED]]
    return f"most of it on {', '.join(named)}"


def _told(resting: Resting, name: RowName, known: Mapping[RowName, RateRow] | None, on: date | None) -> str:
    share = f"{resting.share_of([name]):.0%}"
    return share if known is None or on is None else f"{share}, {(on - known[name].as_of).days:,} days old"
