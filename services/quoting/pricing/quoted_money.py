"""Money of the plans before, in the currency of the quote: the amount and what explains it change together."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import TypeVar

from services.optics.law import column, figure_of, given
from services.quoting.costs.money import converted, in_currency
from services.quoting.pricing.plans import Plans
from shared_schemas.figure import Figure
from shared_schemas.operations import BoughtPart, Operation, Tooling, ToolingOffer
from shared_schemas.rates import Rates

Priced = TypeVar("Priced", Operation, Tooling, BoughtPart, ToolingOffer)
AMOUNTS = ("consumables", "charge", "lot_charge", "unit_price", "saving")


def in_quote_currency(part: Priced, plans: Plans) -> Priced:
    """A part of a plan with its amounts in the currency of the quote, to its minor units.

    What explains an amount says how it was converted, and from what; its inputs stay in the base currency.
    """
    amounts: dict[str, Decimal] = {name: getattr(part, name) for name in AMOUNTS if name in type(part).model_fields}
    quoted = {name: in_currency(amount, plans.currency) for name, amount in amounts.items()}
    if quoted == amounts:
        return part
    kept: tuple[Figure, ...] = tuple(figure for figure in part.basis if figure.name not in amounts)
    basis = (*kept, *(converted_figure(_in_base(part.basis, name, amount, plans), plans) for name, amount in amounts.items()))
    return part.model_copy(update={**quoted, "basis": basis})


def converted_figure(amount: Figure, plans: Plans, *, name: str | None = None) -> Figure:
    """An amount of the base currency in that of the quote, as a figure, under its own name if no other is given."""
    row = Rates.ref("currencies", plans.currency)
    base, currency = plans.rates.base_currency, plans.currency.name
    return figure_of(
        converted,
        name=name or amount.name,
        unit=amount.unit.replace(base, currency) or currency,
        amount=amount,
        per_base=column("per_base", plans.currency.per_base, f"{currency} for 1 {base}", row),
        minor_units=column("minor_units", plans.currency.minor_units, "", row),
    )


def _in_base(basis: Sequence[Figure], name: str, amount: Decimal, plans: Plans) -> Figure:
    """What the plan says of an amount."""
    for figure in basis:
        if figure.name == name and figure.value == amount:
            return figure
    return given(name, amount, plans.rates.base_currency, source="the operation plan")
