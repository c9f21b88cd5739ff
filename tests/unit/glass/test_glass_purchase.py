from __future__ import annotations

from datetime import date
from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.glass.domain.purchase import EXACT_LOTS, Source, cheapest_lots, lot_for, lot_of, lots_of, rounded_up
from shared_schemas.blanks import BlankForm
from shared_schemas.rates import PriceStep, StockFormRow


def stock(
    name: str = "slab", form: BlankForm = "slab", ladder: tuple[tuple[float, str], ...] = ((0.0, "100"),), **more: Any
) -> StockFormRow:
    prices = tuple(PriceStep(from_kg=kg, price_per_kg=Decimal(price)) for kg, price in ladder)
    fields: dict[str, Any] = {"lead_days": 10.0} | more
    return StockFormRow(
        name=name, source="invented demo figure", as_of=date(2026, 11, 2), glass="N-BK7", form=form, prices=prices, **fields
    )


def test_a_lot_costs_its_mass_at_the_price_of_that_mass_and_its_charges() -> None:
    row = stock(ladder=((0.0, "100"), (5.0, "80")), lot_charge=Decimal("45"), mould_charge=Decimal("5"))
    source = Source(row, 10, 2500.0)
    assert lot_of(source=source, pieces=1, minor_units=2).cost == Decimal("300.00")
    assert lot_of(source=source, pieces=2, minor_units=2).cost == Decimal("450.00")


def test_where_a_price_break_makes_more_glass_cheaper_more_is_bought() -> None:
    source = Source(stock(ladder=((0.0, "100"), (5.0, "50"))), 10, 1000.0)
    lots = lots_of(source=source, up_to_blanks=60, minor_units=2)
    assert [(lot.pieces, lot.cost) for lot in lots] == [
        (1, Decimal("100.00")),
        (2, Decimal("200.00")),
        (5, Decimal("250.00")),
        (6, Decimal("300.00")),
    ]
    assert lot_for(lots=lots, blanks=21).pieces == 5


def test_below_the_minimum_order_the_minimum_is_bought() -> None:
    source = Source(stock(minimum_kg=3.0), 1, 20.0)
    first = lots_of(source=source, up_to_blanks=10, minor_units=2)[0]
    assert (first.pieces, first.blanks, first.cost) == (150, 150, Decimal("300.00"))


def test_a_mould_pays_from_the_crossover_on() -> None:
    cut = Source(stock("slab"), 1, 100.0)
    pressed = Source(stock("pressing", "pressing", mould_charge=Decimal("800")), 1, 20.0)
    lots = cheapest_lots(sources=[cut, pressed], up_to_blanks=300, minor_units=2)
    forms = [lot.source.stock.form for lot in lots]
    assert forms == sorted(forms, key=["slab", "pressing"].index)
    last_cut = max(lot.blanks for lot in lots if lot.source.stock.form == "slab")
    # 10 a blank cut, 2 a blank and 800 once pressed: equal at 100, to within the coarser lots beyond 32 pieces
    assert 90 <= last_cut <= 110


def test_of_equal_cost_the_shorter_lead_time_wins() -> None:
    slow, quick = Source(stock("a", lead_days=30.0), 1, 100.0), Source(stock("b", lead_days=5.0), 1, 100.0)
    assert {lot.source.stock.name for lot in cheapest_lots(sources=[slow, quick], up_to_blanks=5, minor_units=2)} == {"b"}


@pytest.mark.parametrize(
    ("amount", "minor_units", "paid"),
    [("0.001", 2, "0.01"), ("2", 2, "2.00"), ("2.001", 2, "2.01"), ("2.999", 0, "3"), ("0.0001", 3, "0.001")],
)
def test_an_amount_to_pay_is_rounded_up_to_whole_minor_units(amount: str, minor_units: int, paid: str) -> None:
    assert rounded_up(Decimal(amount), minor_units) == Decimal(paid)


ladders = st.lists(st.tuples(st.floats(0.5, 20), st.integers(1, 1000)), max_size=3, unique_by=lambda step: step[0]).map(
    lambda steps: ((0.0, "500"), *((kg, str(price)) for kg, price in sorted(steps)))
)
sources = st.builds(
    lambda ladder, charge, mould, least, per, mass: Source(
        stock(ladder=ladder, lot_charge=Decimal(charge), mould_charge=Decimal(mould), minimum_kg=least), per, mass
    ),
    ladders, st.integers(0, 200), st.integers(0, 900), st.floats(0, 5), st.integers(1, 80), st.floats(0.01, 4000),
)  # fmt: skip


@settings(max_examples=80, deadline=None)
@given(st.lists(sources, min_size=1, max_size=3), st.integers(1, 3000))
def test_cost_never_falls_when_blanks_rise_is_never_zero_and_covers_what_is_asked(found: list[Source], up_to: int) -> None:
    lots = cheapest_lots(sources=found, up_to_blanks=up_to, minor_units=2)
    assert lots[0].cost > 0
    assert lots[-1].blanks >= up_to
    assert all(before.blanks < after.blanks and before.cost < after.cost for before, after in pairwise(lots))
    assert len(lots) <= 200 * len(found)


@settings(max_examples=60, deadline=None)
@given(sources, st.integers(1, EXACT_LOTS))
def test_a_lot_of_few_pieces_is_the_cheapest_of_all_lots_large_enough(source: Source, pieces: int) -> None:
    wanted = pieces * source.blanks_per_piece
    lots = lots_of(source=source, up_to_blanks=wanted, minor_units=2)
    enough = range(max(pieces, lots[0].pieces), max(pieces, lots[-1].pieces) + 3)
    if len(enough) < 2000 and source.stock.minimum_kg * 1000 <= lots[0].pieces * source.piece_mass_g + 1e-6:
        least = min(lot_of(source=source, pieces=number, minor_units=2).cost for number in enough)
        assert lot_for(lots=lots, blanks=wanted).cost == least


def test_the_steps_up_to_the_largest_quantity_stay_few_and_charge_at_most_a_sixteenth_too_much() -> None:
    source = Source(stock(), 1, 10.0)
    lots = cheapest_lots(sources=[source], up_to_blanks=160_030, minor_units=2)
    assert len(lots) < 200
    for blanks in (1, 31, 32, 33, 100, 1000, 99_999):
        exact = lot_of(source=source, pieces=blanks, minor_units=2).cost
        assert exact <= lot_for(lots=lots, blanks=blanks).cost <= exact * Decimal("1.0626")
