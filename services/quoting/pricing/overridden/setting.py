"""An override read: its place, its value in the currency that figures are worked out in, and how a figure says that it was set."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

from services.optics.law import changed_figure, decided, given
from services.quoting.pricing.overridden.places import WorksheetPlace, place_of
from shared_schemas.figure import Figure
from shared_schemas.overrides import AppliedOverride, Override
from shared_schemas.rates import CurrencyRow

BILLIONTH = Decimal("1e-9")


@dataclass(frozen=True)
class Setting:
    """An override with its place and its value, an amount in the base currency of the rates."""

    override: Override
    place: WorksheetPlace
    value: Any
    currency: CurrencyRow

    @property
    def unit(self) -> str:
        """The unit of the value, of an amount the base currency's by no name: the figure around it has it."""
        return "" if self.place.kind.unit == "money" else self.place.kind.unit

    @property
    def reason(self) -> str:
        """Who set it when, and why."""
        return said_of(self.override)

    def in_base(self, amount: Decimal) -> Decimal:
        """An amount of the quote in the base currency, to the billionth where it does not come out even."""
        return in_base_currency(amount, self.currency)


def in_base_currency(amount: Decimal, currency: CurrencyRow) -> Decimal:
    """An amount in the currency of a quote in the base currency of the rates."""
    if currency.per_base == 1:
        return amount
    return (amount / currency.per_base).quantize(BILLIONTH, rounding=ROUND_HALF_EVEN)


def settings_of(overrides: Sequence[Override], currency: CurrencyRow) -> tuple[list[Setting], list[Override]]:
    """The overrides that can be read, and those that cannot."""
    settings, unreadable = [], []
    for override in overrides:
        place = place_of(override.pointer)
        try:
            value = None if place is None else place.kind.read(override.value)
        except ValueError:
            value = None
        if place is None or value is None:
            unreadable.append(override)
        else:
            converted = place.kind.unit == "money" and place.subject != "prices"
            settings.append(Setting(override, place, in_base_currency(value, currency) if converted else value, currency))
    return settings, unreadable


def said_of(override: Override | AppliedOverride) -> str:
    """Who set a figure when, and why."""
    return f"set by {override.author} on {override.at.date().isoformat()}: {override.reason}"


def set_figure(name: str, setting: Setting, *, worked_out: Figure | None, unit: str | None = None) -> Figure:
    """A figure that was set, with what was worked out instead of it, if anything was."""
    before = () if worked_out is None else (changed_figure(worked_out, name="worked out"),)
    return decided(name, setting.value, setting.reason, unit=setting.unit if unit is None else unit, alternatives=before)


def without_it(basis: Sequence[Figure], name: str, value: Any, unit: str) -> Figure:
    """What was worked out for a figure, as its plan explains it."""
    figure = next((one for one in basis if one.name == name and one.value == value), None)
    return figure or given(name, value, unit, source="the plan")
