"""Why a quantity costs what it costs once the prototypes are made."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from services.optics.law import figure_of, given
from services.quoting.costs.money import total
from services.quoting.explain.quantity import Quantity
from services.quoting.pricing.prototypes import after_prototypes, charges, payable_with_tools, price_without_spread, tools_after
from shared_schemas.figure import Figure
from shared_schemas.operations import Tooling


def prototype_figures(quantity: Quantity) -> Iterator[Figure]:
    """What is spared of tools, and what is payable then."""
    evaluation, unit = quantity.evaluation, quantity.currency
    if quantity.plans.prototypes is None or evaluation.quantity == quantity.plans.prototypes:
        return
    spared, left = tools_after(evaluation)
    yield figure_of(total, name="after_prototypes tools_spared", unit=unit, amounts=_charges(spared, quantity))
    price = price_without_spread(evaluation, spared)
    where = "total_price, less the tools that come with the prototypes where the terms spread them"
    yield figure_of(
        payable_with_tools, name="after_prototypes total_payable", unit=unit, total_price=given("total_price", price, unit, source=where),
        tools=_charges(left, quantity) if quantity.plans.terms.tooling == "one_off" else (),
    )  # fmt: skip
    then = after_prototypes(evaluation)
    for name in ("p50_days", "p90_days"):
        source = "the same draws as those of the date, without waiting for tools that come with the prototypes"
        yield given(f"after_prototypes {name}", getattr(then, name), "days", source=source)


def _charges(tools: Sequence[Tooling], quantity: Quantity) -> tuple[Figure, ...]:
    return tuple(
        given(tool.name, charge, quantity.currency, source="the operation plan, in the currency of the quote")
        for tool, charge in zip(tools, charges(tools, quantity.plans), strict=True)
    )
