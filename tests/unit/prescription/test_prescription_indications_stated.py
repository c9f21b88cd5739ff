"""Indications stay as they are stated: unit, wavelength, notation; what cannot be read back is not read at all."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.optics.drawing.centring import read_centring, write_centring
from services.optics.drawing.coating import CoatingNote, read_coating, write_coating
from services.optics.drawing.defaults import FROM_MEMORY, defaults_for
from services.optics.drawing.form import read_form, read_transmitted_wavefront, write_form
from services.optics.drawing.imperfections import (
    read_assembly_imperfections,
    read_imperfections,
    write_imperfections,
)
from services.optics.drawing.laser import read_laser, write_laser
from services.optics.drawing.material import (
    read_bubbles,
    read_homogeneity,
    read_stress,
    write_bubbles,
    write_homogeneity,
    write_stress,
)
from services.optics.drawing.texture import read_texture, write_texture
from services.optics.errors import IndicationUnreadable
from services.prescription.domain.demands import ElementDemand, demands_of, lens_indications
from shared_schemas.check import Finding
from shared_schemas.prescription import Element, Prescription

Pair = tuple[Callable[[str], Any], Callable[[Any], str]]

FORM: Pair = (read_form, write_form)
WAVEFRONT: Pair = (read_transmitted_wavefront, lambda form: write_form(form, head="13/"))
CENTRING: Pair = (read_centring, write_centring)
IMPERFECTIONS: Pair = (read_imperfections, write_imperfections)
ASSEMBLY: Pair = (read_assembly_imperfections, lambda found: write_imperfections(found, head="15/"))
STRESS: Pair = (read_stress, write_stress)
BUBBLES: Pair = (read_bubbles, write_bubbles)
CLASSES: Pair = (read_homogeneity, write_homogeneity)
TEXTURE: Pair = (read_texture, write_texture)
LASER: Pair = (read_laser, write_laser)
COATING: Pair = (read_coating, write_coating)

CANONICAL: list[tuple[Pair, str]] = [
    (FORM, "3/3(0.5)"), (FORM, "3/-(0.5)"), (FORM, "3/-"), (FORM, "3/5(1/0.5); λ = 633 nm"), (FORM, "3/270nm(50nm)"),
    (FORM, "3/3(50nm/0.1)"), (FORM, "3/-; RMSt < 0.1; RMSi < 20nm; RMSa < 0.03"), (WAVEFRONT, "13/-(0.25); RMSi < 0.05"),
    (CENTRING, "4/1'"), (CENTRING, '4/7"(0.02)'), (CENTRING, "4/0.1°"), (IMPERFECTIONS, "60-40"),
    (IMPERFECTIONS, "5/2x0.16; C1x0.25; L1x0.04; E0.5"), (IMPERFECTIONS, "5/1x0.25; W0.04"), (ASSEMBLY, "15/3x0.16; E0.5"),
    (STRESS, "0/10"), (STRESS, "0/-"), (BUBBLES, "1/3x0.16"), (BUBBLES, "1/-"), (CLASSES, "2/1;1"), (CLASSES, "2/-;2"),
    (TEXTURE, "P"), (TEXTURE, "P4"), (TEXTURE, "G"), (TEXTURE, "Rt 0.05 um"), (TEXTURE, "P4; Rq 1.5 nm"),
    (LASER, "6/10 J/cm2; 1064 nm; 10 ns; 1-on-1"), (LASER, "6/1.5 GW/cm2; 532 nm"), (COATING, "7/ar-single"),
    (COATING, "(λ) R < 0.5 % 400 to 700 nm"),
]  # fmt: skip

OTHER_WAYS = [
    (FORM, " 3 / 3", None), (FORM, "3/ 3,0 ( 0,5 )", "3/3(0.5)"), (FORM, "3/–(—)", "3/-"), (FORM, "3/270(50) nm", "3/270nm(50nm)"),
    (FORM, "3/3(50nm/-)", "3/3(50nm)"), (FORM, "3/5 lambda=633", "3/5; λ = 633 nm"), (FORM, "3/-(-) RMSi≤0,05", "3/-; RMSi < 0.05"), (CENTRING, "4/30''", '4/30"'),
    (CENTRING, "4/2 min", "4/2'"), (IMPERFECTIONS, "60/40", "60-40"), (IMPERFECTIONS, "S-D 20-10", "20-10"),
    (IMPERFECTIONS, "5/2×0,1; E 0,5; L 1X.04; C 1x0.1", "5/2x0.1; C1x0.1; L1x0.04; E0.5"), (STRESS, "0/ 10 nm/cm", "0/10"),
    (CLASSES, "2/ 1 ; –", "2/1;-"), (TEXTURE, "Rq < 2 µm", "Rq 2 um"), (LASER, "6/5 J/cm^2;1064;; x", "6/5 J/cm2; 1064 nm; x"),
    (COATING, "λ⃝ hr", "(λ) hr"),
]  # fmt: skip

PAIRS = sorted({pair[0].__name__: pair for pair, _ in CANONICAL}.items())
SIGNS = "0123456789/.,;()x×-–'\"°λ=<≤ PGRqtTSMWCLEJkmMGiancuµ²⃝"
PIECES = [
    "RMSi",
    "RMSt",
    "nm",
    "um",
    "J/cm2",
    "MW/cm²",
    "10 ns",
    "; ",
    "(λ)",
    "λ = 633",
    "x0.16",
    "3",
    "0,5",
    "-",
    "(",
    ")",
    "<",
    "9" * 30,
]


@pytest.mark.parametrize(("pair", "text"), CANONICAL, ids=[text for _, text in CANONICAL])
def test_what_is_written_in_the_usual_way_is_written_again_letter_by_letter(pair: Pair, text: str) -> None:
    read, write = pair
    assert write(read(text)) == text


@pytest.mark.parametrize(("pair", "text", "usual"), OTHER_WAYS)
def test_other_ways_of_writing_mean_the_same(pair: Pair, text: str, usual: str | None) -> None:
    read, write = pair
    if usual is None:
        with pytest.raises(IndicationUnreadable):
            read(text)
        return
    assert read(text) == read(usual)
    assert write(read(text)) == usual


@pytest.mark.parametrize("pair", [pair for _, pair in PAIRS], ids=[name for name, _ in PAIRS])
@given(data=st.data())
@settings(max_examples=150, deadline=None)
def test_any_text_is_refused_or_written_the_same_for_ever(pair: Pair, data: st.DataObject) -> None:
    read, write = pair
    heads = ["", *(text.split("/")[0] + "/" for one, text in CANONICAL if one is pair and "/" in text)]
    tail = st.text(max_size=40) | st.text(SIGNS, max_size=40) | st.lists(st.sampled_from(PIECES), max_size=8).map("".join)
    text = data.draw(st.sampled_from(heads)) + data.draw(tail)
    found = read_or_none(read, text)
    if found is not None:
        assert read(write(found)) == found
        assert write(read(write(found))) == write(found)


def read_or_none(read: Callable[[str], Any], text: str) -> Any:
    """What a text says, None for a refusal; anything else breaks the test."""
    try:
        return read(text)
    except IndicationUnreadable:
        return None


@pytest.mark.parametrize(
    ("reader", "text", "position", "expected"),
    [
        (read_form, "3/" + "9" * 400, 3, "from 1e-09 to 1e+09"),
        (read_form, "3/5; λ = 0.633", 10, "from 100 to 20000"),
        (read_form, "3/3;", 5, "λ="),
        (read_form, "3/-; RMSi < 1; RMSi < 2", 20, "once only"),
        (read_centring, "4/" + "9" * 400 + "'", 3, "from 1e-09"),
        (read_imperfections, "0-40", 1, "5/"),
        (read_texture, "P3; Rq 2", 9, "nm or um"),
        (read_texture, "Q", 1, "G, or Rq"),
        (read_laser, "6/10 J; 1064 nm", 6, "J/cm2"),
        (read_coating, "ar", 1, "7/ or (λ)"),
        (read_coating, "7/ ", 4, "coating"),
        (read_stress, "0/- 5", 5, "end"),
    ],
)
def test_what_could_not_be_read_back_is_refused_where_it_stands(
    reader: Callable[[str], Any], text: str, position: int, expected: str
) -> None:
    with pytest.raises(IndicationUnreadable) as caught:
        reader(text)
    assert caught.value.position == position
    assert expected in caught.value.expected


@pytest.mark.parametrize(
    ("text", "ns"), [("10 ns; 1-on-1", 10.0), ("1-on-1; 500 fs", 5e-4), ("1-on-1", None), ("1 ns; 2 ns", None)]
)
def test_a_pulse_duration_is_told_apart_where_there_is_one(text: str, ns: float | None) -> None:
    found = read_laser(f"6/10 J/cm2; 1064 nm; {text}").pulse_duration_ns
    assert found == (None if ns is None else pytest.approx(ns))


def test_a_coating_is_free_text_behind_its_symbol() -> None:
    assert read_coating("(λ) R < 0.5 %") == CoatingNote("(λ)", "R < 0.5 %")


@pytest.mark.parametrize(
    ("text", "power", "irregularity", "sign"),
    [
        ("3/3(0.5)", 3, 0.5, None),
        ("3/3(0.5); RMSi < 0.02", 3, 0.5, None),
        ("3/-; RMSi < 0.05", None, 0.25, "RMSi"),
        ("3/-; RMSa < 0.05", None, 0.25, "RMSa"),
        ("3/-; RMSt < 0.1; RMSa < 0.05", 0.1 * math.sqrt(12), 0.5, "RMSt"),
        ("3/-", None, None, None),
    ],
)
def test_rms_alone_is_a_demand(text: str, power: float | None, irregularity: float | None, sign: str | None) -> None:
    form = read_form(text)
    assert form.power_demand_fringes == (None if power is None else pytest.approx(power))
    assert form.irregularity_demand_fringes == (None if irregularity is None else pytest.approx(irregularity))
    assert form.irregularity_rms_sign == sign


def of_element(**changes: Any) -> tuple[ElementDemand, tuple[Finding, ...]]:
    """Demands and findings of an element with a front face changed, all else stated."""
    face = {"radius_mm": 60.0, "clear_diameter_mm": 20.0, "form": "3/3(0.5)", "imperfections": "5/3x0.16"}
    front = {**face, **{name: changes.pop(name) for name in list(changes) if name in ("form", "texture", "laser_damage")}}
    tolerances = {"diameter_mm": [0.0, -0.02], "centre_thickness_mm": 0.05, "centring": "4/2'"}
    document = {"name": "L1", "glass": "N-BK7", "diameter_mm": 25.0, "centre_thickness_mm": 6.0, "front": front,
                "back": face, "tolerances": tolerances, **changes}  # fmt: skip
    return demands_of(element=Element.model_validate(document), pointer="/elements/0")


def test_rms_alone_is_planned_for_and_a_note_says_by_which_rule() -> None:
    demand, findings = of_element(form="3/2; RMSi < 0.05")
    assert demand.front.irregularity_fringes == pytest.approx(0.25)
    assert demand.front.defaulted == ()
    (note,) = findings
    assert (note.code, note.severity, note.pointer) == ("form-from-rms", "note", "/elements/0/front/form")
    assert note.figure == pytest.approx(0.25)
    assert "5 times its RMSi" in note.message


def test_a_total_rms_bounds_the_power_too() -> None:
    demand, findings = of_element(form="3/-(0.5); RMSt < 0.1")
    assert demand.front.power_fringes == pytest.approx(0.346, abs=1e-3)
    assert demand.front.irregularity_fringes == 0.5
    assert [one.code for one in findings] == ["form-from-rms"]
    assert findings[0].figure == pytest.approx(0.346, abs=1e-3)


@pytest.mark.parametrize(
    ("field", "text", "where"),
    [
        ("stress_birefringence", "0/x", "/elements/0/stress_birefringence"),
        ("bubbles", "1/3", "/elements/0/bubbles"),
        ("inhomogeneity", "2/9;1", "/elements/0/inhomogeneity"),
        ("texture", "shiny", "/elements/0/front/texture"),
        ("laser_damage", "6/much", "/elements/0/front/laser_damage"),
    ],
)
def test_an_indication_that_cannot_be_read_is_a_stop_at_its_place(field: str, text: str, where: str) -> None:
    _, findings = of_element(**{field: text})
    assert [(one.code, one.severity, one.pointer) for one in findings] == [("indication-unreadable", "stop", where)]


def test_indications_of_the_whole_lens_are_read_too() -> None:
    element = {"name": "L1", "glass": "N-BK7", "diameter_mm": 25.0, "centre_thickness_mm": 6.0,
               "front": {"radius_mm": 60.0, "clear_diameter_mm": 20.0}, "back": {"radius_mm": None, "clear_diameter_mm": 20.0}}  # fmt: skip
    lens = Prescription.model_validate(
        {"title": "a lens", "elements": [element], "transmitted_wavefront": "13/?", "assembly_imperfections": "15/3x0.16"}
    )
    assert [(one.code, one.pointer) for one in lens_indications(lens)] == [("indication-unreadable", "/transmitted_wavefront")]


def test_what_is_asked_of_the_glass_is_stated_or_the_default_of_its_size() -> None:
    stated, findings = of_element(stress_birefringence="0/6", bubbles="1/2x0.1", inhomogeneity="2/2;3")
    assert findings == ()
    glass = stated.glass
    assert (glass.stress_nm_per_cm, glass.bubble_count, glass.bubble_grade_mm) == (6.0, 2, 0.1)
    assert (glass.inhomogeneity_class, glass.striae_class, glass.defaulted) == (2, 3, ())
    silent = of_element(stress_birefringence="0/-")[0].glass
    assert (silent.stress_nm_per_cm, silent.bubble_count, silent.bubble_grade_mm) == (20.0, 5, 0.25)
    assert silent.defaulted == ("stress birefringence", "bubbles", "inhomogeneity")


@pytest.mark.parametrize(
    ("size_mm", "stress", "bubbles", "classes"),
    [
        (8.0, 20.0, (3, 0.16), (1, 1)),
        (25.0, 20.0, (5, 0.25), (1, 1)),
        (60.0, None, (5, 0.4), (None, None)),
        (200.0, None, (5, 0.63), (None, None)),
    ],
)
def test_defaults_of_the_glass_by_size_are_from_memory(
    size_mm: float, stress: float | None, bubbles: tuple[int, float], classes: tuple[int | None, int | None]
) -> None:
    column = defaults_for(diameter_mm=size_mm)
    assert column.stress_nm_per_cm == stress
    assert (column.bubble_count, column.bubble_grade_mm) == bubbles
    assert (column.homogeneity_class, column.striae_class) == classes
    assert "from memory, check the licensed text" in FROM_MEMORY
