"""The operation plan: which operations, how long, with what losses, and what must be bought for them."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from shared_schemas.base import Contract, Currency, Name, NonNegativeMoney, Pointer, Share, Text
from shared_schemas.check import Finding
from shared_schemas.figure import Figure

OperationName = Literal[
    "saw", "core", "press_blank", "generate", "block", "fine_grind", "polish", "deblock", "centre", "bevel", "clean", "inspect",
    "coat", "cement", "blacken_edge", "engrave", "assemble", "align", "final_test", "pack",
]  # fmt: skip
Face = Literal["front", "back"]
PartKind = Literal["element", "cemented_group", "lens"]


class Operation(Contract):
    """One line of the route card.

    A run of n pieces takes `setup_min` once, `batch_min` for each of ceil(n / batch_size) batches and `piece_min` for each
    piece; the machine is busy all that time, a person for `attended_share` of it (and the set-up). A piece survives with probability `yield`; a whole batch is
    lost together with probability `batch_loss`. `consumables` is spent per batch. `basis` explains the figures by name.
    """

    operation: OperationName
    face: Face | None = None
    method: str = ""
    work_centre: Name
    setup_min: Annotated[float, Field(ge=0)]
    batch_size: Annotated[int, Field(ge=1)]
    batch_min: Annotated[float, Field(ge=0)]
    piece_min: Annotated[float, Field(ge=0)] = 0.0
    attended_share: Share = 1.0
    yield_share: Annotated[float, Field(alias="yield", gt=0, le=1)]
    batch_loss: Annotated[float, Field(ge=0, lt=1)] = 0.0
    consumables: NonNegativeMoney
    basis: tuple[Figure, ...] = ()


class Consumed(Contract):
    """A part that goes into another: `part` is an element or a cemented group, `count` of it for each one made."""

    part: str
    count: Annotated[int, Field(ge=1)] = 1


class Route(Contract):
    """The route of one part. An element starts from a blank; a group or the lens from the parts it consumes."""

    part: str
    kind: PartKind
    consumes: tuple[Consumed, ...] = ()
    operations: Annotated[tuple[Operation, ...], Field(min_length=1)]


class BoughtPart(Contract):
    """Something bought for each lens: barrel, spacer, retaining ring, case. A lot costs `lot_charge` and n times `unit_price`."""

    name: Name
    count: Annotated[int, Field(ge=1)]
    lot_charge: NonNegativeMoney
    unit_price: NonNegativeMoney
    lead_days: float
    basis: tuple[Figure, ...] = ()


class Tooling(Contract):
    """A one-off charge for a tool that the shop does not own yet."""

    name: Name
    part: str
    reason: Text
    charge: NonNegativeMoney
    lead_days: float
    basis: tuple[Figure, ...] = ()


class LooserOperation(Contract):
    """What becomes of one operation of a part when a tolerance is relaxed; `position` counts from 0 in its route."""

    position: Annotated[int, Field(ge=0)]
    batch_size: Annotated[int, Field(ge=1)]
    batch_min: Annotated[float, Field(ge=0)]
    piece_min: Annotated[float, Field(ge=0)] = 0.0
    yield_share: Annotated[float, Field(alias="yield", gt=0, le=1)]


class Relaxation(Contract):
    """One tolerance, one class looser: from which figure to which, and the operations that change."""

    where: Pointer
    part: str
    tolerance: Name
    from_figure: float
    to_figure: float
    unit: str
    operations: tuple[LooserOperation, ...]


class OperationPlan(Contract):
    """What the process stage says. `routes` has every element, every cemented group and, last, the lens."""

    currency: Currency
    routes: Annotated[tuple[Route, ...], Field(min_length=1)]
    bought_parts: tuple[BoughtPart, ...] = ()
    tooling: tuple[Tooling, ...] = ()
    relaxations: tuple[Relaxation, ...] = ()
    findings: tuple[Finding, ...] = ()
    cautions: tuple[Text, ...] = ()
