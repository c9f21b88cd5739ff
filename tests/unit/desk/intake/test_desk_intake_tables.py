"""Tables of customers as the desk reads them: what is used, what is taken by a rule that is told, what is asked, what is refused and why."""

from __future__ import annotations

import contextlib
import io
import json
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import Workbook

from services.desk.errors import AnswersUnusable, FileUnreadable, OptionUnusable, TableUnreadable
from services.desk.intake.diameters import CLEAR_RULE, OUTER_RULE, clear_diameter_mm, outer_diameter_mm
from services.desk.intake.draft import read_intake
from services.desk.intake.heads import head_of
from services.desk.intake.numbers import Figure, figure_of, signs_of
from shared_schemas.intake import IntakeDraft

HEAD = "surface,radius_mm,thickness_mm,glass,clear_diameter_mm\n"
SINGLE = HEAD + "1,50.8,5.08,N-BK7,24.13\n2,-76.2,,,24\n"
BARE = "surf,R,t,glass,CA,OD\n"


def drafted(content: str | bytes, name: str = "lens.csv", **answers: str) -> IntakeDraft:
    return read_intake(content, name=name, answers={key.replace("__", "."): value for key, value in answers.items()})


def answered(content: str | bytes, answers: dict[str, str]) -> IntakeDraft:
    return read_intake(content, name="lens.csv", answers=answers)


def asked(draft: IntakeDraft) -> dict[str, list[str]]:
    return {question.name: [choice.answer for choice in question.choices] for question in draft.questions}


def first(draft: IntakeDraft) -> dict[str, Any]:
    element: dict[str, Any] = draft.document["prescription"]["elements"][0]
    return element


def workbook(**sheets: list[list[Any]]) -> bytes:
    book = Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_one_diameter_is_enough_and_the_rule_of_the_other_is_told() -> None:
    draft = drafted(SINGLE)
    assert first(draft)["diameter_mm"] == 26.6
    assert OUTER_RULE in [assumption.rule for assumption in draft.assumptions]
    draft = drafted("Lens,R1 (mm),R2,CT,Glass,OD\nL1,50.8,-76.2,5.08,N-BK7,25.4\n")
    assert first(draft)["front"]["clear_diameter_mm"] == first(draft)["back"]["clear_diameter_mm"] == 23.0
    assert CLEAR_RULE in [assumption.rule for assumption in draft.assumptions]
    assert draft.request is not None


def test_a_diameter_that_a_rule_took_may_be_answered() -> None:
    draft = answered(SINGLE, {"L1.diameter_mm": "25.4"})
    assert first(draft)["diameter_mm"] == 25.4
    assert OUTER_RULE not in [assumption.rule for assumption in draft.assumptions]
    assert first(answered(SINGLE, {"L1.diameter_mm": '1"'}))["diameter_mm"] == 25.4


@given(clear=st.decimals(min_value=Decimal("0.5"), max_value=Decimal(500), places=2))
def test_the_rule_of_diameters_and_its_reverse_leave_the_margin(clear: Decimal) -> None:
    outer = outer_diameter_mm(clear)
    back = clear_diameter_mm(outer)
    assert outer - clear >= max(Decimal(1), clear / 10)
    assert back is not None
    assert clear - Decimal("0.1") < back <= clear + Decimal("0.1")


def test_a_column_that_may_be_half_of_a_diameter_is_asked_about_unless_the_others_say() -> None:
    table = "surf,R (mm),t,glass,SD\n1,50.8,5.08,N-BK7,12\n2,-76.2,,,12\n"
    assert asked(drafted(table)) == {"column.SD": ["semi-diameter", "clear_diameter"]}
    assert first(answered(table, {"column.SD": "semi-diameter"}))["front"]["clear_diameter_mm"] == 24.0
    assert first(answered(table, {"column.SD": "clear_diameter"}))["front"]["clear_diameter_mm"] == 12.0
    beside = "surf,R (mm),t,glass,SD,OD\n1,50.8,5.08,N-BK7,12,25\n2,-76.2,,,12,\n"
    assert first(drafted(beside))["front"]["clear_diameter_mm"] == 24.0


def test_a_column_that_is_only_called_diameter_is_of_the_faces_when_they_differ() -> None:
    differ = "surf,R (mm),d,glass,Diameter\n1,50,6,N-BK7,24\n2,-61,1,,22\n"
    assert first(drafted(differ))["back"]["clear_diameter_mm"] == 22
    same = differ.replace(",22", ",24")
    assert first(drafted(same))["diameter_mm"] == 24
    assert first(answered(same, {"column.Diameter": "clear_diameter"}))["back"]["clear_diameter_mm"] == 24


def test_a_column_that_nobody_knows_is_asked_about_and_may_be_anything_or_nothing() -> None:
    table = SINGLE.replace("\n1,", ",Finish X\n1,", 1).replace("24.13\n", "24.13,MgF2\n")
    assert "column.Finish X" in asked(drafted(table))
    assert "coating" in first(answered(table, {"column.Finish X": "coating"}))["front"]
    draft = answered(table, {"column.Finish X": "not_needed"})
    assert draft.request is not None
    assert [cell.fate for cell in draft.cells if cell.text == "MgF2"] == ["not_needed"]


def test_a_comment_is_read_word_by_word_and_what_is_left_is_asked_about() -> None:
    table = HEAD.replace("\n", ",Bemerkung\n") + "1,50.8,5.08,N-BK7,24.13,3/2(0.5)\n2,-76.2,,,24,the blue one\n"
    draft = drafted(table)
    assert first(draft)["front"]["form"] == "3/2(0.5)"
    assert asked(draft) == {"L1.back.comment": ["remark", "not_needed"]}
    draft = answered(table, {"L1.back.comment": "remark"})
    assert draft.document["prescription"]["remarks"] == "L1.back: the blue one"
    assert draft.request is not None


def test_tolerances_stand_in_columns_and_behind_numbers() -> None:
    element = first(
        drafted(
            "Lens,R1 (mm),R2,CT,Glass,OD,CA,3/,S/D,Centering\nL1,50.8,-76.2,5.08 ±0.1,N-BK7,25.4 +0/-0.1,22,3/2(0.5),60-40,3 arcmin\n"
        )
    )
    assert element["tolerances"]["centre_thickness_mm"] == 0.1
    assert element["tolerances"]["diameter_mm"] == [0.0, -0.1]
    assert element["tolerances"]["centring"].startswith("4/")
    assert element["front"]["form"] == element["back"]["form"] == "3/2(0.5)"
    assert element["front"]["imperfections"] == "60-40"


def test_figures_that_may_be_inches_are_asked_about() -> None:
    table = BARE + "1,2.0,0.2,N-BK7,.95,1.0\n2,-3.0,,,.95,\n"
    assert asked(drafted(table)) == {"unit": ["inch", "mm"]}
    assert first(drafted(table, unit="inch"))["diameter_mm"] == 25.4
    assert first(drafted(table, unit="mm"))["diameter_mm"] == 1.0
    assert [one.what for one in drafted(BARE + "1,50,5,N-BK7,24,25\n2,-60,,,24,\n").assumptions if not one.pointer] == [
        "all lengths are in mm"
    ]


def test_fractions_of_an_inch_are_read_where_the_cell_says_inch() -> None:
    element = first(drafted('surf;R;t;glass;CA;OD\n1;2 1/2";1/4";N-BK7;7/8";1"\n2;-3";;;⅞";\n'))
    assert (element["front"]["radius_mm"], element["centre_thickness_mm"], element["back"]["clear_diameter_mm"]) == (
        63.5,
        6.35,
        22.225,
    )


@pytest.mark.parametrize(
    ("table", "name", "choices"),
    [
        (HEAD + "1,61.47,6,N-BK7,24\n2,-6147,,,24\n", "L1.back.radius_mm", ["-61.47", "as it stands"]),
        (HEAD + "1,6.147,6,N-BK7,24\n2,-50,,,24\n", "L1.front.radius_mm", ["61.47"]),
        (HEAD + "1,50,-6,N-BK7,24\n2,-61,,,24\n", "L1.centre_thickness_mm", ["6"]),
        (HEAD + "1,50,60,N-BK7,24\n2,-61,2,,24\n3,40,5,SF6,24\n4,-100,,,24\n", "L1.centre_thickness_mm", ["6", "as it stands"]),
        (HEAD.replace("\n", ",OD\n") + "1,50,6,N-BK7,240,25\n2,-61,,,24,\n", "L1.front.clear_diameter_mm", ["24", "25"]),
        ("Lens,R1 (mm),R2,CT,Glass,OD\nL1,50.8,50.8,5.08,N-BK7,25.4\n", "L1.back.radius_mm", ["-50.8", "as it stands"]),
        (HEAD + "1,5O.8,6,N-BK7,24\n2,-61,,,24\n", "L1.front.radius_mm", ["50.8"]),
    ],
)
def test_a_slip_is_asked_about_with_its_repair_and_the_answer_is_taken(table: str, name: str, choices: list[str]) -> None:
    draft = drafted(table)
    assert asked(draft)[name] == choices
    assert draft.request is None
    mended = answered(table, {name: choices[0]})
    assert name not in asked(mended)
    element, *path = name.split(".")
    figure = next(one for one in mended.document["prescription"]["elements"] if one["name"] == element)
    for step in path:
        figure = figure[step]
    assert figure == float(choices[0])
    if choices[-1] == "as it stands":
        assert answered(table, {name: "as it stands"}).request is not None


def test_a_lost_radius_is_asked_about_and_no_plano() -> None:
    table = SINGLE.replace("-76.2", "")
    assert asked(drafted(table)) == {"L1.back.radius_mm": ["plano"]}
    assert first(answered(table, {"L1.back.radius_mm": "plano"}))["back"]["radius_mm"] is None
    assert first(answered(table, {"L1.back.radius_mm": "-76,2"}))["back"]["radius_mm"] == -76.2


def test_a_lost_glass_is_asked_about_in_the_row_where_it_is_lost() -> None:
    table = HEAD + "1,50,6,N-BK7,24\n2,-61,2,,24\n3,-200,,,24\n"
    draft = drafted(table)
    assert asked(draft) == {"row3.glass": []}
    lens = answered(table, {"row3.glass": "SF6"}).document["prescription"]
    assert [element["glass"] for element in lens["elements"]] == ["N-BK7", "SF6"]
    assert lens["spaces"] == [{"cemented": True}]


def test_what_lies_between_two_elements_is_asked_about_where_nothing_says_it() -> None:
    table = "Lens,R1 (mm),R2,CT,Glass,OD\nL1,50.8,-50.8,5.08,N-BK7,25.4\nL2,-50.8,-70,4,SF6,25.4\n"
    assert asked(drafted(table)) == {"L1.gap_mm": ["cemented"]}
    assert answered(table, {"L1.gap_mm": "cemented"}).document["prescription"]["spaces"] == [{"cemented": True}]
    assert answered(table, {"L1.gap_mm": "1.5"}).document["prescription"]["spaces"] == [{"gap_mm": 1.5}]


def test_an_answer_to_nothing_is_refused_with_the_nearest_name() -> None:
    with pytest.raises(AnswersUnusable) as caught:
        answered(SINGLE, {"L1.fornt.radius_mm": "5"})
    assert caught.value.errors[0].remedy is not None
    assert "L1.front.radius_mm" in caught.value.errors[0].remedy


def test_words_such_as_convex_stand_for_the_sign_of_a_radius() -> None:
    element = first(drafted("Lens,R1 (mm),R2,CT,Glass,OD\nL1,50.8 CX,76.2 CX,5.08,N-BK7,25.4\n"))
    assert (element["front"]["radius_mm"], element["back"]["radius_mm"]) == (50.8, -76.2)


def test_two_tables_are_named_with_their_rows_and_one_is_chosen() -> None:
    both = SINGLE + "\n" + SINGLE.replace("50.8", "70.8")
    assert asked(drafted(both)) == {"table": ["rows 1 to 3", "rows 5 to 7"]}
    draft = drafted(both, table="rows 5 to 7")
    assert first(draft)["front"]["radius_mm"] == 70.8
    assert {cell.fate for cell in draft.cells if cell.spot.row <= 3} == {"not_needed"}


def test_of_several_sheets_the_one_with_a_lens_is_read_and_that_is_told() -> None:
    rows: list[list[Any]] = [
        ["Surf", "Radius mm", "Thickness mm", "Glass", "CA mm"],
        [1, 50.8, 5, "N-BK7", 24],
        [2, -76.2, None, None, 24],
    ]
    draft = drafted(workbook(Prices=[["Article", "Price"], ["a", 5]], Lens=rows), "book.xlsx")
    assert draft.request is not None
    assert any("sheet Lens" in line for line in draft.recognised)
    assert [one.what for one in draft.assumptions if "Prices" in one.what] == ["the sheet Prices is left out"]
    both = workbook(A=rows, B=rows)
    assert asked(drafted(both, "book.xlsx")) == {"sheet": ["A", "B"]}
    assert read_intake(both, name="book.xlsx", sheet="B").request is not None
    with pytest.raises(FileUnreadable, match="it has no sheet C; there are: A, B"):
        read_intake(both, name="book.xlsx", sheet="C")


def test_a_cell_that_calculates_is_refused_by_sheet_row_and_column() -> None:
    rows: list[list[Any]] = [
        ["Surf", "Radius mm", "Thickness mm", "Glass", "CA mm"],
        [1, "=1/0.02", 5, "N-BK7", 24],
        [2, -76.2, None, None, 24],
    ]
    with pytest.raises(FileUnreadable) as caught:
        drafted(workbook(Lens=rows), "book.xlsx")
    assert caught.value.errors[0].reason == "sheet Lens, row 2, column B: the cell calculates"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("Article,Description,Price\n100,Lens,12.50\n", "seen were: Article, Description, Price"),
        (b"%PDF-1.7", "it is a PDF"),
        (b"\x89PNG", "it is a picture"),
        (b"\xd0\xcf\x11\xe0", "save it as XLSX or CSV"),
        (b"x" * 20_000_000, "it has 19.1 MB"),
        (bytes(range(1, 32)) * 10, "so it is binary"),
        ("[1, 2]", "one JSON object"),
        ("hello", "no table of a lens"),
        ("Radius  thickness  glass  CA\n50  5  N-BK7  24\n-60  24\n", "only blanks part them"),
    ],
)
def test_what_is_no_table_of_a_lens_is_refused_by_its_name(content: str | bytes, words: str) -> None:
    with pytest.raises(FileUnreadable) as caught:
        drafted(content)
    assert words in str(caught.value)


def test_an_odd_term_is_refused_by_name_unless_it_is_0() -> None:
    table = HEAD.replace("\n", ",A4,A5\n") + "1,50,5,N-BK7,24,1e-6,{}\n2,-60,,,24,,\n"
    assert first(drafted(table.format("0")))["front"]["asphere"] == {"4": 1e-6}
    with pytest.raises(TableUnreadable, match="row 2, A5: an aspheric term of order 5"):
        drafted(table.format("1e-5"))


def test_lines_around_a_table_are_of_the_order_or_the_whole_lens_or_asked_about() -> None:
    lines = "Relay lens\nCustomer: ACME Corp\nQuantity: 10/50/200 pcs\nWavelength: 632.8 nm\nEFL: 100 mm\nAll surfaces: 60-40\nMust be blue\n"
    draft = drafted(lines + SINGLE)
    lens = draft.document["prescription"]
    assert (lens["title"], lens["wavelength_nm"]) == ("Relay lens", 632.8)
    assert (draft.document["customer"], draft.document["quantities"]) == ("ACME Corp", [10, 50, 200])
    assert lens["elements"][0]["front"]["imperfections"] == lens["elements"][0]["back"]["imperfections"] == "60-40"
    assert asked(draft) == {"row7": ["remark", "not_needed"]}
    assert drafted(lines + SINGLE, row7="not_needed").request is not None


def test_what_is_asked_beside_a_file_overrides_it_and_is_named_as_an_option_where_it_cannot_be() -> None:
    draft = read_intake("Quantity: 10\n" + SINGLE, name="a.csv", asked={"quantities": [7], "currency": None})
    assert draft.request is not None
    assert draft.request.quantities == (7,)
    with pytest.raises(OptionUnusable):
        read_intake(SINGLE, name="a.csv", asked={"currency": "usd"})


def test_the_usual_quantities_and_the_name_of_the_file_stand_in_for_what_is_not_said() -> None:
    draft = drafted(SINGLE, "double.csv")
    assert draft.request is not None
    assert (draft.request.prescription.title, draft.request.quantities) == ("double", (5, 25, 100))
    assert draft.request.assumptions


def test_the_digest_is_of_request_assumptions_and_answers() -> None:
    digests = {
        drafted(SINGLE).digest,
        answered(SINGLE, {"L1.diameter_mm": "26.6"}).digest,
        drafted(SINGLE.replace("50.8", "50.9")).digest,
    }
    assert len(digests) == 3
    assert drafted(SINGLE).digest == drafted(SINGLE).digest


def test_a_glass_that_is_not_known_is_asked_about_with_the_nearest() -> None:
    draft = read_intake(SINGLE.replace("N-BK7", "N-BK8"), name="a.csv", glasses=["N-BK7", "N-SF6"])
    assert asked(draft) == {"L1.glass": ["N-BK7", "N-BK8"]}


def test_json_of_a_request_is_what_it_says() -> None:
    lens = drafted(SINGLE).document["prescription"]
    draft = drafted(json.dumps({"prescription": lens, "quantities": [3]}), "a.json")
    assert draft.request is not None
    assert draft.request.quantities == (3,)
    assert draft.questions == ()
    assert {cell.fate for cell in draft.cells} == {"used"}


@pytest.mark.parametrize(
    ("texts", "values"),
    [
        (["61.470", "24.130", "5.080"], None),
        (["1,234", "0.5"], None),
        (["1.234,5", "0,5"], ["1234.5", "0.5"]),
        (["1'234.5", "2"], ["1234.5", "2"]),
        (["1\u202f234,5", "2"], ["1234.5", "2"]),
        (["1,234,567", "2"], ["1234567", "2"]),
        (["\u22121.5e-6", "2 x 10^-3"], ["-0.0000015", "0.002"]),
    ],
)
def test_decimal_signs_and_thousands_are_told_apart_or_left_open(texts: list[str], values: list[str] | None) -> None:
    read = [figure_of(text, signs_of(texts)) for text in texts]
    if values is None:
        assert not all(isinstance(figure, Figure) for figure in read)
    else:
        assert [figure.value for figure in read if isinstance(figure, Figure)] == [Decimal(value) for value in values]


def test_three_digits_behind_every_sign_are_decimals_where_thicknesses_would_be_metres() -> None:
    draft = drafted(
        SINGLE.replace("50.8,5.08", "50.800,5.080")
        .replace("24.13", "24.130")
        .replace("-76.2", "-76.200")
        .replace(",24\n", ",24.000\n")
    )
    assert first(draft)["front"]["radius_mm"] == 50.8
    assert "the point is the decimal sign" in [assumption.what for assumption in draft.assumptions]


@pytest.mark.parametrize(
    ("written", "kind", "face"),
    [
        ("Krümmungsradius vorne [mm]", "radius", "front"),
        ("R2", "radius", "back"),
        ("Rayon de courbure", "radius", ""),
        ("Épaisseur au centre (mm)", "thickness", ""),
        ("Freier Ø", "clear", ""),
        ("CA 1", "clear", "front"),
        ("Außendurchmesser", "outer", ""),
        ("Ø extérieur", "outer", ""),
        ("D", "outer", ""),
        ("d", "thickness", ""),
        ("Beschichtung Rückseite", "coating", "back"),
        ("Power (fringes)", "power", ""),
        ("k2", "conic", "back"),
        ("Luftabstand", "gap", ""),
        ("matériau", "glass", ""),
    ],
)
def test_heads_in_three_languages_say_their_kind_and_face(written: str, kind: str, face: str) -> None:
    head = head_of(written)
    assert head is not None
    assert (head.kind, head.face) == (kind, face)


@settings(max_examples=60, deadline=None)
@given(content=st.binary(max_size=200) | st.text(max_size=200))
def test_anything_at_all_is_a_draft_or_a_refusal(content: bytes | str) -> None:
    with contextlib.suppress(FileUnreadable):
        assert drafted(content).name == "lens.csv"
