"""The check as a whole: whatever prescription the contract lets in, an answer with finite figures."""

from __future__ import annotations

import json
import math
from datetime import date
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from services.prescription.domain.check import check, check_prescription
from services.rates.domain.seed import seed_rates
from shared_schemas.prescription import Prescription
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import RateMissing, Rates
from shared_schemas.traveller import Job, Refusal

SIZES = st.one_of(st.floats(0.06, 600), st.sampled_from([1e-320, 0.05, 10_000.0]))
RADII = st.one_of(st.none(), st.floats(-500, 500), st.sampled_from([1e7, -1e7, 1e-300]))
FACES = st.fixed_dictionaries(
    {"radius_mm": RADII, "clear_diameter_mm": SIZES},
    optional={
        "conic": st.floats(-1e3, 1e3) | st.sampled_from([1e308, -1e308]),
        "asphere": st.dictionaries(st.sampled_from(["4", "6", "20"]), st.floats(allow_nan=False, allow_infinity=False)),
        "form": st.sampled_from(["3/3(0.5)", "3/-(1)", "3/", "4/1'"]),
    },
)
ELEMENTS = st.fixed_dictionaries(
    {"glass": st.sampled_from(["N-BK7", "SF6", "805254", "nothing", "N-BK77"]) | st.just({"nd": 1.0, "vd": 5.0}),
     "diameter_mm": SIZES, "centre_thickness_mm": SIZES, "front": FACES, "back": FACES}
)  # fmt: skip
SURROUNDINGS = st.fixed_dictionaries(
    {},
    optional={
        "field_half_angle_deg": st.floats(0, 89.9),
        "object_distance_mm": st.floats(0.1, 1e4) | st.sampled_from([1e-300, 1e300]),
        "entrance_pupil_diameter_mm": SIZES,
        "barrel": st.fixed_dictionaries({"material": st.just("brass"), "length_mm": SIZES, "outer_diameter_mm": SIZES}),
    },
)
STOPS = st.fixed_dictionaries({"after_element": st.integers(0, 2), "distance_mm": st.floats(-50, 50), "diameter_mm": SIZES})


@st.composite
def prescriptions(draw: st.DrawFn) -> dict[str, Any]:
    elements = draw(st.lists(ELEMENTS, min_size=1, max_size=3))
    for i, element in enumerate(elements):
        element["name"] = f"L{i}"
        for face in (element["front"], element["back"]):
            face["clear_diameter_mm"] = min(face["clear_diameter_mm"], element["diameter_mm"])
            if face["radius_mm"] is not None:
                face["clear_diameter_mm"] = min(face["clear_diameter_mm"], 1.9 * abs(face["radius_mm"])) or 1.0
    spaces = [draw(st.just({"cemented": True}) | st.fixed_dictionaries({"gap_mm": st.floats(0, 100)})) for _ in elements[1:]]
    found = {"title": "any", "elements": elements, "spaces": spaces, "wavelength_nm": draw(st.floats(150, 15_000))}
    return found | {"stop": draw(st.none() | STOPS)} | draw(SURROUNDINGS)


EVERYDAY_RATES = seed_rates()
"""Not the fixture: a failing example would print all of it."""


@settings(max_examples=1000, deadline=None, suppress_health_check=list(HealthCheck))
@given(document=prescriptions())
def test_any_prescription_that_the_contract_lets_in_is_answered_with_finite_figures(document: dict[str, Any]) -> None:
    try:
        prescription = Prescription.model_validate(document)
    except ValidationError:
        return
    report = check_prescription(prescription, EVERYDAY_RATES)
    json.dumps(report.model_dump(mode="json"), allow_nan=False)
    assert all(one.figure is not None for one in report.findings if one.severity == "stop")
    assert (report.makeable == "no") == any(one.severity == "stop" for one in report.findings)


def job(prescription: dict[str, Any]) -> Job:
    request = QuoteRequest.model_validate({"prescription": prescription, "quantities": [5]})
    return Job(number="Q-1", attempt=1, request=request, rate_revision=1, quoted_on=date(2026, 11, 2))


def face(radius_mm: float) -> dict[str, Any]:
    return {"radius_mm": radius_mm, "clear_diameter_mm": 20.0}


def single(thickness_mm: float, **more: Any) -> dict[str, Any]:
    one = {
        "name": "L1",
        "glass": "N-BK7",
        "diameter_mm": 25.0,
        "centre_thickness_mm": thickness_mm,
        "front": face(50.0),
        "back": face(-50.0),
    }
    return {"title": "one", "elements": [one | more]}


def test_the_stage_refuses_with_every_stop_and_nothing_else(rates: Rates) -> None:
    answer = check(job=job(single(2.0, glass="N-BK77")), rates=rates)
    assert isinstance(answer, Refusal)
    assert answer.stage == "prescription"
    assert {reason.code for reason in answer.reasons} == {"glass-unknown", "edge-knife"}


def test_the_stage_reports_what_can_be_made_and_twice_the_same(rates: Rates) -> None:
    asked = job(single(6.0))
    assert check(job=asked, rates=rates) == check(job=asked, rates=rates)
    assert not isinstance(check(job=asked, rates=rates), Refusal)


def test_a_code_of_several_grades_of_transmission_is_the_usual_grade(rates: Rates) -> None:
    # makers' data sheets: N-BK7 and its grades of transmission share 517642.251, LASF35 (nd 2.022) alone has 022291
    report = check_prescription(Prescription.model_validate(single(6.0, glass="517642.251")), rates)
    assert (report.elements[0].glass, report.elements[0].refractive_index) == ("N-BK7", 1.5168)
    assert check_prescription(Prescription.model_validate(single(6.0, glass="022291")), rates).elements[0].glass == "LASF35"


def test_the_mass_is_volume_times_density(rates: Rates) -> None:
    one = check_prescription(Prescription.model_validate(single(6.0)), rates).elements[0]
    assert one.mass_g == pytest.approx(one.volume_mm3 * 2.51e-3)
    assert one.work_diameter_mm == 27.0


def test_a_diameter_tolerance_is_half_the_width_of_its_zone(rates: Rates) -> None:
    document = single(6.0, tolerances={"diameter_mm": [0.0, -0.02]})
    assert check_prescription(Prescription.model_validate(document), rates).elements[0].diameter_tolerance_mm == pytest.approx(0.01)
    assert check_prescription(Prescription.model_validate(single(6.0)), rates).elements[0].diameter_tolerance_mm == 0.5


def test_a_hole_in_the_allowances_is_a_fault_of_the_rates(rates: Rates) -> None:
    rows = tuple(row for row in rates.allowances if row.kind != "on_diameter" or row.diameter_over_mm > 50)
    with pytest.raises(RateMissing, match="on_diameter"):
        check_prescription(Prescription.model_validate(single(6.0)), rates.model_copy(update={"allowances": rows}))


def test_a_stop_in_front_of_the_lens_is_its_own_entrance_pupil(rates: Rates) -> None:
    document = single(6.0) | {"stop": {"after_element": 0, "distance_mm": 7.0, "diameter_mm": 9.0}}
    order = check_prescription(Prescription.model_validate(document), rates).first_order
    assert (order.entrance_pupil_position_mm, order.entrance_pupil_diameter_mm) == (-7.0, 9.0)
    assert order.f_number is not None
    assert math.isclose(order.f_number, (order.focal_length_mm or 0) / 9)


def test_a_rim_too_sharp_for_the_usual_allowance_takes_a_smaller_one_and_says_so(rates: Rates) -> None:
    # R 50 on both faces, 25 mm: sags 1.85698 at 27 mm, 1.71957 at 26 mm, derived
    report = check_prescription(Prescription.model_validate(single(3.6)), rates)
    care = next(one for one in report.findings if one.code == "allowance-small")
    assert (care.severity, care.pointer) == ("care", "/elements/0/centre_thickness_mm")
    assert "usual 2 mm on the diameter (-0.114 mm); its blank gets 1 mm, which leaves an edge of 0.161 mm" in care.message
    assert report.elements[0].work_diameter_mm == 26.0
    assert report.makeable == "with_care"


def test_an_edge_that_is_a_knife_when_finished_or_on_every_blank_is_a_stop(rates: Rates) -> None:
    for thickness_mm, words in ((3.1, "at its diameter of 25 mm"), (3.3, "even at a work diameter of 25.6 mm")):
        report = check_prescription(Prescription.model_validate(single(thickness_mm)), rates)
        stop = next(one for one in report.findings if one.code == "edge-knife")
        assert stop.severity == "stop"
        assert words in stop.message
