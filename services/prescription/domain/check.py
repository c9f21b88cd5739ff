"""The check: every finding of an estimator, the first order of the lens and the figures of every element in one report."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

from services.optics.body import Body
from services.optics.seats import bodies_of
from services.optics.surface import lens_as_worked
from services.optics.train import focal_lengths_per_radius, train_of
from services.prescription.domain.barrel_fit import barrel_findings
from services.prescription.domain.basis import with_basis as element_with_basis
from services.prescription.domain.basis_of_lens import (
    elements_with_effects,
    first_order_with_basis,
    image_with_basis,
    space_with_basis,
)
from services.prescription.domain.demands import ElementDemand, assembly_grade_mm, demands_of, lens_indications
from services.prescription.domain.element import element_check, element_findings
from services.prescription.domain.focus import images_and_findings
from services.prescription.domain.materials import Indices, Material, indices_at, material_of, radioactive_findings
from services.prescription.domain.neighbours import seat_findings, spaces_between
from services.prescription.domain.tolerance_size import tolerance_findings
from services.prescription.domain.whole_lens import first_order_of
from services.shop.allowances import DiameterAllowance, diameter_allowance, largest_diameter_mm, work_diameter_mm
from shared_schemas.check import CheckReport, ElementCheck, Finding, FirstOrder, ImageSpot, Makeable, SpaceCheck
from shared_schemas.finding_kinds import finding
from shared_schemas.prescription import CoatingDemand, Element, Prescription
from shared_schemas.rates import AllowanceRow, CoatingRow, Rates
from shared_schemas.traveller import Job, Refusal

SMALLEST_MM = 0.05
"""No diameter, thickness or radius below this is held and worked singly (common practice)."""

DEMAND_EXAMPLE = "such as R <= 0.5 % 450 to 650 nm, or of a mirror R >= 85 % 400 to 700 nm"

ORDER = {"stop": 0, "care": 1, "note": 2}


def check(*, job: Job, rates: Rates) -> CheckReport | Refusal:
    """The report of a job's prescription, or a refusal with every stop. Raises `RateMissing`."""
    report = check_prescription(job.request.prescription, rates, with_basis=True)
    stops = tuple(finding for finding in report.findings if finding.severity == "stop")
    return Refusal(stage="prescription", reasons=stops) if stops else report


def check_prescription(prescription: Prescription, rates: Rates, *, with_basis: bool = False) -> CheckReport:
    """The report of a prescription, also of one that cannot be made; on asking with what explains its figures. Raises `RateMissing`.

    An element whose glass says nothing of its index is left out of `elements`; so is everything where a size is too small
    to be anything.
    """
    tiny = tuple(_unmakeable_sizes(prescription))
    if tiny:
        length = sum(element.centre_thickness_mm for element in prescription.elements)
        length += sum(space.gap_mm or 0.0 for space in prescription.spaces)
        return _report(_no_order(prescription.wavelength_nm, length), (), (), tiny)
    prescription, rates = lens_as_worked(prescription), rates.in_order
    materials = _materials(prescription, rates)
    indices = indices_at(prescription=prescription, materials=materials)
    bodies = bodies_of(prescription)
    parts = [_part(i, element, bodies[i], rates) for i, element in enumerate(prescription.elements)]
    order, of_lens = first_order_of(prescription=prescription, indices=indices)
    spaces, of_spaces = spaces_between(prescription=prescription, bodies=bodies, materials=materials)
    images, of_focus = _focus(prescription, indices, order)
    findings = (
        *radioactive_findings(prescription),
        *(finding for material in materials for finding in material.findings),
        *indices.findings,
        *(finding for part in parts for finding in part.findings),
        *_coatings(prescription, rates),
        *seat_findings(prescription=prescription, bodies=bodies),
        *of_spaces,
        *barrel_findings(prescription=prescription, bodies=bodies),
        *of_lens,
        *lens_indications(prescription),
        *of_focus,
    )
    report = _report(order, _elements(prescription, parts, materials, indices, order), spaces, findings)
    report = report.model_copy(update={"images": images, "assembly_imperfection_grade_mm": assembly_grade_mm(prescription)})
    return _explained(report, prescription, parts, materials, indices) if with_basis and None not in indices.values else report


def _explained(
    report: CheckReport, prescription: Prescription, parts: Sequence[_Part], materials: Sequence[Material], indices: Indices
) -> CheckReport:
    """The report with what explains its figures; every element is in it."""
    train = train_of(prescription, [index or 1.0 for index in indices.values])
    elements = [
        element_with_basis(
            checked, place=i, element=prescription.elements[i], body=parts[i].body, material=materials[i],
            wavelength_nm=indices.wavelength_nm, allowance=parts[i].allowance,
        )
        for i, checked in enumerate(report.elements)
    ]  # fmt: skip
    bodies = [part.body for part in parts]
    return report.model_copy(
        update={
            "first_order": first_order_with_basis(report.first_order, prescription=prescription, train=train),
            "elements": elements_with_effects(elements, train=train, focal_length=report.first_order.focal_length_mm),
            "spaces": tuple(
                space_with_basis(space, place=i, prescription=prescription, bodies=bodies, materials=materials)
                for i, space in enumerate(report.spaces)
            ),
            "images": tuple(
                image_with_basis(image, place=i, paraxial_focus_mm=_paraxial_focus_mm(prescription, report.first_order))
                for i, image in enumerate(report.images)
            ),
        }
    )


def _focus(prescription: Prescription, indices: Indices, order: FirstOrder) -> tuple[tuple[ImageSpot, ...], tuple[Finding, ...]]:
    """What exact rays say of the lens; nothing where the index of a glass is not known."""
    known = [index for index in indices.values if index is not None]
    if len(known) < len(indices.values):
        return (), ()
    return images_and_findings(prescription, known, paraxial_focus_mm=_paraxial_focus_mm(prescription, order))


def _paraxial_focus_mm(prescription: Prescription, order: FirstOrder) -> float | None:
    return order.back_focus_mm if prescription.object_distance_mm is None else order.image_distance_mm


@dataclass(frozen=True)
class _Part:
    """What is worked out of one element before its glass matters."""

    body: Body
    demand: ElementDemand
    work_diameter_mm: float
    allowance: AllowanceRow | None
    findings: tuple[Finding, ...]


def _part(i: int, element: Element, shape: Body, rates: Rates) -> _Part:
    pointer = f"/elements/{i}"
    demand, of_demand = demands_of(element=element, pointer=pointer)
    allowance, of_size = _allowance(shape, element, pointer, rates)
    row = allowance.taken if allowance is not None else None
    work_mm = work_diameter_mm(diameter_mm=element.diameter_mm, allowance_mm=row.allowance_mm) if row else element.diameter_mm
    of_shape = element_findings(element=element, body=shape, demand=demand, allowance=allowance, pointer=pointer)
    of_tolerances = tolerance_findings(element=element, pointer=pointer)
    return _Part(shape, demand, work_mm, row, (*of_size, *of_shape, *of_demand, *of_tolerances))


def _allowance(shape: Body, element: Element, pointer: str, rates: Rates) -> tuple[DiameterAllowance | None, tuple[Finding, ...]]:
    """What is left on the diameter until the lens is centred; a part beyond the largest allowance is a stop.

    Raises `RateMissing` where the table has a hole.
    """
    size, largest = element.diameter_mm, largest_diameter_mm(kind="on_diameter", rates=rates)
    if not 0 < largest < size:
        return diameter_allowance(body=shape, form=None, rates=rates), ()
    message = f"{element.name} has a diameter of {size:g} mm; the shop works diameters up to {largest:g} mm."
    where = f"{pointer}/diameter_mm"
    remedy = f"a diameter of at most {largest:g} mm"
    return None, (finding("size-beyond-shop", where, message, figure=size, limit=largest, unit="mm", remedy=remedy),)


def _unmakeable_sizes(prescription: Prescription) -> Iterator[Finding]:
    for i, element in enumerate(prescription.elements):
        sizes = [(f"/elements/{i}/{name}", getattr(element, name)) for name in ("diameter_mm", "centre_thickness_mm")]
        for face, surface in (("front", element.front), ("back", element.back)):
            sizes.append((f"/elements/{i}/{face}/clear_diameter_mm", surface.clear_diameter_mm))
            if surface.radius_mm is not None:
                sizes.append((f"/elements/{i}/{face}/radius_mm", abs(surface.radius_mm)))
        for where, size in sizes:
            if size < SMALLEST_MM:
                message = f"{element.name} measures {size:g} mm, too little to be held and worked."
                repair = f"at least {SMALLEST_MM:g} mm; look for a slipped decimal point"
                yield finding("size-unmakeable", where, message, figure=size, limit=SMALLEST_MM, unit="mm", remedy=repair)


def _materials(prescription: Prescription, rates: Rates) -> list[Material]:
    return [
        material_of(glass=element.glass, where=f"/elements/{i}/glass", rates=rates)
        for i, element in enumerate(prescription.elements)
    ]


def _coatings(prescription: Prescription, rates: Rates) -> Iterator[Finding]:
    known = {row.name: row for row in rates.coatings}
    for i, element in enumerate(prescription.elements):
        for face, surface in (("front", element.front), ("back", element.back)):
            if isinstance(surface.coating, str) and surface.coating not in known:
                names = ", ".join(list(known)[:12])
                yield finding(
                    "coating-unknown", f"/elements/{i}/{face}/coating", f"The rates have no coating called {surface.coating}.",
                    figure=surface.coating, limit=names or "none", remedy=_coating_instead(surface.coating, known),
                )  # fmt: skip
            elif surface.coating is not None:
                band = surface.coating.band_nm if isinstance(surface.coating, CoatingDemand) else _band_of(known[surface.coating])
                yield from _off_wavelength(
                    band, prescription.wavelength_nm, f"The {face} of {element.name}", f"/elements/{i}/{face}/coating"
                )


def _coating_instead(asked: str, known: Mapping[str, CoatingRow]) -> str:
    """What may have been meant by a coating that the rates do not have; the names most like it first."""
    likeliest = get_close_matches(asked.lower(), list(known), n=3, cutoff=0.5) or list(known)[:12]
    return (
        f"one of {', '.join(likeliest)}, a reflectance and band in place of a name ({DEMAND_EXAMPLE}), or null for an uncoated face"
    )


def _band_of(row: CoatingRow) -> tuple[float, float] | None:
    return None if row.band_from_nm is None or row.band_to_nm is None else (row.band_from_nm, row.band_to_nm)


def _off_wavelength(band_nm: tuple[float, float] | None, wavelength_nm: float, whose: str, where: str) -> Iterator[Finding]:
    if band_nm is not None and not band_nm[0] <= wavelength_nm <= band_nm[1]:
        band = f"{band_nm[0]:g} to {band_nm[1]:g} nm"
        yield finding(
            "coating-off-wavelength", where, f"{whose} is coated for {band}; the lens is for {wavelength_nm:g} nm.",
            figure=wavelength_nm, limit=band, unit="nm", remedy="a coating for the wavelength of the lens, or the other wavelength",
        )  # fmt: skip


def _elements(
    prescription: Prescription, parts: Sequence[_Part], materials: Sequence[Material], indices: Indices, order: FirstOrder
) -> tuple[ElementCheck, ...]:
    train = train_of(prescription, [index or 1.0 for index in indices.values])
    effects = focal_lengths_per_radius(train=train, focal_length_mm=order.focal_length_mm)
    return tuple(
        element_check(
            element=element, body=part.body, material=material, index=index, demand=part.demand,
            work_diameter_mm=part.work_diameter_mm, focal_length_per_radius=effect,
        )
        for element, part, material, index, effect in zip(
            prescription.elements, parts, materials, indices.values, zip(effects[::2], effects[1::2], strict=True), strict=True
        )
        if index is not None
    )  # fmt: skip


def _no_order(wavelength_nm: float, length_mm: float) -> FirstOrder:
    return FirstOrder(
        wavelength_nm=wavelength_nm, focal_length_mm=None, back_focus_mm=None, front_focus_mm=None, f_number=None,
        length_mm=length_mm, entrance_pupil_diameter_mm=None,
    )  # fmt: skip


def _report(
    order: FirstOrder, elements: tuple[ElementCheck, ...], spaces: tuple[SpaceCheck, ...], findings: Sequence[Finding]
) -> CheckReport:
    ordered = tuple(sorted(findings, key=lambda finding: ORDER[finding.severity]))
    worst = ordered[0].severity if ordered else "note"
    makeable: Makeable = "no" if worst == "stop" else "with_care" if worst == "care" else "yes"
    return CheckReport(makeable=makeable, first_order=order, elements=elements, spaces=spaces, findings=ordered)
