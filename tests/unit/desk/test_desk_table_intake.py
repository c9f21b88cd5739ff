"""Tables of surfaces: what they become, and which cell is to blame when they become nothing."""

from __future__ import annotations

import pytest

from services.desk.errors import TableUnreadable
from shared_schemas.intake import MOST_ROWS
from tests.unit.desk.reading_tables import blamed, prescription_from_table

HEAD = "surface,radius_mm,thickness_mm,glass,clear_diameter_mm,diameter_mm\n"
TRIPLET = HEAD + (  # radii and thicknesses: triplet, Smith, Modern Optical Engineering, 4th ed., p. 118-119
    "object,inf,inf,,,\n"
    "1,37.40,5.90,N-SK4,29.4,30\n2,-341.48,12.93,,29.4,\n"
    "3,-42.65,2.50,N-SF2,21.6,22\n4,36.40,2.00,,21.6,\n"
    "stop,,9.85,,20.6,\n"
    "5,204.52,5.90,N-SK4,23.2,24\n6,-37.05,77.405,,23.2,\nimage,,,,,\n"
)
DOUBLET = HEAD + "1,62.0,6,N-BK7,24,25\n2,-45.1,2.5,N-SF2,24,26\n3,plano,,,24,\n"


def test_the_published_triplet_is_read_with_its_stop() -> None:
    lens = prescription_from_table(TRIPLET, title="triplet")
    assert [element.glass for element in lens.elements] == ["N-SK4", "N-SF2", "N-SK4"]
    assert [space.gap_mm for space in lens.spaces] == [12.93, 11.85]
    assert lens.stop is not None
    assert (lens.stop.after_element, lens.stop.distance_mm, lens.stop.diameter_mm) == (2, 2.0, 20.6)
    assert lens.elements[1].front.radius_mm == -42.65
    assert lens.elements[2].diameter_mm == 24


def test_two_glasses_one_after_the_other_are_cemented_and_share_a_face() -> None:
    lens = prescription_from_table(DOUBLET, title="doublet")
    assert lens.spaces[0].cemented
    assert lens.elements[0].back == lens.elements[1].front
    assert [element.diameter_mm for element in lens.elements] == [25, 26]
    assert lens.elements[1].back.radius_mm is None


@pytest.mark.parametrize("separator", [";", "\t"])
def test_semicolons_and_tabs_may_carry_decimal_commas(separator: str) -> None:
    text = DOUBLET.replace(",", separator).replace(".", ",")
    assert prescription_from_table(text, title="t") == prescription_from_table(DOUBLET, title="t")


def test_windows_line_ends_a_byte_order_mark_blank_lines_and_loose_heads_do_no_harm() -> None:
    text = "\ufeff" + DOUBLET.replace("radius_mm", " Radius mm ").replace("\n", "\r\n\r\n")
    assert prescription_from_table(text, title="t") == prescription_from_table(DOUBLET, title="t")


def test_a_stop_before_the_first_element_lies_in_front_of_it() -> None:
    lens = prescription_from_table(DOUBLET.replace("1,62.0", "stop,,4.5,,20,\n1,62.0"), title="t")
    assert lens.stop is not None
    assert (lens.stop.after_element, lens.stop.distance_mm) == (0, -4.5)


def test_a_finite_object_is_read() -> None:
    assert prescription_from_table(TRIPLET.replace("object,inf,inf", "object,inf,450"), title="t").object_distance_mm == 450


def test_every_unreadable_cell_is_named_by_row_and_column() -> None:
    text = HEAD + "1,62.O,6 ells,N-BK7,,25\n2,0,-2.5,N-SF2,24,26\n3,plano,,,nan,\n"
    assert blamed(text) == [
        "row 2, radius_mm: '62.O' is no number",
        "row 2, thickness_mm: ells is not understood as a tolerance of the thickness, such as ±0.1",
        "row 3, thickness_mm: -2.5 is not above 0",
        "row 4, clear_diameter_mm: 'nan' is no number",
    ]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (HEAD + "1,50,5,N-BK7,,\n2,-50,,,,\n", "row 2, diameter_mm: L1 has neither a diameter nor a clear one"),
        (HEAD + "1,50,5,N-BK7,24,25\n2,-50,,,24,26\n", "row 3, diameter_mm: the front of the element says 25"),
        (HEAD + "1,50,5,N-BK7,24,25\n", "row 2, glass: the element has no back face"),
        (HEAD + "1,50,5,,24,25\n2,-50,,,24,\n", "row 2, glass: no glass comes before or after this face"),
        (HEAD + "1,50,5,N-BK7,24,25\nstop,,5,,20,\n2,-50,,,24,\n", "row 2, glass: the element has no back face"),
        (HEAD + "1,37,40,5,N-BK7,24,25\n2,-50,,,24,\n", "row 2, (none): the row has 7 cells"),
        (HEAD + "1,10,5,N-BK7,24,25\n2,-50,,,24,\n", "row 2, radius_mm: a radius of 10 mm"),
        (HEAD + "1,50,5,N-BK7,24,25\n2,-8,,,24,\n", "row 3, radius_mm: a radius of -8 mm"),
        (HEAD + "1,50,5,N-BK7,26,25\n2,-50,,,24,\n", "row 2, clear_diameter_mm: the clear diameter of 26 mm is larger"),
        ("surface,radius_mm,glass,clear_diameter_mm\n", "row 1, thickness_mm: the column is missing"),
        (
            HEAD.replace("diameter_mm\n", "diameter_mm,colour\n") + "1,50,5,N-BK7,24,25,red\n2,-50,,,24,\n",
            "row 1, colour: unknown column",
        ),
        (HEAD.replace("surface", "glass"), "row 1, glass: the column is there twice"),
    ],
)
def test_what_is_wrong_is_said_at_its_cell(text: str, words: str) -> None:
    assert any(reason.startswith(words) for reason in blamed(text)), blamed(text)


def test_a_cell_of_a_shared_face_is_blamed_once() -> None:
    assert blamed(DOUBLET.replace("-45.1", "x")) == ["row 3, radius_mm: 'x' is no number"]


@pytest.mark.parametrize(("text", "words"), [("", "empty"), ("\n \n", "empty"), (HEAD, "no row names a glass")])
def test_a_table_without_a_lens_is_said(text: str, words: str) -> None:
    with pytest.raises(TableUnreadable, match=words):
        prescription_from_table(text, title="t")


def test_a_table_past_the_limit_is_not_read() -> None:
    with pytest.raises(TableUnreadable, match=str(MOST_ROWS)):
        prescription_from_table(HEAD + "1,50,5,N-BK7,24,25\n" * (MOST_ROWS + 1), title="t")
