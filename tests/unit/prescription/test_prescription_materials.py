"""Materials: which glass is meant, what may be meant instead, what stands in for it, and what makes it dear or delicate."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from services.optics.dispersion import glass_index, index_from_abbe, range_of
from services.optics.errors import WavelengthOutsideRange
from services.prescription.domain.equivalents import equivalent_findings, lead_free, of_other_makers
from services.prescription.domain.materials import material_of, of_code, radioactive_in
from shared_schemas.check import CheckReport, Finding
from shared_schemas.glass_reference import GlassNotFound, distance, find_glass, is_same_glass
from shared_schemas.prescription import IndexGlass
from shared_schemas.published_glasses import PublishedGlass, published_glass
from shared_schemas.rates import Rates

Report = Callable[..., CheckReport]


def said(rates: Rates, glass: str) -> dict[str, Finding]:
    return {one.code: one for one in material_of(glass=glass, where="/elements/0/glass", rates=rates).findings}


@pytest.mark.parametrize(
    ("reference", "name"),
    [
        ("N-BK7", "N-BK7"), ("n bk7", "N-BK7"), ("nbk7", "N-BK7"), ("SCHOTT N-SF5", "N-SF5"), ("N-SF5 (Schott)", "N-SF5"), ("S-BSL7", "S-BSL 7"), (" F2 ", "F2"),
        ("517642", "N-BK7"), ("517642.251", "N-BK7"), ("517642251", "N-BK7"), ("517642/251", "N-BK7"), ("516641.252", "S-BSL 7"),
        ("805254.337", "N-SF6"), ("805254.518", "SF6"), ("620364.360", "F2"), ("620364.265", "N-F2"), ("003283", "S-LAH79"),
    ],
)  # fmt: skip
def test_a_name_or_a_code_means_one_glass(rates: Rates, reference: str, name: str) -> None:
    assert find_glass(reference, rates).row.name == name


def test_every_glass_is_found_by_its_name_in_any_dress(rates: Rates) -> None:
    for row in rates.glasses:
        for dressed in (row.name, row.name.lower(), row.name.replace("-", " "), row.name.replace(" ", "")):
            assert find_glass(dressed, rates).row is row


def looked_up(reference: str, rates: Rates) -> tuple[str | None, tuple[str, ...], bool]:
    try:
        return find_glass(reference, rates).row.name, (), False
    except GlassNotFound as fault:
        return None, fault.candidates, fault.ambiguous


def test_every_code_means_a_stocked_glass_that_has_it(rates: Rates) -> None:
    for row in (row for row in rates.glasses if row.code):
        match = find_glass(row.code, rates)
        assert {rates.glass(one).code[:6] for one in (match.row.name, *match.others)} == {row.code[:6]}
        assert (match.how == "shared code") == bool(match.others)


def price_of_a_litre(name: str, rates: Rates) -> float:
    cheapest = min(form.prices[0].price_per_kg for form in rates.stock_forms if form.glass == name)
    return float(cheapest) * (rates.glass(name).density_g_cm3 or 0.0)


@pytest.mark.parametrize(
    ("code", "names"),
    [
        ("805254", {"SF6", "N-SF6", "S-TIH 6"}), ("652585", {"N-LAK7", "S-LAL 7"}), ("620364", {"F2", "N-F2"}),
        ("847238", {"SF57", "N-SF57", "S-TIH53"}),
    ],
)  # fmt: skip
def test_of_glasses_with_one_code_the_cheapest_in_stock_is_taken_and_the_others_are_told(
    rates: Rates, code: str, names: set[str]
) -> None:
    match = find_glass(code, rates)
    assert names <= {match.row.name, *match.others}
    assert price_of_a_litre(match.row.name, rates) == min(price_of_a_litre(name, rates) for name in (match.row.name, *match.others))
    care = said(rates, code)["glass-code-shared"]
    assert care.severity == "care"
    assert all(name in f"{care.message} {care.remedy}" for name in names)


def test_a_shared_code_means_what_is_stocked_and_is_refused_where_nothing_is(rates: Rates) -> None:
    only = rates.model_copy(update={"stock_forms": tuple(form for form in rates.stock_forms if form.glass == "SF6")})
    assert find_glass("805254", only).row.name == "SF6"
    none = rates.model_copy(update={"stock_forms": tuple(form for form in rates.stock_forms if form.glass == "N-BK7")})
    with pytest.raises(GlassNotFound, match="none of them stocked") as caught:
        find_glass("805254", none)
    assert caught.value.ambiguous
    assert said(none, "805254")["glass-ambiguous"].severity == "stop"
    assert said(none, "F2")["glass-not-stocked"].severity == "care"
    assert "glass-not-stocked" not in said(none, "N-BK7")


def test_the_older_rounding_of_a_code_is_a_note_and_a_code_of_nothing_stays_unknown(rates: Rates) -> None:
    match = find_glass("516642", rates)
    assert (match.row.name, match.how) == ("N-BK7", "older code")
    note = said(rates, "516642")["glass-code-older"]
    assert (note.severity, note.limit) == ("note", "N-BK7")
    assert "517642" in note.message
    with pytest.raises(GlassNotFound):
        find_glass("515642", rates)
    with pytest.raises(GlassNotFound):
        find_glass("999111", rates)


@pytest.mark.parametrize(
    ("reference", "meant"),
    [
        ("BK7", "N-BK7"), ("Schott BK7", "N-BK7"), ("H-K9L", "N-BK7"), ("K9", "N-BK7"), ("HOYA BSC7", "N-BK7"), ("SK16", "N-SK16"),
        ("SK4", "N-SK4"), ("LAKN7", "N-LAK7"), ("LASF9", "N-LASF9"), ("FK51", "N-FK51A"), ("SK15", "S-BSM15"), ("H-ZF52A", "N-SF57"),
        ("E-FD2", "S-TIM22"),
    ],
)  # fmt: skip
def test_another_makers_name_means_the_stocked_glass_of_its_published_index(rates: Rates, reference: str, meant: str) -> None:
    match = find_glass(reference, rates)
    assert match.published is not None
    assert meant in (match.row.name, *match.others)
    assert is_same_glass(match.published, match.row)
    note = said(rates, reference)["glass-other-name"]
    assert note.severity == "note"
    assert match.row.name in note.message


@pytest.mark.parametrize(
    ("reference", "offered"),
    [("BAF4", "N-BAF4"), ("SFL57", "N-SF57"), ("LAFN21", "N-LAF21"), ("B270", "N-K5"), ("BAF9", "S-BAM12")],
)
def test_a_glass_that_differs_in_the_fourth_decimal_or_in_dispersion_is_offered_and_not_taken(
    rates: Rates, reference: str, offered: str
) -> None:
    material = material_of(glass=reference, where="", rates=rates)
    published = published_glass(reference)
    assert published is not None
    assert (material.row, material.nd, material.vd) == (None, published.nd, published.vd)
    (stop,) = material.findings
    assert (stop.code, stop.severity) == ("glass-unknown", "stop")
    assert f"{offered} (nd {rates.glass(offered).nd - published.nd:+.5f}" in str(stop.remedy)


def test_glasses_pass_for_one_another_below_one_in_the_fourth_decimal_and_three_tenths_of_a_per_cent(rates: Rates) -> None:
    row = rates.glass("N-BK7")
    assert is_same_glass(PublishedGlass("", row.nd + 0.00009, row.vd * 1.0029), row)
    assert not is_same_glass(PublishedGlass("", row.nd - 0.00011, row.vd), row)
    assert not is_same_glass(PublishedGlass("", row.nd, row.vd / 1.0032), row)


@pytest.mark.parametrize(
    ("reference", "meant"),
    [
        ("BSL7", "S-BSL 7"), ("BaK-4A", "N-BAK4"), ("FK51A", "N-FK51A"), ("N-FK51", "N-FK51A"), ("N-LASF46", "N-LASF46A"),
        ("N-SK4A", "N-SK4"), ("N-SFl1", "N-SF11"), ("N-BK77", "N-BK7"), ("NBKT", "N-BK7"), ("N-SK l6", "N-SK16"), ("Ohara BK7", "N-BK7"),
    ],
)  # fmt: skip
def test_a_near_name_is_asked_back_for(rates: Rates, reference: str, meant: str) -> None:
    with pytest.raises(GlassNotFound, match="did you mean") as caught:
        find_glass(reference, rates)
    assert meant in caught.value.candidates
    assert len(caught.value.candidates) <= 3
    unknown = said(rates, reference)["glass-unknown"]
    assert meant in str(unknown.remedy)


@settings(max_examples=60, deadline=None)
@given(reference=st.text(max_size=60))
def test_any_text_is_a_glass_or_an_answer_why_not(rates: Rates, reference: str) -> None:
    name, candidates, ambiguous = looked_up(reference, rates)
    assert (name is None) or not candidates
    assert len(candidates) <= 3 or ambiguous


def test_an_unknown_glass_without_a_near_name_has_no_index(rates: Rates) -> None:
    one = material_of(glass="zirconia", where="", rates=rates)
    assert (one.row, one.nd, one.vd) == (None, None, None)
    assert one.findings[0].limit == f"one of the {len(rates.glasses)} glasses of the rates"


@pytest.mark.parametrize(("digits", "nd", "vd"), [("517642", 1.517, 64.2), ("003283", 2.003, 28.3), ("999001", 1.999, 0.1)])
def test_a_code_gives_index_and_abbe_number_and_wraps_at_two(digits: str, nd: float, vd: float) -> None:
    assert of_code(digits) == pytest.approx((nd, vd))


def test_the_equivalent_of_the_commonest_crown_is_told_with_its_distance(rates: Rates) -> None:
    best = of_other_makers(row=rates.glass("N-BK7"), rates=rates)[0]
    assert best.row.name == "S-BSL 7"
    assert best.nd_difference == pytest.approx(1.51633 - 1.5168)
    assert best.vd_difference == pytest.approx(64.14 - 64.17)
    # (0.47^2 + (0.03 / 0.51336)^2)^(1/2), computed independently
    assert best.distance == pytest.approx(0.4736, abs=1e-4)


def test_equivalents_come_nearest_first_and_never_of_the_same_maker(rates: Rates) -> None:
    for row in rates.glasses[::10]:
        found = of_other_makers(row=row, rates=rates, most=5)
        assert [one.distance for one in found] == sorted(one.distance for one in found)
        assert all(one.row.maker != row.maker for one in found)


@given(nd=st.floats(1.4, 2.1), vd=st.floats(15, 100))
def test_a_glass_lies_at_no_distance_from_itself(nd: float, vd: float) -> None:
    assert distance(from_nd=nd, from_vd=vd, to_nd=nd, to_vd=vd) == 0
    assert distance(from_nd=nd, from_vd=vd, to_nd=nd + 0.001, to_vd=vd) == pytest.approx(1)
    assert distance(from_nd=nd, from_vd=vd, to_nd=nd, to_vd=vd * 1.008) == pytest.approx(1)


def test_a_cheaper_equivalent_is_a_note_and_a_dearer_one_is_not(rates: Rates) -> None:
    assert "glass-equivalent" not in said(rates, "N-BK7")
    note = said(rates, "S-BSL 7")["glass-equivalent"]
    assert note.severity == "note"
    assert "N-BK7 of SCHOTT" in note.message
    assert note.figure == pytest.approx(0.4736, abs=1e-3)
    assert note.limit == 1.0


def test_a_glass_without_a_stock_row_gets_the_equivalent_that_has_one(rates: Rates) -> None:
    bare = rates.model_copy(update={"stock_forms": tuple(row for row in rates.stock_forms if row.glass != "N-BK7")})
    note = next(iter(equivalent_findings(row=rates.glass("N-BK7"), where="", rates=bare)))
    assert note.message.startswith("N-BK7 of SCHOTT has no row in stock_forms, S-BSL 7 ")
    none = rates.model_copy(update={"stock_forms": ()})
    assert list(equivalent_findings(row=rates.glass("N-BK7"), where="", rates=none)) == []


def test_lead_is_told_with_the_nearest_glass_without_it(rates: Rates) -> None:
    for row in rates.glasses:
        assert ("glass-lead" in said(rates, row.name)) == row.lead
    other = lead_free(row=rates.glass("SF6"), rates=rates)
    assert other is not None
    assert not other.row.lead
    assert other.row.name in str(said(rates, "SF6")["glass-lead"].remedy)
    assert "5.18 g/cm3" in said(rates, "SF6")["glass-lead"].message


@pytest.mark.parametrize(
    ("code", "glass", "figure", "limit"),
    [  # figures: makers' data sheets of 2018
        ("glass-soft", "SF57", 350.0, 400.0), ("glass-stains", "N-SK16", 4.0, 3.0), ("glass-expands", "N-FK51A", 12.74, 10.0),
    ],
)  # fmt: skip
def test_what_makes_a_glass_delicate_is_told_in_figures(rates: Rates, code: str, glass: str, figure: float, limit: float) -> None:
    finding = said(rates, glass)[code]
    assert (finding.severity, finding.figure, finding.limit) == ("care", figure, limit)
    assert f"{figure:g}" in finding.message
    assert code not in said(rates, "N-BK7")


@pytest.mark.parametrize(
    "text",
    ["thoriated glass", "Thorium", "ThO2 crown", "coating of ThF4", "THORIATED", "thoria", "radioactive", "radioaktives Glas", "uranium glass",
     "do not polish the thorium side", "lens No. 3 is thoriated", "thorium content: 12 %", "thorium: 0.5 %", "not new, thoriated"],
)  # fmt: skip
def test_radioactive_material_is_seen(text: str) -> None:
    assert radioactive_in(text) is not None


@pytest.mark.parametrize(
    "text",
    ["thorium-free", "thorium free", "ThF4-free", "no thorium", "non-thoriated", "must not contain any thorium", "without traces of thorium",
     "no lead, arsenic or thorium", "free from thorium", "thorium dioxide free", "thorium: none", "thorough", "Author IA", "theTh2"],
)  # fmt: skip
def test_a_denial_is_not_taken_for_it(text: str) -> None:
    assert radioactive_in(text) is None


def test_a_thoriated_glass_or_coating_is_a_stop_that_defers_to_local_law(report: Report) -> None:
    for place, change in (
        ("/elements/0/glass", lambda lens: lens["elements"][0].update(glass="thoriated flint")),
        ("/elements/0/back/coating", lambda lens: lens["elements"][0]["back"].update(coating="ThF4 AR")),
        ("/title", lambda lens: lens.update(title="re-work of a thorium lens")),
    ):
        found = next(one for one in report(change).findings if one.code == "glass-radioactive")
        assert (found.severity, found.pointer) == ("stop", place)
        assert "local law" in found.message
        assert "10 CFR 40.13" in found.source


def test_a_glass_called_thorium_free_is_looked_up_like_any_other(report: Report) -> None:
    def change(lens: dict[str, Any]) -> None:
        lens["elements"][0]["glass"] = "thorium-free lanthanum crown"

    codes = {one.code for one in report(change).findings}
    assert "glass-radioactive" not in codes
    assert "glass-unknown" in codes


def test_an_index_is_given_inside_the_range_and_refused_outside(rates: Rates) -> None:
    row = rates.glass("N-BK7")
    assert glass_index(row=row, wavelength_nm=365.0) > glass_index(row=row, wavelength_nm=2325.42)
    for wavelength_nm in (364.9, 2325.5):
        with pytest.raises(WavelengthOutsideRange, match=r"N-BK7 is known from 365 to 2325\.42 nm"):
            glass_index(row=row, wavelength_nm=wavelength_nm)


def test_every_glass_disperses_normally_over_its_whole_range(rates: Rates) -> None:
    for row in rates.glasses:
        shortest, longest = range_of(row)
        at = [shortest + (longest - shortest) * i / 40 for i in range(41)]
        indices = [glass_index(row=row, wavelength_nm=wavelength_nm) for wavelength_nm in at]
        assert indices == sorted(indices, reverse=True), row.name


def test_a_formula_with_a_pole_in_the_range_is_good_from_the_pole_on_only(rates: Rates) -> None:
    broken = rates.glass("N-BK7").model_copy(update={"sellmeier_c2_um2": 0.25})  # a pole at 500 nm
    assert range_of(broken)[0] > 500
    for wavelength_nm in (400.0, 500.0):
        with pytest.raises(WavelengthOutsideRange):
            glass_index(row=broken, wavelength_nm=wavelength_nm)


@given(nd=st.floats(1.4, 2.1), vd=st.floats(15, 100))
def test_the_estimate_from_the_abbe_number_gives_the_abbe_number_back(nd: float, vd: float) -> None:
    blue, red = (index_from_abbe(name="x", nd=nd, vd=vd, wavelength_nm=line) for line in (486.1327, 656.2725))
    assert (nd - 1) / (blue - red) == pytest.approx(vd)


def test_a_glass_by_index_is_kept_as_given(rates: Rates) -> None:
    one = material_of(glass=IndexGlass(nd=1.6, vd=50.0), where="", rates=rates)
    assert (one.row, one.nd, one.vd, one.findings[0].code) == (None, 1.6, 50.0, "glass-by-index")


def test_an_index_as_high_as_germanium_is_checked_and_one_above_five_is_no_material(report: Report) -> None:
    # 4.003 at 10.6 um: from memory
    checked = report(lambda lens: lens["elements"][0].update(glass={"nd": 4.003, "vd": 100.0}))
    assert checked.elements[0].refractive_index == 4.003
    with pytest.raises(ValidationError):
        IndexGlass(nd=5.001, vd=100.0)
