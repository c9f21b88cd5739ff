"""A rate table as CSV and back: nothing is lost, and nothing is read as something else."""

from __future__ import annotations

import csv
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.rates.domain.revision import canonical_rows
from services.rates.domain.table_csv import rows_from_csv, rows_to_csv, validated_rows
from services.rates.errors import TableUnreadable
from shared_schemas.csv_cells import guarded, unguarded
from shared_schemas.rates import TABLES, CalendarRow, PriceStep, Rates, StockFormRow, WorkCentreRow

PRINTABLE = st.characters(exclude_categories=("Cc", "Cs"))
NAMES = st.text(PRINTABLE, min_size=1, max_size=60).map(str.strip).filter(bool)
MONEY = st.decimals(min_value=0, max_value=10**9, allow_nan=False, allow_infinity=False, places=2)
POSITIVE = st.floats(min_value=1e-12, max_value=1e12)
STOCK_FORMS = st.builds(
    StockFormRow,
    name=NAMES,
    source=NAMES,
    as_of=st.dates(min_value=date(1000, 1, 1)),
    glass=NAMES,
    form=st.sampled_from(["slab", "strip", "rod", "disc", "pressing"]),
    length_mm=st.none() | POSITIVE,
    diameter_mm=st.none() | POSITIVE,
    prices=st.lists(MONEY.filter(bool), min_size=1, max_size=4).map(
        lambda prices: tuple(PriceStep(from_kg=float(n), price_per_kg=price) for n, price in enumerate(prices))
    ),
    lot_charge=MONEY,
    remnant_credit=st.floats(0, 1),
    owned_pieces=st.integers(0, 2**40),
    lead_days=st.floats(0, 1e6),
)
WORK_CENTRES = st.builds(
    WorkCentreRow,
    name=NAMES,
    source=NAMES,
    as_of=st.dates(min_value=date(1000, 1, 1)),
    operations=st.lists(st.sampled_from(["saw", "core", "polish"]), min_size=1).map(tuple),
    method=st.just("") | st.text(PRINTABLE, max_size=40).map(str.strip),
    machine_rate_per_h=MONEY,
    labour_rate_per_h=MONEY,
    stations=st.integers(1, 99),
    setup_min=st.floats(0, 1e9),
    load_min_per_piece=st.floats(0, 1e9),
    attended_share=st.floats(0, 1),
    largest_diameter_mm=st.none() | POSITIVE,
)


@pytest.mark.parametrize("table", TABLES)
def test_every_table_of_revision_1_is_the_same_after_a_way_through_csv(table: str, rates: Rates) -> None:
    rows = getattr(rates, table)
    back = rows_from_csv(table, rows_to_csv(table, rows))
    assert back == rows
    assert canonical_rows(back) == canonical_rows(rows)


@given(st.lists(STOCK_FORMS, min_size=1, max_size=4, unique_by=lambda row: row.name))
@settings(max_examples=60, deadline=None)
def test_any_stock_form_is_the_same_after_a_way_through_csv(rows: list[StockFormRow]) -> None:
    assert rows_from_csv("stock_forms", rows_to_csv("stock_forms", rows)) == tuple(rows)


@given(st.lists(WORK_CENTRES, min_size=1, max_size=4, unique_by=lambda row: row.name))
@settings(max_examples=60, deadline=None)
def test_any_work_centre_is_the_same_after_a_way_through_csv_or_json(rows: list[WorkCentreRow]) -> None:
    assert rows_from_csv("work_centres", rows_to_csv("work_centres", rows)) == tuple(rows)
    assert validated_rows("work_centres", [row.model_dump(mode="json") for row in rows]) == tuple(rows)


@pytest.mark.parametrize("name", ["[1]", "{}", "true", "null", "1e3", "12", 'a "b", c', "-1", "NaN", "3_000", "née"])
def test_a_name_that_looks_like_something_else_stays_a_name(name: str) -> None:
    row = CalendarRow(name=name, source="shop", as_of=date(2026, 11, 2), weekday=0, hours=8.0)
    assert rows_from_csv("calendar", rows_to_csv("calendar", [row])) == (row,)


def faults(table: str, text: str) -> dict[str, str]:
    with pytest.raises(TableUnreadable) as caught:
        rows_from_csv(table, text)
    return {error.pointer: error.reason for error in caught.value.errors}


HEAD = "name,source,as_of,weekday,hours\n"


@pytest.mark.parametrize(
    ("cells", "pointer"),
    [
        ("a,s,2026-11-02,7,8", "/rows/0/weekday"), ("a,s,2026-11-02,0,-1", "/rows/0/hours"), ("a,s,2026-11-02,0,nan", "/rows/0/hours"),
        ("a,s,2026-11-02,0,eight", "/rows/0/hours"), ("a,s,2026-11-02,0,1_0", "/rows/0/hours"), ("a,s,2026-13-02,0,8", "/rows/0/as_of"),
        (",s,2026-11-02,0,8", "/rows/0/name"), ("a,,2026-11-02,0,8", "/rows/0/source"), ("a,s,2026-11-02,1.5,8", "/rows/0/weekday"),
    ],
)  # fmt: skip
def test_a_cell_that_cannot_be_is_named(cells: str, pointer: str) -> None:
    assert list(faults("calendar", HEAD + cells + "\n")) == [pointer]


def test_an_unknown_column_a_column_twice_and_a_cell_too_many_are_named() -> None:
    assert list(faults("calendar", "name,source,as_of,hours,colour/shade\na,b\n")) == ["/rows/0/colour~1shade"]
    assert faults("calendar", "name,name,source,as_of,hours\na,b\n") == {"/rows/0/name": "the column name stands there 2 times"}
    assert "/rows/0/(cells beyond the last column)" in faults("calendar", HEAD + "a,s,2026-11-02,0,8,9\n")


def test_a_table_without_a_row_is_refused() -> None:
    assert faults("calendar", HEAD) == {"/rows": "the table has no row"}


def test_a_name_that_stands_twice_is_named_at_its_second_row() -> None:
    assert faults("calendar", HEAD + "a,s,2026-11-02,0,8\na,s,2026-11-02,1,8\n") == {"/rows/1/name": "/rows/0 has the same name"}


def test_spaces_around_cells_and_columns_and_line_ends_of_another_system_do_not_count() -> None:
    (row,) = rows_from_csv("calendar", " name , source,as_of ,weekday,hours\r\n a , s ,2026-11-02, 0 , 8 \r\n\r\n")
    assert row == CalendarRow(name="a", source="s", as_of=date(2026, 11, 2), weekday=0, hours=8.0)


def test_money_keeps_its_places(rates: Rates) -> None:
    row = rates.currencies[0].model_copy(update={"per_base": Decimal("1.500")})
    assert "1.500" in rows_to_csv("currencies", [row])


def test_a_hole_in_a_price_ladder_is_named_at_its_step(rates: Rates) -> None:
    record = rates.stock_forms[0].model_dump(mode="json")
    record["prices"] = [{"from_kg": 1.0, "price_per_kg": "9"}, {"from_kg": 1.0, "price_per_kg": "8"}]
    with pytest.raises(TableUnreadable) as caught:
        validated_rows("stock_forms", [record])
    assert [error.pointer for error in caught.value.errors] == ["/rows/0/prices/0/from_kg", "/rows/0/prices/1/from_kg"]
    assert caught.value.errors[0].remedy == "let the first step start at 0 kg"


def test_money_as_a_number_is_refused(rates: Rates) -> None:
    record = {**rates.currencies[0].model_dump(mode="json"), "per_base": 1.0}
    with pytest.raises(TableUnreadable) as caught:
        validated_rows("currencies", [record])
    assert "decimal string" in caught.value.errors[0].reason


@pytest.mark.parametrize("text", ["=1+1", "+cmd|x", "-SUM(A1)", "@x", "'=x", "''@", "'plain", "=-1"])
def test_what_a_spreadsheet_would_calculate_is_text_on_the_way_out_and_the_same_again_on_the_way_in(text: str) -> None:
    row = CalendarRow(name=text, source=text, as_of=date(2026, 11, 2), weekday=0, hours=8.0)
    written = rows_to_csv("calendar", [row])
    assert not [cell for line in csv.reader(written.splitlines()) for cell in line if cell[:1] in tuple("=+-@\t\r")]
    assert rows_from_csv("calendar", written) == (row,)


@pytest.mark.parametrize("figure", ["-1.5", "+3", "-0.00012", "-1e-05", "12", "-.5"])
def test_figures_stay_figures_for_a_spreadsheet(figure: str) -> None:
    assert guarded(figure) == figure
    assert unguarded(figure) == figure
