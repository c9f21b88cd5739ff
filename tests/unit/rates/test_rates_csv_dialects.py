"""CSV as spreadsheets of other countries write it, and lists and ladders in a cell: read alike, or refused with the line."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence

import pytest

from services.rates.domain.cells import cell_of, list_in
from services.rates.domain.csv_dialect import decoded
from services.rates.domain.table_csv import rows_from_csv, rows_to_csv
from services.rates.errors import TableUnreadable
from shared_schemas.problem import ProblemDetail
from shared_schemas.rates import TABLES, CurrencyRow, RateRow, Rates, StockFormRow


def as_in(text: str, delimiter: str, *, decimals: str = ".", days: bool = False) -> str:
    """A CSV of ours as another spreadsheet would have written it."""
    rows = list(csv.reader(io.StringIO(text)))
    heads = rows[0]

    def turned(head: str, cell: str) -> str:
        if days and head in ("as_of", "holiday", "until") and cell:
            return "{2}.{1}.{0}".format(*cell.split("-"))
        if decimals == "," and head not in ("name", "source", "document", "glass", "code") and cell.replace(".", "", 1).isdigit():
            return cell.replace(".", ",")
        return cell

    out = io.StringIO()
    csv.writer(out, delimiter=delimiter).writerows(
        [heads, *([turned(h, c) for h, c in zip(heads, row, strict=True)] for row in rows[1:])]
    )
    return out.getvalue()


def faults(table: str, text: str, before: Sequence[dict[str, object]] = ()) -> tuple[ProblemDetail, ...]:
    with pytest.raises(TableUnreadable) as caught:
        rows_from_csv(table, text, before)
    return caught.value.errors


@pytest.mark.parametrize("delimiter", [";", "\t", ","])
@pytest.mark.parametrize("table", ["hardware", "calendar", "stock_forms", "coatings", "commercial", "yields"])
def test_a_table_is_read_alike_with_whatever_stands_between_its_cells(rates: Rates, table: str, delimiter: str) -> None:
    rows = getattr(rates, table)
    assert rows_from_csv(table, as_in(rows_to_csv(table, rows), delimiter, days=True)) == rows


@pytest.mark.parametrize("table", ["hardware", "currencies", "yields", "calendar"])
def test_decimal_commas_are_points(rates: Rates, table: str) -> None:
    rows = getattr(rates, table)
    assert rows_from_csv(table, as_in(rows_to_csv(table, rows), ";", decimals=",")) == rows


def currency(figure: str, *more: str) -> str:
    rows = "".join(f"CA{chr(65 + number)};quotation 1;02.11.2026;{one};2\n" for number, one in enumerate((figure, *more)))
    return "name;source;as_of;per_base;minor_units\n" + rows


def test_a_figure_that_may_be_a_thousand_is_refused_with_its_line() -> None:
    (fault,) = faults("currencies", currency("1,234"))
    assert (fault.line, fault.column, fault.figure) == (2, "per_base", "1,234")
    assert [fault.line for fault in faults("currencies", currency("0,5", "1.25", "2,5"))] == [2, 4]
    assert [fault.line for fault in faults("currencies", currency("1", "1.234,50"))] == [3]
    read = rows_from_csv("currencies", currency("1,234", "0,5"))
    assert [str(row.per_base) for row in read if isinstance(row, CurrencyRow)] == ["1.234", "0.5"], (
        "the other figure says which sign it is"
    )


def test_a_decimal_comma_in_a_ladder_is_read(rates: Rates) -> None:
    row = rates.stock_forms[0]
    heads = "name;source;as_of;glass;form;length_mm;width_mm;thickness_mm;prices;lead_days"
    text = f'{heads}\nx;a list;2026-11-02;{row.glass};slab;160,5;160;40;"0: 54,20; 5: 47,70";10\n'
    (read,) = rows_from_csv("stock_forms", text)
    assert isinstance(read, StockFormRow)
    assert [(step.from_kg, str(step.price_per_kg)) for step in read.prices] == [(0, "54.20"), (5, "47.70")]


def test_encodings_of_spreadsheets_are_read_and_others_named_by_line() -> None:
    text = "name,source\nSägen,Müller\n"
    for encoding in ("utf-8", "utf-8-sig", "utf-16", "cp1252", "latin-1"):
        assert decoded("yields", text.encode(encoding)) == text
    with pytest.raises(TableUnreadable) as caught:
        decoded("yields", b"name\nx\nS\x81gen\xe4\n")
    assert caught.value.errors[0].line == 3


def test_lists_ladders_and_layers_are_plain_words_in_their_cells(rates: Rates) -> None:
    text = rows_to_csv("stock_forms", rates.stock_forms[:1])
    assert "0: 54.20; 5: 47.70; 25: 42.30" in text
    assert "MgF2: index 1.38, thickness_nm 99.638, rate_nm_per_s 0.5, clear_nm 130 to 7000" in rows_to_csv(
        "coatings", rates.coatings
    )
    assert "bell, optical, automatic" in rows_to_csv("outside_work", rates.outside_work)


@pytest.mark.parametrize("table", TABLES)
def test_the_plain_notation_and_json_are_read_to_the_same_rows(rates: Rates, table: str) -> None:
    """As JSON in a cell is what earlier releases wrote."""
    rows: Sequence[RateRow] = getattr(rates, table)
    plain = list(csv.DictReader(io.StringIO(rows_to_csv(table, rows))))
    documents = [row.model_dump(mode="json", by_alias=True) for row in rows]
    lists = [field for field, value in documents[0].items() if isinstance(value, list)] if documents else []
    out = io.StringIO()
    writer = csv.DictWriter(out, list(plain[0]) if plain else ["name"])
    writer.writeheader()
    writer.writerows(
        {**cells, **{field: json.dumps(row[field]) for field in lists}} for cells, row in zip(plain, documents, strict=True)
    )
    assert not plain or rows_from_csv(table, out.getvalue()) == rows == rows_from_csv(table, rows_to_csv(table, rows))


def test_a_name_with_a_comma_stands_as_json_and_comes_back() -> None:
    annotation = tuple[str, ...]
    for names in (["a, b", "c"], ["[x"], [], ["a"], ['"'], [" a"]):
        assert list_in(cell_of(names, annotation), annotation) == names


def test_a_column_that_is_missing_is_named_once_and_not_for_each_row(rates: Rates) -> None:
    text = "name,source,operation\na,b,saw\nc,d,saw\n"
    assert [(fault.line, fault.column) for fault in faults("yields", text)] == [(1, "as_of"), (1, "yield")]


def test_a_column_may_be_left_out_only_where_nothing_is_lost_by_it() -> None:
    row = {"name": "saw", "source": "12 jobs", "as_of": "2026-11-02", "operation": "saw", "yield": 0.9, "batch_loss": 0.01}
    text = "name,source,as_of,operation,yield\nsaw,12 jobs,2026-11-02,saw,0.9\n"
    (fault,) = faults("yields", text, [row])
    assert (fault.column, "saw has something in it" in fault.reason) == ("batch_loss", True)
    assert rows_from_csv("yields", text, [row | {"batch_loss": 0.0}])


def test_a_table_of_another_name_is_recognised(rates: Rates) -> None:
    (fault,) = faults("yields", rows_to_csv("hardware", rates.hardware))
    assert (fault.reason, fault.figure) == ("these are the columns of hardware", "hardware")


def test_more_rows_than_a_table_has_are_refused_before_they_are_read() -> None:
    text = "name,source,as_of,per_base,minor_units\n" + "x,y,2026-11-02,1,2\n" * 6000
    (fault,) = faults("currencies", text)
    assert (fault.pointer, fault.limit) == ("/rows", 5000)


def test_a_wrong_cell_has_its_line_and_column() -> None:
    text = "name;source;as_of;per_base;minor_units\n\nAAA;b;2026-11-02;1;2\n;;;;\nBBB;c;2026-13-02;x;2\n"
    found = {fault.column: fault.line for fault in faults("currencies", text)}
    assert found == {"as_of": 5, "per_base": 5}
