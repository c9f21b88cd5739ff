"""Two revisions held side by side: every difference is new less old, and they add up."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.quoting.pricing.quote import assemble
from services.quoting.service.comparison import Issued, changed_places, changed_rows, compare
from shared_schemas.quote import QuoteBody
from shared_schemas.quote_life import DecisionRequest, RequoteRequest, is_deeper
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job
from tests.unit.quoting.conftest import centre, request, sections, with_tables

JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
    max_leaves=12,
)


def issued(rates: Rates, revision: int, **changes: Any) -> Issued:
    asked: QuoteRequest = request(**changes)
    job = Job(number="Q-1", attempt=1, request=asked, rate_revision=revision, quoted_on=date(2026, 11, 1 + revision))
    body: QuoteBody = assemble(**sections(job=job), rates=rates, rate_digest=f"r{revision}")
    rows = {("work_centres", "bench"), ("commercial", "standard"), ("currencies", "USD")}
    return Issued(revision=revision, request=asked, body=body, digest=f"d{revision}", rates=rates, rows=rows)


def dearer(rates: Rates) -> Rates:
    return with_tables(rates, work_centres=(centre(labour_rate_per_h=Decimal(45)),))


def test_a_revision_compared_with_itself_shows_no_difference(shop_rates: Rates) -> None:
    same = issued(shop_rates, 1)
    found = compare(number="Q-1", old=same, new=same)
    assert (found.request, found.rate_rows) == ((), ())
    for one in found.breaks:
        assert one.total_price.difference == one.unit_price.difference == one.unit_cost.difference == 0
        assert {line.amount.difference for line in one.lines} == {Decimal(0)}
        assert (one.p50_days.difference, one.p80_days.difference, one.ship_date.difference_days) == (0, 0, 0)
        assert one.decided_by
        assert all(inner.old_days == inner.new_days is not None for inner in one.decided_by)


def test_differences_of_the_lines_add_up_to_that_of_the_total(shop_rates: Rates) -> None:
    found = compare(number="Q-1", old=issued(shop_rates, 1), new=issued(dearer(shop_rates), 2))
    assert [one.quantity for one in found.breaks] == [5, 25, 100]
    for one in found.breaks:
        assert one.total_price.difference is not None
        assert one.total_price.difference > 0
        assert sum(line.amount.difference or 0 for line in one.lines) == one.total_price.difference
        assert one.total_price.new == one.total_price.old + one.total_price.difference  # type: ignore[operator]
        assert one.ship_date.difference_days is not None


def test_back_and_forth_differ_by_their_sign_alone(shop_rates: Rates) -> None:
    old, new = issued(shop_rates, 1), issued(dearer(shop_rates), 2, quantities=[5, 60])
    there, back = compare(number="Q-1", old=old, new=new), compare(number="Q-1", old=new, new=old)
    for one, other in zip(there.breaks, back.breaks, strict=True):
        assert (one.total_price.old, one.total_price.new) == (other.total_price.new, other.total_price.old)
        if one.total_price.difference is not None:
            assert one.total_price.difference == -(other.total_price.difference or 0)


def test_a_quantity_of_one_side_has_no_difference(shop_rates: Rates) -> None:
    found = compare(number="Q-1", old=issued(shop_rates, 1, quantities=[5]), new=issued(shop_rates, 2, quantities=[7]))
    assert [(one.quantity, one.total_price.difference) for one in found.breaks] == [(5, None), (7, None)]
    assert found.breaks[0].lines[0].amount.new is None
    assert [(one.pointer, one.old, one.new) for one in found.request] == [("/quantities/0", 5, 7)]


def test_amounts_in_two_currencies_stand_side_by_side_without_a_difference(shop_rates: Rates) -> None:
    found = compare(number="Q-1", old=issued(shop_rates, 1), new=issued(shop_rates, 2, currency="JPY"))
    one = found.breaks[0]
    assert one.total_price.old is not None
    assert one.total_price.new is not None
    assert one.total_price.difference is None
    assert one.p50_days.difference == 0


def test_rates_that_changed_are_told_where_a_figure_rests_on_them(shop_rates: Rates) -> None:
    old, new = shop_rates, dearer(shop_rates)
    (row,) = changed_rows(old, new, named={("work_centres", "bench"), ("currencies", "USD")})
    assert (row.table, row.row) == ("work_centres", "bench")
    assert [(one.pointer, one.old, one.new) for one in row.fields] == [("/labour_rate_per_h", "30", "45")]
    assert changed_rows(old, new, named={("currencies", "USD")}) == ()
    redated = with_tables(old, work_centres=(centre(),))
    assert changed_rows(old, redated, named={("work_centres", "bench")}) == ()
    gone = with_tables(old, work_centres=())
    (row,) = changed_rows(old, gone, named={("work_centres", "bench")})
    assert {one.new for one in row.fields} == {None}


@pytest.mark.parametrize(
    ("old", "new", "places"),
    [
        ({"a": 1}, {"a": 1}, []),
        ({"a": 1}, {"a": 2}, [("/a", 1, 2)]),
        ({"a": {"b/c": 1, "d~e": 2}}, {"a": {"b/c": 3, "d~e": 4}}, [("/a/b~1c", 1, 3), ("/a/d~0e", 2, 4)]),
        ({"a": [1, 2]}, {"a": [1]}, [("/a/1", 2, None)]),
        ({"a": [1]}, {"a": [1, {"b": 2}]}, [("/a/1", None, {"b": 2})]),
        ({"a": 1}, {"b": 1}, [("/a", 1, None), ("/b", None, 1)]),
        ({"a": [1]}, {"a": {"0": 1}}, [("/a", [1], {"0": 1})]),
        (1, 2, [("", 1, 2)]),
    ],
)
def test_places_that_differ_are_json_pointers(old: Any, new: Any, places: list[tuple[str, Any, Any]]) -> None:
    assert [(one.pointer, one.old, one.new) for one in changed_places(old, new)] == places


@given(JSON)
def test_a_document_differs_nowhere_from_itself(document: Any) -> None:
    assert list(changed_places(document, document)) == []


@given(JSON, JSON)
def test_every_place_that_is_told_differs(old: Any, new: Any) -> None:
    for one in changed_places(old, new):
        assert one.old != one.new


def test_changes_know_how_deep_they_are() -> None:
    assert not is_deeper({}, 0)
    assert not is_deeper({"a": 1}, 0)
    assert is_deeper({"a": {}}, 0)
    assert not is_deeper({"a": [{"b": 1}]}, 2)
    assert is_deeper({"a": [{"b": 1}]}, 1)


def test_an_acceptance_needs_a_quantity_and_a_requote_its_rates_beside_the_changes() -> None:
    with pytest.raises(ValueError, match="needs the quantity"):
        DecisionRequest(decision="accepted", by="x")
    assert DecisionRequest(decision="declined", by="x").quantity is None
    with pytest.raises(ValueError, match="not a change of the request"):
        RequoteRequest(changes={"rate_revision": 3})
