"""What cells of a customer's table mean, kind by kind."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from services.desk.intake.meanings import KINDS, joined_forms, nominal_and_tolerance, read_cell
from shared_schemas.indications import NOTATIONS
from shared_schemas.prescription import CoatingDemand, Surface

ONE_INCH = Decimal("25.4")


def demand(limit: str, share: float, first: float, last: float, angle: float = 0.0) -> dict[str, Any]:
    return {limit: share, "band_nm": [first, last], "angle_deg": angle}


PLAIN: list[tuple[str, str, dict[str, Any]]] = [
    ("surface_quality", "60-40", {"imperfections": "60-40"}),
    ("surface_quality", "60/40", {"imperfections": "60/40"}),
    ("surface_quality", "S/D 20-10", {"imperfections": "20-10"}),
    ("surface_quality", "scratch-dig: 60/40", {"imperfections": "60-40"}),
    ("surface_quality", "5/3x0.16; L1x0.04", {"imperfections": "5/3x0.16; L1x0.04"}),
    ("surface_quality", "60-40 both sides", {"front.imperfections": "60-40", "back.imperfections": "60-40"}),
    ("form", "3/3(0.5); λ = 632.8 nm", {"form": "3/3(0.5); λ = 632.8 nm"}),
    ("form", "power 3 fringes, irregularity 0.5 fringes @ 546 nm", {"form": "3/3(0.5)"}),
    ("texture", "P3; Rq 2 nm", {"texture": "P3; Rq 2 nm"}),
    ("laser_damage", "LIDT > 10 J/cm² @ 1064 nm, 10 ns, 10 Hz", {"laser_damage": "6/10 J/cm2; 1064 nm; 10 ns; 10 Hz"}),
    ("centring", "4/2'(0.02)", {"tolerances.centring": "4/2'(0.02)"}),
    ("centring", "3 arcmin", {"tolerances.centring": "4/3'"}),
    ("centring", "<3'", {"tolerances.centring": "4/3'"}),
    ("centring", "30 arcsec", {"tolerances.centring": '4/30"'}),
    ("centring", "2''", {"tolerances.centring": '4/2"'}),
    ("centring", "0,05°", {"tolerances.centring": "4/0.05°"}),
    ("diameter_tolerance", "±0.1", {"tolerances.diameter_mm": [0.1, -0.1]}),
    ("diameter_tolerance", "+/- 0,05 mm", {"tolerances.diameter_mm": [0.05, -0.05]}),
    ("diameter_tolerance", "+0/-0.1", {"tolerances.diameter_mm": [0.0, -0.1]}),
    ("diameter_tolerance", "+0.00 -0.05", {"tolerances.diameter_mm": [0.0, -0.05]}),
    ("diameter_tolerance", "0/−0,02", {"tolerances.diameter_mm": [0.0, -0.02]}),
    ("diameter_tolerance", "-0.02/-0.05", {"tolerances.diameter_mm": [-0.02, -0.05]}),
    ("diameter_tolerance", "+0 -100 µm", {"tolerances.diameter_mm": [0.0, -0.1]}),
    ("thickness_tolerance", "± 0,05", {"tolerances.centre_thickness_mm": 0.05}),
    ("thickness_tolerance", "+/-.004 in", {"tolerances.centre_thickness_mm": 0.1016}),
    ("coating", "uncoated", {"coating": None}),
    ("coating", "unbeschichtet", {"coating": None}),
    ("coating", "sans traitement", {"coating": None}),
    ("coating", "ar-broadband", {"coating": "ar-broadband"}),
    ("coating", "AR < 0.5 % 450-650 nm", {"coating": demand("reflectance_max_share", 0.005, 450.0, 650.0)}),
    ("coating", "R < 0,5% 0.45-0.65 µm", {"coating": demand("reflectance_max_share", 0.005, 450.0, 650.0)}),
    ("coating", "HR 99% @ 1064", {"coating": demand("reflectance_min_share", 0.99, 1064.0, 1064.0)}),
    ("coating", "R>99.5% 1064 nm 45°", {"coating": demand("reflectance_min_share", 0.995, 1064.0, 1064.0, 45.0)}),
    ("glass", "N-BK7", {"glass": "N-BK7"}),
    ("glass", "N–BK7", {"glass": "N-BK7"}),
    ("glass", "Schott N-SF11", {"glass": "Schott N-SF11"}),
    ("glass", "517-642", {"glass": "517642"}),
    ("glass", "517642.251", {"glass": "517642.251"}),
    ("glass", "nd=1.5168 vd=64.17", {"glass": {"nd": 1.5168, "vd": 64.17}}),
    ("glass", "1,5168/64,17", {"glass": {"nd": 1.5168, "vd": 64.17}}),
    ("glass", "Luft", {"medium": "air"}),
    ("glass", "Kitt", {"medium": "cement"}),
    ("remark", "S1: 60-40, S2: 40-20", {"front.imperfections": "60-40", "back.imperfections": "40-20"}),
    (
        "remark",
        "3/3(0.5); 5/3x0.16; L1x0.04; 4/2'; P3",
        {"form": "3/3(0.5)", "imperfections": "5/3x0.16; L1x0.04", "tolerances.centring": "4/2'", "texture": "P3"},
    ),
    ("remark", "front: R<1% 400-700 nm; back: uncoated",
     {"front.coating": demand("reflectance_max_share", 0.01, 400.0, 700.0), "back.coating": None}),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "text", "values"), PLAIN)
def test_what_is_said_plainly_is_read_without_an_assumption(kind: str, text: str, values: dict[str, Any]) -> None:
    reading = read_cell(kind, text)
    assert reading.values == values
    assert reading.plain
    assert reading.rule == ""


BY_RULE: list[tuple[str, str, dict[str, Any], str]] = [
    ("surface_quality", "MIL 40-20", {"imperfections": "40-20"}, "whichever edition"),
    ("surface_quality", "better than 60-40", {"imperfections": "60-40"}, "the limit"),
    ("form", "λ/4", {"form": "3/-(0.5)"}, "of surface is 0.5 fringe spacings"),
    ("form", "λ/4", {"form": "3/-(0.5)"}, "546.07 nm"),
    ("form", "1/4 wave PV @ 633 nm", {"form": "3/-(0.5); λ = 633 nm"}, "taken as irregularity"),
    ("form", "λ/4 reflected wavefront @ 633", {"form": "3/-(0.25); λ = 633 nm"}, "of reflected wavefront"),
    ("form", "2 fringes power, 0.5 irregularity", {"form": "3/2(0.5)"}, "546.07 nm"),
    ("form", "3 rings / 1 ring", {"form": "3/3(1)"}, "first is taken as power"),
    ("form", "5 Ringe / 1 Ring", {"form": "3/5(1)"}, "first is taken as power"),
    ("form", "N=3 ΔN=0.5", {"form": "3/3(0.5)"}, "546.07 nm"),
    ("form", "Passe 3(0.5)", {"form": "3/3(0.5)"}, "begins with 3/"),
    ("form", "RMS λ/50", {"form": "3/-; RMSi < 0.04"}, "RMSi"),
    ("form", "flatness λ/10 @ HeNe", {"form": "3/0.2(0.2); λ = 632.8 nm"}, "power and irregularity alike"),
    ("form", "63 nm PV", {"form": "3/-(63nm)"}, "taken as irregularity"),
    ("power", "3", {"form": "3/3"}, "546.07 nm"),
    ("irregularity", "0.5 fringe", {"form": "3/-(0.5)"}, "546.07 nm"),
    ("texture", "5 Å RMS", {"texture": "Rq 0.5 nm"}, "root mean square"),
    ("texture", "poliert", {"texture": "P"}, "without a grade"),
    ("wedge", "3'", {"tolerances.centring": "4/3'"}, "tilt of one face against the other"),
    ("centring", "1 mrad", {"tolerances.centring": "4/3.43'"}, "3.43 minutes"),
    ("diameter_tolerance", "0.05", {"tolerances.diameter_mm": [0.05, -0.05]}, "no sign"),
    ("thickness_tolerance", "0.1", {"tolerances.centre_thickness_mm": 0.1}, "no sign"),
    ("radius_tolerance", "3 fringes", {"form": "3/3"}, "546.07 nm"),
    ("radius_tolerance", "R ±0.1 %", {"remarks": "tolerance of radius ±0.1 %"}, "what is priced is the form"),
    ("coating", "single layer MgF2", {"coating": "ar-single"}, "ar-single of the rates"),
    ("coating", "V-coat 532", {"coating": "ar-v-532"}, "ar-v-532 of the rates"),
    ("coating", "protected silver", {"coating": "mirror-silver"}, "mirror-silver of the rates"),
    ("coating", "-", {"coating": None}, "taken as uncoated"),
    ("coating", "BBAR Ravg<0.5% 400-700nm", {"coating": demand("reflectance_max_share", 0.005, 400.0, 700.0)}, "stricter"),
    ("glass", "BK7", {"glass": "BK7"}, "published nd 1.5168 and vd 64.17"),
    ("glass", "H-K9L", {"glass": "H-K9L"}, "CDGM"),
    ("glass", "SF11 (old)", {"glass": "SF11"}, "taken as SF11"),
    ("glass", "quartz glass UV grade", {"glass": "fused silica"}, "without its grade"),
    ("glass", "Saphir", {"glass": "sapphire"}, "is sapphire"),
    ("glass", "N-BK7 or equivalent", {"glass": "N-BK7"}, "nothing equivalent"),
    ("glass", "NOA61", {"medium": "cement"}, "which one"),
]


@pytest.mark.parametrize(("kind", "text", "values", "rule"), BY_RULE)
def test_what_is_taken_by_a_rule_tells_it(kind: str, text: str, values: dict[str, Any], rule: str) -> None:
    reading = read_cell(kind, text)
    assert reading.values == values
    assert reading.plain
    assert rule in reading.rule


ASKED: list[tuple[str, str, str]] = [
    ("surface_quality", "40-60", "scratch comes first"),
    ("surface_quality", "2010-05-01", "is a day"),
    ("surface_quality", "5/2", "no indication"),
    ("surface_quality", "20-0", "at least 1"),
    ("form", "0.5 fringe", "the power or the irregularity"),
    ("form", "λ/4 transmitted wavefront", "of the whole lens"),
    ("form", "λ/0", "not understood"),
    ("irregularity", "1/4", "of a wave or of a fringe"),
    ("texture", "2 nm", "which roughness"),
    ("laser_damage", "5 J/cm2", "at which wavelength"),
    ("centring", "2", "sixty apart"),
    ("centring", "4/2", "sixty apart"),
    ("centring", "TIR 0.02", "is a length"),
    ("centring", "beam deviation 3'", "of the beam"),
    ("diameter_tolerance", "h7", "needs the diameter"),
    ("diameter_tolerance", "H7", "tolerance of a hole"),
    ("diameter_tolerance", "max 0.05", "which way"),
    ("diameter_tolerance", "+0.1", "not understood"),
    ("diameter_tolerance", "200", "wider than any"),
    ("thickness_tolerance", "+0/-0.2", "not even about"),
    ("coating", "entspiegelt", "does not say which"),
    ("coating", "AR both sides", "does not say which"),
    ("coating", "BBAR 400-700", "how much may it reflect"),
    ("coating", "V-coat 633", "how much may it reflect"),
    ("coating", "HR 1064", "how much is it to reflect"),
    ("coating", "AR R<1% 650-450 nm", "ends before it begins"),
    ("coating", "R < 150 % 400-700 nm", "between 0 and 100"),
    ("coating", "AR 532 & 1064", "not understood is 1064"),
    ("glass", "N-BK7 / H-K9L", "more than one glass"),
    ("glass", "1.5168", "index alone"),
    ("glass", "mirror", "no glass of a lens"),
    ("remark", "AR coated, λ/4", "does not say which"),
]


@pytest.mark.parametrize(("kind", "text", "asks"), ASKED)
def test_what_may_mean_two_things_is_asked(kind: str, text: str, asks: str) -> None:
    assert asks in read_cell(kind, text).asks


@pytest.mark.parametrize(("kind", "text", "asks"), ASKED)
def test_every_choice_answers_the_question(kind: str, text: str, asks: str) -> None:
    for choice in read_cell(kind, text).choices:
        reading = read_cell(kind, choice.answer, diameter_mm=ONE_INCH)
        assert reading.plain, choice
        assert reading.values, choice


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind not in ("glass", "remark", "order")])
def test_words_that_mean_nothing_under_a_column_are_never_dropped(kind: str) -> None:
    reading = read_cell(kind, "as discussed with Peter", where="L1")
    assert reading.values == {}
    assert "as discussed with Peter" in reading.asks
    assert reading.asks.startswith("L1: ")


def test_words_of_a_remark_that_were_not_understood_are_left() -> None:
    reading = read_cell("remark", "MgF2 coating, S/D 60-40, edge blackened")
    assert reading.values == {"coating": "ar-single", "imperfections": "60-40"}
    assert reading.left == "edge blackened"


def test_an_empty_cell_means_nothing() -> None:
    for kind in KINDS:
        assert read_cell(kind, "  ") == read_cell(kind, "")
        assert read_cell(kind, "").values == {}


def test_a_tolerance_is_in_the_unit_of_its_column_unless_it_names_one() -> None:
    assert read_cell("diameter_tolerance", "+0/-.002", unit_mm=ONE_INCH).values == {"tolerances.diameter_mm": [0.0, -0.0508]}
    assert read_cell("diameter_tolerance", "+0/-0.05 mm", unit_mm=ONE_INCH).values == {"tolerances.diameter_mm": [0.0, -0.05]}


def test_a_fit_is_read_by_the_diameter() -> None:
    reading = read_cell("diameter_tolerance", "h7", diameter_mm=ONE_INCH)
    assert reading.values == {"tolerances.diameter_mm": [0.0, -0.021]}
    assert "h7 at 25.4 mm is +0/-0.021 mm (ISO 286)" in reading.rule
    assert "in no table here" in read_cell("diameter_tolerance", "h7", diameter_mm=Decimal(200)).asks


def test_a_difference_of_thickness_at_the_rim_is_an_angle_across_the_diameter() -> None:
    reading = read_cell("wedge", "ETD 0.02", diameter_mm=Decimal(25))
    assert reading.values == {"tolerances.centring": "4/2.75'"}  # 0.02/25 rad = 2.7502'
    assert read_cell("wedge", "ETD 0.02").asks
    assert read_cell("centring", "TIR 0.02", diameter_mm=Decimal(25)).choices[0].answer == "4/2.75'"


@pytest.mark.parametrize(
    ("text", "nominal", "tolerance"),
    [
        ("25.4 +0/-0.1", "25.4", "+0/-0.1"),
        ("Ø25.4 ±0.05", "Ø25.4", "±0.05"),
        ("25 h7", "25", "h7"),
        ("25,4 (+0/-0,1)", "25,4", "+0/-0,1"),
        ("61.47 ±0.1%", "61.47", "±0.1%"),
        ("-43.47", "-43.47", ""),
    ],
)
def test_a_tolerance_behind_a_figure_is_parted_from_it(text: str, nominal: str, tolerance: str) -> None:
    assert nominal_and_tolerance(text) == (nominal, tolerance)


def test_power_and_irregularity_of_two_columns_are_one_indication() -> None:
    assert joined_forms("3/3", "3/-(0.5)") == "3/3(0.5)"
    assert joined_forms("3/-(0.5); λ = 633 nm", "3/2; λ = 633 nm") == "3/2(0.5); λ = 633 nm"
    assert joined_forms("3/3", "3/4") is None
    assert joined_forms("3/3; λ = 633 nm", "3/-(0.5)") is None


def test_a_text_marked_as_verbatim_stands_as_it_is_written() -> None:
    assert read_cell("coating", "verbatim: MgF2").values == {"coating": "MgF2"}
    assert read_cell("glass", "verbatim: 517642251").values == {"glass": "517642251"}


@pytest.mark.parametrize(("kind", "text", "values"), [case[:3] for case in [*PLAIN, *BY_RULE]])
def test_what_is_read_is_written_as_a_prescription_has_it(kind: str, text: str, values: dict[str, Any]) -> None:
    for name, value in read_cell(kind, text).values.items():
        field = name.removeprefix("front.").removeprefix("back.").removeprefix("tolerances.")
        if field in NOTATIONS:
            assert NOTATIONS[field].is_followed_by(value)
        if field == "coating":
            coating = Surface.model_validate({"radius_mm": None, "clear_diameter_mm": 10.0, "coating": value}).coating
            assert isinstance(coating, CoatingDemand) == isinstance(value, dict)
