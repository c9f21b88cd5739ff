"""Commercial terms with what an estimator set of them, for all quantities and for single ones."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from services.quoting.pricing.overridden.setting import Setting
from shared_schemas.rates import CommercialRow

SHARE_PLACES = Decimal("1e-12")


@dataclass
class SetAt:
    """What was set at one quantity: pieces started by part, margin, discount and the unit price itself."""

    starts: dict[str, int] = field(default_factory=dict)
    margin_share: float | None = None
    discount_share: Decimal | None = None
    unit_price: Decimal | None = None

    @property
    def moves_cost_or_margin(self) -> bool:
        """Whether the price of the quantity is worked out from something else than that of others."""
        return bool(self.starts) or self.margin_share is not None


def exact_share(share: float) -> Decimal:
    """A share as it is written."""
    return Decimal(repr(share))


def with_terms_set(terms: CommercialRow, settings: Sequence[Setting]) -> CommercialRow:
    """The terms as they were set; one margin for all quantities takes the place of its steps."""
    columns: dict[str, Any] = {one.place.field: one.value for one in settings if one.place.field in CommercialRow.model_fields}
    if "margin_share" in columns:
        columns["margin_steps"] = ()
    return terms.model_copy(update=columns) if columns else terms


def set_at(settings: Sequence[Setting]) -> Mapping[int, SetAt]:
    """What was set at single quantities."""
    quantities: dict[int, SetAt] = defaultdict(SetAt)
    for one in settings:
        at = quantities[one.place.quantity]
        if one.place.subject == "starts":
            at.starts[one.place.name] = one.value
        elif one.place.field == "discount_share":
            at.discount_share = exact_share(one.value)
        elif one.place.field == "margin_share":
            at.margin_share = one.value
        else:
            at.unit_price = one.value
    return dict(quantities)
