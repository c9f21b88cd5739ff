"""How the elements of one glass buy: each for itself, or together when that is cheaper."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cached_property, lru_cache
from typing import NamedTuple

import numpy as np

from services.glass.domain.blank.candidates import forget_glass_of_forms
from services.glass.domain.blank.options import PLATE_FORMS, BlankOption, out_of_plate
from services.glass.domain.buying.lots import cheapest_lots, forget_cheapest_lots, lot_for, numbers_up_to
from services.glass.domain.buying.purchase import Amounts, Counts, Lot, Purchase, Source, plate_costs
from services.glass.domain.buying.sharing import Grinding, Partition, PlateClass, SharedLot, best_partition, shared_offer
from services.glass.domain.buying.slabs import slabs_needed
from shared_schemas.quote import middle_quantity

LIKELY_STARTS_PER_PIECE = 1.5
LIKELY_STARTS_MORE = 8
"""Starts at which buying together and apart are held against each other: 1.5 for each piece, and 8 more (common practice range)."""

REFERENCE_BLANKS = 32
"""Number of blanks at which plate thicknesses are held against each other, whatever is asked for (common practice range)."""

UNEVEN_STARTS = 1.1
"""Elements that buy together are bought for the one that starts most: one in ten more than the others need."""


Options = Mapping[str, Mapping[str, BlankOption]]
"""The ways to each element's blank, by name of the element and of the stock row."""


class Part(NamedTuple):
    """A lot, and the elements that it serves."""

    members: tuple[str, ...]
    lot: Lot


@dataclass(frozen=True)
class GroupLot:
    """What is bought for so many blanks of every member: one lot for all, or one for each."""

    blanks: int
    cost: Decimal
    parts: tuple[Part, ...]

    @cached_property
    def main(self) -> Purchase:
        return max((part.lot.main for part in self.parts), key=lambda purchase: purchase.blanks)

    @property
    def lead_days(self) -> float:
        return max(part.lot.lead_days for part in self.parts)

    @property
    def pieces(self) -> int:
        return sum(part.lot.pieces for part in self.parts)

    @property
    def bought_mass_g(self) -> float:
        return sum(part.lot.bought_mass_g for part in self.parts)

    def part_of(self, element: str) -> Part:
        """The part that serves an element."""
        return next(part for part in self.parts if element in part.members)

    def class_of(self, element: str) -> PlateClass | None:
        """The plates that an element comes out of, where several elements are cut from the same pieces."""
        lot = self.part_of(element).lot
        if not isinstance(lot, SharedLot):
            return None
        return next(plates for plates in lot.classes if element in plates.elements)


class Parting(NamedTuple):
    """Which elements share plates, and what decided it: glass and more grinding for one blank of every member [base currency]."""

    partition: Partition
    cost_per_blank: float
    cost_apart_per_blank: float
    at_blanks: int


@dataclass(frozen=True)
class Group:
    """Elements whose glass is one purchase, and its lots by rising number of blanks; `apart` has what each buys for itself.

    `options` has the ways to their blanks, as thick as they come out of the plates that `parting` puts them in.
    """

    members: tuple[str, ...]
    lots: tuple[GroupLot, ...]
    options: Options
    apart: tuple[Group, ...] = ()
    parting: Parting | None = None

    def own(self, element: str) -> Group:
        """What one of the members buys for itself."""
        return next((group for group in self.apart if element in group.members), self)

    def plate_mates(self, element: str) -> tuple[str, ...]:
        """The elements that come out of plates of the same thickness as one of the members."""
        classes = self.parting.partition if self.parting else ()
        return tuple(name for members in classes if element in members for name in members if name != element)

    def lot_for(self, blanks: int) -> GroupLot:
        """The lot that serves a number of blanks; the last one where none is large enough."""
        return self.lots[min(bisect_left(self.lots, blanks, key=lambda lot: lot.blanks), len(self.lots) - 1)]

    def likely_lot(self, starts: int) -> GroupLot:
        """The lot that will serve when about so many of each are started: one for all, or one for each where that is cheaper."""
        each = [group.lot_for(starts) for group in self.apart]
        cost = sum((lot.cost for lot in each), Decimal(0))
        if not each or self.lot_for(math.ceil(UNEVEN_STARTS * starts)).cost < cost:
            return self.lot_for(starts)
        return GroupLot(starts, cost, tuple(part for lot in each for part in lot.parts))

    def buys_together(self, starts: int) -> bool:
        """Whether about so many of each come out of the same pieces."""
        return any(len(part.members) > 1 for part in self.likely_lot(starts).parts)


class Terms(NamedTuple):
    """What holds for all elements of one glass: quantities asked for, rising, blanks that the models reach to, minor units of the currency.

    `grinding` is where glass is ground away that a blank has more than it need; `None` where the rates do not say.
    """

    quantities: tuple[int, ...]
    up_to_blanks: int
    minor_units: int
    grinding: Grinding | None = None

    @property
    def middle(self) -> int:
        """The quantity that decides what one plan can only say once."""
        return middle_quantity(self.quantities)

    def likely_starts(self, quantity: int) -> int:
        """Blanks of one element that a quantity will probably start."""
        return math.ceil(LIKELY_STARTS_PER_PIECE * quantity) + LIKELY_STARTS_MORE


def forget_lots() -> None:
    """Forget every lot and every sawing of slabs known, as when the process started."""
    forget_cheapest_lots()
    slabs_needed.cache_clear()
    _turn.cache_clear()
    forget_glass_of_forms()


def groups_of(*, options: Options, density_g_cm3: float, terms: Terms) -> tuple[Group, ...]:
    """The purchases for the elements of one glass in one form: one for all where that is cheaper at any number of blanks, else one for each.

    Notes: at every number the cheaper of together and apart holds, so that no quantity depends on what else is asked for. How thick
    a blank is does not depend on a number: it comes out of the same plates together and apart.
    """
    terms = terms._replace(up_to_blanks=numbers_up_to(terms.up_to_blanks)[-1])
    shelves = _shelves(options) if len(options) > 1 else []
    parting = _parting(options, shelves, density_g_cm3, terms) if shelves else None
    if parting:
        options = _thickened(options, parting.partition)
        shelves = _shelves(options)
    apart = _apart(options, terms)
    each = tuple(
        Group(
            (element,),
            tuple(GroupLot(lot.blanks, lot.cost, (Part((element,), lot),)) for lot in lots),
            {element: options[element]},
            parting=parting,
        )
        for element, lots in apart.items()
    )
    if parting:
        lots = _together(options, apart, shelves, parting.partition, density_g_cm3, terms)
        if any(len(part.members) > 1 for lot in lots for part in lot.parts):
            return (Group(tuple(options), lots, options, each, parting),)
    return each


def _apart(options: Options, terms: Terms) -> dict[str, tuple[Lot, ...]]:
    """Lots of their own for every element."""
    return {
        element: cheapest_lots(
            sources=[way.source for way in ways.values()], up_to_blanks=terms.up_to_blanks, minor_units=terms.minor_units
        )
        for element, ways in owned_once(options).items()
    }


def _thickened(options: Options, partition: Partition) -> Options:
    """The ways to blanks as thick as the thickest of their class; rows that have no plate of that thickness fall away."""
    class_of = {name: members for members in partition for name in members}

    def thick(element: str, way: BlankOption) -> BlankOption:
        most = max(options[name][row].shape.thickness_mm for name in class_of[element] for row in options[name])
        return out_of_plate(option=way, thickness_mm=most)

    wide = {element: {row: thick(element, way) for row, way in ways.items()} for element, ways in options.items()}
    return {element: {row: way for row, way in ways.items() if way.yielded.plates} for element, ways in wide.items()}


def owned_once(options: Options) -> Options:
    """The options for purchases apart: what lies in the store is kept for the heaviest blank that comes out of it."""
    keeper: dict[str, str] = {}
    for name in {stock for ways in options.values() for stock, way in ways.items() if way.stock.owned_pieces}:
        able = [(ways[name].mass_g, element) for element, ways in options.items() if name in ways]
        keeper[name] = max(able)[1]
    if not keeper:
        return options
    return {
        element: {name: way if keeper.get(name, element) == element else without_store(way) for name, way in ways.items()}
        for element, ways in options.items()
    }


def without_store(option: BlankOption) -> BlankOption:
    """The same way to a blank, with nothing of its row in the store."""
    return replace(option, stock=option.stock.model_copy(update={"owned_pieces": 0}))


def _shelves(options: Options) -> list[list[BlankOption]]:
    """For each slab or strip row that all elements come out of, their ways out of it."""
    return [
        [ways[name] for ways in options.values()]
        for name, way in next(iter(options.values())).items()
        if way.stock.form in PLATE_FORMS and all(name in ways for ways in options.values())
    ]


def _together(
    options: Options, apart: Mapping[str, Sequence[Lot]], shelves: Sequence[Sequence[BlankOption]], partition: Partition,
    density_g_cm3: float, terms: Terms,
) -> tuple[GroupLot, ...]:  # fmt: skip
    """Lots for all elements: at every number the cheapest of the rows that all come out of, or of purchases apart."""
    numbers = np.array(numbers_up_to(terms.up_to_blanks))
    offers = [
        shared_offer(
            options=shelf, partition=partition, numbers=numbers, density_g_cm3=density_g_cm3, minor_units=terms.minor_units
        )
        for shelf in shelves
    ]
    costs = np.array([_costs_apart(apart, numbers), *(offer.costs for offer in offers)])
    chosen, least = costs.argmin(axis=0), costs.min(axis=0)
    later = np.append(np.minimum.accumulate(least[::-1])[::-1][1:], np.inf)
    lots: list[GroupLot] = []
    for place in np.flatnonzero(least < later).tolist():
        number = int(numbers[place])
        if chosen[place]:
            lot = offers[chosen[place] - 1].lot(place)
            best = GroupLot(number, lot.cost, (Part(tuple(options), lot),))
        else:
            parts = tuple(Part((element,), lot_for(lots=own, blanks=number)) for element, own in apart.items())
            best = GroupLot(number, _sum(parts), parts)
        while lots and lots[-1].cost >= best.cost:
            lots.pop()
        lots.append(best)
    return _that_can_be_repeated(lots, options, terms)


def _costs_apart(apart: Mapping[str, Sequence[Lot]], numbers: Counts) -> Amounts:
    """Cost of lots of their own for every element together, at rising numbers of blanks, shape (k,)."""
    total = np.zeros(len(numbers))
    for lots in apart.values():
        blanks = [lot.blanks for lot in lots]
        costs = np.array([float(lot.cost) for lot in lots])
        total += costs[np.minimum(np.searchsorted(blanks, numbers), len(lots) - 1)]
    return total


def _parting(options: Options, shelves: Sequence[Sequence[BlankOption]], density_g_cm3: float, terms: Terms) -> Parting:
    """Which elements share plates, the same at every number, since the blank that is ground has one thickness.

    Notes: the parting whose blanks cost least at `REFERENCE_BLANKS`, not at the quantities asked for: what one quantity costs
    does not depend on the others.
    """
    each: Partition = tuple((element,) for element in options)
    numbers = np.array([REFERENCE_BLANKS])
    apart = _apart(options, terms._replace(up_to_blanks=REFERENCE_BLANKS))
    costs = {each: float(_costs_apart(apart, numbers)[0] / REFERENCE_BLANKS)}
    for shelf in shelves:
        merged, work = best_partition(options=shelf, number=REFERENCE_BLANKS, density_g_cm3=density_g_cm3, grinding=terms.grinding)
        for partition, work_per_blank in {each: 0.0, merged: work / REFERENCE_BLANKS}.items():
            offer = shared_offer(
                options=shelf, partition=partition, numbers=numbers, density_g_cm3=density_g_cm3, minor_units=terms.minor_units
            )
            cost = float(offer.costs[0] / REFERENCE_BLANKS + work_per_blank)
            costs[partition] = min(cost, costs.get(partition, math.inf))
    chosen = min(costs, key=lambda partition: costs[partition])
    return Parting(chosen, costs[chosen], costs[each], REFERENCE_BLANKS)


def _sum(parts: Sequence[Part]) -> Decimal:
    return sum((part.lot.cost for part in parts), Decimal(0))


def _that_can_be_repeated(lots: list[GroupLot], options: Options, terms: Terms) -> tuple[GroupLot, ...]:
    """The lots, the last one without anything from the store: past it, the last lot is bought again."""
    if not any(purchase.source.owned for part in lots[-1].parts for purchase in part.lot.purchases):
        return tuple(lots)
    last = terms.up_to_blanks + 1
    parts = []
    for element, ways in options.items():
        bare = [without_store(way).source for way in ways.values()]
        again = cheapest_lots(sources=bare, up_to_blanks=last, minor_units=terms.minor_units)
        parts.append(Part((element,), again[-1]))
    final = GroupLot(last, _sum(parts), tuple(parts))
    return (*(lot for lot in lots if lot.cost < final.cost), final)


class Crossover(NamedTuple):
    """From this number of blanks on pressing always costs less than cutting; amounts at this number."""

    blanks: int
    pressed: BlankOption
    cut: BlankOption
    pressed_amount: float
    cut_amount: float


def crossover(*, options: Mapping[str, BlankOption], up_to_blanks: int) -> Crossover | None:
    """Where the cheapest pressing overtakes the cheapest cut blank for good, up to a number of blanks; `None` for never."""
    pressed = [option for option in options.values() if option.stock.form == "pressing"]
    cut = [option for option in options.values() if option.stock.form != "pressing"]
    if not pressed or not cut:
        return None
    turn = _turn(tuple(way.source for way in pressed), tuple(way.source for way in cut), up_to_blanks)
    if turn is None:
        return None
    return Crossover(turn.blanks, pressed[turn.pressed], cut[turn.cut], turn.pressed_amount, turn.cut_amount)


class _Turn(NamedTuple):
    blanks: int
    pressed: int
    cut: int
    pressed_amount: float
    cut_amount: float


@lru_cache(maxsize=512)
def _turn(pressed: tuple[Source, ...], cut: tuple[Source, ...], up_to_blanks: int) -> _Turn | None:
    by_pressing, by_cutting = _amounts_by_blanks(pressed, up_to_blanks), _amounts_by_blanks(cut, up_to_blanks)
    dearer = np.flatnonzero(by_pressing.min(axis=0) >= by_cutting.min(axis=0))
    place = int(dearer[-1]) + 1 if dearer.size else 0
    if place >= up_to_blanks:
        return None
    first, second = int(by_pressing[:, place].argmin()), int(by_cutting[:, place].argmin())
    return _Turn(place + 1, first, second, round(float(by_pressing[first, place]), 2), round(float(by_cutting[second, place]), 2))


def _amounts_by_blanks(sources: Sequence[Source], up_to_blanks: int) -> Amounts:
    """Least amount of each source for 1, 2 … blanks, shape (sources, blanks)."""
    numbers = np.arange(1, up_to_blanks + 1)
    rows = []
    for source in sources:
        plates = -(-numbers // source.blanks_per_plate)
        rows.append(plate_costs(source=source, up_to_plates=int(plates[-1])).amount[plates])
    return np.array(rows)
