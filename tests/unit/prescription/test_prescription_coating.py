"""A coating asked for by what it is to do, on its way through the check."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from shared_schemas.check import CheckReport
from shared_schemas.prescription import CoatingDemand

Report = Callable[..., CheckReport]

DEMAND = {"reflectance_max_share": 0.005, "band_nm": [450.0, 650.0], "angle_deg": 10.0}


def front(coating: Any) -> Callable[[dict[str, Any]], Any]:
    return lambda lens: lens["elements"][0]["front"].update(coating=coating)


def test_a_demand_is_carried_on_as_it_is_asked(report: Report) -> None:
    found = report(front(DEMAND))
    assert found.makeable == "yes"
    assert found.elements[0].front.coating == CoatingDemand.model_validate(DEMAND)
    assert CheckReport.model_validate_json(found.model_dump_json()) == found


def test_a_demand_on_a_cemented_face_is_told_in_words(report: Report) -> None:
    found = report(
        lambda lens: lens.update(spaces=[{"cemented": True}]),
        lambda lens: lens["elements"][1]["front"].update(radius_mm=-60.0, coating=DEMAND),
    )
    (care,) = [one for one in found.findings if one.code == "cement-coated"]
    assert care.pointer == "/elements/1/front/coating"
    assert care.figure == "R <= 0.5 % 450 to 650 nm, 10 deg"


def test_a_named_coating_is_held_against_the_wavelength_of_the_lens_too(report: Report) -> None:
    found = report(front("ar-single"), lambda lens: lens.update(wavelength_nm=1064.0))
    (care,) = [one for one in found.findings if (one.code, one.pointer) == ("coating-off-wavelength", "/elements/0/front/coating")]
    assert (care.figure, care.limit) == (1064.0, "450 to 650 nm")


def test_the_coating_of_the_good_lens_covers_its_wavelength(report: Report) -> None:
    assert report(front("ar-single")).findings == ()
