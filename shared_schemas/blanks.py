"""The blank plan: which blanks, out of which stock, at what cost."""

from __future__ import annotations

from decimal import Decimal
from operator import not_
from typing import Annotated, Literal

from pydantic import Field

from shared_schemas.base import Contract, Count, Currency, Money, Name, NonNegativeMoney
from shared_schemas.check import Finding
from shared_schemas.figure import Figure

BlankForm = Literal["slab", "strip", "rod", "disc", "pressing"]
PlateLayout = Literal[
    "square",
    "hexagonal_along_length",
    "hexagonal_along_width",
    "rows_along_length",
    "rows_along_width",
    "searched",
    "mixed",
    "round",
    "single",
]


class Blank(Contract):
    """The blank of one element. `envelope_mm` is the distance between the extreme planes of the lens at blank diameter."""

    element: str
    glass: str
    form: BlankForm
    stock: str
    diameter_mm: float
    thickness_mm: float
    envelope_mm: float
    volume_mm3: float
    mass_g: float
    finished_mass_g: float
    discs_per_plate: int
    plates_per_slab: int
    blanks_per_piece: int
    layout: PlateLayout
    utilisation: float
    basis: tuple[Figure, ...]


class PurchaseLine(Contract):
    """Pieces of one stock row in a purchase, for some of the members; `owned` pieces come from the store.

    Of pieces bought all is paid for, and `unsawn_kg` of it stays a remnant and is credited; of those in the store what is sawn off,
    `used_kg`. Of graded glass `price_per_kg` is `grade_factor` times that of the row, and `certificate_charge` and `grade_days` come to the
    charge and the days of the row. What is none of these is left out of its JSON.
    """

    stock: str
    form: BlankForm
    owned: bool = False
    members: tuple[str, ...]
    pieces: Count
    plates: Count
    amount: NonNegativeMoney
    piece_mass_g: float = 0.0
    price_per_kg: Decimal = Decimal(0)
    grade_factor: Decimal = Field(Decimal(1), exclude_if=Decimal(1).__eq__)
    certificate_charge: Decimal = Field(Decimal(0), exclude_if=not_)
    grade_days: float = Field(0.0, exclude_if=not_)
    used_kg: Decimal = Field(Decimal(0), exclude_if=not_)
    unsawn_kg: Decimal = Field(Decimal(0), exclude_if=not_)


class MaterialStep(Contract):
    """What it takes to have up to `blanks` blanks of every member, when the step before is not enough.

    `form` and `stock` are those that most blanks come from. `bought_mass_g` is the mass of all pieces opened, those from
    the store among them. `purchases` says what the cost is made of.
    """

    blanks: Annotated[int, Field(ge=1)]
    cost: NonNegativeMoney
    pieces: Count
    bought_mass_g: float
    lead_days: float
    form: BlankForm
    stock: str
    purchases: tuple[PurchaseLine, ...] = ()


class MaterialModel(Contract):
    """Material cost as a step function of the blanks started of each member element.

    Cost of n blanks is the cost of the first step with `blanks >= n`; past the last step the last lot is bought again
    as often as needed and the rest comes from the steps. Members share a purchase: n is the largest number that any of
    them starts. `apart` has what each member pays that buys for itself, as many blanks as it starts: of the two the
    cheaper holds, number by number. `cost` is in the plan's currency. A model with a `form` is for blanks of that form.
    """

    name: Name
    form: BlankForm | None = None
    glass: str
    members: tuple[str, ...]
    steps: Annotated[tuple[MaterialStep, ...], Field(min_length=1)]
    basis: tuple[Figure, ...]
    apart: tuple[MaterialModel, ...] = ()


class DiscsOfElement(Contract):
    """How many discs of a plate are for one element."""

    element: str
    discs: Count


class PlatePlan(Contract):
    """Plates that are cored alike: how many, what comes out of one, how much of it becomes discs, and a picture to scale."""

    glass: str
    stock: str
    thickness_mm: float
    plates: Count
    discs: tuple[DiscsOfElement, ...]
    utilisation: float
    mass_g: float
    svg: str


class BlankPlan(Contract):
    """What the glass stage says. Every element is in `blanks` once for each form that may be its cheapest at some quantity, the likeliest form first.

    Elements that are alike are one lot: `alike` gives for each but the first the first of its kind, which alone has blanks and glass.
    For each blank there is one of `materials` that has its element among the members and its form.

    `plates` is filled where pictures were asked for.
    """

    currency: Currency
    blanks: tuple[Blank, ...]
    materials: tuple[MaterialModel, ...]
    alike: dict[str, str] = Field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    plates: tuple[PlatePlan, ...] = ()


class BuyingFor(Contract):
    """How many blanks a purchase is to give for one element of a lens."""

    lens: Name
    element: str
    blanks: Count


class JointPurchase(Contract):
    """The glass of one kind for several lenses.

    `cost_apart` is what it would cost if every lens bought for itself, `cost` what it costs as `purchases` say, never more.
    `shares` tells what of it falls on each lens, in proportion to what it would pay alone; they add up to `cost` exactly.
    Remnants are credited and owned pieces charged as in a blank plan.
    """

    glass: str
    buying_for: tuple[BuyingFor, ...]
    cost_apart: NonNegativeMoney
    cost: NonNegativeMoney
    shares: dict[str, NonNegativeMoney]
    lead_days: float
    bought_mass_g: float
    purchases: tuple[PurchaseLine, ...]


class JointPurchases(Contract):
    """What several lenses pay for their glass when they buy together, and what that saves."""

    currency: Currency
    glasses: tuple[JointPurchase, ...]
    cost_apart: NonNegativeMoney
    cost: NonNegativeMoney
    saving: Money
