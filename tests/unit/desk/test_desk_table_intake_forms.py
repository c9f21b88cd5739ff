"""Tables in every dress the trade gives them, and the way back: a prescription as a table."""

from __future__ import annotations

import contextlib
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from services.desk.errors import FileUnreadable, TableUnreadable
from services.desk.intake.draft import read_intake
from services.desk.intake.export import table_of
from services.desk.intake.heads import head_of
from shared_schemas.intake import MOST_BYTES
from shared_schemas.prescription import Prescription
from tests.unit.desk.reading_tables import blamed, prescription_from_table

HEAD = "surface,radius_mm,thickness_mm,glass,clear_diameter_mm,diameter_mm\n"
BARE = HEAD.replace("_mm", "")
SINGLE = HEAD + "1,50.8,5.08,N-BK7,24.13,25.4\n2,-76.2,,,24.13,\n"


def read(text: str) -> Prescription:
    return prescription_from_table(text, title="t")


@pytest.mark.parametrize(
    "text",
    [
        "units,inch\n" + BARE + "1,2,0.2,N-BK7,0.95,1\n2,-3,,,0.95,\n",
        "# units: in\n\n" + BARE + "1,2,0.2,N-BK7,0.95,1\n2,-3,,,0.95,\n",
        "Surf;Radius (in);Thickness [inch];Material;CA_in;OD mm\n1;2;0,2;N-BK7;0,95;25,4\n2;-3;;;0,95;\n",
        "surface,radius,thickness,glass,clear aperture,diameter,units\n1,2,.2,N-BK7,.95,1,in\n2,-76.2,,,24.13,,mm\n",
        "#\tCurvature (1/in)\tTh (in)\tGlass\tSemi-Diameter (in)\tOuter semi-diameter (mm)\n1\t0.5\t0.2\tN-BK7\t0.475\t12.7\n2\t\u22120.33333333333333333\t\t\t0.475\t\n",
        'No.,"R, mm",t,mat,SD,Ø\n1,"50,8","5,08",N-BK7,"12,065","25,4"\n2,"-76,2",,,"12,065",\n',
        HEAD + "0,inf,1E+20,,,\n" + SINGLE.removeprefix(HEAD) + "3,inf,,,10,\n",
        HEAD + "OBJ,infinity,infinity,air,,\n" + SINGLE.removeprefix(HEAD) + "IMA,,,,,\n",
    ],
)
def test_inches_synonyms_curvatures_and_semi_diameters_say_the_same_lens(text: str) -> None:
    lens, wanted = read(text), read(SINGLE)
    for ours, theirs in ((lens.elements[0].front, wanted.elements[0].front), (lens.elements[0].back, wanted.elements[0].back)):
        assert ours.radius_mm == pytest.approx(theirs.radius_mm, rel=1e-14)
        assert ours.clear_diameter_mm == theirs.clear_diameter_mm
    assert lens.elements[0].diameter_mm == 25.4
    assert lens.elements[0].centre_thickness_mm == 5.08
    assert lens.object_distance_mm is None


@pytest.mark.parametrize("flat", ["inf", "Infinity", "0", "0.0", "plano", "-inf", "FLAT", "1e10", "\u221e", "-0"])
def test_a_flat_face_has_many_words(flat: str) -> None:
    assert read(SINGLE.replace("-76.2", flat)).elements[0].back.radius_mm is None
    assert (
        read(SINGLE.replace("radius_mm", "curvature").replace("50.8", "0.01").replace("-76.2", "0")).elements[0].back.radius_mm
        is None
    )


def test_conic_and_aspheric_terms_are_read_in_mm_and_in_inches() -> None:
    head = BARE.replace("\n", ",conic,{},{}\n")
    lens = read(head.format("A4", "4th".replace("4", "6")) + "1,50,5,N-BK7,24,25,-1,1e-6,-2E-9\n2,-50,,,24,,,0,\n")
    assert (lens.elements[0].front.conic, lens.elements[0].front.asphere) == (-1.0, {"4": 1e-6, "6": -2e-9})
    assert lens.elements[0].back.asphere == {}
    inch = read("units,in\n" + head.format("a4", "a20") + "1,2,.2,N-BK7,.9,1,,0.001,1\n2,-2,,,.9,,,,\n")
    # a term of order n is a length to the power 1 - n
    assert inch.elements[0].front.asphere == pytest.approx({"4": 0.001 * 25.4**-3, "20": 25.4**-19})


def test_a_stop_on_a_face_is_the_stop_at_its_vertex() -> None:
    lens = read(SINGLE.replace("\n2,-76.2", "\nSTO,-76.2"))
    assert lens.stop is not None
    assert (lens.stop.after_element, lens.stop.distance_mm, lens.stop.diameter_mm) == (1, 0.0, 24.13)
    lens = read(SINGLE.replace("\n1,", "\nstop,"))
    assert lens.stop is not None
    assert (lens.stop.after_element, lens.stop.distance_mm) == (0, 0.0)


def test_a_row_of_cement_joins_two_faces_that_differ() -> None:
    lens = read(SINGLE.replace("-76.2,,,", "-76.2,0,cement,") + "3,-76,2,N-SF2,24,25\n4,inf,,,24,\n")
    assert lens.spaces[0].cemented
    assert lens.elements[1].front.radius_mm == -76
    reason = "row 4, thickness_mm: the cement before this face is 0.02 mm thick"
    assert blamed(SINGLE.replace("-76.2,,,", "-76.2,0.02,cement,") + "3,-76,2,N-SF2,24,25\n4,inf,,,24,\n")[0].startswith(reason)


def test_a_glass_may_be_an_index_and_an_abbe_number_and_an_element_may_have_a_name() -> None:
    lens = read(
        SINGLE.replace("diameter_mm\n", "diameter_mm,element\n").replace("N-BK7,24.13,25.4", "1.5168/64.17,24.13,25.4,front")
    )
    assert lens.elements[0].glass.model_dump() == {"nd": 1.5168, "vd": 64.17}  # type: ignore[union-attr]
    assert lens.elements[0].name == "front"


def test_the_wavelength_may_stand_before_the_heads() -> None:
    assert read("wavelength_nm;632,8\n" + SINGLE.replace(",", ";").replace(".", ",")).wavelength_nm == 632.8
    assert blamed("wavelength_nm,red\n" + SINGLE) == ["row 1, wavelength_nm: 'red' is no number"]
    assert blamed("wavelength_nm,1\n" + SINGLE)[0].startswith("row 1, wavelength_nm: ")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("units,cubit\n" + SINGLE, "row 1, units: 'cubit' is not a known unit of length"),
        (
            SINGLE.replace("diameter_mm\n", "diameter_mm,units\n").replace("25.4\n", "25.4,ell\n"),
            "row 2, units: 'ell' is not a known unit",
        ),
        ("units,inch\n" + SINGLE, "row 3, radius_mm: the head says mm, the units of the table are inches"),
        (SINGLE.replace("50.8", '"50,8"'), "row 2, radius_mm: '50,8' has a comma, other numbers have a point"),
        ("Radius (in),Thickness (in),Glass,CA (in),OD (in)\nx,.2,N-BK7,.9,1\n3,,,.9,\n", "row 2, Radius (in): 'x' is no number"),
        ("radius,curvature,thickness,glass,ca\n", "row 1, radius: the column is there twice (radius and curvature)"),
        (SINGLE.replace("diameter_mm\n", "diameter_mm,conic\n").replace("25.4\n", "25.4,k\n"), "row 2, conic: 'k' is no number"),
        (SINGLE.replace("diameter_mm\n", "diameter_mm,a4\n").replace("25.4\n", "25.4,1e999\n"), "row 2, a4: '1e999' is no number"),
        (
            SINGLE.replace("diameter_mm\n", "diameter_mm,a5\n").replace("25.4\n", "25.4,1e-5\n"),
            "row 2, a5: an aspheric term of order 5",
        ),
        (SINGLE.replace("-76.2", ""), "row 3, radius_mm: the radius is missing"),
        (SINGLE + "object,,10,,,\n", "row 4, surface: the object comes after other rows"),
        (HEAD + "object,,-10,,,\n" + SINGLE.removeprefix(HEAD), "row 2, thickness_mm: -10 is not above 0"),
        (SINGLE.replace("50.8", "\u0665"), "row 2, radius_mm: '\u0665' is no number"),
        (SINGLE + "stop,,,,0,\n", "row 4, clear_diameter_mm: 0 is not above 0"),
        (SINGLE.replace("-76.2,,,", "-76.2,1,,") + "stop,,,,20000,\n", "row 4, clear_diameter_mm: "),
    ],
)
def test_what_is_wrong_is_said_at_its_cell_by_the_head_that_was_written(text: str, words: str) -> None:
    assert any(reason.startswith(words) for reason in blamed(text)), blamed(text)


@pytest.mark.parametrize(
    ("text", "words"), [("a\x00b", "NUL"), ("x" * (MOST_BYTES + 1), "4 MB are read"), ('"' + "y" * 140_000, "no table")]
)
def test_what_is_no_table_is_refused(text: str, words: str) -> None:
    with pytest.raises(TableUnreadable, match=words):
        read(text)


@pytest.mark.parametrize("written", ["", "()", "[mm]", "mm", "_in", "radius (px)", "colour", "4", "1"])
def test_a_head_that_says_nothing_known_is_no_head(written: str) -> None:
    assert head_of(written) is None


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"PK\x03\x04rest", "a workbook or an archive that is damaged"),
        (b"\xd0\xcf\x11\xe0rest", "a workbook of the old kind"),
        (b"%PDF-1.7", "it is a PDF, which is not read; copy its table"),
        (b"\x00\x01", "NUL"),
        (b"\xff\xfea", "is not UTF-16 text"),
        (b"radius\xe9", "no table of a lens is in it; seen were: radius\u00e9"),
        (b"x" * (MOST_BYTES + 1), "it has 4.0 MB, and 4 MB are read"),
    ],
)
def test_a_file_that_is_no_text_is_refused(content: bytes, words: str) -> None:
    with pytest.raises(FileUnreadable, match=words):
        read_intake(content, name="lens.csv")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1"])
def test_text_with_its_mark_is_read(encoding: str) -> None:
    assert prescription_from_table(SINGLE.encode(encoding)) == read(SINGLE)


LENGTHS = st.floats(0.01, 900).map(lambda value: float(f"{value:.4g}"))
RADII = st.none() | st.floats(1000, 9999).map(lambda value: round(value, 3)) | st.floats(-9999, -1000)
SETTINGS = settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))


def number(value: float) -> str:
    return repr(value).removesuffix(".0")


@st.composite
def canonical_tables(draw: st.DrawFn) -> str:
    """Tables as they are written: elements in air or cemented, a stop in one of the airs, an aspheric term here and there."""
    rows: list[str] = []
    aspheric = draw(st.booleans())
    count = draw(st.integers(1, 4))
    stop_at = draw(st.integers(0, count)) if draw(st.booleans()) else None
    terms = ",{}" if aspheric else ""
    place = 0

    def face(thickness: str, glass: str, diameter: str, *, first: bool = False) -> str:
        nonlocal place
        place += 1
        radius = draw(RADII)
        term = terms.format(number(draw(st.floats(1e-9, 1e-6))) if first else "")
        return f"{place},{'inf' if radius is None else number(radius)},{thickness},{glass},{number(draw(LENGTHS))},{diameter}{term}"

    def stop(thickness: str) -> str:
        return f"stop,,{thickness},,{number(draw(LENGTHS))},{terms.format('')}"

    if draw(st.booleans()):
        rows.append(f"object,inf,{number(draw(LENGTHS))},,,{terms.format('')}")
    if stop_at == 0:
        rows.append(stop(number(draw(LENGTHS))))
    for i in range(1, count + 1):
        rows.append(
            face(number(draw(LENGTHS)), draw(st.sampled_from(["N-BK7", "S-BSL 7", "805254", "1.5168/64.17"])), "950", first=i == 1)
        )
        if i < count and stop_at != i and draw(st.booleans()):
            continue
        last = i == count
        rows.append(face(number(draw(LENGTHS)) if not last or stop_at == i else "", "", ""))
        if stop_at == i:
            rows.append(stop("" if last else number(draw(LENGTHS))))
    return HEAD.replace("\n", ",a4\n" if aspheric else "\n") + "\n".join(rows) + "\n"


@SETTINGS
@given(text=canonical_tables())
def test_a_canonical_table_comes_back_as_it_was(text: str) -> None:
    assert table_of(read(text)) == "units,mm\ntitle,t\n" + text


ANY_LENGTH = st.floats(1e-300, 10_000, exclude_min=True)
FACES = st.fixed_dictionaries(
    {"radius_mm": st.none() | st.floats(6000, 1e7) | st.floats(-1e7, -6000), "clear_diameter_mm": st.floats(1e-5, 9000)},
    optional={
        "conic": st.floats(-1e6, 0),
        "asphere": st.dictionaries(
            st.sampled_from([str(n) for n in range(4, 21, 2)]), st.floats(allow_nan=False, allow_infinity=False).filter(bool)
        ),
    },
)
ELEMENTS = st.fixed_dictionaries(
    {"glass": st.sampled_from(["N-BK7", "SF6", "S-BSL 7", "517642.251", 'odd, "glass"']) | st.fixed_dictionaries({"nd": st.floats(1, 4), "vd": st.floats(5, 150)}),
     "diameter_mm": st.just(9500.0), "centre_thickness_mm": ANY_LENGTH, "front": FACES, "back": FACES}
)  # fmt: skip


@st.composite
def prescriptions(draw: st.DrawFn) -> Prescription:
    elements: list[dict[str, Any]] = draw(st.lists(ELEMENTS, min_size=1, max_size=4))
    for i, element in enumerate(elements, start=1):
        element["name"] = draw(st.sampled_from([f"L{i}", f"front-{i}"]))
    spaces = [draw(st.just({"cemented": True}) | st.fixed_dictionaries({"gap_mm": st.floats(0, 10_000)})) for _ in elements[1:]]
    stop = {
        "after_element": draw(st.integers(0, len(elements))),
        "distance_mm": draw(st.floats(-10_000, 10_000)),
        "diameter_mm": draw(ANY_LENGTH),
    }
    return Prescription.model_validate(
        {
            "title": "t", "elements": elements, "spaces": spaces, "stop": draw(st.none() | st.just(stop)),
            "wavelength_nm": draw(st.floats(150, 15_000)), "object_distance_mm": draw(st.none() | st.floats(1e-5, 1e6)),
            "entrance_pupil_diameter_mm": draw(st.none() | ANY_LENGTH), "field_half_angle_deg": draw(st.none() | st.floats(0, 89)),
        }
    )  # fmt: skip


@SETTINGS
@given(lens=prescriptions())
def test_a_prescription_keeps_its_geometry_through_a_table(lens: Prescription) -> None:
    text = table_of(lens)
    assert read(text) == lens
    assert table_of(read(text)) == text


@settings(max_examples=200, deadline=None)
@given(text=st.text(alphabet=st.sampled_from("0123456789.,;\t\n\"'-+eEinfstop NBK\u2212\u221e#/ "), max_size=200))
def test_any_text_below_good_heads_is_a_lens_or_a_named_fault(text: str) -> None:
    for head in (HEAD, HEAD.replace(",", ";"), ""):
        with contextlib.suppress(TableUnreadable):
            read(head + text)
