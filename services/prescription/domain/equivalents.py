"""Which glass of another maker could stand in for one, and which lead-free glass for a leaded one?"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property, lru_cache

from shared_schemas.check import Finding
from shared_schemas.finding_kinds import finding
from shared_schemas.glass_reference import distance
from shared_schemas.rates import GlassRow, InForce, Rates

STANDS_IN_WITHIN = 1.0
"""Distance up to which a glass is offered as a stand-in: no further off than a commercial melt may be (common practice)."""

WORTH_A_WORD_SHARE = 0.1
"""A stand-in is named for its price when it saves at least this share of the price of a kilogram (common practice)."""


@dataclass(frozen=True)
class Equivalent:
    """A glass that is near another in index and Abbe number; differences are its own minus the other's.

    `distance` counts in commercial tolerances of a melt; at most 1 is as near as two melts of one glass may be.
    """

    row: GlassRow
    nd_difference: float
    vd_difference: float
    distance: float


def nearest(*, nd: float, vd: float, rates: Rates, fits: Callable[[GlassRow], bool], most: int = 3) -> tuple[Equivalent, ...]:
    """The glasses of the rates that fit, nearest in n_d and v_d first; at most so many."""
    places = ((row, row.in_glass_map) for row in rates.glasses if fits(row))
    return tuple(
        sorted(
            (
                Equivalent(row, place.nd - nd, place.vd - vd, distance(from_nd=nd, from_vd=vd, to_nd=place.nd, to_vd=place.vd))
                for row, place in places
                if place is not None
            ),
            key=lambda one: (one.distance, one.row.name),
        )[:most]
    )


def of_other_makers(*, row: GlassRow, rates: Rates, most: int = 3) -> tuple[Equivalent, ...]:
    """The glasses of other makers nearest to a row: S-BSL 7 for N-BK7; none for a material that has no n_d or no v_d."""
    place = row.in_glass_map
    if place is None:
        return ()
    return nearest(nd=place.nd, vd=place.vd, rates=rates, fits=lambda other: other.maker != row.maker, most=most)


@dataclass(frozen=True, eq=False)
class _Market:
    """One revision's glasses with what a kilogram of each costs at least, and what stands in for each."""

    rates: Rates

    @cached_property
    def least_price_per_kg(self) -> dict[str, Decimal]:
        found_prices: dict[str, Decimal] = {}
        for form in self.rates.stock_forms:
            price = form.prices[0].price_per_kg
            found_prices[form.glass] = min(price, found_prices.get(form.glass, price))
        return found_prices

    @cached_property
    def lead_free(self) -> dict[str, Equivalent | None]:
        """The lead-free glass nearest to each leaded one."""
        found_rows: dict[str, Equivalent | None] = {}
        for row in self.rates.glasses:
            place = row.in_glass_map
            if row.lead and place is not None:
                near = nearest(nd=place.nd, vd=place.vd, rates=self.rates, fits=lambda other: not other.lead, most=1)
                found_rows[row.name] = near[0] if near else None
        return found_rows

    @cached_property
    def stand_ins(self) -> dict[str, Equivalent | None]:
        return {}

    def stand_in(self, row: GlassRow) -> Equivalent | None:
        """The cheapest glass of another maker that is near enough and has a price."""
        if row.name not in self.stand_ins:
            near = [
                one
                for one in of_other_makers(row=row, rates=self.rates, most=8)
                if one.distance <= STANDS_IN_WITHIN and one.row.name in self.least_price_per_kg
            ]
            self.stand_ins[row.name] = min(near, key=lambda one: self.least_price_per_kg[one.row.name], default=None)
        return self.stand_ins[row.name]


@lru_cache(maxsize=4)
def _market(same: InForce) -> _Market:
    return _Market(same.rates)


def lead_free(*, row: GlassRow, rates: Rates) -> Equivalent | None:
    """The lead-free glass nearest to a leaded one of the rates; `None` for a glass without lead."""
    return _market(InForce(rates)).lead_free.get(row.name)


def equivalent_findings(*, row: GlassRow, where: str, rates: Rates) -> Iterator[Finding]:
    """A note where a glass of another maker is near enough and cheaper, or can be bought where this one cannot."""
    market = _market(InForce(rates))
    other = market.stand_in(row)
    if other is None:
        return
    theirs, ours = market.least_price_per_kg[other.row.name], market.least_price_per_kg.get(row.name)
    if ours is not None and theirs > ours * Decimal(1 - WORTH_A_WORD_SHARE):
        return
    money = rates.base_currency
    price = f"has no row in stock_forms, {other.row.name} {theirs} {money} a kg" if ours is None else (
        f"costs {ours} {money} a kg, {other.row.name} {theirs}"
    )  # fmt: skip
    yield finding(
        "glass-equivalent", where,
        f"{row.name} of {row.maker} {price}. {other.row.name} of {other.row.maker} is near it: nd {other.nd_difference:+.5f}, "
        f"vd {other.vd_difference:+.2f}, {other.distance:.2f} of the commercial tolerance of a melt.",
        figure=other.distance, limit=STANDS_IN_WITHIN, unit="commercial melt tolerances",
        remedy=f"ask whether {other.row.name} will do, with the radii computed again for its index",
    )  # fmt: skip
