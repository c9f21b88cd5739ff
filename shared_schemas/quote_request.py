"""What the sales desk asks: how much for these quantities, and when?"""

from __future__ import annotations

from operator import not_
from typing import Annotated

from pydantic import Field, model_validator

from shared_schemas.base import NO_CONTROLS, Contract, Currency, Day, Fault, Name, Text, refuse_if_any
from shared_schemas.lead_times import Delivery, Quantity
from shared_schemas.order_terms import Delivered, SparePart, Supplied
from shared_schemas.overrides import Override
from shared_schemas.prescription import MOST_ELEMENTS, Prescription

MOST_QUANTITIES = 20
MOST_OVERRIDES = 200


class QuoteRequest(Contract):
    """What the sales desk asks: how much for these quantities, and when?

    `confidence` is the probability with which enough pieces are started; `rate_revision` null is the latest. `own_operations` are
    steps of the rate table `operations` that are done on asking, by their names, certificates and special packing among them.

    `reference`, `contact` and `purchase_terms` are the customer's own. `spares` are parts beside the lenses; `delivered` says whether lenses
    or sets of their parts are; `deliveries` are parts of one of the quantities. `repeats` is an earlier quote whose order this one repeats:
    the tools of that are there, which are written into `tools_there` as the request is accepted. `prototypes` is a quantity that is made before any other, with its tools. `assumptions` is what was
    assumed in reading the customer's table; `overrides` is what an estimator said instead of figures that were worked out.
    """

    prescription: Prescription
    quantities: Annotated[tuple[Quantity, ...], Field(min_length=1, max_length=MOST_QUANTITIES)]
    currency: Currency = "USD"
    customer: Annotated[str, Field(max_length=200, pattern=NO_CONTROLS)] = ""
    customer_class: Name = "standard"
    needed_by: Day | None = None
    confidence: Annotated[float, Field(strict=True, gt=0, lt=1)] = 0.9
    rate_revision: Annotated[int, Field(strict=True, ge=1)] | None = None
    own_operations: Annotated[tuple[Name, ...], Field(max_length=20, exclude_if=not_)] = ()
    reference: Annotated[str, Field(max_length=200, pattern=NO_CONTROLS, exclude_if=not_)] = ""
    contact: Annotated[str, Field(max_length=200, pattern=NO_CONTROLS, exclude_if=not_)] = ""
    purchase_terms: Annotated[str, Field(max_length=2000, pattern=NO_CONTROLS, exclude_if=not_)] = ""
    spares: Annotated[tuple[SparePart, ...], Field(max_length=MOST_ELEMENTS, exclude_if=not_)] = ()
    delivered: Annotated[Delivered, Field(exclude_if="lenses".__eq__)] = "lenses"
    deliveries: Annotated[tuple[Delivery, ...], Field(max_length=20, exclude_if=not_)] = ()
    supplied: Annotated[tuple[Supplied, ...], Field(max_length=200, exclude_if=not_)] = ()
    tools_there: Annotated[tuple[Name, ...], Field(max_length=500, exclude_if=not_)] = ()
    repeats: Annotated[str | None, Field(pattern=r"^Q-\d{4}-\d{6,12}$", exclude_if=not_)] = None
    prototypes: Annotated[Quantity | None, Field(exclude_if=not_)] = None
    assumptions: Annotated[tuple[Text, ...], Field(max_length=500, exclude_if=not_)] = ()
    overrides: Annotated[tuple[Override, ...], Field(max_length=MOST_OVERRIDES, exclude_if=not_)] = ()

    @model_validator(mode="after")
    def _each_quantity_once(self) -> QuoteRequest:
        seen: set[int] = set()
        faults = []
        for position, quantity in enumerate(self.quantities):
            if quantity in seen:
                reason = f"the quantity {quantity} is asked for twice"
                faults.append(
                    Fault("quantities", position, reason=reason, figure=quantity, limit="each once", remedy="leave it out")
                )
            seen.add(quantity)
        refuse_if_any(self, faults)
        return self
