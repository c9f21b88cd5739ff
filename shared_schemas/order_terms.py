"""What belongs to an order beside lenses and quantities: spare parts, what the customer supplies, how it is to be delivered."""

from __future__ import annotations

from operator import not_
from typing import Annotated, Literal

from pydantic import Field, model_validator

from shared_schemas.base import NO_CONTROLS, Contract, Day, Fault, Money, Name, Positive, Text, refuse_if_any
from shared_schemas.lead_times import Delivery, Quantity
from shared_schemas.prescription import Prescription

SUPPLIED = ("glass", "blank", "tool", "coating")
Delivered = Literal["lenses", "sets"]
"""Whole lenses, or sets of their parts that the customer puts together: elements, and groups that are cemented."""


class SparePart(Contract):
    """Parts that are delivered beside the lenses, such as five of L3: an element, or a cemented group by its name; the same at every quantity."""

    part: Name
    pieces: Quantity


class OrderedSparePart(Contract):
    """Spare parts as they are priced with one quantity; `amount` is `pieces` times `unit_price`."""

    part: str
    pieces: int
    unit_price: Money
    amount: Money


class AfterPrototypes(Contract):
    """What a quantity costs, tools with it, and takes once the prototypes of the request are made: days count from their release.

    `tools_spared` are the charges for tools that come with the prototypes.
    """

    tools_spared: Money
    total_payable: Money
    p50_days: int
    p90_days: int


class Supplied(Contract):
    """What the customer supplies: the `glass` or the `blank` of an element, a `tool` of the plan by its name, or the `coating` of a face.

    Of a blank `diameter_mm` and `thickness_mm` are known. `arrives` is the day on which it is there; `pieces` how many blanks there are,
    `mass_kg` how much glass. A coating that is supplied is put on by the customer or by whom he sends the lenses to: `days` is how long that takes.
    """

    what: Literal["glass", "blank", "tool", "coating"]
    element: Name | None = None
    face: Literal["front", "back"] | None = None
    tool: Name | None = None
    diameter_mm: Positive | None = None
    thickness_mm: Positive | None = None
    pieces: Quantity | None = None
    mass_kg: Positive | None = None
    arrives: Day | None = None
    days: Annotated[float, Field(strict=True, ge=0, le=365, exclude_if=not_)] = 0.0

    @model_validator(mode="after")
    def _says_what_it_is_of(self) -> Supplied:
        needed = {
            "glass": ("element",),
            "blank": ("element", "diameter_mm", "thickness_mm"),
            "tool": ("tool",),
            "coating": ("element",),
        }
        taken = {"glass": ("mass_kg", "arrives"), "blank": ("pieces", "arrives"), "tool": ("arrives",), "coating": ("face", "days")}
        faults = [
            Fault(name, reason=f"a {self.what} that the customer supplies needs it", figure=None, limit=name, remedy="add it")
            for name in needed[self.what]
            if getattr(self, name) is None
        ]
        known = {"what", *needed[self.what], *taken[self.what]}
        faults += [
            Fault(
                name,
                reason=f"that is not said of a {self.what}",
                figure=str(getattr(self, name)),
                limit=", ".join(sorted(known)),
                remedy="leave it out",
            )
            for name in type(self).model_fields
            if name not in known and getattr(self, name)
        ]
        refuse_if_any(self, faults)
        return self


class OrderTerms(Contract):
    """What a quote says of the order it is for beside lenses and quantities, as the request has it; what it does not say is left out.

    `assumptions` is what was assumed in reading what the customer sent.
    """

    reference: Annotated[str, Field(max_length=200, pattern=NO_CONTROLS, exclude_if=not_)] = ""
    contact: Annotated[str, Field(max_length=200, pattern=NO_CONTROLS, exclude_if=not_)] = ""
    purchase_terms: Annotated[str, Field(max_length=2000, pattern=NO_CONTROLS, exclude_if=not_)] = ""
    spares: Annotated[tuple[SparePart, ...], Field(exclude_if=not_)] = ()
    delivered: Annotated[Delivered, Field(exclude_if="lenses".__eq__)] = "lenses"
    deliveries: Annotated[tuple[Delivery, ...], Field(exclude_if=not_)] = ()
    supplied: Annotated[tuple[Supplied, ...], Field(exclude_if=not_)] = ()
    repeats: Annotated[str | None, Field(exclude_if=not_)] = None
    prototypes: Annotated[Quantity | None, Field(exclude_if=not_)] = None
    own_operations: Annotated[tuple[Name, ...], Field(exclude_if=not_)] = ()
    assumptions: Annotated[tuple[Text, ...], Field(exclude_if=not_)] = ()


def terms_of(request: Contract) -> OrderTerms | None:
    """The terms of an order out of a request; `None` of a request that has none but its quantities."""
    terms = OrderTerms.model_construct(**{name: getattr(request, name) for name in OrderTerms.model_fields})
    return None if terms == OrderTerms() else terms


def groups_by_name(prescription: Prescription) -> dict[str, tuple[str, ...]]:
    """The cemented groups of a lens by what they are called, such as `L1+L2`, with the names of their elements."""
    groups = (tuple(element.name for element in group) for group in prescription.cemented_groups())
    return {"+".join(names): names for names in groups if len(names) > 1}
