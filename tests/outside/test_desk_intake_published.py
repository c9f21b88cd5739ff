"""Tables of customers, written by other hands: Python's csv, openpyxl and Babel's data of the CLDR; lenses as they are published."""

from __future__ import annotations

import csv
import io
import itertools
from collections import Counter
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from babel.numbers import format_decimal
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

from services.desk.errors import FileUnreadable
from services.desk.intake.draft import read_intake
from services.desk.intake.numbers import Doubtful, Figure, figure_of, signs_of
from shared_schemas.prescription import Prescription
from tests.outside.intake_shapes import BY_ELEMENT, SHAPES, Content, plain_csv
from tests.outside.published_lenses import LENSES, prescription_of

Shape = Callable[[Prescription], Content]
LOCALES = ("en", "de", "fr", "de_CH", "de_AT", "it", "sv", "pl", "en_ZA", "pt")


def geometry(lens: Prescription, shape: Shape) -> dict[str, Any]:
    return lens.model_dump(include={"elements", "spaces"} | (set() if shape in BY_ELEMENT else {"stop"}))


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.__name__)
def test_a_published_lens_in_any_shape_reads_back_to_the_same_prescription(shape: Shape) -> None:
    for name in LENSES:
        lens = prescription_of(name)
        file_name, content = shape(lens)
        draft = read_intake(content, name=file_name)
        assert draft.questions == (), name
        assert draft.request is not None
        assert geometry(draft.request.prescription, shape) == geometry(lens, shape), name


def cells_of(file_name: str, content: bytes) -> Counter[tuple[str, int, int]]:
    """Every cell that holds something, by the hands that wrote the file."""
    if file_name.endswith(".xlsx"):
        sheets = load_workbook(io.BytesIO(content)).worksheets
        return Counter(
            (sheet.title, cell.row, cell.column) for sheet in sheets for row in sheet for cell in row if cell.value is not None
        )
    separator = "\t" if file_name.endswith(".tsv") else ";" if b";" in content else ","
    encoding = {"\t": "utf-16", ";": "latin-1"}.get(separator, "utf-8")
    lines = csv.reader(io.StringIO(content.decode(encoding)), delimiter=separator)
    return Counter(("", i, j) for i, line in enumerate(lines, start=1) for j, text in enumerate(line, start=1) if text.strip())


@pytest.mark.parametrize(
    "shape", [shape for shape in SHAPES if not shape.__name__.startswith(("pasted", "rows_of"))], ids=lambda shape: shape.__name__
)
def test_of_every_cell_of_a_file_it_is_told_once_what_became_of_it(shape: Shape) -> None:
    file_name, content = shape(prescription_of("triplet 50 mm f/5"))
    told = Counter(
        (cell.spot.sheet, cell.spot.row, column_of(cell.spot.letter)) for cell in read_intake(content, name=file_name).cells
    )
    assert told == cells_of(file_name, content)


def column_of(letter: str) -> int:
    return sum((ord(one) - 64) * 26**i for i, one in enumerate(reversed(letter)))


FIGURES = st.decimals(min_value=Decimal("-99999"), max_value=Decimal("99999"), places=4, allow_nan=False) | st.integers(
    -2_000_000, 2_000_000
).map(Decimal)


@settings(max_examples=60, deadline=None)
@given(locale=st.sampled_from(LOCALES), figures=st.lists(FIGURES, min_size=1, max_size=8))
def test_numbers_as_any_language_writes_them_are_the_same_numbers_or_asked_about(locale: str, figures: list[Decimal]) -> None:
    texts = [format_decimal(figure, locale=locale, decimal_quantization=False) for figure in figures]
    signs = signs_of(texts)
    for figure, text in zip(figures, texts, strict=True):
        read = figure_of(text, signs)
        if isinstance(read, Figure):
            assert (read.value, read.rest) == (figure, ""), (locale, texts)
        else:
            assert isinstance(read, Doubtful), (locale, text)
            assert figure in read.readings


@pytest.mark.parametrize("locale", LOCALES)
def test_a_number_with_its_thousands_and_its_decimals_is_read_in_any_language(locale: str) -> None:
    text = format_decimal(Decimal("-12345.67"), locale=locale)
    read = figure_of(text, signs_of([text]))
    assert isinstance(read, Figure)
    assert read.value == Decimal("-12345.67")


FACE = st.none() | st.sampled_from([1, -1]).flatmap(lambda sign: st.integers(3000, 90000).map(lambda value: sign * value / 100))


@st.composite
def lenses(draw: st.DrawFn) -> Prescription:
    """Lenses of one to three elements with figures as people choose them."""
    elements = []
    for i in range(draw(st.integers(1, 3))):
        outer = draw(st.integers(30, 500)) / 10
        clear = round(outer * draw(st.sampled_from([0.8, 0.9, 0.95])), 2)
        faces = [{"radius_mm": draw(FACE), "clear_diameter_mm": clear} for _ in range(2)]
        thickness = draw(st.integers(10, 120)) / 10
        elements.append({"name": f"L{i + 1}", "glass": draw(st.sampled_from(["N-BK7", "SF6", "517642", "1.5168/64.17", "S-BSL7"])), "diameter_mm": outer,
                         "centre_thickness_mm": thickness, "front": faces[0], "back": faces[1]})  # fmt: skip
    spaces = [{"gap_mm": draw(st.integers(1, 400)) / 10} for _ in elements[1:]]
    for i, (before, behind) in enumerate(itertools.pairwise(elements)):
        if draw(st.booleans()):
            spaces[i] = {"cemented": True}
            before["back"] = behind["front"]
    for element in elements:
        if "/" in str(element["glass"]):
            element["glass"] = {"nd": 1.5168, "vd": 64.17}
        for face in ("front", "back"):
            element[face] = element[face] | {"clear_diameter_mm": min(element[face]["clear_diameter_mm"], element["diameter_mm"])}
    return Prescription.model_validate({"title": "t", "elements": elements, "spaces": spaces})


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(lens=lenses(), shape=st.sampled_from(SHAPES))
def test_what_is_read_is_the_lens_that_was_written_or_a_question_and_never_another(lens: Prescription, shape: Shape) -> None:
    file_name, content = shape(lens)
    draft = read_intake(content, name=file_name)
    assert draft.request is None or geometry(draft.request.prescription, shape) == geometry(lens, shape)
    assert (draft.request is None) == bool(draft.questions)


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(lens=lenses(), data=st.data())
def test_with_a_cell_lost_it_is_never_another_lens_without_a_word(lens: Prescription, data: st.DataObject) -> None:
    _, content = plain_csv(lens)
    rows = list(csv.reader(io.StringIO(content.decode())))
    row, column = data.draw(st.integers(1, len(rows) - 1)), data.draw(st.sampled_from([1, 2, 3]))
    lost = rows[row][column]
    rows[row][column] = ""
    out = io.StringIO()
    csv.writer(out).writerows(rows)
    try:
        draft = read_intake(out.getvalue(), name="lost.csv")
    except FileUnreadable:
        return
    same = draft.request is not None and geometry(draft.request.prescription, plain_csv) == geometry(lens, plain_csv)
    assert draft.questions or (same and not lost)
