"""What pieces of one stock row cost: price ladder, minimum order, charges, pieces that are owned, remnants credited.

A piece is cut plate by plate; plates that are not needed stay unsawn and are a remnant, worth the stated share
(`remnant_credit`) of what their glass cost. A piece in the store costs no cash, but what it would be worth as a remnant. Where
a row states no share, a remnant is worth nothing, and glass in the store its full price: no glass is free.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from services.glass.domain.blank.grades import GradedStock
from services.shop.purchases import bought_amount, bought_mass_g, charged_kg, owned_amount, pieces_mass_g, pieces_of_a_lot
from shared_schemas.blanks import PurchaseLine
from shared_schemas.rates import StockFormRow

Counts = npt.NDArray[np.int64]
Amounts = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Source:
    """A stock row as it serves one blank: blanks out of a plate, plates out of a piece, mass of a piece and of a plate left unsawn [g].

    `owned` sources are the pieces in the store, `limit` of them; others are bought, as many as one likes.
    """

    stock: StockFormRow
    blanks_per_plate: int
    plates: int
    piece_mass_g: float
    plate_mass_g: float
    owned: bool = False

    @property
    def blanks_per_piece(self) -> int:
        return self.blanks_per_plate * self.plates

    @property
    def limit(self) -> int | None:
        """Largest number of pieces; `None` for as many as one likes."""
        return self.stock.owned_pieces if self.owned else None

    @property
    def lead_days(self) -> float:
        return 0.0 if self.owned else self.stock.lead_days

    @cached_property
    def piece_kg(self) -> Decimal:
        """Mass of a piece [kg], to the milligram."""
        return charged_kg(pieces=1, piece_mass_g=self.piece_mass_g)

    @cached_property
    def plate_kg(self) -> Decimal:
        """Mass of a plate [kg] that stays unsawn, in whole milligrams, downwards: plates are never credited for more than the piece weighs."""
        return Decimal(math.floor(self.plate_mass_g * 1000 + 1e-6)) / 1_000_000

    @cached_property
    def steps(self) -> tuple[tuple[int, Decimal], ...]:
        """The price ladder in pieces: from so many on, a kilogram costs this much; of steps at one number the last."""
        at = {pieces_for_kg(step.from_kg, self.piece_mass_g): step.price_per_kg for step in self.stock.prices}
        return tuple(sorted(at.items()))

    @cached_property
    def least(self) -> int:
        """Smallest number of pieces that the supplier sells."""
        return 1 if self.owned else pieces_for_kg(self.stock.minimum_kg, self.piece_mass_g)

    @property
    def charges(self) -> Decimal:
        """Lot and mould charge, once for a purchase; none for what is owned."""
        return Decimal(0) if self.owned else self.stock.lot_charge + self.stock.mould_charge

    @property
    def credit(self) -> Decimal:
        """Share of its price that unsawn glass is worth."""
        return Decimal(repr(self.stock.remnant_credit))

    @property
    def value_of_owned(self) -> Decimal:
        """Share of its price that glass in the store is charged at: the credit lost, or all of it where none is stated."""
        return self.credit or Decimal(1)


class Purchase(NamedTuple):
    """Pieces of one source: how many, how many plates are sawn off them, for how many blanks, and the exact amount."""

    source: Source
    pieces: int
    plates: int
    blanks: int
    price_per_kg: Decimal
    amount: Decimal
    unsawn_kg: Decimal = Decimal(0)
    """Glass bought that stays a remnant and is credited."""
    used_kg: Decimal = Decimal(0)
    """Glass sawn off pieces in the store."""

    @property
    def mass_g(self) -> float:
        return pieces_mass_g(pieces=self.pieces, piece_mass_g=self.source.piece_mass_g)

    def line(self, members: tuple[str, ...]) -> PurchaseLine:
        """The purchase in its contract."""
        graded = self.source.stock if isinstance(self.source.stock, GradedStock) else None
        grade = (
            {}
            if graded is None
            else {"grade_factor": graded.factor, "certificate_charge": graded.certificate_charge, "grade_days": graded.grade_days}
        )
        return PurchaseLine(
            **grade,
            stock=self.source.stock.name,
            form=self.source.stock.form,
            owned=self.source.owned,
            members=members,
            pieces=self.pieces,
            plates=self.plates,
            amount=self.amount,
            piece_mass_g=self.source.piece_mass_g,
            price_per_kg=self.price_per_kg,
            used_kg=self.used_kg,
            unsawn_kg=self.unsawn_kg,
        )


@dataclass(frozen=True)
class Lot:
    """What is bought, or taken from the store, to have so many blanks, and what it costs (base currency)."""

    purchases: tuple[Purchase, ...]
    blanks: int
    cost: Decimal

    @cached_property
    def main(self) -> Purchase:
        """The purchase that most blanks come from; of equal ones the first."""
        return max(self.purchases, key=lambda one: one.blanks)

    @property
    def source(self) -> Source:
        return self.main.source

    @property
    def pieces(self) -> int:
        return pieces_of_a_lot(pieces=[one.pieces for one in self.purchases])

    @property
    def bought_mass_g(self) -> float:
        return bought_mass_g(masses_g=[one.mass_g for one in self.purchases])

    @property
    def lead_days(self) -> float:
        return max(one.source.lead_days for one in self.purchases)


def pieces_for_kg(mass_kg: float, piece_mass_g: float) -> int:
    """Fewest pieces, one at least, that weigh so many kilograms."""
    return max(1, math.ceil(round(mass_kg * 1000 / piece_mass_g, 9)))


def purchase_of(*, source: Source, pieces: int, plates: int, wanted: int | None = None) -> Purchase:
    """What a number of pieces costs when so many plates are sawn off them.

    Notes: bought: mass x price at that mass + lot charge + mould charge - credit x price x mass of the unsawn plates.
    Owned: mass of the pieces x plates sawn / plates they have x price of one piece x value.
    Source: derived; remnants at a share of their price are common practice.
    """
    blanks = plates * source.blanks_per_plate if wanted is None else wanted
    if source.owned:
        return taken(source=source, pieces=pieces, used_kg=source.piece_kg * plates / source.plates, plates=plates, blanks=blanks)
    unsawn_kg = source.plate_kg * (pieces * source.plates - plates)
    return bought(source=source, pieces=pieces, unsawn_kg=unsawn_kg, plates=plates, blanks=blanks)


def bought(*, source: Source, pieces: int, unsawn_kg: Decimal, plates: int, blanks: int) -> Purchase:
    """Pieces bought, of which so much glass [kg] stays unsawn and is credited."""
    price = next(price for first, price in reversed(source.steps) if first <= pieces)
    amount = bought_amount(
        charged_kg=source.piece_kg * pieces,
        price_per_kg=price,
        lot_charge=source.stock.lot_charge,
        mould_charge=source.stock.mould_charge,
        remnant_credit=source.credit,
        unsawn_kg=unsawn_kg,
    )
    return Purchase(source, pieces, plates, blanks, price, amount, unsawn_kg=unsawn_kg)


def taken(*, source: Source, pieces: int, used_kg: Decimal, plates: int, blanks: int) -> Purchase:
    """Pieces from the store, of which so much glass [kg] is used up."""
    price = source.steps[0][1]
    amount = owned_amount(used_kg=used_kg, price_per_kg=price, value_share=source.value_of_owned)
    return Purchase(source, pieces, plates, blanks, price, amount, used_kg=used_kg)


class PlateCosts(NamedTuple):
    """For 0, 1, 2 … plates of a source: the least amount, and the pieces it is had with."""

    amount: Amounts
    pieces: Counts


def plate_costs(*, source: Source, up_to_plates: int) -> PlateCosts:
    """Least amount for every number of plates up to one, or to what the store has."""
    if source.limit is not None:
        up_to_plates = min(up_to_plates, source.limit * source.plates)
    return least_amounts(source=source, plates=np.arange(up_to_plates + 1))


def least_amounts(*, source: Source, plates: Counts) -> PlateCosts:
    """Least amount for some numbers of plates: just enough pieces, or as many as reach the minimum order or a price step.

    Notes: between steps of the ladder a piece more costs more than its remnant is worth, so that no other number is cheaper.
    """
    enough = np.maximum(-(-plates // source.plates), source.least)
    best = amounts(source, enough, plates)
    pieces = enough
    for first, _ in () if source.owned else source.steps:
        more = np.maximum(enough, first)
        amount = amounts(source, more, plates)
        cheaper = amount < best - 1e-9
        best = np.where(cheaper, amount, best)
        pieces = np.where(cheaper, more, pieces)
    return PlateCosts(np.where(plates > 0, best, 0.0), np.where(plates > 0, pieces, 0))


def least_purchase(*, source: Source, blanks: int) -> Purchase:
    """The cheapest purchase of one source, which is bought, for a number of blanks; the numbers of pieces are those of `plate_costs`."""
    plates = math.ceil(blanks / source.blanks_per_plate)
    enough = max(math.ceil(plates / source.plates), source.least)
    numbers = sorted({max(enough, first) for first, _ in source.steps})
    offers = [purchase_of(source=source, pieces=pieces, plates=plates, wanted=blanks) for pieces in numbers]
    return min(offers, key=lambda offer: offer.amount)


def amounts(source: Source, pieces: Counts, plates: Counts | Amounts) -> Amounts:
    """`purchase_of` for arrays, in floating point: to choose by, not to pay."""
    piece_kg, plate_kg = float(source.piece_kg), float(source.plate_kg)
    if source.owned:
        worth = float(source.steps[0][1] * source.value_of_owned)
        return np.asarray(plates * (piece_kg / source.plates * worth), dtype=np.float64)
    firsts = [first for first, _ in source.steps]
    prices = np.array([float(price) for _, price in source.steps])
    price = prices[np.searchsorted(firsts, pieces, side="right") - 1] if len(firsts) > 1 else prices[0]
    unsawn = (pieces * source.plates - plates) * (plate_kg * float(source.credit))
    paid: Amounts = (pieces * piece_kg - unsawn) * price + float(source.charges)
    return paid


def ladder_falls(sources: Sequence[Source]) -> bool:
    """Whether no price of a ladder is above the one before, so that two orders never cost less than one."""
    return all(after[1] <= before[1] for source in sources for before, after in pairwise(source.steps))
