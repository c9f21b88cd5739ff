"""Elements that are alike are one lot through the whole chain."""

from __future__ import annotations

import pytest

from shared_schemas.operations import Consumed
from shared_schemas.rates import Rates
from tests.chain import alike_doublets, quote_of, request_of, singlet, through_stages


def twins(count: int) -> dict[str, object]:
    """A lens of so many elements that are alike."""
    (one,) = singlet()["elements"]
    return {
        "title": "alike",
        "elements": [{**one, "name": f"L{place + 1}"} for place in range(count)],
        "spaces": [{"gap_mm": 20.0}] * (count - 1),
    }


@pytest.mark.parametrize(("pieces", "count"), [(25, 2), (10, 3)])
def test_so_many_alike_in_each_lens_start_and_cost_as_one_lot_of_all_of_them(pieces: int, count: int, rates: Rates) -> None:
    (together,) = quote_of(request_of(twins(count), [pieces]), rates).breaks
    (single,) = quote_of(request_of(twins(1), [pieces * count]), rates).breaks
    (alone,) = quote_of(request_of(twins(1), [pieces]), rates).breaks
    assert together.start_quantities["L1"] == pytest.approx(single.start_quantities["L1"], abs=2)
    assert set(together.start_quantities) == {"L1", "lens"}
    assert together.unit_price <= count * single.unit_price
    assert together.unit_price < count * alone.unit_price


def test_alike_doublets_have_one_route_and_one_glass_and_every_element_is_quoted(rates: Rates) -> None:
    _, blanks, operations, quote = through_stages(alike_doublets(), rates)
    assert blanks.alike == operations.alike == {"L3": "L1", "L4": "L2"}
    assert [route.part for route in operations.routes] == ["L1", "L2", "L1+L2", "lens"]
    assert operations.routes[-1].consumes == (Consumed(part="L1+L2", count=2),)
    assert [element.name for element in quote.elements] == ["L1", "L2", "L3", "L4"]
    assert quote.elements[2].operations == quote.elements[0].operations
    assert quote.elements[3].blank == quote.elements[1].blank
    assert {blank.element for blank in blanks.blanks} == {"L1", "L2"}
