"""What tables and columns mean, and all tables in one file: out, edited, in again, and what is no such file."""

from __future__ import annotations

import io
import json
import zipfile
from random import Random

import openpyxl
import pytest

from services.rates.domain.columns import columns_of, table_infos
from services.rates.domain.revision import tables_of
from services.rates.errors import ArchiveUnreadable, RatesError, TablesUnreadable, TableUnreadable
from services.rates.tables_archive import packed, tables_in
from services.rates.workbook import csv_of_sheets, workbook_of
from shared_schemas.rate_column_texts import COLUMNS, PURPOSES
from shared_schemas.rate_row import TABLE_OF
from shared_schemas.rates import TABLES, Rates


@pytest.mark.parametrize("table", TABLES)
def test_no_column_of_any_table_is_without_its_meaning(table: str) -> None:
    found = columns_of(table)
    assert found.purpose
    assert found.where_used
    for column in found.columns:
        assert column.meaning, f"{table}.{column.column}"
        assert column.unit, f"{table}.{column.column}"
        assert column.range, f"{table}.{column.column}"
        assert column.example not in (None, ""), f"{table}.{column.column}"


@pytest.mark.parametrize("table", TABLES)
def test_the_description_of_the_api_has_the_same_texts(table: str) -> None:
    properties = TABLES[table].model_json_schema()["properties"]
    for column in columns_of(table).columns:
        assert properties[column.column]["description"] == column.meaning, column.column


def test_no_text_is_of_a_column_that_is_gone() -> None:
    assert set(PURPOSES) == set(COLUMNS) == set(TABLES)
    assert {shape.__name__: table for table, shape in TABLES.items()} == TABLE_OF
    for table, texts in COLUMNS.items():
        assert set(texts) <= {column.column for column in columns_of(table).columns}, table


def test_units_and_ranges_follow_from_the_contract() -> None:
    found = {column.column: column for column in columns_of("work_centres").columns}
    assert (found["labour_rate_per_h"].unit, found["setup_min"].unit, found["stations"].unit) == ("money", "min", "pieces")
    yields = {column.column: column for column in columns_of("yields").columns}
    assert yields["yield"].range == "above 0 up to 1"
    assert "polish" in yields["operation"].range


def test_rows_are_counted_by_their_origin(rates: Rates) -> None:
    found = {info.table: info for info in table_infos(rates)}
    assert found["glasses"].rows == sum(found["glasses"].origins.values()) == len(rates.glasses)


def test_an_archive_of_all_tables_is_read_to_the_same_rows_and_is_the_same_each_time(rates: Rates) -> None:
    tables = tables_of(rates)
    content = packed(tables, {"revision": 1})
    assert content == packed(tables, {"revision": 1})
    assert tables_in(content, {}) == {table: rows for table, rows in tables.items() if rows or table in tables_in(content, {})}


def test_a_spreadsheet_of_all_tables_is_read_to_the_same_rows(rates: Rates) -> None:
    tables = tables_of(rates)
    read = tables_in(workbook_of(tables), {})
    assert {table: read[table] for table in tables} == tables


def test_a_spreadsheet_has_a_sheet_a_table_with_figures_as_figures(rates: Rates) -> None:
    book = openpyxl.load_workbook(io.BytesIO(workbook_of({"hardware": rates.hardware})))
    sheet = book["hardware"]
    heads = [cell.value for cell in sheet[1]]
    assert isinstance(sheet.cell(2, heads.index("unit_price") + 1).value, (int, float))
    assert sheet.cell(2, heads.index("as_of") + 1).is_date


def test_a_text_that_looks_like_a_formula_comes_back_as_it_was(rates: Rates) -> None:
    row = rates.hardware[0].model_copy(update={"name": "=1+1", "source": "-a remark", "document": "@x"})
    assert tables_in(workbook_of({"hardware": (row,)}), {})["hardware"] == (row,)
    assert tables_in(packed({"hardware": (row,)}, {}), {})["hardware"] == (row,)


def test_a_sheet_that_tells_a_smaller_size_than_it_has_is_read_whole(rates: Rates) -> None:
    whole = workbook_of({"currencies": rates.currencies})
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(whole)) as told, zipfile.ZipFile(out, "w") as changed:
        for name in told.namelist():
            content = told.read(name)
            if name.startswith("xl/worksheets/"):
                assert b"<sheetData>" in content
                content = content.replace(b"<sheetData>", b'<dimension ref="A1:A2"/><sheetData>', 1)
            changed.writestr(name, content)
    assert csv_of_sheets(out.getvalue()) == csv_of_sheets(whole)


def test_a_cell_that_calculates_is_refused_at_its_place(rates: Rates) -> None:
    book = openpyxl.load_workbook(io.BytesIO(workbook_of({"currencies": rates.currencies})))
    book["currencies"]["B3"] = "=1/0.92"
    out = io.BytesIO()
    book.save(out)
    with pytest.raises(TableUnreadable) as caught:
        csv_of_sheets(out.getvalue())
    assert (caught.value.errors[0].line, caught.value.errors[0].column) == (3, "B")


def zipped(files: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return out.getvalue()


@pytest.mark.parametrize(
    "content",
    [
        b"", b"PK", b"name,source\n", zipped({}), zipped({"../../yields.csv": b"x"}), zipped({"/etc/yields.csv": b"x"}),
        zipped({"yields.txt": b"x"}), zipped({"yields.csv": b" " * (40 * 1024 * 1024)}), zipped({"manifest.json": b"{}"}),
        zipped({f"{number}.csv": b"" for number in range(200)}), zipped({"[Content_Types].xml": b"<x/>"}),
        zipped({"[Content_Types].xml": b"<x/>", "big": b" " * (70 * 1024 * 1024)}),
    ],
)  # fmt: skip
def test_what_is_no_file_of_tables_is_refused_by_its_reason(content: bytes) -> None:
    with pytest.raises(ArchiveUnreadable):
        tables_in(content, {})


def test_every_wrong_cell_of_every_table_is_named_at_once() -> None:
    content = zipped(
        {"yields.csv": b"name,source\nx,y\n", "hardware.csv": b"name,colour\nx,y\n", "manifest.json": json.dumps({}).encode()}
    )
    with pytest.raises(TablesUnreadable) as caught:
        tables_in(content, {})
    pointers = {error.pointer for error in caught.value.errors}
    assert {"/tables/yields/rows/0/as_of", "/tables/hardware/rows/0/colour"} <= pointers


@pytest.mark.parametrize("kind", ["zip", "xlsx"])
def test_a_file_that_was_damaged_on_its_way_is_refused_or_read_and_is_never_a_fault_of_the_server(kind: str, rates: Rates) -> None:
    tables = {"currencies": rates.currencies, "cementing": rates.cementing}
    whole = packed(tables, {"revision": 1}) if kind == "zip" else workbook_of(tables)
    drawn, refused = Random(7), 0
    for _ in range(250 if kind == "zip" else 60):
        damaged = bytearray(whole)
        for _ in range(drawn.choice((1, 3, 20))):
            damaged[drawn.randrange(len(damaged))] = drawn.randrange(256)
        try:
            tables_in(bytes(damaged[: drawn.choice((len(damaged), drawn.randrange(1, len(damaged))))]), {})
        except RatesError:
            refused += 1
    assert refused > 30
