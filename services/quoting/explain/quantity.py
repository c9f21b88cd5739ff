"""One quantity of a quote as it is explained: its figures, the plans behind it, and where its parts stand in the quote."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from services.optics.law import column, given
from services.quoting.pricing.evaluation import Evaluation
from services.quoting.pricing.overridden.places import Subject, pointer_to
from services.quoting.pricing.overridden.setting import Setting, set_figure
from services.quoting.pricing.plans import Plans
from services.quoting.risk.draws import Uncertain
from shared_schemas.figure import Figure
from shared_schemas.rates import Rates


@dataclass(frozen=True)
class Quantity:
    """One quantity at its place among the breaks; `parts` has the pointer of every part that is made."""

    evaluation: Evaluation
    plans: Plans
    place: int
    parts: Mapping[str, str]

    @property
    def base(self) -> str:
        """The base currency of the rates."""
        return self.plans.rates.base_currency

    @property
    def currency(self) -> str:
        """The currency of the quote."""
        return self.plans.currency.name

    @property
    def chances(self) -> Uncertain:
        """What may go otherwise than planned."""
        return self.evaluation.chances

    @property
    def number(self) -> Figure:
        """The quantity itself."""
        return given("quantity", self.evaluation.quantity, at=self.at("quantity"))

    def at(self, *tokens: str | int) -> str:
        """The pointer of a figure of this quantity."""
        return "/".join((f"/breaks/{self.place}", *map(str, tokens)))

    def operation_at(self, part: str, position: int, field: str) -> str:
        """The pointer of a figure of an operation."""
        return f"{self.parts[part]}/operations/{position}/{field}"

    def term(self, name: str, value: float | Decimal, unit: str = "") -> Figure:
        """A column of the terms; one that an estimator set says so."""
        setting = self.setting("prices", self.evaluation.quantity, name) or self.setting("terms", name)
        if setting is None:
            return column(name, value, unit, Rates.ref("commercial", self.plans.terms))
        before = (self.plans.worked_out or self.plans).terms
        usual = before.margin_at(self.evaluation.quantity) if name == "margin_share" else getattr(before, name)
        worked_out = column(name, usual, unit, Rates.ref("commercial", before))
        return set_figure(name, replace(setting, value=value), worked_out=worked_out, unit=unit)

    def setting(self, subject: Subject, *names: str | int) -> Setting | None:
        """What an estimator set at a place of the worksheet."""
        return self.plans.settings.get(pointer_to(subject, *names))

    def per_base(self) -> Figure:
        """The change of currency."""
        return column(
            "per_base",
            self.plans.currency.per_base,
            f"{self.currency} for 1 {self.base}",
            Rates.ref("currencies", self.plans.currency),
        )

    def minor_units(self) -> Figure:
        """Decimals of the currency."""
        return column("minor_units", self.plans.currency.minor_units, "", Rates.ref("currencies", self.plans.currency))


def parts_of(drawn: Mapping[str, str], evaluation: Evaluation, middle: Evaluation, place: int) -> dict[str, str]:
    """Where every part that is made at a quantity stands in a quote: made otherwise than at the middle one, with the quantity."""
    elements = {name: f"/elements/{position}" for position, (name, first) in enumerate(drawn.items()) if name == first}
    other = [part for part, ways in evaluation.made.ways.items() if ways != middle.made.ways[part]]
    elements |= {part: f"/breaks/{place}/routes/{number}" for number, part in enumerate(other)}
    assembled = (route.part for route in evaluation.made.routes if route.kind != "element")
    return elements | {part: f"/assembly/{position}" for position, part in enumerate(assembled)}
