"""The job estimate as a production order: what an ERP needs of a ready quote to plan, buy and book. Schema version 2.

Units are in the names; `units` has the code of UN/ECE Recommendation 20 for each ending. Money is in `currency` (ISO 4217).
"""

from __future__ import annotations

from datetime import date, datetime
from operator import not_
from typing import Annotated, Literal

from pydantic import Field

from shared_schemas.base import Contract, Currency, Money, Text
from shared_schemas.blanks import BlankForm
from shared_schemas.lead_times import Line
from shared_schemas.operation_kinds import OperationName
from shared_schemas.operations import Face, PartKind, Route
from shared_schemas.order_terms import OrderedSparePart
from shared_schemas.quote import QuoteDecision

SCHEMA_VERSION = "2.0"
"""Of the document: the first number changes when a reader of before would not understand it."""

EstimateView = Literal["full", "plan"]
EstimatePart = Literal["operations", "materials", "tooling"]
Minutes = float
"""Minutes to the millionth, as the price counts them."""


class UnitCodes(Contract):
    """The units that names end in, as codes of UN/ECE Recommendation 20."""

    min: Literal["MIN"] = "MIN"
    h: Literal["HUR"] = "HUR"
    days: Literal["DAY"] = "DAY"
    mm: Literal["MMT"] = "MMT"
    kg: Literal["KGM"] = "KGM"
    pieces: Literal["H87"] = "H87"


class EstimatedWorkCentre(Contract):
    """A work centre that the job needs, and what an hour of the machine and of a person there costs."""

    id: str
    name: str
    machine_rate_per_h: Money
    labour_rate_per_h: Money


class EstimatedOperation(Contract):
    """One operation at one quantity; `work_centre` is the id of one of the estimate's.

    The machine is busy `setup_min + run_min`, a person is there `labour_min`; rework is in both. What it costs is
    (machine minutes x machine rate + labour minutes x labour rate) / 60 + `consumables`, unrounded; `cost` is that to the minor unit of
    the currency, so that all of a quantity add up to the quote's Operations: each is rounded down, and the units left go to the
    largest remainders. `yield` is the share of pieces that go on. `starts` and `finishes` are the earliest days.
    """

    id: str
    sequence: int
    part: str
    operation: OperationName
    face: Annotated[Face | None, Field(exclude_if=not_)] = None
    method: Annotated[str, Field(exclude_if=not_)] = ""
    work_centre: str
    pieces_in: int
    pieces_out: int
    batches: int
    setup_min: Minutes
    run_min: Minutes
    labour_min: Minutes
    machine_rate_per_h: Money
    labour_rate_per_h: Money
    consumables: Money
    cost: Money
    yield_share: Annotated[float, Field(alias="yield")]
    shared_run: Annotated[str | None, Field(exclude_if=not_)] = None
    starts: date | None = None
    finishes: date | None = None


class OperationColumns(Contract):
    """The operations of a quantity column by column, one entry each in the order of the routes; rates stand with the work centres."""

    id: tuple[str, ...]
    sequence: tuple[int, ...]
    part: tuple[str, ...]
    operation: tuple[OperationName, ...]
    work_centre: tuple[str, ...]
    pieces_in: tuple[int, ...]
    pieces_out: tuple[int, ...]
    batches: tuple[int, ...]
    setup_min: tuple[Minutes, ...]
    run_min: tuple[Minutes, ...]
    labour_min: tuple[Minutes, ...]
    consumables: tuple[Money, ...]
    cost: tuple[Money, ...]
    yield_share: Annotated[tuple[float, ...], Field(alias="yield")]
    starts: tuple[date | None, ...]
    finishes: tuple[date | None, ...]


class EstimatedBlank(Contract):
    """The blanks of one element: how many are started, out of which row of the stock, and how large; mass is of all of them."""

    id: str
    part: str
    glass: str
    form: BlankForm
    stock: str
    pieces: int
    diameter_mm: float
    thickness_mm: float
    mass_kg: float


class EstimatedMaterial(Contract):
    """Glass as it is bought for one quantity, by the row of the stock; `from_store` is in hand. `mass_kg` is of all its pieces.

    `maker` is who melts it, as the rates say, and `supplier` from whom it is ordered, where the row of the stock says so.

    `size_mm` is length, width and thickness, or diameter and length or thickness, as far as the row says them.
    `order_by` is the day on which it must be ordered for its parts to begin on their earliest day. `cost` is to the minor unit; all of
    a quantity add up to the quote's Glass.
    """

    id: str
    kind: Literal["glass"] = "glass"
    item: str
    glass: str
    maker: Annotated[str, Field(exclude_if=not_)] = ""
    supplier: Annotated[str, Field(exclude_if=not_)] = ""
    form: BlankForm
    parts: tuple[str, ...]
    size_mm: tuple[float, ...] = ()
    pieces: int
    mass_kg: float
    from_store: Annotated[bool, Field(exclude_if=not_)] = False
    lead_days: float
    order_by: date | None = None
    cost: Money


class EstimatedPart(Contract):
    """A bought part at one quantity, lot charge in its cost; all of a quantity add up to the quote's Bought parts."""

    id: str
    kind: Literal["bought_part"] = "bought_part"
    item: str
    pieces: int
    lead_days: float
    order_by: date | None = None
    cost: Money


class EstimatedTool(Contract):
    """A tool that is made or bought for the job, its charge, and the day by which it must be ordered."""

    id: str
    item: str
    part: str
    charge: Money
    days: float
    order_by: date | None = None


class QuantityFigures(Contract):
    """One quantity in money, materials and days.

    `lines` add up to `total_price`, in which `spare_parts` are, delivered beside the lenses; `total_payable` is that with the charges for tools, where these are asked once beside the price.
    `spares` are good pieces to be expected beyond the order. `operations_difference` is the quote's Operations less the costs of the
    operations here: 0, but for a quote whose rates this release cannot read any more; `remarks` say so. `promised_date` is that of the acceptance.
    """

    quantity: int
    start_quantities: dict[str, int]
    unit_price: Money
    lines: tuple[Line, ...]
    total_price: Money
    tooling_charges: Money
    total_payable: Money
    unit_cost: Money
    ship_date: date
    promised_date: date | None = None
    blanks: tuple[EstimatedBlank, ...] = ()
    materials: tuple[EstimatedMaterial, ...] = ()
    bought_parts: tuple[EstimatedPart, ...] = ()
    tooling: tuple[EstimatedTool, ...] = ()
    spare_parts: Annotated[tuple[OrderedSparePart, ...], Field(exclude_if=not_)] = ()
    spares: dict[str, float] = Field(default_factory=dict)
    operations_difference: Money
    remarks: Annotated[tuple[Text, ...], Field(exclude_if=not_)] = ()


class EstimateQuantity(QuantityFigures):
    """The job estimate at one quantity."""

    operations: tuple[EstimatedOperation, ...]


class PlannedQuantity(QuantityFigures):
    """The job estimate at one quantity, its operations in columns."""

    operations: OperationColumns


class EstimateHead(Contract):
    """What is said once of a job estimate.

    `purchase_order`, `customer_number` and `contact` are the customer's own, from the acceptance, a contact else from the request, and
    `reference` and `purchase_terms` from that; `decision` is that of the moment.
    """

    schema_version: str = SCHEMA_VERSION
    view: EstimateView
    number: str
    quote_number: str
    revision: int
    title: str
    customer: str
    customer_number: str | None = None
    contact: str | None = None
    reference: Annotated[str, Field(exclude_if=not_)] = ""
    purchase_terms: Annotated[str, Field(exclude_if=not_)] = ""
    purchase_order: str | None = None
    needed_by: date | None = None
    ordered_quantity: int | None = None
    quoted_quantities: tuple[int, ...]
    currency: Currency
    units: UnitCodes = UnitCodes()
    rate_revision: int
    load_snapshot: int | None = None
    finished_at: datetime
    decision: QuoteDecision | None = None
    work_centres: tuple[EstimatedWorkCentre, ...]


class RoutedPart(Contract):
    """A part and what it consumes of others, with how many of each go into one."""

    part: str
    kind: PartKind
    consumes: Annotated[dict[str, int], Field(exclude_if=not_)] = Field(default_factory=dict)


class Estimate(EstimateHead):
    """What an ERP needs of a ready quote, in full: every quantity, and the routes with what explains their minutes."""

    view: Literal["full"] = "full"
    routes: tuple[Route, ...]
    quantities: tuple[EstimateQuantity, ...]


class EstimatePlan(EstimateHead):
    """The same to plan from: one quantity, the one that is ordered if one is, and nothing that explains."""

    view: Literal["plan"] = "plan"
    parts: tuple[RoutedPart, ...]
    quantities: tuple[PlannedQuantity, ...]
