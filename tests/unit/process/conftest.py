"""Lenses with their check reports and blank plans, small, for the tests of process."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from services.process.domain.element_work import ElementWork, elements_of
from shared_schemas.blanks import Blank, BlankPlan, MaterialModel, MaterialStep
from shared_schemas.check import CheckReport, ElementCheck, FirstOrder, SurfaceCheck
from shared_schemas.operations import Route
from shared_schemas.prescription import Barrel, CoatingDemand, Element, Prescription, Space, Surface
from shared_schemas.quote_request import QuoteRequest
from shared_schemas.rates import Rates
from shared_schemas.traveller import Job


@dataclass(frozen=True)
class Piece:
    """One element to be: an everyday biconvex crown unless told otherwise."""

    name: str = "L1"
    glass: str = "N-BK7"
    diameter_mm: float = 25.0
    centre_thickness_mm: float = 6.0
    radii_mm: tuple[float | None, float | None] = (50.0, -50.0)
    irregularity: tuple[float, float] = (1.0, 1.0)
    power: float = 5.0
    grade_mm: float = 0.25
    centring_arcmin: float = 5.0
    diameter_tolerance_mm: float = 0.05
    thickness_tolerance_mm: float = 0.1
    coatings: tuple[str | CoatingDemand | None, str | CoatingDemand | None] = ("ar-single", "ar-single")
    aspheric: bool = False
    form: str = "slab"
    refractive_index: float = 1.5168


@dataclass(frozen=True)
class Made:
    """Everything that the process stage reads."""

    job: Job
    check: CheckReport
    blanks: BlankPlan
    pieces: tuple[Piece, ...] = field(default=())

    def works(self, rates: Rates) -> tuple[ElementWork, ...]:
        return elements_of(self.job.request.prescription, self.check, self.blanks, rates)


def sag(radius_mm: float | None, y_mm: float) -> float:
    if radius_mm is None:
        return 0.0
    return radius_mm - math.copysign(math.sqrt(radius_mm**2 - y_mm**2), radius_mm)


def cap_mm3(height_mm: float, radius_mm: float | None) -> float:
    return (
        0.0 if radius_mm is None else math.copysign(math.pi * height_mm**2 * (3 * abs(radius_mm) - abs(height_mm)) / 3, height_mm)
    )


def surface_check(piece: Piece, side: int) -> SurfaceCheck:
    radius, y = piece.radii_mm[side], piece.diameter_mm / 2
    return SurfaceCheck(
        sag_mm=sag(radius, y), semi_diameter_mm=y, semi_diameter_to_radius=0.0 if radius is None else abs(y / radius),
        aspheric=piece.aspheric, power_fringes=piece.power, irregularity_fringes=piece.irregularity[side], imperfection_count=3,
        imperfection_grade_mm=piece.grade_mm, coating=piece.coatings[side],
    )  # fmt: skip


def element_check(piece: Piece) -> ElementCheck:
    y = piece.diameter_mm / 2
    front, back = (sag(radius, y) for radius in piece.radii_mm)
    edge = piece.centre_thickness_mm - front + back
    volume = math.pi * y**2 * edge + cap_mm3(front, piece.radii_mm[0]) + cap_mm3(-back, piece.radii_mm[1])
    slopes = [0.0 if radius is None else piece.diameter_mm / radius for radius in piece.radii_mm]
    return ElementCheck(
        name=piece.name, glass=piece.glass, refractive_index=piece.refractive_index, work_diameter_mm=piece.diameter_mm + 2,
        edge_thickness_mm=edge, edge_thickness_at_work_diameter_mm=edge, volume_mm3=volume, density_g_cm3=2.51,
        mass_g=volume * 2.51e-3, diameter_to_thickness=piece.diameter_mm / piece.centre_thickness_mm,
        centring_z=abs(slopes[0] - slopes[1]), sag_front_mm=front, sag_back_mm=back, front=surface_check(piece, 0),
        back=surface_check(piece, 1), diameter_tolerance_mm=piece.diameter_tolerance_mm,
        centre_thickness_tolerance_mm=piece.thickness_tolerance_mm, centring_tolerance_arcmin=piece.centring_arcmin,
    )  # fmt: skip


def blank_of(piece: Piece) -> Blank:
    wide = piece.diameter_mm + 2
    first, second = (sag(radius, wide / 2) for radius in piece.radii_mm)
    envelope = max(piece.centre_thickness_mm, piece.centre_thickness_mm + second) - min(0.0, first)
    volume = math.pi / 4 * wide**2 * (envelope + 0.6)
    return Blank(
        element=piece.name, glass=piece.glass, form=piece.form, stock="a slab", diameter_mm=wide, thickness_mm=envelope + 0.6,  # type: ignore[arg-type]
        envelope_mm=envelope, volume_mm3=volume, mass_g=volume * 2.51e-3, finished_mass_g=1.0, discs_per_plate=16, plates_per_slab=4,
        blanks_per_piece=64, layout="square", utilisation=0.6, basis=(),
    )  # fmt: skip


def make(*pieces: Piece, cemented: Sequence[int] = (), barrel: Barrel | None = None) -> Made:
    """A lens of these pieces; `cemented` numbers the spaces that are cement."""

    def surface(piece: Piece, side: int) -> Surface:
        """A face as drawn; a strong oblate ellipsoid where it is to be aspheric."""
        return Surface(
            radius_mm=piece.radii_mm[side], clear_diameter_mm=0.9 * piece.diameter_mm, coating=piece.coatings[side],
            conic=2.0 if piece.aspheric else 0.0,
        )  # fmt: skip

    elements = tuple(
        Element(
            name=piece.name, glass=piece.glass, diameter_mm=piece.diameter_mm, centre_thickness_mm=piece.centre_thickness_mm,
            front=surface(piece, 0), back=surface(piece, 1),
        )
        for piece in pieces
    )  # fmt: skip
    spaces = tuple(Space(cemented=True) if number in cemented else Space(gap_mm=1.0) for number in range(len(pieces) - 1))
    prescription = Prescription(title="a lens", elements=elements, spaces=spaces, barrel=barrel)
    first_order = FirstOrder(
        wavelength_nm=587.5618, focal_length_mm=50.0, back_focus_mm=45.0, front_focus_mm=None, f_number=None, length_mm=6.0,
        entrance_pupil_diameter_mm=None,
    )  # fmt: skip
    step = MaterialStep(blanks=64, cost=Decimal(80), pieces=1, bought_mass_g=2570.0, lead_days=10, form="slab", stock="a slab")
    materials = tuple(
        MaterialModel(name=f"glass of {piece.name}", glass=piece.glass, members=(piece.name,), steps=(step,), basis=())
        for piece in pieces
    )
    return Made(
        job=Job(
            number="Q-1", attempt=1, request=QuoteRequest(prescription=prescription, quantities=(5, 25)), rate_revision=1,
            quoted_on=date(2026, 11, 25),
        ),
        check=CheckReport(
            makeable="yes", first_order=first_order, elements=tuple(element_check(piece) for piece in pieces), findings=()
        ),
        blanks=BlankPlan(currency="USD", blanks=tuple(blank_of(piece) for piece in pieces), materials=materials),
        pieces=pieces,
    )  # fmt: skip


def make_piece(**changes: Any) -> Piece:
    return Piece(**changes)


@pytest.fixture(scope="session")
def piece() -> Callable[..., Piece]:
    """Makes an element: an everyday biconvex crown, but for what is given."""
    return make_piece


@pytest.fixture(scope="session")
def lens() -> Callable[..., Made]:
    """Makes a lens of pieces, with its check report and blank plan."""
    return make


@pytest.fixture(scope="session")
def work(rates: Rates) -> Callable[..., ElementWork]:
    """Makes one element as the shop sees it."""

    def build(**changes: Any) -> ElementWork:
        return make(Piece(**changes)).works(rates)[0]

    return build


def taken(route: Route, **wanted: str) -> Route:
    """A route of a plan as it is done: of each choice the option that is wanted, or that which the plan names first."""
    options: dict[str, list[str]] = {}
    for operation in route.operations:
        for way in operation.ways:
            options.setdefault(way.choice, []).append(way.option)
    made = {choice: wanted[choice] if wanted.get(choice) in named else named[0] for choice, named in options.items()}
    done = tuple(one for one in route.operations if all(made[way.choice] == way.option for way in one.ways))
    return route.model_copy(update={"operations": done})
