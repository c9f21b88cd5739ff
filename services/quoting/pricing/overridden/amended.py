"""The plans of the stages before and the terms, as they are with what an estimator set; made in one place for all who price."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from services.quoting.costs.money import currency_on
from services.quoting.pricing.overridden.charges import with_blanks_set, with_bought_parts_set, with_tooling_set
from services.quoting.pricing.overridden.places import Subject
from services.quoting.pricing.overridden.routes import with_operations_set
from services.quoting.pricing.overridden.setting import Setting, settings_of
from services.quoting.pricing.overridden.terms import SetAt, exact_share, set_at, with_terms_set
from shared_schemas.blanks import BlankPlan
from shared_schemas.operations import OperationPlan
from shared_schemas.overrides import Override
from shared_schemas.rates import CommercialRow, CurrencyRow, Rates
from shared_schemas.traveller import Job


@dataclass(frozen=True)
class Amended:
    """The plans and terms that a job is priced from, what holds at single quantities, and the overrides that found no figure."""

    blanks: BlankPlan
    operations: OperationPlan
    terms: CommercialRow
    currency: CurrencyRow
    at: Mapping[int, SetAt] = field(default_factory=dict)
    discount_share: Decimal = Decimal(0)
    currency_clause: str = ""
    settings: Mapping[str, Setting] = field(default_factory=dict)
    """The overrides that hold, by pointer."""
    nowhere: tuple[Override, ...] = ()

    @property
    def of_plans(self) -> dict[str, Any]:
        """What of it the plans for the quantities have, by the names of their fields."""
        return {
            "routes": self.operations.routes,
            "materials": self.blanks.materials,
            "bought_parts": self.operations.bought_parts,
            "tooling": self.operations.tooling,
            "terms": self.terms,
            "at": self.at,
            "discount_share": self.discount_share,
            "settings": self.settings,
        }


def amended(job: Job, blanks: BlankPlan, operations: OperationPlan, rates: Rates) -> Amended:
    """What a job is priced from: the plans themselves where nothing was set.

    Raises what the rates raise that lack the terms or the currency of the request.
    """
    request = job.request
    terms, currency = rates.terms(request.customer_class), currency_on(job.quoted_on, request.currency, rates)
    if not request.overrides:
        return Amended(blanks, operations, terms, currency)
    settings, unreadable = settings_of(request.overrides, currency)
    of: dict[Subject, list[Setting]] = {
        name: [one for one in settings if one.place.subject == name]
        for name in ("operations", "starts", "blanks", "bought_parts", "tooling", "prices", "terms")
    }
    parts = {route.part for route in operations.routes}
    nowhere = [
        one for one in (*of["starts"], *of["prices"])
        if one.place.quantity not in request.quantities or (one.place.subject == "starts" and one.place.name not in parts)
    ]  # fmt: skip
    blanks, lost = with_blanks_set(blanks, of["blanks"])
    nowhere += lost
    operations, lost = with_operations_set(operations, of["operations"], rates)
    nowhere += lost
    operations, lost = with_bought_parts_set(operations, of["bought_parts"])
    nowhere += lost
    operations, lost = with_tooling_set(operations, of["tooling"])
    nowhere += lost
    holding = [one for one in settings if one not in nowhere]
    by_field = {one.place.field: one.value for one in of["terms"]}
    return Amended(
        blanks,
        operations,
        with_terms_set(terms, of["terms"]),
        currency,
        set_at([one for one in holding if one.place.subject in ("starts", "prices")]),
        exact_share(by_field.get("discount_share", 0)),
        by_field.get("currency_clause", ""),
        {one.override.pointer: one for one in holding},
        (*unreadable, *(one.override for one in nowhere)),
    )
