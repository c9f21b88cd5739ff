"""What every quantity is worked out from: the plans of the stages before, and the same made one way."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from functools import cached_property

from services.quoting.costs.rough import RoughRoute, rough_route
from services.quoting.costs.suppliers import rates_with_suppliers
from services.quoting.pricing.overridden.setting import Setting
from services.quoting.pricing.overridden.terms import SetAt
from services.quoting.pricing.ways import WayCosts, Ways, glass_curves, made_so, tools_needed, way_costs
from services.quoting.promise.lead_time import Shop, shop_of
from services.quoting.risk.draws import Causes, causes_of
from services.quoting.risk.losses import Losses, losses_of
from services.quoting.risk.orders import Orders
from services.quoting.risk.worth import Worth, worths_of
from services.shop.minutes import PerMinute
from services.shop.minutes import per_minute as per_minute_of
from shared_schemas.blanks import Blank, MaterialModel
from shared_schemas.lead_times import Delivery
from shared_schemas.load import LoadSnapshot
from shared_schemas.operations import BoughtPart, PartClasses, Route, Tooling
from shared_schemas.rates import CommercialRow, CurrencyRow, Rates, StockFormRow

PartWays = Mapping[str, Ways]
"""For each element the way it is made."""


@dataclass(frozen=True)
class Made:
    """The plans when every element is made one way: routes of that way, its glass, blanks and tools."""

    ways: PartWays
    routes: tuple[Route, ...]
    materials: tuple[MaterialModel, ...]
    blanks: Mapping[str, Blank]
    tooling: tuple[Tooling, ...]
    bought_parts: tuple[BoughtPart, ...]
    rates: Rates

    @cached_property
    def losses(self) -> dict[str, Losses]:
        """What each route loses."""
        return {route.part: losses_of(route.operations) for route in self.routes}

    @cached_property
    def causes(self) -> dict[str, Causes]:
        """Which operations of each route cause its losses."""
        return {route.part: causes_of(route.operations) for route in self.routes}

    @cached_property
    def worths(self) -> dict[str, Worth]:
        """What pieces of each part cost, near enough for weighing risks."""
        return worths_of(routes=self.routes, materials=self.materials, bought_parts=self.bought_parts, rates=self.rates)

    @cached_property
    def rough(self) -> tuple[RoughRoute, ...]:
        """The routes in money, for costs in floating point."""
        per_minute = {row.name: per_minute_of(row) for row in self.rates.places_of_work}
        return tuple(rough_route(route, per_minute) for route in self.routes)

    @property
    def lens(self) -> Route:
        """The route of the whole lens."""
        return self.routes[-1]


@dataclass(frozen=True)
class SpareLot:
    """Spare parts as they are asked for: `part` as the customer calls it, `lot` the part of the routes that it is made as."""

    part: str
    lot: str
    pieces: int


@dataclass(frozen=True)
class Plans:
    """What every quantity is worked out from. A route holds every way to its part; `made` is the plan of one way for each."""

    routes: tuple[Route, ...]
    materials: tuple[MaterialModel, ...]
    blanks: tuple[Blank, ...]
    bought_parts: tuple[BoughtPart, ...]
    tooling: tuple[Tooling, ...]
    terms: CommercialRow
    currency: CurrencyRow
    confidence: float
    begin: date
    rates: Rates
    load: LoadSnapshot | None = None
    classes: tuple[PartClasses, ...] = field(default=(), compare=False, repr=False)
    """How hard each element is to work: nothing is priced by it."""
    at: Mapping[int, SetAt] = field(default_factory=dict)
    """What an estimator set at single quantities."""
    discount_share: Decimal = Decimal(0)
    """What comes off every price."""
    settings: Mapping[str, Setting] = field(default_factory=dict, compare=False, repr=False)
    """What an estimator set, by its pointer into the worksheet."""
    worked_out: Plans | None = field(default=None, compare=False, repr=False)
    """The same without anything that an estimator set; the ways of making are chosen by it, so that what he set stays on the route he saw."""
    spare_parts: tuple[SpareLot, ...] = ()
    """What is delivered beside the lenses, at every quantity."""
    deliveries: tuple[Delivery, ...] = ()
    """Parts of one of the quantities that are wanted by themselves."""
    prototypes: int | None = None
    """The quantity that is made before any other, with its tools."""
    arrivals: Mapping[str, tuple[str, date]] = field(default_factory=dict, compare=False, repr=False)
    """For each part what it waits for from the customer, and the day on which that is there."""
    orders: Orders = field(default_factory=Orders, compare=False, repr=False)
    costs_known: dict[int, tuple[Route, tuple[Tooling, ...], WayCosts]] = field(default_factory=dict, compare=False, repr=False)
    """What the ways of each route cost, with its tools; plans with other routes for some parts go on with the rest."""
    _made: dict[tuple[tuple[str, Ways], ...], Made] = field(default_factory=dict, init=False, compare=False, repr=False)
    joints: dict[tuple[object, ...], object] = field(default_factory=dict, init=False, compare=False, repr=False)
    """Joint plans of starts that were worked out before, by quantity, ways and confidence."""
    _shops: dict[tuple[bool, bool, int], tuple[Shop, LoadSnapshot | None]] = field(
        default_factory=dict, init=False, compare=False, repr=False
    )
    """Shops that were looked at before, each with its book, which must live as long as it is known by its identity."""
    known: dict[int, object] = field(default_factory=dict, init=False, compare=False, repr=False)
    """What is done for quantities that were worked out before."""
    unit_prices: dict[int, float] = field(default_factory=dict, init=False, compare=False, repr=False)
    """Unit prices of quantities of the price list that are known, before they are made even."""

    part_costs: dict[int, dict[str, float]] = field(default_factory=dict, init=False, compare=False, repr=False)
    """What a part of a quantity of the price list costs, quantities that are known."""

    @cached_property
    def spares_asked(self) -> dict[str, int]:
        """How many of each lot are delivered beside the lenses."""
        asked: dict[str, int] = {}
        for one in self.spare_parts:
            asked[one.lot] = asked.get(one.lot, 0) + one.pieces
        return asked

    @cached_property
    def of_lenses(self) -> Plans:
        """The same for lenses alone: what the price list is of."""
        return replace(self, spare_parts=()) if self.spare_parts else self

    def made(self, ways: PartWays) -> Made:
        """The plans when every element is made one way; remembered."""
        key = tuple(ways.items())
        if key not in self._made:
            self._made[key] = self._make(ways)
        return self._made[key]

    def on(self, day: date, load: LoadSnapshot | None) -> Plans:
        """The same, ordered on a day by a book of load; neither moves a price, so the list of them that is known goes with it."""
        ordered = replace(self, begin=day, load=load)
        object.__setattr__(ordered, "unit_prices", self.unit_prices)
        if self.spare_parts:
            ordered.__dict__["of_lenses"] = self.of_lenses
        return ordered

    def terms_at(self, quantity: int) -> CommercialRow:
        """The terms of a quantity, with the margin that was set at it."""
        share = self.at[quantity].margin_share if quantity in self.at else None
        return self.terms if share is None else self.terms.model_copy(update={"margin_share": share, "margin_steps": ()})

    def discount_at(self, quantity: int) -> Decimal:
        """The share that comes off the price of a quantity."""
        share = self.at[quantity].discount_share if quantity in self.at else None
        return self.discount_share if share is None else share

    @cached_property
    def usual(self) -> Plans:
        """The same without what was set at single quantities, which the price list knows nothing of."""
        return replace(self, at={}) if self.at else self

    def _make(self, ways: PartWays) -> Made:
        forms = {part: next((way.option for way in made if way.choice == "blank"), None) for part, made in ways.items()}
        return Made(
            ways=ways,
            routes=tuple(made_so(route, ways.get(route.part, ())) for route in self.routes),
            materials=tuple(model for one in self.materials for model in _of_forms(one, forms)),
            blanks={blank.element: blank for blank in reversed(self.blanks) if forms.get(blank.element) in (None, blank.form)},
            tooling=tools_needed(self.tooling, ways),
            bought_parts=self.bought_parts,
            rates=self.rates,
        )

    @cached_property
    def way_costs(self) -> dict[str, WayCosts]:
        """What every way to each element costs."""
        curves = glass_curves(self.materials)
        forms: dict[str, list[str]] = {}
        for blank in self.blanks:
            forms.setdefault(blank.element, []).append(blank.form)
        costs: dict[str, WayCosts] = {}
        for route in self.routes:
            if route.kind == "element":
                tools = tuple(tool for tool in self.tooling if tool.part == route.part)
                known = self.costs_known.get(id(route))
                if known is None or known[1] != tools:
                    of_route = way_costs(
                        route, forms=forms.get(route.part, ()), curves=curves, tools=tools, per_minute=self.per_minute
                    )
                    known = self.costs_known[id(route)] = (route, tools, of_route)
                costs[route.part] = known[2]
        return costs

    @cached_property
    def per_minute(self) -> dict[str, PerMinute]:
        """What a minute of each work centre costs."""
        return {row.name: per_minute_of(row) for row in self.rates.places_of_work}

    @property
    def shop(self) -> Shop:
        """The shop as it works every day."""
        return self.shop_for()

    @property
    def expedited_shop(self) -> Shop | None:
        """The shop for an order that goes first in every queue and is worked on overtime, if the terms know any."""
        if self.terms.expedite_queue_share is None or self.terms.overtime_hours_share is None:
            return None
        return self.shop_for(goes_first=True, overtime=True)

    def shop_for(self, *, goes_first: bool = False, overtime: bool = False, load: LoadSnapshot | None = None) -> Shop:
        """The shop for an order that goes first or is worked on overtime, as the terms say; with another book, if one is given. Remembered."""
        book = load or self.load
        key = (goes_first, overtime, id(book))
        if key not in self._shops:
            left = self.terms.expedite_queue_share if goes_first else None
            shop = shop_of(
                rates_with_suppliers(self.rates), begin=self.begin, load=book, orders=self.orders,
                waited_share=1.0 if left is None else left, more_hours=(self.terms.overtime_hours_share or 0.0) if overtime else 0.0,
            )  # fmt: skip
            self._shops[key] = (shop, book)
        return self._shops[key][0]

    @cached_property
    def express(self) -> dict[str, StockFormRow]:
        """Rows of stock that have a faster delivery, by name."""
        return {row.name: row for row in self.rates.stock_forms if row.express_lead_days is not None}


def _of_forms(model: MaterialModel, forms: Mapping[str, str | None]) -> Sequence[MaterialModel]:
    """Of a purchase what is bought when each element comes out of its form: all of it, what some of them buy for themselves, or nothing."""
    if model.form is None:
        return (model,)
    members = [member for member in model.members if forms.get(member, model.form) == model.form]
    if len(members) == len(model.members):
        return (model,)
    return tuple(one for one in model.apart if all(member in members for member in one.members))


def spread_tooling(tooling: Sequence[Tooling], terms: CommercialRow) -> Decimal:
    """Charges for tools that the terms spread over the order, in the base currency."""
    return sum((tool.charge for tool in tooling), Decimal(0)) if terms.tooling == "spread" else Decimal(0)
