"""Letters: free lines that say a lens plainly, and what becomes of every other word."""

from __future__ import annotations

from typing import Any

import pytest

from services.desk.errors import FileUnreadable
from services.desk.intake.draft import read_intake
from shared_schemas.intake import IntakeDraft

DOUBLET = """Hi Tom,

please quote 10/50/200 pcs of the following doublet:
R1 61.47  R2 -43.47 CT1 6.0 N-BK7, Ø25.4
R3 -128.9 CT2 2.5 SF5
CA 23 mm, S/D 40-20, λ/4, MgF2 both sides
Needed by 15.03.2027

Best regards
Jane Doe
Optics Ltd, +49 89 1234567
"""
GERMAN = """Guten Tag Herr Meier,
wir benötigen 5, 25 und 100 Stück einer Linse:
Material: N-SF11, R1 = 32,14 konvex, R2 = 32,14 konvex, Mittendicke 7,5 ±0,1, Durchmesser 25 h7
Oberflächenqualität 40-20, Passe 3(0.5), entspiegelt
Liefertermin KW 12/2027, einzeln verpackt, CoC
Mit freundlichen Grüßen
Anna Schmidt"""


def draft(text: str, **answers: str) -> IntakeDraft:
    return read_intake(text, name="mail.txt", answers=answers)


def lens(found: IntakeDraft) -> dict[str, Any]:
    document: dict[str, Any] = found.document["prescription"]
    return document


def test_a_doublet_in_free_lines_becomes_a_request() -> None:
    found = draft(DOUBLET)
    assert found.questions == ()
    assert found.request is not None
    assert found.request.quantities == (10, 50, 200)
    assert str(found.request.needed_by) == "2027-03-15"
    first, second = found.request.prescription.elements
    assert [first.front.radius_mm, first.back.radius_mm, second.back.radius_mm] == [61.47, -43.47, -128.9]
    assert [first.centre_thickness_mm, second.centre_thickness_mm, first.diameter_mm] == [6.0, 2.5, 25.4]
    assert found.request.prescription.spaces[0].cemented
    assert [face.imperfections for face in (first.front, first.back, second.back)] == ["40-20"] * 3


def test_a_cemented_face_gets_no_coating_that_is_said_of_both_sides() -> None:
    first, second = lens(draft(DOUBLET))["elements"]
    assert [first["front"].get("coating"), second["back"].get("coating")] == ["ar-single"] * 2
    assert [first["back"].get("coating"), second["front"].get("coating")] == [None] * 2


@pytest.mark.parametrize("text", [DOUBLET, GERMAN])
def test_every_word_of_a_letter_has_a_fate(text: str) -> None:
    told = " ".join(cell.text for cell in draft(text).cells)
    for word in text.replace(",", " ").split():
        figures = word.strip(".:=Ø")
        if any(sign.isdigit() for sign in figures):
            assert figures.strip("±") in told.replace(",", " "), word
    assert all(cell.why for cell in draft(text).cells if cell.fate == "not_needed")


def test_greeting_and_signature_are_told_as_not_needed() -> None:
    fates = {cell.text: (cell.fate, cell.why) for cell in draft(DOUBLET).cells}
    assert fates["Hi Tom"] == ("not_needed", "a greeting says nothing of the lens")
    assert fates["Optics Ltd, +49 89 1234567"] == ("not_needed", "a signature says nothing of the lens")


def test_a_german_letter_with_bends_a_fit_and_decimal_commas_is_read() -> None:
    found = draft(GERMAN, **{"line4.3": "R <= 0.5 % 450 to 650 nm"})
    assert found.request is not None
    (element,) = found.request.prescription.elements
    assert [element.front.radius_mm, element.back.radius_mm] == [32.14, -32.14]
    assert element.tolerances.diameter_mm == (0.0, -0.021)
    assert element.tolerances.centre_thickness_mm == 0.1
    assert [element.front.form, element.front.imperfections] == ["3/3(0.5)", "40-20"]
    assert found.request.own_operations == ("special packing", "certificate of conformity")


def test_what_is_half_said_is_asked_with_choices() -> None:
    (question,) = draft(GERMAN).questions
    assert "does not say which coating" in question.asks
    assert question.choices[0].answer == "ar-broadband"


def test_a_demand_that_is_not_understood_is_asked_and_may_go_into_the_remarks() -> None:
    text = "R1 61.47 R2 -43.47 CT 6.0 N-BK7 Ø25.4, edges blackened, 25 lenses + 5 spare L1"
    (question,) = draft(text).questions
    assert "edges blackened" in question.asks
    found = draft(text, **{question.name: "remark"})
    assert found.request is not None
    assert found.request.prescription.remarks == "edges blackened"
    assert found.request.spares[0].part == "L1"


def test_air_between_two_lenses_and_their_names_are_read() -> None:
    found = draft("L1: R1 50 R2 -50 CT 5 N-BK7 Ø25\nair 2.5\nL2: R1 -40 R2 80 CT 2 SF5 Ø24\n20 pcs, 3.1 certificate")
    assert found.request is not None
    assert found.request.prescription.spaces[0].gap_mm == 2.5
    assert [element.diameter_mm for element in found.request.prescription.elements] == [25, 24]
    assert found.request.own_operations == ("material certificate",)


def test_a_plano_lens_with_one_radius_is_told() -> None:
    found = draft("plano-convex fused silica, R 51.68, CT 5.0, Ø25.4 +0/-0.1, 60-40, 10 pcs")
    assert found.request is not None
    assert found.request.prescription.elements[0].back.radius_mm is None
    assert any("plano" in assumption.what for assumption in found.assumptions)


@pytest.mark.parametrize(
    ("text", "understood"),
    [
        ("f=100 doublet, Ø25.4, AR coated, 10 pcs", "a diameter 25.4 (line 1); 10 pcs (line 1)"),
        ("R1 61.47, N-BK7, Ø25.4", "a radius 61.47 (line 1); glass N-BK7 (line 1); a diameter 25.4 (line 1)"),
        ("please quote 50 pcs by 15.03.2027", "50 pcs (line 1)"),
    ],
)
def test_a_letter_without_a_whole_lens_is_refused_with_what_was_understood(text: str, understood: str) -> None:
    with pytest.raises(FileUnreadable, match="no lens is in it") as told:
        draft(text)
    assert understood in str(told.value)


def test_a_letter_that_says_nothing_of_a_lens_is_refused() -> None:
    with pytest.raises(FileUnreadable, match="no table of a lens is in it"):
        draft("Dear Sirs, please send us your catalogue. Best regards, Jane")
