"""An amended table against a quote: what it changes, as a JSON Patch by names, and what stays as it was."""

from __future__ import annotations

from typing import Any

import pytest

from services.desk.amended import Amendment, amended, answers_of
from services.desk.errors import FileUnreadable
from services.desk.intake.draft import read_intake
from shared_schemas.prescription import Prescription

HEADS = "Surface,Element,Radius [mm],Thickness [mm],Glass,Clear diameter [mm]"


def lens(*names: str) -> Prescription:
    elements: list[dict[str, Any]] = [
        {
            "name": name, "glass": "N-BK7", "diameter_mm": 25.0, "centre_thickness_mm": 5.0 + place,
            "front": {"radius_mm": 60.0, "clear_diameter_mm": 22.0, "coating": "ar-single"},
            "back": {"radius_mm": -60.0, "clear_diameter_mm": 22.0, "form": "3/2(0.5)"}, "tolerances": {"centring": "4/2'"},
        }
        for place, name in enumerate(names)
    ]  # fmt: skip
    barrel = {"material": "aluminium", "length_mm": 60.0, "outer_diameter_mm": 40.0}
    spaces = [{"gap_mm": 2.0}] * (len(names) - 1)
    return Prescription.model_validate({"title": "as quoted", "elements": elements, "spaces": spaces, "barrel": barrel})


def table(*elements: tuple[str, float, float, str], gap: float = 2.0) -> str:
    """A row a surface: name, front radius, thickness and glass of each element."""
    rows = [HEADS]
    for place, (name, radius, thickness, glass) in enumerate(elements):
        rows.append(f"{2 * place + 1},{name},{radius},{thickness},{glass},22")
        rows.append(f"{2 * place + 2},,-60,{gap if place + 1 < len(elements) else ''},,22")
    return "\n".join(rows) + "\n"


def of(before: Prescription, text: str) -> Amendment:
    draft = read_intake(text, name="amended.csv")
    assert draft.questions == (), draft.questions
    return amended(before, draft)


def test_a_table_that_says_what_was_quoted_changes_nothing() -> None:
    found = of(lens("A", "B"), table(("A", 60, 5, "N-BK7"), ("B", 60, 6, "N-BK7")))
    assert (found.patch(), found.by_order) == ([], False)
    assert found.kept == (
        "centring tolerance of A, B", "coating of A front, B front", "form of A back, B back", "barrel",
    )  # fmt: skip


def test_what_a_cell_says_otherwise_is_changed_by_name_and_the_rest_stays() -> None:
    found = of(lens("A", "B"), table(("A", 60, 5, "N-SF5"), ("B", 55.5, 6.5, "N-BK7"), gap=3.0))
    assert found.patch() == [
        {"op": "replace", "path": "/elements/A/glass", "value": "N-SF5"},
        {"op": "replace", "path": "/elements/B/centre_thickness_mm", "value": 6.5},
        {"op": "replace", "path": "/elements/B/front/radius_mm", "value": 55.5},
        {"op": "replace", "path": "/spaces/A-B", "value": {"gap_mm": 3.0, "cemented": False}},
    ]
    assert [(one.old, one.new) for one in found.changes[:2]] == [("N-BK7", "N-SF5"), (6.0, 6.5)]


def test_elements_without_names_are_taken_in_their_order() -> None:
    found = of(lens("A", "B"), table(("", 60, 5, "N-BK7"), ("", 55.5, 6, "N-BK7")))
    assert found.by_order
    assert found.patch() == [{"op": "replace", "path": "/elements/B/front/radius_mm", "value": 55.5}]


def test_an_element_that_comes_or_goes_is_told_by_its_name() -> None:
    found = of(lens("A", "B"), table(("A", 60, 5, "N-BK7"), ("C", 80, 4, "N-SF5"), ("B", 60, 6, "N-BK7")))
    assert [(one["op"], one["path"]) for one in found.patch()][:2] == [("add", "/elements/B"), ("replace", "/spaces")]
    assert found.patch()[2:] == [
        {"op": "add", "path": "/assumptions", "value": [f"{one.what} ({one.rule})" for one in found.assumed]}
    ]
    gone = of(lens("A", "B", "C"), table(("A", 60, 5, "N-BK7"), ("C", 60, 7, "N-BK7")))
    assert [(one["op"], one["path"]) for one in gone.patch()] == [("remove", "/elements/B"), ("replace", "/spaces")]


@pytest.mark.parametrize(
    ("elements", "words"),
    [
        ([("", 60.0, 5.0, "N-BK7")], "which is which"),
        ([("B", 60.0, 5.0, "N-BK7"), ("A", 60.0, 6.0, "N-BK7")], "another order"),
    ],
)
def test_a_table_that_does_not_say_which_is_which_is_refused(elements: list[tuple[str, float, float, str]], words: str) -> None:
    with pytest.raises(FileUnreadable, match=words):
        of(lens("A", "B"), table(*elements))


def test_what_a_rule_filled_in_takes_no_figure_of_the_quote_away() -> None:
    text = "Element,R1 [mm],R2 [mm],CT [mm],Glass,Outer diameter [mm]\nA,60,-60,5,N-BK7,25\nB,60,-58,6,N-BK7,25\n"
    first = read_intake(text, name="amended.csv")
    assert [one.name for one in first.questions] == ["A.gap_mm"], "there is no column of gaps"
    draft = read_intake(text, name="amended.csv", answers=answers_of(lens("A", "B"), first))
    assert draft.questions == (), "the quote has it"
    assert any("clear" in one.what for one in draft.assumptions), "the clear diameter is taken by a rule"
    found = amended(lens("A", "B"), draft)
    assert found.patch() == [{"op": "replace", "path": "/elements/B/back/radius_mm", "value": -58.0}]


def test_quantities_are_changed_where_the_table_says_others() -> None:
    before = lens("A")
    draft = read_intake(table(("A", 60, 5, "N-BK7")) + '\n"Quantities: 5, 50"\n', name="amended.csv")
    assert amended(before, draft, known={"quantities": [5, 50]}).patch() == []
    assert amended(before, draft, known={"quantities": [5]}).patch() == [{"op": "add", "path": "/quantities", "value": [5, 50]}]
