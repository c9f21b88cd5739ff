"""The margin that is left when a price was set or discounted."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from decimal import Decimal

from services.optics.law import law
from services.quoting.costs.money import in_currency
from services.quoting.pricing.evaluation import Evaluation
from services.quoting.pricing.plans import Plans
from services.quoting.pricing.ways import tools_needed
from shared_schemas.lead_times import Line, LineKind

COST: frozenset[LineKind] = frozenset({"material", "operations", "bought_parts", "losses"})

CHARGES: frozenset[LineKind] = frozenset({"tooling", "deliveries"})
"""Lines of a price on which there is no margin: what they charge is a price already."""


@law
def reached_margin(
    *, price: Decimal, charges: Decimal, cost: Decimal, overhead: Decimal, contingency: Decimal, waived: Decimal
) -> float:  # fmt: skip
    """Margin that a price leaves, as a share of what of it is not charges for tools and deliveries.

    Equation: max(round((price - charges - cost - overhead - contingency - waived) / max(price - charges, 0.01), 6), -1)
    Notes: as the margin of the terms is, but of the price that is asked. Charges for tools that are spread over the price, and for
        deliveries, are prices already; those that are waived the shop pays itself. A price that pays half of what it must, or less, is told as -1.
    Source: derived; common practice.
    """
    lenses = max(price - charges, Decimal("0.01"))
    return max(float(round((price - charges - cost - overhead - contingency - waived) / lenses, 6)), -1.0)


def margin_of_lines(lines: Sequence[Line], *, waived: Decimal = Decimal(0)) -> float:
    """The margin that the lines of a price leave, charges for tools that are waived paid."""
    return reached_margin(
        price=_sum(lines, None),
        charges=_sum(lines, CHARGES),
        cost=_sum(lines, COST),
        overhead=_sum(lines, {"overhead"}),
        contingency=_sum(lines, {"contingency"}),
        waived=waived,
    )


def _sum(lines: Sequence[Line], kinds: Iterable[LineKind] | None) -> Decimal:
    return sum((line.amount for line in lines if kinds is None or line.kind in kinds), Decimal(0))


def waived_charges(evaluation: Evaluation, plans: Plans) -> Decimal:
    """By how much the charges for the tools of a quantity were set below what the tools cost, in the currency of the quote."""
    if plans.worked_out is None:
        return Decimal(0)
    charges = {tool.name: tool.charge for tool in tools_needed(plans.worked_out.tooling, evaluation.made.ways)}
    less = (charges[tool.name] - tool.charge for tool in evaluation.made.tooling if tool.name in charges)
    return in_currency(sum((one for one in less if one > 0), Decimal(0)), plans.currency)


def margin_reached_at(evaluation: Evaluation, plans: Plans) -> float:
    """The margin that the price of a quantity leaves."""
    return margin_of_lines(evaluation.price.lines, waived=waived_charges(evaluation, plans))
