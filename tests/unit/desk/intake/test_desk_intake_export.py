"""A quote written as a table."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import openpyxl
import pytest
from typer.testing import CliRunner

import services.desk
from services.client import Client
from services.desk.command import app
from services.desk.intake.exact_lines import exact_value
from services.desk.intake.export import rows_of, table_of, workbook_of
from shared_schemas.quote_request import QuoteRequest

DEMO = QuoteRequest.model_validate_json(
    (Path(services.desk.__file__).parent / "demo" / "lake_ice_lidar.json").read_text(encoding="utf-8")
)
ANY_SERVER = ["--url", "http://desk.test", "--key", "k"]


def test_a_table_has_a_row_for_each_face_below_its_heads() -> None:
    rows = rows_of(DEMO)
    heads = next(row for row in rows if row[0] == "surface")
    below = rows[rows.index(heads) + 1 :]
    faces = sum(2 for _ in DEMO.prescription.elements) - sum(space.cemented for space in DEMO.prescription.spaces)
    assert len([row for row in below if row[0].isdigit()]) == faces
    assert {"coating", "surface_quality", "form"} <= set(heads)


def test_csv_and_workbook_hold_the_same_cells() -> None:
    sheet = openpyxl.load_workbook(io.BytesIO(workbook_of(DEMO))).active
    of_book = [["" if value is None else value for value in row] for row in sheet.iter_rows(values_only=True)]
    of_text = list(csv.reader(io.StringIO(table_of(DEMO))))
    for row, written in zip(of_book, of_text, strict=True):
        for value, text in zip(row, [*written, *[""] * (len(row) - len(written))], strict=True):
            assert value == (float(text) if isinstance(value, (int, float)) else text.removeprefix("'"))


def test_no_cell_of_the_workbook_calculates() -> None:
    asked = DEMO.model_copy(update={"customer": "=1+1"})
    sheet = openpyxl.load_workbook(io.BytesIO(workbook_of(asked))).active
    assert all(cell.data_type != "f" for row in sheet.iter_rows() for cell in row)


@pytest.mark.parametrize(
    ("key", "text", "value"),
    [
        ("barrel", '{"material": "brass"}', (True, {"material": "brass"})),
        ("first_article", "true", (True, True)),
        ("confidence", "0.95", (True, 0.95)),
        ("delivered", "sets", (True, "sets")),
        ("title", '"A, B;"', (True, "A, B;")),
        ("title", "Doublet", (False, None)),
        ("barrel", "{brass", (False, None)),
        ("elements", "[]", (False, None)),
    ],
)
def test_a_line_that_names_a_field_says_its_value_exactly(key: str, text: str, value: tuple[bool, object]) -> None:
    assert exact_value(key, text) == value


@pytest.mark.parametrize("name", ["lens.csv", "lens.xlsx"])
def test_the_command_writes_the_table_and_says_where(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, name: str) -> None:
    monkeypatch.setattr(Client, "request_of", lambda *_: DEMO)
    out = tmp_path / name
    ran = CliRunner().invoke(app, ["table", "Q-1", "--out", str(out), *ANY_SERVER])
    assert ran.exit_code == 0, ran.output
    assert name in ran.output.replace("\n", "")
    assert out.read_bytes()[:2] == (b"PK" if name.endswith("xlsx") else b"un")


def test_another_kind_of_file_is_not_written(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(Client, "request_of", lambda *_: DEMO)
    ran = CliRunner().invoke(app, ["table", "Q-1", "--out", str(tmp_path / "lens.pdf"), *ANY_SERVER])
    assert ran.exit_code == 2
    assert "ends in .csv or .xlsx" in ran.output
