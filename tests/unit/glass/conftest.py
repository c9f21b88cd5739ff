"""Lenses and their check reports, small, for the tests of glass."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from services.glass.domain.buying.sharing import Grinding, cheapest_grinding
from shared_schemas.check import CheckReport, ElementCheck, FirstOrder, SurfaceCheck
from shared_schemas.prescription import Element, Prescription, Space, Surface
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job

DENSITY = {"N-BK7": 2.51, "N-SK4": 3.535, "SF2": 3.86, "LASF35": 5.41, "N-FK51A": 3.675}


def make_element(name: str = "L1", **changes: Any) -> Element:
    fields: dict[str, Any] = {
        "glass": "N-BK7",
        "diameter_mm": 25.0,
        "centre_thickness_mm": 6.0,
        "front_radius_mm": 50.0,
        "back_radius_mm": -50.0,
    } | changes
    clear = fields["diameter_mm"] * 0.9
    return Element(
        name=name,
        glass=fields["glass"],
        diameter_mm=fields["diameter_mm"],
        centre_thickness_mm=fields["centre_thickness_mm"],
        front=Surface(radius_mm=fields["front_radius_mm"], clear_diameter_mm=clear),
        back=Surface(radius_mm=fields["back_radius_mm"], clear_diameter_mm=clear),
    )


def make_check(elements: Sequence[Element]) -> CheckReport:
    """A report that says of each element what the glass stage reads: name, glass, a plain disc's volume and mass."""
    face = SurfaceCheck(
        sag_mm=0.0,
        semi_diameter_mm=1.0,
        semi_diameter_to_radius=0.0,
        aspheric=False,
        power_fringes=3.0,
        irregularity_fringes=1.0,
        imperfection_count=3,
        imperfection_grade_mm=0.16,
        coating=None,
    )
    checked = []
    for element in elements:
        named = element.glass if isinstance(element.glass, str) else None
        volume = math.pi * element.diameter_mm**2 / 4 * element.centre_thickness_mm * 0.6
        density = DENSITY.get(named) if named else None
        checked.append(
            ElementCheck(
                name=element.name,
                glass=named,
                refractive_index=1.5,
                work_diameter_mm=element.diameter_mm,
                edge_thickness_mm=2.0,
                edge_thickness_at_work_diameter_mm=2.0,
                volume_mm3=volume,
                density_g_cm3=density,
                mass_g=None if density is None else volume * density / 1000,
                diameter_to_thickness=5.0,
                centring_z=1.0,
                sag_front_mm=0.0,
                sag_back_mm=0.0,
                front=face,
                back=face,
                diameter_tolerance_mm=0.02,
                centre_thickness_tolerance_mm=0.1,
                centring_tolerance_arcmin=3.0,
            )
        )
    order = FirstOrder(
        wavelength_nm=587.5618,
        focal_length_mm=None,
        back_focus_mm=None,
        front_focus_mm=None,
        f_number=None,
        length_mm=1.0,
        entrance_pupil_diameter_mm=None,
    )
    return CheckReport(makeable="yes", first_order=order, elements=tuple(checked), findings=())


def make_job(elements: Sequence[Element], quantities: tuple[int, ...] = (5, 25, 100)) -> Job:
    prescription = Prescription(title="a lens", elements=tuple(elements), spaces=tuple(Space(gap_mm=5.0) for _ in elements[1:]))
    request = QuoteRequest(prescription=prescription, quantities=quantities)
    return Job(number="Q-1", attempt=1, request=request, rate_revision=1, quoted_on=date(2026, 11, 2))


@pytest.fixture(scope="session")
def element() -> Callable[..., Element]:
    return make_element


@pytest.fixture(scope="session")
def check_of() -> Callable[[Sequence[Element]], CheckReport]:
    return make_check


@pytest.fixture(scope="session")
def job_of() -> Callable[..., Job]:
    return make_job


@pytest.fixture(scope="session")
def ground_at(rates: Rates) -> Callable[[float], Grinding]:
    """Makes grinding at a cost of a cubic millimetre, whatever the diameter."""
    made = cheapest_grinding(grindability_hg=3, rates=rates)
    assert made is not None

    def at(cost: float) -> Grinding:
        row = made.row.model_copy(update={"infeed_mm_per_min": None, "removal_mm3_per_min": made.minute_cost / cost})
        return replace(made, row=row)

    return at
