"""Lots against exhaustive search: every number of pieces of every row, from the store or bought, and every number of plates sawn."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from decimal import Decimal
from itertools import combinations_with_replacement, product

import pytest

from services.glass.domain.buying.lots import cheapest_lots, lot_for
from services.glass.domain.buying.purchase import Source, purchase_of
from services.glass.domain.buying.slabs import slabs_at_least, slabs_needed
from services.shop.purchases import lot_cost
from shared_schemas.rates import PriceStep, StockFormRow

CASES = 200


def a_source(chance: random.Random, number: int) -> Source:
    """A stock row with a ladder, a minimum order, charges, a remnant credit and pieces in the store, drawn by chance; some ladders rise."""
    steps = sorted(chance.sample([1, 2, 3, 5, 8], chance.randint(0, 2)))
    falling = chance.random() < 0.9
    prices = sorted((chance.randint(20, 300) for _ in range(len(steps) + 1)), reverse=falling)
    stock = StockFormRow(
        name=f"row {number}",
        source="drawn by chance",
        as_of=date(2026, 11, 2),
        glass="a glass",
        form="slab",
        prices=tuple(
            PriceStep(from_kg=float(kg), price_per_kg=Decimal(price)) for kg, price in zip([0, *steps], prices, strict=True)
        ),
        lot_charge=Decimal(chance.choice([0, 45, 90])),
        mould_charge=Decimal(chance.choice([0, 0, 200])),
        minimum_kg=chance.choice([0.0, 0.0, 2.0]),
        remnant_credit=chance.choice([0.0, 0.3, 0.6]),
        owned_pieces=chance.choice([0, 0, 1, 2]),
        lead_days=chance.choice([5.0, 20.0]),
    )
    plates, mass_g = chance.randint(1, 4), chance.choice([300.0, 800.0, 1700.5])
    return Source(stock, chance.randint(1, 5), plates, mass_g, round(mass_g / plates * 0.9, 3))


def ways_of(source: Source, blanks: int) -> Iterator[tuple[int, Decimal]]:
    """Every purchase of one source that could matter: blanks and amount; the first is none at all."""
    yield 0, Decimal(0)
    enough = -(-blanks // source.blanks_per_piece)
    most = source.limit if source.limit is not None else max(enough, source.least, *(first for first, _ in source.steps)) + 1
    for pieces in range(source.least, most + 1):
        for plates in range(1, pieces * source.plates + 1):
            yield plates * source.blanks_per_plate, purchase_of(source=source, pieces=pieces, plates=plates).amount


def cheapest_of_all(sources: list[Source], blanks: int) -> Decimal:
    """Every way with one source, with every way with the next."""
    least = {0: Decimal(0)}
    for source in sources:
        for one in (replace(source, owned=True), source) if source.stock.owned_pieces else (source,):
            found: dict[int, Decimal] = {}
            for (so_far, paid), (more, amount) in product(least.items(), set(ways_of(one, blanks))):
                have = min(blanks, so_far + more)
                found[have] = min(found.get(have, paid + amount), paid + amount)
            least = found
    return lot_cost(amounts=[least[blanks]], minor_units=2)


# Computed independently: exhaustive search, none of the dynamic program in it.
def test_lots_cost_what_the_cheapest_of_all_ways_costs_in_two_hundred_cases() -> None:
    combined = from_store = 0
    for case in range(CASES):
        chance = random.Random(case)
        sources = [a_source(chance, number) for number in range(chance.randint(1, 3))]
        blanks = chance.randint(1, 30)
        lot = lot_for(lots=cheapest_lots(sources=sources, up_to_blanks=31, minor_units=2), blanks=blanks)
        assert lot.cost == cheapest_of_all(sources, blanks), (case, blanks)
        assert lot.cost > 0
        combined += len(lot.purchases) > 1
        from_store += any(one.source.owned for one in lot.purchases)
    assert combined > 40
    assert from_store > 40


def fewest_slabs(plates: tuple[int, ...], depths: tuple[float, ...], capacity_mm: float) -> int:
    """Every plate in every slab in turn."""
    pieces = [depth for count, depth in zip(plates, depths, strict=True) for _ in range(count)]

    def place(number: int, rooms: tuple[float, ...]) -> bool:
        if number == len(pieces):
            return True
        for room in set(rooms):
            if room >= pieces[number] - 1e-9:
                at = rooms.index(room)
                if place(number + 1, (*rooms[:at], room - pieces[number], *rooms[at + 1 :])):
                    return True
        return False

    slabs = 0
    while not place(0, (capacity_mm,) * slabs):
        slabs += 1
    return slabs


# Computed independently: exhaustive search.
@pytest.mark.parametrize("depths", [(21.0, 13.0, 8.0), (17.5, 11.2, 9.3), (26.0, 14.0, 13.0)])
def test_slabs_are_as_few_as_can_be(depths: tuple[float, float, float]) -> None:
    capacity_mm = 39.2
    for plates in combinations_with_replacement(range(4), 3):
        found = slabs_needed(plates, depths, capacity_mm).number
        assert found == fewest_slabs(plates, depths, capacity_mm)
        assert found >= slabs_at_least(plates, depths, capacity_mm)
